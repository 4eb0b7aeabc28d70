//! What a signal loses between two antennas.

use design::quantity::{Decibels, Frequency, Length};
use design::surroundings::Clutter;
use path::geodesic::Place;
use path::p1812::{self, Scratch};
use path::terminal::{self, height_gain_db};
use path::{Ground, Polarisation, Profile, free_space_db, two_ray_db};

use super::trail::{self, End, Trail, TrailError};
use crate::terrain::Terrain;

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

/// From a node's antenna to a gateway's.
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
    /// The ground it was computed over; `None` for flat ground.
    pub trail: Option<Trail>,
    /// What an antenna lower than the model of paths over terrain goes was given on top; nothing for others.
    pub low_antenna: Decibels,
    /// Why the terrain that is there could not be used.
    pub problem: Option<TrailError>,
}

impl Way {
    /// The median loss: over the terrain where there is one, else over flat ground.
    #[must_use]
    pub fn loss(&self, terrain: Option<&Terrain>) -> Loss {
        match terrain.map(|terrain| self.over(terrain)) {
            Some(Ok((trail, low_antenna))) => {
                Loss { median: trail.loss + low_antenna, trail: Some(trail), low_antenna, problem: None }
            }
            // So near a gateway, the ground between is in sight.
            Some(Err(TrailError::TooNear { .. })) | None => self.over_flat_ground(None),
            Some(Err(problem)) => self.over_flat_ground(Some(problem)),
        }
    }

    fn over_flat_ground(&self, problem: Option<TrailError>) -> Loss {
        let median = over_flat_ground(self.node, self.gateway, self.distance, self.frequency);
        Loss { median, trail: None, low_antenna: Decibels::ZERO, problem }
    }

    /// The path over the terrain; an antenna below the model's least height is raised to it, and what two rays lose in
    /// between is added.
    fn over(&self, terrain: &Terrain) -> Result<(Trail, Decibels), TrailError> {
        let end = |place: Place, antenna: Antenna| End {
            place,
            antenna: raised(antenna.height),
            surroundings: surroundings(antenna.clutter),
        };
        let from = end(self.node_place, self.node);
        let trail = Trail::over(terrain, &from, &end(self.gateway_place, self.gateway), self.frequency)?;
        let heights = [self.node.height, self.gateway.height];
        Ok((trail, low_antenna(heights, self.distance, self.frequency)))
    }
}

/// What two rays lose between antennas at these heights and the same raised to the least height of the model of paths
/// over terrain, 1 m; nothing where neither is lower.
#[must_use]
pub fn low_antenna(heights: [Length; 2], distance: Length, frequency: Frequency) -> Decibels {
    let [node, gateway] = heights.map(|height| Antenna { height, clutter: Clutter::Open });
    let between = |node, gateway| two_rays(node, gateway, distance, frequency);
    let low = between(node, gateway) - between(lifted(node), lifted(gateway));
    if low > Decibels::ZERO { low } else { Decibels::ZERO }
}

/// A height as the model of paths over terrain takes it: none is lower than 1 m.
pub(super) fn raised(height: Length) -> Length {
    Length::from_metres(height.metres().max(p1812::ANTENNA.min))
}

fn lifted(antenna: Antenna) -> Antenna {
    Antenna { height: raised(antenna.height), ..antenna }
}

/// Median loss over flat ground: the greatest of free space, two rays once the ground's echo turns against the signal, and
/// the model of paths over terrain with the bulge of the earth alone; and what clutter above the antennas adds.
///
/// # References
/// Rec. ITU-R P.525-4; two-ray with Fresnel's coefficients, vertical polarisation; P.1812-6; P.2108-1 section 3.1.
#[must_use]
pub fn over_flat_ground(one: Antenna, other: Antenna, distance: Length, frequency: Frequency) -> Decibels {
    let rays = two_rays(one, other, distance, frequency);
    let earth = round_the_earth(lifted(one), lifted(other), distance, frequency).unwrap_or(rays);
    let open = if earth > rays { earth } else { rays };
    open + clutter_loss(one, frequency) + clutter_loss(other, frequency)
}

/// Free space up to where the ground's echo turns against the signal, two rays over flat ground from there.
#[must_use]
pub fn two_rays(one: Antenna, other: Antenna, distance: Length, frequency: Frequency) -> Decibels {
    let ghz = frequency.megahertz() / 1000.0;
    let (a, b) = (one.height.metres().max(LOWEST_M), other.height.metres().max(LOWEST_M));
    let along_m = distance.metres().max(NEAREST_M);
    let free_db = free_space_db(ghz, along_m.hypot(a - b) / 1000.0);
    let turns_m = 4.0 * a * b * ghz * 1e9 / path::LIGHT_M_S;
    Decibels::from_decibels(if along_m < turns_m {
        free_db
    } else {
        two_ray_db(ghz, along_m / 1000.0, [a, b], Ground::LAND, Polarisation::Vertical).max(free_db)
    })
}

/// The path over bare ground at sea level; `None` nearer than that model goes.
fn round_the_earth(one: Antenna, other: Antenna, distance: Length, frequency: Frequency) -> Option<Decibels> {
    let step_km = distance.kilometres() / FLAT_STEPS as f64;
    let distances_km: [f64; FLAT_STEPS + 1] = std::array::from_fn(|step| step as f64 * step_km);
    let profile = Profile::new(&distances_km, &[0.0; FLAT_STEPS + 1], &[], &[]).ok()?;
    let end = |antenna: Antenna| End {
        place: Place { latitude_deg: MIDDLE_LATITUDE_DEG, longitude_deg: 0.0 },
        antenna: antenna.height,
        surroundings: terminal::Surroundings::Open,
    };
    let link = trail::link(&end(one), &end(other), frequency);
    let prediction = p1812::predict(&link, &profile, &mut Scratch::default()).ok()?;
    Some(Decibels::from_decibels(prediction.loss_db))
}

/// Points between two antennas on flat ground: the bulge is smooth.
const FLAT_STEPS: usize = 50;
/// The latitude matters to ducts alone, which half of the time has none.
const MIDDLE_LATITUDE_DEG: f64 = 45.0;

/// What clutter above an antenna adds; nothing on open ground, whose effect the models of the path have in them.
#[must_use]
pub fn clutter_loss(antenna: Antenna, frequency: Frequency) -> Decibels {
    let surroundings = surroundings(antenna.clutter);
    let clutter_m = trail::clutter_height(surroundings).metres();
    let height_m = antenna.height.metres().clamp(terminal::ANTENNA.min, terminal::ANTENNA.max);
    let ghz = frequency.megahertz() / 1000.0;
    height_gain_db(ghz, height_m, surroundings, clutter_m, STREET_M)
        .map_or(Decibels::ZERO, Decibels::from_decibels)
}

/// The same in the words of the Recommendation.
#[must_use]
pub fn surroundings(clutter: Clutter) -> terminal::Surroundings {
    match clutter {
        Clutter::Open => terminal::Surroundings::Open,
        Clutter::Suburban => terminal::Surroundings::Suburban,
        Clutter::Trees => terminal::Surroundings::Forest,
        Clutter::Urban => terminal::Surroundings::Urban,
        Clutter::DenseUrban => terminal::Surroundings::DenseUrban,
    }
}
