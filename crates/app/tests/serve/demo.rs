//! The demonstration, and what is exported of a log.

use std::collections::BTreeSet;
use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::PathBuf;
use std::process::{Command, Stdio};

use serde_json::Value;

use super::program;

/// Runs the demonstration until it has told so many frames; what it told, and the folder that it named.
fn demo(
    arguments: &[&str],
    typed: &str,
    frames: usize,
    look: impl FnOnce(&PathBuf),
) -> (Vec<Value>, PathBuf) {
    let here = std::env::current_dir().expect("a folder");
    let mut child = program(&here, &[&["demo", "--json"], arguments].concat())
        .stdin(Stdio::piped())
        .spawn()
        .expect("it starts");
    child.stdin.as_mut().expect("it is piped").write_all(typed.as_bytes()).expect("it reads");
    let mut complained = BufReader::new(child.stderr.take().expect("it is piped")).lines();
    let named = complained
        .find_map(|line| {
            let line = line.expect("it is text");
            Some(PathBuf::from(line.strip_prefix("Keys and log lie in ")?.split_once(" and are")?.0))
        })
        .expect("it names its folder");
    assert!(named.join("enrolled/keys.age").is_file());
    let told = BufReader::new(child.stdout.take().expect("it is piped")).lines().take(frames);
    let told: Vec<Value> =
        told.map(|line| serde_json::from_str(&line.expect("text")).expect("JSON")).collect();
    look(&named);
    let number = child.id().to_string();
    assert!(Command::new("kill").args(["-INT", &number]).status().expect("it is asked").success());
    let rest: Vec<String> = complained.map(|line| line.expect("it is text")).collect();
    assert!(child.wait().expect("it ends").success(), "{rest:?}");
    (told, named)
}

#[test]
fn four_nodes_live_and_are_heard_and_nothing_is_left_behind() {
    let (told, folder) = demo(&["--pace", "60"], "mast-hollow forged\n", 120, |folder| {
        let export = |form: &str, name: &str| {
            let done = program(folder, &["export", "larkmoor.toml", form, name]).output().expect("it runs");
            assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        };
        fs::create_dir(folder.join("tables")).expect("it is made");
        export("--csv", "tables");
        let table = fs::read_to_string(folder.join("tables/frost_mast_report.csv")).expect("it is there");
        let titles = table.lines().next().expect("titles");
        assert!(titles.starts_with("time [UTC],node,DevEUI,air_temperature [Cel],"), "{titles}");
        assert!(table.lines().skip(1).all(|row| row.contains(",mast-")), "{table}");
        export("--senml", "readings.json");
        let text = fs::read_to_string(folder.join("readings.json")).expect("it is there");
        let records: Vec<Value> = serde_json::from_str(&text).expect("JSON");
        // RFC 8428, clause 4.1: a base name holds until the next.
        assert!(records[0]["bn"].as_str().is_some_and(|name| name.starts_with("urn:dev:mac:02")));
        assert!(records.iter().any(|record| record["u"] == "Cel" && record["v"].is_number()));
        export("--geojson", "places.json");
        let places: Value =
            serde_json::from_str(&fs::read_to_string(folder.join("places.json")).expect("there"))
                .expect("JSON");
        // RFC 7946, clause 3.1.1: longitude before latitude; Larkmoor lies at 47 N, 13 E.
        let at = &places["features"][0]["geometry"]["coordinates"];
        assert!(at[0].as_f64().is_some_and(|east| (12.9..13.1).contains(&east)), "{at}");
        export("--gpx", "places.gpx");
        let gpx = fs::read_to_string(folder.join("places.gpx")).expect("it is there");
        assert_eq!(gpx.matches("<wpt lat=\"4").count(), 4, "{gpx}");
    });
    let of = |verdict: &str| -> BTreeSet<String> {
        let told = told.iter().filter(|told| told["verdict"] == verdict);
        told.filter_map(|told| Some(told["node"].as_str()?.to_owned())).collect()
    };
    let all = ["hail-net", "mast-hollow", "mast-slope", "spring-tank"].map(str::to_owned);
    assert_eq!(of("join"), BTreeSet::from(all.clone()));
    assert_eq!(of("new"), BTreeSet::from(all));
    assert_eq!(of("refused:mic"), BTreeSet::from(["mast-hollow".to_owned()]), "the forger");
    assert!(!folder.exists(), "keys and log are gone");
}
