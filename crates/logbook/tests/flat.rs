//! However long a log has become, the process that keeps it needs no more memory. Linux alone.

#![cfg(target_os = "linux")]

mod busy;
#[expect(dead_code, reason = "the site alone is used here")]
mod traffic;
#[path = "../../laws/tests/trial/mod.rs"]
#[expect(dead_code, reason = "nothing is skipped here")]
mod trial;

use busy::{BEGIN, Quiet, heard, joined, keep, report};
use logbook::received::Moment;
use logbook::store::sqlite::Log;
use logbook::store::writer::{Arrival, Writer};

/// Frames in CI; the long form asks for more by `OVERWINTER_FRAMES`.
const FRAMES: u64 = 400_000;
/// The file's cache is full, and each node's newest frames are remembered, after so many: 300 bytes of each are 75 MB.
const WARM: u64 = 250_000;
/// What the process may have grown by after that \[bytes\].
const GROWN: u64 = 5_000_000;
/// Frames that are handed in before it is waited for.
const AT_ONCE: u64 = 4000;
/// Bytes of a page of memory (Linux on all that it is tried on).
const PAGE: u64 = 4096;

/// What this process holds in memory \[bytes\].
fn resident() -> u64 {
    let text = std::fs::read_to_string("/proc/self/statm").expect("the kernel counts");
    let pages: u64 = text.split(' ').nth(1).expect("the second is resident").parse().expect("a number");
    PAGE * pages
}

#[test]
fn memory_stays_flat_however_long_the_log_has_become() {
    let asked = std::env::var("OVERWINTER_FRAMES");
    let frames = asked.map_or(FRAMES, |text| text.parse().expect("a number"));
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let (_, gateway) = traffic::gateways()[0].clone();
    let (requests, sessions) = joined(gateway);
    let log = Log::open(&path).expect("it opens");
    let writer = Writer::start(log, traffic::site(0), BEGIN, Box::new(Quiet)).expect("it starts");
    let inbox = writer.inbox();
    for request in requests {
        keep(&inbox, Arrival::Frame(request, "udp"));
    }
    let devices = sessions.len() as u64;
    let mut warm = None;
    let mut most = 0;
    for number in 0..frames {
        let session = &sessions[usize::try_from(number % devices).expect("ten")];
        let bytes = report(session, u32::try_from(number / devices).expect("32 bits"));
        let at = BEGIN + 1_000_000 * Moment::try_from(number + 1).expect("some years");
        let arrival = Arrival::Frame(heard(gateway, bytes, at), "udp");
        if (number + 1) % AT_ONCE == 0 {
            keep(&inbox, arrival);
            if number >= WARM {
                let now = resident();
                warm.get_or_insert(now);
                most = most.max(now);
            }
        } else {
            inbox.offer(arrival, None).expect("there is room");
        }
    }
    drop(inbox);
    writer.stop().expect("all is kept");
    let warm = warm.expect("it has become warm");
    let grown = most.saturating_sub(warm);
    trial::note(&format!(
        "{frames} frames: {} MB when warm, {:.1} MB more at most after that",
        warm / 1_000_000,
        grown as f64 / 1e6
    ));
    assert!(grown <= GROWN, "{grown} bytes more after {frames} frames");
}
