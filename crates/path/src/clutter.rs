//! The path between two antennas with what stands around them on the way: bare clearings at the ends, rows of
//! roofs or tree tops between.
//!
//! Over terrain or flat ground, from 1 m up. P.1812 does the work; this module lays its profile, and says what is
//! taken where that model does not go: nearer than 250 m, and for antennas lower than 1 m.

use std::cmp::Ordering;

use crate::p1812::{self, Climate, Link, Prediction, Scratch};
use crate::vegetation::Trees;
use crate::{Error, Ground, LIGHT_M_S, Polarisation, Profile, Range, free_space_db, two_ray_db};

/// Distance along the ground.
pub const LENGTH: Range = Range::new("path length", "km", 0.0, Profile::LENGTH.max);
/// Antenna height above the ground; one that lies on it counts as the least.
pub const ANTENNA: Range = Range::new("antenna height", "m", 0.0, p1812::ANTENNA.max);
/// Distance from an antenna to the first clutter (bounds of ours).
pub const CLEARING: Range = Range::new("clearing", "m", 1.0, 10_000.0);
/// Clearing where it is unknown \[m\]: the street width that Rec. ITU-R P.2108-1, section 3.1, suggests.
pub const USUAL_CLEARING_M: f64 = 27.0;

/// Widest step of a profile behind the clearings \[m\].
const STEP_M: f64 = 60.0;
/// Points at once, twice and thrice the clearing: the first rows decide.
const FIRST_ROWS: u32 = 3;
/// Most steps from an end to the middle: a path that long is decided elsewhere.
const MOST_STEPS: f64 = 1000.0;
/// An antenna on the ground is taken for one at this height \[m\] (own choice).
const LOWEST_M: f64 = 0.1;
/// Nearer than this the far field is no safe assumption, and any radio hears any other \[km\] (own choice).
const NEAREST_KM: f64 = 0.001;
/// Length of the path from which a shorter one gets its share of what is lost beyond free space \[km\] (own choice).
const SHORT_KM: f64 = 0.26;

/// An antenna, and what stands around it up to the middle of the path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct End {
    /// Its height above the ground \[m\], [`ANTENNA`].
    pub antenna_m: f64,
    /// Height of roofs or tree tops above the ground \[m\], [`Profile::CLUTTER`]; 0 is open ground.
    pub clutter_m: f64,
    /// From the antenna to the first of them \[m\], [`CLEARING`].
    pub clearing_m: f64,
    /// The clutter is trees, which let a wave through; `None` for houses.
    pub trees: Option<Trees>,
    /// By how much what a map says stands in this half of the path is taken to be higher than the map's table has it, 1 for as
    /// high; `None`: no map is asked, and what stands around the antenna stands up to the middle.
    pub cover: Option<f64>,
}

/// What a map says stands at a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// Its height above the ground \[m\].
    pub height_m: f64,
    /// It is trees.
    pub trees: bool,
}

/// From one antenna to another. All that concerns direction is the same both ways.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// Frequency \[GHz\], [`p1812::FREQUENCY`].
    pub frequency_ghz: f64,
    /// Along the ground \[km\], [`LENGTH`].
    pub length_km: f64,
    /// The two antennas.
    pub ends: [End; 2],
    /// The air.
    pub climate: Climate,
}

/// Median loss of a way, and what it was made of. All losses in \[dB\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loss {
    /// All of it.
    pub total_db: f64,
    /// Of it, what antennas lower than 1 m lose more than such at 1 m.
    pub low_antenna_db: f64,
    /// The model's terms, without the trees' being transparent; `None` on ways shorter than it goes.
    pub prediction: Option<Prediction>,
}

/// Columns of a profile, to be kept from way to way: then nothing is allocated.
#[derive(Debug, Clone, Default)]
pub struct Columns {
    distance_km: Vec<f64>,
    terrain_m: Vec<f64>,
    clutter_m: Vec<f64>,
    bare_m: Vec<f64>,
    /// What a map says at each point; empty where none was asked.
    mapped: Vec<Option<Standing>>,
    /// Place of the point half-way.
    middle: usize,
    /// What the half of each end would have stand there \[m\].
    middle_m: [f64; 2],
    /// How far from each end its trees go \[km\].
    wood_km: [f64; 2],
    scratch: Scratch,
}

impl Way {
    /// Median loss over flat ground at sea level.
    ///
    /// # Errors
    /// An input outside its range.
    pub fn over_flat_ground(&self, columns: &mut Columns) -> Result<Loss, Error> {
        self.lay(STEP_M, columns)?;
        columns.terrain_m.clear();
        columns.terrain_m.resize(columns.distance_km.len(), 0.0);
        self.loss(columns)
    }

    /// Median loss over terrain that is known at these distances from the first antenna, from 0 to the whole length
    /// \[km\], rising: the ground \[m\] there. What stands on it, the first rows among it, is laid over it.
    ///
    /// # Errors
    /// An input outside its range, a void in the terrain among them; columns that are no section of this way.
    pub fn over_section(
        &self,
        distance_km: &[f64],
        ground_m: &[f64],
        columns: &mut Columns,
    ) -> Result<Loss, Error> {
        self.over_mapped_section(distance_km, ground_m, &[], columns)
    }

    /// The same where a map says what stands at the points, in as many rows; `None` where it says nothing. In the halves of ends
    /// with `cover` it holds beyond their clearing, and what stands around the antenna is asked where it says nothing.
    ///
    /// # Errors
    /// An input outside its range, a void in the terrain among them; columns that are no section of this way.
    pub fn over_mapped_section(
        &self,
        distance_km: &[f64],
        ground_m: &[f64],
        standing: &[Option<Standing>],
        columns: &mut Columns,
    ) -> Result<Loss, Error> {
        self.check()?;
        self.lay_over(distance_km, ground_m, standing, columns);
        Profile::TERRAIN.check_points(&columns.terrain_m)?;
        self.loss(columns)
    }

    /// Merges the points of a section with the first rows of both ends and the middle; the ground between two points is
    /// straight.
    fn lay_over(
        &self,
        distance_km: &[f64],
        ground_m: &[f64],
        standing: &[Option<Standing>],
        columns: &mut Columns,
    ) {
        let half_km = 0.5 * self.length_km;
        let [near, far] = self.ends.map(|end| end.clearing_m / 1000.0);
        let rows = [1.0, 2.0, 3.0];
        let of_end = |clearing_km: f64, row: f64| (row * clearing_km).min(half_km);
        let before = rows.map(|row| of_end(near, row));
        let after = rows.map(|row| self.length_km - of_end(far, row)).into_iter().rev();
        let mut laid = before.into_iter().chain([half_km]).chain(after).peekable();
        columns.distance_km.clear();
        columns.terrain_m.clear();
        columns.mapped.clear();
        let mut last: Option<(f64, f64)> = None;
        let mut last_stands = None;
        let said = standing.iter().copied().chain(std::iter::repeat(None));
        for ((at_km, here_m), here_stands) in
            distance_km.iter().copied().zip(ground_m.iter().copied()).zip(said)
        {
            while let Some(row_km) = laid.next_if(|row_km| *row_km < at_km + SAME_KM) {
                let Some((last_km, last_m)) = last.filter(|_| row_km < at_km - SAME_KM) else { continue };
                let reached_km = columns.distance_km.last().copied().unwrap_or(0.0);
                if row_km > reached_km + SAME_KM {
                    columns.distance_km.push(row_km);
                    columns
                        .terrain_m
                        .push(last_m + (here_m - last_m) * (row_km - last_km) / (at_km - last_km));
                    let is_nearer = at_km - row_km < row_km - last_km;
                    columns.mapped.push(if is_nearer { here_stands } else { last_stands });
                }
            }
            columns.distance_km.push(at_km);
            columns.terrain_m.push(here_m);
            columns.mapped.push(here_stands);
            last = Some((at_km, here_m));
            last_stands = here_stands;
        }
        columns.middle = columns.distance_km.partition_point(|at_km| *at_km < half_km - SAME_KM);
        let on_middle =
            columns.distance_km.get(columns.middle).is_some_and(|at_km| *at_km < half_km + SAME_KM);
        let mapped_middle = columns.mapped.get(columns.middle).copied().flatten();
        columns.middle_m = self.middle_m(mapped_middle);
        columns.wood_km = self.wood_km(columns);
        let middle_m = if on_middle { columns.middle_m[0].max(columns.middle_m[1]) } else { 0.0 };
        let standing_m = |((at, at_km), mapped): ((usize, &f64), &Option<Standing>)| {
            let (from_end_km, end) = if at < columns.middle {
                (*at_km, self.ends[0])
            } else {
                (self.length_km - at_km, self.ends[1])
            };
            match on_middle && at == columns.middle {
                true => middle_m,
                false if 1000.0 * (from_end_km + SAME_KM) < end.clearing_m => 0.0,
                false => end.standing_m(*mapped),
            }
        };
        columns.clutter_m.clear();
        columns.clutter_m.extend(columns.distance_km.iter().enumerate().zip(&columns.mapped).map(standing_m));
    }

    /// How far from each end its trees go \[km\]: up to the middle where no map says otherwise.
    fn wood_km(&self, columns: &Columns) -> [f64; 2] {
        let half_km = 0.5 * self.length_km;
        let points = || columns.distance_km.iter().copied().zip(columns.mapped.iter().copied());
        let ends_at = |end: &End, from_end_km: f64, mapped: Option<Standing>| {
            let is_other = mapped.is_some_and(|standing| !standing.trees);
            end.cover.is_some() && is_other && 1000.0 * from_end_km >= end.clearing_m
        };
        let [from, to] = &self.ends;
        let near = points().find(|(at_km, mapped)| ends_at(from, *at_km, *mapped));
        let far = points().rev().find(|(at_km, mapped)| ends_at(to, self.length_km - at_km, *mapped));
        [near.map_or(half_km, |(at_km, _)| at_km), far.map_or(half_km, |(at_km, _)| self.length_km - at_km)]
            .map(|reached_km| reached_km.min(half_km))
    }

    /// Median loss over terrain: `height_m` gives the height \[m\] of the ground at a distance \[km\] from the first
    /// antenna. Points lie no farther apart than `mesh_m` \[m\] and 60 m.
    ///
    /// # Errors
    /// An input outside its range, a void in the terrain (`None`) among them.
    pub fn over(
        &self,
        mesh_m: f64,
        columns: &mut Columns,
        mut height_m: impl FnMut(f64) -> Option<f64>,
    ) -> Result<Loss, Error> {
        self.lay(mesh_m.min(STEP_M), columns)?;
        columns.terrain_m.clear();
        columns
            .terrain_m
            .extend(columns.distance_km.iter().map(|at_km| height_m(*at_km).unwrap_or(f64::NAN)));
        Profile::TERRAIN.check_points(&columns.terrain_m)?;
        self.loss(columns)
    }

    fn check(&self) -> Result<(), Error> {
        LENGTH.check(self.length_km)?;
        self.ends.iter().try_for_each(|end| {
            ANTENNA.check(end.antenna_m)?;
            Profile::CLUTTER.check(end.clutter_m)?;
            CLEARING.check(end.clearing_m)
        })
    }

    /// Writes distances and clutter: from each end its clearing, its first rows, then equal steps to the middle.
    fn lay(&self, step_m: f64, columns: &mut Columns) -> Result<(), Error> {
        self.check()?;
        columns.distance_km.clear();
        columns.clutter_m.clear();
        let half_m = 500.0 * self.length_km;
        let [from, to] = self.ends;
        half(half_m, from, step_m, |at_m, clutter_m| columns.push(at_m / 1000.0, clutter_m));
        columns.mapped.clear();
        columns.middle = columns.distance_km.len();
        columns.middle_m = self.middle_m(None);
        columns.wood_km = [0.5 * self.length_km; 2];
        columns.push(half_m / 1000.0, columns.middle_m[0].max(columns.middle_m[1]));
        let far = columns.distance_km.len();
        half(half_m, to, step_m, |at_m, clutter_m| columns.push(self.length_km - at_m / 1000.0, clutter_m));
        columns.distance_km.get_mut(far..).unwrap_or_default().reverse();
        columns.clutter_m.get_mut(far..).unwrap_or_default().reverse();
        Ok(())
    }

    /// What each end has stand half-way, of which the higher counts: nothing where that is still its clearing.
    fn middle_m(&self, mapped: Option<Standing>) -> [f64; 2] {
        let stands = |end: &End| end.clearing_m < 500.0 * self.length_km;
        self.ends.map(|end| if stands(&end) { end.standing_m(mapped) } else { 0.0 })
    }

    fn loss(&self, columns: &mut Columns) -> Result<Loss, Error> {
        let low_antenna_db = self.low_antenna_db();
        if self.length_km < Profile::LENGTH.min {
            let total_db = self.nearby_db(columns)? + low_antenna_db;
            return Ok(Loss { total_db, low_antenna_db, prediction: None });
        }
        let prediction = self.predict(columns, [true; 2])?;
        let total_db = self.through_trees_db(columns, prediction.loss_db)? + low_antenna_db;
        Ok(Loss { total_db, low_antenna_db, prediction: Some(prediction) })
    }

    /// Free space and a share of what a path at the model's near end loses beyond it, over flat ground.
    fn nearby_db(&self, columns: &mut Columns) -> Result<f64, Error> {
        let ends_m =
            [columns.terrain_m.first(), columns.terrain_m.last()].map(|at| at.copied().unwrap_or(0.0));
        let [from_m, to_m] = self.raised_m();
        let rise_km = (from_m + ends_m[0] - to_m - ends_m[1]) / 1000.0;
        let free_db =
            |length_km: f64, rise_km: f64| free_space_db(self.frequency_ghz, length_km.hypot(rise_km));
        let begin = Self { length_km: SHORT_KM, ..*self };
        let beyond_db = begin.over_flat_ground(columns)?.without_low_antenna_db()
            - free_db(SHORT_KM, (from_m - to_m) / 1000.0);
        let length_km = self.length_km.max(NEAREST_KM);
        Ok(free_db(length_km, rise_km) + beyond_db.max(0.0) * length_km / Profile::LENGTH.min)
    }

    /// The least of going over the tree tops and through the trees, at either end.
    fn through_trees_db(&self, columns: &mut Columns, over_db: f64) -> Result<f64, Error> {
        let mut least_db = over_db;
        for over in [[false, true], [true, false], [false, false]] {
            let through = self
                .ends
                .iter()
                .zip(&columns.wood_km)
                .zip(over)
                .filter(|(_, over)| !over)
                .map(|(end, _)| end);
            let Some(through_db) = through.map(|(end, wood_km)| trees_db(end, *wood_km)).sum::<Option<f64>>()
            else {
                continue;
            };
            least_db = least_db.min(self.predict(columns, over)?.loss_db + through_db);
        }
        Ok(least_db)
    }

    /// The model's answer with the clutter of those ends.
    fn predict(&self, columns: &mut Columns, with_clutter: [bool; 2]) -> Result<Prediction, Error> {
        let [transmitter_m, receiver_m] = self.raised_m();
        let link = Link {
            frequency_ghz: self.frequency_ghz,
            transmitter_m,
            receiver_m,
            polarisation: Polarisation::Vertical,
            time_percent: 50.0,
            climate: self.climate,
            coast_km: [FAR_FROM_SEA_KM; 2],
        };
        let kept_m = self.kept_middle_m(columns, with_clutter);
        let Columns { distance_km, terrain_m, clutter_m, bare_m, middle, wood_km, scratch, .. } = columns;
        let clutter_m = if with_clutter == [true; 2] {
            &*clutter_m
        } else {
            bare_m.clear();
            // Trees that the wave goes through; what stands behind them it goes over.
            let of_point = |((at, height_m), at_km): ((usize, &f64), &f64)| match at.cmp(middle) {
                Ordering::Equal => kept_m,
                Ordering::Less if with_clutter[0] || *at_km >= wood_km[0] => *height_m,
                Ordering::Greater if with_clutter[1] || self.length_km - at_km >= wood_km[1] => *height_m,
                _ => 0.0,
            };
            bare_m.extend(clutter_m.iter().enumerate().zip(&*distance_km).map(of_point));
            &*bare_m
        };
        let profile = Profile::new(distance_km, terrain_m, clutter_m, &[])?;
        p1812::predict(&link, &profile, scratch)
    }

    /// What stands half-way once the wave goes through the trees of the other ends: what a map says is of both.
    fn kept_middle_m(&self, columns: &Columns, with_clutter: [bool; 2]) -> f64 {
        let half_km = 0.5 * self.length_km;
        let keeps = [0, 1].map(|end| with_clutter[end] || columns.wood_km[end] < half_km);
        let is_mapped = columns.mapped.get(columns.middle).copied().flatten().is_some();
        let of_map = [0, 1].map(|end| is_mapped && self.ends[end].cover.is_some());
        let goes_through_map = (0..2).any(|end| of_map[end] && !keeps[end]);
        let kept = (0..2).filter(|end| keeps[*end] && !(of_map[*end] && goes_through_map));
        kept.map(|end| columns.middle_m[end]).fold(0.0, f64::max)
    }

    fn raised_m(&self) -> [f64; 2] {
        self.ends.map(|end| end.antenna_m.max(p1812::ANTENNA.min))
    }

    /// What two rays over flat ground lose more between the antennas than between such at 1 m \[dB\]; nothing for others.
    pub fn low_antenna_db(&self) -> f64 {
        let low_m = self.ends.map(|end| end.antenna_m.max(LOWEST_M));
        let rays_db = |antennas_m| rays_db(self.frequency_ghz, self.length_km.max(NEAREST_KM), antennas_m);
        (rays_db(low_m) - rays_db(self.raised_m())).max(0.0)
    }
}

/// Loss through the trees at an end, as far as they go; `None` without trees.
fn trees_db(end: &End, wood_km: f64) -> Option<f64> {
    let depth_m = (1000.0 * wood_km - end.clearing_m).max(0.0);
    let trees = end.trees.filter(|_| end.clutter_m > 0.0)?;
    trees.loss_db(depth_m).ok()
}

impl End {
    /// What stands in its half at a point of which a map says this \[m\].
    fn standing_m(&self, mapped: Option<Standing>) -> f64 {
        match (self.cover, mapped) {
            (Some(times), Some(standing)) => times * standing.height_m,
            _ => self.clutter_m,
        }
    }
}

const FAR_FROM_SEA_KM: f64 = 500.0;
/// Points nearer together than this are one \[km\].
const SAME_KM: f64 = 1e-5;

impl Loss {
    fn without_low_antenna_db(&self) -> f64 {
        self.total_db - self.low_antenna_db
    }
}

impl Columns {
    fn push(&mut self, distance_km: f64, clutter_m: f64) {
        self.distance_km.push(distance_km);
        self.clutter_m.push(clutter_m);
    }

    /// The profile of the last way that was looked at.
    ///
    /// # Errors
    /// A way shorter than the model goes has none.
    pub fn profile(&self) -> Result<Profile<'_>, Error> {
        Profile::new(&self.distance_km, &self.terrain_m, &self.clutter_m, &[])
    }

    /// Distance \[km\], ground above sea level \[m\] and clutter on it \[m\] at each point of the last way.
    pub fn points(&self) -> impl Iterator<Item = [f64; 3]> + '_ {
        let columns = self.distance_km.iter().zip(&self.terrain_m).zip(&self.clutter_m);
        columns.map(|((distance_km, terrain_m), clutter_m)| [*distance_km, *terrain_m, *clutter_m])
    }
}

/// Points of half a way from its end, the middle left out: distance from the end \[m\] and clutter there \[m\].
fn half(half_m: f64, end: End, step_m: f64, mut push: impl FnMut(f64, f64)) {
    push(0.0, 0.0);
    let rows = (1..=FIRST_ROWS).map(|row| f64::from(row) * end.clearing_m);
    let mut reached_m = 0.0;
    for row_m in rows.take_while(|row_m| *row_m < half_m) {
        push(row_m, end.clutter_m);
        reached_m = row_m;
    }
    // Within the clearing there is nothing, and one point on the way keeps the profile long enough.
    let steps = ((half_m - reached_m) / step_m).ceil().clamp(2.0, MOST_STEPS);
    let clutter_m = if reached_m > 0.0 { end.clutter_m } else { 0.0 };
    let mut step = 1.0;
    while step < steps {
        push(reached_m + (half_m - reached_m) * step / steps, clutter_m);
        step += 1.0;
    }
}

/// Free space up to where the ground's echo turns against the signal, two rays over flat ground from there.
fn rays_db(frequency_ghz: f64, length_km: f64, antennas_m: [f64; 2]) -> f64 {
    let [near_m, far_m] = antennas_m;
    let free_db = free_space_db(frequency_ghz, length_km.hypot((near_m - far_m) / 1000.0));
    let turns_m = 4.0 * near_m * far_m * frequency_ghz * 1e9 / LIGHT_M_S;
    if 1000.0 * length_km < turns_m {
        return free_db;
    }
    two_ray_db(frequency_ghz, length_km, antennas_m, Ground::LAND, Polarisation::Vertical).max(free_db)
}
