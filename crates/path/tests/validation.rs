//! P.1812-6 against the validation set of its reference implementation.
//!
//! The set may not be copied into the project; it is read from a folder beside the repository if that is there.

#![expect(clippy::disallowed_methods, reason = "the test reads its data files")]
#![expect(clippy::expect_used, reason = "expect() is a test's refusal")]

mod common;
#[path = "../../laws/tests/trial/mod.rs"]
#[expect(dead_code, reason = "nothing is drawn here")]
mod notes;

use path::p1812::{Climate, DeltaBullington, Link, Prediction, Scratch, field_strength_dbuv_m, predict};
use path::{Polarisation, Profile, Zone};
use std::path::{Path, PathBuf};

#[test]
fn all_rows_of_the_reference_validation_table_are_met_within_a_millionth_of_a_decibel() {
    let Some(folder) = validation_folder() else { return };
    let table = std::fs::read_to_string(folder.join("p1812_combined_results.csv")).expect("readable");
    let mut scratch = Scratch::default();
    let (mut checked, mut worst_db) = (0, 0.0_f64);
    for row in table.lines().skip(1) {
        let fields: Vec<&str> = row.split(',').map(str::trim).collect();
        let [_, file, dataset, expected, ..] = fields[..] else { panic!("row {row}") };
        let set = ValidationSet::read(&folder.join(file));
        let measurement = set.measurements.get(dataset.parse::<usize>().expect("an index")).expect("a row");
        let prediction = set.predict(measurement, &mut scratch);
        let field = field_strength_dbuv_m(
            measurement.link.frequency_ghz,
            prediction.loss_db,
            measurement.radiated_kw,
        );
        worst_db = worst_db.max((field - number(expected)).abs());
        worst_db = worst_db.max((prediction.loss_db - measurement.loss_db).abs());
        checked += 1;
    }
    assert_eq!(checked, 21);
    assert!(worst_db < 1e-6, "worst deviation {worst_db} dB");
}

#[test]
fn intermediates_of_the_reference_log_are_met_to_the_digits_printed() {
    let Some(folder) = validation_folder() else { return };
    let set = ValidationSet::read(&folder.join("rburg_rural_noclutter.csv"));
    let measurement = set.measurements.get(2).expect("dataset 2");
    let prediction = set.predict(measurement, &mut Scratch::default());
    // The log is of the median and shows diffraction at beta0 all the same: the same for every share of time.
    let rarer = Measurement { link: Link { time_percent: 10.0, ..measurement.link }, ..*measurement };
    let beta = set.predict(&rarer, &mut Scratch::default()).diffraction.beta.expect("below the median");
    let ours = intermediates(measurement, &prediction, &beta);

    let log = std::fs::read_to_string(folder.join("rburg_rural_noclutter_2_log.csv")).expect("readable");
    let (_, derived) = log.split_once("\n,,,,\n").expect("inputs come first");
    let logged: Vec<(&str, f64)> = derived
        .lines()
        .filter(|line| !line.is_empty())
        .map(|line| {
            let fields: Vec<&str> = line.split(',').collect();
            let [name, .., value, _] = fields[..] else { panic!("line {line}") };
            (name, number(value))
        })
        .collect();
    assert_eq!(logged.len(), ours.len());
    for ((name, expected), (ours_name, value)) in logged.into_iter().zip(ours) {
        assert_eq!(name, ours_name);
        // Ten digits are printed; F_k is a difference from 1 there and has lost four of them.
        let digits = if name == "Fk" { 1e-11 } else { 0.0 };
        let half_digit = 0.51 * 10f64.powf(expected.abs().log10().floor() - 9.0);
        assert!((value - expected).abs() <= half_digit.max(digits), "{name}: {value} for {expected}");
    }
}

/// In the order of the log. `htc` and `hrc` are twice there: above the sea, then above the smooth surface; the
/// log's Bullington and spherical losses are those for beta0, its second `hst`, `hsr` those of the ducting model.
fn intermediates(
    measurement: &Measurement,
    prediction: &Prediction,
    beta: &DeltaBullington,
) -> Vec<(&'static str, f64)> {
    let geometry = &prediction.geometry;
    let diffraction = &prediction.diffraction;
    let [smooth_t, smooth_r] = geometry.smooth_m;
    let [diffraction_t, diffraction_r] = geometry.diffraction_smooth_m;
    let [effective_t, effective_r] = geometry.effective_m;
    let climate = measurement.link.climate;
    let field = |kw| field_strength_dbuv_m(measurement.link.frequency_ghz, prediction.loss_db, kw);
    vec![
        ("d (km)", geometry.length_km),
        ("dlt (km)", geometry.transmitter_horizon_km),
        ("dlr (km)", geometry.receiver_horizon_km),
        ("th_t (mrad)", geometry.transmitter_elevation_mrad),
        ("th_r (mrad)", geometry.receiver_elevation_mrad),
        ("th (mrad)", geometry.angular_distance_mrad),
        ("hts (m)", geometry.transmitter_m),
        ("hrs (m)", geometry.receiver_m),
        ("htc (m)", geometry.transmitter_m),
        ("hrc (m)", geometry.receiver_m),
        ("w", prediction.ducting.sea),
        ("dtm (km)", prediction.ducting.longest_land_km),
        ("dlm (km)", prediction.ducting.longest_inland_km),
        ("phi (deg)", climate.latitude_deg),
        ("b0 (%)", prediction.ducting.beta0_percent),
        ("ae (km)", path::p1812::effective_earth_radius_km(climate.lapse_n_km).expect("in range")),
        ("hst (m)", smooth_t),
        ("hsr (m)", smooth_r),
        ("hst (m)", geometry.transmitter_m - effective_t),
        ("hsr (m)", geometry.receiver_m - effective_r),
        ("hstd (m)", diffraction_t),
        ("hsrd (m)", diffraction_r),
        ("htc (m)", geometry.transmitter_m - diffraction_t),
        ("hrc (m)", geometry.receiver_m - diffraction_r),
        ("hte (m)", effective_t),
        ("hre (m)", effective_r),
        ("hm (m)", geometry.roughness_m),
        ("Fi", diffraction.time_blend),
        ("Fj", prediction.angle_blend),
        ("Fk", prediction.distance_blend),
        ("Lbfs", prediction.free_space_db),
        ("Lb0p", prediction.line_of_sight_db),
        ("Lb0b", prediction.line_of_sight_beta_db),
        ("Lbulla (dB)", beta.actual_db),
        ("Lbulls (dB)", beta.smooth_db),
        ("Ldsph (dB)", beta.spherical_db),
        ("Ld50 (dB)", diffraction.median.loss_db),
        ("Ldb (dB)", beta.loss_db),
        ("Ldp (dB)", diffraction.loss_db),
        ("Lbd50 (dB)", prediction.diffracted_median_db),
        ("Lbd (dB)", prediction.diffracted_db),
        ("Lminb0p (dB)", prediction.least_diffracted_db),
        ("Lba (dB)", prediction.ducted_db),
        ("Lminbap (dB)", prediction.least_enhanced_db),
        ("Lbda (dB)", prediction.diffracted_or_enhanced_db),
        ("Lbam (dB)", prediction.modified_db),
        ("Lbs (dB)", prediction.scattered_db),
        ("Lbc (dB)", prediction.combined_db),
        ("Lb (dB)", prediction.loss_db),
        ("Ep (dBuV/m)", field(1.0)),
        ("Ep (dBuV/m) w.r.t. Ptx", field(measurement.radiated_kw)),
    ]
}

/// `None`, and a line that says so, where the folder is not there.
fn validation_folder() -> Option<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/radio");
    if folder.join("p1812_combined_results.csv").is_file() {
        return Some(folder);
    }
    notes::skipped(&notes::Missing::Folder("../shared/data/radio"));
    None
}

struct ValidationSet {
    distance_km: Vec<f64>,
    terrain_m: Vec<f64>,
    clutter_m: Vec<f64>,
    zones: Vec<Zone>,
    measurements: Vec<Measurement>,
}

struct Measurement {
    link: Link,
    radiated_kw: f64,
    loss_db: f64,
}

impl ValidationSet {
    fn read(path: &Path) -> Self {
        let text = std::fs::read_to_string(path).expect("the profile of the row is present");
        let rows: Vec<Vec<&str>> = text.lines().map(|line| line.split(',').collect()).collect();
        let between = |begin: &str, end: &str| {
            let from = rows.iter().position(|row| row[0] == begin).expect("a block begins");
            let to = rows.iter().position(|row| row[0] == end).expect("a block ends");
            &rows[from + 1..to]
        };
        let header = |key: &str| {
            number(
                rows.iter().find(|row| row[0].starts_with(key)).and_then(|row| row.get(1)).expect("a header"),
            )
        };
        let points = &between("{Begin of Profile}", "{End of Profile}")[1..];
        let column = |index: usize| points.iter().map(|row| number(row[index])).collect::<Vec<f64>>();
        let distance_km = column(0);
        let length_km = distance_km.last().copied().expect("points");
        let latitude_deg = common::centre_latitude_deg(
            [header("Tx LAT"), header("Tx LON")],
            [header("Rx LAT"), header("Rx LON")],
            length_km,
        );
        let climate = Climate {
            latitude_deg,
            lapse_n_km: header("Average annual values dN"),
            refractivity_n: header("Average annual sea-level surface refractivity"),
        };
        Self {
            terrain_m: column(1),
            clutter_m: column(3),
            zones: points.iter().map(|row| zone(row[4])).collect(),
            measurements: between("{Begin of Measurements}", "{End of Measurements}")
                .iter()
                .map(|row| Measurement::read(row, climate))
                .collect(),
            distance_km,
        }
    }

    fn predict(&self, measurement: &Measurement, scratch: &mut Scratch) -> Prediction {
        let profile = Profile::new(&self.distance_km, &self.terrain_m, &self.clutter_m, &self.zones);
        predict(&measurement.link, &profile.expect("a valid profile"), scratch).expect("in range")
    }
}

impl Measurement {
    fn read(row: &[&str], climate: Climate) -> Self {
        let link = Link {
            frequency_ghz: number(row[0]) / 1000.0,
            transmitter_m: number(row[1]),
            receiver_m: number(row[3]),
            polarisation: if row[4] == "1" { Polarisation::Horizontal } else { Polarisation::Vertical },
            time_percent: number(row[14]),
            climate,
            coast_km: [500.0, 500.0],
        };
        Self { link, radiated_kw: 10f64.powf(number(row[12]) / 10.0) / 1000.0, loss_db: number(row[17]) }
    }
}

fn zone(code: &str) -> Zone {
    match code {
        "1" => Zone::Sea,
        "3" => Zone::Coastal,
        "4" => Zone::Inland,
        other => panic!("zone {other}"),
    }
}

fn number(text: &str) -> f64 {
    text.trim().parse().expect("a number")
}
