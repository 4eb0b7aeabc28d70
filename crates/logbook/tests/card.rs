//! What a day writes onto a memory card, by the kernel's count of this process. Linux alone.
//!
//! The sample site has ten devices: 200 nodes are ten that send twenty times as often, which writes the same rows. An hour is
//! measured and counted 24 times. Gateways show by UDP that they live every 5 s (own choice; forwarders have 5 to 10 s).

#![cfg(target_os = "linux")]

mod busy;
#[expect(dead_code, reason = "the site alone is used here")]
mod traffic;

use std::path::Path;

use busy::{BEGIN, Quiet, heard, joined, keep, report};
use logbook::received::Moment;
use logbook::store::sqlite::Log;
use logbook::store::writer::{Arrival, Writer};

const HOURS: u64 = 24;
/// Of an hour, at one every 15 min.
const REPORTS: u32 = 4;
const SIGNS_OF_LIFE: u32 = 720;

/// What this process has written so far: bytes handed to the system, and bytes that the system sends to the disk.
fn written() -> [u64; 2] {
    let text = std::fs::read_to_string("/proc/self/io").expect("the kernel counts");
    ["wchar: ", "write_bytes: "].map(|name| {
        let line = text.lines().find_map(|line| line.strip_prefix(name));
        line.expect("it is counted").parse().expect("a number")
    })
}

/// Bytes of a day.
#[derive(Debug)]
struct Day {
    handed: u64,
    to_disk: u64,
    grown: u64,
}

/// A day of so many nodes, and of a gateway that shows that it lives or does not.
fn day(path: &Path, nodes: u32, signs_of_life: u32) -> Day {
    let (_, gateway) = traffic::gateways()[0].clone();
    let (requests, sessions) = joined(gateway);
    let size = || std::fs::metadata(path).expect("it is there").len();
    let log = Log::open(path).expect("it opens");
    let writer = Writer::start(log, traffic::site(0), BEGIN, Box::new(Quiet)).expect("it starts");
    for request in requests {
        keep(&writer.inbox(), Arrival::Frame(request, "udp"));
    }
    writer.stop().expect("all is kept");
    let (grown, [handed, to_disk]) = (size(), written());
    let log = Log::open(path).expect("it opens");
    let writer = Writer::start(log, traffic::site(10), BEGIN, Box::new(Quiet)).expect("it starts");
    let inbox = writer.inbox();
    let (uplinks, devices) = (nodes * REPORTS, u32::try_from(sessions.len()).expect("ten").min(nodes));
    for number in 0..uplinks {
        let bytes = report(&sessions[(number % devices) as usize], number / devices);
        let at = BEGIN + Moment::from(number + 1) * 3_600_000_000 / Moment::from(uplinks);
        keep(&inbox, Arrival::Frame(heard(gateway, bytes, at), "udp"));
    }
    for number in 0..signs_of_life {
        let at = BEGIN + Moment::from(number) * 5_000_000;
        let address = Some("192.0.2.1:1700".to_owned());
        keep(&inbox, Arrival::SignOfLife { gateway, at, address });
    }
    drop(inbox);
    writer.stop().expect("all is kept");
    let [handed, to_disk] = [(0, handed), (1, to_disk)].map(|(place, before)| written()[place] - before);
    Day { handed: HOURS * handed, to_disk: HOURS * to_disk, grown: HOURS * (size() - grown) }
}

#[test]
fn a_day_writes_no_more_than_the_manual_says() {
    use std::io::Write as _;
    let folder = tempfile::tempdir().expect("a folder");
    let [mut rows, mut life] = [0, 0];
    for (nodes, signs_of_life) in [(4, 0), (4, SIGNS_OF_LIFE), (200, 0), (200, SIGNS_OF_LIFE)] {
        let day = day(&folder.path().join(format!("{nodes}-{signs_of_life}.sqlite")), nodes, signs_of_life);
        let [handed, to_disk, grown] = [day.handed, day.to_disk, day.grown].map(|bytes| bytes as f64 / 1e6);
        let uplinks = f64::from(nodes * REPORTS) * HOURS as f64;
        // Not a print, which a passing test swallows.
        writeln!(
            std::io::stderr(),
            "{nodes} nodes, {signs_of_life} signs of life an hour: {handed:.0} MB a day handed to the system, \
             {to_disk:.0} MB sent to the disk; the log grows by {grown:.1} MB, {:.0} bytes an uplink",
            1e6 * grown / uplinks
        )
        .expect("it is told");
        if nodes == 200 && signs_of_life == 0 {
            rows = day.handed;
        } else if nodes == 200 {
            life = day.handed - rows;
        }
    }
    // What the manual says, with as much again for other file systems.
    let an_uplink = rows / (200 * u64::from(REPORTS) * HOURS);
    let a_sign = life / (u64::from(SIGNS_OF_LIFE) * HOURS);
    assert!((1_000..2 * UPLINK_BYTES).contains(&an_uplink), "{an_uplink}");
    assert!((100..2 * SIGN_BYTES).contains(&a_sign), "{a_sign}");
}

/// Measured by this test, and said in the manual.
const UPLINK_BYTES: u64 = 76_000;
/// The same; one in twelve is written, the first of each minute.
const SIGN_BYTES: u64 = 700;
