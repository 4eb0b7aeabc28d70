//! Datagrams of gateways, and what a network makes of the frames in them.

use std::collections::BTreeSet;

use design::quantity::Decibels;
use design::region::Region;
use design::serve::Answers;
use logbook::base64;
use logbook::intake::udp::{self, Datagram, DatagramError};
use logbook::network::{Member, Network, Plan, Setup, Station, Verdict};
use wire::frame::{Body, Direction, Draft, FrameControl, Port};
use wire::identity::{DevAddr, DevEui, DevNonce, GatewayEui, JoinEui};
use wire::join;
use wire::key::AppKey;
use wire::session::{Session, SessionKeys};

/// Entries of one datagram at most.
const MOST_FRAMES: usize = 255;

/// A datagram names its gateway and token where they stand, its entries are all read or counted, and of its frames a network
/// accepts none but those that its device made, each once.
pub fn holds(bytes: &[u8]) {
    let (token, gateway, frames) = match udp::read(bytes, 0) {
        Err(error) => {
            assert_eq!(bytes.len() < 12, matches!(error, DatagramError::Length { .. }));
            return;
        }
        Ok(Datagram::Push { token, gateway, frames, unreadable, .. }) => {
            assert!(frames.len() + unreadable <= MOST_FRAMES);
            (token, gateway, frames)
        }
        Ok(Datagram::Pull { token, gateway } | Datagram::Sent { token, gateway, .. }) => {
            (token, gateway, Vec::new())
        }
    };
    assert_eq!(Some(&token[..]), bytes.get(1..3));
    assert_eq!(Some(&gateway.to_display_bytes()[..]), bytes.get(4..12));
    let genuine = genuine();
    let mut network = network(gateway);
    let mut accepted = BTreeSet::new();
    for frame in frames.iter().chain(&frames) {
        assert_eq!((frame.gateway, frame.arrived_at), (gateway, 0));
        let heard = network.hear(frame);
        let has_effect = matches!(heard.verdict, Verdict::New | Verdict::Late | Verdict::Join);
        assert_eq!(has_effect, heard.uplink.is_some() || heard.joined.is_some());
        if has_effect {
            assert!(genuine.contains(&frame.bytes), "a frame that the device did not make");
            assert!(accepted.insert(frame.bytes.clone()), "the same frame twice");
        }
    }
}

fn app_key() -> AppKey {
    AppKey::from_bytes([7; 16])
}

fn dev_eui() -> DevEui {
    DevEui::from_display_bytes([2, 0, 0, 0, 0, 0, 0, 9])
}

fn join_eui() -> JoinEui {
    JoinEui::from_display_bytes([2, 0, 0, 0, 0, 0, 0, 1])
}

fn dev_addr() -> DevAddr {
    DevAddr::from_display_bytes([1, 0, 0, 1])
}

pub(crate) fn network(gateway: GatewayEui) -> Network<impl FnMut() -> DevAddr> {
    let station = Station { eui: gateway, eirp_most_dbm: 16.0, gain: Decibels::ZERO };
    let setup = Setup {
        region: Region::builtin("EU868").expect("built in"),
        stations: vec![station],
        answers: Answers::All,
        gather: 250_000,
        rx1_delay_s: 1,
    };
    let member = Member::enrolled(dev_eui(), join_eui(), app_key(), Plan::default());
    Network::new(setup, [member], dev_addr)
}

/// What the device of [`network`] sends: it joins and reports twice.
pub(crate) fn genuine() -> Vec<Vec<u8>> {
    let nonce = DevNonce::from(3);
    let mut frames = vec![join::seal_request(&app_key(), join_eui(), dev_eui(), nonce).to_vec()];
    let first = wire::identity::JoinNonce::from_display_bytes([0, 0, 1]);
    let keys = SessionKeys::derive(&app_key(), first, logbook::network::PRIVATE, nonce);
    let session = Session::new(dev_addr(), &keys.nwk_s_key, &keys.app_s_key);
    for fcnt in 0..2 {
        let body =
            Body::Application { port: Port::new(10).expect("not 0"), payload: b"frost", options: &[2] };
        let draft =
            Draft { direction: Direction::Up, confirmed: true, control: FrameControl::default(), fcnt, body };
        frames.push(draft.seal(&session).expect("it is short"));
    }
    frames
}

/// Frames of the device in one datagram, a sign of life, and the word on an answer.
pub fn seeds() -> Vec<Vec<u8>> {
    let entries: Vec<String> = genuine()
        .iter()
        .map(|frame| {
            let data = base64::encode(frame);
            format!(
                r#"{{"tmst":3512348611,"freq":868.3,"stat":1,"modu":"LORA","datr":"SF7BW125","lsnr":5.1,"rssi":-35,"size":{},"data":"{data}"}}"#,
                frame.len()
            )
        })
        .collect();
    let datagram = |kind: u8, json: &str| {
        [&[2, 0xd6, 0x68, kind, 2, 0, 0, 0xff, 0xfe, 0, 0, 1], json.as_bytes()].concat()
    };
    let frames = datagram(0, &format!(r#"{{"rxpk":[{}]}}"#, entries.join(",")));
    let Ok(Datagram::Push { frames: read, unreadable: 0, .. }) = udp::read(&frames, 0) else {
        panic!("a sound datagram")
    };
    let mut network = network(GatewayEui::from_display_bytes([2, 0, 0, 0xff, 0xfe, 0, 0, 1]));
    let verdicts: Vec<Verdict> = read.iter().map(|frame| network.hear(frame).verdict).collect();
    assert_eq!(verdicts, [Verdict::Join, Verdict::New, Verdict::New], "the law has something to accept");
    vec![frames, datagram(2, ""), datagram(5, r#"{"txpk_ack":{"error":"TOO_LATE"}}"#)]
}
