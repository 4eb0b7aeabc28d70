//! What must be refused: replays, truncations, flipped bits, impossible shapes.

use wire::counter;
use wire::field::{Bits, CarrierFrequency, DlSettings};
use wire::frame::{self, Body, DataFrame, Direction, Draft, DraftError, Frame, FrameControl, FrameError};
use wire::frame::{Port, VerifyError};
use wire::identity::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId};
use wire::join::{self, CfList, JoinAccept, JoinError};
use wire::key::{AppKey, AppSKey, NwkSKey};
use wire::session::Session;

fn session() -> Session {
    Session::new(
        DevAddr::from_display_bytes([0x01, 0xa7, 0xc0, 0x4e]),
        &NwkSKey::from_bytes([0x2b; 16]),
        &AppSKey::from_bytes([0x0f; 16]),
    )
}

fn uplink(fcnt: u32, body: Body<'_>) -> Vec<u8> {
    let control = FrameControl::default().with_adr();
    Draft { direction: Direction::Up, confirmed: false, control, fcnt, body }
        .seal(&session())
        .expect("a short frame")
}

fn application(payload: &[u8]) -> Body<'_> {
    Body::Application { port: Port::new(2).expect("not 0"), payload, options: &[] }
}

fn data(bytes: &[u8]) -> DataFrame<'_> {
    match frame::parse(bytes) {
        Ok(Frame::Data(data)) => data,
        other => panic!("a data frame was expected, not {other:?}"),
    }
}

/// Whether a receiver that knows session and root key takes these bytes.
fn accepted(bytes: &[u8], last_seen: Option<u32>, app_key: &AppKey) -> bool {
    match frame::parse(bytes) {
        Err(_) => false,
        Ok(Frame::Data(data)) => data.verify(&session(), last_seen).is_ok(),
        Ok(Frame::JoinRequest(request)) => request.verify(app_key).is_ok(),
        Ok(Frame::JoinAccept(accept)) => accept.decrypt(app_key).is_ok(),
    }
}

fn app_key() -> AppKey {
    AppKey::from_bytes([0x5a; 16])
}

/// One of each shape, all genuine.
fn genuine() -> Vec<(&'static str, Vec<u8>)> {
    let accept = |cf_list| {
        JoinAccept {
            join_nonce: JoinNonce::from_display_bytes([0, 0, 7]),
            net_id: NetId::from_display_bytes([0, 0, 0x13]),
            dev_addr: DevAddr::from_display_bytes([0x26, 0x01, 0x2e, 0x43]),
            dl_settings: DlSettings::default(),
            rx_delay: Bits::new(1).expect("four bits"),
            cf_list,
        }
        .seal(&app_key())
    };
    let frequency = CarrierFrequency::from_hz(867_100_000).expect("a whole number of steps");
    let request = join::seal_request(
        &app_key(),
        JoinEui::from_display_bytes([1; 8]),
        DevEui::from_display_bytes([2; 8]),
        DevNonce::from(9),
    );
    let with_options = Body::Application {
        port: Port::new(1).expect("not 0"),
        payload: b"both",
        options: &[0x03, 0x07, 0x0d],
    };
    vec![
        ("application payload", uplink(300, application(b"frost mast"))),
        ("no payload on a port", uplink(300, application(&[]))),
        ("no port", uplink(300, Body::Empty { options: &[] })),
        ("options alone", uplink(300, Body::Empty { options: &[0x02] })),
        ("options and payload", uplink(300, with_options)),
        ("port 0", uplink(300, Body::Commands(&[0x02, 0x0d]))),
        ("join-request", request.to_vec()),
        ("join-accept", accept(None)),
        ("join-accept with channels", accept(Some(CfList::Frequencies([frequency; 5])))),
    ]
}

#[test]
fn genuine_frames_of_every_shape_are_accepted() {
    for (name, bytes) in genuine() {
        assert!(accepted(&bytes, Some(299), &app_key()), "{name}");
    }
}

#[test]
fn every_truncation_and_every_added_byte_is_refused() {
    for (name, bytes) in genuine() {
        for len in 0..bytes.len() {
            assert!(!accepted(&bytes[..len], Some(299), &app_key()), "{name} cut to {len} bytes");
        }
        for added in 0..=u8::MAX {
            let longer: Vec<u8> = bytes.iter().copied().chain([added]).collect();
            assert!(!accepted(&longer, Some(299), &app_key()), "{name} with {added:#04x} added");
        }
    }
}

#[test]
fn every_single_bit_flip_is_refused() {
    for (name, bytes) in genuine() {
        for bit in 0..8 * bytes.len() {
            let mut damaged = bytes.clone();
            damaged[bit / 8] ^= 1 << (bit % 8);
            assert!(!accepted(&damaged, Some(299), &app_key()), "{name} with bit {bit} flipped");
        }
    }
}

#[test]
fn frames_of_another_key_or_address_are_refused() {
    let bytes = uplink(6, application(b"x"));
    let address = session().dev_addr();
    let other_key = Session::new(address, &NwkSKey::from_bytes([0x2c; 16]), &AppSKey::from_bytes([0x0f; 16]));
    assert_eq!(data(&bytes).verify(&other_key, Some(5)).err(), Some(VerifyError::Mic));
    let other = DevAddr::from_display_bytes([0; 4]);
    let other_address =
        Session::new(other, &NwkSKey::from_bytes([0x2b; 16]), &AppSKey::from_bytes([0x0f; 16]));
    assert_eq!(
        data(&bytes).verify(&other_address, Some(5)).err(),
        Some(VerifyError::OtherAddress { frame: address, session: other })
    );
    for (name, bytes) in genuine().into_iter().filter(|(name, _)| name.starts_with("join")) {
        assert!(!accepted(&bytes, None, &AppKey::from_bytes([0x5b; 16])), "{name}");
    }
}

#[test]
fn uplink_played_back_as_downlink_is_refused() {
    // The direction is in B0, not only in the type: TS001-1.0.4, table 13.
    let mut bytes = uplink(6, application(b"x"));
    bytes[0] = 0x60;
    assert_eq!(data(&bytes).verify(&session(), Some(5)).err(), Some(VerifyError::Mic));
}

#[test]
fn fcnt32_table_is_met_and_replays_are_refused() {
    // Source: TS001-1.0.4 clause 4.3.1.5, tabulated in data/fcnt32_inference.csv.
    let mut table = csv::Reader::from_reader(include_bytes!("data/fcnt32_inference.csv").as_slice());
    let mut rows = 0;
    for row in table.records() {
        let row = row.expect("the table is CSV");
        let (case, accept) = (&row[0], &row[4]);
        let last_seen = match &row[1] {
            "none" => None,
            last => Some(last.parse().expect("a counter")),
        };
        let carried: u16 = row[2].parse().expect("16 bits");
        let expected: u32 = row[3].parse().expect("a counter");
        assert_eq!(counter::rebuild(last_seen, carried), Some(expected), "{case}");

        let verify =
            |fcnt| data(&uplink(fcnt, application(b"x"))).verify(&session(), last_seen).map(|v| v.fcnt());
        let refused =
            |fcnt| Err(VerifyError::CounterNotAbove { fcnt, last_seen: last_seen.unwrap_or_default() });
        match accept {
            "yes" => assert_eq!(verify(expected), Ok(expected), "{case}"),
            "no" => assert_eq!(verify(expected), refused(expected), "{case}"),
            "only if MIC matches with 0x00010005" => {
                assert_eq!(verify(0x0001_0005), Ok(0x0001_0005), "{case}");
                assert_eq!(verify(5), refused(5), "{case}");
            }
            "no (MIC fails: device used 0)" => assert_eq!(verify(0), refused(0), "{case}"),
            other => panic!("{case}: {other} is a verdict this test does not know"),
        }
        rows += 1;
    }
    assert_eq!(rows, 9, "no row may be lost");
}

#[test]
fn two_epochs_back_and_used_up_counters_are_refused() {
    let bytes = uplink(0x0001_0005, application(b"x"));
    // Neither this epoch's counter, nor the next one's, nor a reset one: not told from a forgery.
    assert_eq!(data(&bytes).verify(&session(), Some(0x0003_0000)).err(), Some(VerifyError::Mic));
    let bytes = uplink(5, application(b"x"));
    assert_eq!(
        data(&bytes).verify(&session(), Some(u32::MAX)).err(),
        Some(VerifyError::CounterNotAbove { fcnt: 5, last_seen: u32::MAX })
    );
    let mut forged = bytes;
    forged[9] ^= 1;
    assert_eq!(data(&forged).verify(&session(), Some(u32::MAX)).err(), Some(VerifyError::CounterExhausted));
}

#[test]
fn impossible_shapes_are_named() {
    let parse = |bytes: &[u8]| frame::parse(bytes).map(|_| ());
    let address = [0x3a, 0x1f, 0x01, 0x26];
    let with = |header: u8, control: u8, rest: &[u8]| {
        [&[header][..], &address, &[control, 0, 0], rest, &[0; 4]].concat()
    };
    assert_eq!(parse(&[]), Err(FrameError::Empty));
    assert_eq!(parse(&[0x40; 256]), Err(FrameError::TooLong { found: 256 }));
    // TS001-1.0.4, tables 4 and 5.
    assert_eq!(parse(&with(0x41, 0, &[])), Err(FrameError::Major { found: 1 }));
    assert_eq!(parse(&with(0xc0, 0, &[])), Err(FrameError::Rejoin));
    assert_eq!(parse(&with(0xe0, 0, &[])), Err(FrameError::Proprietary));
    assert_eq!(parse(&[0x00; 22]), Err(FrameError::JoinRequestLength { found: 22 }));
    assert_eq!(parse(&[0x20; 25]), Err(FrameError::JoinAcceptLength { found: 25 }));
    assert_eq!(parse(&with(0x40, 0, &[])[..11]), Err(FrameError::DataLength { found: 11 }));
    assert_eq!(parse(&with(0x40, 3, &[2, 2])), Err(FrameError::OptionsLength { announced: 3, room: 2 }));
    // Clause 4.3.2: port 0 must not be used with options.
    assert_eq!(parse(&with(0x40, 1, &[0x02, 0x00, 0x02])), Err(FrameError::OptionsWithPortZero));
    assert_eq!(parse(&with(0x40, 1, &[0x02])), Ok(()));
    assert_eq!(parse(&with(0x40, 0, &[0x00, 0x02])), Ok(()));
}

#[test]
fn lengths_are_those_of_the_overhead_table() {
    // data/frame_overhead.csv: N + 13, 12 without port, 23, 17 and 33 bytes.
    let lengths: Vec<_> = genuine().into_iter().map(|(name, bytes)| (name, bytes.len())).collect();
    assert_eq!(
        lengths,
        [
            ("application payload", 10 + 13),
            ("no payload on a port", 13),
            ("no port", 12),
            ("options alone", 12 + 1),
            ("options and payload", 13 + 4 + 3),
            ("port 0", 13 + 2),
            ("join-request", 23),
            ("join-accept", 17),
            ("join-accept with channels", 33),
        ]
    );
}

#[test]
fn draft_that_does_not_fit_is_refused_and_the_longest_is_not() {
    let seal = |body| {
        Draft { direction: Direction::Down, confirmed: true, control: FrameControl::default(), fcnt: 0, body }
            .seal(&session())
            .map(|bytes| bytes.len())
    };
    assert_eq!(seal(application(&[0; 242])), Ok(255));
    assert_eq!(seal(application(&[0; 243])), Err(DraftError::FrameLength { found: 256 }));
    assert_eq!(seal(Body::Commands(&[0; 242])), Ok(255));
    assert_eq!(seal(Body::Commands(&[0; 243])), Err(DraftError::FrameLength { found: 256 }));
    assert_eq!(seal(Body::Empty { options: &[2; 15] }), Ok(12 + 15));
    assert_eq!(seal(Body::Empty { options: &[2; 16] }), Err(DraftError::OptionsLength { found: 16 }));
}

#[test]
fn join_accept_with_optneg_is_refused_as_1_1() {
    // A 1.0 integrity code over a 1.1 flag: no vector has it, so it is signed here. TS001-1.0.4 table 55: bit 7 is RFU.
    use aes::cipher::{BlockCipherDecrypt, KeyInit};
    use cmac::Mac;
    let key = app_key();
    let mut plain = vec![0x20, 7, 0, 0, 0x13, 0, 0, 0x43, 0x2e, 0x01, 0x26, 0x80, 1];
    let mut mac = cmac::Cmac::<aes::Aes128>::new(key.expose().into());
    mac.update(&plain);
    plain.extend(&mac.finalize().into_bytes()[..4]);
    let mut block = aes::Block::try_from(&plain[1..]).expect("16 octets");
    aes::Aes128::new(key.expose().into()).decrypt_block(&mut block);
    let bytes: Vec<u8> = [0x20].into_iter().chain(block).collect();
    let Ok(Frame::JoinAccept(accept)) = frame::parse(&bytes) else { panic!("its shape is sound") };
    assert_eq!(accept.decrypt(&key), Err(JoinError::Lorawan11));
}
