//! Where a node would be heard: the loss to the gateway that hears it best, over a grid of places.

use std::sync::atomic::{AtomicUsize, Ordering};

use design::quantity::{Decibels, Frequency, Length};
use design::surroundings::Around;
use path::Profile;
use path::clutter::{Columns, Standing, Way};
use path::geodesic::Line;
use path::p1812;

use super::trail::{End, TrailError, end_of_way, way};
use crate::Progress;
use crate::terrain::{Grid, POSTS_A_STEP, Place, Terrain, crossings, steps};

/// A gateway as a map sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Station {
    /// Where it stands.
    pub end: End,
    /// By how much more loss it bears than the figures the map is read with: more gain, less noise. What is not known to be
    /// outside is inside.
    pub advantage: Decibels,
    /// The same if all that is not known to be inside is outside.
    pub advantage_outside: Decibels,
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
    pub surroundings: Around,
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
    /// The loss \[dB\] if all that is not known to be inside is outside; `None` where nothing is left open.
    pub outside_db: Option<Vec<f32>>,
}

impl Coverage {
    /// Loss at a row and column \[dB\]; `None` where it is not known.
    pub fn loss_db(&self, row: usize, column: usize) -> Option<f32> {
        self.at(&self.loss_db, row, column)
    }

    /// The same if all that is not known to be inside is outside.
    pub fn outside_db(&self, row: usize, column: usize) -> Option<f32> {
        self.at(self.outside_db.as_ref()?, row, column)
    }

    fn at(&self, losses_db: &[f32], row: usize, column: usize) -> Option<f32> {
        let at = row.checked_mul(self.grid.columns)?.checked_add(column)?;
        let loss_db = (column < self.grid.columns).then(|| losses_db.get(at).copied()).flatten()?;
        (!loss_db.is_nan()).then_some(loss_db)
    }
}

/// Loss over the grid, on so many threads; the answer does not depend on how many. `None` if asked to stop.
///
/// What holds nearer than the model of paths over terrain goes (250 m), and for antennas under 1 m, is that of a link.
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
            finished.push((row, surveyor.row(row)?));
            progress.report(done.fetch_add(1, Ordering::Relaxed) + 1, rows);
        }
        Ok(finished)
    };
    let parts: Result<Vec<Rows>, path::Error> = std::thread::scope(|scope| {
        let work = &work;
        let handles: Vec<_> = (0..threads.max(1)).map(|_| scope.spawn(work)).collect();
        handles.into_iter().map(|handle| handle.join().expect("a surveyor does not panic")).collect()
    });
    let mut finished = parts?.concat();
    if finished.len() < rows {
        return Ok(None);
    }
    finished.sort_by_key(|(row, _)| *row);
    let cells = || finished.iter().flat_map(|(_, row)| row);
    let is_open = survey.stations.iter().any(|station| station.advantage != station.advantage_outside);
    Ok(Some(Coverage {
        grid: survey.grid,
        loss_db: cells().map(|cell| cell.loss_db).collect(),
        best: cells().map(|cell| cell.best).collect(),
        outside_db: is_open.then(|| cells().map(|cell| cell.outside_db).collect()),
    }))
}

fn check(survey: &Survey<'_>) -> Result<(), TrailError> {
    let frequency_ghz = survey.frequency.megahertz() / 1000.0;
    if !p1812::FREQUENCY.contains(frequency_ghz) {
        let (range, value) = (p1812::FREQUENCY, frequency_ghz);
        return Err(path::Error::OutOfRange { range, value, point: None }.into());
    }
    Ok(())
}

/// A place of the map: its least losses, and the gateway of the first.
#[derive(Clone, Copy)]
struct Cell {
    loss_db: f32,
    best: u8,
    outside_db: f32,
}

/// Rows of the map by their numbers.
type Rows = Vec<(usize, Vec<Cell>)>;

/// One thread's working memory.
struct Surveyor<'a> {
    survey: &'a Survey<'a>,
    ways: Vec<Way>,
    mesh_m: f64,
    columns: Columns,
    distance_km: Vec<f64>,
    ground_m: Vec<f64>,
    standing: Vec<Option<Standing>>,
    between: Vec<f64>,
}

impl<'a> Surveyor<'a> {
    fn new(survey: &'a Survey<'a>) -> Self {
        let node =
            End { place: survey.grid.middle(), antenna: survey.antenna, surroundings: survey.surroundings };
        let meshes = survey.terrain.tiles().iter().map(|tile| tile.grid().spacing_m());
        Self {
            survey,
            ways: survey
                .stations
                .iter()
                .map(|station| way([&station.end, &node], Some(survey.terrain), survey.frequency, 0.0))
                .collect(),
            mesh_m: meshes.fold(f64::INFINITY, f64::min),
            columns: Columns::default(),
            distance_km: Vec::new(),
            ground_m: Vec::new(),
            standing: Vec::new(),
            between: Vec::new(),
        }
    }

    fn row(&mut self, row: usize) -> Result<Vec<Cell>, path::Error> {
        (0..self.survey.grid.columns).map(|column| self.best(self.survey.grid.place(row, column))).collect()
    }

    /// Least loss at a place, and the number of its gateway.
    #[expect(clippy::cast_possible_truncation, reason = "a map needs no tenth of a millibel")]
    fn best(&mut self, node: Place) -> Result<Cell, path::Error> {
        let mut best = Cell { loss_db: f32::NAN, best: 0, outside_db: f32::NAN };
        for (station, number) in self.survey.stations.iter().zip(0..=u8::MAX) {
            let Some(path_db) = self.path_db(usize::from(number), node)? else { continue };
            let loss_db = (path_db - station.advantage.decibels()) as f32;
            if best.loss_db.is_nan() || loss_db < best.loss_db {
                best = Cell { loss_db, best: number, ..best };
            }
            // The least of two, of which the first may not be known.
            best.outside_db = best.outside_db.min((path_db - station.advantage_outside.decibels()) as f32);
        }
        Ok(best)
    }

    /// What is lost on the way from a gateway to a place; `None` where the ground is not known all the way, or goes on
    /// farther than the model.
    fn path_db(&mut self, station: usize, node: Place) -> Result<Option<f64>, path::Error> {
        let (Some(known), Some(way)) = (self.survey.stations.get(station), self.ways.get(station)) else {
            return Ok(None);
        };
        let Some(course) = Course::between(known.end.place, node) else { return Ok(None) };
        let length_km = course.length_m / 1000.0;
        if length_km > Profile::LENGTH.max {
            return Ok(None);
        }
        let mut way = Way { length_km, ..*way };
        let Survey { terrain, antenna, surroundings, .. } = *self.survey;
        if terrain.has_cover() {
            way.ends[1] = end_of_way(&End { place: node, antenna, surroundings }, Some(terrain));
        }
        if self.section(&course).is_none() {
            return Ok(None);
        }
        let loss =
            way.over_mapped_section(&self.distance_km, &self.ground_m, &self.standing, &mut self.columns)?;
        Ok(Some(loss.total_db))
    }

    /// The ground along a course, at the same points as [`Terrain::between`]; `None` where it is not known.
    fn section(&mut self, course: &Course) -> Option<()> {
        let terrain = self.survey.terrain;
        let (distance_km, ground_m, standing) =
            (&mut self.distance_km, &mut self.ground_m, &mut self.standing);
        distance_km.clear();
        ground_m.clear();
        standing.clear();
        let is_mapped = terrain.has_cover();
        let mut add = |share: f64, at: Place| {
            distance_km.push(share * course.length_m / 1000.0);
            ground_m.push(terrain.height_m(at)?);
            if is_mapped {
                standing.push(terrain.obstacle(at));
            }
            Some(())
        };
        let steps = steps(course.length_m, POSTS_A_STEP * self.mesh_m);
        let (mut here, mut passed) = (0.0, course.at(0.0));
        add(here, passed)?;
        for step in 1..=steps {
            let next = step as f64 / steps as f64;
            let reached = course.at(next);
            crossings(terrain, passed, reached, &mut self.between);
            for crossing in &self.between {
                let share = here + crossing * (next - here);
                add(share, course.at(share))?;
            }
            add(next, reached)?;
            (here, passed) = (next, reached);
        }
        Some(())
    }
}

/// A geodesic of some kilometres as two parabolas, through its ends and its middle: within 0.2 m over 50 km.
struct Course {
    length_m: f64,
    latitude_deg: [f64; 3],
    longitude_deg: [f64; 3],
}

impl Course {
    /// `None` between places almost opposite on the globe.
    fn between(from: Place, to: Place) -> Option<Self> {
        let Ok((line, length_m)) = Line::between(from, to) else { return None };
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
