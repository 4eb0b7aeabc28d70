//! P.2108 height gain against an independent program.

#![expect(clippy::expect_used, reason = "expect() is a test's refusal")]

use path::terminal::{Surroundings, height_gain_db};
use serde_json::{Map, Value};

/// Source: `tests/data/p2108_heightgain.json` (proplib-p2108 1.1.0). Same formulas, so only rounding may differ.
#[test]
fn all_terminal_losses_equal_the_independent_program() {
    let file: Map<String, Value> =
        serde_json::from_str(include_str!("data/p2108_heightgain.json")).expect("JSON");
    assert_eq!(file.len(), 54);
    for (key, expected) in &file {
        let [frequency, antenna, surroundings, clutter, street] = key.split(' ').collect::<Vec<_>>()[..]
        else {
            panic!("key {key}")
        };
        let number = |text: &str, head: &str, tail: &str| -> f64 {
            text.trim_start_matches(head).trim_end_matches(tail).parse().expect("a number")
        };
        let loss_db = height_gain_db(
            number(frequency, "", "GHz"),
            number(antenna, "h", ""),
            surroundings_named(surroundings),
            number(clutter, "R=", ""),
            number(street, "ws=", ""),
        )
        .expect("in range");
        let expected_db = expected.as_f64().expect("a loss");
        assert!((loss_db - expected_db).abs() < 1e-9, "{key}: {loss_db} for {expected_db}");
    }
}

#[test]
fn an_antenna_above_its_clutter_loses_nothing() {
    for surroundings in [Surroundings::Open, Surroundings::Forest] {
        assert_eq!(height_gain_db(0.868, 10.0, surroundings, 10.0, 27.0), Ok(0.0));
    }
}

#[test]
fn frequencies_above_three_gigahertz_are_refused() {
    assert!(height_gain_db(3.1, 2.0, Surroundings::Forest, 10.0, 27.0).is_err());
}

fn surroundings_named(name: &str) -> Surroundings {
    match name {
        "WaterSea" => Surroundings::Water,
        "OpenRural" => Surroundings::Open,
        "Suburban" => Surroundings::Suburban,
        "Urban" => Surroundings::Urban,
        "TreesForest" => Surroundings::Forest,
        "DenseUrban" => Surroundings::DenseUrban,
        other => panic!("surroundings {other}"),
    }
}
