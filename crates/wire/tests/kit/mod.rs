//! Messages to try, cases to send, and what each language is asked to say about them.

#![expect(dead_code, reason = "each test uses a part of it")]

pub(crate) mod driver;
pub(crate) mod program;
pub(crate) mod random;

use design::catalog::Catalog;
use design::message::{Field, Form, Kind, Message, Part};
use design::node::Design;
use wire::generate::Kit;
use wire::generate::settings::Settings;
use wire::payload::{Codec, Reading, State};

/// The frost mast of the example.
pub(crate) fn frost_mast() -> Design {
    resolved(include_str!("../../../../examples/larkmoor/frost-mast.toml"))
}

/// The frost mast without its messages, so that a test brings its own.
pub(crate) fn with_messages(messages: &str) -> Vec<Message> {
    let text = include_str!("../../../../examples/larkmoor/frost-mast.toml");
    let (before, rest) = text.split_once("[message.report]").expect("the example has a message");
    let after = &rest[rest.find("[regulator.main]").expect("and then a regulator")..];
    let loads = after.replace("message = \"report\"", "payload = \"12 bytes\"");
    let loads = loads.replace("message = \"frost_watch\"", "payload = \"5 bytes\"");
    resolved(&format!("{before}{messages}\n{loads}")).messages.clone()
}

fn resolved(text: &str) -> Design {
    let file = design::file::parse(text);
    match design::resolve::resolve(&Catalog::builtin(), &file) {
        Ok(resolved) => resolved.design,
        Err(found) => {
            let said: Vec<String> =
                found.iter().map(|one| format!("{}: {}", one.code, one.message)).collect();
            panic!("the design does not resolve: {}\n{text}", said.join("; "))
        }
    }
}

/// A kit of messages alone.
pub(crate) fn kit_of(messages: &[Message]) -> Kit<'_> {
    Kit { title: "Test node".into(), messages, settings: Settings::default(), on_air: Vec::new() }
}

/// The text of a generated file.
pub(crate) fn text_of(kit: &Kit, ending: &str) -> String {
    let files = kit.files();
    files.into_iter().find(|file| file.name.ends_with(ending)).expect("the kit has such a file").text
}

/// Bytes that arrive.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Case {
    pub(crate) message: usize,
    pub(crate) port: u8,
    pub(crate) bytes: Vec<u8>,
}

impl Case {
    /// `message port hex`, as the drivers read it.
    pub(crate) fn line(&self) -> String {
        let mut line = format!("{} {} ", self.message, self.port);
        if self.bytes.is_empty() {
            line.push('-');
        }
        line + &hex(&self.bytes)
    }
}

fn hex(octets: &[u8]) -> String {
    octets.iter().fold(String::new(), |text, octet| text + &format!("{octet:02x}"))
}

/// What a language made of a case.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Said {
    /// No message.
    Refused,
    /// How many readings lay outside their range, and all of them.
    Read { outside: usize, values: Vec<Value> },
}

/// One reading as every language can print it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Value {
    Absent,
    /// By its bits: nothing is rounded.
    Number(u64),
    Word(String),
}

impl Said {
    /// From `!` or `outside value value ...`.
    pub(crate) fn parse(line: &str) -> Self {
        let mut words = line.split_whitespace();
        let first = words.next().expect("each case has an answer");
        if first == "!" {
            return Self::Refused;
        }
        let outside = first.parse().unwrap_or_else(|_| panic!("no answer: {line}"));
        Self::Read { outside, values: words.map(Value::parse).collect() }
    }

    /// What the interpreter says.
    pub(crate) fn of(codecs: &[Codec], case: &Case, readings: &mut Vec<Reading>) -> Self {
        let codec = &codecs[case.message];
        let Ok(form) = codec.decode(case.port, &case.bytes, readings) else { return Self::Refused };
        let layout = codec.layout(form).expect("it was decoded in this form");
        let outside =
            readings.iter().filter(|one| matches!(one.state(), State::Below | State::Above)).count();
        let value = |(slot, reading): (usize, &Reading)| {
            let place = layout.slots[slot];
            let field = &codec.message().fields[place.field];
            match &field.kind {
                Kind::Bytes { .. } => codec
                    .octets(form, slot, &case.bytes)
                    .map_or(Value::Absent, |octets| Value::Word(hex(&octets))),
                Kind::Flag => {
                    reading.code().map_or(Value::Absent, |code| Value::Word((code == 1).to_string()))
                }
                Kind::Choice { words } => {
                    reading.code().map_or(Value::Absent, |code| Value::Word(words[code as usize].clone()))
                }
                _ => reading.value().map_or(Value::Absent, |value| Value::Number(bits(value))),
            }
        };
        Self::Read { outside, values: readings.iter().enumerate().map(value).collect() }
    }
}

/// The bits of a number; minus zero is zero, for integers divided have no sign of their own.
pub(crate) fn bits(value: f64) -> u64 {
    (value + 0.0).to_bits()
}

impl Value {
    fn parse(word: &str) -> Self {
        if word == "-" {
            return Self::Absent;
        }
        match word.strip_prefix('=') {
            Some(word) => Self::Word(word.to_owned()),
            None => Self::Number(bits(word.parse().unwrap_or_else(|_| panic!("`{word}` is no number")))),
        }
    }
}

/// Numbers that look random and are the same in every run: `SplitMix64`.
///
/// # References
///
/// Steele, Lea and Flood, Fast splittable pseudorandom number generators, OOPSLA 2014, figure 4.
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// From 0 to below `end`.
    pub(crate) fn below(&mut self, end: u64) -> u64 {
        self.next() % end.max(1)
    }
}

/// Writes a code as the rules of `design::message` say, one bit at a time; bits before the last 64 become zero.
pub(crate) fn put(bytes: &mut [u8], offset: u32, bits: u32, code: u64) {
    for bit in 0..bits {
        let place = (offset + bit) as usize;
        let mask = 0x80 >> (place % 8);
        bytes[place / 8] &= !mask;
        if code.checked_shr(bits - 1 - bit).is_some_and(|rest| rest & 1 == 1) {
            bytes[place / 8] |= mask;
        }
    }
}

/// A message in which every field is absent, with its version.
pub(crate) fn all_absent(message: &Message, form: Form) -> Vec<u8> {
    let layout = message.layout(form);
    let mut bytes = vec![0; layout.bytes];
    if let design::message::Version::Bits { width, value } = message.version {
        put(&mut bytes, 0, width.into(), value.into());
    }
    for slot in &layout.slots {
        for bit in slot.offset..slot.offset + slot.bits {
            put(&mut bytes, bit, 1, 1);
        }
    }
    bytes
}

/// Whether a code of a field can be in a message.
pub(crate) fn means_something(field: &Field, part: Part, code: u32) -> bool {
    let codes = field.codes(part);
    let reserved = [Some(codes.absent()), codes.below(), codes.above()];
    code <= codes.last || reserved.contains(&Some(code))
}
