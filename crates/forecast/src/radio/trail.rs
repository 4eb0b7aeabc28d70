//! The way of a radio link over the terrain: its loss, its clearance, and the obstacle that rules it.

use design::quantity::{Decibels, Frequency, Length};
use design::surroundings::{Around, Leaves};
use path::Profile;
use path::clutter::{self, Columns, USUAL_CLEARING_M, Way};
use path::fresnel::{self, Clearance};
use path::geodesic::Line;
use path::p1812::{self, Climate, Prediction};
use path::vegetation::Trees;

use crate::terrain::{GroundError, POSTS_A_STEP, Place, Section, Terrain};

/// Median fall of refractivity in the lowest kilometre, DN \[N-units/km\], that is taken everywhere: an earth of 4/3 of
/// its radius. The maps of Rec. ITU-R P.453 that P.1812 asks for are not shipped; between 30 and 60 degrees north
/// they give 33 to 51, half of it below 38 (5, 95 and 50 % of a grid of 4 by 2 degrees, read with pycraf 2.1.0).
pub const LAPSE_N_KM: f64 = 39.25;
/// Sea-level surface refractivity, N0 \[N-units\], that is taken everywhere: the mean of the same maps there, which
/// give 314 to 347.
pub const REFRACTIVITY_N: f64 = 325.0;
/// What is taken for the posts of a terrain that says nothing.
const USUAL_SPACING_M: f64 = 90.0;

/// One end of a link.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct End {
    /// Where it stands.
    pub place: Place,
    /// Its antenna above the ground; at least 1 m.
    pub antenna: Length,
    /// What stands around it, up to half-way.
    pub surroundings: Around,
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
    /// All terms of the loss.
    pub prediction: Prediction,
    /// The ground that the loss was computed over.
    pub section: Section,
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
    /// Rec. ITU-R P.1812-6 (loss); P.526-15 (clearance).
    pub fn over(terrain: &Terrain, from: &End, to: &End, frequency: Frequency) -> Result<Self, TrailError> {
        refuse_low(from, Which::From)?;
        refuse_low(to, Which::To)?;
        let meshes = [from, to].map(|end| terrain.spacing_m(end.place));
        let section = terrain.between(from.place, to.place, step_over(meshes))?;
        let length_km = section.distance_km.last().copied().unwrap_or(0.0);
        refuse_near(length_km)?;
        let way = way([from, to], Some(terrain), frequency, length_km);
        let mut columns = Columns::default();
        let loss = way.over_mapped_section(
            &section.distance_km,
            &section.height_m,
            &section.standing,
            &mut columns,
        )?;
        let (line, _) =
            Line::between(from.place, to.place).map_err(|_nearly_antipodal| GroundError::Antipodal)?;
        let profile = columns.profile()?;
        let antennas_m = [from.antenna.metres(), to.antenna.metres()];
        let clearances: Vec<Clearance> =
            fresnel::clearances(&profile, way.frequency_ghz, antennas_m, LAPSE_N_KM)?.collect();
        let ruling = fresnel::ruling(clearances.iter().copied()).map_or(0, |worst| worst.point - 1);
        let [start_m, end_m] = [profile.first_m(), profile.last_m()];
        let points: Vec<[f64; 3]> = columns.points().collect();
        Ok(Self {
            length: Length::from_kilometres(profile.length_km()),
            end_ground_m: [start_m, end_m],
            end_antenna_m: [start_m + antennas_m[0], end_m + antennas_m[1]],
            loss: Decibels::from_decibels(loss.total_db),
            prediction: loss.prediction.ok_or_else(|| too_near(way.length_km))?,
            points: clearances
                .iter()
                .filter_map(|at| Some(point(line.at(1000.0 * at.distance_km), *points.get(at.point)?, at)))
                .collect(),
            ruling,
            section,
        })
    }

    /// The obstacle that rules; `None` never happens on a path of at least five points.
    pub fn obstacle(&self) -> Option<&TrailPoint> {
        self.points.get(self.ruling)
    }
}

/// The equal steps of a way between ends where posts stand so far apart \[m\].
fn step_over(meshes_m: [Option<f64>; 2]) -> Length {
    let mesh_m = meshes_m.into_iter().flatten().reduce(f64::min).unwrap_or(USUAL_SPACING_M);
    Length::from_metres(POSTS_A_STEP * mesh_m)
}

fn refuse_low(end: &End, which: Which) -> Result<(), TrailError> {
    if end.antenna.metres() < p1812::ANTENNA.min {
        let lowest = Length::from_metres(p1812::ANTENNA.min);
        return Err(TrailError::TooLow { which, antenna: end.antenna, lowest });
    }
    Ok(())
}

fn refuse_near(length_km: f64) -> Result<(), TrailError> {
    if length_km < Profile::LENGTH.min { Err(too_near(length_km)) } else { Ok(()) }
}

fn too_near(length_km: f64) -> TrailError {
    let shortest = Length::from_kilometres(Profile::LENGTH.min);
    TrailError::TooNear { length: Length::from_kilometres(length_km), shortest }
}

/// A way as the models take it: upright antennas, half of the time, far from the sea, the usual air; where the ground has a map of
/// what stands on it, that is asked.
pub(super) fn way(ends: [&End; 2], terrain: Option<&Terrain>, frequency: Frequency, length_km: f64) -> Way {
    let [from, to] = ends.map(|end| end.place.latitude_deg);
    Way {
        frequency_ghz: frequency.megahertz() / 1000.0,
        length_km,
        ends: ends.map(|end| end_of_way(end, terrain)),
        climate: Climate {
            latitude_deg: f64::midpoint(from, to),
            lapse_n_km: LAPSE_N_KM,
            refractivity_n: REFRACTIVITY_N,
        },
    }
}

pub(super) fn end_of_way(end: &End, terrain: Option<&Terrain>) -> clutter::End {
    let around = terrain.map_or(end.surroundings, |terrain| terrain.around(end.place, end.surroundings));
    let standing = around.clutter.standing();
    let trees = match around.leaves {
        Leaves::InLeaf => Trees::IN_LEAF,
        Leaves::Bare => Trees::BARE,
    };
    clutter::End {
        antenna_m: end.antenna.metres(),
        clutter_m: standing.height.metres(),
        clearing_m: around.clearing.map_or(USUAL_CLEARING_M, Length::metres),
        trees: standing.trees.then_some(trees),
        cover: terrain.filter(|terrain| terrain.has_cover() && !around.own).map(|_| 1.0),
    }
}

fn point(place: Place, [_, terrain_m, clutter_m]: [f64; 3], at: &Clearance) -> TrailPoint {
    TrailPoint {
        place,
        distance_km: at.distance_km,
        terrain_m,
        clutter_m,
        bulge_m: at.obstacle_m - terrain_m - clutter_m,
        ray_m: at.ray_m,
        zone_radius_m: at.zone_radius_m,
    }
}
