//! The archive is read without this program: by another reader of CSV, another digest, and a decoder of four lines.

#[expect(dead_code, reason = "the archive needs no expectations")]
mod traffic;

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use logbook::network::Downlink;
use logbook::store::keeper::KeptFrame;
use logbook::store::sqlite::{self, Log};
use logbook::store::writer::{Arrival, Listener, Writer};
use logbook::store::{StoreError, archive};

struct Quiet;

impl Listener for Quiet {
    fn kept(&mut self, _: &[KeptFrame]) {}
    fn answer(&mut self, _: &Downlink) {}
    fn trouble(&mut self, trouble: Option<&StoreError>) {
        assert!(trouble.is_none(), "{trouble:?}");
    }
}

/// Rows of a table by the names of its columns.
fn table(folder: &Path, name: &str) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_path(folder.join(format!("log/{name}.csv"))).expect("it is there");
    reader.deserialize().collect::<Result<_, _>>().expect("sound CSV")
}

/// Some bits of hex digits, most significant first.
fn bits(digits: &str, from: u32, count: u32) -> f64 {
    let all = u64::from_str_radix(digits, 16).expect("hex digits");
    let length = 4 * u32::try_from(digits.len()).expect("short");
    ((all >> (length - from - count)) & ((1 << count) - 1)) as f64
}

#[test]
fn an_archive_is_whole_and_can_be_read_without_this_program() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let log = Log::open(&path).expect("it opens");
    let writer = Writer::start(log, traffic::site(0), 0, Box::new(Quiet)).expect("it starts");
    let inbox = writer.inbox();
    for frame in traffic::lines().iter().flat_map(traffic::Line::frames) {
        inbox.offer(Arrival::Frame(frame, "udp"), None).expect("there is room");
    }
    drop(inbox);
    writer.stop().expect("all is kept");

    let to = folder.path().join("archive");
    let log = sqlite::reader(&path).expect("it opens");
    let site = [("larkmoor.toml".to_owned(), b"schema = 1\n".to_vec())];
    let rows = archive::write(&log, &to, &site).expect("it is written");
    let count = |sql: &str| log.query_row(sql, [], |row| row.get::<_, u32>(0)).expect("sound SQL") as usize;
    assert!(rows > count("SELECT count(*) FROM frame") + count("SELECT count(*) FROM reception"));
    assert_eq!(std::fs::read(to.join("site/larkmoor.toml")).expect("it is there"), b"schema = 1\n");
    assert_eq!(
        std::fs::read_to_string(to.join("editions/1.toml")).expect("it is there"),
        traffic::text("station.toml")
    );

    let frames = table(&to, "frame");
    assert_eq!(frames.len(), count("SELECT count(*) FROM frame"));
    assert_eq!(table(&to, "reception").len(), count("SELECT count(*) FROM reception"));
    let payloads: BTreeMap<&str, &str> = frames.iter().map(|row| (&*row["id"], &*row["payload"])).collect();
    let mut decoded = 0;
    for reading in
        table(&to, "reading").iter().filter(|row| row["message"] == "report" && row["marks"].is_empty())
    {
        let payload = payloads[&*reading["frame"]];
        // station.toml, in the order of the file: 0.1 Cel from -40, 1 %, 10 mV from 2500, 2 mm.
        let values = [
            (bits(payload, 0, 10) - 400.0) / 10.0,
            bits(payload, 10, 7),
            2500.0 + 10.0 * bits(payload, 17, 8),
            2.0 * bits(payload, 25, 11),
        ];
        let kept: Vec<Option<f64>> = serde_json::from_str(&reading["vals"]).expect("a list");
        for (value, kept) in values.iter().zip(kept) {
            assert!(kept.is_none_or(|kept| (kept - value).abs() < 1e-9), "{payload}: {values:?}");
        }
        decoded += 1;
    }
    assert!(decoded > 100, "{decoded}");

    if let Ok(checked) =
        Command::new("sha256sum").args(["--check", "--quiet", "SHA256SUMS"]).current_dir(&to).status()
    {
        assert!(checked.success());
    }
    let again = archive::write(&log, &to, &site).expect_err("it is there already");
    assert!(again.to_string().contains("is there already"), "{again}");
    for key in traffic::text("devices.csv").lines().skip(1).filter_map(|line| line.rsplit(',').next()) {
        for name in ["frame", "session", "node", "edition", "meta"] {
            let text = std::fs::read_to_string(to.join(format!("log/{name}.csv"))).expect("it is there");
            assert!(!text.to_lowercase().contains(&key.to_lowercase()), "a key in {name}");
        }
    }
}
