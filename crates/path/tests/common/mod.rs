//! What the tests of P.1812 share.

#![allow(
    clippy::expect_used,
    dead_code,
    reason = "every test file uses a part; expect() is a test's refusal"
)]

use path::p1812::{Climate, Link};
use path::{Polarisation, Profile};
use serde_json::Value;

/// Columns of a profile and the link over it.
#[derive(Debug)]
pub(crate) struct Case {
    pub(crate) distance_km: Vec<f64>,
    pub(crate) terrain_m: Vec<f64>,
    pub(crate) clutter_m: Vec<f64>,
    pub(crate) link: Link,
}

impl Case {
    pub(crate) fn profile(&self) -> Profile<'_> {
        Profile::new(&self.distance_km, &self.terrain_m, &self.clutter_m, &[]).expect("a valid profile")
    }

    /// The same path seen from the other end.
    pub(crate) fn swapped(&self) -> Self {
        let length_km = self.distance_km.last().copied().expect("points");
        let reversed = |column: &[f64]| column.iter().rev().copied().collect::<Vec<_>>();
        Self {
            distance_km: self.distance_km.iter().rev().map(|distance_km| length_km - distance_km).collect(),
            terrain_m: reversed(&self.terrain_m),
            clutter_m: reversed(&self.clutter_m),
            link: Link {
                transmitter_m: self.link.receiver_m,
                receiver_m: self.link.transmitter_m,
                ..self.link
            },
        }
    }
}

/// Latitude half-way along the great circle on a sphere of 6371 km, after `length_km` / 2 from the start, as the
/// reference implementation finds it (P.2001, Attachment H). \[degrees\]
pub(crate) fn centre_latitude_deg(from: [f64; 2], to: [f64; 2], length_km: f64) -> f64 {
    let [lat1, lon1] = from.map(f64::to_radians);
    let [lat2, lon2] = to.map(f64::to_radians);
    let bearing = ((lon2 - lon1).sin() * lat2.cos())
        .atan2(lat1.cos() * lat2.sin() - lat1.sin() * lat2.cos() * (lon2 - lon1).cos());
    let angle = 0.5 * length_km / 6371.0;
    (lat1.sin() * angle.cos() + lat1.cos() * angle.sin() * bearing.cos()).asin().to_degrees()
}

/// The 15 paths of `p1812_short_paths.json`, with what the reference implementation computed on each.
pub(crate) fn short_paths() -> Vec<(Case, Value)> {
    let file: Value = serde_json::from_str(include_str!("../data/p1812_short_paths.json")).expect("JSON");
    let paths = file.get("paths").and_then(Value::as_array).expect("paths");
    paths.iter().map(|path| (short_path(path), path.get("Lb_db").expect("results").clone())).collect()
}

fn short_path(path: &Value) -> Case {
    let number = |key: &str| path.get(key).and_then(Value::as_f64).expect("a number");
    let column = |key: &str| -> Vec<f64> {
        let values = path.get(key).and_then(Value::as_array).expect("a column");
        values.iter().map(|value| value.as_f64().expect("a number")).collect()
    };
    let distance_km = column("d_km");
    let length_km = distance_km.last().copied().expect("points");
    let ends = [[number("lat_t"), number("lon_t")], [number("lat_r"), number("lon_r")]];
    let [from, to] = ends;
    assert_eq!(path.get("pol").and_then(Value::as_str), Some("vertical"), "the only one in the file");
    Case {
        distance_km,
        terrain_m: column("h_m"),
        clutter_m: column("clutter_m"),
        link: Link {
            frequency_ghz: number("freq_ghz"),
            transmitter_m: number("htg"),
            receiver_m: number("hrg"),
            polarisation: Polarisation::Vertical,
            time_percent: 50.0,
            climate: Climate {
                latitude_deg: centre_latitude_deg(from, to, length_km),
                lapse_n_km: number("DN"),
                refractivity_n: number("N0"),
            },
            coast_km: [number("dct"), number("dcr")],
        },
    }
}
