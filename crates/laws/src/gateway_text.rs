//! What gateways say on a websocket, and what a network makes of the frames in it.

use design::region::Region;
use logbook::intake::websocket::{self, LARGEST_BYTES, Said, StationError};
use logbook::network::Verdict;
use logbook::received::StationClock;
use serde_json::{Value, json};
use wire::identity::GatewayEui;

use crate::datagram::{genuine, network};

/// Beyond what a double holds.
const XTIME: i64 = 0x0123_4567_89ab_cdef;

fn gateway() -> GatewayEui {
    GatewayEui::from_display_bytes([2, 0, 0, 0xff, 0xfe, 0, 0, 1])
}

fn read(text: &str) -> Result<Said, StationError> {
    let region = Region::builtin("EU868").expect("built in");
    websocket::read(text, gateway(), &region, 0)
}

/// A frame that is read is that of the gateway that is connected, is the same bytes when it is taken apart again, and has an
/// effect only if the device made it; who asks where to connect is told so under the identity that it said.
pub fn holds(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Ok(eui) = websocket::discovery(text) {
        let told: Value = serde_json::from_str(&websocket::discovered(eui, "ws://a/b")).expect("JSON");
        assert_eq!(websocket::discovery(&json!({ "router": told["router"] }).to_string()), Ok(eui));
    }
    match read(text) {
        Err(error) => {
            assert_eq!(text.len() > LARGEST_BYTES, matches!(error, StationError::Size { .. }));
        }
        Ok(Said::Heard(received)) => {
            assert_eq!((received.gateway, received.arrived_at), (gateway(), 0));
            let station = received.radio.station.expect("it came by a websocket");
            if let Some(again) = apart(&received.bytes, station) {
                let Ok(Said::Heard(again)) = read(&again) else { panic!("{again}") };
                assert_eq!((&again.bytes, again.radio.station), (&received.bytes, Some(station)));
            }
            let heard = network(gateway()).hear(&received);
            let has_effect = matches!(heard.verdict, Verdict::New | Verdict::Late | Verdict::Join);
            assert!(
                !has_effect || genuine().contains(&received.bytes),
                "a frame that the device did not make"
            );
        }
        Ok(_) => {}
    }
}

/// Takes a frame apart as a gateway does (TS001-1.0.4, clause 4); `None` of what is neither join-request nor data.
fn apart(frame: &[u8], clock: StationClock) -> Option<String> {
    let (body, mic) = frame.split_last_chunk::<4>()?;
    let (header, body) = body.split_first()?;
    let mut parts = match header >> 5 {
        0 => join_request(body)?,
        2 | 4 => data(body)?,
        _ => return None,
    };
    let upinfo = json!({ "rctx": clock.rctx, "xtime": clock.xtime, "gpstime": 0, "rssi": -80, "snr": 7.5 });
    for (key, value) in [
        ("MHdr", json!(header)),
        ("MIC", json!(i32::from_le_bytes(*mic))),
        ("DR", json!(5)),
        ("Freq", json!(868_300_000)),
        ("upinfo", upinfo),
    ] {
        parts.as_object_mut()?.insert(key.to_owned(), value);
    }
    Some(parts.to_string())
}

fn join_request(body: &[u8]) -> Option<Value> {
    let (join_eui, rest) = body.split_first_chunk::<8>()?;
    let (dev_eui, rest) = rest.split_first_chunk::<8>()?;
    let nonce = u16::from_le_bytes(rest.try_into().ok()?);
    let eui = |octets: &[u8; 8]| {
        octets.iter().rev().map(|octet| format!("{octet:02X}")).collect::<Vec<_>>().join("-")
    };
    Some(json!({ "msgtype": "jreq", "JoinEui": eui(join_eui), "DevEui": eui(dev_eui), "DevNonce": nonce }))
}

fn data(body: &[u8]) -> Option<Value> {
    let (address, rest) = body.split_first_chunk::<4>()?;
    let (&[control, low, high], rest) = rest.split_first_chunk::<3>()?;
    let (options, rest) = rest.split_at_checked(usize::from(control & 15))?;
    let (port, payload) =
        rest.split_first().map_or((-1, rest), |(port, payload)| (i16::from(*port), payload));
    let hex = |bytes: &[u8]| bytes.iter().map(|octet| format!("{octet:02x}")).collect::<Vec<_>>().concat();
    Some(json!({
        "msgtype": "updf", "DevAddr": i32::from_le_bytes(*address), "FCtrl": control,
        "FCnt": u16::from_le_bytes([low, high]), "FOpts": hex(options), "FPort": port, "FRMPayload": hex(payload),
    }))
}

/// Frames of the device as texts, a beginning, a question for the time, the word on an answer, and where to connect.
pub fn seeds() -> Vec<Vec<u8>> {
    let clock = StationClock { xtime: XTIME, rctx: 3 };
    let frames: Vec<String> =
        genuine().iter().map(|frame| apart(frame, clock).expect("a sound frame")).collect();
    let mut network = network(gateway());
    for (frame, bytes) in frames.iter().zip(genuine()) {
        let Ok(Said::Heard(received)) = read(frame) else { panic!("{frame}") };
        assert_eq!(received.bytes, bytes);
        let verdict = network.hear(&received).verdict;
        assert!(matches!(verdict, Verdict::Join | Verdict::New), "the law has something to accept");
    }
    let others = [
        r#"{"msgtype":"version","station":"2.0.6","firmware":null,"package":null,"model":"board","protocol":2}"#,
        r#"{"msgtype":"timesync","txtime":12.5}"#,
        r#"{"msgtype":"dntxed","diid":41,"rctx":0,"xtime":1}"#,
        r#"{"router":"200:ff:fe00:1"}"#,
        r#"{"router":144116287553929217}"#,
    ];
    frames.into_iter().chain(others.map(str::to_owned)).map(String::into_bytes).collect()
}
