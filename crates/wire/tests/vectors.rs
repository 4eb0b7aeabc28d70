//! Frames that another program made from the clauses of the standard, byte for byte. Provenance: `data/README.md`.

use toml::{Table, Value};
use wire::field::{Bits, CarrierFrequency, DlSettings};
use wire::frame::{self, Body, Content, DataFrame, Direction, Draft, Frame, FrameControl, FrameError, Port};
use wire::identity::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId};
use wire::join::{self, CfList, EncryptedJoinAccept, JoinAccept, JoinError, JoinRequest};
use wire::key::{AppKey, AppSKey, NwkSKey};
use wire::session::{Session, SessionKeys};

const FRAMES: &str = include_str!("data/frames.toml");

/// Every entry of a kind, and that there are so many: none may be lost.
fn vectors(kind: &str, count: usize) -> Vec<Value> {
    let table: Table = FRAMES.parse().expect("the vectors are TOML");
    let vectors = table[kind].as_array().expect("an array of tables").clone();
    assert_eq!(vectors.len(), count, "{kind}");
    vectors
}

fn text<'a>(vector: &'a Value, key: &str) -> &'a str {
    vector[key].as_str().expect("it is text")
}

fn number(vector: &Value, key: &str) -> u32 {
    vector[key].as_integer().and_then(|number| number.try_into().ok()).expect("it is a number of 32 bits")
}

fn octet(vector: &Value, key: &str) -> u8 {
    number(vector, key).try_into().expect("it fits in an octet")
}

fn octets(hex: &str) -> Vec<u8> {
    assert!(hex.len().is_multiple_of(2), "{hex} has whole octets");
    (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).expect("hex")).collect()
}

fn data(bytes: &[u8]) -> DataFrame<'_> {
    match frame::parse(bytes) {
        Ok(Frame::Data(data)) => data,
        other => panic!("a data frame was expected, not {other:?}"),
    }
}

fn join_request(bytes: &[u8]) -> JoinRequest<'_> {
    match frame::parse(bytes) {
        Ok(Frame::JoinRequest(request)) => request,
        other => panic!("a join-request was expected, not {other:?}"),
    }
}

fn join_accept(bytes: &[u8]) -> EncryptedJoinAccept<'_> {
    match frame::parse(bytes) {
        Ok(Frame::JoinAccept(accept)) => accept,
        other => panic!("a join-accept was expected, not {other:?}"),
    }
}

fn flags(control: FrameControl, direction: Direction) -> u8 {
    let bit_4 = match direction {
        Direction::Up => control.class_b(),
        Direction::Down => control.frame_pending(),
    };
    u8::from(control.adr()) << 7
        | u8::from(control.adr_ack_request()) << 6
        | u8::from(control.ack()) << 5
        | u8::from(bit_4) << 4
}

fn session(vector: &Value) -> Session {
    Session::new(
        DevAddr::from_display(text(vector, "dev_addr")).expect("an address"),
        &NwkSKey::from_hex(text(vector, "nwk_s_key")).expect("a key"),
        &AppSKey::from_hex(text(vector, "app_s_key")).expect("a key"),
    )
}

#[test]
fn data_frames_of_another_program_are_read_and_written_byte_for_byte() {
    for vector in vectors("data", 12) {
        let name = text(&vector, "name");
        let bytes = octets(text(&vector, "frame"));
        let fcnt = number(&vector, "fcnt");
        let session = session(&vector);
        let parsed = data(&bytes);
        let way = if text(&vector, "direction") == "up" { Direction::Up } else { Direction::Down };
        assert_eq!(parsed.direction(), way, "{name}");
        assert_eq!(Some(parsed.confirmed()), vector["confirmed"].as_bool(), "{name}");
        assert_eq!(flags(parsed.control(), way), octet(&vector, "flags"), "{name}");
        assert_eq!(u32::from(parsed.carried_fcnt()), fcnt % 65_536, "{name}");
        let options = octets(text(&vector, "options"));
        assert_eq!(parsed.options(), options, "{name}");
        let port = vector.get("port").map(|_| octet(&vector, "port"));
        assert_eq!(parsed.port(), port, "{name}");

        let verified = parsed.verify(&session, fcnt.checked_sub(1)).expect(name);
        assert_eq!(verified.fcnt(), fcnt, "{name}");
        let plain = port.map(|_| octets(text(&vector, "plain"))).unwrap_or_default();
        let (read, body) = match (verified.decrypt(), port) {
            (Content::Empty, None) => (Vec::new(), Body::Empty { options: &options }),
            (Content::Commands(commands), Some(0)) => (commands.to_vec(), Body::Commands(&plain)),
            (Content::Application { payload, .. }, Some(port)) => {
                let port = Port::new(port).expect("not 0");
                (payload.to_vec(), Body::Application { port, payload: &plain, options: &options })
            }
            (other, port) => panic!("{name}: {other:?} on port {port:?}"),
        };
        assert_eq!(read, plain, "{name}");
        let (confirmed, control) = (parsed.confirmed(), parsed.control());
        assert_eq!(
            Draft { direction: way, confirmed, control, fcnt, body }.seal(&session),
            Ok(bytes),
            "{name}"
        );
    }
}

#[test]
fn joins_of_another_program_are_read_and_written_byte_for_byte() {
    for vector in vectors("join", 2) {
        let name = text(&vector, "name");
        let key = AppKey::from_hex(text(&vector, "app_key")).expect("a key");
        let join_eui = JoinEui::from_display(text(&vector, "join_eui")).expect("an EUI");
        let dev_eui = DevEui::from_display(text(&vector, "dev_eui")).expect("an EUI");
        let dev_nonce = DevNonce::from_display(text(&vector, "dev_nonce")).expect("a nonce");
        let request = octets(text(&vector, "request"));
        assert_eq!(join::seal_request(&key, join_eui, dev_eui, dev_nonce).to_vec(), request, "{name}");
        let asked = join_request(&request).verify(&key).expect(name);
        assert_eq!((asked.join_eui(), asked.dev_eui(), asked.dev_nonce()), (join_eui, dev_eui, dev_nonce));

        let grant = granted(&vector);
        let accept = octets(text(&vector, "accept"));
        assert_eq!(grant.seal(&key), accept, "{name}");
        assert_eq!(encrypted_back(&accept, &key), octets(text(&vector, "accept_plain")), "{name}");
        assert_eq!(join_accept(&accept).decrypt(&key), Ok(grant), "{name}");
        let keys = SessionKeys::derive(&key, grant.join_nonce, grant.net_id, dev_nonce);
        assert_eq!(keys.nwk_s_key, NwkSKey::from_hex(text(&vector, "nwk_s_key")).expect("a key"), "{name}");
        assert_eq!(keys.app_s_key, AppSKey::from_hex(text(&vector, "app_s_key")).expect("a key"), "{name}");
    }
}

fn granted(vector: &Value) -> JoinAccept {
    let settings = octet(vector, "settings");
    // 867.1 to 867.9 MHz, as the script says.
    let frequency =
        |number: u32| CarrierFrequency::from_hz(867_100_000 + 200_000 * number).expect("whole steps");
    let channels =
        CfList::Frequencies(std::array::from_fn(|number| frequency(u32::try_from(number).expect("five"))));
    JoinAccept {
        join_nonce: JoinNonce::from_display(text(vector, "join_nonce")).expect("a nonce"),
        net_id: NetId::from_display(text(vector, "net_id")).expect("a NetID"),
        dev_addr: DevAddr::from_display(text(vector, "dev_addr")).expect("an address"),
        dl_settings: DlSettings {
            rx1_data_rate_offset: Bits::new(settings >> 4).expect("three bits"),
            rx2_data_rate: Bits::new(settings & 15).expect("four bits"),
        },
        rx_delay: Bits::new(octet(vector, "delay")).expect("four bits"),
        cf_list: (!text(vector, "channels").is_empty()).then_some(channels),
    }
}

/// What a device's own AES block, called here directly, makes of a join-accept.
fn encrypted_back(sealed: &[u8], key: &AppKey) -> Vec<u8> {
    use aes::cipher::{BlockCipherEncrypt, KeyInit};
    let cipher = aes::Aes128::new(key.expose().into());
    let mut plain = vec![sealed[0]];
    for chunk in sealed[1..].chunks_exact(16) {
        let mut block = aes::Block::try_from(chunk).expect("16 octets");
        cipher.encrypt_block(&mut block);
        plain.extend(block);
    }
    plain
}

#[test]
fn channel_lists_have_the_layout_of_the_regional_parameters() {
    // RP002, CFList types 0 and 1 (layout from memory); 867.1 MHz = 8,671,000 x 100 Hz = 0x844F18, worked by hand.
    let key = AppKey::from_bytes([1; 16]);
    let mut grant = JoinAccept {
        join_nonce: JoinNonce::from_display_bytes([0, 0, 1]),
        net_id: NetId::from_display_bytes([0, 0, 2]),
        dev_addr: DevAddr::from_display_bytes([3; 4]),
        dl_settings: DlSettings::default(),
        rx_delay: Bits::default(),
        cf_list: None,
    };
    let frequencies = [867_100_000, 867_300_000, 867_500_000, 867_700_000, 0]
        .map(|hz| CarrierFrequency::from_hz(hz).expect("whole steps"));
    let cases = [
        (CfList::Frequencies(frequencies), "184f84e85684b85e8488668400000000"),
        (CfList::ChannelMasks([0xff00, 0, 0, 0, 0x0002, 0]), "00ff0000000000000200000000000001"),
        (CfList::Other([0x77; 16]), "77777777777777777777777777777777"),
    ];
    for (cf_list, expected) in cases {
        grant.cf_list = Some(cf_list);
        let sealed = grant.seal(&key);
        assert_eq!(encrypted_back(&sealed, &key)[13..29], octets(expected)[..]);
        assert_eq!(join_accept(&sealed).decrypt(&key), Ok(grant));
    }
}

/// 1.1 has other keys and codes: what is signed otherwise fails, what has another shape is refused in words.
#[test]
fn frames_of_1_1_are_refused() {
    let vectors = vectors("newer", 4);
    let bytes: Vec<Vec<u8>> = vectors.iter().map(|vector| octets(text(vector, "frame"))).collect();
    let accepted = |number: usize| {
        let frame = data(&bytes[number]);
        let key = NwkSKey::from_hex(text(&vectors[number], "key")).expect("a key");
        frame.verify(&Session::new(frame.dev_addr(), &key, &AppSKey::from_bytes([0; 16])), None).is_ok()
    };
    assert!(!accepted(0), "half of the code of an uplink is another key's");
    assert!(accepted(1), "a downlink that acknowledges nothing is signed as in 1.0");
    let root = AppKey::from_hex(text(&vectors[2], "key")).expect("a key");
    assert_eq!(join_accept(&bytes[2]).decrypt(&root), Err(JoinError::MicWithOptNeg));
    let rejoin = frame::parse(&bytes[3]).expect_err("a rejoin-request is 1.1");
    assert_eq!(rejoin, FrameError::Rejoin);
    for words in [JoinError::MicWithOptNeg.to_string(), rejoin.to_string()] {
        assert!(words.contains("LoRaWAN 1.1"), "{words}");
    }
}
