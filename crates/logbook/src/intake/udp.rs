//! The datagrams that gateways send by UDP. Nothing in them is authenticated.
//!
//! # References
//! "Basic communication protocol between gateway and server", version 1.6, and its older edition 1.4: header of 12 octets
//! (version 2, token, kind, gateway EUI), then JSON. Keys that are not known are left alone.

use serde::Deserialize;
use serde_json::{Value, json};
use wire::identity::GatewayEui;

use crate::base64;
use crate::network::Downlink;
use crate::received::{Checksum, Moment, Radio, Received, Report};

const VERSION: u8 = 2;
/// More frames do not come in one datagram (own choice; the newer document allows 255).
const MOST_FRAMES: usize = 255;

/// What a datagram of a gateway says.
#[derive(Clone, Debug, PartialEq)]
pub enum Datagram {
    /// Frames, or a report on the gateway itself; to be acknowledged at once.
    Push {
        /// To be sent back with the acknowledgement.
        token: [u8; 2],
        /// Who sent it.
        gateway: GatewayEui,
        /// The frames, in order; those that could not be read are counted apart.
        frames: Vec<Received>,
        /// Entries that are no frame.
        unreadable: usize,
        /// What the gateway says of itself.
        report: Option<Report>,
    },
    /// A sign of life, and the address to which answers go.
    Pull {
        /// To be sent back with the acknowledgement.
        token: [u8; 2],
        /// Who sent it.
        gateway: GatewayEui,
    },
    /// What became of an answer.
    Sent {
        /// The token of the answer.
        token: [u8; 2],
        /// Who sent it.
        gateway: GatewayEui,
        /// Why it was not sent; none if it was.
        refused: Option<String>,
    },
}

/// Bytes that are no datagram of a gateway.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DatagramError {
    /// Too short for its header.
    #[error("a datagram of a gateway has at least 12 bytes, this one {found}")]
    Length {
        /// Bytes of the datagram.
        found: usize,
    },
    /// Another version of the protocol.
    #[error("the datagram is of version {found} of the protocol; only 2 is known")]
    Version {
        /// Version it names.
        found: u8,
    },
    /// A kind that gateways do not send.
    #[error("gateways send no datagram of kind {found}")]
    Kind {
        /// Kind it names.
        found: u8,
    },
    /// No JSON behind the header.
    #[error("what follows the header is no JSON that is known")]
    Json,
}

#[derive(Deserialize)]
struct Push {
    #[serde(default)]
    rxpk: Vec<serde_json::Value>,
    stat: Option<Value>,
}

#[derive(Deserialize)]
struct Packet {
    data: String,
    freq: f64,
    datr: Rate,
    stat: Option<i8>,
    size: Option<usize>,
    rssi: Option<f64>,
    lsnr: Option<f64>,
    tmst: Option<u32>,
    tmms: Option<i64>,
    #[serde(default)]
    rsig: Vec<Antenna>,
}

/// LoRa names its rate, FSK counts bits.
#[derive(Deserialize)]
#[serde(untagged)]
enum Rate {
    Name(String),
    Bits(u32),
}

#[derive(Deserialize)]
struct Antenna {
    rssic: Option<f64>,
    lsnr: Option<f64>,
}

#[derive(Deserialize)]
struct Acknowledgement {
    txpk_ack: Option<Outcome>,
}

#[derive(Deserialize)]
struct Outcome {
    error: Option<String>,
}

/// Reads a datagram that arrived at a moment.
///
/// # Errors
/// [`DatagramError`]; a single entry that is no frame is counted instead.
pub fn read(bytes: &[u8], arrived_at: Moment) -> Result<Datagram, DatagramError> {
    let too_short = DatagramError::Length { found: bytes.len() };
    let (&[version, t0, t1, kind, ref eui @ ..], json) = bytes.split_first_chunk::<12>().ok_or(too_short)?;
    if version != VERSION {
        return Err(DatagramError::Version { found: version });
    }
    let (token, gateway) = ([t0, t1], GatewayEui::from_display_bytes(*eui));
    match kind {
        0 => push(token, gateway, json, arrived_at),
        2 => Ok(Datagram::Pull { token, gateway }),
        5 => sent(token, gateway, json),
        found => Err(DatagramError::Kind { found }),
    }
}

fn push(
    token: [u8; 2],
    gateway: GatewayEui,
    json: &[u8],
    arrived_at: Moment,
) -> Result<Datagram, DatagramError> {
    let Push { rxpk, stat } = object(json)?;
    if rxpk.len() > MOST_FRAMES {
        return Err(DatagramError::Json);
    }
    let all = rxpk.len();
    let packets = rxpk.into_iter().filter_map(|entry| serde_json::from_value(entry).ok());
    let frames: Vec<Received> = packets.filter_map(|packet| frame(packet, gateway, arrived_at)).collect();
    let unreadable = all - frames.len();
    Ok(Datagram::Push { token, gateway, frames, unreadable, report: stat.and_then(report) })
}

/// A report; what is not a number where one belongs stays with the rest, and what is no object is none.
fn report(stat: Value) -> Option<Report> {
    let Value::Object(mut stat) = stat else { return None };
    let mut take = |key: &str| match stat.get(key).and_then(Value::as_f64) {
        Some(number) => {
            stat.remove(key);
            Some(number)
        }
        None => None,
    };
    Some(Report {
        heard: take("rxnb"),
        intact: take("rxok"),
        passed_on: take("rxfw"),
        acknowledged_percent: take("ackr"),
        answers_received: take("dwnb"),
        answers_sent: take("txnb"),
        place: take("lati").zip(take("long")),
        extra: Value::Object(stat).to_string(),
    })
}

/// What a datagram says; a list would be taken for an object whose members come in order.
fn object<T: serde::de::DeserializeOwned>(json: &[u8]) -> Result<T, DatagramError> {
    if !json.trim_ascii_start().starts_with(b"{") {
        return Err(DatagramError::Json);
    }
    serde_json::from_slice(json).ok().ok_or(DatagramError::Json)
}

fn sent(token: [u8; 2], gateway: GatewayEui, json: &[u8]) -> Result<Datagram, DatagramError> {
    let refused = if json.trim_ascii().is_empty() {
        None
    } else {
        let Acknowledgement { txpk_ack } = object(json)?;
        txpk_ack.and_then(|outcome| outcome.error).filter(|word| word != "NONE")
    };
    Ok(Datagram::Sent { token, gateway, refused })
}

fn frame(packet: Packet, gateway: GatewayEui, arrived_at: Moment) -> Option<Received> {
    let bytes = base64::decode(&packet.data).ok()?;
    if packet.size.is_some_and(|size| size != bytes.len()) {
        return None;
    }
    let best = packet
        .rsig
        .iter()
        .max_by(|one, other| one.lsnr.unwrap_or(f64::MIN).total_cmp(&other.lsnr.unwrap_or(f64::MIN)));
    let hertz = (packet.freq * 1e6).round();
    let radio = Radio {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "held within 32 bits just before"
        )]
        frequency_hz: (0.0..=f64::from(u32::MAX)).contains(&hertz).then_some(hertz as u32)?,
        data_rate: match packet.datr {
            Rate::Name(name) => name,
            Rate::Bits(bits) => bits.to_string(),
        },
        rssi_dbm: packet.rssi.or(best.and_then(|antenna| antenna.rssic)),
        snr_db: packet.lsnr.or(best.and_then(|antenna| antenna.lsnr)),
        clock_us: packet.tmst,
        gps_us: packet.tmms.and_then(|milliseconds| milliseconds.checked_mul(1000)),
        station: None,
    };
    let checksum = match packet.stat {
        Some(-1) => Checksum::Bad,
        Some(0) => Checksum::None,
        _ => Checksum::Good,
    };
    Some(Received { arrived_at, gateway, bytes, checksum, radio })
}

/// What asks a gateway to send a frame, behind the header.
pub fn answer(downlink: &Downlink) -> String {
    let lora = downlink.rate_name.starts_with("SF");
    // FSK is named by its bits in a second.
    let rate = match downlink.rate_name.parse::<u32>() {
        Ok(bits) => Value::from(bits),
        Err(_) => Value::from(downlink.rate_name.clone()),
    };
    let mut packet = json!({
        "imme": false,
        "tmst": downlink.clock_us,
        "freq": f64::from(downlink.frequency_hz) / 1e6,
        "rfch": 0,
        "powe": downlink.eirp_dbm,
        "modu": if lora { "LORA" } else { "FSK" },
        "datr": rate,
        "ipol": true,
        "ncrc": true,
        "size": downlink.bytes.len(),
        "data": base64::encode(&downlink.bytes),
    });
    // A coding rate, or the deviation of FSK in the regional plans [Hz].
    let (key, value) = if lora { ("codr", Value::from("4/5")) } else { ("fdev", Value::from(25_000)) };
    if let Some(fields) = packet.as_object_mut() {
        fields.insert(key.to_owned(), value);
    }
    json!({ "txpk": packet }).to_string()
}
