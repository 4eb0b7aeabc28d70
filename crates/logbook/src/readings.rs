//! What the messages of a kind of node say, field by field, by its design alone.

use std::collections::BTreeMap;
use std::sync::Arc;

use design::message::given::{Given, GivenField, GivenKind};
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
            Self::Given(given) => given.takes(port, payload),
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
    /// Columns for which another network's decoder gave something else than the design says.
    pub odd: Vec<Arc<str>>,
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
    /// Values of other messages were decoded.
    #[error("the design `{kind}` has none of the messages whose values came")]
    Message {
        /// The kind of node.
        kind: String,
    },
    /// They are no values by message.
    #[error("these are no values by message: {0}")]
    Values(String),
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
        let behind = (unread > 0)
            .then(|| format!("{unread} bytes at its end begin with a tag that the design does not know"));
        let odd =
            (!self.odd.is_empty()).then(|| format!("not what the design says: {}", self.odd.join(", ")));
        behind.or(odd)
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

    /// Reads what an uplink carries: the bytes that came on a port, or without one the values that were decoded already, as
    /// [`crate::mapping::Content`] writes them.
    ///
    /// # Errors
    /// [`Unreadable`] if the design knows no such message.
    pub fn read_carried(
        &self,
        port: Option<u8>,
        bytes: &[u8],
        earlier: usize,
    ) -> Result<Said<'_>, Unreadable> {
        match port {
            Some(port) => self.read_with(port, bytes, earlier),
            None => self.read_decoded(bytes),
        }
    }

    /// The first message of the design of which there are values.
    fn read_decoded(&self, text: &[u8]) -> Result<Said<'_>, Unreadable> {
        let values: Value =
            serde_json::from_slice(text).map_err(|error| Unreadable::Values(error.to_string()))?;
        let named = |message: &Uplinked| values.get(&message.name).filter(|values| values.is_object());
        let found = self.messages.iter().find_map(|message| Some((message, named(message)?)));
        let (message, values) = found.ok_or_else(|| Unreadable::Message { kind: self.name.clone() })?;
        let mut said = Said {
            message,
            values: Vec::new(),
            marks: BTreeMap::new(),
            earlier: Vec::new(),
            unread: 0,
            odd: Vec::new(),
        };
        for column in &message.columns {
            let value = values.get(&*column.name).unwrap_or(&Value::Null);
            let taken = message.range(column).take(value);
            if let Some(mark) = taken.mark {
                said.marks.insert(column.name.to_string(), mark);
            }
            if taken.is_odd {
                said.odd.push(Arc::clone(&column.name));
            }
            said.values.push(taken.value);
        }
        Ok(said)
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
        let columns = |(field, of): (usize, &Field)| {
            let is_place = matches!(of.kind, Meaning::Position { .. });
            columns(field, (&of.name, &of.title, &of.unit), is_place)
        };
        let columns = message.fields.iter().enumerate().flat_map(columns).collect();
        Self { name: message.name.clone(), columns, layout: Layout::Own(Codec::new(message)), interval }
    }

    fn of_bought(given: &Given) -> Self {
        let columns = |(field, of): (usize, &GivenField)| {
            let is_place = matches!(of.kind, GivenKind::Position { .. });
            columns(field, (&of.name, &of.title, &of.unit), is_place)
        };
        let columns = given.fields.iter().enumerate().flat_map(columns).collect();
        Self { name: given.name.clone(), columns, layout: Layout::Given(given.clone()), interval: None }
    }

    fn read_bought(&self, given: &Given, payload: &[u8]) -> Result<Said<'_>, GivenError> {
        let readings = given::read(given, payload)?;
        let reading = |column: &Column| readings.fields.get(column.field);
        let unnamed =
            self.columns.iter().filter(|column| matches!(reading(column), Some(GivenReading::Unnamed(_))));
        Ok(Said {
            message: self,
            marks: unnamed.map(|column| (column.name.to_string(), "unnamed")).collect(),
            values: self.columns.iter().map(|column| bought(reading(column), column.part)).collect(),
            earlier: Vec::new(),
            unread: readings.unread,
            odd: Vec::new(),
        })
    }

    fn read(&self, codec: &Codec, port: u8, payload: &[u8], earlier: usize) -> Result<Said<'_>, DecodeError> {
        let mut readings = Vec::new();
        let form = codec.decode(port, payload, &mut readings)?;
        let slots = codec.layout(form).map_or(&[][..], |layout| &layout.slots);
        let none = || vec![Value::Null; self.columns.len()];
        let (marks, earlier_ones) = (BTreeMap::new(), Vec::new());
        let mut said =
            Said { message: self, values: none(), marks, earlier: earlier_ones, unread: 0, odd: Vec::new() };
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

    /// What may stand in one of its columns.
    fn range(&self, column: &Column) -> Range<'_> {
        match &self.layout {
            Layout::Own(codec) => match codec.message().fields.get(column.field).map(|field| &field.kind) {
                Some(Meaning::Number { scale, last, .. } | Meaning::Time { scale, last, .. }) => {
                    Range::Numbers { least: scale.value(0), greatest: scale.value(*last) }
                }
                Some(Meaning::Position { .. }) => Range::of_degrees(column.part),
                Some(Meaning::Flag) => Range::Flag,
                Some(Meaning::Choice { words }) => Range::Words(words),
                Some(Meaning::Bytes { .. }) => Range::Octets,
                Some(Meaning::Counter { .. }) | None => Range::ANY_NUMBER,
            },
            Layout::Given(given) => match given.fields.get(column.field).map(|field| &field.kind) {
                Some(GivenKind::Position { .. }) => Range::of_degrees(column.part),
                Some(GivenKind::Flag) => Range::Flag,
                Some(GivenKind::Choice { words }) => Range::Words(words),
                Some(GivenKind::Bytes) => Range::Octets,
                Some(GivenKind::Number { .. } | GivenKind::Float | GivenKind::Counter { .. }) | None => {
                    Range::ANY_NUMBER
                }
            },
        }
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

/// What may stand in a column.
enum Range<'a> {
    Numbers {
        least: f64,
        greatest: f64,
    },
    /// North or east; beyond so many there is no place.
    Degrees(f64),
    Flag,
    Words(&'a [String]),
    Octets,
}

/// What a column takes of a value that was decoded already.
struct Taken {
    value: Value,
    mark: Option<&'static str>,
    is_odd: bool,
}

impl Range<'_> {
    const ANY_NUMBER: Self = Self::Numbers { least: f64::MIN, greatest: f64::MAX };

    fn of_degrees(part: Part) -> Self {
        Self::Degrees(if part == Part::Longitude { 180.0 } else { 90.0 })
    }

    fn take(&self, value: &Value) -> Taken {
        let taken = |value, mark| Taken { value, mark, is_odd: false };
        if value.is_null() {
            return taken(Value::Null, None);
        }
        let good = match self {
            Self::Numbers { least, greatest } => value.as_f64().map(|number| {
                let mark =
                    if number < *least { Some("below") } else { (number > *greatest).then_some("above") };
                taken(as_number(number), mark)
            }),
            Self::Degrees(most) => {
                let degrees = value.as_f64().filter(|degrees| degrees.abs() <= *most);
                degrees.map(|degrees| taken(as_number(degrees), None))
            }
            Self::Flag => {
                let number = || value.as_f64().filter(|number| [0.0, 1.0].contains(number));
                let is_set = value.as_bool().or_else(|| number().map(|number| number > 0.0));
                is_set.map(|is_set| taken(is_set.into(), None))
            }
            Self::Words(words) => {
                let place = value.as_f64().filter(|place| place.fract() == 0.0 && *place >= 0.0);
                let by_place = || words.iter().enumerate().find(|(at, _)| Some(*at as f64) == place);
                let by_word = words.iter().find(|word| value.as_str() == Some(word));
                match by_word.or_else(|| by_place().map(|(_, word)| word)) {
                    Some(word) => Some(taken(word.as_str().into(), None)),
                    None => {
                        (value.is_string() || place.is_some()).then(|| taken(Value::Null, Some("unnamed")))
                    }
                }
            }
            Self::Octets => {
                let text = value.as_str().filter(|text| text.bytes().all(|digit| digit.is_ascii_hexdigit()));
                text.map(|text| taken(text.to_ascii_lowercase().into(), None))
            }
        };
        good.unwrap_or(Taken { value: Value::Null, mark: None, is_odd: true })
    }
}

/// The value of a field of a bought node.
fn bought(reading: Option<&GivenReading>, part: Part) -> Value {
    match reading {
        None | Some(GivenReading::Absent | GivenReading::Unnamed(_)) => Value::Null,
        Some(GivenReading::Number(number)) => as_number(*number),
        Some(GivenReading::Place { longitude, .. }) if part == Part::Longitude => as_number(*longitude),
        Some(GivenReading::Place { latitude, .. }) => as_number(*latitude),
        Some(GivenReading::Flag(is_set)) => (*is_set).into(),
        Some(GivenReading::Word(word)) => word.as_str().into(),
        Some(GivenReading::Octets(octets)) => crate::digits::hex(octets).into(),
    }
}

fn put(values: &mut [Value], column: usize, value: Value) {
    if let Some(place) = values.get_mut(column) {
        *place = value;
    }
}

/// The columns of a field of this name, title and unit: two of a place.
fn columns(field: usize, (name, title, unit): (&str, &str, &str), is_place: bool) -> Vec<Column> {
    let column = |name: String, part| Column {
        name: name.into(),
        title: title.to_owned(),
        unit: unit.into(),
        field,
        part,
    };
    if is_place {
        vec![
            column(format!("{name}_latitude"), Part::Latitude),
            column(format!("{name}_longitude"), Part::Longitude),
        ]
    } else {
        vec![column(name.to_owned(), Part::Value)]
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
