//! The map of losses: the same as link by link, the same on any number of threads, and cancellable.

use std::sync::atomic::{AtomicUsize, Ordering};

use design::quantity::{Decibels, Frequency, Length};
use design::surroundings::{Around, Clutter};
use forecast::radio::coverage::{Coverage, Station, Survey, coverage};
use forecast::radio::trail::{End, Trail, TrailError};
use forecast::terrain::{Grid, Place, Terrain, Tile};
use forecast::{Progress, Silent};

const JACKSBORO: &[u8] = include_bytes!("data/terrain/jacksboro.tif");

fn jacksboro() -> Terrain {
    Terrain::new(vec![Tile::read("jacksboro.tif", JACKSBORO).expect("a tile")])
}

fn station(latitude_deg: f64, longitude_deg: f64, advantage_db: f64) -> Station {
    let place = Place { latitude_deg, longitude_deg };
    let end = End { place, antenna: Length::from_metres(12.0), surroundings: Around::of(Clutter::Open) };
    let advantage = Decibels::from_decibels(advantage_db);
    Station { end, advantage, advantage_outside: advantage }
}

/// Places all over the tile, the outermost beyond its edge.
fn grid(terrain: &Terrain, side: usize) -> Grid {
    let posts = terrain.tiles()[0].grid();
    let (height_deg, width_deg) = (posts.north_deg - posts.south_deg(), posts.east_deg() - posts.west_deg);
    Grid {
        north_deg: posts.north_deg + 0.02 * height_deg,
        west_deg: posts.west_deg - 0.02 * width_deg,
        row_step_deg: 1.04 * height_deg / (side - 1) as f64,
        column_step_deg: 1.04 * width_deg / (side - 1) as f64,
        rows: side,
        columns: side,
    }
}

fn survey<'a>(terrain: &'a Terrain, stations: &'a [Station], side: usize) -> Survey<'a> {
    Survey {
        terrain,
        stations,
        antenna: Length::from_metres(2.0),
        surroundings: Around::of(Clutter::Open),
        frequency: Frequency::from_megahertz(868.1),
        grid: grid(terrain, side),
    }
}

fn unwatched(survey: &Survey<'_>, threads: usize) -> Coverage {
    coverage(survey, threads, &Silent).expect("in range").expect("not stopped")
}

/// Law: a pixel is a link. 0.05 dB leaves room for a course within 0.2 m of the geodesic and for the climate at
/// the latitude of the path's own middle.
#[test]
fn every_pixel_has_the_loss_of_its_link() {
    let terrain = jacksboro();
    let stations = [station(36.6, -84.25, 0.0)];
    let survey = survey(&terrain, &stations, 24);
    let map = unwatched(&survey, 2);
    let (mut checked, mut off_the_tile) = (0, 0);
    for (row, column) in (0..24).flat_map(|row| (0..24).map(move |column| (row, column))) {
        let place = survey.grid.place(row, column);
        let node = End { place, antenna: survey.antenna, surroundings: survey.surroundings };
        match Trail::over(&terrain, &node, &stations[0].end, survey.frequency) {
            Ok(trail) => {
                let loss_db = f64::from(map.loss_db(row, column).expect("known"));
                assert!((loss_db - trail.loss.decibels()).abs() < 0.05, "{row} {column}: {loss_db}");
                checked += 1;
            }
            Err(TrailError::Ground(_)) => {
                assert_eq!(map.loss_db(row, column), None);
                off_the_tile += 1;
            }
            Err(other) => panic!("{other}"),
        }
    }
    assert_eq!((checked, off_the_tile), (22 * 22, 24 * 24 - 22 * 22));
    assert_eq!(map.loss_db(0, 24), None);
}

#[test]
fn a_second_gateway_never_raises_a_loss_and_its_advantage_counts() {
    let terrain = jacksboro();
    let both = [station(36.6, -84.25, 0.0), station(36.5, -84.15, 3.0)];
    let alone = unwatched(&survey(&terrain, &both[..1], 20), 1);
    let together = unwatched(&survey(&terrain, &both, 20), 1);
    let second = unwatched(&survey(&terrain, &both[1..], 20), 1);
    let equal = [station(36.5, -84.15, 0.0)];
    let plain = unwatched(&survey(&terrain, &equal, 20), 1);
    let mut heard_by = [0; 2];
    for at in 0..400 {
        if alone.loss_db[at].is_nan() {
            continue;
        }
        assert!((together.loss_db[at] - alone.loss_db[at].min(second.loss_db[at])).abs() < 1e-6);
        assert!((plain.loss_db[at] - second.loss_db[at] - 3.0).abs() < 1e-3);
        heard_by[usize::from(together.best[at])] += 1;
    }
    assert!(heard_by.iter().all(|pixels| *pixels > 40), "{heard_by:?}");
}

#[test]
fn any_number_of_threads_gives_the_same_bytes() {
    let terrain = jacksboro();
    let stations = [station(36.6, -84.25, 0.0)];
    let survey = survey(&terrain, &stations, 30);
    let bits = |map: &Coverage| map.loss_db.iter().map(|loss_db| loss_db.to_bits()).collect::<Vec<_>>();
    let one = unwatched(&survey, 1);
    for threads in [0, 2, 5, 64] {
        let other = unwatched(&survey, threads);
        assert_eq!(bits(&other), bits(&one), "{threads} threads");
        assert_eq!(other.best, one.best);
    }
}

/// Counts rows, and stops after some.
struct StopsAfter(usize, AtomicUsize);

impl Progress for StopsAfter {
    fn report(&self, done: usize, total: usize) {
        assert!(done >= 1 && done <= total && total == 30);
        self.1.fetch_add(1, Ordering::Relaxed);
    }
    fn stop(&self) -> bool {
        self.1.load(Ordering::Relaxed) >= self.0
    }
}

#[test]
fn a_stopped_map_is_no_map_and_a_whole_one_reports_every_row() {
    let terrain = jacksboro();
    let stations = [station(36.6, -84.25, 0.0)];
    let survey = survey(&terrain, &stations, 30);
    let stopped = StopsAfter(7, AtomicUsize::new(0));
    assert_eq!(coverage(&survey, 2, &stopped), Ok(None));
    assert!((7..9).contains(&stopped.1.into_inner()));
    let whole = StopsAfter(31, AtomicUsize::new(0));
    assert!(matches!(coverage(&survey, 2, &whole), Ok(Some(_))));
    assert_eq!(whole.1.into_inner(), 30);
}

#[test]
fn odd_frequencies_are_refused_before_any_work() {
    let terrain = jacksboro();
    let stations = [station(36.6, -84.25, 0.0)];
    let odd = Survey { frequency: Frequency::from_megahertz(2.0), ..survey(&terrain, &stations, 30) };
    assert!(matches!(coverage(&odd, 2, &Silent), Err(TrailError::Model(_))));
}

/// Far away two rays fade with the height over the ground, which counts as sqrt(h^2 + h0^2), h0 = (wavelength / 2 pi) e /
/// sqrt(e - 1) for upright antennas (Bullington's least effective height, from memory): by hand 0.264 m over land of
/// permittivity 22 at 868 MHz, and from 1 m to 0.3 m 20 log10(1.034 / 0.400) = 8.26 dB.
#[test]
fn an_antenna_below_one_metre_loses_what_two_rays_lose() {
    let terrain = jacksboro();
    let stations = [station(36.6, -84.25, 0.0)];
    let at = |metres: f64| {
        let antenna = Length::from_metres(metres);
        unwatched(&Survey { antenna, ..survey(&terrain, &stations, 4) }, 1).loss_db
    };
    let (low, metre) = (at(0.3), at(1.0));
    let known: Vec<f32> =
        low.iter().zip(&metre).map(|(low, metre)| low - metre).filter(|db| !db.is_nan()).collect();
    assert!(!known.is_empty());
    assert!(known.iter().all(|db| (*db - 8.26).abs() < 0.3), "{known:?}");
}

/// Law: within 250 m it is free space, which over 100 m at 868.1 MHz is 20 log10(0.1) + 20 log10(0.8681) + 92.45 = 71.2 dB.
#[test]
fn around_the_gateway_the_loss_is_that_of_free_space() {
    let terrain = jacksboro();
    let stations = [station(36.6, -84.25, 0.0)];
    let grid = Grid {
        north_deg: 36.6,
        west_deg: -84.25 + 100.0 / (111_320.0 * 36.6_f64.to_radians().cos()),
        row_step_deg: 1e-4,
        column_step_deg: 1e-4,
        rows: 2,
        columns: 2,
    };
    let map = unwatched(&Survey { grid, ..survey(&terrain, &stations, 2) }, 1);
    assert!((map.loss_db[0] - 71.2).abs() < 0.4, "{}", map.loss_db[0]);
}
