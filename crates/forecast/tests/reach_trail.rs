//! Links over the terrain: loss, clearance, the obstacle that rules, and what is refused.

#![expect(clippy::disallowed_methods, reason = "the test reads its data files")]

use std::path::Path;

use design::quantity::{Frequency, Length};
use design::surroundings::{Around, Clutter};
use forecast::radio::trail::{End, LAPSE_N_KM, Trail, TrailError, Which};
use forecast::terrain::{GroundError, Place, Terrain, Tile};
use proptest::prelude::*;
use serde_json::Value;

const JACKSBORO: &[u8] = include_bytes!("data/terrain/jacksboro.tif");

fn jacksboro() -> Terrain {
    Terrain::new(vec![Tile::read("jacksboro.tif", JACKSBORO).expect("a tile")])
}

fn mhz_868() -> Frequency {
    Frequency::from_megahertz(868.1)
}

fn end(latitude_deg: f64, longitude_deg: f64, antenna_m: f64) -> End {
    let place = Place { latitude_deg, longitude_deg };
    End { place, antenna: Length::from_metres(antenna_m), surroundings: Around::of(Clutter::Open) }
}

/// A ridge of 250 m that runs from north to south at 13.05 E over ground of 100 m.
fn ridge() -> Terrain {
    let height = |_row: usize, column: usize| if column.abs_diff(60) <= 1 { 250_i16 } else { 100 };
    let posts = (0..1201).flat_map(|row| (0..1201).map(move |column| (row, column)));
    let bytes: Vec<u8> = posts.flat_map(|(row, column)| height(row, column).to_be_bytes()).collect();
    Terrain::new(vec![Tile::read("N46E013.hgt", &bytes).expect("a tile")])
}

/// Source: `p1812_short_paths.json`: losses by the reference implementation on profiles of the same terrain. Its places
/// are half a step further north-west (see `terrain.rs`), its lines straight in latitude and longitude, its steps 50 m
/// and its lapse 45, so a loss here is a neighbour's. Its 50 m steps pass by what stands on the posts between, so that a loss
/// here is greater by up to 2.5 dB, and less by 0.3 dB at most.
#[test]
fn losses_over_the_real_tile_are_near_those_of_the_reference_implementation() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../path/tests/data/p1812_short_paths.json");
    let known: Value =
        serde_json::from_slice(&std::fs::read(file).expect("the file is there")).expect("JSON");
    let terrain = jacksboro();
    let half_deg = terrain.tiles()[0].grid().row_step_deg / 2.0;
    let mut differences_db = Vec::new();
    for path in known["paths"].as_array().expect("paths") {
        let number = |key: &str| path[key].as_f64().expect("a number");
        let clutter_m = path["clutter_m"].as_array().expect("clutter").iter().filter_map(Value::as_f64);
        if clutter_m.fold(0.0, f64::max) > 0.0 {
            continue; // clutter all along, which is not how clutter is given here
        }
        let at = |latitude: &str, longitude: &str, height: &str| {
            end(number(latitude) - half_deg, number(longitude) + half_deg, number(height))
        };
        let trail =
            Trail::over(&terrain, &at("lat_t", "lon_t", "htg"), &at("lat_r", "lon_r", "hrg"), mhz_868());
        let loss_db = trail.expect("on the tile").loss.decibels();
        differences_db.push(loss_db - path["Lb_db"]["p50_pL50_sigma0"].as_f64().expect("a loss"));
    }
    assert_eq!(differences_db.len(), 5);
    assert!(differences_db.iter().all(|difference| (-0.3..2.5).contains(difference)), "{differences_db:?}");
    let mean = differences_db.iter().sum::<f64>() / 5.0;
    assert!((0.0..0.8).contains(&mean), "{mean}");
}

/// By hand: the ridge stands 3.80 km from the node, 150 m above both antennas less 20 m; the first zone's radius is
/// sqrt(0.3453 m * 3800 m * 3800 m / 7600 m) = 25.6 m, the bulge 500 * 3.8 * 3.8 / 8495 = 0.85 m.
#[test]
fn the_ridge_between_two_valleys_is_the_obstacle_that_rules() {
    let trail =
        Trail::over(&ridge(), &end(46.5, 13.0, 20.0), &end(46.5, 13.1, 20.0), mhz_868()).expect("inside");
    let obstacle = trail.obstacle().expect("a path has points");
    assert!((obstacle.distance_km - 3.84).abs() < 0.1, "{}", obstacle.distance_km);
    assert!((obstacle.place.longitude_deg - 13.05).abs() < 0.001);
    assert!((obstacle.room_m() - (120.0 - 250.0 - 0.85)).abs() < 0.2, "{}", obstacle.room_m());
    assert!((obstacle.room_zones() - -130.9 / 25.7).abs() < 0.05, "{}", obstacle.room_zones());
    assert!(trail.prediction.geometry.beyond_horizon);
    let free_space_db = trail.prediction.free_space_db;
    assert!(trail.loss.decibels() > free_space_db + 20.0, "a ridge so high costs more than 20 dB");
}

/// By hand: 157 / (157 - 39.25) = 4/3.
#[test]
fn the_air_that_is_taken_everywhere_makes_the_earth_four_thirds_of_its_size() {
    assert!((157.0 / (157.0 - LAPSE_N_KM) - 4.0 / 3.0).abs() < 1e-12);
}

#[test]
fn clutter_around_an_end_costs() {
    let terrain = ridge();
    let (node, gateway) = (end(46.5, 13.2, 2.0), end(46.5, 13.3, 20.0));
    let open = Trail::over(&terrain, &node, &gateway, mhz_868()).expect("inside");
    let in_wood = End { surroundings: Around::of(Clutter::Trees), ..node };
    let wood = Trail::over(&terrain, &in_wood, &gateway, mhz_868()).expect("inside");
    assert!(wood.loss.decibels() > open.loss.decibels() + 5.0);
    assert!(wood.obstacle().is_some_and(|obstacle| obstacle.clutter_m > 14.0 && obstacle.distance_km < 5.0));
}

#[test]
fn what_the_model_does_not_cover_is_refused_by_kind() {
    let terrain = ridge();
    let refuse = |from: End, to: End| Trail::over(&terrain, &from, &to, mhz_868()).expect_err("refused");
    let near = refuse(end(46.5, 13.2, 2.0), end(46.5, 13.2025, 20.0));
    assert!(
        matches!(near, TrailError::TooNear { length, .. } if (length.metres() - 192.0).abs() < 2.0),
        "{near}"
    );
    let low = refuse(end(46.5, 13.2, 0.4), end(46.5, 13.3, 20.0));
    assert!(matches!(low, TrailError::TooLow { which: Which::From, .. }), "{low}");
    assert!(low.to_string().contains("0.4 m above the ground is too low"), "{low}");
    let low = refuse(end(46.5, 13.2, 2.0), end(46.5, 13.3, f64::NAN));
    assert!(matches!(low, TrailError::Model(_)), "a height that is no number: {low}");
    let outside = refuse(end(46.5, 13.2, 2.0), end(46.5, 12.9, 20.0));
    assert!(matches!(outside, TrailError::Ground(GroundError::Ends { .. })), "{outside}");
}

/// Heights on the posts of one degree from 46 N 13 E, 3 arc-seconds apart.
fn heights(height_m: impl Fn(f64, f64) -> f64) -> Terrain {
    let posts = (0..1201).flat_map(|row| (0..1201).map(move |column| (row, column)));
    let at = |(row, column): (i32, i32)| {
        let (latitude, longitude) = (47.0 - f64::from(row) / 1200.0, 13.0 + f64::from(column) / 1200.0);
        #[expect(clippy::cast_possible_truncation, reason = "heights are whole metres below 9000")]
        let whole = height_m(latitude, longitude).round() as i16;
        whole.to_be_bytes()
    };
    let bytes: Vec<u8> = posts.flat_map(at).collect();
    Terrain::new(vec![Tile::read("N46E013.hgt", &bytes).expect("a tile")])
}

/// Rec. ITU-R P.526-15, eqs. (31) and (65), by hand for one edge over an earth of 4/3 of its radius (8495 km).
fn edge_by_hand_db(edge_m: f64, antennas_m: f64, [before_km, after_km]: [f64; 2], mhz: f64) -> f64 {
    let whole_km = before_km + after_km;
    let over_m = edge_m + before_km * after_km * 1000.0 / (2.0 * 8495.0) - antennas_m;
    let wave_m = 299.792458 / mhz;
    let v = over_m * (2.0 * whole_km / (wave_m * before_km * after_km * 1000.0)).sqrt();
    let edge_db = 6.9 + 20.0 * (((v - 0.1).powi(2) + 1.0).sqrt() + v - 0.1).log10();
    edge_db + (1.0 - (-edge_db / 6.0).exp()) * (10.0 + 0.02 * whole_km)
}

/// A wedge of 240 m with flanks of 1 in 12, whose crest crosses the path in its middle at any angle.
#[test]
fn a_wedge_at_any_angle_costs_what_bullington_by_hand_says() {
    let middle = (46.5, 13.05);
    for angle_deg in [0.0_f64, 10.0, 25.0, 45.0, 63.0, 70.0] {
        let (sin, cos) = angle_deg.to_radians().sin_cos();
        let metres = |degrees: f64, of_latitude: f64| degrees * 111_195.0 * of_latitude;
        let terrain = heights(|latitude, longitude| {
            let north = metres(latitude - middle.0, 1.0);
            let east = metres(longitude - middle.1, 46.5_f64.to_radians().cos());
            100.0 + (240.0 - (east * cos + north * sin).abs() / 12.0).max(0.0)
        });
        let (node, gateway) = (end(46.5, 13.0, 20.0), end(46.5, 13.1, 20.0));
        let trail = Trail::over(&terrain, &node, &gateway, mhz_868()).expect("inside");
        let half_km = trail.length.kilometres() / 2.0;
        let by_hand_db = edge_by_hand_db(340.0, trail.end_antenna_m[0], [half_km; 2], 868.1);
        let found_db = trail.prediction.diffraction.median.actual_db;
        assert!((found_db - by_hand_db).abs() < 0.2, "{angle_deg}: {found_db} dB, {by_hand_db} dB by hand");
    }
}

/// A ridge of one post's width is not lost between two samples, wherever the gateway stands.
#[test]
fn a_gateway_moved_by_a_quarter_of_a_post_hears_the_same() {
    let terrain = heights(|_, longitude| if (longitude - 13.05).abs() < 1e-6 { 250.0 } else { 100.0 });
    let losses_db: Vec<f64> = (0..12)
        .map(|step| {
            // 22 m east, at 46.5 degrees north.
            let gateway = end(46.5, 13.1 + f64::from(step) * 0.000_287_4, 20.0);
            let trail = Trail::over(&terrain, &end(46.5, 13.0, 20.0), &gateway, mhz_868());
            trail.expect("inside").loss.decibels()
        })
        .collect();
    let (least, most) = losses_db
        .iter()
        .fold((f64::MAX, f64::MIN), |(least, most), loss_db| (least.min(*loss_db), most.max(*loss_db)));
    assert!(most - least < 0.3, "{losses_db:?}");
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(40) })]

    /// Law: reciprocity. Law: nothing loses less than free space, and two antennas so high that the first Fresnel zone is free
    /// between them lose nothing else: P.1812-6 section 4.3 has no diffraction below nu = -0.78.
    ///
    /// A higher antenna may lose more in this model (up to 0.3 dB on this tile): a horizon that jumps to a farther ridge
    /// moves the point at which Bullington's one edge stands.
    #[test]
    fn swapping_the_ends_changes_nothing_and_above_all_ridges_space_is_free(
        south in 0.05..0.95_f64, west in 0.05..0.95_f64, far_south in 0.05..0.95_f64, far_west in 0.05..0.95_f64,
    ) {
        let terrain = jacksboro();
        let at = |south: f64, west: f64, antenna_m: f64| {
            let grid = terrain.tiles()[0].grid();
            end(
                grid.north_deg + south * (grid.south_deg() - grid.north_deg),
                grid.east_deg() + west * (grid.west_deg - grid.east_deg()),
                antenna_m,
            )
        };
        let (node, gateway) = (at(south, west, 2.0), at(far_south, far_west, 15.0));
        let there = Trail::over(&terrain, &node, &gateway, mhz_868());
        prop_assume!(!matches!(there, Err(TrailError::TooNear { .. })));
        let there = there.expect("on the tile");
        let back = Trail::over(&terrain, &gateway, &node, mhz_868()).expect("on the tile");
        prop_assert!((there.loss.decibels() - back.loss.decibels()).abs() < 1e-4);
        prop_assert!(there.loss.decibels() >= there.prediction.free_space_db - 1e-9);
        let (high, higher) = (at(south, west, 800.0), at(far_south, far_west, 1000.0));
        let above = Trail::over(&terrain, &high, &higher, mhz_868()).expect("on the tile");
        prop_assert!(above.obstacle().is_some_and(|obstacle| obstacle.room_zones() > 1.0));
        prop_assert!((above.loss.decibels() - above.prediction.free_space_db).abs() < 0.01, "{:?}", above.prediction);
    }
}
