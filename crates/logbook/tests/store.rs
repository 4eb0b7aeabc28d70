//! The log on the sample traffic: what was foreseen is in the rows, whatever interrupts it.

#[path = "store/alarms.rs"]
mod alarms;
mod traffic;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::mpsc::{Sender, channel};
use std::sync::{Arc, Mutex};
use std::time::Duration as Wait;

use design::quantity::Duration;
use design::serve::Foreign;
use logbook::network::Downlink;
use logbook::store::StoreError;
use logbook::store::keeper::KeptFrame;
use logbook::store::setup::Site;
use logbook::store::sqlite::{self, Log};
use logbook::store::writer::{Arrival, Listener, Writer};
use rusqlite::Connection;
use serde_json::Value;

/// Passes on what is kept, and remembers what went wrong.
struct Heard {
    kept: Sender<KeptFrame>,
    troubles: Arc<Mutex<Vec<String>>>,
}

impl Listener for Heard {
    fn kept(&mut self, frames: &[KeptFrame]) {
        for frame in frames {
            let _gone = self.kept.send(frame.clone());
        }
    }

    fn answer(&mut self, _: &Downlink) {}

    fn trouble(&mut self, trouble: Option<&StoreError>) {
        let word = trouble.map_or_else(|| "well again".to_owned(), ToString::to_string);
        self.troubles.lock().expect("nobody failed").push(word);
    }
}

/// Writes the frames of these lines into the log at a place and closes it; what became of each frame.
fn write(path: &Path, given: u32, lines: &[traffic::Line]) -> Vec<KeptFrame> {
    write_in(path, traffic::site(given), lines)
}

fn write_in(path: &Path, site: Site, lines: &[traffic::Line]) -> Vec<KeptFrame> {
    let (kept, told) = channel();
    let listener = Heard { kept, troubles: Arc::default() };
    let log = Log::open(path).expect("it opens");
    let writer = Writer::start(log, site, 0, Box::new(listener)).expect("it starts");
    let inbox = writer.inbox();
    for frame in lines.iter().flat_map(traffic::Line::frames) {
        inbox.offer(Arrival::Frame(frame, "udp"), None).expect("there is room");
    }
    drop(inbox);
    writer.stop().expect("all is kept");
    told.into_iter().collect()
}

/// Every frame of the lines has a verdict that was foreseen; the others are no frame.
fn assert_foreseen(lines: &[traffic::Line], kept: &[KeptFrame]) {
    let with_frame: Vec<&traffic::Line> = lines.iter().filter(|line| !line.frames().is_empty()).collect();
    assert_eq!(with_frame.len(), kept.len());
    for (line, kept) in with_frame.iter().zip(kept) {
        assert!(
            line.expected.iter().any(|word| word == kept.verdict),
            "event {}: {}",
            line.event,
            kept.verdict
        );
    }
}

type Values = BTreeMap<String, Value>;

/// Accepted uplinks as the log has them: by device and counter, the port and the values.
fn accepted(log: &Connection) -> BTreeMap<(String, u64, i64), (u64, Values)> {
    let mut statement = log
        .prepare(
            "SELECT node.dev_eui, fcnt, port, vals, edition.fields, message, session.join_nonce FROM frame \
             JOIN session ON session.id = frame.session JOIN node ON node.id = session.node \
             JOIN reading ON reading.frame = frame.id AND NOT rebuilt JOIN edition ON edition.id = reading.edition \
             WHERE verdict IN ('new', 'late')",
        )
        .expect("sound SQL");
    let rows = statement.query_map([], |row| {
        let values: Vec<Value> = serde_json::from_str(&row.get::<_, String>(3)?).expect("a list");
        let fields: Value = serde_json::from_str(&row.get::<_, String>(4)?).expect("JSON");
        let names = fields[row.get::<_, String>(5)?].as_array().expect("a list").clone();
        let name = |name: Value| name.as_str().expect("a name").to_owned();
        let named = names.into_iter().map(name).zip(values).collect();
        Ok(((row.get(0)?, row.get::<_, u32>(1)?.into(), row.get(6)?), (row.get::<_, u32>(2)?.into(), named)))
    });
    rows.expect("it is read").collect::<Result<_, _>>().expect("it is read")
}

/// Accepted uplinks as they were foreseen.
fn foreseen(lines: &[traffic::Line]) -> BTreeMap<(String, u64, i64), (u64, Values)> {
    let devices = traffic::devices();
    let mut joins: BTreeMap<String, i64> = BTreeMap::new();
    let sessions: Value = serde_json::from_str(&traffic::text("datagrams_sessions.json")).expect("JSON");
    let mut found = BTreeMap::new();
    for line in lines {
        for session in sessions.as_array().expect("a list") {
            if session["from_event"].as_u64() == Some(line.event) {
                let name = session["node"].as_str().expect("a name").to_owned();
                joins.insert(name, session["join_nonce"].as_i64().expect("a number"));
            }
        }
        let (Some(node), Some(fcnt), Some(port)) = (&line.node, line.fcnt, line.port) else { continue };
        let dev_eui = devices.iter().find(|device| device.0 == *node).expect("it is known").1;
        found.insert((dev_eui.to_string(), fcnt, joins[node]), (port, line.values.clone()));
    }
    found
}

#[track_caller]
fn assert_same(found: &BTreeMap<(String, u64, i64), (u64, Values)>, lines: &[traffic::Line]) {
    let expected = foreseen(lines);
    assert!(expected.len() > 200);
    assert_eq!(found.keys().collect::<Vec<_>>(), expected.keys().collect::<Vec<_>>());
    for (key, (port, values)) in &expected {
        let (found_port, found_values) = &found[key];
        assert_eq!(found_port, port, "{key:?}");
        for (name, value) in values {
            let found = found_values.get(name).unwrap_or(&Value::Null);
            match (value.as_f64(), found.as_f64()) {
                (Some(expected), Some(found)) => assert!((expected - found).abs() < 1e-9, "{key:?} {name}"),
                (expected, found) => assert_eq!((expected, found), (None, None), "{key:?} {name}"),
            }
        }
    }
}

#[test]
fn the_sample_traffic_is_kept_as_another_implementation_foresaw() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let lines = traffic::lines();
    let kept = write(&path, 0, &lines);
    assert_foreseen(&lines, &kept);
    let log = sqlite::reader(&path).expect("it opens");
    assert_same(&accepted(&log), &lines);
    let count = |sql: &str| log.query_row(sql, [], |row| row.get::<_, i64>(0)).expect("sound SQL");
    let heard = i64::try_from(kept.len()).expect("few");
    assert_eq!(count("SELECT count(*) FROM reception"), heard, "every copy is a reception");
    let copies = kept.iter().filter(|kept| kept.verdict == "copy").count();
    assert_eq!(count("SELECT count(*) FROM frame"), heard - i64::try_from(copies).expect("few"));
    assert_eq!(count("SELECT count(*) FROM frame WHERE verdict LIKE 'refused:%' AND payload IS NOT NULL"), 0);
}

#[test]
fn a_log_that_is_closed_and_opened_again_goes_on_as_if_it_never_was() {
    let folder = tempfile::tempdir().expect("a folder");
    let lines = traffic::lines();
    let whole = folder.path().join("whole.sqlite");
    let kept = write(&whole, 0, &lines);
    for pieces in [2, 7, 23] {
        let path = folder.path().join(format!("in-{pieces}.sqlite"));
        let length = lines.len().div_ceil(pieces);
        let mut in_pieces = Vec::new();
        for piece in lines.chunks(length) {
            let given = sqlite::reader(&path).map_or(0, |log| {
                log.query_row("SELECT count(dev_addr) FROM node", [], |row| row.get(0)).expect("sound SQL")
            });
            in_pieces.extend(write(&path, given, piece));
        }
        assert_eq!(in_pieces, kept, "{pieces} pieces");
        assert_same(&accepted(&sqlite::reader(&path).expect("it opens")), &lines);
    }
}

#[test]
fn every_frame_twice_and_in_both_orders_gives_the_same_readings() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let mut lines = traffic::lines();
    let twice: Vec<traffic::Line> = traffic::lines();
    lines = lines.into_iter().zip(twice).flat_map(|(one, other)| [other, one]).collect();
    write(&path, 0, &lines);
    assert_same(&accepted(&sqlite::reader(&path).expect("it opens")), &traffic::lines());
}

#[test]
fn a_view_has_the_names_of_the_design() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let lines = traffic::lines();
    write(&path, 0, &lines);
    let log = sqlite::reader(&path).expect("it opens");
    let air: f64 = log
        .query_row("SELECT sum(air) FROM v_sample_station_report WHERE NOT rebuilt", [], |row| row.get(0))
        .expect("the view is there");
    let expected = foreseen(&lines);
    let expected: f64 = expected.values().filter_map(|(_, values)| values.get("air")?.as_f64()).sum();
    assert!((air - expected).abs() < 1e-6, "{air} {expected}");
}

#[test]
fn strangers_frames_are_forgotten_after_their_time_and_nothing_else_is() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let kept = write(&path, 0, &traffic::lines());
    // The newest frame stays, whoever sent it, so that its number is not given again.
    let newest = kept.iter().max_by_key(|kept| kept.seq).expect("some are kept");
    let stays = i64::from(newest.verdict == "refused:foreign");
    let count = |verdict: &str| {
        let log = sqlite::reader(&path).expect("it opens");
        let sql = "SELECT count(*) FROM frame WHERE verdict = 'refused:foreign' = (?1 = 'refused:foreign')";
        log.query_row(sql, [verdict], |row| row.get::<_, i64>(0)).expect("sound SQL")
    };
    let (strangers, others) = (count("refused:foreign"), count("others"));
    assert!(strangers >= 8);
    // The traffic is of years ago.
    let foreign = Foreign::Kept(Duration::from_days(30.0));
    write_in(&path, Site { foreign, ..traffic::site(10) }, &[]);
    assert_eq!((count("refused:foreign"), count("others")), (stays, others));
    let log = sqlite::reader(&path).expect("it opens");
    let sql = "SELECT count(*) FROM reception WHERE frame NOT IN (SELECT id FROM frame)";
    assert_eq!(log.query_row(sql, [], |row| row.get::<_, i64>(0)).expect("sound SQL"), 0);
}

#[test]
fn a_second_process_a_newer_log_and_another_file_are_refused_in_words() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let first = Log::open(&path).expect("it opens");
    let second = Log::open(&path).expect_err("the first has it");
    assert_eq!(second.to_string(), format!("process {} writes this log already", std::process::id()));
    drop(first);
    Connection::open(&path)
        .and_then(|log| log.pragma_update(None, "user_version", 99))
        .expect("it is written");
    let newer = Log::open(&path).expect_err("nobody knows edition 99");
    assert!(matches!(newer, StoreError::Newer { found: 99, .. }), "{newer}");
    let other = folder.path().join("other.sqlite");
    Connection::open(&other)
        .and_then(|log| log.execute_batch("CREATE TABLE things (a)"))
        .expect("it is made");
    assert!(matches!(Log::open(&other), Err(StoreError::Damaged { .. })));
    let text = folder.path().join("text.sqlite");
    std::fs::write(&text, "no database, but long enough to be taken for one ".repeat(400)).expect("written");
    assert!(matches!(Log::open(&text), Err(StoreError::Damaged { .. })));
    assert_eq!(std::fs::read(&text).expect("still there").len(), 19_600, "untouched");
}

#[test]
fn one_row_that_cannot_be_kept_keeps_its_bytes_and_stops_no_other() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let lines = traffic::lines();
    // An address that was drawn for a join that was not kept is not drawn again: all ten have theirs before.
    let joined = lines.iter().position(|line| line.fcnt.is_some()).expect("some send");
    let (joins, rest) = lines.split_at(joined);
    write(&path, 0, joins);
    let bad =
        rest.iter().find(|line| line.fcnt == Some(5) && line.expected == ["new"]).expect("one has counter 5");
    let bytes = bad.frames().remove(0).bytes;
    let mut hex = String::new();
    for octet in &bytes {
        write!(hex, "{octet:02X}").expect("a string takes any text");
    }
    let trigger = format!(
        "CREATE TRIGGER bad BEFORE INSERT ON frame WHEN NEW.bytes = x'{hex}' AND NEW.verdict = 'new' \
         BEGIN SELECT RAISE(ABORT, 'this one is not wanted'); END"
    );
    Connection::open(&path).and_then(|log| log.execute_batch(&trigger)).expect("it is made");
    let kept = write(&path, 10, rest);
    let refused: Vec<&KeptFrame> = kept.iter().filter(|kept| kept.verdict == "refused:store").collect();
    assert!(!refused.is_empty());
    assert!(refused[0].reason.as_ref().is_some_and(|why| why.contains("not wanted")));
    let log = sqlite::reader(&path).expect("it opens");
    let found: Vec<u8> = log
        .query_row("SELECT bytes FROM frame WHERE verdict = 'refused:store'", [], |row| row.get(0))
        .expect("it is kept");
    assert_eq!(found, bytes);
    let all = accepted(&log).len();
    assert_eq!(all, foreseen(&lines).len() - 1, "all others are accepted");
}

#[test]
fn a_log_that_is_held_by_another_is_waited_for_and_nothing_is_lost() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let (kept, told) = channel();
    let troubles = Arc::default();
    let listener = Heard { kept, troubles: Arc::clone(&troubles) };
    let log = Log::open(&path).expect("it opens");
    let writer = Writer::start(log, traffic::site(0), 0, Box::new(listener)).expect("it starts");
    let other = Connection::open(&path).expect("it opens");
    other.execute_batch("BEGIN IMMEDIATE").expect("it is free");
    let lines = traffic::lines();
    let inbox = writer.inbox();
    let (done, on_disk) = channel();
    for frame in lines.iter().flat_map(traffic::Line::frames) {
        let done = done.clone();
        let tell = move |_: Option<&KeptFrame>| done.send(()).expect("somebody counts");
        inbox.offer(Arrival::Frame(frame, "udp"), Some(Box::new(tell))).expect("there is room");
    }
    // Held until the writer says that it waits, however slow the machine is.
    while troubles.lock().expect("nobody failed").is_empty() {
        assert!(on_disk.recv_timeout(Wait::from_millis(50)).is_err(), "nothing is told before it is kept");
    }
    other.execute_batch("ROLLBACK").expect("it is given back");
    drop((inbox, done));
    writer.stop().expect("all is kept");
    let kept: Vec<KeptFrame> = told.into_iter().collect();
    assert_eq!(on_disk.into_iter().count(), kept.len());
    assert_foreseen(&lines, &kept);
    let troubles = troubles.lock().expect("nobody failed");
    assert_eq!(troubles.last().map(String::as_str), Some("well again"), "{troubles:?}");
}
