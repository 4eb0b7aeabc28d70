//! What the messages of a kind of node say, field by field, by its design alone.

use std::collections::BTreeMap;
use std::sync::Arc;

use design::message::given::{Given, GivenField};
use design::message::{Direction, Field, Kind as Meaning, Message, Part};
use design::node::{Design, Step};
use serde_json::{Number, Value};
use wire::given::{self, GivenError, GivenReading};
use wire::payload::{Codec, DecodeError, Reading, State};

use crate::received::Moment;

/// A kind of node: its design as it was written, and the messages that its nodes send.
#[derive(Clone, Debug)]
pub struct Kind {
    /// Name of its design.
    pub name: String,
    /// Text of its design file.
    pub design: String,
    /// Its messages, in the order of the design.
    pub messages: Vec<Uplinked>,
}

/// A message from the node, with the columns in which its values are kept.
#[derive(Clone, Debug)]
pub struct Uplinked {
    /// Its key in the design.
    pub name: String,
    /// One for each value; earlier readings have those of the newest.
    pub columns: Vec<Column>,
    layout: Layout,
    /// Time between two of them, where the design has one alone \[us\].
    interval: Option<Moment>,
}

/// How the bytes of a message are read.
#[derive(Clone, Debug)]
enum Layout {
    /// As the design lays them out.
    Own(Codec),
    /// As the maker of a bought node does.
    Given(Given),
}

impl Layout {
    fn takes(&self, port: u8, payload: &[u8]) -> bool {
        match self {
            Self::Own(codec) => codec.form_on(port).is_some(),
            Self::Given(given) => given.port == port && payload.starts_with(&given.begins),
        }
    }
}

/// One value of a message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// Key of the field; of a position also which coordinate.
    pub name: Arc<str>,
    /// What it is, in words; may be empty.
    pub title: String,
    /// UCUM unit; `1` where there is none.
    pub unit: Arc<str>,
    field: usize,
    part: Part,
}

/// What one message says.
#[derive(Clone, Debug, PartialEq)]
pub struct Said<'a> {
    /// Which message.
    pub message: &'a Uplinked,
    /// A value for each column; null if absent.
    pub values: Vec<Value>,
    /// Columns whose value lay beyond the range, and on which side; or for which the design has no word.
    pub marks: BTreeMap<String, &'static str>,
    /// Earlier readings that rode along, newest first: how long before \[us\], and a value for each column.
    pub earlier: Vec<(Moment, Vec<Value>)>,
    /// Bytes at the end behind a tag that the design does not know.
    pub unread: usize,
}

impl PartialEq for Uplinked {
    fn eq(&self, other: &Self) -> bool {
        match (&self.layout, &other.layout) {
            (Layout::Own(one), Layout::Own(other)) => one.message() == other.message(),
            (Layout::Given(one), Layout::Given(other)) => one == other,
            _ => false,
        }
    }
}

/// Why the bytes of a genuine frame say nothing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unreadable {
    /// No message travels on this port.
    #[error("the design `{kind}` has no message on port {port}; is the firmware of another edition?")]
    Port {
        /// The kind of node.
        kind: String,
        /// The port.
        port: u8,
    },
    /// The bytes are not that message.
    #[error("{0}")]
    Bytes(DecodeError),
    /// The bytes are not that message of a bought node.
    #[error("{0}")]
    Given(GivenError),
}

impl Said<'_> {
    /// What is to be said of the frame beside its values.
    pub fn note(&self) -> Option<String> {
        let unread = self.unread;
        (unread > 0)
            .then(|| format!("{unread} bytes at its end begin with a tag that the design does not know"))
    }
}

impl Kind {
    /// The kind that a design file describes.
    pub fn new(design: &Design, text: String) -> Self {
        let up = design.messages.iter().filter(|message| message.direction == Direction::Up);
        let own = up.map(|message| Uplinked::new(message, interval(design, &message.name)));
        let messages = own.chain(design.givens.iter().map(Uplinked::of_bought)).collect();
        Self { name: design.name.clone(), design: text, messages }
    }

    /// Reads the bytes that came on a port.
    ///
    /// # Errors
    /// [`Unreadable`] if the design knows no such message.
    pub fn read(&self, port: u8, payload: &[u8]) -> Result<Said<'_>, Unreadable> {
        self.read_with(port, payload, usize::MAX)
    }

    /// Reads the bytes that came on a port, with at most so many of the earlier readings that ride along.
    ///
    /// # Errors
    /// [`Unreadable`] if the design knows no such message.
    pub fn read_with(&self, port: u8, payload: &[u8], earlier: usize) -> Result<Said<'_>, Unreadable> {
        let message = self.messages.iter().find(|message| message.layout.takes(port, payload));
        let message = message.ok_or_else(|| Unreadable::Port { kind: self.name.clone(), port })?;
        match &message.layout {
            Layout::Own(codec) => message.read(codec, port, payload, earlier).map_err(Unreadable::Bytes),
            Layout::Given(given) => message.read_bought(given, payload).map_err(Unreadable::Given),
        }
    }

    /// Columns of each message: what an edition keeps, so that old values can be read for ever.
    pub fn fields(&self) -> Value {
        let columns = |message: &Uplinked| {
            message.columns.iter().map(|column| Value::from(&*column.name)).collect::<Vec<_>>()
        };
        let messages = self.messages.iter().map(|message| (message.name.clone(), columns(message).into()));
        Value::Object(messages.collect())
    }
}

impl Uplinked {
    fn new(message: &Message, interval: Option<Moment>) -> Self {
        let columns = message.fields.iter().enumerate().flat_map(|(field, of)| columns(field, of)).collect();
        Self { name: message.name.clone(), columns, layout: Layout::Own(Codec::new(message)), interval }
    }

    fn of_bought(given: &Given) -> Self {
        let column = |(field, of): (usize, &GivenField)| Column {
            name: of.name.as_str().into(),
            title: of.title.clone(),
            unit: of.unit.as_str().into(),
            field,
            part: Part::Value,
        };
        let columns = given.fields.iter().enumerate().map(column).collect();
        Self { name: given.name.clone(), columns, layout: Layout::Given(given.clone()), interval: None }
    }

    fn read_bought(&self, given: &Given, payload: &[u8]) -> Result<Said<'_>, GivenError> {
        let readings = given::read(given, payload)?;
        let unnamed = self.columns.iter().zip(&readings.fields);
        let unnamed = unnamed.filter(|(_, reading)| matches!(reading, GivenReading::Unnamed(_)));
        Ok(Said {
            message: self,
            marks: unnamed.map(|(column, _)| (column.name.to_string(), "unnamed")).collect(),
            values: readings.fields.into_iter().map(bought).collect(),
            earlier: Vec::new(),
            unread: readings.unread,
        })
    }

    fn read(&self, codec: &Codec, port: u8, payload: &[u8], earlier: usize) -> Result<Said<'_>, DecodeError> {
        let mut readings = Vec::new();
        let form = codec.decode(port, payload, &mut readings)?;
        let slots = codec.layout(form).map_or(&[][..], |layout| &layout.slots);
        let none = || vec![Value::Null; self.columns.len()];
        let (marks, earlier_ones) = (BTreeMap::new(), Vec::new());
        let mut said = Said { message: self, values: none(), marks, earlier: earlier_ones, unread: 0 };
        for (index, (slot, reading)) in slots.iter().zip(&readings).enumerate() {
            let Some(field) = codec.message().fields.get(slot.field) else { continue };
            let octets = || codec.octets(form, index, payload);
            if matches!(slot.part, Part::Earlier(before) if usize::from(before) >= earlier) {
                continue;
            }
            let value = value(field, reading, octets);
            if let Part::Earlier(before) = slot.part {
                self.earlier(&mut said, before, slot.field, value);
            } else if let Some(column) = self.column(slot.field, slot.part) {
                if let (Some(mark), Some(of)) = (mark(reading), self.columns.get(column)) {
                    said.marks.insert(of.name.to_string(), mark);
                }
                put(&mut said.values, column, value);
            }
        }
        Ok(said)
    }

    fn column(&self, field: usize, part: Part) -> Option<usize> {
        self.columns.iter().position(|column| column.field == field && column.part == part)
    }

    fn earlier(&self, said: &mut Said<'_>, before: u8, field: usize, value: Value) {
        let (Some(interval), Some(column)) = (self.interval, self.column(field, Part::Value)) else { return };
        while said.earlier.len() <= before.into() {
            let times = Moment::try_from(said.earlier.len() + 1).unwrap_or(Moment::MAX);
            said.earlier.push((times.saturating_mul(interval), vec![Value::Null; self.columns.len()]));
        }
        if let Some((_, values)) = said.earlier.get_mut(usize::from(before)) {
            put(values, column, value);
        }
    }
}

/// The value of a field of a bought node.
fn bought(reading: GivenReading) -> Value {
    match reading {
        GivenReading::Absent | GivenReading::Unnamed(_) => Value::Null,
        GivenReading::Number(number) => as_number(number),
        GivenReading::Flag(is_set) => is_set.into(),
        GivenReading::Word(word) => word.into(),
        GivenReading::Octets(octets) => crate::digits::hex(&octets).into(),
    }
}

fn put(values: &mut [Value], column: usize, value: Value) {
    if let Some(place) = values.get_mut(column) {
        *place = value;
    }
}

fn columns(field: usize, of: &Field) -> Vec<Column> {
    let column = |name: String, part| Column {
        name: name.into(),
        title: of.title.clone(),
        unit: of.unit.as_str().into(),
        field,
        part,
    };
    match of.kind {
        Meaning::Position { .. } => vec![
            column(format!("{}_latitude", of.name), Part::Latitude),
            column(format!("{}_longitude", of.name), Part::Longitude),
        ],
        _ => vec![column(of.name.clone(), Part::Value)],
    }
}

fn value(field: &Field, reading: &Reading, octets: impl Fn() -> Option<Vec<u8>>) -> Value {
    if let Meaning::Bytes { .. } = field.kind {
        return octets().map_or(Value::Null, |octets| crate::digits::hex(&octets).into());
    }
    let Some(number) = reading.value() else { return Value::Null };
    match &field.kind {
        Meaning::Flag => Value::Bool(number > 0.0),
        Meaning::Choice { words } => {
            let code = reading.code().and_then(|code| usize::try_from(code).ok());
            code.and_then(|code| words.get(code)).map_or(Value::Null, |word| word.clone().into())
        }
        _ => as_number(number),
    }
}

/// A whole number is written as one.
#[expect(clippy::cast_possible_truncation, reason = "whole, and within 2^53")]
fn as_number(number: f64) -> Value {
    if number.fract() == 0.0 && number.abs() < 9e15 {
        return Value::from(number as i64);
    }
    Number::from_f64(number).map_or(Value::Null, Value::Number)
}

fn mark(reading: &Reading) -> Option<&'static str> {
    match reading.state() {
        State::Below => Some("below"),
        State::Above => Some("above"),
        State::Inside | State::Absent => None,
    }
}

/// Time between two messages of a name, if one activity alone sends them, at one interval \[us\].
fn interval(design: &Design, message: &str) -> Option<Moment> {
    let sends = |step: &Step| matches!(step, Step::Uplink { message: Some(name), .. } if name == message);
    let activities = design.loads.iter().flat_map(|load| &load.activities);
    let mut sending = activities.filter(|activity| activity.steps.iter().any(sends));
    let (Some(one), None) = (sending.next(), sending.next()) else { return None };
    one.every.fixed_interval().map(|every| microseconds(every.seconds()))
}

#[expect(clippy::cast_possible_truncation, reason = "an interval of a design is at most days")]
fn microseconds(seconds: f64) -> Moment {
    (seconds * 1e6).round() as Moment
}
