//! The sky over a node: where the sun stands, what the weather lets through, and what falls on a tilted panel.

pub mod clearness;
pub mod climate;
pub mod daylight;
pub mod decompose;
pub mod hours;
pub mod incidence;
pub mod irradiance;
pub mod light;
pub mod monthly;
pub mod persistence;
pub mod plane;
pub mod recorded;
pub mod skyline;
pub mod snow;
pub mod sun;
pub mod synthetic;
pub mod transpose;
mod warmth;
pub mod weather;
