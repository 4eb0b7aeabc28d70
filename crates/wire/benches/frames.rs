//! Frames per second on one core: parse, verify and decrypt the uplinks of one session.
//!
//! `cargo bench -p overwinter-wire`. Twelve bytes are what a small node sends; every result is checked. With `--frames` it
//! prints the frames of twelve bytes instead, for `oracles/frames.js`.

#![expect(clippy::disallowed_methods, clippy::disallowed_types, reason = "a benchmark reads the clock")]
#![expect(clippy::print_stdout, reason = "a benchmark says what it measured")]

use std::time::{Duration, Instant};

use wire::frame::{self, Body, Content, Direction, Draft, Frame, FrameControl, Port};
use wire::identity::DevAddr;
use wire::key::{AppSKey, NwkSKey};
use wire::session::Session;

/// A round takes less than a millisecond, so that on a busy machine most rounds run undisturbed.
const FRAMES: u32 = 2_000;
const ROUNDS: usize = 501;

fn main() {
    let session = Session::new(
        DevAddr::from_display_bytes([0x01, 0xa7, 0xc0, 0x4e]),
        &NwkSKey::from_bytes([0x2b; 16]),
        &AppSKey::from_bytes([0x0f; 16]),
    );
    if std::env::args().any(|argument| argument == "--frames") {
        for fcnt in 1..=FRAMES {
            for octet in uplink(&session, fcnt, 12) {
                print!("{octet:02x}");
            }
            println!();
        }
        return;
    }
    for payload_len in [12, 51, 222] {
        let frames: Vec<Vec<u8>> = (1..=FRAMES).map(|fcnt| uplink(&session, fcnt, payload_len)).collect();
        let mut times: Vec<Duration> =
            (0..ROUNDS).map(|_| receive_all(&session, &frames, payload_len)).collect();
        times.sort();
        let [fastest, median] =
            [times[0], times[ROUNDS / 2]].map(|time| f64::from(FRAMES) / time.as_secs_f64() / 1e6);
        println!("{payload_len:3} bytes: median {median:.2}, best {fastest:.2} million frames per second");
        assert!(fastest >= 1.0, "every length is received at a million frames per second on one core");
    }
}

fn payload(fcnt: u32, len: usize) -> Vec<u8> {
    fcnt.to_le_bytes().into_iter().cycle().take(len).collect()
}

fn uplink(session: &Session, fcnt: u32, payload_len: usize) -> Vec<u8> {
    let payload = payload(fcnt, payload_len);
    let body = Body::Application { port: Port::new(2).expect("not 0"), payload: &payload, options: &[] };
    let control = FrameControl::default().with_adr();
    Draft { direction: Direction::Up, confirmed: false, control, fcnt, body }.seal(session).expect("it fits")
}

/// Time to receive them all in order, as a network does: each one's counter is the next one's last.
fn receive_all(session: &Session, frames: &[Vec<u8>], payload_len: usize) -> Duration {
    let start = Instant::now();
    let mut last_seen = None;
    let mut sum = 0_u64;
    for bytes in frames {
        let Ok(Frame::Data(data)) = frame::parse(bytes) else { panic!("it is a data frame") };
        let verified = data.verify(session, last_seen).expect("it is genuine and new");
        let Content::Application { payload, .. } = verified.decrypt() else { panic!("it has a port") };
        sum += payload.iter().map(|&octet| u64::from(octet)).sum::<u64>();
        last_seen = Some(verified.fcnt());
    }
    let time = start.elapsed();
    let expected: u64 = (1..=FRAMES).flat_map(|fcnt| payload(fcnt, payload_len)).map(u64::from).sum();
    assert_eq!(sum, expected, "every payload is read as it was written");
    assert_eq!(last_seen, Some(FRAMES));
    time
}
