//! Messages of other networks, which heard and decrypted for us: where in their JSON each thing stands is said by pointers,
//! and no sender's own schema is known here. Pure.
//!
//! - [`read`]: a message becomes [`Reported`] uplinks, or the reason why not.
//! - [`propose`]: pointers by the shape of what pasted messages hold, for a person to confirm.
//! - [`run`]: what a reported uplink is to those before it: new, late, a copy, or the first of another session.
//!
//! # References
//! RFC 8259 (JSON), RFC 6901 (pointers), RFC 3339 (times).

pub mod json;
pub mod propose;
pub mod run;

mod time;
mod value;

pub use time::rfc3339;

use std::collections::BTreeMap;
use std::fmt;

use design::serve::{Levels, MappedContent, MappedPort, MappedValue, Mapping, Pointer};
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use wire::identity::DevEui;

use crate::digits;
use crate::received::Moment;
use json::{Json, JsonError};

/// Most bytes of a message.
pub const LARGEST_BYTES: usize = 262_144;
/// Most uplinks in one message (own choice: a day of a node every 10 min is 144).
pub const MOST_UPLINKS: usize = 1_000;
/// Stands in a digest for the port of values, which have none.
const NO_PORT: u8 = 0;
/// No LoRa packet carries more.
const LONGEST_PAYLOAD: usize = 255;

/// A message as it came.
#[derive(Clone, Copy, Debug)]
pub struct Incoming<'a> {
    /// The topic of a broker's message.
    pub topic: Option<&'a str>,
    /// The path that a message was posted to.
    pub path: Option<&'a str>,
    /// Its bytes.
    pub body: &'a [u8],
}

/// An uplink that another network has verified and decrypted.
#[derive(Clone, Debug, PartialEq)]
pub struct Reported {
    /// Who sent it.
    pub dev_eui: DevEui,
    /// Its counter, if the messages say it.
    pub counter: Option<u32>,
    /// What it carries.
    pub content: Content,
    /// When it was heard, if the messages say it.
    pub at: Option<Moment>,
    /// Received power \[dBm\].
    pub rssi_dbm: Option<f64>,
    /// Signal to noise \[dB\].
    pub snr_db: Option<f64>,
}

/// What a reported uplink carries.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Content {
    /// Bytes in the clear.
    Payload {
        /// Their port, 1 to 223.
        port: u8,
        /// At most 255.
        bytes: Vec<u8>,
    },
    /// Values that were decoded already: an object in JSON of messages, each an object of its columns.
    Values(String),
}

impl Content {
    /// The port; none of values.
    pub const fn port(&self) -> Option<u8> {
        match self {
            Self::Payload { port, .. } => Some(*port),
            Self::Values(_) => None,
        }
    }

    /// The bytes that are kept: the payload, or the text of the values.
    pub fn bytes(&self) -> &[u8] {
        match self {
            Self::Payload { bytes, .. } => bytes,
            Self::Values(text) => text.as_bytes(),
        }
    }
}

impl Reported {
    /// What tells it from others of its run: counter, time, and a digest of what it carries.
    pub fn key(&self) -> String {
        let number = |number: Option<i64>| number.map_or("-".to_owned(), |number| number.to_string());
        let port = self.content.port().unwrap_or(NO_PORT);
        let digest = Sha256::new().chain_update([port]).chain_update(self.content.bytes()).finalize();
        format!("{} {} {}", number(self.counter.map(i64::from)), number(self.at), digits::hex(&digest))
    }
}

/// Who may be named in a message.
#[derive(Clone, Debug, Default)]
pub struct Devices {
    /// Those with an open row, by what people call them.
    pub by_name: BTreeMap<String, DevEui>,
}

impl Devices {
    /// Whether a device has this identity.
    pub fn knows(&self, dev_eui: DevEui) -> bool {
        self.by_name.values().any(|known| *known == dev_eui)
    }
}

/// What a message comes to.
#[derive(Clone, Debug, PartialEq)]
pub enum Read {
    /// It is none of those that are taken: counted alone.
    Skipped,
    /// Its uplinks, each with why it is refused if it is.
    Uplinks(Vec<Result<Reported, Unmapped>>),
}

/// A message of another network: its bytes, and what was read in them.
#[derive(Clone, Debug, PartialEq)]
pub struct Message {
    /// The source's key in the site file.
    pub source: String,
    /// When it reached us.
    pub arrived_at: Moment,
    /// Its bytes; none if there were too many.
    pub body: Vec<u8>,
    /// Its uplinks, each with why it is refused if it is; at least one.
    pub uplinks: Vec<Result<Reported, Unmapped>>,
}

impl Message {
    /// What is to be kept of a message; `None` if it is none of those that are taken, or holds an empty list.
    pub fn of(
        source: &str,
        mapping: &Mapping,
        incoming: Incoming<'_>,
        devices: &Devices,
        arrived_at: Moment,
    ) -> Option<Self> {
        let uplinks = match read(mapping, incoming, devices) {
            Ok(Read::Skipped) => return None,
            Ok(Read::Uplinks(uplinks)) if uplinks.is_empty() => return None,
            Ok(Read::Uplinks(uplinks)) => uplinks,
            Err(why) => vec![Err(why)],
        };
        let too_long = incoming.body.len() > LARGEST_BYTES;
        let body = if too_long { Vec::new() } else { incoming.body.to_vec() };
        Some(Self { source: source.to_owned(), arrived_at, body, uplinks })
    }

    /// A message that was not read to its end because it is too long.
    pub fn too_long(source: &str, found: usize, arrived_at: Moment) -> Self {
        let uplinks = vec![Err(Unmapped::Size { found })];
        Self { source: source.to_owned(), arrived_at, body: Vec::new(), uplinks }
    }
}

/// What stands somewhere in a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Meaning {
    /// The list of uplinks.
    Each,
    /// Who sent it.
    Device,
    /// Its counter.
    Counter,
    /// Its port.
    Port,
    /// Its bytes.
    Payload,
    /// Values that were decoded already.
    Values,
    /// When it was heard.
    Time,
    /// Received power.
    Rssi,
    /// Signal to noise.
    Snr,
}

impl Meaning {
    /// The key of the site file.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Each => "each",
            Self::Device => "device",
            Self::Counter => "counter",
            Self::Port => "port",
            Self::Payload => "payload",
            Self::Values => "values",
            Self::Time => "time",
            Self::Rssi => "rssi",
            Self::Snr => "snr",
        }
    }
}

/// Why a message, or an uplink in it, is refused. What stood there is never repeated: it may be a secret.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unmapped {
    /// Longer than is read.
    #[error("a message of {found} bytes; at most {LARGEST_BYTES} are read")]
    Size {
        /// Its bytes.
        found: usize,
    },
    /// It is no JSON that is read.
    #[error("{0}")]
    Json(JsonError),
    /// Something does not stand where it should, or is not what it should be.
    #[error("`{}` at `{at}`: {why}", meaning.key())]
    Mapping {
        /// What was looked for.
        meaning: Meaning,
        /// Where.
        at: Pointer,
        /// What is there instead.
        why: Wrong,
    },
    /// No device of the site is named.
    #[error("no device here is {named}{}", hint.map_or(String::new(), |hint| format!("; {hint}")))]
    UnknownDevice {
        /// The identity in the message.
        named: Named,
        /// Which one may be meant.
        hint: Option<Turned>,
    },
}

/// A device as a message names it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Named {
    /// By its identity.
    Eui(DevEui),
    /// By a name of the registry, which this one is not.
    Name,
}

impl fmt::Display for Named {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Eui(dev_eui) => write!(f, "{dev_eui}"),
            Self::Name => f.write_str("called so"),
        }
    }
}

/// A device whose identity reads as another's the other way round.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Turned(pub DevEui);

impl fmt::Display for Turned {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "read the other way round it is {}: its sender writes the octets in the order of the air",
            self.0
        )
    }
}

/// What is wrong with what stands somewhere.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// Nothing is there.
    Missing,
    /// A value of another kind.
    Kind {
        /// What is wanted.
        wanted: &'static str,
        /// What is there.
        found: &'static str,
    },
    /// Of the right kind, but not readable as what is wanted.
    Unreadable {
        /// What is wanted.
        wanted: &'static str,
    },
    /// Beyond what is possible.
    Range {
        /// What is possible.
        wanted: &'static str,
    },
    /// It goes through a list of several, of which it means one.
    OneOfSeveral {
        /// Entries of the list.
        entries: usize,
    },
}

impl fmt::Display for Wrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing => f.write_str("nothing is there"),
            Self::Kind { wanted, found } => write!(f, "{wanted} is wanted, {found} is there"),
            Self::Unreadable { wanted } => write!(f, "{wanted} is wanted, and this can't be read as one"),
            Self::Range { wanted } => write!(f, "{wanted} is wanted, and this lies beyond"),
            Self::OneOfSeveral { entries } => {
                write!(
                    f,
                    "it means one of {entries} entries of a list; write `each` with the place of the list"
                )
            }
        }
    }
}

impl Unmapped {
    /// The word for the column `verdict`.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Size { .. } => "refused:size",
            Self::Json(_) => "refused:json",
            Self::Mapping { .. } => "refused:mapping",
            Self::UnknownDevice { .. } => "refused:unknown-device",
        }
    }
}

/// Reads a message.
///
/// # Errors
/// [`Unmapped`] if nothing of it can be read; single uplinks of a list are refused one by one.
pub fn read(mapping: &Mapping, incoming: Incoming<'_>, devices: &Devices) -> Result<Read, Unmapped> {
    if incoming.body.len() > LARGEST_BYTES {
        return Err(Unmapped::Size { found: incoming.body.len() });
    }
    let whole = json::read(incoming.body).map_err(Unmapped::Json)?;
    let view = View { incoming, json: &whole };
    if let Some((at, word)) = &mapping.only_if
        && view.find(at).and_then(|found| found.word()).as_deref() != Some(word.as_str())
    {
        return Ok(Read::Skipped);
    }
    let Some(each) = &mapping.each else {
        return Ok(Read::Uplinks(vec![uplink(mapping, view, devices)]));
    };
    let wrong = |why| Unmapped::Mapping { meaning: Meaning::Each, at: each.clone(), why };
    let found = view.find(each).ok_or_else(|| wrong(Wrong::Missing))?;
    let Found::Json(Json::List(entries)) = found else {
        return Err(wrong(Wrong::Kind { wanted: "a list", found: found.kind() }));
    };
    if entries.len() > MOST_UPLINKS {
        return Err(wrong(Wrong::Range { wanted: "a list of at most 1,000" }));
    }
    let uplinks = entries.iter().map(|json| uplink(mapping, View { incoming, json }, devices));
    Ok(Read::Uplinks(uplinks.collect()))
}

/// A message, or an entry of its list.
#[derive(Clone, Copy)]
struct View<'a> {
    incoming: Incoming<'a>,
    json: &'a Json,
}

/// What stands at a place.
#[derive(Clone, Copy)]
enum Found<'a> {
    Json(&'a Json),
    Level(&'a str),
}

impl<'a> View<'a> {
    fn find(self, pointer: &Pointer) -> Option<Found<'a>> {
        match pointer {
            Pointer::Json(tokens) => self.json.find(tokens).map(Found::Json),
            Pointer::Level(levels, number) => {
                let name = match levels {
                    Levels::Topic => self.incoming.topic,
                    Levels::Path => self.incoming.path.map(|path| path.trim_start_matches('/')),
                };
                name?.split('/').nth(number.checked_sub(1)?).map(Found::Level)
            }
        }
    }
}

impl Found<'_> {
    fn kind(&self) -> &'static str {
        match self {
            Self::Json(json) => json.kind(),
            Self::Level(_) => "a text",
        }
    }

    fn text(&self) -> Option<&str> {
        match self {
            Self::Json(Json::Text(text)) => Some(text),
            Self::Level(text) => Some(text),
            Self::Json(_) => None,
        }
    }

    /// A word as it is written: a text, a number, true or false.
    fn word(&self) -> Option<String> {
        match self {
            Self::Json(Json::Number(number)) => Some(number.to_string()),
            Self::Json(Json::Bool(truth)) => Some(truth.to_string()),
            other => other.text().map(str::to_owned),
        }
    }
}

fn uplink(mapping: &Mapping, view: View<'_>, devices: &Devices) -> Result<Reported, Unmapped> {
    let needed = |meaning, at: &Pointer| {
        one(view, at).map_err(|why| Unmapped::Mapping { meaning, at: at.clone(), why })
    };
    let dev_eui = device(mapping, needed(Meaning::Device, &mapping.device)?, devices)?;
    let wrong = |meaning, at: &Pointer| {
        let at = at.clone();
        move |why| Unmapped::Mapping { meaning, at, why }
    };
    let counter = match &mapping.counter {
        None => None,
        Some(at) => {
            let found = needed(Meaning::Counter, at)?;
            Some(value::whole(&found, "a counter of 32 bits").map_err(wrong(Meaning::Counter, at))?)
        }
    };
    let content = match &mapping.content {
        MappedContent::Values(values) => Content::Values(decoded(values, view)?),
        MappedContent::Payload { port, at, form } => {
            let port = match port {
                MappedPort::Is(port) => *port,
                MappedPort::At(at) => {
                    value::port(&needed(Meaning::Port, at)?).map_err(wrong(Meaning::Port, at))?
                }
            };
            let bytes = value::bytes(&needed(Meaning::Payload, at)?, *form);
            let bytes = bytes.map_err(wrong(Meaning::Payload, at))?;
            if bytes.len() > LONGEST_PAYLOAD {
                return Err(wrong(Meaning::Payload, at)(Wrong::Range { wanted: "at most 255 bytes" }));
            }
            Content::Payload { port, bytes }
        }
    };
    let time = match &mapping.time {
        None => None,
        Some((at, form)) => {
            Some(time::moment(&needed(Meaning::Time, at)?, *form).map_err(wrong(Meaning::Time, at))?)
        }
    };
    let decibels = |at: &Option<Pointer>| at.as_ref().and_then(|at| value::decibels(&view.find(at)?));
    Ok(Reported {
        dev_eui,
        counter,
        content,
        at: time,
        rssi_dbm: decibels(&mapping.rssi),
        snr_db: decibels(&mapping.snr),
    })
}

/// The values of a message by message and column, as JSON; refused if none of them is there.
fn decoded(values: &[MappedValue], view: View<'_>) -> Result<String, Unmapped> {
    let mut all: BTreeMap<&str, BTreeMap<&str, Value>> = BTreeMap::new();
    for mapped in values {
        let wrong = |why| Unmapped::Mapping { meaning: Meaning::Values, at: mapped.at.clone(), why };
        let found = match one(view, &mapped.at) {
            Ok(found) => found,
            Err(Wrong::Missing) => continue,
            Err(why) => return Err(wrong(why)),
        };
        let value = value::decoded(&found, mapped).map_err(wrong)?;
        all.entry(&mapped.message).or_default().insert(&mapped.column, value);
    }
    match values.first().filter(|_| all.is_empty()) {
        Some(first) => {
            let at = first.at.clone();
            Err(Unmapped::Mapping { meaning: Meaning::Values, at, why: Wrong::Missing })
        }
        None => Ok(serde_json::json!(all).to_string()),
    }
}

/// What stands at a place, which must not be one of several entries of a list: the others would be lost.
fn one<'a>(view: View<'a>, at: &Pointer) -> Result<Found<'a>, Wrong> {
    if let Pointer::Json(tokens) = at
        && let Some(entries) = view.json.longest_list(tokens).filter(|entries| *entries > 1)
    {
        return Err(Wrong::OneOfSeveral { entries });
    }
    view.find(at).ok_or(Wrong::Missing)
}

fn device(mapping: &Mapping, found: Found<'_>, devices: &Devices) -> Result<DevEui, Unmapped> {
    let wrong = |why| Unmapped::Mapping { meaning: Meaning::Device, at: mapping.device.clone(), why };
    let wanted = if mapping.names { "a name of the registry" } else { "a DevEUI of 16 hex digits" };
    let text = found.text().ok_or_else(|| wrong(Wrong::Kind { wanted, found: found.kind() }))?;
    if mapping.names {
        let unknown = || Unmapped::UnknownDevice { named: Named::Name, hint: None };
        return devices.by_name.get(text).copied().ok_or_else(unknown);
    }
    let dev_eui = DevEui::from_display(text).ok().ok_or_else(|| wrong(Wrong::Unreadable { wanted }))?;
    if devices.knows(dev_eui) {
        return Ok(dev_eui);
    }
    let turned = dev_eui.byte_reversed();
    let hint = devices.knows(turned).then_some(Turned(turned));
    Err(Unmapped::UnknownDevice { named: Named::Eui(dev_eui), hint })
}
