//! One hour after another: what the node's battery, charger and loads do under a given sun.
//!
//! [`node::NodeTables`] holds all that is the same for every life, [`kernel::Lanes`] what differs between `L` lives that
//! are stepped side by side, and [`walk`] drives one life through a weather record.

pub mod kernel;
pub mod node;
pub mod unknowns;
pub mod walk;
