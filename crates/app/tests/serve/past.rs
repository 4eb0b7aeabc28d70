//! Files of the past, and pointers by example.

use std::fs;

use super::program;
use super::valley::{messages, rows, valley};

/// Rows of a table, as a person exports it from elsewhere.
const TABLE: &str = "\
Device,Counter,Body,When
02F2A74D52E6B438,1,YAgY2jA=,2025-01-01T00:00:00Z
02F2A74D52E6B438,2,YAgY2jA=,2025-01-01T00:10:00Z
0200000000000009,3,YAgY2jA=,2025-01-01T00:20:00Z
02F2A74D52E6B438,4,YAgY2jA=,yesterday
";
const SOURCE: &str = r#"
[source.old]
csv = { file = "old.csv" }
device = "/Device"
counter = "/Counter"
port_is = 10
payload = { at = "/Body", is = "base64" }
time = { at = "/When", is = "RFC 3339" }
"#;

#[test]
fn a_file_of_the_past_is_read_once_however_often() {
    let folder = valley(SOURCE);
    fs::write(folder.path().join("old.csv"), TABLE).expect("it is written");
    let read = || {
        let done = program(folder.path(), &["serve", "site.toml", "--read-past"]).output().expect("it runs");
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8(done.stdout).expect("text")
    };
    assert_eq!(read(), "old: 2 new, 0 kept before, 2 refused, 0 left out\n");
    assert_eq!(read(), "old: 0 new, 2 kept before, 2 refused, 0 left out\n");
    let kept = rows(&folder.path().join("log.sqlite"));
    // 2025-01-01T00:10:00Z in seconds since 1970, by `date -d`.
    assert_eq!((kept[1].0.as_str(), kept[1].2, kept[1].4), ("new", Some(2), 1_735_690_200.0));
    fs::write(folder.path().join("old.csv"), "Device,Device\n1,2\n").expect("it is written");
    let done = program(folder.path(), &["serve", "site.toml", "--read-past"]).output().expect("it runs");
    assert_eq!(done.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&done.stderr).contains("two columns have one title"));
}

/// Four days of a node, a message every two hours, are learned from the log of its site; nobody else is known there.
#[test]
fn a_node_of_a_site_is_learned_from_its_log() {
    let node =
        "\n[node.ho-000]\nkind = \"station.toml\"\nlatitude = \"46.99 deg\"\nlongitude = \"13.00 deg\"\n";
    let folder = valley(&format!("{SOURCE}{node}"));
    let row = |count: usize| {
        let (day, hour) = (1 + count / 12, count % 12 * 2);
        format!("02F2A74D52E6B438,{count},YAgY2jA=,2025-01-{day:02}T{hour:02}:00:00Z\n")
    };
    let rows: String = (0..48).map(row).collect();
    fs::write(folder.path().join("old.csv"), format!("Device,Counter,Body,When\n{rows}"))
        .expect("it is written");
    let run = |arguments: &[&str]| program(folder.path(), arguments).output().expect("it runs");
    assert!(run(&["serve", "site.toml", "--read-past"]).status.success());
    let learned = run(&["learn", "site.toml", "ho-000", "--json"]);
    assert!(
        learned.status.code().is_some_and(|code| code < 2),
        "{}",
        String::from_utf8_lossy(&learned.stderr)
    );
    let data: serde_json::Value = serde_json::from_slice(&learned.stdout).expect("JSON");
    assert_eq!((&data["node"]["name"], &data["log"]["days"]), (&"ho-000".into(), &4.into()), "{data:#}");
    for (name, why) in [("nobody", "places no node `nobody`"), ("one", "nobody is enrolled as `one`")] {
        let refused = run(&["learn", "site.toml", name]);
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(refused.status.code() == Some(2) && said.contains(why), "{said}");
    }
}

#[test]
fn pointers_are_proposed_from_messages_in_a_file() {
    let folder = valley("");
    let all = messages();
    let lines = all.iter().filter(|message| message.shape == "beta" && message.expected == ["new"]);
    let text: Vec<String> = lines.map(|message| format!("{} {}", message.topic, message.text)).collect();
    fs::write(folder.path().join("seen.jsonl"), text.join("\n")).expect("it is written");
    let done = program(folder.path(), &["serve", "site.toml", "--propose-source", "seen.jsonl"]).output();
    let done = done.expect("it runs");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let told = String::from_utf8(done.stdout).expect("text");
    // The pointers that a person would choose, by the sample traffic; levels count from 1 here.
    for line in [
        "device = \"topic:3\"",
        "counter = \"/meta/seq\"",
        "port = \"/meta/channel\"",
        "payload = { at = \"/hexdata\", is = \"hex\" }",
        "rssi = \"/radio/power_dbm\"",
        "snr = \"/radio/ratio_db\"",
    ] {
        assert!(told.lines().any(|told| told == line), "{line}\n{told}");
    }
    assert!(told.contains("# ho-001: report: air -36.9"), "the first message is decoded beside it: {told}");
}
