//! Building entry loss against the reference workbook of its Recommendation.

#![expect(clippy::expect_used, reason = "expect() is a test's refusal")]

use path::entry::{Building, loss_db};
use proptest::prelude::*;

/// Source: the workbook "Clutter and BEL" of ITU-R Study Group 3, 28 GHz, 0 degrees, as the public reference
/// implementation of P.2109 is validated with it, to the three digits printed. Deviates: standard normal quantiles of
/// 0.0001, 0.1, 1, 10, 50.11872, 79.43282, 95.49926 and 99.77001 % by Python's `statistics.NormalDist`.
#[test]
fn losses_equal_the_reference_workbook() {
    for (deviate, traditional_db, insulated_db) in [
        (-4.753424309, 0.074, -1.437),
        (-3.090232306, 1.671, 4.774),
        (-2.326347874, 2.769, 9.369),
        (-1.281551566, 6.891, 19.484),
        (0.002975873, 20.218, 41.732),
        (0.821531481, 30.317, 57.223),
        (1.695319645, 41.218, 73.818),
        (2.833800765, 55.440, 95.448),
    ] {
        for (building, expected_db) in
            [(Building::Traditional, traditional_db), (Building::Insulated, insulated_db)]
        {
            let loss_db = loss_db(28.0, building, deviate).expect("in range");
            assert!(
                (loss_db - expected_db).abs() < 6e-4,
                "{building:?} {deviate}: {loss_db} for {expected_db}"
            );
        }
    }
}

/// Source: computed from the equations of the Recommendation by a program of another author, in Python.
#[test]
fn losses_at_868_megahertz_are_those_worked_out_by_hand() {
    for (building, median_db, one_in_ten_db) in
        [(Building::Traditional, 14.219, 25.044), (Building::Insulated, 31.210, 46.550)]
    {
        for (deviate, expected_db) in [(0.0, median_db), (1.281551566, one_in_ten_db)] {
            let loss_db = loss_db(0.868, building, deviate).expect("in range");
            assert!((loss_db - expected_db).abs() < 6e-4, "{building:?}: {loss_db} for {expected_db}");
        }
    }
}

#[test]
fn frequencies_and_deviates_beyond_range_are_refused() {
    for (frequency_ghz, deviate) in [(0.05, 0.0), (101.0, 0.0), (0.868, 6.0), (0.868, f64::NAN)] {
        assert!(loss_db(frequency_ghz, Building::Traditional, deviate).is_err());
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_worse_spot_never_loses_less(frequency_ghz in 0.1..6.0_f64, deviate in -4.0..4.0_f64, more in 0.0..0.7_f64) {
        for building in [Building::Traditional, Building::Insulated] {
            let [here_db, there_db] = [deviate, deviate + more]
                .map(|deviate| loss_db(frequency_ghz, building, deviate).expect("in range"));
            prop_assert!(there_db >= here_db && here_db > -3.0, "{here_db} dB, then {there_db} dB");
        }
    }
}
