//! Messages to try, cases to send, and what each language is asked to say about them.

#![expect(dead_code, reason = "each test uses a part of it")]

pub(crate) mod driver;
#[path = "../../../wire/tests/messages/mod.rs"]
pub(crate) mod messages;
#[expect(clippy::disallowed_methods, reason = "what was skipped must be seen")]
#[path = "../../../laws/tests/trial/mod.rs"]
pub(crate) mod notes;
pub(crate) mod program;
pub(crate) mod random;

use design::message::{Kind, Message};
use kit::Kit;
use kit::settings::Settings;
use wire::payload::{Codec, Reading, State};

/// A kit of messages alone.
pub(crate) fn kit_of(messages: &[Message]) -> Kit<'_> {
    Kit {
        title: "Test node".into(),
        messages,
        settings: Settings::default(),
        recordings: Vec::new(),
        on_air: Vec::new(),
    }
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
