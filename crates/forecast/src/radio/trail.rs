//! The way of a radio link over the terrain: its loss, its clearance, and the obstacle that rules it.

use design::quantity::{Decibels, Frequency, Length};
use path::fresnel::{self, Clearance};
use path::p1812::{self, Climate, Link, Prediction, Scratch};
use path::terminal::Surroundings;
use path::{Polarisation, Profile};

use crate::terrain::{GroundError, POSTS_A_STEP, Place, Section, Terrain};

/// Median fall of refractivity in the lowest kilometre, DN \[N-units/km\], that is taken everywhere: an earth of 4/3 of
/// its radius. The maps of Rec. ITU-R P.453 that P.1812 asks for are not shipped; between 30 and 60 degrees north
/// they give 33 to 51, half of it below 38 (5, 95 and 50 % of a grid of 4 by 2 degrees, read with pycraf 2.1.0).
pub const LAPSE_N_KM: f64 = 39.25;
/// Sea-level surface refractivity, N0 \[N-units\], that is taken everywhere: the mean of the same maps there, which
/// give 314 to 347.
pub const REFRACTIVITY_N: f64 = 325.0;
/// Clutter around an end stands on the profile so far from it \[m\] (a choice of ours: as far as a person looks around).
pub const CLUTTER_AROUND_M: f64 = 200.0;
/// What is taken for the posts of a terrain that says nothing \[m\].
const USUAL_SPACING_M: f64 = 90.0;

/// One end of a link.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct End {
    /// Where it stands.
    pub place: Place,
    /// Its antenna above the ground; at least 1 m.
    pub antenna: Length,
    /// What stands around it.
    pub surroundings: Surroundings,
}

/// How high the clutter of surroundings stands on a profile, by P.2108-1 Table 3; open ground and water are bare, since
/// what grows there is no higher than antennas.
pub fn clutter_height(surroundings: Surroundings) -> Length {
    Length::from_metres(match surroundings {
        Surroundings::Water | Surroundings::Open => 0.0,
        Surroundings::Suburban => 10.0,
        Surroundings::Urban | Surroundings::Forest => 15.0,
        Surroundings::DenseUrban => 20.0,
    })
}

/// Which end of a link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// The one it was asked from, as a rule the node.
    From,
    /// The other, as a rule the gateway.
    To,
}

/// Why the model of paths over terrain says nothing about a link.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TrailError {
    /// The ground isn't known all the way.
    #[error(transparent)]
    Ground(#[from] GroundError),
    /// The ends are nearer than the model goes: free space or two rays say more there.
    #[error("{:.0} m is too near for the model of paths over terrain, which begins at {:.0} m", length.metres(), shortest.metres())]
    TooNear {
        /// Between the ends.
        length: Length,
        /// Where the model begins.
        shortest: Length,
    },
    /// An antenna is lower than the model goes: raise it in thought and add a term for the rest.
    #[error("an antenna {:.1} m above the ground is too low for the model of paths over terrain, which begins at {:.0} m", antenna.metres(), lowest.metres())]
    TooLow {
        /// Whose.
        which: Which,
        /// Above ground.
        antenna: Length,
        /// Where the model begins.
        lowest: Length,
    },
    /// Something else lies outside the model.
    #[error(transparent)]
    Model(#[from] path::Error),
}

/// The ground under a link at one point between its ends, and the room above it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrailPoint {
    /// Where.
    pub place: Place,
    /// From the first end \[km\].
    pub distance_km: f64,
    /// Height of the ground above sea level \[m\].
    pub terrain_m: f64,
    /// Clutter on it \[m\].
    pub clutter_m: f64,
    /// What the curvature of the earth and of the ray adds \[m\].
    pub bulge_m: f64,
    /// Height of the straight line between the antennas \[m\].
    pub ray_m: f64,
    /// Radius of the first Fresnel zone around it \[m\].
    pub zone_radius_m: f64,
}

impl TrailPoint {
    /// Room between line and obstacle \[m\]; negative where the obstacle stands higher.
    pub fn room_m(&self) -> f64 {
        self.ray_m - self.terrain_m - self.clutter_m - self.bulge_m
    }

    /// The same in radii of the first Fresnel zone; from 0.6 diffraction is next to nothing (P.526).
    pub fn room_zones(&self) -> f64 {
        self.room_m() / self.zone_radius_m
    }
}

/// A link over the terrain.
#[derive(Clone, Debug, PartialEq)]
pub struct Trail {
    /// Along the ground.
    pub length: Length,
    /// Ground under the two antennas \[m\].
    pub end_ground_m: [f64; 2],
    /// The antennas above sea level \[m\].
    pub end_antenna_m: [f64; 2],
    /// Basic transmission loss between isotropic antennas, in half of the time at half of the spots.
    pub loss: Decibels,
    /// By how much spots near the first end scatter around it, one standard deviation.
    pub spread: Decibels,
    /// All terms of the loss.
    pub prediction: Prediction,
    /// The ground between the ends.
    pub points: Vec<TrailPoint>,
    /// Index of the point with least room in Fresnel radii: the obstacle that rules.
    pub ruling: usize,
}

impl Trail {
    /// The link from one end to the other; swapping them changes no loss.
    ///
    /// # Errors
    /// Terrain that ends or is void on the way; ends or antennas for which the model doesn't hold.
    ///
    /// # References
    /// Rec. ITU-R P.1812-6 (loss, and spread over a square as wide as the terrain's mesh); P.526-15 (clearance).
    pub fn over(terrain: &Terrain, from: &End, to: &End, frequency: Frequency) -> Result<Self, TrailError> {
        refuse_low(from, Which::From)?;
        refuse_low(to, Which::To)?;
        let meshes = [from, to].map(|end| terrain.spacing_m(end.place));
        let mesh_m = meshes.into_iter().flatten().fold(f64::NAN, f64::min);
        let mesh_m = if mesh_m.is_nan() { USUAL_SPACING_M } else { mesh_m };
        let section = terrain.between(from.place, to.place, Length::from_metres(POSTS_A_STEP * mesh_m))?;
        refuse_near(section.distance_km.last().copied().unwrap_or(0.0))?;
        let clutter_m = clutter(&section, from, to);
        let profile = Profile::new(&section.distance_km, &section.height_m, &clutter_m, &[])?;
        let link = link(from, to, frequency);
        let prediction = p1812::predict(&link, &profile, &mut Scratch::default())?;
        let antennas_m = [from.antenna.metres(), to.antenna.metres()];
        let clearances: Vec<Clearance> =
            fresnel::clearances(&profile, link.frequency_ghz, antennas_m, LAPSE_N_KM)?.collect();
        let ruling = fresnel::ruling(clearances.iter().copied()).map_or(0, |worst| worst.point - 1);
        let around_m = clutter_height(from.surroundings).metres();
        let spread_db = p1812::location_sigma_db(link.frequency_ghz, from.antenna.metres(), around_m, mesh_m);
        let [start_m, end_m] = [profile.first_m(), profile.last_m()];
        Ok(Self {
            length: Length::from_kilometres(profile.length_km()),
            end_ground_m: [start_m, end_m],
            end_antenna_m: [start_m + antennas_m[0], end_m + antennas_m[1]],
            loss: Decibels::from_decibels(prediction.loss_db),
            spread: Decibels::from_decibels(spread_db),
            prediction,
            points: clearances.iter().filter_map(|at| point(&section, &clutter_m, at)).collect(),
            ruling,
        })
    }

    /// The obstacle that rules; `None` never happens on a path of at least five points.
    pub fn obstacle(&self) -> Option<&TrailPoint> {
        self.points.get(self.ruling)
    }
}

fn refuse_low(end: &End, which: Which) -> Result<(), TrailError> {
    if end.antenna.metres() < p1812::ANTENNA.min {
        let lowest = Length::from_metres(p1812::ANTENNA.min);
        return Err(TrailError::TooLow { which, antenna: end.antenna, lowest });
    }
    Ok(())
}

fn refuse_near(length_km: f64) -> Result<(), TrailError> {
    if length_km < Profile::LENGTH.min {
        let shortest = Length::from_kilometres(Profile::LENGTH.min);
        return Err(TrailError::TooNear { length: Length::from_kilometres(length_km), shortest });
    }
    Ok(())
}

/// A link as the model takes it: upright antennas, half of the time, far from the sea, the usual air.
pub(super) fn link(from: &End, to: &End, frequency: Frequency) -> Link {
    Link {
        frequency_ghz: frequency.megahertz() / 1000.0,
        transmitter_m: from.antenna.metres(),
        receiver_m: to.antenna.metres(),
        polarisation: Polarisation::Vertical,
        time_percent: 50.0,
        climate: Climate {
            latitude_deg: f64::midpoint(from.place.latitude_deg, to.place.latitude_deg),
            lapse_n_km: LAPSE_N_KM,
            refractivity_n: REFRACTIVITY_N,
        },
        coast_km: [FAR_FROM_SEA_KM; 2],
    }
}

const FAR_FROM_SEA_KM: f64 = 500.0;

fn clutter(section: &Section, from: &End, to: &End) -> Vec<f64> {
    let length_km = section.distance_km.last().copied().unwrap_or(0.0);
    let heights_m = [from, to].map(|end| clutter_height(end.surroundings).metres());
    section.distance_km.iter().map(|distance_km| clutter_at(*distance_km, length_km, heights_m)).collect()
}

/// Clutter \[m\] on a point of a path, for the heights around its two ends.
pub(super) fn clutter_at(distance_km: f64, length_km: f64, [from_m, to_m]: [f64; 2]) -> f64 {
    let near =
        |away_km: f64, height_m: f64| if away_km * 1000.0 <= CLUTTER_AROUND_M { height_m } else { 0.0 };
    near(distance_km, from_m).max(near(length_km - distance_km, to_m))
}

fn point(section: &Section, clutter_m: &[f64], at: &Clearance) -> Option<TrailPoint> {
    let (terrain_m, clutter_m) = (*section.height_m.get(at.point)?, *clutter_m.get(at.point)?);
    Some(TrailPoint {
        place: *section.places.get(at.point)?,
        distance_km: at.distance_km,
        terrain_m,
        clutter_m,
        bulge_m: at.obstacle_m - terrain_m - clutter_m,
        ray_m: at.ray_m,
        zone_radius_m: at.zone_radius_m,
    })
}
