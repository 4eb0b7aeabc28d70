//! The radio's side of the forecast.

pub mod airtime;
