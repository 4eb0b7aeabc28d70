//! Uplinks per second that are judged, decoded and on the disk (`synchronous=FULL`), two receptions each.
//!
//! `cargo bench -p overwinter-logbook --bench log`. The probe in the same run writes the same frames and receptions as rows,
//! and does nothing else. What was kept is counted at the end. Then the same log is read anew, as when a design changes.

#![expect(clippy::print_stdout, reason = "a benchmark says what it measured")]

#[expect(dead_code, reason = "the bench needs the site alone")]
#[path = "../tests/traffic/mod.rs"]
mod traffic;

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Sender, channel};
use std::time::{Duration, Instant};

use logbook::network::{Downlink, Network};
use logbook::received::{Checksum, Radio, Received};
use logbook::store::StoreError;
use logbook::store::again::Again;
use logbook::store::keeper::KeptFrame;
use logbook::store::sqlite::{self, Log};
use logbook::store::writer::{Arrival, Done, Listener, Writer};
use rusqlite::{Connection, params};
use wire::frame::{Body, Direction, Draft, Frame, FrameControl, Port, parse};
use wire::identity::{DevNonce, GatewayEui};
use wire::session::{Session, SessionKeys};

/// Uplinks of a round, if `OVERWINTER_UPLINKS` does not say; the target speaks of a million.
const UPLINKS: u32 = 200_000;
const ROUNDS: usize = 3;
/// Copies that the log keeps in one transaction when many wait; the probe does so too.
const AT_ONCE: usize = 8000;

/// Nanoseconds that this thread was on a processor, by the kernel: other work on the machine does not count. Linux alone.
fn processor_ns() -> u64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    text.split_whitespace().next().and_then(|number| number.parse().ok()).unwrap_or_default()
}

/// Waits for word of history, and knows the processor time of the thread that writes.
#[derive(Default)]
struct Quiet {
    again: Option<Sender<Again>>,
    processor_ns: Arc<AtomicU64>,
}

impl Listener for Quiet {
    fn kept(&mut self, _: &[KeptFrame]) {
        self.processor_ns.store(processor_ns(), Ordering::Relaxed);
    }
    fn answer(&mut self, _: &Downlink) {}
    fn trouble(&mut self, trouble: Option<&StoreError>) {
        assert!(trouble.is_none(), "{trouble:?}");
    }
    fn decoded_again(&mut self, done: Result<&Again, &StoreError>) {
        let done = done.expect("it can be read");
        if let Some(told) = self.again.iter().find(|_| done.is_done()) {
            told.send(done.clone()).expect("somebody waits");
        }
    }
}

fn main() {
    let uplinks =
        std::env::var("OVERWINTER_UPLINKS").ok().map_or(UPLINKS, |text| text.parse().expect("a number"));
    for round in 0..ROUNDS {
        let frames = frames(uplinks);
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("log.sqlite");
        let kept = kept(&path, &frames, uplinks);
        let (probe, probe_processor) = rows_alone(&folder.path().join("probe.sqlite"), &frames);
        let (count, us) = (f64::from(uplinks), f64::from(uplinks) / 1e6);
        println!(
            "round {round}: {:.0} uplinks/s kept, slowest commit {:.0} ms; rows alone {:.0}/s, ratio {:.2}",
            count / kept.seconds,
            kept.slowest_commit_s * 1e3,
            count / probe,
            probe / kept.seconds
        );
        println!(
            "  us an uplink: {:.1} judging beside, {:.1} writing, {:.1} committing; processor of the thread that writes {:.1}, of the \
             rows alone {:.1}, ratio {:.2}",
            kept.judging_s / us,
            kept.writing_s / us,
            kept.committing_s / us,
            kept.processor_s / us,
            probe_processor / us,
            probe_processor / kept.processor_s
        );
        let again = again(&path, uplinks);
        println!("  read anew: {:.0} frames/s, a million in {:.1} s", count / again, 1e6 * again / count);
    }
}

/// What two gateways hear: ten joins, then reports in turn.
fn frames(uplinks: u32) -> Vec<Received> {
    let site = traffic::site(0);
    let mut network = Network::new(
        site.network.clone(),
        traffic::devices().into_iter().map(|(_, dev_eui, join_eui, key)| {
            logbook::network::Member::enrolled(dev_eui, join_eui, key, logbook::network::Plan::default())
        }),
        site.addresses,
    );
    let gateways: Vec<GatewayEui> = traffic::gateways().into_iter().map(|(_, eui)| eui).collect();
    let mut at = 1_790_000_000_000_000;
    let mut heard = Vec::new();
    let mut sessions: Vec<Session> = Vec::new();
    for (_, dev_eui, join_eui, key) in traffic::devices() {
        let request = wire::join::seal_request(&key, join_eui, dev_eui, DevNonce::from(1)).to_vec();
        let copies = copies(&gateways, &request, at);
        let joined = network.hear(&copies[0]).joined.expect("it joins");
        let Ok(Frame::JoinAccept(accept)) = parse(&joined.accept) else { panic!("a join-accept") };
        let granted = accept.decrypt(&key).expect("its own");
        let keys = SessionKeys::derive(&key, granted.join_nonce, granted.net_id, DevNonce::from(1));
        sessions.push(Session::new(granted.dev_addr, &keys.nwk_s_key, &keys.app_s_key));
        heard.extend(copies);
        at += 1000;
    }
    // Air, humidity, battery, level: 10 + 7 + 8 + 11 bits and more; any code that has a meaning.
    let payload = [0x60, 0x08, 0xd8, 0xda, 0x30];
    for number in 0..uplinks {
        let count = u32::try_from(sessions.len()).expect("ten");
        let body =
            Body::Application { port: Port::new(10).expect("a port"), payload: &payload, options: &[] };
        let draft = Draft {
            direction: Direction::Up,
            confirmed: false,
            control: FrameControl::default(),
            fcnt: number / count,
            body,
        };
        let bytes = draft.seal(&sessions[(number % count) as usize]).expect("it fits");
        at += 100_000;
        heard.extend(copies(&gateways, &bytes, at));
    }
    heard
}

fn copies(gateways: &[GatewayEui], bytes: &[u8], at: i64) -> Vec<Received> {
    let copy = |gateway: &GatewayEui| Received {
        arrived_at: at,
        gateway: *gateway,
        bytes: bytes.to_vec(),
        checksum: Checksum::Good,
        radio: Radio {
            frequency_hz: 868_100_000,
            data_rate: "SF7BW125".to_owned(),
            rssi_dbm: Some(-97.0),
            snr_db: Some(7.5),
            clock_us: None,
            gps_us: None,
            station: None,
        },
    };
    gateways.iter().map(copy).collect()
}

/// Where the time went until all was on the disk.
struct Times {
    seconds: f64,
    judging_s: f64,
    writing_s: f64,
    committing_s: f64,
    slowest_commit_s: f64,
    processor_s: f64,
}

fn kept(path: &Path, frames: &[Received], uplinks: u32) -> Times {
    let log = Log::open(path).expect("it opens");
    let quiet = Quiet::default();
    let processor = Arc::clone(&quiet.processor_ns);
    let writer = Writer::start(log, traffic::site(0), 0, Box::new(quiet)).expect("it starts");
    let (inbox, counts) = (writer.inbox(), writer.counts());
    let begun = Instant::now();
    let (done, finished) = channel();
    for (index, frame) in frames.iter().enumerate() {
        loop {
            let done = (index + 1 == frames.len()).then(|| done.clone());
            let tell = done.map(|done| -> Done { Box::new(move |_| done.send(()).expect("somebody waits")) });
            if inbox.offer(Arrival::Frame(frame.clone(), "udp"), tell).is_ok() {
                break;
            }
            // Whoever brings frames has other work than to turn in a circle.
            std::thread::sleep(Duration::from_micros(200));
        }
    }
    finished.recv().expect("all is kept");
    let seconds = begun.elapsed().as_secs_f64();
    drop(inbox);
    writer.stop().expect("all is kept");
    let log = sqlite::reader(path).expect("it opens");
    let count = |sql: &str| log.query_row(sql, [], |row| row.get::<_, u32>(0)).expect("sound SQL");
    assert_eq!(count("SELECT count(*) FROM frame WHERE verdict = 'new'"), uplinks);
    assert_eq!(count("SELECT count(*) FROM reading"), uplinks);
    assert_eq!(count("SELECT count(*) FROM reception"), 2 * uplinks + 20);
    assert_eq!(count("SELECT sum(last_up) FROM session"), uplinks - 10, "ten counters from 0");
    let of = |count: &AtomicU64| count.load(Ordering::Relaxed) as f64 / 1e6;
    Times {
        seconds,
        judging_s: of(&counts.judging_us),
        writing_s: of(&counts.writing_us),
        committing_s: of(&counts.committing_us),
        slowest_commit_s: of(&counts.slowest_commit_us),
        processor_s: processor.load(Ordering::Relaxed) as f64 / 1e9,
    }
}

/// Seconds until history is read anew by a design that only has a remark more.
fn again(path: &Path, uplinks: u32) -> f64 {
    let log = Log::open(path).expect("it opens");
    let (told, done) = channel();
    let mut site = traffic::site(10);
    for (kind, _) in &mut site.kinds {
        kind.design += "# a remark\n";
    }
    let begun = Instant::now();
    let writer = Writer::start(log, site, 0, Box::new(Quiet { again: Some(told), ..Quiet::default() }))
        .expect("it starts");
    let again = done.recv().expect("it ends");
    let seconds = begun.elapsed().as_secs_f64();
    let uplinks = uplinks as usize;
    assert_eq!((again.frames, again.before, again.after, again.unreadable), (uplinks, uplinks, uplinks, 0));
    writer.stop().expect("nothing waits");
    let log = sqlite::reader(path).expect("it opens");
    let of_before = "SELECT count(*) FROM reading WHERE edition <> (SELECT max(id) FROM edition)";
    assert_eq!(log.query_row(of_before, [], |row| row.get::<_, u32>(0)).expect("sound SQL"), 0);
    seconds
}

/// Seconds for the same frames and receptions as rows of the same tables, in transactions of as many; and those on a
/// processor.
fn rows_alone(path: &Path, frames: &[Received]) -> (f64, f64) {
    drop(Log::open(path).expect("it is made"));
    let mut log = Connection::open(path).expect("it opens");
    log.pragma_update(None, "synchronous", "FULL").expect("it is set");
    log.pragma_update(None, "wal_autocheckpoint", 16000).expect("it is set");
    log.execute_batch("INSERT INTO gateway (id, eui) VALUES (1, '1'), (2, '2')").expect("they are made");
    let (begun, processor) = (Instant::now(), processor_ns());
    for batch in frames.chunks(AT_ONCE) {
        let transaction = log.transaction().expect("it begins");
        for pair in batch.chunks(2) {
            let frame = &pair[0];
            transaction
                .prepare_cached(
                    "INSERT INTO frame (seq, arrived_at, at, at_from, kind, verdict, bytes, source) \
                     VALUES (0, ?1, ?1, 'arrival', 'up', 'new', ?2, 'udp')",
                )
                .and_then(|mut statement| statement.execute(params![frame.arrived_at, frame.bytes]))
                .expect("it is written");
            let row = transaction.last_insert_rowid();
            for gateway in 1..=pair.len() {
                transaction
                    .prepare_cached(
                        "INSERT INTO reception (frame, arrived_at, gateway, rssi, snr) VALUES (?, ?, ?, -97.0, 7.5)",
                    )
                    .and_then(|mut statement| {
                        statement.execute(params![row, frame.arrived_at, i64::try_from(gateway).expect("two")])
                    })
                    .expect("it is written");
            }
        }
        transaction.commit().expect("it is kept");
    }
    (begun.elapsed().as_secs_f64(), (processor_ns() - processor) as f64 / 1e9)
}
