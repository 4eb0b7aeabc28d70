//! What a signal loses between two antennas.

use design::quantity::{Decibels, Frequency, Length};
use design::surroundings::Clutter;
use path::geodesic::Place;
use path::terminal::{self, height_gain_db};
use path::{Ground, Polarisation, free_space_db, two_ray_db};

/// The spot's own shadowing where no survey says more (a wide default, own choice; 7.8 dB was measured in one city).
pub const WIDE_SPREAD: Decibels = Decibels::from_decibels(8.0);
/// Width of street or clearing where it is unknown \[m\] (Rec. ITU-R P.2108-1, section 3.1).
const STREET_M: f64 = 27.0;
/// Closer than this the far field is no safe assumption, and any radio hears any other \[m\] (own choice).
const NEAREST_M: f64 = 1.0;
/// An antenna that lies on the ground is taken for one at this height \[m\].
const LOWEST_M: f64 = 0.1;

/// An antenna above the ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Antenna {
    /// Its height.
    pub height: Length,
    /// What stands around it.
    pub clutter: Clutter,
}

/// By which model a loss was computed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Model {
    /// Rec. ITU-R P.1812-6 over the terrain.
    Terrain,
    /// Free space, or two rays over flat ground, whichever loses more.
    Flat,
}

/// From an antenna to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Way {
    /// The node's antenna.
    pub node: Antenna,
    /// Where the node stands.
    pub node_place: Place,
    /// The gateway's.
    pub gateway: Antenna,
    /// Where that stands.
    pub gateway_place: Place,
    /// Between the two.
    pub distance: Length,
    /// Of the signal.
    pub frequency: Frequency,
}

/// What a path loses.
#[derive(Clone, Debug, PartialEq)]
pub struct Loss {
    /// At half of all times and spots.
    pub median: Decibels,
    /// By which model.
    pub model: Model,
}

impl Way {
    /// The median loss.
    #[must_use]
    pub fn loss(&self) -> Loss {
        let median = over_flat_ground(self.node, self.gateway, self.distance, self.frequency);
        Loss { median, model: Model::Flat }
    }
}

/// Median loss over flat ground: free space up to where the ground's echo turns against the signal, then two rays; and
/// what clutter above the antennas adds.
///
/// # References
/// Rec. ITU-R P.525-4; two-ray with Fresnel's coefficients, vertical polarisation; Rec. ITU-R P.2108-1 section 3.1.
#[must_use]
pub fn over_flat_ground(one: Antenna, other: Antenna, distance: Length, frequency: Frequency) -> Decibels {
    let ghz = frequency.megahertz() / 1000.0;
    let (a, b) = (one.height.metres().max(LOWEST_M), other.height.metres().max(LOWEST_M));
    let along_m = distance.metres().max(NEAREST_M);
    let slant_km = along_m.hypot(a - b) / 1000.0;
    let free_db = free_space_db(ghz, slant_km);
    let turns_m = 4.0 * a * b * ghz * 1e9 / path::LIGHT_M_S;
    let open_db = if along_m < turns_m {
        free_db
    } else {
        two_ray_db(ghz, along_m / 1000.0, [a, b], Ground::LAND, Polarisation::Vertical).max(free_db)
    };
    Decibels::from_decibels(open_db) + clutter_loss(one, frequency) + clutter_loss(other, frequency)
}

/// What clutter above an antenna adds; nothing on open ground, whose effect the models of the path have in them.
#[must_use]
pub fn clutter_loss(antenna: Antenna, frequency: Frequency) -> Decibels {
    let Some((surroundings, clutter_m)) = representative(antenna.clutter) else { return Decibels::ZERO };
    let height_m = antenna.height.metres().clamp(terminal::ANTENNA.min, terminal::ANTENNA.max);
    let ghz = frequency.megahertz() / 1000.0;
    height_gain_db(ghz, height_m, surroundings, clutter_m, STREET_M)
        .map_or(Decibels::ZERO, Decibels::from_decibels)
}

/// Kind and representative height of clutter \[m\] (Rec. ITU-R P.1812-6, table 2).
fn representative(clutter: Clutter) -> Option<(terminal::Surroundings, f64)> {
    match clutter {
        Clutter::Open => None,
        Clutter::Suburban => Some((terminal::Surroundings::Suburban, 10.0)),
        Clutter::Trees => Some((terminal::Surroundings::Forest, 15.0)),
        Clutter::Urban => Some((terminal::Surroundings::Urban, 15.0)),
        Clutter::DenseUrban => Some((terminal::Surroundings::DenseUrban, 20.0)),
    }
}
