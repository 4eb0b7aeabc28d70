//! Hours, days, and history that is read anew: all of it follows from frames and designs, and nothing is lost by it.

#[expect(dead_code, reason = "the rows need no events")]
mod traffic;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use design::catalog::Catalog;
use design::message::{Form, Part};
use logbook::network::{Downlink, PRIVATE, Plan};
use logbook::readings::Kind;
use logbook::received::{Checksum, Radio, Received};
use logbook::store::StoreError;
use logbook::store::again::Again;
use logbook::store::keeper::KeptFrame;
use logbook::store::setup::Site;
use logbook::store::sqlite::{self, Log};
use logbook::store::writer::{Arrival, Listener, Writer};
use rusqlite::Connection;
use wire::frame::{Body, Direction, Draft, FrameControl, Port};
use wire::identity::{DevAddr, DevNonce, JoinNonce};
use wire::payload::Codec;
use wire::session::{Session, SessionKeys};

/// Longer than any machine needs.
const PATIENCE: Duration = Duration::from_mins(1);
const HOUR_US: i64 = 3_600_000_000;

#[derive(Clone, Default)]
struct Told(Arc<Mutex<Vec<Again>>>);

impl Listener for Told {
    fn kept(&mut self, _: &[KeptFrame]) {}
    fn answer(&mut self, _: &Downlink) {}
    fn trouble(&mut self, trouble: Option<&StoreError>) {
        assert!(trouble.is_none(), "{trouble:?}");
    }
    fn decoded_again(&mut self, done: Result<&Again, &StoreError>) {
        self.0.lock().expect("nobody failed").push(done.expect("it can be read").clone());
    }
    fn hours_failed(&mut self, error: &StoreError) {
        panic!("{error}");
    }
}

/// Serves until these frames are kept and no hour is stale; what was said of history that was read anew.
fn serve(path: &Path, site: Site, frames: Vec<Received>) -> Vec<Again> {
    let told = Told::default();
    let log = Log::open(path).expect("it opens");
    let writer = Writer::start(log, site, 0, Box::new(told.clone())).expect("it starts");
    let inbox = writer.inbox();
    let kept = frames.len() as u64;
    for frame in frames {
        inbox.offer(Arrival::Frame(frame, "udp"), None).expect("there is room");
    }
    let counts = writer.counts();
    let begun = Instant::now();
    let reader = sqlite::reader(path).expect("it opens");
    let open =
        "SELECT (SELECT count(*) FROM stale_hour) + (SELECT count(*) FROM meta WHERE key LIKE 'again:%')";
    while counts.kept.load(std::sync::atomic::Ordering::Relaxed) < kept || number(&reader, open) > 0 {
        assert!(begun.elapsed() < PATIENCE, "hours are made within 60 s");
        std::thread::sleep(Duration::from_millis(20));
    }
    drop(inbox);
    writer.stop().expect("all is kept");
    let told = told.0.lock().expect("nobody failed");
    told.clone()
}

fn sum(log: &Connection, sql: &str) -> f64 {
    log.query_row(sql, [], |row| row.get(0)).unwrap_or_else(|error| panic!("{sql}: {error}"))
}

fn number(log: &Connection, sql: &str) -> usize {
    let found: u32 =
        log.query_row(sql, [], |row| row.get(0)).unwrap_or_else(|error| panic!("{sql}: {error}"));
    found as usize
}

fn rows(log: &Connection, sql: &str) -> Vec<String> {
    let mut statement = log.prepare(sql).expect("sound SQL");
    let rows = statement.query_map([], |row| row.get(0)).expect("it is read");
    rows.collect::<Result<_, _>>().expect("texts")
}

fn is_accepted(line: &traffic::Line) -> bool {
    line.expected == ["new"] || line.expected == ["late"]
}

/// n, least, mean, greatest.
type Summary = (i64, f64, f64, f64);

/// What hours and days come to, worked out from the values that the other implementation encoded.
fn foreseen(lines: &[traffic::Line], length_us: i64) -> BTreeMap<(String, String, i64), Summary> {
    let devices = traffic::devices();
    let mut values: BTreeMap<(String, String, i64), Vec<f64>> = BTreeMap::new();
    for line in lines {
        let Some(node) = line.node.as_ref().filter(|_| is_accepted(line)) else { continue };
        let dev_eui = devices.iter().find(|device| device.0 == *node).expect("it is known").1;
        let at = 1_000_000_000_000_000 + 1000 * line.at_ms;
        for (name, value) in &line.values {
            if let Some(value) = value.as_f64() {
                let message = if line.port == Some(10) { "report" } else { "event" };
                let key = (dev_eui.to_string(), format!("{message}.{name}"), at.div_euclid(length_us));
                values.entry(key).or_default().push(value);
            }
        }
    }
    let summary = |values: Vec<f64>| {
        let least = values.iter().copied().fold(f64::INFINITY, f64::min);
        let greatest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (
            i64::try_from(values.len()).expect("few"),
            least,
            values.iter().sum::<f64>() / values.len() as f64,
            greatest,
        )
    };
    values.into_iter().map(|(key, values)| (key, summary(values))).collect()
}

fn made(log: &Connection, table: &str) -> BTreeMap<(String, String, i64), Summary> {
    let sql = format!(
        "SELECT dev_eui, message || '.' || field, {table}, n, least, mean, greatest FROM {table} JOIN node ON node.id = node"
    );
    let mut statement = log.prepare(&sql).expect("sound SQL");
    let found = statement.query_map([], |row| {
        Ok(((row.get(0)?, row.get(1)?, row.get(2)?), (row.get(3)?, row.get(4)?, row.get(5)?, row.get(6)?)))
    });
    found.expect("it is read").collect::<Result<_, _>>().expect("it is read")
}

#[track_caller]
fn assert_summaries(log: &Connection, lines: &[traffic::Line]) {
    for (table, length) in [("hour", HOUR_US), ("day", 24 * HOUR_US)] {
        let (expected, found) = (foreseen(lines, length), made(log, table));
        assert!(expected.len() > 40);
        assert_eq!(found.keys().collect::<Vec<_>>(), expected.keys().collect::<Vec<_>>(), "{table}");
        for (key, (n, least, mean, greatest)) in expected {
            let found = found[&key];
            assert_eq!((found.0, found.1, found.3), (n, least, greatest), "{table} {key:?}");
            assert!((found.2 - mean).abs() < 1e-9, "{table} {key:?}");
        }
    }
}

#[test]
fn hours_and_days_follow_from_the_readings_also_when_made_twice_and_after_a_restart() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let lines = traffic::lines();
    let frames: Vec<Received> = lines.iter().flat_map(traffic::Line::frames).collect();
    // Stopped before any hour is made, most likely; what is stale stays so.
    let log = Log::open(&path).expect("it opens");
    let writer = Writer::start(log, traffic::site(0), 0, Box::new(Told::default())).expect("it starts");
    let inbox = writer.inbox();
    for frame in frames.clone() {
        inbox.offer(Arrival::Frame(frame, "udp"), None).expect("there is room");
    }
    drop(inbox);
    writer.stop().expect("all is kept");
    serve(&path, traffic::site(10), Vec::new());
    let reader = sqlite::reader(&path).expect("it opens");
    assert_summaries(&reader, &lines);
    // All of them stale once more, and one row that nothing stands behind.
    let log = Connection::open(&path).expect("it opens");
    log.execute_batch(
        "INSERT INTO stale_hour SELECT DISTINCT node, hour FROM hour; UPDATE hour SET mean = 0; \
         INSERT INTO hour SELECT node, 'event', 'rain', hour, 1, 9, 9, 9, 0 FROM hour WHERE true ON CONFLICT DO NOTHING",
    )
    .expect("it is written");
    serve(&path, traffic::site(10), Vec::new());
    assert_summaries(&reader, &lines);
}

fn kind(text: String) -> Kind {
    let resolved = design::resolve::resolve(&Catalog::builtin(), &design::file::parse(&text));
    Kind::new(&resolved.expect("it is sound").design, text)
}

fn with_design(given: u32, text: &str) -> Site {
    Site { kinds: vec![(kind(text.to_owned()), Plan::default())], ..traffic::site(given) }
}

const ALL_READINGS: &str = "SELECT node || ' ' || at || ' ' || message || ' ' || frame || ' ' || vals || ' ' || \
                            coalesce(marks, '') || rebuilt || late FROM reading ORDER BY 1";

#[test]
fn a_corrected_design_reads_history_anew() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let lines = traffic::lines();
    serve(&path, traffic::site(0), lines.iter().flat_map(traffic::Line::frames).collect());
    let reader = sqlite::reader(&path).expect("it opens");
    let before = sum(&reader, "SELECT sum(air) FROM v_sample_station_report");
    // Somebody saw that the sensor shows half degrees, and not what it is called.
    let design = traffic::text("station.toml").replace(
        "air = { title = \"air\", unit = \"Cel\", range = [-40, 60], resolution = 0.1 }",
        "warmth = { title = \"air\", unit = \"Cel\", range = [-200, 300], resolution = 0.5 }",
    );
    let told = serve(&path, with_design(10, &design), Vec::new());
    let frames = lines.iter().filter(|line| is_accepted(line)).count();
    let last = told.last().expect("it was read anew");
    assert_eq!((last.frames, last.before, last.after, last.unreadable), (frames, frames, frames, 0));
    // Code c was -40 + c / 10 and is -200 + c / 2: five times as much.
    let after = sum(&reader, "SELECT sum(warmth) FROM v_sample_station_report");
    assert!((after - 5.0 * before).abs() < 1e-6, "{before} {after}");
    assert_eq!(number(&reader, "SELECT count(air) FROM v_sample_station_report"), 0);
    assert_eq!(number(&reader, "SELECT count(*) FROM hour WHERE field = 'air'"), 0);
    let hours = sum(&reader, "SELECT sum(n * mean) FROM hour WHERE field = 'warmth'");
    assert!((hours - after).abs() < 1e-6);
    let deeds = rows(&reader, "SELECT what || ': ' || \"on\" FROM deed");
    let expected = format!(
        "decoded again: {frames} frames, {frames} readings before, {frames} after, 0 frames unreadable: Sample station"
    );
    assert_eq!(deeds, [expected]);
    assert_eq!(number(&reader, "SELECT count(*) FROM edition WHERE until IS NULL"), 1);
    assert_eq!(serve(&path, with_design(10, &design), Vec::new()), [], "the same edition, nothing to do");
}

#[test]
fn what_the_design_of_today_cannot_read_keeps_the_reading_of_before() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    serve(&path, traffic::site(0), traffic::lines().iter().flat_map(traffic::Line::frames).collect());
    let reader = sqlite::reader(&path).expect("it opens");
    let before = rows(&reader, ALL_READINGS);
    let reports = number(&reader, "SELECT count(*) FROM reading WHERE message = 'report'");
    let moved = traffic::text("station.toml").replace("port = 10", "port = 12");
    let told = serve(&path, with_design(10, &moved), Vec::new());
    assert_eq!(told.last().map(|again| again.unreadable), Some(reports));
    assert_eq!(rows(&reader, ALL_READINGS), before);
    assert_eq!(number(&reader, "SELECT count(*) FROM frame WHERE reason LIKE '%port 10%'"), 0);
}

#[test]
fn a_person_may_ask_for_a_part_of_history() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    serve(&path, traffic::site(0), traffic::lines().iter().flat_map(traffic::Line::frames).collect());
    let reader = sqlite::reader(&path).expect("it opens");
    let before = rows(&reader, ALL_READINGS);
    let middle = "SELECT at FROM frame ORDER BY at LIMIT 1 OFFSET (SELECT count(*) / 2 FROM frame)";
    let middle: i64 = reader.query_row(middle, [], |row| row.get(0)).expect("a time");
    let since = format!("SELECT count(*) FROM reading WHERE at >= {middle}");
    Log::open(&path).and_then(|log| log.decode_again("Sample station", Some(middle))).expect("it is noted");
    let told = serve(&path, traffic::site(10), Vec::new());
    assert_eq!(told.last().map(|again| again.frames), Some(number(&reader, &since)));
    assert!(number(&reader, &since) > 50);
    assert_eq!(rows(&reader, ALL_READINGS), before);
}

/// Levels of a tank, one each ten minutes, with two earlier ones in each message.
struct Tank {
    text: String,
    codec: Codec,
    session: Session,
}

impl Tank {
    fn new() -> Self {
        let text = traffic::text("station.toml").replace(
            "[0, 4000], resolution = 2 }",
            "[0, 4000], resolution = 2, history = { earlier = 2, bits = 6 } }",
        );
        let resolved = design::resolve::resolve(&Catalog::builtin(), &design::file::parse(&text));
        let design = resolved.expect("it is sound").design;
        let report = design.messages.iter().find(|message| message.name == "report").expect("it is there");
        let (_, _, _, key) = traffic::devices().remove(0);
        let join_nonce = JoinNonce::from_display_bytes([0, 0, 1]);
        let keys = SessionKeys::derive(&key, join_nonce, PRIVATE, DevNonce::from(1));
        let address = DevAddr::from_display_bytes([1, 0, 0, 1]);
        let session = Session::new(address, &keys.nwk_s_key, &keys.app_s_key);
        Self { text, codec: Codec::new(report), session }
    }

    /// What is in the tank with a counter [mm].
    fn level(fcnt: u32) -> f64 {
        f64::from(1000 + 4 * fcnt)
    }

    fn uplink(&self, fcnt: u32) -> Received {
        let slots = &self.codec.layout(Form::Full).expect("it has one").slots;
        let samples: Vec<_> = (0..slots.len())
            .map(|slot| {
                let value = match (slots[slot].field, slots[slot].part) {
                    (3, Part::Earlier(before)) => Self::level(fcnt.saturating_sub(u32::from(before) + 1)),
                    (3, _) => Self::level(fcnt),
                    (2, _) => 3700.0,
                    _ => 20.0,
                };
                self.codec.sample(Form::Full, slot, value).expect("it fits")
            })
            .collect();
        let payload = self.codec.encode(Form::Full, &samples).expect("it fits").bytes;
        let body =
            Body::Application { port: Port::new(10).expect("a port"), payload: &payload, options: &[] };
        let control = FrameControl::default();
        let draft = Draft { direction: Direction::Up, confirmed: false, control, fcnt, body };
        heard(draft.seal(&self.session).expect("it fits"), 600_000_000 * i64::from(fcnt + 1))
    }
}

fn heard(bytes: Vec<u8>, after_us: i64) -> Received {
    let radio = Radio {
        frequency_hz: 868_100_000,
        data_rate: "SF7BW125".to_owned(),
        rssi_dbm: Some(-97.0),
        snr_db: Some(7.5),
        clock_us: None,
        gps_us: None,
        station: None,
    };
    let gateway = traffic::gateways()[0].1;
    Received { arrived_at: 1_000_000_000_000_000 + after_us, gateway, bytes, checksum: Checksum::Good, radio }
}

/// By hand: the satellites' second 1,584,035,218 is 1,584,035,218 + 315,964,800 - 18 = 1,900,000,000 s of UTC.
#[test]
fn a_gateway_that_knows_the_time_says_when_a_frame_was_heard_unless_that_cant_be() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let tank = Tank::new();
    let (_, dev_eui, join_eui, key) = traffic::devices().remove(0);
    let request = wire::join::seal_request(&key, join_eui, dev_eui, DevNonce::from(1)).to_vec();
    // The gateway held it back for an hour; its clock stood still since 1980; it is an hour ahead.
    let says = [Some(1_584_035_218_000_000), Some(5), Some(1_584_042_418_000_000), None];
    let mut frames = vec![heard(request, 0)];
    for (fcnt, gps_us) in (0..).zip(says) {
        let mut frame = tank.uplink(fcnt);
        frame.arrived_at = 1_900_000_000_000_000 + HOUR_US + i64::from(fcnt);
        frame.radio.gps_us = gps_us;
        frames.push(frame);
    }
    serve(&path, with_design(0, &tank.text), frames);
    let reader = sqlite::reader(&path).expect("it opens");
    let found = rows(
        &reader,
        "SELECT fcnt || ' ' || at_from || ' ' || (frame.at - 1900000000000000) || ' ' || (reading.at = frame.at) FROM frame \
         JOIN reading ON reading.frame = frame.id WHERE fcnt IS NOT NULL AND NOT rebuilt ORDER BY fcnt",
    );
    let expected =
        ["0 gateway 0 1", "1 arrival 3600000001 1", "2 arrival 3600000002 1", "3 arrival 3600000003 1"];
    assert_eq!(found, expected);
}

#[test]
fn readings_that_rode_along_stand_in_for_lost_messages_now_and_when_read_anew() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let tank = Tank::new();
    let (_, dev_eui, join_eui, key) = traffic::devices().remove(0);
    let mut frames =
        vec![heard(wire::join::seal_request(&key, join_eui, dev_eui, DevNonce::from(1)).to_vec(), 0)];
    // 3 is lost; 5 to 8 are lost, and two messages ride along with 9.
    frames.extend([0, 1, 2, 4, 9].map(|fcnt| tank.uplink(fcnt)));
    serve(&path, with_design(0, &tank.text), frames);
    let reader = sqlite::reader(&path).expect("it opens");
    let levels = "SELECT ((at - 1000000000000000) / 600000000 - 1) || ': ' || level || CASE rebuilt WHEN 1 THEN ' rebuilt' \
                  ELSE '' END FROM v_sample_station_report ORDER BY at";
    let expected = [
        "0: 1000",
        "1: 1004",
        "2: 1008",
        "3: 1012 rebuilt",
        "4: 1016",
        "7: 1028 rebuilt",
        "8: 1032 rebuilt",
        "9: 1036",
    ];
    assert_eq!(rows(&reader, levels), expected);
    let airtime = "SELECT DISTINCT airtime_us FROM frame WHERE verdict = 'new'";
    // By hand, SX1276 data sheet 4.1.1.7: SF7, 125 kHz, symbol 1.024 ms; 36 + 12 bits of payload, 6 bytes, in a
    // frame of 13 more: preamble 12.25 symbols, then 8 + 5 * ceil((8 * 19 - 4 * 7 + 28 + 16) / 28) = 38; 50.25 symbols.
    assert_eq!(
        (
            rows(&reader, "SELECT DISTINCT length(bytes) || '' FROM frame WHERE verdict = 'new'"),
            number(&reader, airtime)
        ),
        (vec!["19".to_owned()], 51_456)
    );
    let told = serve(&path, with_design(10, &format!("{}# a remark\n", tank.text)), Vec::new());
    let last = told.last().expect("it was read anew");
    assert_eq!((last.frames, last.before, last.after, last.unreadable), (5, 8, 8, 0));
    assert_eq!(rows(&reader, levels), expected);
    assert_eq!(number(&reader, "SELECT count(DISTINCT edition) FROM reading"), 1);
}

/// A reading that rode along may lie in an hour that was made already.
#[test]
fn an_hour_is_made_anew_when_a_lost_reading_comes_to_it_later() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let tank = Tank::new();
    let (_, dev_eui, join_eui, key) = traffic::devices().remove(0);
    let request = wire::join::seal_request(&key, join_eui, dev_eui, DevNonce::from(1)).to_vec();
    let mut frames = vec![heard(request, 0)];
    frames.extend([0, 1, 2, 4].map(|fcnt| tank.uplink(fcnt)));
    serve(&path, with_design(0, &tank.text), frames);
    let reader = sqlite::reader(&path).expect("it opens");
    let hours =
        "SELECT n || ' from ' || least || ' to ' || greatest FROM hour WHERE field = 'level' ORDER BY hour";
    // Hours end 13 min 20 s and 73 min 20 s after the beginning; counter c is sent 10 (c + 1) minutes after it.
    assert_eq!(rows(&reader, hours), ["1 from 1000.0 to 1000.0", "4 from 1004.0 to 1016.0"]);
    serve(&path, with_design(10, &tank.text), vec![tank.uplink(8)]);
    let expected = ["1 from 1000.0 to 1000.0", "5 from 1004.0 to 1024.0", "2 from 1028.0 to 1032.0"];
    assert_eq!(rows(&reader, hours), expected);
}
