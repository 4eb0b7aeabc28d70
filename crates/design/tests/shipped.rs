//! Every shipped part and every example loads, and the examples resolve without an error.

use design::catalog::{Catalog, SHIPPED};
use design::diagnostic::Severity;
use design::file::parse;
use design::resolve::resolve;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

#[expect(clippy::disallowed_methods, reason = "a test compares the folder with the list")]
fn toml_files(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).expect("the folder exists");
    let mut files: Vec<PathBuf> = entries
        .map(|entry| entry.expect("readable").path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "toml"))
        .collect();
    files.sort();
    files
}

fn data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data")
}

#[test]
fn every_part_file_in_the_folders_is_in_the_catalogue() {
    for (section, folder) in [
        ("battery", "batteries"),
        ("charger", "chargers"),
        ("panel", "panels"),
        ("radio", "radios"),
        ("receiver", "receivers"),
        ("sensor", "sensors"),
    ] {
        let on_disk: BTreeSet<String> = toml_files(&data().join(folder))
            .iter()
            .map(|path| path.file_stem().expect("a name").to_string_lossy().into_owned())
            .collect();
        let listed: BTreeSet<String> = Catalog::names(section).into_iter().map(str::to_owned).collect();
        assert_eq!(on_disk, listed, "{folder}");
    }
}

#[test]
fn every_region_file_is_built_in() {
    for path in toml_files(&data().join("regions")) {
        let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
        assert!(design::region::Region::builtin(&name).is_some(), "{name}");
    }
}

/// A design around one shipped part; everything else is written so that it suits.
fn around(section: &str, key: &str) -> String {
    let part =
        |wanted: &str, otherwise: &str| if wanted == section { key.to_owned() } else { otherwise.to_owned() };
    let battery = part("battery", "nmc-18650");
    let primary = battery.starts_with("li-");
    let suits = match battery.as_str() {
        name if name.starts_with("lfp") => "voltage = \"3.6 V\"\nrecharge_below = \"3.4 V\"",
        name if name.starts_with("lto") => {
            "voltage = \"2.7 V\"\nrecharge_below = \"2.6 V\"\nprecharge_below = \"2.0 V\""
        }
        name if name.starts_with("nimh") => {
            "voltage = \"1.45 V\"\nrecharge_below = \"1.4 V\"\nprecharge_below = \"1.0 V\""
        }
        name if name.starts_with("super") => "voltage = \"5.0 V\"",
        _ => "",
    };
    let (battery, suits) = if section == "charger" {
        (
            if key == "linear-lfp" {
                "lfp-18650"
            } else if key == "direct-diode" {
                "nimh-aa"
            } else {
                "nmc-18650"
            }
            .to_owned(),
            "",
        )
    } else {
        (battery, suits)
    };
    let power = if primary {
        String::new()
    } else {
        let panel = part("panel", "panel-0w3");
        let charger = part("charger", "linear-usb");
        format!(
            "[panel]\npart = \"{panel}\"\ntilt = \"60 deg\"\nazimuth = \"180 deg\"\n[charger]\npart = \"{charger}\"\n{suits}\n"
        )
    };
    let (radio, receiver, sensor) = (
        part("radio", "radio-mcu-14dbm"),
        part("receiver", "receiver-with-backup"),
        part("sensor", "temperature-humidity"),
    );
    format!(
        "schema = 1\nname = \"Test\"\n[site]\nlatitude = \"47 deg\"\nlongitude = \"13 deg\"\nelevation = \"640 m\"\n[promise]\nunattended = \"5 years\"\n\
         {power}[battery]\npart = \"{battery}\"\n[radio]\npart = \"{radio}\"\nregion = \"EU868\"\ndata_rate = \"DR3\"\npower = \"14 dBm\"\n[receiver]\npart = \"{receiver}\"\n\
         [load.board]\nfloor = \"12 uA\"\n[load.board.activity.report]\nevery = \"10 min\"\nsensors = [\"{sensor}\"]\nsteps = [{{ uplink = {{ payload = \"12 bytes\" }} }}]\n"
    )
}

#[test]
fn every_shipped_part_is_complete_and_in_range() {
    for part in SHIPPED {
        let text = around(part.section, part.key);
        let problems = resolve(&Catalog::builtin(), &parse(&text)).err().unwrap_or_default();
        let errors: Vec<_> = problems.iter().filter(|one| one.severity == Severity::Error).collect();
        assert!(errors.is_empty(), "{} `{}`: {errors:#?}", part.section, part.key);
    }
}
