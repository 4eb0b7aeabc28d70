//! P.1812-6 on short paths over real terrain, against the reference implementation.

#![expect(clippy::expect_used, reason = "expect() is a test's refusal")]

mod common;

use path::p1812::{Link, Scratch, location_loss_db, predict};
use serde_json::Value;

/// Source: `tests/data/p1812_short_paths.json` (Py1812). Tolerance: the same formulas in the same precision; 1e-6 dB
/// leaves room for the order of operations only.
#[test]
fn sixty_losses_on_fifteen_short_paths_equal_the_reference_implementation() {
    let mut scratch = Scratch::default();
    let (mut checked, mut worst_db) = (0, 0.0_f64);
    for (case, expected) in common::short_paths() {
        let profile = case.profile();
        for (key, time_percent, location_percent, sigma_db) in [
            ("p50_pL50_sigma0", 50.0, 50.0, 0.0),
            ("p10_pL50_sigma0", 10.0, 50.0, 0.0),
            ("p1_pL50_sigma0", 1.0, 50.0, 0.0),
            ("p50_pL90_sigma6", 50.0, 90.0, 6.0),
        ] {
            let link = Link { time_percent, ..case.link };
            let prediction = predict(&link, &profile, &mut scratch).expect("in range");
            let extra_db = location_loss_db(location_percent, sigma_db).expect("in range");
            let loss_db = prediction.at_location_db(extra_db);
            let expected_db = expected.get(key).and_then(Value::as_f64).expect("a loss");
            worst_db = worst_db.max((loss_db - expected_db).abs());
            checked += 1;
        }
    }
    assert_eq!(checked, 60);
    assert!(worst_db < 1e-6, "worst deviation {worst_db} dB");
}
