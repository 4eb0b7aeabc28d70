//! Tiles of terrain: what is read, what is refused, and the ground between two places.

#![expect(clippy::disallowed_methods, reason = "the test reads its data files")]
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    reason = "the invented heights are small"
)]

use std::path::Path;

use design::quantity::Length;
use forecast::terrain::{GroundError, Place, Terrain, Tile, TileError};
use serde_json::Value;

const JACKSBORO: &[u8] = include_bytes!("data/terrain/jacksboro.tif");

fn place(latitude_deg: f64, longitude_deg: f64) -> Place {
    Place { latitude_deg, longitude_deg }
}

/// An HGT tile of heights by row and column.
fn hgt(side: usize, height: impl Fn(usize, usize) -> i16) -> Vec<u8> {
    let posts = (0..side).flat_map(|row| (0..side).map(move |column| (row, column)));
    posts.flat_map(|(row, column)| height(row, column).to_be_bytes()).collect()
}

/// Even ground that rises by 1 m a post southward and eastward.
fn slope(row: usize, column: usize) -> i16 {
    100 + row as i16 + column as i16
}

/// Even ground is straight between its posts, so bilinear interpolation gives it exactly everywhere.
#[test]
fn even_ground_is_read_exactly_in_both_sizes_of_hgt() {
    for (side, per_deg) in [(1201, 1200.0), (3601, 3600.0)] {
        let tile = Tile::read("N46E013.hgt", &hgt(side, slope)).expect("a tile");
        for (latitude_deg, longitude_deg) in
            [(47.0, 13.0), (46.0, 14.0), (46.99, 13.0), (46.12345, 13.98765), (46.5, 13.33)]
        {
            let expected_m = 100.0 + (47.0 - latitude_deg) * per_deg + (longitude_deg - 13.0) * per_deg;
            let height_m = tile.height_m(place(latitude_deg, longitude_deg)).expect("inside");
            assert!((height_m - expected_m).abs() < 1e-6, "{height_m} for {expected_m}");
        }
        for outside in [(47.001, 13.5), (45.999, 13.5), (46.5, 12.999), (46.5, 14.001), (46.5, -166.5)] {
            assert_eq!(tile.height_m(place(outside.0, outside.1)), None, "{outside:?}");
        }
    }
}

#[test]
fn a_tile_beside_the_date_line_is_found_from_both_sides_of_it() {
    let west = Tile::read("S17E179.hgt", &hgt(1201, slope)).expect("a tile");
    let same = west.height_m(place(-16.5, 180.0)).expect("its east edge");
    assert_eq!(west.height_m(place(-16.5, -180.0)), Some(same));
    assert_eq!(west.height_m(place(-16.5, -179.9)), None);
}

/// Any other length is refused: a cut file never passes for a smaller tile.
#[test]
fn an_hgt_of_any_other_size_is_refused_with_both_sizes_named() {
    let whole = hgt(1201, slope);
    let cuts = (0..64).chain((0..whole.len()).step_by(4099)).chain([whole.len() - 2, whole.len() - 1]);
    for cut in cuts.filter(|cut| *cut > 0) {
        assert_eq!(Tile::from_hgt("N46E013.hgt", &whole[..cut]), Err(TileError::HgtSize { bytes: cut }));
    }
    let error = Tile::read("N46E013.hgt", &whole[..1000]).expect_err("cut").to_string();
    assert!(
        error.contains("1000 bytes") && error.contains("2884802") && error.contains("25934402"),
        "{error}"
    );
    assert_eq!(Tile::read("N46E013.hgt", &[]), Err(TileError::Empty));
    assert_eq!(Tile::read("N46E013.hgt.zip", b"PK\x03\x04rest"), Err(TileError::Packed));
    assert_eq!(Tile::read("notes.txt", b"hello"), Err(TileError::NotTerrain));
    assert!(matches!(Tile::read("alps.hgt", &whole), Err(TileError::HgtName { .. })));
}

#[test]
fn swapped_bytes_are_suspected_and_named() {
    // 300 m with its bytes swapped is 11265 m.
    let swapped: Vec<u8> = hgt(1201, |_, _| 300)
        .chunks(2)
        .flat_map(|post| post.iter().rev().copied().collect::<Vec<_>>())
        .collect();
    let error = Tile::read("N46E013.hgt", &swapped).expect_err("swapped").to_string();
    assert!(error.contains("row 1, column 1 is 11265 m") && error.contains("swapped"), "{error}");
    // One wild height among good ones is no matter of byte order.
    let wild = hgt(1201, |row, column| if (row, column) == (3, 4) { 20_001 } else { 300 });
    let error = Tile::read("N46E013.hgt", &wild).expect_err("wild").to_string();
    assert!(error.contains("row 4, column 5 is 20001 m") && error.contains("no-data"), "{error}");
}

#[test]
fn small_voids_are_filled_and_counted_and_large_ones_stay_void_and_are_named_on_the_path() {
    let small = (600..603, 600..604);
    let large = (300..340, 300..340);
    let bytes = hgt(1201, |row, column| {
        let void =
            [&small, &large].iter().any(|(rows, columns)| rows.contains(&row) && columns.contains(&column));
        if void { i16::MIN } else { slope(row, column) }
    });
    let tile = Tile::read("N46E013.hgt", &bytes).expect("a tile");
    assert_eq!((tile.filled_posts(), tile.void_posts()), (12, 1600));
    let at = |row: f64, column: f64| place(47.0 - row / 1200.0, 13.0 + column / 1200.0);
    // Between known heights all around, the filling lies between them, and on even ground near the truth.
    let filled_m = tile.height_m(at(601.0, 601.5)).expect("filled");
    assert!((filled_m - (100.0 + 601.0 + 601.5)).abs() < 2.0, "{filled_m}");
    assert_eq!(tile.height_m(at(320.0, 320.0)), None);

    let terrain = Terrain::new(vec![tile]);
    let error =
        terrain.between(at(320.0, 200.0), at(320.0, 500.0), Length::from_metres(90.0)).expect_err("a void");
    let GroundError::Void { tile, at: first, distance_km } = &error else { panic!("{error}") };
    // Bilinear heights need all four posts, so the void begins one post before its first.
    let begins = (first.longitude_deg - 13.0) * 1200.0;
    assert!(tile == "N46E013.hgt" && (299.0..301.0).contains(&begins), "{begins}: {error}");
    assert!((distance_km - 6.3).abs() < 0.2, "99 posts of 63 m: {error}");
    assert!(error.to_string().contains("put a tile without it before this one"), "{error}");
    assert_eq!(Tile::read("N46E013.hgt", &hgt(1201, |_, _| i16::MIN)), Err(TileError::AllVoid));
}

#[test]
fn a_path_crosses_the_seam_between_two_tiles_and_says_where_the_last_one_ends() {
    let west = Tile::read("N46E013.hgt", &hgt(1201, |_, column| column as i16)).expect("a tile");
    let east = Tile::read("N46E014.hgt", &hgt(1201, |_, column| 1200 + column as i16)).expect("a tile");
    let terrain = Terrain::new(vec![west, east]);
    let (from, to) = (place(46.5, 13.9), place(46.5, 14.1));
    let section = terrain.between(from, to, Length::from_metres(60.0)).expect("both tiles");
    assert!(section.height_m.windows(2).all(|pair| pair[0] < pair[1]), "no step back at the seam");
    // Heights rise by 1 m a post eastward.
    for (at, height_m) in section.places.iter().zip(&section.height_m) {
        assert!((height_m - (at.longitude_deg - 13.0) * 1200.0).abs() < 1e-6);
    }
    let error = terrain.between(from, place(46.5, 15.2), Length::from_metres(60.0)).expect_err("beyond");
    assert!(matches!(&error, GroundError::Ends { at, .. } if (15.0..15.01).contains(&at.longitude_deg)));
    assert!(error.to_string().contains("N46E015.hgt"), "{error}");
    assert_eq!(terrain.height_m(place(46.5, 15.2)), None);
}

/// Source: facts of the data set (344 by 403 posts of 3 arc-seconds, 236 to 1076 m).
#[test]
fn the_real_tile_has_its_known_size_and_range() {
    let tile = Tile::read("jacksboro.tif", JACKSBORO).expect("a tile");
    assert_eq!((tile.grid().rows, tile.grid().columns), (344, 403));
    assert_eq!(tile.range_m(), (236.0, 1076.0));
    assert_eq!((tile.filled_posts(), tile.void_posts()), (0, 0));
}

/// Source: `p1812_short_paths.json` of `path`: heights sampled bilinearly from the same terrain by a Python program, at
/// equal steps of latitude and longitude, given to 0.1 mm. That program took the north-west corner of the tile for its
/// first post, so its places are half a step further north-west than ours.
#[test]
fn heights_of_the_real_tile_equal_those_of_an_independent_program() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../path/tests/data/p1812_short_paths.json");
    let known: Value =
        serde_json::from_slice(&std::fs::read(file).expect("the file is there")).expect("JSON");
    let tile = Tile::read("jacksboro.tif", JACKSBORO).expect("a tile");
    let half_deg = tile.grid().row_step_deg / 2.0;
    let terrain = Terrain::new(vec![tile]);
    let (mut worst_m, mut checked) = (0.0_f64, 0);
    for path in known["paths"].as_array().expect("paths") {
        let number = |key: &str| path[key].as_f64().expect("a number");
        let heights = path["h_m"].as_array().expect("heights");
        for (step, expected) in heights.iter().enumerate() {
            let share = step as f64 / (heights.len() - 1) as f64;
            let latitude_deg = number("lat_t") + share * (number("lat_r") - number("lat_t"));
            let longitude_deg = number("lon_t") + share * (number("lon_r") - number("lon_t"));
            let at = place(latitude_deg - half_deg, longitude_deg + half_deg);
            let height_m = terrain.height_m(at).expect("on the tile");
            worst_m = worst_m.max((height_m - expected.as_f64().expect("m")).abs());
            checked += 1;
        }
    }
    assert_eq!(checked, 2317);
    assert!(worst_m < 1e-4, "{worst_m} m");
}

/// Law: the place at each step is as far from the start as the step says (`path`'s geodesic is held by its own oracle).
#[test]
fn a_section_follows_the_geodesic_and_has_a_point_on_each_row_and_column_of_posts() {
    let terrain = Terrain::new(vec![Tile::read("N46E006.hgt", &hgt(1201, |_, _| 500)).expect("a tile")]);
    let (from, to) = (place(46.815, 6.944), place(46.765, 6.99));
    let section = terrain.between(from, to, Length::from_metres(80.0)).expect("inside");
    let length_km = path::geodesic::inverse(from, to).expect("near").distance_m / 1000.0;
    assert!(section.distance_km.windows(2).all(|two| two[1] > two[0] && two[1] - two[0] <= 0.080));
    assert!((section.distance_km.last().expect("an end") - length_km).abs() < 1e-12);
    // Posts stand every 3 arc-seconds: 60 rows and 55 columns between the ends.
    let on_post = |degrees: f64| ((degrees * 1200.0) - (degrees * 1200.0).round()).abs() < 1e-3;
    let inner = &section.places[1..section.places.len() - 1];
    assert!(inner.iter().filter(|at| on_post(at.latitude_deg)).count() >= 59);
    assert!(inner.iter().filter(|at| on_post(at.longitude_deg)).count() >= 55);
    for (step, distance_km) in section.distance_km.iter().enumerate() {
        let walked = path::geodesic::inverse(from, section.places[step]).expect("near").distance_m;
        assert!((walked / 1000.0 - distance_km).abs() < 1e-6, "{step}");
    }
    assert!(section.height_m.iter().all(|height_m| (height_m - 500.0).abs() < 1e-9));
}
