//! Frames as gateways on a websocket take them apart.

use serde_json::{Value, json};

/// Takes a frame apart as a gateway does (TS001-1.0.4, clause 4): numbers of four octets with a sign.
pub(crate) fn apart(frame: &[u8], data_rate: u8, xtime: i64) -> Value {
    let signed = |at: usize| i32::from_le_bytes([frame[at], frame[at + 1], frame[at + 2], frame[at + 3]]);
    let hex = |bytes: &[u8]| bytes.iter().map(|octet| format!("{octet:02x}")).collect::<Vec<_>>().concat();
    let eui = |at: usize| {
        let octets: Vec<String> =
            frame[at..at + 8].iter().rev().map(|octet| format!("{octet:02X}")).collect();
        octets.join("-")
    };
    let end = frame.len() - 4;
    let mut parts = if frame[0] == 0 {
        json!({
            "msgtype": "jreq", "JoinEui": eui(1), "DevEui": eui(9),
            "DevNonce": u16::from_le_bytes([frame[17], frame[18]]),
        })
    } else {
        let options = 8 + usize::from(frame[5] & 15);
        json!({
            "msgtype": "updf", "DevAddr": signed(1), "FCtrl": frame[5],
            "FCnt": u16::from_le_bytes([frame[6], frame[7]]), "FOpts": hex(&frame[8..options]),
            "FPort": if options < end { i16::from(frame[options]) } else { -1 },
            "FRMPayload": hex(&frame[(options + 1).min(end)..end]),
        })
    };
    let fields = parts.as_object_mut().expect("an object");
    fields.insert("MHdr".to_owned(), frame[0].into());
    fields.insert("MIC".to_owned(), signed(end).into());
    fields.insert("DR".to_owned(), data_rate.into());
    fields.insert("Freq".to_owned(), 868_300_000.into());
    let upinfo = json!({ "rctx": 3, "xtime": xtime, "gpstime": 0, "rssi": -80, "snr": 7.5 });
    fields.insert("upinfo".to_owned(), upinfo);
    parts
}
