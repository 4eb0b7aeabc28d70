//! The programs that write and read the messages of a design, in the languages of firmware and servers.
//!
//! [`Kit`] makes them all from the same layout as [`wire::payload`]. The same design gives the same bytes: nothing here
//! asks for the time or the machine, and each file carries the [`fingerprint()`] of the messages it was made from.
//! [`effect`] says what follows from a message to the node, in the same words as the generated programs.

mod arithmetic;
mod c;
pub mod charge;
mod file;
mod fingerprint;
mod javascript;
mod kit;
mod markdown;
mod place;
mod python;
mod rust;
mod vectors;
mod words;

pub mod effect;
pub mod settings;

pub use file::{File, NOT_SET, is_generated};
pub use fingerprint::fingerprint;
pub use kit::{Kit, OnAir};
