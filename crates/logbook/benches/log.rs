//! Uplinks per second that are judged, decoded and on the disk (`synchronous=FULL`), two receptions each.
//!
//! `cargo bench -p overwinter-logbook --bench log`. The probe in the same run writes the same frames and receptions as rows,
//! and does nothing else. What was kept is counted at the end.

#![expect(clippy::print_stdout, reason = "a benchmark says what it measured")]

#[expect(dead_code, reason = "the bench needs the site alone")]
#[path = "../tests/traffic/mod.rs"]
mod traffic;

use std::path::Path;
use std::sync::atomic::Ordering;
use std::sync::mpsc::channel;
use std::time::Instant;

use logbook::network::{Downlink, Network};
use logbook::received::{Checksum, Radio, Received};
use logbook::store::StoreError;
use logbook::store::keeper::Kept;
use logbook::store::sqlite::{self, Log};
use logbook::store::writer::{Arrival, Done, Listener, Writer};
use rusqlite::{Connection, params};
use wire::frame::{Body, Direction, Draft, Frame, FrameControl, Port, parse};
use wire::identity::{DevNonce, GatewayEui};
use wire::session::{Session, SessionKeys};

/// Uplinks of a round; the target speaks of a million.
const UPLINKS: u32 = 200_000;
const ROUNDS: usize = 3;

struct Quiet;

impl Listener for Quiet {
    fn kept(&mut self, _: &[Kept]) {}
    fn answer(&mut self, _: &Downlink) {}
    fn trouble(&mut self, trouble: Option<&StoreError>) {
        assert!(trouble.is_none(), "{trouble:?}");
    }
}

fn main() {
    for round in 0..ROUNDS {
        let frames = frames();
        let folder = tempfile::tempdir().expect("a folder");
        let (seconds, slowest_ms) = kept(&folder.path().join("log.sqlite"), &frames);
        let probe = rows_alone(&folder.path().join("probe.sqlite"), &frames);
        let uplinks = f64::from(UPLINKS);
        println!(
            "round {round}: {:.0} uplinks/s kept, slowest commit {slowest_ms} ms; rows alone {:.0}/s, ratio {:.2}",
            uplinks / seconds,
            uplinks / probe,
            probe / seconds
        );
    }
}

/// What two gateways hear: ten joins, then reports in turn.
fn frames() -> Vec<Received> {
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
    for number in 0..UPLINKS {
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

/// Seconds until all is on the disk, and the slowest commit \[ms\].
fn kept(path: &Path, frames: &[Received]) -> (f64, u64) {
    let log = Log::open(path).expect("it opens");
    let writer = Writer::start(log, traffic::site(0), 0, Box::new(Quiet)).expect("it starts");
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
            std::thread::yield_now();
        }
    }
    finished.recv().expect("all is kept");
    let seconds = begun.elapsed().as_secs_f64();
    drop(inbox);
    writer.stop().expect("all is kept");
    let log = sqlite::reader(path).expect("it opens");
    let count = |sql: &str| log.query_row(sql, [], |row| row.get::<_, u32>(0)).expect("sound SQL");
    assert_eq!(count("SELECT count(*) FROM frame WHERE verdict = 'new'"), UPLINKS);
    assert_eq!(count("SELECT count(*) FROM reading"), UPLINKS);
    assert_eq!(count("SELECT count(*) FROM reception"), 2 * UPLINKS + 20);
    (seconds, counts.slowest_commit_us.load(Ordering::Relaxed) / 1000)
}

/// Seconds for the same frames and receptions as rows of the same tables, in transactions of as many.
fn rows_alone(path: &Path, frames: &[Received]) -> f64 {
    drop(Log::open(path).expect("it is made"));
    let mut log = Connection::open(path).expect("it opens");
    log.pragma_update(None, "synchronous", "FULL").expect("it is set");
    log.pragma_update(None, "wal_autocheckpoint", 16000).expect("it is set");
    log.execute_batch("INSERT INTO gateway (id, eui) VALUES (1, '1'), (2, '2')").expect("they are made");
    let begun = Instant::now();
    for batch in frames.chunks(2000) {
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
    begun.elapsed().as_secs_f64()
}
