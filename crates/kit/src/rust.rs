//! The Rust decoder: `no_std`, no dependencies, one module for each message.

use design::message::{Field, Form, Kind, Message, Part, Version};

use crate::charge::{self, ChargeSteps};
use crate::kit::Kit;
use crate::place::{CodePosition, forms, places, reading_name};
use crate::settings::Settings;
use crate::words::{form_word, line, remark};

const CHARGE: &str = include_str!("runtime/charge.rs");
const RUNTIME: &str = include_str!("runtime/decoder.rs");

pub(super) fn decoder(kit: &Kit) -> String {
    let mut text = String::new();
    line(
        &mut text,
        format_args!(
            "// {}: decoder of its messages. Made by overwinter; change the design file instead.",
            remark(&kit.title)
        ),
    );
    line(&mut text, format_args!("// Messages: {}. No standard library is needed.", kit.fingerprint()));
    line(&mut text, format_args!("// Times are seconds since 1970-01-01 UTC.\n\n/// Of the messages."));
    line(&mut text, format_args!("pub const FINGERPRINT: &str = \"{}\";", kit.fingerprint()));
    text.push_str(RUNTIME);
    for message in kit.messages {
        module(&mut text, kit, message);
    }
    charge_steps(&mut text, &kit.settings);
    text
}

/// The steps of charge and the intervals on them, where any depend on charge or month.
fn charge_steps(text: &mut String, settings: &Settings) {
    if settings.varying().next().is_none() {
        return;
    }
    let charge = settings.charge.clone().unwrap_or_else(ChargeSteps::one);
    line(
        text,
        format_args!(
            "\n// {}\n\n/// Voltage from which each step holds [mV].\npub const STEP_FROM_MV: [u32; {steps}] = [{}];\n\
             /// Voltage from which the node goes up to it [mV].\npub const STEP_UP_AT_MV: [u32; {steps}] = [{}];",
            charge::remarks().join("\n// "),
            charge::list(&charge.from_mv, ""),
            charge::list(&charge.up_at_mv, ""),
            steps = charge.from_mv.len(),
        ),
    );
    text.push_str(CHARGE);
    for activity in settings.varying() {
        let rows: Vec<String> = activity
            .every_s
            .iter()
            .map(|months| format!("        [{}],", charge::list(months, "")))
            .collect();
        line(
            text,
            format_args!(
                "\n/// Seconds between two of `{name}` in a month, 1 to 12, on a step of charge.\n\
                 pub fn interval_s_{name}(month: usize, step: usize) -> u32 {{\n    let rows = [\n{}\n    ];\n    \
                 every_s(&rows, month, step)\n}}",
                rows.join("\n"),
                name = activity.name,
            ),
        );
    }
}

fn module(text: &mut String, kit: &Kit, message: &Message) {
    let title = if message.title.is_empty() { &message.name } else { &message.title };
    line(text, format_args!("\n/// {}", remark(title)));
    line(
        text,
        format_args!("pub mod {} {{\n    #[allow(unused_imports)]\n    use super::*;\n", message.name),
    );
    for field in &message.fields {
        if let Kind::Choice { words } = &field.kind {
            let words: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
            let name = field.name.to_uppercase();
            line(
                text,
                format_args!(
                    "    /// Words of `{}`.\n    pub const {name}_WORDS: [&str; {}] = [{}];",
                    field.name,
                    words.len(),
                    words.join(", ")
                ),
            );
        }
    }
    line(
        text,
        format_args!(
            "    /// What it carries.\n    #[derive(Clone, Copy, Debug, PartialEq)]\n    pub struct Message {{"
        ),
    );
    for field in &message.fields {
        members(text, kit, field);
    }
    line(text, format_args!("    }}\n\n    impl Message {{"));
    dispatch(text, message);
    for (message, form) in forms(std::slice::from_ref(message)) {
        decode_form(text, message, form);
    }
    text.push_str("    }\n}\n");
}

fn members(text: &mut String, kit: &Kit, field: &Field) {
    let title = if field.title.is_empty() { String::new() } else { format!("{}, ", remark(&field.title)) };
    for part in field.parts(Form::Full) {
        let kind = match (&field.kind, part, field.history) {
            (_, Part::Earlier(0), Some(history)) => format!("[Reading; {}]", history.earlier),
            (_, Part::Earlier(_), _) => continue,
            (Kind::Flag, _, _) => "Option<bool>".to_owned(),
            (Kind::Choice { .. }, _, _) => "Option<&'static str>".to_owned(),
            (Kind::Bytes { length }, _, _) => format!("Option<[u8; {length}]>"),
            _ => "Reading".to_owned(),
        };
        let earlier = if matches!(part, Part::Earlier(_)) { ", earlier readings, newest first" } else { "" };
        let sets =
            kit.setting(field).map_or_else(String::new, |sets| format!("; {}", remark(&sets.remark())));
        line(
            text,
            format_args!(
                "        /// {title}`{}`{earlier}{sets}.\n        pub {}: {kind},",
                remark(&field.unit),
                reading_name(field, part)
            ),
        );
    }
}

fn dispatch(text: &mut String, message: &Message) {
    line(
        text,
        format_args!(
            "        /// Reads the message that came on a port.\n        ///\n        /// # Errors\n        ///\n        /// [`Error`] for what is no such message."
        ),
    );
    line(
        text,
        format_args!(
            "        pub fn decode(port: u8, bytes: &[u8]) -> Result<Self, Error> {{\n            match port {{"
        ),
    );
    for form in message.forms() {
        let port = message.port_of(form).unwrap_or_default();
        line(text, format_args!("                {port} => Self::{}_form(bytes),", form_word(form)));
    }
    line(text, format_args!("                _ => Err(Error::Port),\n            }}\n        }}"));
}

fn decode_form(text: &mut String, message: &Message, form: Form) {
    let layout = message.layout(form);
    line(
        text,
        format_args!(
            "\n        fn {}_form(bytes: &[u8]) -> Result<Self, Error> {{\n            \
             let bytes: &[u8; {}] = match bytes.try_into() {{\n                Ok(bytes) => bytes,\n                \
             Err(_) => return Err(Error::Length),\n            }};",
            form_word(form),
            layout.bytes
        ),
    );
    if let Version::Bits { width, value } = message.version {
        line(
            text,
            format_args!(
                "            if code_at(bytes, 0, {width}) != {value} {{\n                return Err(Error::Version);\n            }}"
            ),
        );
    }
    let spare = layout.spare_bits();
    if spare > 0 {
        line(
            text,
            format_args!(
                "            if code_at(bytes, {}, {spare}) != 0 {{\n                return Err(Error::Padding);\n            }}",
                layout.bits
            ),
        );
    }
    let all = places(message, form);
    for place in all.iter().filter(|place| !matches!(place.part, Part::Earlier(_))) {
        value(text, place);
    }
    for field in message.fields.iter().filter(|field| form == Form::Full && field.history.is_some()) {
        let bits = field.history.map_or(3, |history| history.bits.into());
        let rows = all.iter().filter(|place| place.field == field && matches!(place.part, Part::Earlier(_)));
        let rows: Vec<String> = rows.map(|place| earlier(place, bits)).collect();
        line(
            text,
            format_args!(
                "            let read_{0}_earlier = [\n{1}\n            ];",
                field.name,
                rows.join("\n")
            ),
        );
    }
    line(text, format_args!("            Ok(Self {{"));
    for field in &message.fields {
        for part in field.parts(Form::Full) {
            let carried = message.carries(form, field);
            let name = reading_name(field, part);
            let left_out = match (&field.kind, part, field.history) {
                (_, Part::Earlier(0), Some(history)) => format!("[Reading::NONE; {}]", history.earlier),
                (_, Part::Earlier(_), _) => continue,
                (Kind::Flag | Kind::Choice { .. } | Kind::Bytes { .. }, _, _) => "None".to_owned(),
                _ => "Reading::NONE".to_owned(),
            };
            let is_there = carried && (form == Form::Full || part != Part::Earlier(0));
            let value = match (is_there, &field.kind, part) {
                (false, _, _) => left_out,
                (true, Kind::Number { .. } | Kind::Counter { .. } | Kind::Time { .. }, Part::Value) => {
                    format!("valued(read_{name}, {})", scale(field, part))
                }
                (true, Kind::Position { .. }, _) => format!("valued(read_{name}, {})", scale(field, part)),
                _ => format!("read_{name}"),
            };
            line(text, format_args!("                {name}: {value},"));
        }
    }
    line(text, format_args!("            }})\n        }}"));
}

/// A variable for each part, before it has its value.
fn value(text: &mut String, place: &CodePosition) {
    let CodePosition { field, part, offset, bits } = *place;
    let name = reading_name(field, part);
    let codes = field.codes(part);
    let read = format!(
        "reading(code_at(bytes, {offset}, {bits}), {bits}, {}, {}, \"{}\")?",
        codes.last, codes.saturates, field.name
    );
    match field.kind {
        Kind::Flag => {
            line(text, format_args!("            let read_{name} = word({read}).map(|code| code == 1);"));
        }
        Kind::Choice { .. } => line(
            text,
            format_args!(
                "            let read_{name} = word({read}).map(|code| {}_WORDS[code as usize]);",
                name.to_uppercase()
            ),
        ),
        Kind::Bytes { .. } => {
            line(text, format_args!("            let read_{name} = octets(bytes, {offset}, \"{name}\")?;"));
        }
        _ => line(text, format_args!("            let read_{name} = {read};")),
    }
    if part == Part::Longitude {
        line(
            text,
            format_args!(
                "            if (read_{0}_latitude.state == State::Absent) != (read_{0}_longitude.state == State::Absent) {{\n                \
                 return Err(Error::Field(\"{0}\"));\n            }}",
                field.name
            ),
        );
    }
}

fn earlier(place: &CodePosition, bits: u32) -> String {
    let CodePosition { field, offset, .. } = *place;
    let name = &field.name;
    let difference = place.field.codes(place.part);
    let counts = matches!(field.kind, Kind::Counter { .. });
    format!(
        "                valued(earlier(read_{name}, reading(code_at(bytes, {offset}, {bits}), {bits}, {}, true, \"{name}\")?, \
         {bits}, {}, {counts}, \"{name}\")?, {}),",
        difference.last,
        field.codes(Part::Value).last,
        scale(field, Part::Value)
    )
}

fn scale(field: &Field, part: Part) -> String {
    let scale = field.scale(part);
    scale.map_or_else(String::new, |scale| {
        format!("({:?}, {:?}, {:?})", scale.numerator as f64, scale.offset as f64, scale.denominator as f64)
    })
}
