//! Where a node would be heard: the loss to the gateway that hears it best, over a grid of places.

use std::sync::atomic::{AtomicUsize, Ordering};

use design::quantity::{Decibels, Frequency, Length};
use path::geodesic::Line;
use path::p1812::{self, Link, Scratch, predict};
use path::terminal::Surroundings;
use path::{Profile, free_space_db};

use super::loss::{low_antenna, raised};
use super::trail::{End, TrailError, clutter_at, clutter_height, link};
use crate::Progress;
use crate::terrain::{Grid, POSTS_A_STEP, Place, Terrain, crossings, steps};

/// A gateway as a map sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Station {
    /// Where it stands.
    pub end: End,
    /// By how much more loss it bears than the figures the map is read with: more gain, less noise.
    pub advantage: Decibels,
}

/// What is asked of a map.
#[derive(Clone, Debug)]
pub struct Survey<'a> {
    /// The ground.
    pub terrain: &'a Terrain,
    /// The gateways, at most 255.
    pub stations: &'a [Station],
    /// The node's antenna above the ground.
    pub antenna: Length,
    /// What stands around the node.
    pub surroundings: Surroundings,
    /// Of the uplink.
    pub frequency: Frequency,
    /// The places.
    pub grid: Grid,
}

/// The answer, by rows from the north.
#[derive(Clone, Debug, PartialEq)]
pub struct Coverage {
    /// The places.
    pub grid: Grid,
    /// Basic transmission loss to the gateway that hears best, less its advantage \[dB\]; NaN where the ground is not
    /// known all the way to any of them.
    pub loss_db: Vec<f32>,
    /// The number of that gateway, counted from 0.
    pub best: Vec<u8>,
}

impl Coverage {
    /// Loss at a row and column \[dB\]; `None` where it is not known.
    pub fn loss_db(&self, row: usize, column: usize) -> Option<f32> {
        let at = row.checked_mul(self.grid.columns)?.checked_add(column)?;
        let loss_db = (column < self.grid.columns).then(|| self.loss_db.get(at).copied()).flatten()?;
        (!loss_db.is_nan()).then_some(loss_db)
    }
}

/// Loss over the grid, on so many threads; the answer does not depend on how many. `None` if asked to stop.
///
/// Nearer than the model of paths over terrain goes (250 m) it is that of free space.
///
/// # Errors
/// Antennas or a frequency for which the model doesn't hold, wherever the place.
///
/// # References
/// Rec. ITU-R P.1812-6, half of the time at half of the spots.
pub fn coverage(
    survey: &Survey<'_>,
    threads: usize,
    progress: &dyn Progress,
) -> Result<Option<Coverage>, TrailError> {
    check(survey)?;
    let rows = survey.grid.rows;
    let (next, done) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let work = || {
        let mut surveyor = Surveyor::new(survey);
        let mut finished = Vec::new();
        while !progress.stop() {
            let row = next.fetch_add(1, Ordering::Relaxed);
            if row >= rows {
                break;
            }
            finished.push((row, surveyor.row(row)));
            progress.report(done.fetch_add(1, Ordering::Relaxed) + 1, rows);
        }
        finished
    };
    let mut finished: Vec<(usize, Vec<(f32, u8)>)> = std::thread::scope(|scope| {
        let work = &work;
        let handles: Vec<_> = (0..threads.max(1)).map(|_| scope.spawn(work)).collect();
        handles.into_iter().flat_map(|handle| handle.join().expect("a surveyor does not panic")).collect()
    });
    if finished.len() < rows {
        return Ok(None);
    }
    finished.sort_by_key(|(row, _)| *row);
    let (loss_db, best) = finished.into_iter().flat_map(|(_, row)| row).unzip();
    Ok(Some(Coverage { grid: survey.grid, loss_db, best }))
}

fn check(survey: &Survey<'_>) -> Result<(), TrailError> {
    let frequency_ghz = survey.frequency.megahertz() / 1000.0;
    if !p1812::FREQUENCY.contains(frequency_ghz) {
        let (range, value) = (p1812::FREQUENCY, frequency_ghz);
        return Err(path::Error::OutOfRange { range, value, point: None }.into());
    }
    Ok(())
}

/// One thread's working memory.
struct Surveyor<'a> {
    survey: &'a Survey<'a>,
    links: Vec<Link>,
    mesh_m: f64,
    scratch: Scratch,
    distance_km: Vec<f64>,
    height_m: Vec<f64>,
    clutter_m: Vec<f64>,
}

impl<'a> Surveyor<'a> {
    fn new(survey: &'a Survey<'a>) -> Self {
        let antenna = raised(survey.antenna);
        let node = End { place: survey.grid.middle(), antenna, surroundings: survey.surroundings };
        let meshes = survey.terrain.tiles().iter().map(|tile| tile.grid().spacing_m());
        Self {
            survey,
            links: survey
                .stations
                .iter()
                .map(|station| {
                    let end = End { antenna: raised(station.end.antenna), ..station.end };
                    link(&end, &node, survey.frequency)
                })
                .collect(),
            mesh_m: meshes.fold(f64::INFINITY, f64::min),
            scratch: Scratch::default(),
            distance_km: Vec::new(),
            height_m: Vec::new(),
            clutter_m: Vec::new(),
        }
    }

    fn row(&mut self, row: usize) -> Vec<(f32, u8)> {
        (0..self.survey.grid.columns).map(|column| self.best(self.survey.grid.place(row, column))).collect()
    }

    /// Least loss at a place, and the number of its gateway.
    #[expect(clippy::cast_possible_truncation, reason = "a map needs no tenth of a millibel")]
    fn best(&mut self, node: Place) -> (f32, u8) {
        let mut best = (f32::NAN, 0);
        for (station, number) in (0..self.survey.stations.len()).zip(0..=u8::MAX) {
            let loss_db = self.loss_db(station, node).unwrap_or(f64::NAN) as f32;
            if best.0.is_nan() || loss_db < best.0 {
                best = (loss_db, number);
            }
        }
        best
    }

    fn loss_db(&mut self, station: usize, node: Place) -> Option<f64> {
        let (known, link) = (self.survey.stations.get(station)?, self.links.get(station)?);
        let course = Course::between(known.end.place, node)?;
        let advantage_db = known.advantage.decibels();
        if course.length_m / 1000.0 < Profile::LENGTH.min {
            let rise_m = self.survey.terrain.height_m(known.end.place)? + link.transmitter_m
                - self.survey.terrain.height_m(node)?
                - link.receiver_m;
            let slant_km = course.length_m.hypot(rise_m).max(1.0) / 1000.0;
            return Some(free_space_db(link.frequency_ghz, slant_km) - advantage_db);
        }
        let clutter_m =
            [known.end.surroundings, self.survey.surroundings].map(|around| clutter_height(around).metres());
        fill(
            self.survey.terrain,
            &course,
            self.mesh_m,
            clutter_m,
            [&mut self.distance_km, &mut self.height_m, &mut self.clutter_m],
        )?;
        let profile = Profile::new(&self.distance_km, &self.height_m, &self.clutter_m, &[]).ok()?;
        let prediction = predict(link, &profile, &mut self.scratch).ok()?;
        let heights = [self.survey.antenna, known.end.antenna];
        let low = low_antenna(heights, Length::from_metres(course.length_m), self.survey.frequency);
        Some(prediction.loss_db + low.decibels() - advantage_db)
    }
}

/// Writes the profile along a course into three columns; `None` where the ground isn't known.
fn fill(
    terrain: &Terrain,
    course: &Course,
    mesh_m: f64,
    clutter_m: [f64; 2],
    [distances_km, heights_m, clutters_m]: [&mut Vec<f64>; 3],
) -> Option<()> {
    let steps = steps(course.length_m, POSTS_A_STEP * mesh_m);
    let (length_km, per_step) = (course.length_m / 1000.0, 1.0 / steps as f64);
    distances_km.clear();
    heights_m.clear();
    clutters_m.clear();
    let mut add = |share: f64, at: Place| {
        distances_km.push(share * length_km);
        heights_m.push(terrain.height_m(at)?);
        Some(())
    };
    let (mut here, mut passed, mut between) = (0.0, course.at(0.0), Vec::new());
    add(here, passed)?;
    for step in 1..=steps {
        let next = step as f64 * per_step;
        let reached = course.at(next);
        crossings(terrain, passed, reached, &mut between);
        for crossing in &between {
            let share = here + crossing * (next - here);
            add(share, course.at(share))?;
        }
        add(next, reached)?;
        (here, passed) = (next, reached);
    }
    if clutter_m.iter().any(|height_m| *height_m > 0.0) {
        clutters_m
            .extend(distances_km.iter().map(|distance_km| clutter_at(*distance_km, length_km, clutter_m)));
    }
    Some(())
}

/// A geodesic of some kilometres as two parabolas, through its ends and its middle: within 0.2 m over 50 km.
struct Course {
    length_m: f64,
    latitude_deg: [f64; 3],
    longitude_deg: [f64; 3],
}

impl Course {
    fn between(from: Place, to: Place) -> Option<Self> {
        let (line, length_m) = Line::between(from, to).ok()?;
        let middle = line.at(length_m / 2.0);
        let near = |degrees: f64| {
            let away = degrees - from.longitude_deg;
            from.longitude_deg + away - 360.0 * (away / 360.0).round()
        };
        let middle_deg = near(middle.longitude_deg);
        Some(Self {
            length_m,
            latitude_deg: parabola(from.latitude_deg, middle.latitude_deg, to.latitude_deg),
            longitude_deg: parabola(from.longitude_deg, middle_deg, near(to.longitude_deg)),
        })
    }

    fn at(&self, share: f64) -> Place {
        let value = |[constant, slope, bend]: [f64; 3]| constant + share * (slope + share * bend);
        Place { latitude_deg: value(self.latitude_deg), longitude_deg: value(self.longitude_deg) }
    }
}

/// Constant, slope and bend of the parabola through three values at 0, 1/2 and 1.
fn parabola(start: f64, middle: f64, end: f64) -> [f64; 3] {
    let bend = 2.0 * (start + end) - 4.0 * middle;
    [start, end - start - bend, bend]
}

#[cfg(test)]
mod tests {
    use super::{Course, Line, Place};
    use path::geodesic::inverse;

    /// The geodesic itself is held by an independent library in `path`.
    #[test]
    fn two_parabolas_stay_on_the_geodesic_over_fifty_kilometres() {
        for (latitude_deg, longitude_deg, azimuth_deg) in [
            (46.99, 13.0, 90.0),
            (46.99, 13.0, 37.0),
            (60.3, 25.0, -85.0),
            (-33.9, 179.9, 100.0),
            (0.0, 0.0, 45.0),
        ] {
            let from = Place { latitude_deg, longitude_deg };
            let line = Line::new(from, azimuth_deg);
            let course = Course::between(from, line.at(50_000.0)).expect("near");
            for step in 0..=100 {
                let share = f64::from(step) / 100.0;
                let off_m = inverse(course.at(share), line.at(50_000.0 * share)).expect("near").distance_m;
                assert!(off_m < 0.2, "{latitude_deg} {azimuth_deg} {share}: {off_m} m");
            }
        }
    }
}
