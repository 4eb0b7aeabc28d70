//! `overwinter climate`, and `check` in climates that are given or are not there.

use std::fs;

use crate::program::{Run, program, root, run};

const MAST: &str = "examples/larkmoor/frost-mast.toml";
const WEATHER: &str = "examples/weather/sand-point-ak.csv";

/// Runs a command on the frost mast with something in its file replaced.
fn changed(command: &str, from: &str, to: &str) -> Run {
    let text = fs::read_to_string(root().join(MAST)).expect("reads");
    assert!(text.contains(from));
    let folder = tempfile::tempdir().expect("a temporary folder");
    fs::write(folder.path().join("node.toml"), text.replacen(from, to, 1)).expect("writes");
    let output = program(&[command, "node.toml"]).current_dir(folder.path()).output().expect("starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    Run { code: output.status.code(), stdout: text(output.stdout), stderr: text(output.stderr) }
}

#[test]
fn the_climate_of_the_frost_mast() {
    let built_in = run(&["climate", MAST]);
    assert_eq!((built_in.code, built_in.stderr.as_str()), (Some(0), ""));
    assert!(built_in.stdout.lines().all(|line| line.chars().count() <= 80), "{}", built_in.stdout);
    insta::assert_snapshot!("climate_built_in", built_in.stdout);
    insta::assert_snapshot!("climate_of_hours", run(&["climate", MAST, "--weather", WEATHER]).stdout);
}

#[test]
fn the_data_and_the_report_of_a_climate() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("climate.html");
    let run = run(&["climate", MAST, "--json", "--report", path.to_str().expect("UTF-8")]);
    let data: serde_json::Value = serde_json::from_str(&run.stdout).expect("JSON");
    let months = data["months"].as_array().expect("a list");
    assert_eq!(months.len(), 12);
    for month in months {
        let interval = &month["ground_90_interval_kwh_per_m2_day"];
        let mean = month["ground_kwh_per_m2_day"].as_f64().expect("a number");
        assert!(interval[0].as_f64() < Some(mean) && interval[1].as_f64() > Some(mean), "{month}");
    }
    let page = fs::read_to_string(path).expect("written");
    assert!(page.contains("id=\"climate-title\"") && !page.contains("NaN"));
}

#[test]
fn a_site_far_at_sea_has_no_climate_and_says_what_to_give() {
    let refused = changed("check", "longitude = \"13.00 deg\"", "longitude = \"-40.00 deg\"");
    assert_eq!((refused.code, refused.stdout.as_str()), (Some(2), ""));
    insta::assert_snapshot!("climate_at_sea", refused.stderr);
}

/// Monthly means at 47 N, invented, in the size of those of the Alps' southern foot.
const SUN: [&str; 12] = ["1.2", "2.0", "3.2", "4.2", "5.0", "5.5", "5.6", "4.9", "3.6", "2.3", "1.3", "1.0"];

fn with_sun(december: &str) -> String {
    let mut sun = SUN.map(|figure| format!("\"{figure} kWh/m2\""));
    sun[11] = format!("\"{december} kWh/m2\"");
    format!("[climate]\nsun = [{}]\n\n[promise]\n", sun.join(", "))
}

#[test]
fn monthly_numbers_are_used_and_believed_within_ten_per_cent() {
    let given = changed("climate", "[promise]\n", &with_sun("1.0"));
    assert_eq!(given.code, Some(0), "{}", given.stderr);
    let said = given.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("twelve monthly numbers of sun"), "{said}");
    // 90 % of a normal lie within 1.645 standard deviations of 10 %: a factor of exp(0.1645) = 1.179.
    assert!(said.contains("the ground gets 1.00 kWh a square metre and day in December, and with 90 % certainty 0.85 to 1.18"), "{said}");
}

#[test]
fn more_sun_than_there_is_outside_the_air_is_refused_at_its_line() {
    // 2.6 kWh/m2 reach the top of the air there on the shortest day: 24/pi 1367 1.033 (cos 47 cos 23.45 sin 62.3 - 1.087 sin 47
    // sin 23.45), Duffie & Beckman, eq. 1.10.3.
    let refused = changed("check", "[promise]\n", &with_sun("4.0"));
    assert_eq!((refused.code, refused.stdout.as_str()), (Some(2), ""));
    insta::assert_snapshot!("climate_too_sunny", refused.stderr);
}
