//! Frames that come after a newer one: within a window, once, and only if they are genuine.

use std::collections::BTreeSet;

use wire::frame::{
    self, AcceptedCounters, Body, Content, Direction, Draft, Frame, FrameControl, LATE_WINDOW, Port,
    VerifyError,
};
use wire::identity::DevAddr;
use wire::key::{AppSKey, NwkSKey};
use wire::session::Session;

fn session() -> Session {
    // Keys of FIPS 197, appendices A.1 and C.1.
    let network = NwkSKey::from_hex("2b7e151628aed2a6abf7158809cf4f3c").expect("32 digits");
    let application = AppSKey::from_hex("000102030405060708090a0b0c0d0e0f").expect("32 digits");
    Session::new(DevAddr::from_display_bytes([1, 0, 0, 3]), &network, &application)
}

fn uplink(session: &Session, fcnt: u32) -> Vec<u8> {
    let body = Body::Application { port: Port::new(10).expect("not 0"), payload: b"frost", options: &[] };
    let draft =
        Draft { direction: Direction::Up, confirmed: false, control: FrameControl::default(), fcnt, body };
    draft.seal(session).expect("it is short")
}

fn late(bytes: &[u8], session: &Session, last: u32, seen: AcceptedCounters) -> Result<u32, VerifyError> {
    let Ok(Frame::Data(data)) = frame::parse(bytes) else { panic!("it is a data frame") };
    let verified = data.verify_late(session, last, seen)?;
    let content = verified.decrypt();
    assert!(matches!(content, Content::Application { payload, .. } if *payload == *b"frost"));
    Ok(verified.fcnt())
}

#[test]
fn a_frame_of_the_window_is_taken_and_one_beyond_it_is_not() {
    let session = session();
    // The last two cross a multiple of 65536: the frame carries ffc0 and fffa, the newest counter 0 and 4.
    for (last, fcnt, taken) in [
        (100, 99, true),
        (100, 36, true),
        (100, 35, false),
        (3, 0, true),
        (65_536, 65_472, true),
        (65_540, 65_530, true),
        (65_536, 65_471, false),
    ] {
        let found = late(&uplink(&session, fcnt), &session, last, AcceptedCounters::default());
        assert_eq!(found, if taken { Ok(fcnt) } else { Err(VerifyError::Mic) }, "{fcnt} after {last}");
    }
    // Carries ffff: before counter 3 there is none that ends so.
    assert_eq!(
        late(&uplink(&session, 65_535), &session, 3, AcceptedCounters::default()),
        Err(VerifyError::Mic)
    );
}

#[test]
fn a_frame_is_taken_once() {
    let session = session();
    let bytes = uplink(&session, 98);
    let seen = AcceptedCounters::default();
    assert_eq!(late(&bytes, &session, 100, seen), Ok(98));
    let refused = VerifyError::CounterNotAbove { fcnt: 98, last_seen: 100 };
    assert_eq!(late(&bytes, &session, 100, seen.after_late(100, 98)), Err(refused));
    let newest = uplink(&session, 100);
    let refused = VerifyError::CounterNotAbove { fcnt: 100, last_seen: 100 };
    assert_eq!(late(&newest, &session, 100, seen), Err(refused));
}

#[test]
fn a_bit_turned_anywhere_is_noticed() {
    let session = session();
    let sound = uplink(&session, 98);
    for bit in 0..8 * sound.len() {
        let mut turned = sound.clone();
        turned[bit / 8] ^= 1 << (bit % 8);
        if let Ok(Frame::Data(data)) = frame::parse(&turned) {
            assert!(data.verify_late(&session, 100, AcceptedCounters::default()).is_err(), "bit {bit}");
        }
    }
}

#[test]
fn the_window_remembers_what_a_plain_set_remembers() {
    let mut numbers = 2026_u64;
    let mut draw = |end: u32| {
        // Knuth, The Art of Computer Programming, volume 2, 3.3.4: the multiplier of MMIX.
        numbers = numbers.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        u32::try_from(numbers >> 33).expect("31 bits fit") % end
    };
    for _ in 0..200 {
        let (mut last, mut seen) = (None, AcceptedCounters::default());
        let mut accepted: BTreeSet<u32> = BTreeSet::new();
        for _ in 0..100 {
            let newest = last.unwrap_or(1_000);
            let ahead = if draw(8) == 0 { 200 } else { 12 };
            let fcnt = newest + draw(ahead) - draw(80);
            match last {
                Some(last) if fcnt <= last => {
                    let within = last - fcnt <= LATE_WINDOW;
                    assert_eq!(seen.holds(last, fcnt), within && accepted.contains(&fcnt));
                    seen = seen.after_late(last, fcnt);
                    accepted.extend(within.then_some(fcnt));
                }
                _ => {
                    seen = seen.after_newer(last, fcnt);
                    last = Some(fcnt);
                    accepted.insert(fcnt);
                }
            }
        }
        assert_eq!(AcceptedCounters::from_bits(seen.bits()), seen);
    }
}

#[test]
fn a_late_frame_of_another_implementation_is_taken() {
    // Made in Python on `cryptography`: uplink 12 of an invented node, in a session derived by AES from its join.
    let network = NwkSKey::from_hex("7b33da649ba929fc473e3c2415ca5c5b").expect("32 digits");
    let application = AppSKey::from_hex("8beb40575fc004bec622e1324dbe3a4c").expect("32 digits");
    let session = Session::new(DevAddr::from_display_bytes([1, 0, 0, 3]), &network, &application);
    let bytes = [
        0x40, 0x03, 0x00, 0x00, 0x01, 0x80, 0x0c, 0x00, 0x0a, 0x0f, 0x23, 0x3c, 0xf5, 0x08, 0x63, 0x6d, 0xc4,
        0x2d,
    ];
    let Ok(Frame::Data(data)) = frame::parse(&bytes) else { panic!("it is a data frame") };
    let verified = data.verify_late(&session, 13, AcceptedCounters::default()).expect("it is genuine");
    assert_eq!(verified.fcnt(), 12);
    let Content::Application { port, payload } = verified.decrypt() else { panic!("it carries a reading") };
    assert_eq!((port.get(), &payload[..]), (10, &[225, 88, 170, 76, 240][..]));
}
