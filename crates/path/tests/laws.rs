//! Laws that P.1812-6 must keep on any terrain.

#![expect(clippy::expect_used, reason = "expect() is a test's refusal")]

mod common;

use common::Case;
use path::p1812::{Climate, Link, Scratch, predict};
use path::{Polarisation, free_space_db};
use proptest::prelude::*;

/// True of these paths and not of all: see `a_higher_antenna_can_cost_decibels_on_some_terrain`.
#[test]
fn more_antenna_height_costs_less_than_three_tenths_of_a_decibel_on_the_short_paths() {
    let mut scratch = Scratch::default();
    let mut worst_db = 0.0_f64;
    for (case, _) in common::short_paths() {
        for raise in [raise_transmitter, raise_receiver] {
            let mut least_db = f64::INFINITY;
            for half_metres in 2..=100 {
                let link = raise(case.link, f64::from(half_metres) / 2.0);
                let loss_db = predict(&link, &case.profile(), &mut scratch).expect("in range").loss_db;
                worst_db = worst_db.max(loss_db - least_db);
                least_db = least_db.min(loss_db);
            }
        }
    }
    assert!(worst_db < 0.3, "a higher antenna costs {worst_db} dB");
}

fn raise_transmitter(link: Link, transmitter_m: f64) -> Link {
    Link { transmitter_m, ..link }
}

fn raise_receiver(link: Link, receiver_m: f64) -> Link {
    Link { receiver_m, ..link }
}

/// The Recommendation's own doing (section 5.6.2 of its Attachment 1): a steep bank close to the mast pulls the
/// smooth surface below that end; a little more mast makes the bank less steep to it, the surface springs back by
/// more than the mast grew, and the spherical part of the loss with it. The law of real masts is kept by the
/// part that sees the actual terrain.
#[test]
fn a_higher_antenna_can_cost_decibels_on_some_terrain() {
    let case = bank_before_the_mast();
    let mut scratch = Scratch::default();
    let mut at = |receiver_m| {
        predict(&raise_receiver(case.link, receiver_m), &case.profile(), &mut scratch).expect("in range")
    };
    let (low, high) = (at(1.0), at(2.5));
    assert!(high.loss_db > low.loss_db + 1.0, "{} dB, then {} dB", low.loss_db, high.loss_db);
    assert!(high.diffraction.median.actual_db < low.diffraction.median.actual_db);
}

#[test]
fn swapping_the_ends_of_real_paths_changes_nothing() {
    let mut scratch = Scratch::default();
    for (case, _) in common::short_paths() {
        let (there, back) = (loss_db(&case, &mut scratch), loss_db(&case.swapped(), &mut scratch));
        assert!((there - back).abs() < 1e-9, "{there} there, {back} back");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn swapping_the_ends_changes_nothing(case in any_case(50.0..=50.0)) {
        let mut scratch = Scratch::default();
        let (there, back) = (loss_db(&case, &mut scratch), loss_db(&case.swapped(), &mut scratch));
        prop_assert!((there - back).abs() < 1e-9, "{there} there, {back} back");
    }

    #[test]
    fn a_median_path_never_beats_free_space(case in any_case(50.0..=50.0)) {
        let length_km = case.distance_km.last().copied().expect("points");
        let loss_db = loss_db(&case, &mut Scratch::default());
        // P.1812 rounds the constant of free space down by 0.048 dB.
        prop_assert!(loss_db > free_space_db(case.link.frequency_ghz, length_km) - 0.05);
    }

    #[test]
    fn a_higher_antenna_never_sees_more_of_the_terrain(case in any_case(50.0..=50.0), rise_m in 0.1..100.0_f64) {
        let mut scratch = Scratch::default();
        let mut actual_db = |receiver_m: f64| {
            let link = raise_receiver(case.link, receiver_m);
            predict(&link, &case.profile(), &mut scratch).expect("in range").diffraction.median.actual_db
        };
        let (low_db, high_db) = (actual_db(case.link.receiver_m), actual_db(case.link.receiver_m + rise_m));
        prop_assert!(high_db < low_db + 1e-9, "{low_db} dB, {rise_m} m higher {high_db} dB");
    }

    #[test]
    fn every_valid_path_has_a_finite_loss(case in any_case(1.0..=50.0)) {
        let prediction = predict(&case.link, &case.profile(), &mut Scratch::default()).expect("in range");
        prop_assert!(prediction.loss_db.is_finite(), "{prediction:?}");
    }

    #[test]
    fn rarer_times_have_less_loss(case in any_case(50.0..=50.0), time_percent in 1.0..49.0_f64) {
        let mut scratch = Scratch::default();
        let median_db = loss_db(&case, &mut scratch);
        let rare = Case { link: Link { time_percent, ..case.link }, ..case };
        let rare_db = loss_db(&rare, &mut scratch);
        prop_assert!(rare_db < median_db + 1e-6, "{rare_db} at {time_percent} %, {median_db} at 50 %");
    }

    #[test]
    fn scratch_remembers_nothing(first in any_case(1.0..=50.0), second in any_case(1.0..=50.0)) {
        let mut used = Scratch::default();
        loss_db(&first, &mut used);
        let fresh_db = loss_db(&second, &mut Scratch::default());
        prop_assert_eq!(loss_db(&second, &mut used).to_bits(), fresh_db.to_bits());
    }
}

fn loss_db(case: &Case, scratch: &mut Scratch) -> f64 {
    predict(&case.link, &case.profile(), scratch).expect("in range").loss_db
}

/// A plateau between two hollows, and a bank of 6 m a hundred metres before the receiver.
fn bank_before_the_mast() -> Case {
    let mut distance_km = Vec::new();
    let mut terrain_m = Vec::new();
    for step in 0..=100 {
        distance_km.push(0.1 * f64::from(step));
        terrain_m.push(match step {
            0..10 => 500.0,
            10..70 => 560.0,
            70..75 => 520.0,
            99 => 446.0,
            _ => 440.0,
        });
    }
    Case {
        distance_km,
        terrain_m,
        clutter_m: vec![0.0; 101],
        link: Link {
            frequency_ghz: 0.868,
            transmitter_m: 2.0,
            receiver_m: 1.0,
            polarisation: Polarisation::Vertical,
            time_percent: 50.0,
            climate: Climate { latitude_deg: 46.9, lapse_n_km: 45.0, refractivity_n: 325.0 },
            coast_km: [500.0, 500.0],
        },
    }
}

/// Random walks of terrain in steps of 30 to 400 m, some with clutter.
fn any_case(time_percent: std::ops::RangeInclusive<f64>) -> impl Strategy<Value = Case> {
    let points = prop::collection::vec((0.03..0.4_f64, -40.0..40.0_f64, 0.0..25.0_f64), 10..150);
    let link = (0.03..6.0_f64, 1.0..200.0_f64, 1.0..200.0_f64, any::<bool>(), time_percent);
    let climate = (-70.0..70.0_f64, 20.0..90.0_f64, 250.0..400.0_f64);
    (points, link, climate).prop_map(|(points, link, (latitude_deg, lapse_n_km, refractivity_n))| {
        let (frequency_ghz, transmitter_m, receiver_m, upright, time_percent) = link;
        let mut case = Case {
            distance_km: vec![0.0],
            terrain_m: vec![500.0],
            clutter_m: vec![0.0],
            link: Link {
                frequency_ghz,
                transmitter_m,
                receiver_m,
                polarisation: if upright { Polarisation::Vertical } else { Polarisation::Horizontal },
                time_percent,
                climate: Climate { latitude_deg, lapse_n_km, refractivity_n },
                coast_km: [500.0, 500.0],
            },
        };
        let (mut distance_km, mut terrain_m) = (0.0, 500.0_f64);
        for (step_km, climb_m, clutter_m) in points {
            distance_km += step_km;
            terrain_m = (terrain_m + climb_m).max(0.0);
            case.distance_km.push(distance_km);
            case.terrain_m.push(terrain_m);
            case.clutter_m.push(clutter_m);
        }
        case
    })
}
