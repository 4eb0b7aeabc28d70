//! What P.1812-6 can't answer is refused, and the refusal says what was allowed.

#![expect(clippy::expect_used, reason = "expect() is a test's refusal")]

mod common;

use path::p1812::{ANTENNA, FREQUENCY, LAPSE, LATITUDE, Link, REFRACTIVITY, Scratch, TIME, predict};
use path::{Error, Profile, Range, Zone};

/// Spoils one input of a link.
type Change = fn(&mut Link);

const DISTANCE_KM: [f64; 5] = [0.0, 0.1, 0.2, 0.3, 0.4];
const FLAT_M: [f64; 5] = [100.0; 5];

#[test]
fn inputs_out_of_range_are_refused_with_the_range() {
    let (case, _) = common::short_paths().remove(0);
    let refusal = |change: Change| {
        let mut link = case.link;
        change(&mut link);
        predict(&link, &case.profile(), &mut Scratch::default()).expect_err("out of range")
    };
    let refusals: [(Change, Range, f64); 8] = [
        (|link| link.frequency_ghz = 0.029, FREQUENCY, 0.029),
        (|link| link.frequency_ghz = 6.1, FREQUENCY, 6.1),
        (|link| link.transmitter_m = 0.5, ANTENNA, 0.5),
        (|link| link.receiver_m = 3001.0, ANTENNA, 3001.0),
        (|link| link.time_percent = 0.9, TIME, 0.9),
        (|link| link.climate.latitude_deg = -80.5, LATITUDE, -80.5),
        (|link| link.climate.lapse_n_km = 157.0, LAPSE, 157.0),
        (|link| link.climate.refractivity_n = 0.0, REFRACTIVITY, 0.0),
    ];
    for (change, range, value) in refusals {
        assert_eq!(refusal(change), Error::OutOfRange { range, value, point: None });
    }
    assert!(matches!(refusal(|link| link.frequency_ghz = f64::NAN), Error::OutOfRange { .. }));
}

#[test]
fn a_refusal_reads_as_a_sentence() {
    let error = Error::OutOfRange { range: ANTENNA, value: 0.5, point: None };
    assert_eq!(error.to_string(), "antenna height is 0.5 m; the model holds from 1 to 3000 m");
    let error = Error::OutOfRange { range: Profile::TERRAIN, value: f64::NAN, point: Some(7) };
    assert_eq!(
        error.to_string(),
        "terrain height is NaN m at profile point 7; the model holds from -500 to 9000 m"
    );
}

#[test]
fn a_void_in_the_terrain_is_named_by_its_point() {
    let mut terrain_m = FLAT_M;
    for void in [f64::NAN, -32768.0] {
        terrain_m[3] = void;
        let error = Profile::new(&DISTANCE_KM, &terrain_m, &[], &[]).expect_err("a void");
        assert!(
            matches!(error, Error::OutOfRange { range, point: Some(3), .. } if range == Profile::TERRAIN)
        );
    }
}

#[test]
fn profiles_must_rise_from_zero_and_have_equal_columns() {
    let profile = |distance_km: &[f64]| Profile::new(distance_km, &FLAT_M, &[], &[]).map(|_| ());
    assert_eq!(profile(&[0.1, 0.2, 0.3, 0.4, 0.5]), Err(Error::DistancesNotRising { point: 0 }));
    assert_eq!(profile(&[0.0, 0.1, 0.1, 0.3, 0.4]), Err(Error::DistancesNotRising { point: 2 }));
    assert_eq!(profile(&[0.0, 0.1, f64::NAN, 0.3, 0.4]), Err(Error::DistancesNotRising { point: 2 }));
    assert_eq!(profile(&[0.0, 0.1, 0.2, 0.3]), Err(Error::TooFewPoints { points: 4, min: 5 }));
    let length = profile(&[0.0, 0.01, 0.02, 0.03, 0.04]).expect_err("40 m");
    assert!(matches!(length, Error::OutOfRange { range, .. } if range == Profile::LENGTH));
    let columns = Profile::new(&DISTANCE_KM, &FLAT_M, &[1.0; 4], &[]).expect_err("a clutter short");
    assert_eq!(columns, Error::UnequalLengths { column: "clutter height", points: 4, expected: 5 });
    let columns = Profile::new(&DISTANCE_KM, &FLAT_M, &[], &[Zone::Sea; 6]).expect_err("a zone too many");
    assert_eq!(columns, Error::UnequalLengths { column: "zone", points: 6, expected: 5 });
}
