//! `overwinter learn` on logs of invented nodes whose truth is known (`crates/forecast/tests/data/learn/README.md`).

use std::fs;

use crate::program::{Run, run};

const FOLDER: &str = "crates/forecast/tests/data/learn";

fn learn(case: &str, more: &[&str]) -> Run {
    let (design, log) = (format!("{FOLDER}/{case}.toml"), format!("{FOLDER}/{case}.csv"));
    run(&[&["learn", &design, &log], more].concat())
}

/// The truth: buried since 6 December, silent 10 to 14 days after the end of the log in each of 21 other winters.
#[test]
fn a_buried_panel_is_named_with_its_day_and_what_to_bring() {
    let buried = learn("p-buried", &[]);
    assert_eq!((buried.code, buried.stderr.as_str()), (Some(1), ""));
    assert!(buried.stdout.lines().all(|line| line.chars().count() <= 80), "{}", buried.stdout);
    insta::assert_snapshot!("learn_buried", buried.stdout);
}

/// The truth: full every day, a weak panel that nobody can know of.
#[test]
fn of_a_node_that_is_always_full_it_says_what_cant_be_known() {
    let full = learn("p-full-summer", &[]);
    assert_eq!(full.code, Some(0));
    insta::assert_snapshot!("learn_full", full.stdout);
}

/// The other causes as sentences: 12 V stand at the panel and nothing is charged; three times the load; half a battery.
#[test]
fn each_cause_is_a_sentence_with_what_to_bring() {
    let sentences = ["p-never-charges", "p-sleep-x3", "p-worn", "p-panel-65"].map(|case| {
        let data = learn(case, &["--json"]);
        let data: serde_json::Value = serde_json::from_str(&data.stdout).expect("JSON");
        let causes = data["causes"].as_array().expect("a list").iter();
        let said: Vec<&str> = causes.filter_map(|one| one["sentence"].as_str()).collect();
        format!("{case}: {}", said.join("\n  "))
    });
    insta::assert_snapshot!("learn_causes", sentences.join("\n"));
}

#[test]
fn answers_report_and_measured_sun() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let [answers, page] = ["answers.csv", "page.html"].map(|name| folder.path().join(name));
    let text = |path: &std::path::Path| path.to_str().expect("UTF-8").to_owned();
    let sun = format!("{FOLDER}/p-never-charges.sun.csv");
    let (answers_to, page_to) = (text(&answers), text(&page));
    let run = learn("p-never-charges", &["--sun", &sun, "--answers", &answers_to, "--report", &page_to]);
    assert_eq!((run.code, run.stderr.as_str()), (Some(1), ""));
    assert!(run.stdout.contains("measured sun"), "{}", run.stdout);
    let rows = fs::read_to_string(answers).expect("written");
    assert!(
        rows.starts_with("case,quantity,p05,p50,p95,text\np-never-charges,panel_yield,0.0000,"),
        "{rows}"
    );
    assert!(rows.contains("p-never-charges,cause,,,,charger_idle\n"), "{rows}");
    let page = fs::read_to_string(page).expect("written");
    assert!(page.contains("id=\"measured-title\"") && !page.contains("NaN"));
}

#[test]
fn nonsense_is_refused_with_the_line_and_what_to_do() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let log = folder.path().join("log.csv");
    fs::write(&log, "time_utc,battery_mv\n2025-11-01T00:00:00Z,3.87\n2025-11-01T01:00:00Z,3.86\n")
        .expect("written");
    let design = format!("{FOLDER}/p-nominal.toml");
    let refused = run(&["learn", &design, log.to_str().expect("UTF-8")]);
    assert_eq!((refused.code, refused.stdout.as_str()), (Some(2), ""));
    assert!(refused.stderr.contains("line 2: `battery_mv` is 3.87, as volts would be"), "{}", refused.stderr);
    assert!(refused.stderr.contains("write millivolts, such as 3870"), "{}", refused.stderr);
}

/// One node twice on one site: both are learned, and a file that is of nobody is named.
#[test]
fn nodes_of_a_folder_are_learned_under_the_sky_that_they_share() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let at = |name: &str| folder.path().join(name);
    fs::create_dir(at("logs")).expect("made");
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(FOLDER);
    let text = |name: &str| fs::read_to_string(root.join(name)).expect("it is there");
    fs::write(at("node.toml"), text("p-never-charges.toml")).expect("written");
    let node = |name: &str| {
        format!("[node.{name}]\nkind = \"node.toml\"\nlatitude = \"48.12 deg\"\nlongitude = \"-123.5 deg\"\n")
    };
    let site = format!(
        "schema = 1\nname = \"Meadow\"\n[gateway.hut]\nlatitude = \"48.12 deg\"\nlongitude = \"-123.49 deg\"\n\
         antenna_height = \"5 m\"\nplace = \"outside\"\nsurroundings = \"open\"\n[ground]\naround_nodes = \"open\"\n\
         around_gateways = \"open\"\n{}{}{}",
        node("one"),
        node("two"),
        node("three")
    );
    fs::write(at("site.toml"), site).expect("written");
    for name in ["one", "two", "stray"] {
        fs::write(at("logs").join(format!("{name}.csv")), text("p-never-charges.csv")).expect("written");
    }
    let path = |name: &str| at(name).to_str().expect("UTF-8").to_owned();
    let learned = run(&["learn", "--site", &path("site.toml"), &path("logs"), "--json"]);
    assert_eq!(learned.code, Some(1), "{}", learned.stderr);
    let data: serde_json::Value = serde_json::from_str(&learned.stdout).expect("JSON");
    let nodes = data["nodes"].as_array().expect("a list");
    let names: Vec<&str> = nodes.iter().filter_map(|node| node["node"]["name"].as_str()).collect();
    assert_eq!(names, ["one", "two"]);
    for node in nodes {
        assert_eq!(node["causes"][0]["cause"], "charger_idle", "{}", node["causes"]);
    }
    let left_out = data["left_out"].to_string();
    assert!(left_out.contains("stray.csv is of no node") && left_out.contains("three has no"), "{left_out}");
    let refused = run(&["learn", "--site", &path("site.toml"), &path("node.toml")]);
    assert!(refused.code == Some(2) && refused.stderr.contains("folder"), "{}", refused.stderr);
}
