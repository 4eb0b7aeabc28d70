//! Golden vectors: bytes and what they mean, for whoever writes another codec.

#![expect(clippy::cast_possible_truncation, reason = "slots are few; bytes may go round")]

use design::message::{Form, Kind, Message, Part};

use std::fmt::Write as _;

use crate::charge::ChargeSteps;
use crate::kit::Kit;
use crate::place::{CodePosition, forms, places};
use crate::settings::Settings;
use crate::words::{direction_word, form_word, line};
use wire::payload::{Codec, DecodeError, Encoded, Reading, Sample, State};

/// How the list begins.
pub(crate) const CSV_HEADING: &str = "title,message,form,direction,port,hex";

/// Bytes, and what they are an example of.
struct Vector<'a> {
    title: &'static str,
    message: &'a Message,
    form: Form,
    bytes: Vec<u8>,
}

/// How a vector fills its fields.
#[derive(Clone, Copy)]
enum Fill {
    Absent,
    First,
    Last,
    Below,
    Above,
    /// Codes spread over the range, another for each field.
    Spread(u32),
}

const FILLS: [(&str, Fill); 8] = [
    ("nothing was read", Fill::Absent),
    ("the lowest values", Fill::First),
    ("the highest values", Fill::Last),
    ("below every range", Fill::Below),
    ("above every range", Fill::Above),
    ("values in between", Fill::Spread(3)),
    ("other values in between", Fill::Spread(7)),
    ("and others again", Fill::Spread(12)),
];

pub(super) fn json(kit: &Kit) -> String {
    let mut text = String::new();
    let rows: Vec<String> = vectors(kit).iter().map(json_row).collect();
    line(
        &mut text,
        format_args!("{{\n  \"made_by\": \"overwinter\",\n  \"messages\": \"{}\",", kit.fingerprint()),
    );
    let charge = walk_json(&kit.settings)
        .map_or_else(String::new, |rows| format!(",\n  \"intervals\": [\n{rows}\n  ]"));
    line(&mut text, format_args!("  \"vectors\": [\n{}\n  ]{charge}\n}}", rows.join(",\n")));
    text
}

pub(super) fn csv(kit: &Kit) -> String {
    let mut text = format!("{CSV_HEADING},name,state,code,value\n");
    for vector in vectors(kit) {
        let Vector { title, message, form, .. } = &vector;
        let begin = format!(
            "{title},{},{},{},{},{}",
            message.name,
            form_word(*form),
            direction_word(message.direction),
            message.port_of(*form).unwrap_or_default(),
            hex(&vector.bytes)
        );
        match vector.readings() {
            Ok(readings) => {
                for (place, reading, octets) in readings {
                    let code = reading.code().filter(|_| octets.is_none());
                    let code = code.map_or_else(String::new, |code| code.to_string());
                    let value = shown(&place, &reading, octets.as_deref()).unwrap_or_default();
                    let value = value.trim_matches('"');
                    line(
                        &mut text,
                        format_args!("{begin},{},{},{code},{value}", place.name(), state_word(&reading)),
                    );
                }
            }
            Err(_) => line(&mut text, format_args!("{begin},,error,,")),
        }
    }
    text
}

fn json_row(vector: &Vector) -> String {
    let Vector { title, message, form, bytes } = vector;
    let mut row = format!(
        "    {{ \"title\": \"{title}\", \"message\": \"{}\", \"form\": \"{}\", \"direction\": \"{}\", \"port\": {}, \"hex\": \"{}\"",
        message.name,
        form_word(*form),
        direction_word(message.direction),
        message.port_of(*form).unwrap_or_default(),
        hex(bytes)
    );
    match vector.readings() {
        Ok(readings) => {
            let readings: Vec<String> = readings
                .iter()
                .map(|(place, reading, octets)| {
                    let code = reading.code().filter(|_| octets.is_none());
                    let code = code.map_or_else(|| "null".to_owned(), |code| code.to_string());
                    let value = shown(place, reading, octets.as_deref()).unwrap_or_else(|| "null".to_owned());
                    format!(
                        "      {{ \"name\": \"{}\", \"state\": \"{}\", \"code\": {code}, \"value\": {value} }}",
                        place.name(),
                        state_word(reading)
                    )
                })
                .collect();
            row = format!("{row}, \"readings\": [\n{}\n    ] }}", readings.join(",\n"));
        }
        // The reason is worded differently in each language.
        Err(_) => row.push_str(", \"error\": true }"),
    }
    row
}

type Meant<'a> = (CodePosition<'a>, Reading, Option<Vec<u8>>);

impl<'a> Vector<'a> {
    fn readings(&self) -> Result<Vec<Meant<'a>>, DecodeError> {
        let codec = Codec::new(self.message);
        let port = self.message.port_of(self.form).unwrap_or_default();
        let mut readings = Vec::new();
        codec.decode(port, &self.bytes, &mut readings)?;
        let rows = places(self.message, self.form).into_iter().zip(readings).enumerate();
        Ok(rows
            .map(|(slot, (place, reading))| (place, reading, codec.octets(self.form, slot, &self.bytes)))
            .collect())
    }
}

fn vectors<'a>(kit: &Kit<'a>) -> Vec<Vector<'a>> {
    let mut vectors = Vec::new();
    for (message, form) in forms(kit.messages) {
        let codec = Codec::new(message);
        let mut vector = |title, bytes| vectors.push(Vector { title, message, form, bytes });
        let filled = |fill| encoded(&codec, message, form, fill).map(|encoded| encoded.bytes);
        for (title, fill) in FILLS {
            if let Some(bytes) = filled(fill) {
                vector(title, bytes);
            }
        }
        let Some(good) = filled(Fill::First) else { continue };
        let cut = good.get(..good.len() - 1).unwrap_or_default().to_vec();
        vector("cut off", cut);
        vector("a byte too many", [good.as_slice(), &[0]].concat());
        let spare = message.layout(form).spare_bits();
        if let (true, Some((last, rest))) = (spare > 0, good.split_last()) {
            vector("ones after the last field", [rest, &[last | 1]].concat());
        }
    }
    vectors
}

fn encoded(codec: &Codec, message: &Message, form: Form, fill: Fill) -> Option<Encoded> {
    let places = places(message, form);
    let octets: Vec<Vec<u8>> =
        places.iter().enumerate().map(|(index, place)| octets(place, index, fill)).collect();
    let mut samples: Vec<Sample> = Vec::new();
    for (index, (place, octets)) in places.iter().zip(&octets).enumerate() {
        let sample = match (&place.field.kind, place.part) {
            (Kind::Bytes { .. }, _) if matches!(fill, Fill::Absent) => Sample::Absent,
            (Kind::Bytes { .. }, _) => Sample::Octets(octets),
            (_, Part::Earlier(_)) => before(place, samples.last().copied()),
            _ => sample(place, index, fill),
        };
        samples.push(sample);
    }
    codec.encode(form, &samples).ok()
}

fn sample(place: &CodePosition, index: usize, fill: Fill) -> Sample<'static> {
    let codes = place.field.codes(place.part);
    match fill {
        Fill::Absent => Sample::Absent,
        Fill::Below if codes.saturates => Sample::Below,
        Fill::Above if codes.saturates => Sample::Above,
        Fill::First | Fill::Below => Sample::Code(0),
        Fill::Last | Fill::Above => Sample::Code(codes.last),
        Fill::Spread(seed) => {
            // The golden ratio spreads the codes of neighbouring fields over their ranges.
            let mixed = (index as u32 + seed).wrapping_mul(0x9e37_79b9);
            Sample::Code(((u64::from(mixed) * (u64::from(codes.last) + 1)) >> 32) as u32)
        }
    }
}

/// The reading before another, two codes lower.
fn before<'a>(place: &CodePosition, newer: Option<Sample<'a>>) -> Sample<'a> {
    match newer {
        Some(Sample::Code(code)) => Sample::Code(code.saturating_sub(2)),
        Some(Sample::Above) => Sample::Code(place.field.codes(Part::Value).last),
        Some(Sample::Below) => Sample::Code(0),
        _ => Sample::Absent,
    }
}

fn octets(place: &CodePosition, index: usize, fill: Fill) -> Vec<u8> {
    let Kind::Bytes { length } = place.field.kind else { return Vec::new() };
    let octet = |place: u8| match fill {
        Fill::First | Fill::Below | Fill::Absent => 0,
        Fill::Last | Fill::Above => 255,
        Fill::Spread(seed) => place.wrapping_mul(37).wrapping_add(seed as u8).wrapping_add(index as u8),
    };
    (0..length).map(octet).collect()
}

/// The value as in JSON; `None` if absent.
fn shown(place: &CodePosition, reading: &Reading, octets: Option<&[u8]>) -> Option<String> {
    match (&place.field.kind, octets) {
        (Kind::Bytes { .. }, octets) => octets.map(|octets| format!("\"{}\"", hex(octets))),
        (Kind::Flag, _) => reading.code().map(|code| (code == 1).to_string()),
        (Kind::Choice { words }, _) => words.get(reading.code()? as usize).map(|word| format!("\"{word}\"")),
        _ => reading.value().map(|value| value.to_string()),
    }
}

fn state_word(reading: &Reading) -> &'static str {
    match reading.state() {
        State::Inside => "inside",
        State::Absent => "absent",
        State::Below => "below",
        State::Above => "above",
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |text, byte| text + &format!("{byte:02x}"))
}

/// A walk over the steps as lines of JSON: every month on every step, then voltages that fall and rise with rests between.
fn walk_json(settings: &Settings) -> Option<String> {
    settings.varying().next()?;
    let charge = &settings.charge.clone().unwrap_or_else(ChargeSteps::one);
    let mut text = String::new();
    let mut step = charge.from_mv.len() - 1;
    for (index, (millivolts, rested)) in walk(charge).enumerate() {
        let (last, month) = (step, index % 12);
        step = charge.next(millivolts, last, rested);
        let intervals: Vec<String> = settings
            .varying()
            .map(|activity| format!("\"{}\": {}", activity.name, activity.every_s[step][month]))
            .collect();
        let _ = write!(
            text,
            "{}    {{ \"month\": {}, \"millivolts\": {millivolts}, \"last\": {last}, \"rested\": {rested}, \"step\": {step}, \"interval_s\": {{ {} }} }}",
            if index == 0 { "" } else { ",\n" },
            month + 1,
            intervals.join(", ")
        );
    }
    Some(text)
}

/// Voltages at, just below and just above every threshold, down and up again, three times: rested at every hour but each
/// fifth.
fn walk(charge: &ChargeSteps) -> impl Iterator<Item = (u32, bool)> {
    let mut volts: Vec<u32> = charge.from_mv.iter().chain(&charge.up_at_mv).copied().collect();
    volts = volts.into_iter().flat_map(|mv| [mv.saturating_sub(1), mv, mv + 1]).collect();
    volts.sort_unstable();
    volts.dedup();
    let up = volts.clone().into_iter().flat_map(|mv| [mv; 13]);
    let down: Vec<u32> = volts.into_iter().rev().collect();
    down.into_iter().chain(up).enumerate().map(|(index, mv)| (mv, index % 5 != 0))
}
