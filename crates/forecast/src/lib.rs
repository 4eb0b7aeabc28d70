//! What will happen: physics of sun, panel, charger, battery and loads, and the lives they add up to.
//!
//! No I/O, no clock. A checked design and its weather go in, figures come out; what they mean is said by `verdict`.

pub mod diary;
pub mod learn;
pub mod life;
pub mod load;
pub mod power;
pub mod progress;
pub mod radio;
pub mod random;
pub mod sky;
pub mod stats;
pub mod terrain;

pub use progress::{Progress, Silent};
