//! The radio's side of the forecast.

pub mod adr;
pub mod airtime;
pub mod budget;
pub mod collisions;
pub mod coverage;
pub mod demodulation;
pub mod level;
pub mod link;
pub mod link_state;
pub mod loss;
pub mod spots;
pub mod survey;
pub mod trail;
