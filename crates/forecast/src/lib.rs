//! What will happen: physics of sun, panel, charger, battery and loads, and the lives they add up to.
//!
//! No I/O, no clock. A checked design and its weather go in, a [`plan::Plan`] comes out.

pub mod diary;
pub mod life;
pub mod load;
pub mod message;
pub mod plan;
pub mod power;
pub mod radio;
pub mod random;
pub mod sky;
pub mod stats;
pub mod terrain;
