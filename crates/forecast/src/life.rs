//! One hour after another: what the node's battery, charger and loads do under a given sun.
//!
//! [`node::NodeTables`] holds all that is the same for every life, [`kernel::Life`] what differs; [`run`] lives one life,
//! while recorders look on, and everything else is many such runs: [`ensemble`] of the node as it is, [`fault`] with one
//! thing gone wrong, [`cause`] with one thing changed, [`visits`] with somebody who comes.

pub mod account;
pub mod cause;
pub mod climate_view;
pub mod ensemble;
pub mod fault;
pub mod kernel;
pub mod limits;
pub mod needs;
pub mod node;
pub mod prepared;
pub mod run;
pub mod shared;
pub mod shown;
pub mod unknowns;
pub mod visits;
pub mod weather;
