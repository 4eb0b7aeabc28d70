//! The programs that write and read the messages of a design, in the languages of firmware and servers.
//!
//! [`Kit`] makes them all from the same layout as [`crate::payload`]. The same design gives the same bytes: nothing here
//! asks for the time or the machine, and each file carries the [`fingerprint`] of the messages it was made from.

mod arithmetic;
pub mod c;
mod javascript;
mod markdown;
mod python;
mod rust;
pub mod settings;
mod vectors;

use std::fmt::Write as _;

use design::message::{Direction, Field, Form, Kind, Message, Part, Scale, Version, is_keyword};
use design::node::Design;

use crate::effect::Setting;
use crate::payload;
use settings::Settings;

/// What the files are made from.
#[derive(Clone, Debug)]
pub struct Kit<'a> {
    /// What people call the node.
    pub title: String,
    /// The messages.
    pub messages: &'a [Message],
    /// What else the firmware needs to know.
    pub settings: Settings,
    /// What each form costs on the air, for the table of fields; empty where nobody worked it out.
    pub on_air: Vec<OnAir>,
}

/// What one form of a message costs at one data rate.
#[derive(Clone, Debug, PartialEq)]
pub struct OnAir {
    /// Name of the message.
    pub message: String,
    /// Which form.
    pub form: Form,
    /// Number of the data rate.
    pub data_rate: u8,
    /// Whether it is this form that is sent there.
    pub sent: bool,
    /// Time on air \[ms\].
    pub airtime_ms: f64,
    /// The most application bytes, with nothing else in the frame.
    pub most_bytes: usize,
    /// The fewest bytes less that cost less, and the time on air that they save \[ms\].
    pub cliff: Option<(usize, f64)>,
    /// Bytes more that cost nothing.
    pub room: usize,
}

/// A generated file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct File {
    /// Its name, without a folder.
    pub name: String,
    /// What it holds.
    pub text: String,
}

impl<'a> Kit<'a> {
    /// The kit of a design.
    #[must_use]
    pub fn of(design: &'a Design) -> Self {
        let settings = Settings::of(design);
        Self { title: design.name.clone(), messages: &design.messages, settings, on_air: Vec::new() }
    }

    /// All files but the secrets, in the order in which a person meets them.
    #[must_use]
    pub fn files(&self) -> Vec<File> {
        let stem = self.stem();
        let file = |suffix: &str, text| File { name: format!("{stem}{suffix}"), text };
        vec![
            file(".md", markdown::table(self)),
            file(".h", c::header(self)),
            file(".js", javascript::codec(self)),
            file(".py", python::decoder(self)),
            file(".rs", rust::decoder(self)),
            file("_vectors.json", vectors::json(self)),
            file("_vectors.csv", vectors::csv(self)),
        ]
    }

    /// The template for a node's identity and keys.
    #[must_use]
    pub fn secrets(&self) -> File {
        File { name: format!("{}_secrets.h", self.stem()), text: c::secrets(self) }
    }

    /// The title as the name of a file: lower-case ASCII letters, digits and `_`.
    #[must_use]
    pub fn stem(&self) -> String {
        let mut stem = String::new();
        for letter in self.title.chars() {
            match letter {
                letter if letter.is_ascii_alphanumeric() => stem.push(letter.to_ascii_lowercase()),
                _ if !stem.ends_with('_') && !stem.is_empty() => stem.push('_'),
                _ => {}
            }
        }
        let stem: String = stem.trim_end_matches('_').chars().take(48).collect();
        let begins_well = stem.starts_with(|first: char| first.is_ascii_alphabetic());
        // A module of Python can't be called like a keyword, nor a file on some systems like a device.
        if begins_well && !is_keyword(&stem) && !is_device(&stem) {
            return stem;
        }
        format!("node_{stem}").trim_end_matches('_').to_owned()
    }

    /// How its headers begin: they say whose they are.
    #[must_use]
    pub fn heading(&self) -> String {
        format!("/* {}: ", remark(&self.title))
    }

    /// The interval that a field sets, if it sets one.
    fn setting<'f>(&self, field: &'f Field) -> Option<Setting<'f>> {
        Setting::of(field, &self.settings.activities)
    }

    /// Sixteen hexadecimal digits that change when a message does.
    #[must_use]
    pub fn fingerprint(&self) -> String {
        format!("{:016x}", fingerprint(self.messages))
    }
}

/// Names that some systems keep for devices, whatever the ending of the file.
fn is_device(stem: &str) -> bool {
    let numbered = |device: &str| {
        stem.strip_prefix(device)
            .is_some_and(|rest| rest.len() == 1 && rest.bytes().all(|byte| byte.is_ascii_digit()))
    };
    ["con", "prn", "aux", "nul"].contains(&stem) || numbered("com") || numbered("lpt")
}

/// A number that changes when anything about the messages changes that sender or receiver must agree on.
///
/// # References
///
/// 64-bit FNV-1a over one line of text for each slot; offset basis and prime of Fowler, Noll, Vo: The FNV Non-Cryptographic Hash
/// Algorithm, IETF draft-eastlake-fnv, section 5.
#[must_use]
pub fn fingerprint(messages: &[Message]) -> u64 {
    fnv1a(canonical(messages).as_bytes())
}

fn fnv1a(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

/// The messages as text, one line for each slot.
fn canonical(messages: &[Message]) -> String {
    let mut text = String::new();
    for (message, form) in forms(messages) {
        let layout = message.layout(form);
        let port = message.port_of(form).unwrap_or_default();
        line(
            &mut text,
            format_args!(
                "message {} {} {} port {port} {}",
                message.name,
                direction_word(message.direction),
                form_word(form),
                match message.version {
                    Version::Port => "version by port".to_owned(),
                    Version::Bits { width, value } => format!("version {value} in {width} bits"),
                }
            ),
        );
        for place in places(message, form) {
            let codes = place.field.codes(place.part);
            let scale = place.scale().map_or_else(String::new, |scale| {
                format!(" ({} {} {} {})", scale.numerator, scale.offset, scale.denominator, scale.per_unit)
            });
            let sets = place
                .field
                .sets
                .as_ref()
                .map_or_else(String::new, |sets| format!("sets {} {}", sets.load, sets.activity));
            let words =
                if let Kind::Choice { words } = &place.field.kind { words.join(" ") } else { String::new() };
            line(
                &mut text,
                format_args!(
                    "{} {} bit {} width {} last {} {} [{}]{scale} {words}{sets}",
                    place.name(),
                    kind_word(&place.field.kind),
                    place.offset,
                    place.bits,
                    codes.last,
                    place.field.centre_if_earlier(place.part),
                    place.field.unit,
                ),
            );
        }
        line(&mut text, format_args!("bytes {}", layout.bytes));
    }
    text
}

trait CentreIfEarlier {
    fn centre_if_earlier(&self, part: Part) -> u32;
}

impl CentreIfEarlier for Field {
    fn centre_if_earlier(&self, part: Part) -> u32 {
        if matches!(part, Part::Earlier(_)) { self.centre() } else { 0 }
    }
}

/// One code of a form, and what it belongs to.
#[derive(Clone, Copy, Debug)]
struct Place<'a> {
    field: &'a Field,
    part: Part,
    offset: u32,
    bits: u32,
}

impl Place<'_> {
    fn scale(&self) -> Option<Scale> {
        payload::scale_of(self.field, self.part)
    }

    /// Name of the reading: the field's, with the coordinate for a position and the place in line for an earlier one.
    fn name(&self) -> String {
        match self.part {
            Part::Earlier(index) => format!("{}_earlier[{index}]", self.field.name),
            part => reading_name(self.field, part),
        }
    }
}

/// Name of the variable that holds a part; earlier readings share one.
fn reading_name(field: &Field, part: Part) -> String {
    let name = &field.name;
    match part {
        Part::Value => name.clone(),
        Part::Latitude => format!("{name}_latitude"),
        Part::Longitude => format!("{name}_longitude"),
        Part::Earlier(_) => format!("{name}_earlier"),
    }
}

fn places(message: &Message, form: Form) -> Vec<Place<'_>> {
    let slots = message.layout(form).slots;
    let place = |slot: &design::message::Slot| {
        let field = message.fields.get(slot.field)?;
        Some(Place { field, part: slot.part, offset: slot.offset, bits: slot.bits })
    };
    slots.iter().filter_map(place).collect()
}

fn forms(messages: &[Message]) -> impl Iterator<Item = (&Message, Form)> {
    messages.iter().flat_map(|message| message.forms().into_iter().map(move |form| (message, form)))
}

fn form_word(form: Form) -> &'static str {
    match form {
        Form::Full => "full",
        Form::Short => "short",
    }
}

fn direction_word(direction: Direction) -> &'static str {
    match direction {
        Direction::Up => "up",
        Direction::Down => "down",
    }
}

fn kind_word(kind: &Kind) -> &'static str {
    match kind {
        Kind::Number { battery: true, .. } => "battery",
        Kind::Number { .. } => "number",
        Kind::Counter { .. } => "counter",
        Kind::Flag => "flag",
        Kind::Choice { .. } => "choice",
        Kind::Position { .. } => "position",
        Kind::Time { .. } => "time",
        Kind::Bytes { .. } => "bytes",
    }
}

/// Adds a line.
fn line(text: &mut String, what: std::fmt::Arguments<'_>) {
    // Writing to a string can't fail.
    let _infallible = text.write_fmt(what);
    text.push('\n');
}

/// Text of a person between quotes of any of the languages.
fn quotable(text: &str) -> String {
    remark(text).replace(['\'', '"'], " ")
}

/// Text of a person as it may stand in a comment of any of the languages.
fn remark(text: &str) -> String {
    let seen = |letter: char| {
        let turns_text_round = matches!(letter, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}');
        if letter.is_control() || turns_text_round || letter == '\\' { ' ' } else { letter }
    };
    text.chars()
        .map(seen)
        .collect::<String>()
        .replace("*/", "* /")
        .replace("/*", "/ *")
        .replace("??", "? ?")
        .trim()
        .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_can_have_its_name_on_every_system() {
        for (title, stem) in [
            ("Frost mast", "frost_mast"),
            ("Con", "node_con"),
            ("COM1", "node_com1"),
            ("Class", "node_class"),
            ("7 up", "node_7_up"),
            ("\u{6d4b}", "node"),
        ] {
            let kit = Kit {
                title: title.to_owned(),
                messages: &[],
                settings: Settings::default(),
                on_air: Vec::new(),
            };
            assert_eq!(kit.stem(), stem);
        }
    }

    /// Test vectors of draft-eastlake-fnv, appendix C: FNV-1a of "", "a" and "foobar".
    #[test]
    fn the_hash_is_the_published_one() {
        assert_eq!(fnv1a(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv1a(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(fnv1a(b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn no_remark_ends_a_comment_or_turns_text_round() {
        let nasty = "a */ b \\\n c \u{202e} ??/ \u{2028} /*/ d";
        let harmless = remark(nasty);
        for forbidden in ["*/", "\\", "\n", "\u{202e}", "??/", "\u{2028}", "/*"] {
            assert!(!harmless.contains(forbidden), "{harmless:?} has {forbidden:?}");
        }
    }
}
