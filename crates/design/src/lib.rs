//! What is intended: quantities, the design file and its parts, diagnostics, regions.
//!
//! No I/O, no clock. Text goes in, a checked [`node::Design`] or a list of diagnostics comes out.

pub mod catalog;
pub mod change;
pub mod chemistry;
pub mod date;
pub mod diagnostic;
pub mod file;
pub mod fleet;
pub mod law;
pub mod manual;
pub mod message;
pub mod node;
pub mod panel;
pub mod part;
pub mod quantity;
pub mod region;
pub mod resolve;
pub mod schedule;
mod section;
pub mod serve;
pub mod sizing;
pub mod snapshot;
pub mod surroundings;
pub mod watch;
