//! What the files are made from.

use design::message::{Field, Form, Message, is_keyword};
use design::node::Design;

use crate::effect::Setting;
use crate::fingerprint::fingerprint;
use crate::settings::Settings;
use crate::words::remark;

/// What the files are made from.
#[derive(Clone, Debug)]
pub struct Kit<'a> {
    /// What people call the node.
    pub title: String,
    /// The messages.
    pub messages: &'a [Message],
    /// What else the firmware needs to know.
    pub settings: Settings,
    /// Message and field that carry a recording of satellites, and how that is laid out, in a sentence.
    pub recordings: Vec<(String, String, String)>,
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

impl<'a> Kit<'a> {
    /// The kit of a design.
    #[must_use]
    pub fn of(design: &'a Design) -> Self {
        let settings = Settings::of(design);
        let recording = |message: &Message| {
            let (place, layout) = design.recording_in(message)?;
            Some((message.name.clone(), message.fields.get(place)?.name.clone(), layout.sentence()))
        };
        let recordings = design.messages.iter().filter_map(recording).collect();
        let (title, messages) = (design.name.clone(), &design.messages[..]);
        Self { title, messages, settings, recordings, on_air: Vec::new() }
    }

    /// How the recording of satellites in a field is laid out; `None` of a field without one.
    pub(crate) fn recording(&self, message: &Message, field: &Field) -> Option<&str> {
        let of_field = |(of, name, _): &&(String, String, String)| *of == message.name && *name == field.name;
        self.recordings.iter().find(of_field).map(|(_, _, says)| says.as_str())
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
    pub(crate) fn heading(&self) -> String {
        format!("/* {}: ", remark(&self.title))
    }

    /// The interval that a field sets, if it sets one.
    pub(crate) fn setting<'f>(&self, field: &'f Field) -> Option<Setting<'f>> {
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
                recordings: Vec::new(),
                on_air: Vec::new(),
            };
            assert_eq!(kit.stem(), stem);
        }
    }
}
