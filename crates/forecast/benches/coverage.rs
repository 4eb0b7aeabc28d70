//! What a user waits for: a map of 1000 by 1000 places around one gateway over real terrain, on two threads.
//!
//! `cargo bench -p overwinter-forecast --bench coverage`; figures are kept in `benches/README.md`.

#![expect(clippy::disallowed_methods, clippy::disallowed_types, reason = "a bench looks at the clock")]
#![expect(clippy::print_stdout, reason = "a bench prints")]

use std::time::Instant;

use design::quantity::{Decibels, Frequency, Length};
use design::surroundings::{Around, Clutter};
use forecast::Silent;
use forecast::radio::coverage::{Station, Survey, coverage};
use forecast::radio::trail::End;
use forecast::terrain::{Grid, Place, Terrain, Tile};

/// Longer than this nobody waits for a map \[s\] (own choice).
const LONGEST_S: f64 = 15.0;
const SIDE: usize = 1000;

fn main() {
    let start = Instant::now();
    let tile = Tile::read("jacksboro.tif", include_bytes!("../tests/data/terrain/jacksboro.tif"));
    let terrain = Terrain::new(vec![tile.expect("a tile")]);
    println!("reading the tile   {:6.1} ms", start.elapsed().as_secs_f64() * 1e3);
    let posts = *terrain.tiles()[0].grid();
    let grid = Grid {
        row_step_deg: (posts.north_deg - posts.south_deg()) / (SIDE - 1) as f64,
        column_step_deg: (posts.east_deg() - posts.west_deg) / (SIDE - 1) as f64,
        rows: SIDE,
        columns: SIDE,
        ..posts
    };
    for (words, around, heard) in
        [("open ground", Clutter::Open, 95_000..110_000), ("villages", Clutter::Village, 1..95_000)]
    {
        mapped(&terrain, grid, (words, Around::of(around)), heard);
    }
}

/// One map, and how many of its places lie within 140 dB.
fn mapped(
    terrain: &Terrain,
    grid: Grid,
    (words, surroundings): (&str, Around),
    within: std::ops::Range<usize>,
) {
    let place = Place { latitude_deg: 36.6, longitude_deg: -84.25 };
    let end = End { place, antenna: Length::from_metres(12.0), surroundings };
    let stations = [Station { end, advantage: Decibels::ZERO, advantage_outside: Decibels::ZERO }];
    let survey = Survey {
        terrain,
        stations: &stations,
        antenna: Length::from_metres(2.0),
        surroundings,
        frequency: Frequency::from_megahertz(868.1),
        grid,
    };
    let start = Instant::now();
    let map = coverage(&survey, 2, &Silent).expect("in range").expect("not stopped");
    let seconds = start.elapsed().as_secs_f64();
    let heard = map.loss_db.iter().filter(|loss_db| **loss_db < 140.0).count();
    assert!(map.loss_db.iter().all(|loss_db| loss_db.is_finite()), "the whole tile is known");
    assert!(within.contains(&heard), "{words}: {heard} places within 140 dB are not this map's");
    let per_second = (SIDE * SIDE) as f64 / seconds;
    println!(
        "{words}: 1000 by 1000 places {seconds:5.1} s on two threads, {per_second:.0} links per second end to end"
    );
    println!("within 140 dB      {:6.1} % of the places", heard as f64 / 1e4);
    assert!(seconds < LONGEST_S, "slower than asked: {LONGEST_S} s");
}
