//! What is sent and answered.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

/// Who asks, and what they may.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Me {
    /// Their name; "this machine" where there are no accounts.
    pub name: String,
    /// `read`, `act` or `keys`.
    pub may: String,
    /// What a browser sends as `overwinter-form` with each change; programs with a word of their own need none.
    pub form: Option<String>,
}

/// All nodes.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Nodes {
    /// By name.
    pub nodes: Vec<Node>,
}

/// A node as the registry and its design know it.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Node {
    /// What people call it.
    pub name: String,
    /// Its newest board: 16 hex digits.
    pub dev_eui: String,
    /// Name of its design.
    pub kind: String,
    /// Where it stands, if that is known.
    pub place: Option<Place>,
    /// When it was heard last.
    pub last_heard_at: Option<String>,
    /// What its messages say.
    pub messages: Vec<Message>,
}

/// A place on the ground.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, ToSchema)]
pub struct Place {
    /// North positive.
    pub latitude_deg: f64,
    /// East positive.
    pub longitude_deg: f64,
}

/// A message of a design.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Message {
    /// Its key in the design.
    pub name: String,
    /// Its values.
    pub fields: Vec<Field>,
}

/// A value of a message.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Field {
    /// Its key in the design; of a position also which coordinate.
    pub name: String,
    /// What it is, in words; may be empty.
    pub title: String,
    /// UCUM unit; `1` where there is none.
    pub unit: String,
}

/// A field over time, in columns.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Series {
    /// Whose.
    pub node: String,
    /// Of which message.
    pub message: String,
    /// Which value.
    pub field: String,
    /// UCUM unit; `1` where there is none.
    pub unit: String,
    /// Where the first column begins.
    pub from: String,
    /// Where the last one ends.
    pub to: String,
    /// Width of a column.
    pub column_s: f64,
    /// Columns in which there is a value, in the order of time.
    pub columns: Vec<Column>,
}

/// What a field was within a column.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Column {
    /// Where it begins.
    pub from: String,
    /// Values in it.
    pub n: u32,
    /// Least of them.
    pub least: f64,
    /// Their mean.
    pub mean: f64,
    /// Greatest of them.
    pub greatest: f64,
    /// Those that lay beyond the range of the field.
    pub beyond_range: u32,
}

/// Frames in the order of keeping.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Frames {
    /// At most 1,000.
    pub frames: Vec<Frame>,
    /// What to ask for as `after` next; the same again if nothing came.
    pub next_after: i64,
    /// Whether more are there already.
    pub more: bool,
}

/// A frame and what it says.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Frame {
    /// Its number: counts up in the order of keeping.
    pub id: i64,
    /// Whose it is, where that is known.
    pub node: Option<String>,
    /// `new`, `late`, `join`, or `refused:` and why.
    pub verdict: String,
    /// Why, where there is more to say.
    pub reason: Option<String>,
    /// When it arrived.
    pub arrived_at: String,
    /// When it was heard, as far as that is known.
    pub at: String,
    /// Its counter.
    pub fcnt: Option<u32>,
    /// Its port.
    pub port: Option<u8>,
    /// The way by which it came.
    pub source: String,
    /// Modulation and rate.
    pub data_rate: Option<String>,
    /// Received power of the best copy.
    pub rssi_dbm: Option<f64>,
    /// Signal to noise of the best copy.
    pub snr_db: Option<f64>,
    /// What it says.
    pub readings: Vec<Reading>,
}

/// What a message says of a moment.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Reading {
    /// When it was so.
    pub at: String,
    /// Message of the design.
    pub message: String,
    /// By field; null if absent.
    pub values: BTreeMap<String, Value>,
    /// Fields whose value lay beyond the range: `above` or `below`.
    pub beyond_range: BTreeMap<String, String>,
    /// A newer one came before it.
    pub late: bool,
    /// It rode along with a later message, in place of one that was lost.
    pub rebuilt: bool,
}

/// All gateways.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Gateways {
    /// Those of the site file by name, then others that were heard of.
    pub gateways: Vec<Gateway>,
}

/// A gateway as the log knows it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Gateway {
    /// Its name in the site file; none if it does not stand there.
    pub name: Option<String>,
    /// 16 hex digits.
    pub eui: String,
    /// When it showed last that it lives.
    pub last_sign_of_life_at: Option<String>,
    /// When it last told of itself.
    pub last_report_at: Option<String>,
}

/// Visits, the newest first.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Visits {
    /// At most 1,000.
    pub visits: Vec<Visit>,
}

/// Somebody was at a node.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Visit {
    /// As the log numbers them.
    pub id: i64,
    /// Where.
    pub node: String,
    /// When.
    pub at: String,
    /// Who.
    pub by: String,
    /// What was done.
    pub what: String,
    /// Parts that were changed; what is learned of the node begins anew then.
    pub parts: Vec<String>,
    /// Whether there is a picture, at `/visit/ID/photo`.
    pub has_photo: bool,
    /// What the certificate of a calibration is called.
    pub certificate: Option<String>,
    /// The day on which the next calibration is due, such as `2027-05-01`.
    pub due: Option<String>,
}

/// A visit that is noted.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewVisit {
    /// 8 to 64 letters, digits and `-` of the sender's own: sent twice, the visit is there once.
    pub own_id: String,
    /// Where.
    pub node: String,
    /// What was done, at most 2,000 characters.
    pub what: String,
    /// When, with its zone. Left out: now.
    pub at: Option<String>,
    /// Parts that were changed: `battery`, `panel`, `charger`, `radio`, `sensor`, `antenna` or `board`.
    #[serde(default)]
    pub parts: Vec<String>,
    /// A picture, JPEG, PNG or WebP, in base64; at most 2,000,000 bytes without it.
    pub photo: Option<String>,
    /// What the certificate of a calibration is called, at most 200 characters.
    pub certificate: Option<String>,
    /// The day on which the next calibration is due, such as `2027-05-01`; an alarm says so 30 days before.
    pub due: Option<String>,
}

/// A visit was noted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct VisitNoted {
    /// As the log numbers it.
    pub id: i64,
    /// Whether it was there already.
    pub was_there: bool,
}

/// Alarms.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Alarms {
    /// Those that stand open, the newest first.
    pub open: Vec<Alarm>,
    /// At most 100 of those that were closed, the newest first.
    pub past: Vec<Alarm>,
    /// What to ask for as `before` to see older ones; none if there are no more.
    pub next_before: Option<i64>,
}

/// Something that wants a hand.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Alarm {
    /// As the log numbers them.
    pub id: i64,
    /// The rule that opened it.
    pub rule: String,
    /// Which node it is about.
    pub node: Option<String>,
    /// Or which gateway.
    pub gateway: Option<String>,
    /// Since when.
    pub opened_at: String,
    /// Until when.
    pub closed_at: Option<String>,
    /// The alarm that explains it.
    pub cause: Option<i64>,
    /// The figures behind it, with units in their names.
    pub evidence: BTreeMap<String, Value>,
    /// Who has seen it.
    pub seen: Option<Seen>,
}

/// Somebody has seen an alarm.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Seen {
    /// When.
    pub at: String,
    /// Who.
    pub by: String,
    /// What they said to it; may be empty.
    pub word: String,
}

/// An alarm is marked as seen.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewSeen {
    /// What is said to it, at most 200 characters; may be empty.
    #[serde(default)]
    pub word: String,
}

/// What nodes were to be told, the newest first.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Settings {
    /// At most 1,000.
    pub settings: Vec<Setting>,
}

/// What a node was to be told, and what became of it.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Setting {
    /// As the log numbers them.
    pub id: i64,
    /// Which node.
    pub node: String,
    /// Message of its design.
    pub message: String,
    /// Its values by field, in the units of the design.
    pub values: BTreeMap<String, Value>,
    /// Who wants it.
    pub asked_by: String,
    /// Since when.
    pub asked_at: String,
    /// `waiting`, `held back by the law`, `sent`, `confirmed` or `not confirmed`.
    pub state: String,
}

/// What nodes are to be told.
#[derive(Clone, Debug, PartialEq, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewSetting {
    /// Which nodes; they are of one kind. All of them are told, or none.
    pub nodes: Vec<String>,
    /// Message of their design.
    pub message: String,
    /// By field: a number in the unit of the design, true or false, or a word of a choice. What is left out stays as it is.
    pub values: BTreeMap<String, Value>,
}

/// What was taken to be told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Wanted {
    /// The numbers of the settings, in the order of the nodes.
    pub ids: Vec<i64>,
    /// What follows once a node has heard it.
    pub effects: Vec<String>,
}

/// What is wrong with a question (RFC 9457).
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Problem {
    /// The words of the status.
    pub title: String,
    /// The status.
    pub status: u16,
    /// What is wrong and what to do.
    pub detail: String,
}
