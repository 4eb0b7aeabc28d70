//! The websocket on which gateways speak: texts of JSON in both directions, read and written here; the socket is elsewhere.
//!
//! A gateway takes frames apart before it sends them. They are put together again byte for byte, because the integrity code
//! is of the bytes. Shells and updates, which the protocol also knows, are never sent.
//!
//! # References
//! "The LNS protocol" of the documentation of the station (a forwarder of a maker of gateways): discovery, `version`,
//! `router_config`, `jreq`, `updf`, `propdf`, `dnmsg`, `dntxed`, `timesync`. Names of regions and the layout of the radio
//! board are from memory; nothing here was tried against a gateway.

mod config;

use serde::Deserialize;
use serde_json::json;
use wire::identity::{DevEui, GatewayEui, JoinEui};

use crate::digits;
use crate::network::{Downlink, DownlinkNumber, Window, rate_name};
use crate::received::{Checksum, Moment, Radio, Received, StationClock};
use design::region::Region;

pub use config::{ConfigError, router_config};

/// Longest text that is read \[bytes\]; a frame has 255 (own choice).
pub const LARGEST_BYTES: usize = 16_384;

/// What a gateway says.
#[derive(Clone, Debug, PartialEq)]
pub enum Said {
    /// It begins; to be answered with [`router_config`].
    Version {
        /// Its program and edition.
        station: String,
        /// Its model.
        model: String,
    },
    /// It has heard a frame.
    Heard(Box<Received>),
    /// It has sent an answer.
    Sent(DownlinkNumber),
    /// It asks for the time; to be answered with [`time`].
    TimeWanted {
        /// Its own clock, as it wrote it.
        txtime: f64,
    },
    /// Something that is not needed.
    Other(String),
}

/// Text that is none of the protocol.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StationError {
    /// Longer than is read.
    #[error("a text of {found} bytes; at most {LARGEST_BYTES} are read")]
    Size {
        /// Its bytes.
        found: usize,
    },
    /// It is no JSON of the protocol.
    #[error("no message of a gateway is written like this")]
    Json,
    /// A number or text of a frame that can't be.
    #[error("`{field}` of the frame can't be what it is")]
    Field {
        /// The key.
        field: &'static str,
    },
    /// A data rate that the region does not have.
    #[error("the region has no data rate DR{found}")]
    DataRate {
        /// As it was written.
        found: i64,
    },
}

#[derive(Deserialize)]
struct Kind {
    msgtype: String,
}

#[derive(Deserialize)]
struct Version {
    #[serde(default)]
    station: String,
    #[serde(default)]
    model: String,
}

#[derive(Deserialize)]
struct Sent {
    diid: u64,
}

#[derive(Deserialize)]
struct TimeSync {
    txtime: f64,
}

#[derive(Deserialize)]
struct UpInfo {
    rctx: i64,
    xtime: i64,
    #[serde(default)]
    gpstime: i64,
    rssi: Option<f64>,
    snr: Option<f64>,
}

#[derive(Deserialize)]
struct Air {
    #[serde(rename = "DR")]
    data_rate: i64,
    #[serde(rename = "Freq")]
    frequency_hz: u32,
    upinfo: UpInfo,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct JoinRequest {
    #[serde(rename = "MHdr")]
    header: u8,
    join_eui: String,
    dev_eui: String,
    dev_nonce: u16,
    #[serde(rename = "MIC")]
    mic: i64,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Data {
    #[serde(rename = "MHdr")]
    header: u8,
    dev_addr: i64,
    #[serde(rename = "FCtrl")]
    control: u8,
    #[serde(rename = "FCnt")]
    counter: u16,
    #[serde(rename = "FOpts")]
    options: String,
    #[serde(rename = "FPort")]
    port: i16,
    #[serde(rename = "FRMPayload")]
    payload: String,
    #[serde(rename = "MIC")]
    mic: i64,
}

#[derive(Deserialize)]
struct Raw {
    #[serde(rename = "FRMPayload")]
    payload: String,
}

/// Reads what a gateway says.
///
/// # Errors
/// [`StationError`]; the text has no effect then.
pub fn read(
    text: &str,
    gateway: GatewayEui,
    region: &Region,
    arrived_at: Moment,
) -> Result<Said, StationError> {
    if text.len() > LARGEST_BYTES {
        return Err(StationError::Size { found: text.len() });
    }
    let Kind { msgtype } = object(text)?;
    let heard = |bytes: Vec<u8>| {
        let radio = radio(&object(text)?, region)?;
        // A frame with a wrong checksum is not passed on by these gateways.
        let received = Received { arrived_at, gateway, bytes, checksum: Checksum::Good, radio };
        Ok(Said::Heard(Box::new(received)))
    };
    match msgtype.as_str() {
        "version" => {
            let Version { station, model } = object(text)?;
            Ok(Said::Version { station, model })
        }
        "jreq" => heard(join_request(&object(text)?)?),
        "updf" => heard(data(&object(text)?)?),
        "propdf" => heard(hex(&object::<Raw>(text)?.payload, "FRMPayload")?),
        "dntxed" => Ok(Said::Sent(object::<Sent>(text)?.diid)),
        "timesync" => Ok(Said::TimeWanted { txtime: object::<TimeSync>(text)?.txtime }),
        _ => Ok(Said::Other(msgtype)),
    }
}

/// A list would be taken for an object whose members come in order.
fn object<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, StationError> {
    if !text.trim_ascii_start().starts_with('{') {
        return Err(StationError::Json);
    }
    serde_json::from_str(text).ok().ok_or(StationError::Json)
}

fn radio(air: &Air, region: &Region) -> Result<Radio, StationError> {
    let wrong = StationError::DataRate { found: air.data_rate };
    let rate = u8::try_from(air.data_rate).ok();
    let modulation = rate.and_then(|rate| region.modulation(rate)).ok_or(wrong)?;
    let UpInfo { rctx, xtime, gpstime, rssi, snr } = air.upinfo;
    let [b0, b1, b2, b3, ..] = xtime.to_le_bytes();
    Ok(Radio {
        frequency_hz: air.frequency_hz,
        data_rate: rate_name(modulation),
        rssi_dbm: rssi,
        snr_db: snr,
        clock_us: Some(u32::from_le_bytes([b0, b1, b2, b3])),
        // 0 stands for a gateway that does not know it.
        gps_us: Some(gpstime).filter(|gps_us| *gps_us != 0),
        station: Some(StationClock { xtime, rctx }),
    })
}

/// 23 octets: TS001-1.0.4, table 53.
fn join_request(parts: &JoinRequest) -> Result<Vec<u8>, StationError> {
    let join_eui =
        JoinEui::from_display(&parts.join_eui).ok().ok_or(StationError::Field { field: "JoinEui" })?;
    let dev_eui = DevEui::from_display(&parts.dev_eui).ok().ok_or(StationError::Field { field: "DevEui" })?;
    let mut bytes = vec![parts.header];
    bytes.extend(join_eui.to_wire_bytes());
    bytes.extend(dev_eui.to_wire_bytes());
    bytes.extend(parts.dev_nonce.to_le_bytes());
    bytes.extend(four(parts.mic, "MIC")?);
    Ok(bytes)
}

/// Header, address, flags, counter, options, port, payload, code: TS001-1.0.4, clause 4.
fn data(parts: &Data) -> Result<Vec<u8>, StationError> {
    let options = hex(&parts.options, "FOpts")?;
    if options.len() != usize::from(parts.control & 0x0f) {
        return Err(StationError::Field { field: "FOpts" });
    }
    let mut bytes = vec![parts.header];
    bytes.extend(four(parts.dev_addr, "DevAddr")?);
    bytes.push(parts.control);
    bytes.extend(parts.counter.to_le_bytes());
    bytes.extend(options);
    // -1 stands for no port.
    if parts.port != -1 {
        bytes.push(u8::try_from(parts.port).ok().ok_or(StationError::Field { field: "FPort" })?);
    }
    bytes.extend(hex(&parts.payload, "FRMPayload")?);
    bytes.extend(four(parts.mic, "MIC")?);
    Ok(bytes)
}

/// Four octets of a number that is written with a sign; one without is taken as well.
fn four(number: i64, field: &'static str) -> Result<[u8; 4], StationError> {
    let wrong = StationError::Field { field };
    let signed = i32::try_from(number).map(i32::to_le_bytes);
    signed.or_else(|_| u32::try_from(number).map(u32::to_le_bytes)).ok().ok_or(wrong)
}

fn hex(text: &str, field: &'static str) -> Result<Vec<u8>, StationError> {
    let digits: Option<Vec<u32>> = text.chars().map(|letter| letter.to_digit(16)).collect();
    let pair = |pair: &[u32]| match *pair {
        [high, low] => u8::try_from(high << 4 | low).ok(),
        _ => None,
    };
    let bytes = digits.and_then(|digits| digits.chunks(2).map(pair).collect());
    bytes.ok_or(StationError::Field { field })
}

/// Asks a gateway to send a frame, in its window alone; `None` if it answers nothing that came by a websocket.
pub fn answer(downlink: &Downlink) -> Option<String> {
    let StationClock { xtime, rctx } = downlink.station?;
    let (rate, frequency) = match downlink.window {
        Window::First => ("RX1DR", "RX1Freq"),
        Window::Second => ("RX2DR", "RX2Freq"),
    };
    let mut message = json!({
        "msgtype": "dnmsg",
        "DevEui": dashed(downlink.session.dev_eui),
        "dC": 0,
        "diid": downlink.number,
        "pdu": digits::hex(&downlink.bytes),
        "RxDelay": downlink.first_window_s,
        "priority": 0,
        "xtime": xtime,
        "rctx": rctx,
    });
    let fields = message.as_object_mut()?;
    fields.insert(rate.to_owned(), downlink.data_rate.into());
    fields.insert(frequency.to_owned(), downlink.frequency_hz.into());
    Some(message.to_string())
}

/// An EUI as the protocol writes it: pairs of digits between dashes.
fn dashed(dev_eui: DevEui) -> String {
    dev_eui.to_display_bytes().map(|octet| format!("{octet:02X}")).join("-")
}

/// Answers a gateway that asks for the time; `gps_us` is that of the answer.
pub fn time(txtime: f64, gps_us: i64) -> String {
    json!({ "msgtype": "timesync", "txtime": txtime, "gpstime": gps_us }).to_string()
}

#[derive(Deserialize)]
struct Discovery {
    router: serde_json::Value,
}

/// Reads which gateway asks where to connect: `{"router": EUI}`, as text with dashes, as ID6, or as a number.
///
/// # Errors
/// [`StationError`] if it says none.
pub fn discovery(text: &str) -> Result<GatewayEui, StationError> {
    if text.len() > LARGEST_BYTES {
        return Err(StationError::Size { found: text.len() });
    }
    let Discovery { router } = object(text)?;
    let wrong = StationError::Field { field: "router" };
    if let Some(number) = router.as_u64() {
        return Ok(GatewayEui::from_display_bytes(number.to_be_bytes()));
    }
    let text = router.as_str().ok_or_else(|| wrong.clone())?;
    if text.contains(':') {
        return id6(text).ok_or(wrong);
    }
    GatewayEui::from_display(text).ok().ok_or(wrong)
}

/// Tells a gateway where to connect.
pub fn discovered(gateway: GatewayEui, uri: &str) -> String {
    json!({ "router": as_id6(gateway), "muxs": as_id6(gateway), "uri": uri }).to_string()
}

/// Tells a gateway why it may not connect.
pub fn refused(gateway: GatewayEui, why: &str) -> String {
    json!({ "router": as_id6(gateway), "error": why }).to_string()
}

/// Four groups of up to four digits; `::` stands for groups of zeros.
fn id6(text: &str) -> Option<GatewayEui> {
    let groups = |text: &str| -> Option<Vec<u16>> {
        let all = text.split(':').filter(|_| !text.is_empty());
        all.map(|group| u16::from_str_radix(group, 16).ok().filter(|_| group.len() <= 4)).collect()
    };
    let whole = match text.split_once("::") {
        None => groups(text)?,
        Some((before, after)) => {
            let (before, after) = (groups(before)?, groups(after)?);
            let zeros = 4_usize.checked_sub(before.len() + after.len()).filter(|zeros| *zeros > 0)?;
            [before, vec![0; zeros], after].concat()
        }
    };
    let groups: [u16; 4] = whole.try_into().ok()?;
    let number = groups.into_iter().fold(0_u64, |number, group| number << 16 | u64::from(group));
    Some(GatewayEui::from_display_bytes(number.to_be_bytes()))
}

fn as_id6(gateway: GatewayEui) -> String {
    let [a, b, c, d, e, f, g, h] = gateway.to_display_bytes();
    let groups = [[a, b], [c, d], [e, f], [g, h]];
    groups.map(|group| format!("{:x}", u16::from_be_bytes(group))).join(":")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identities_are_read_in_every_form_and_written_in_one() {
        let eui = GatewayEui::from_display_bytes([2, 0, 0, 0xff, 0xfe, 0, 0, 1]);
        for router in [r#""02-00-00-ff-fe-00-00-01""#, r#""200:ff:fe00:1""#, "144116287553929217"] {
            assert_eq!(discovery(&format!("{{\"router\":{router}}}")), Ok(eui), "{router}");
        }
        assert_eq!(as_id6(eui), "200:ff:fe00:1");
        let short = GatewayEui::from_display_bytes([0, 0, 0, 0, 0, 0, 0, 1]);
        assert_eq!(discovery(r#"{"router":"::1"}"#), Ok(short));
        assert_eq!(discovery(r#"{"router":"1::"}"#).map(|eui| eui.to_display_bytes()[1]), Ok(1));
        for wrong in [
            r#"{"router":"1:2:3"}"#,
            r#"{"router":"1:2::3:4"}"#,
            r#"{"router":-1}"#,
            "[]",
            "{}",
            "{\"router\":\":\"}",
        ] {
            assert!(discovery(wrong).is_err(), "{wrong}");
        }
    }
}
