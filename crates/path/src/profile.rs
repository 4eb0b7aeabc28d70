use crate::{Error, Range};

/// Radio-climatic zone of a profile point.
///
/// # References
/// Rec. ITU-R P.1812-6 §3.3, Table 3.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Zone {
    /// Seas and other large bodies of water (a circle of 100 km across fits in).
    Sea,
    /// Land up to 100 m above the sea and within 50 km of it.
    Coastal,
    /// All other land.
    Inland,
}

/// The ground between two ends, checked: distances start at 0 and rise, heights are in range.
///
/// It borrows its columns, so that making one costs no allocation. The first point lies under the
/// transmitter, the last under the receiver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Profile<'a> {
    distance_km: &'a [f64],
    terrain_m: &'a [f64],
    clutter_m: &'a [f64],
    zones: &'a [Zone],
}

/// The ground at one point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct GroundPoint {
    pub(crate) distance_km: f64,
    pub(crate) terrain_m: f64,
    pub(crate) clutter_m: f64,
}

impl<'a> Profile<'a> {
    /// Least number of points (the reference implementation of P.1812 asks the same).
    pub const MIN_POINTS: usize = 5;
    /// Length of a path: what P.1812-6 says of itself in its introduction (from memory).
    pub const LENGTH: Range = Range::new("path length", "km", 0.25, 3000.0);
    /// Height of the ground above sea level: the surface of the Earth (bounds of ours, to catch voids).
    pub const TERRAIN: Range = Range::new("terrain height", "m", -500.0, 9000.0);
    /// Height of clutter above the ground (bounds of ours).
    pub const CLUTTER: Range = Range::new("clutter height", "m", 0.0, 1000.0);

    /// A profile of distances from the transmitter \[km\], ground heights above sea level \[m\], representative
    /// clutter heights \[m\] (an empty slice: bare ground) and zones (an empty slice: inland throughout).
    ///
    /// Clutter at the first and last point is not used: the antennas stand on the ground there.
    ///
    /// # Errors
    /// Columns of unequal length, fewer than [`Self::MIN_POINTS`] points, distances that don't rise from 0,
    /// or a length or height out of range. A void (NaN) in the terrain is out of range.
    pub fn new(
        distance_km: &'a [f64],
        terrain_m: &'a [f64],
        clutter_m: &'a [f64],
        zones: &'a [Zone],
    ) -> Result<Self, Error> {
        let points = distance_km.len();
        if points < Self::MIN_POINTS {
            return Err(Error::TooFewPoints { points, min: Self::MIN_POINTS });
        }
        same_length("terrain height", terrain_m.len(), points)?;
        if !clutter_m.is_empty() {
            same_length("clutter height", clutter_m.len(), points)?;
        }
        if !zones.is_empty() {
            same_length("zone", zones.len(), points)?;
        }
        let profile = Self { distance_km, terrain_m, clutter_m, zones };
        check_rising(distance_km)?;
        Self::LENGTH.check(profile.length_km())?;
        Self::TERRAIN.check_points(terrain_m)?;
        Self::CLUTTER.check_points(clutter_m)?;
        Ok(profile)
    }

    /// Length of the path \[km\].
    pub fn length_km(&self) -> f64 {
        self.distance_km.last().copied().unwrap_or(f64::NAN)
    }

    /// Ground height under the transmitter \[m\].
    pub fn first_m(&self) -> f64 {
        self.terrain_m.first().copied().unwrap_or(f64::NAN)
    }

    /// Ground height under the receiver \[m\].
    pub fn last_m(&self) -> f64 {
        self.terrain_m.last().copied().unwrap_or(f64::NAN)
    }

    pub(crate) fn distance_and_terrain(&self) -> impl Iterator<Item = (f64, f64)> + use<'a> {
        self.distance_km.iter().copied().zip(self.terrain_m.iter().copied())
    }

    /// The points between the ends.
    pub(crate) fn between(&self) -> impl Iterator<Item = GroundPoint> + use<'a> {
        let clutter = inner(self.clutter_m).iter().copied().chain(std::iter::repeat(0.0));
        inner(self.distance_km)
            .iter()
            .zip(inner(self.terrain_m))
            .zip(clutter)
            .map(|((&distance_km, &terrain_m), clutter_m)| GroundPoint { distance_km, terrain_m, clutter_m })
    }

    pub(crate) fn distances_km(&self) -> &'a [f64] {
        self.distance_km
    }

    pub(crate) fn zones(&self) -> &'a [Zone] {
        self.zones
    }
}

fn inner<T>(points: &[T]) -> &[T] {
    match points {
        [_, inner @ .., _] => inner,
        _ => &[],
    }
}

fn same_length(column: &'static str, points: usize, expected: usize) -> Result<(), Error> {
    if points == expected { Ok(()) } else { Err(Error::UnequalLengths { column, points, expected }) }
}

fn check_rising(distance_km: &[f64]) -> Result<(), Error> {
    // Exactly 0 starts a profile; any other first value is a profile cut from a longer one.
    if distance_km.first().is_none_or(|first| first.abs() > 0.0 || first.is_nan()) {
        return Err(Error::DistancesNotRising { point: 0 });
    }
    // `!(a < b)` and not `a >= b`: a NaN is at fault too.
    let rises = |pair: &[f64]| matches!(pair, [before, after] if before < after);
    match distance_km.windows(2).position(|pair| !rises(pair)) {
        None => Ok(()),
        Some(at) => Err(Error::DistancesNotRising { point: at + 1 }),
    }
}
