//! Decibels between two antennas: numbers in, decibels out.
//!
//! The crate knows nothing of designs, files or clocks. Distances are in \[km\], heights in \[m\], frequencies
//! in \[GHz\], losses in \[dB\]; every model states its range and refuses what lies outside with
//! [`Error::OutOfRange`].
//!
//! * [`free_space_db`], [`two_ray_db`], [`knife_edge_db`]: closed forms.
//! * [`fresnel`]: zone radius, earth bulge, clearance along a profile.
//! * [`terminal`]: loss of an antenna among clutter (P.2108).
//! * [`p1812`]: the whole path over terrain (P.1812-6); [`clutter`]: the same among roofs and trees, near and low.
//! * [`entry`]: into a building (P.2109-2); [`vegetation`]: through trees (P.833-9).
//! * [`geodesic`]: distance, bearing and points on the WGS 84 ellipsoid.
//!
//! Equation numbers of P.525 and P.526 are cited from memory; the formulas themselves are held by the tests.

pub mod clutter;
pub mod entry;
mod error;
mod free_space;
pub mod fresnel;
pub mod geodesic;
mod knife_edge;
pub mod p1812;
mod profile;
pub mod terminal;
mod two_ray;
pub mod vegetation;

pub use error::{Error, Range};
pub use free_space::free_space_db;
pub use knife_edge::{knife_edge_db, knife_edge_parameter};
pub use profile::{Profile, Zone};
pub use two_ray::two_ray_db;

/// Speed of light \[m/s\] (SI definition).
pub const LIGHT_M_S: f64 = 299_792_458.0;

/// Orientation of the electric field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Polarisation {
    /// Electric field parallel to the ground.
    Horizontal,
    /// Electric field upright, as of a whip antenna.
    Vertical,
}

/// Electrical character of the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ground {
    /// Relative permittivity.
    pub permittivity: f64,
    /// Conductivity \[S/m\].
    pub conductivity_s_m: f64,
}

impl Ground {
    /// Land, as P.1812-6 §4.3.3 takes it.
    pub const LAND: Self = Self { permittivity: 22.0, conductivity_s_m: 0.003 };
    /// Sea, as P.1812-6 §4.3.3 takes it.
    pub const SEA: Self = Self { permittivity: 80.0, conductivity_s_m: 5.0 };
}

fn wavelength_m(frequency_ghz: f64) -> f64 {
    LIGHT_M_S / (frequency_ghz * 1e9)
}
