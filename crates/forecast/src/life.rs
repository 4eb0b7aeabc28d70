//! One hour after another: what the node's battery, charger and loads do under a given sun.
//!
//! [`node::NodeTables`] holds all that is the same for every life, [`kernel::Life`] what differs; [`walk`] drives one
//! life through a weather record, [`ensemble`] a thousand through drawn weather.

pub mod climate_view;
pub mod ensemble;
pub mod kernel;
pub mod node;
pub mod unknowns;
pub mod walk;
pub mod weather;
