//! The radio's side of the forecast.

pub mod airtime;
pub mod collisions;

pub mod law;
pub mod trail;
