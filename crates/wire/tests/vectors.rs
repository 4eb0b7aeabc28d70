//! Published and independently computed frames, byte for byte. Provenance: `data/README.md`.

use toml::{Table, Value};
use wire::field::{Bits, CarrierFrequency, DlSettings};
use wire::frame::{self, Body, Content, DataFrame, Direction, Draft, Frame, FrameControl, FrameError, Port};
use wire::identity::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId};
use wire::join::{self, CfList, EncryptedJoinAccept, JoinAccept, JoinError, JoinRequest};
use wire::key::{AppKey, AppSKey, NwkSKey};
use wire::mac::{self, UplinkCommand};
use wire::session::{Session, SessionKeys};

const PUBLISHED: &str = include_str!("data/crypto_vectors.toml");
const TWO_PROGRAMS: &str = include_str!("data/session_vectors.toml");

fn published(kind: &str) -> Vec<Value> {
    let table: Table = PUBLISHED.parse().expect("the vectors are TOML");
    let vectors = table["vector"].as_array().expect("an array of tables").clone();
    vectors.into_iter().filter(|vector| text(vector, "kind") == kind).collect()
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

/// The key, or zeros where a vector leaves out the one it does not use.
fn app_s_key(vector: &Value) -> AppSKey {
    match text(vector, "appskey") {
        "" => AppSKey::from_bytes([0; 16]),
        hex => AppSKey::from_hex(hex).expect("a key"),
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

#[test]
fn published_1_0_data_frames_are_read_and_written_byte_for_byte() {
    let vectors = published("data-1.0");
    for vector in &vectors {
        let name = text(vector, "name");
        let bytes = octets(text(vector, "phy"));
        let fcnt = number(vector, "fcnt32");
        let session = Session::new(
            DevAddr::from_display(text(vector, "devaddr")).expect("an address"),
            &NwkSKey::from_hex(text(vector, "nwkskey")).expect("a key"),
            &app_s_key(vector),
        );

        let parsed = data(&bytes);
        assert_eq!(
            u32::from(parsed.confirmed()) * 2 + 2 + u32::from(parsed.direction() == Direction::Down),
            number(vector, "mtype"),
            "{name}"
        );
        assert_eq!(u32::from(flags(parsed.control(), parsed.direction())), number(vector, "fctrl"), "{name}");
        assert_eq!(u32::from(parsed.carried_fcnt()), number(vector, "fcnt16"), "{name}");
        assert_eq!(parsed.options(), octets(text(vector, "fopts")), "{name}");
        assert_eq!(parsed.port(), Some(octet(vector, "fport")), "{name}");
        assert_eq!(parsed.encrypted_payload(), octets(text(vector, "frmpayload")), "{name}");
        assert_eq!(parsed.mic().to_vec(), octets(text(vector, "mic")), "{name}");

        let verified = parsed.verify(&session, fcnt.checked_sub(1)).expect(name);
        assert_eq!(verified.fcnt(), fcnt, "{name}");
        let plain = octets(text(vector, "plain"));
        let body = match verified.decrypt() {
            Content::Empty => panic!("{name} has a port"),
            Content::Commands(commands) => {
                assert_eq!(*commands, plain, "{name}");
                Body::Commands(&plain)
            }
            Content::Application { port, payload } => {
                assert_eq!(*payload, plain, "{name}");
                Body::Application { port, payload: &plain, options: parsed.options() }
            }
        };
        let draft = Draft {
            direction: parsed.direction(),
            confirmed: parsed.confirmed(),
            control: parsed.control(),
            fcnt,
            body,
        };
        assert_eq!(draft.seal(&session), Ok(bytes.clone()), "{name}");
    }
    assert_eq!(vectors.len(), 8, "no vector of 1.0 may be lost");
}

#[test]
fn published_port_0_payload_is_a_link_check_request() {
    // Vector up_port0_mac: plaintext 02, whose meaning is mac_commands.csv row 0x02.
    let commands: Vec<_> = mac::uplink_commands(&[0x02]).collect();
    assert_eq!(commands, [Ok(UplinkCommand::LinkCheckReq)]);
}

#[test]
fn published_join_requests_are_read_and_written_byte_for_byte() {
    let vectors = published("join-request");
    for vector in &vectors {
        let name = text(vector, "name");
        let bytes = octets(text(vector, "phy"));
        let key = AppKey::from_hex(text(vector, "key")).expect("a key");
        let nonce = u16::try_from(number(vector, "devnonce")).expect("16 bits");
        let request = join_request(&bytes).verify(&key).expect(name);
        assert_eq!(
            request.join_eui(),
            JoinEui::from_display(text(vector, "joineui")).expect("an EUI"),
            "{name}"
        );
        assert_eq!(
            request.dev_eui(),
            DevEui::from_display(text(vector, "deveui")).expect("an EUI"),
            "{name}"
        );
        assert_eq!(request.dev_nonce(), DevNonce::from(nonce), "{name}");
        let sealed = join::seal_request(&key, request.join_eui(), request.dev_eui(), request.dev_nonce());
        assert_eq!(sealed.to_vec(), bytes, "{name}");
    }
    assert_eq!(vectors.len(), 2, "no vector may be lost");
}

#[test]
fn published_join_accepts_are_read_and_written_byte_for_byte() {
    let vectors = published("join-accept");
    for vector in &vectors {
        let name = text(vector, "name");
        let bytes = octets(text(vector, "phy_encrypted"));
        let key = AppKey::from_hex(text(vector, "key")).expect("a key");
        let accept = join_accept(&bytes).decrypt(&key).expect(name);
        // The device's nonce order is the display order here too.
        assert_eq!(
            u32::from_be_bytes(with_leading_zero(accept.join_nonce)),
            number(vector, "joinnonce"),
            "{name}"
        );
        assert_eq!(accept.net_id, NetId::from_display(text(vector, "netid")).expect("a NetID"), "{name}");
        assert_eq!(
            accept.dev_addr,
            DevAddr::from_display(text(vector, "devaddr")).expect("an address"),
            "{name}"
        );
        assert_eq!(accept.dl_settings, DlSettings::default(), "{name}");
        assert_eq!(u32::from(accept.rx_delay.get()), number(vector, "rxdelay"), "{name}");
        assert_eq!(accept.cf_list, None, "{name}");
        assert_eq!(accept.seal(&key), bytes, "{name}");
        if vector.get("nwkskey").is_some() {
            let nonce = DevNonce::from(u16::try_from(number(vector, "devnonce")).expect("16 bits"));
            let keys = SessionKeys::derive(&key, accept.join_nonce, accept.net_id, nonce);
            assert_eq!(keys.nwk_s_key.expose().to_vec(), octets(text(vector, "nwkskey")), "{name}");
            assert_eq!(keys.app_s_key.expose().to_vec(), octets(text(vector, "appskey")), "{name}");
        }
    }
    assert_eq!(vectors.len(), 2, "no vector may be lost");
}

fn with_leading_zero(nonce: JoinNonce) -> [u8; 4] {
    let [high, middle, low] = nonce.to_display_bytes();
    [0, high, middle, low]
}

#[test]
fn published_plain_join_accept_has_the_integrity_code_that_sealing_gives() {
    let vectors = published("join-accept-plain");
    for vector in &vectors {
        let plain = octets(text(vector, "phy_decrypted"));
        let [_, j0, j1, j2, n0, n1, n2, a0, a1, a2, a3, settings, delay, mic @ ..] = &plain[..] else {
            panic!("a join-accept without a list has 17 bytes")
        };
        let key = AppKey::from_hex(text(vector, "key")).expect("a key");
        let accept = JoinAccept {
            join_nonce: JoinNonce::from_wire_bytes([*j0, *j1, *j2]),
            net_id: NetId::from_wire_bytes([*n0, *n1, *n2]),
            dev_addr: DevAddr::from_wire_bytes([*a0, *a1, *a2, *a3]),
            dl_settings: DlSettings {
                rx1_data_rate_offset: Bits::new(settings >> 4).expect("three bits"),
                rx2_data_rate: Bits::new(settings & 15).expect("four bits"),
            },
            rx_delay: Bits::new(*delay).expect("four bits"),
            cf_list: None,
        };
        let sealed = accept.seal(&key);
        assert_eq!(join_accept(&sealed).decrypt(&key), Ok(accept));
        assert_eq!(encrypted_back(&sealed, &key), plain, "{}", text(vector, "name"));
        assert_eq!(mic.to_vec(), octets(text(vector, "mic")));
    }
    assert_eq!(vectors.len(), 1, "no vector may be lost");
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

#[test]
fn vectors_of_1_1_are_refused_or_skipped_by_name() {
    // 1.1 has other keys, codes and counters: its data frames look like 1.0 and fail on their integrity code.
    let skipped = [
        ("session-1.1", vec!["sk11_optneg"], "its session keys derive from two root keys and the JoinEUI"),
        ("js-keys-1.1", vec!["jskeys_a", "jskeys_b"], "the join server's keys exist in 1.1 only"),
        ("fopts-1.1", vec!["fopts11_nfcntdown", "fopts11_afcntdown"], "options are encrypted in 1.1 only"),
    ];
    for (kind, names, reason) in skipped {
        let found: Vec<_> = published(kind).iter().map(|vector| text(vector, "name").to_owned()).collect();
        assert_eq!(found, names, "skipped because {reason}");
    }
    let data_names =
        ["u11_hello", "u11_hello_ack", "d11_fopts_plain_port1", "u11_lp", "u11_rekeyind", "d11_example"];
    let vectors = published("data-1.1");
    assert_eq!(vectors.iter().map(|vector| text(vector, "name")).collect::<Vec<_>>(), data_names);
    for vector in &vectors {
        let bytes = octets(text(vector, "phy"));
        let frame = data(&bytes);
        let key = NwkSKey::from_hex(text(vector, "snwksintkey")).expect("a key");
        let session = Session::new(frame.dev_addr(), &key, &AppSKey::from_bytes([0; 16]));
        let verified = frame.verify(&session, None);
        // A 1.1 downlink that acknowledges nothing is signed as in 1.0 with SNwkSIntKey; all else differs.
        let same_as_1_0 = text(vector, "name").starts_with("d11");
        assert_eq!(verified.is_ok(), same_as_1_0, "{}", text(vector, "name"));
    }
    for vector in published("rejoin-request-1.1") {
        let refused = frame::parse(&octets(text(&vector, "phy"))).expect_err("a rejoin-request is 1.1");
        assert_eq!(refused, FrameError::Rejoin);
        assert!(refused.to_string().contains("LoRaWAN 1.1"), "{refused}");
    }
}

#[test]
fn published_1_1_join_accept_is_refused_in_words() {
    for vector in published("join-accept-1.1") {
        let key = AppKey::from_hex(text(&vector, "key")).expect("a key");
        let refused = join_accept(&octets(text(&vector, "phy_encrypted"))).decrypt(&key);
        assert_eq!(refused, Err(JoinError::MicWithOptNeg));
        assert!(JoinError::MicWithOptNeg.to_string().contains("LoRaWAN 1.1"));
    }
}

#[test]
fn two_programs_data_frames_are_read_and_written_byte_for_byte() {
    let table: Table = TWO_PROGRAMS.parse().expect("the vectors are TOML");
    let nwk_s_key = NwkSKey::from_hex(table["nwk_s_key"].as_str().expect("text")).expect("a key");
    let app_s_key = AppSKey::from_hex(table["app_s_key"].as_str().expect("text")).expect("a key");
    let vectors = table["data"].as_array().expect("an array of tables");
    for vector in vectors {
        let name = text(vector, "name");
        let dev_addr = DevAddr::from_display(text(vector, "dev_addr")).expect("an address");
        let session = Session::new(dev_addr, &nwk_s_key, &app_s_key);
        let control = vector["flags"].as_array().expect("a list").iter().fold(
            FrameControl::default(),
            |control, flag| match flag.as_str().expect("text") {
                "adr" => control.with_adr(),
                "ack" => control.with_ack(),
                "adr_ack_request" => control.with_adr_ack_request(),
                "frame_pending" => control.with_frame_pending(),
                other => panic!("{other} is no flag"),
            },
        );
        let plain = octets(text(vector, "plain"));
        let port = Port::new(octet(vector, "port")).expect("not 0");
        let direction = if text(vector, "direction") == "up" { Direction::Up } else { Direction::Down };
        let fcnt = number(vector, "fcnt");
        let draft = Draft {
            direction,
            confirmed: vector["confirmed"].as_bool().expect("yes or no"),
            control,
            fcnt,
            body: Body::Application { port, payload: &plain, options: &[] },
        };
        let bytes = octets(text(vector, "frame"));
        assert_eq!(draft.seal(&session), Ok(bytes.clone()), "{name}");
        let verified = data(&bytes).verify(&session, Some(fcnt - 1)).expect(name);
        assert_eq!((verified.fcnt(), verified.frame().direction()), (fcnt, direction), "{name}");
        assert_eq!(verified.frame().control(), control, "{name}");
        let Content::Application { port: read_port, payload } = verified.decrypt() else { panic!("{name}") };
        assert_eq!((read_port, payload.to_vec()), (port, plain), "{name}");
    }
    assert_eq!(vectors.len(), 5, "no vector may be lost");
}

#[test]
fn two_programs_join_is_read_and_written_byte_for_byte() {
    let table: Table = TWO_PROGRAMS.parse().expect("the vectors are TOML");
    let app_key = AppKey::from_hex(table["app_key"].as_str().expect("text")).expect("a key");
    let join = &table["join"];
    let join_eui = JoinEui::from_display(text(join, "join_eui")).expect("an EUI");
    let dev_eui = DevEui::from_display(text(join, "dev_eui")).expect("an EUI");
    let dev_nonce = DevNonce::from_display(text(join, "dev_nonce")).expect("a nonce");
    let request = octets(text(join, "request"));
    assert_eq!(join::seal_request(&app_key, join_eui, dev_eui, dev_nonce).to_vec(), request);
    let verified = join_request(&request).verify(&app_key).expect("its own key");
    assert_eq!(
        (verified.join_eui(), verified.dev_eui(), verified.dev_nonce()),
        (join_eui, dev_eui, dev_nonce)
    );

    let grant = JoinAccept {
        join_nonce: JoinNonce::from_display(text(join, "join_nonce")).expect("a nonce"),
        net_id: NetId::from_display(text(join, "net_id")).expect("a NetID"),
        dev_addr: DevAddr::from_display(text(join, "dev_addr")).expect("an address"),
        dl_settings: DlSettings {
            rx1_data_rate_offset: Bits::new(octet(join, "rx1_data_rate_offset")).expect("three bits"),
            rx2_data_rate: Bits::new(octet(join, "rx2_data_rate")).expect("four bits"),
        },
        rx_delay: Bits::new(octet(join, "rx_delay")).expect("four bits"),
        cf_list: None,
    };
    let accept = octets(text(join, "accept"));
    assert_eq!(grant.seal(&app_key), accept);
    assert_eq!(encrypted_back(&accept, &app_key), octets(text(join, "accept_plain")));
    assert_eq!(join_accept(&accept).decrypt(&app_key), Ok(grant));

    let keys = SessionKeys::derive(&app_key, grant.join_nonce, grant.net_id, dev_nonce);
    assert_eq!(keys.nwk_s_key, NwkSKey::from_hex(text(join, "nwk_s_key")).expect("a key"));
    assert_eq!(keys.app_s_key, AppSKey::from_hex(text(join, "app_s_key")).expect("a key"));
}
