//! Which message of which kind of node a payload may be, and what it says.

use std::cmp::Ordering;
use std::fmt::Write as _;

use design::message::given::Given;
use design::message::{Direction, Field, Form, Kind, Message, Part};
use design::node::Design;
use design::snapshot::SnapshotLayout;
use kit::effect::{Effect, effects};
use report::words;
use wire::given::{self, GivenReading};
use wire::payload::{Codec, Reading, State};

/// A kind of node: what it is called, and its design.
pub(crate) type KindOf<'a> = (&'a str, &'a Design);

/// A line for each message that travels on this port and way, or why there is none. Without a way both are looked at.
pub(crate) fn messages(port: u8, length: usize, way: Option<Direction>, kinds: &[KindOf<'_>]) -> String {
    let mut lines: Vec<String> = Vec::new();
    for (file, design) in kinds {
        let travels = design.messages.iter().filter(|message| way.is_none_or(|way| message.direction == way));
        lines.extend(travels.filter_map(|message| named(message, port, length, file)));
        if way != Some(Direction::Down) {
            let bought = design.givens.iter().filter(|given| given.port == port);
            lines.extend(bought.map(|given| named_bought(given, length, file)));
        }
    }
    if lines.is_empty() {
        lines.push(format!(
            "port {port}: none of these kinds has a message there; an older or newer firmware?"
        ));
    }
    lines.join("\n") + "\n"
}

fn named(message: &Message, port: u8, length: usize, file: &str) -> Option<String> {
    let form = form_on(message, port)?;
    let wanted = message.layout(form).bytes;
    let short = if form == Form::Short { ", short form" } else { "" };
    let fits = if wanted == length {
        "as long as it must be".to_owned()
    } else {
        format!("but {} long instead of {wanted}: another edition, or damaged", words::count(length, "byte"))
    };
    Some(format!("message  `{}` of {file}{short}, {fits}", message.name))
}

fn named_bought(given: &Given, length: usize, file: &str) -> String {
    let fits = match length.cmp(&given.bytes) {
        Ordering::Equal => "as long as it must be".to_owned(),
        Ordering::Less if given.tagged => "as long as it may be".to_owned(),
        _ => format!("but {} long instead of {}", words::count(length, "byte"), given.bytes),
    };
    format!("message  `{}` of {file}, of a bought node, {fits}", given.name)
}

fn form_on(message: &Message, port: u8) -> Option<Form> {
    message.forms().into_iter().find(|form| message.port_of(*form) == Some(port))
}

/// What a payload in clear says: a line for each value, as the first kind reads it that has such a message.
pub(crate) fn values(port: u8, payload: &[u8], way: Option<Direction>, kinds: &[KindOf<'_>]) -> String {
    for (file, design) in kinds {
        let travels = |message: &&Message| {
            way.is_none_or(|way| message.direction == way) && form_on(message, port).is_some()
        };
        if let Some(message) = design.messages.iter().find(travels) {
            return said(file, design, message, port, payload);
        }
        let bought = |given: &&Given| given.takes(port, payload);
        let bought = design.givens.iter().find(bought).filter(|_| way != Some(Direction::Down));
        if let Some(given) = bought {
            return said_bought(file, given, payload);
        }
    }
    messages(port, payload.len(), way, kinds)
}

fn said(file: &str, design: &Design, message: &Message, port: u8, payload: &[u8]) -> String {
    let codec = Codec::new(message);
    let mut readings = Vec::new();
    let form = match codec.decode(port, payload, &mut readings) {
        Ok(form) => form,
        Err(error) => return format!("message  `{}` of {file} can't be read: {error}\n", message.name),
    };
    let short = if form == Form::Short { ", short form" } else { "" };
    let mut text = format!("message  `{}` of {file}{short}\n", message.name);
    let recording = design.recording_in(message);
    for (slot, (place, reading)) in message.layout(form).slots.iter().zip(&readings).enumerate() {
        let Some(field) = message.fields.get(place.field) else { continue };
        let octets = codec.octets(form, slot, payload);
        let value = value(field, reading, octets.as_deref());
        writeln!(text, "  {:<28} {value}", name(field, place.part)).expect("a string takes any text");
        let carried = recording.filter(|(index, _)| *index == place.field);
        if let Some(said) = carried.zip(octets).and_then(|((_, layout), octets)| satellites(layout, &octets))
        {
            writeln!(text, "  {:<28} {said}", "").expect("a string takes any text");
        }
    }
    for effect in effects(design, message, &readings) {
        writeln!(text, "  {}", Effect::within(&effect)).expect("a string takes any text");
    }
    text
}

/// A line for each value of a message of a bought node.
fn said_bought(file: &str, given: &Given, payload: &[u8]) -> String {
    let readings = match given::read(given, payload) {
        Ok(readings) => readings,
        Err(error) => return format!("message  `{}` of {file} can't be read: {error}\n", given.name),
    };
    let mut text = format!("message  `{}` of {file}, of a bought node\n", given.name);
    for (field, reading) in given.fields.iter().zip(&readings.fields) {
        let value = match reading {
            GivenReading::Absent => "no reading".to_owned(),
            GivenReading::Number(number) if field.unit == "1" => number.to_string(),
            GivenReading::Number(number) => format!("{number} {}", field.unit),
            GivenReading::Place { latitude, longitude } => {
                format!("{latitude} deg north, {longitude} deg east")
            }
            GivenReading::Flag(is_set) => if *is_set { "yes" } else { "no" }.to_owned(),
            GivenReading::Word(word) => word.clone(),
            GivenReading::Unnamed(code) => format!("{code}, for which the design has no word"),
            GivenReading::Octets(octets) => hex(octets),
        };
        writeln!(text, "  {:<28} {value}", field.name).expect("a string takes any text");
    }
    if readings.unread > 0 {
        let bytes = words::count(readings.unread, "byte");
        writeln!(text, "  {bytes} at the end begin with a tag that the design does not know")
            .expect("a string takes any text");
    }
    text
}

fn hex(octets: &[u8]) -> String {
    octets.iter().map(|octet| format!("{octet:02X}")).collect::<Vec<_>>().join(" ")
}

/// When satellites were recorded, and by how much the code of each is late.
fn satellites(layout: SnapshotLayout, octets: &[u8]) -> Option<String> {
    let recording = layout.read(octets)?;
    let delays =
        recording.satellites.iter().map(|(number, late)| format!("{number}: {:.2} km", late.kilometres()));
    let heard = match delays.collect::<Vec<_>>() {
        none if none.is_empty() => "no satellite".to_owned(),
        some => format!("code delay of satellite {}", some.join(", ")),
    };
    Some(format!("recorded {}, {heard}", moment(f64::from(recording.seconds))))
}

fn name(field: &Field, part: Part) -> String {
    let name = &field.name;
    match part {
        Part::Value => name.clone(),
        Part::Latitude => format!("{name}, north"),
        Part::Longitude => format!("{name}, east"),
        Part::Earlier(index) => format!("{name}, {} before", index + 1),
    }
}

fn value(field: &Field, reading: &Reading, octets: Option<&[u8]>) -> String {
    if let Kind::Bytes { .. } = field.kind {
        return octets.map_or_else(|| "no reading".to_owned(), hex);
    }
    let Some(number) = reading.value() else { return "no reading".to_owned() };
    match &field.kind {
        Kind::Flag => if number > 0.0 { "yes" } else { "no" }.to_owned(),
        Kind::Choice { words } => {
            let code = reading.code().and_then(|code| usize::try_from(code).ok());
            code.and_then(|code| words.get(code)).cloned().unwrap_or_default()
        }
        Kind::Time { .. } => moment(number),
        _ => {
            let unit = if field.unit == "1" { "" } else { &field.unit };
            let beyond = match reading.state() {
                State::Below => " or less",
                State::Above => " or more",
                State::Inside | State::Absent => "",
            };
            format!("{number} {unit}{beyond}").trim_end().replace("  ", " ")
        }
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "seconds since 1970, checked by the text"
)]
fn moment(seconds: f64) -> String {
    let text = (seconds >= 0.0).then(|| design::date::moment_text(seconds as u64)).flatten();
    text.unwrap_or_else(|| format!("{seconds} s since 1970"))
}
