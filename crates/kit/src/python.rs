//! The Python decoder.

use design::message::{Field, Form, Kind, Message, Part, Slot, Version};

use crate::charge::{self, ChargeSteps};
use crate::kit::Kit;
use crate::place::{forms, reading_name};
use crate::settings::Settings;
use crate::words::{direction_word, kind_word, line, quotable, remark};

const CHARGE: &str = include_str!("runtime/charge.py");
const RUNTIME: &str = include_str!("runtime/decoder.py");

pub(super) fn decoder(kit: &Kit) -> String {
    let mut text = String::new();
    line(
        &mut text,
        format_args!(
            "# {}: decoder of its messages. Made by overwinter; change the design file instead.",
            remark(&kit.title)
        ),
    );
    line(&mut text, format_args!("# Messages: {}. Python 3, standard library only.", kit.fingerprint()));
    line(
        &mut text,
        format_args!(
            "# Times are seconds since 1970-01-01 UTC.\n\nimport datetime\nimport math\n\nFINGERPRINT = \"{}\"\n\n_FORMS = [",
            kit.fingerprint()
        ),
    );
    for (message, form) in forms(kit.messages) {
        form_row(&mut text, kit, message, form);
    }
    text.push_str("]\n");
    text.push_str(RUNTIME);
    charge_steps(&mut text, &kit.settings);
    text
}

/// The steps of charge and the intervals on them, where any depend on charge or month.
fn charge_steps(text: &mut String, settings: &Settings) {
    let rows: Vec<String> = settings
        .varying()
        .map(|activity| {
            let rows: Vec<String> = activity
                .every_s
                .iter()
                .map(|months| format!("        ({}),", charge::list(months, "")))
                .collect();
            format!("    \"{}\": (\n{}\n    ),", activity.name, rows.join("\n"))
        })
        .collect();
    if rows.is_empty() {
        return;
    }
    let charge = settings.charge.clone().unwrap_or_else(ChargeSteps::one);
    line(
        text,
        format_args!(
            "\n\n# {}\nSTEP_FROM_MV = ({},)\nSTEP_UP_AT_MV = ({},)\nEVERY_S = {{\n{}\n}}",
            charge::remarks().join("\n# "),
            charge::list(&charge.from_mv, ""),
            charge::list(&charge.up_at_mv, ""),
            rows.join("\n"),
        ),
    );
    text.push_str(CHARGE);
}

fn form_row(text: &mut String, kit: &Kit, message: &Message, form: Form) {
    let layout = message.layout(form);
    let version = match message.version {
        Version::Port => "None".to_owned(),
        Version::Bits { width, value } => format!("({width}, {value})"),
    };
    line(
        text,
        format_args!(
            "    {{\"message\": \"{}\", \"direction\": \"{}\", \"port\": {}, \"version\": {version}, \"bytes\": {}, \"bits\": {}, \"fields\": [",
            message.name,
            direction_word(message.direction),
            message.port_of(form).unwrap_or_default(),
            layout.bytes,
            layout.bits
        ),
    );
    let first = |slot: &&Slot| matches!(slot.part, Part::Value | Part::Latitude);
    for slot in layout.slots.iter().filter(first) {
        if let Some(field) = message.fields.get(slot.field) {
            line(text, format_args!("        {},", field_row(kit, field, form, slot.offset)));
        }
    }
    text.push_str("    ]},\n");
}

fn field_row(kit: &Kit, field: &Field, form: Form, offset: u32) -> String {
    let kind = kind_word(&field.kind);
    let more = match (&field.kind, field.history) {
        (Kind::Position { .. }, _) => {
            let north = field.codes(Part::Latitude).bits;
            let parts = [(Part::Latitude, offset), (Part::Longitude, offset + north)]
                .map(|(part, offset)| format!("{{{}}}", part_row(field, part, offset)));
            return format!(
                "{{\"name\": \"{}\", \"kind\": \"position\", \"parts\": [\n            {},\n        ]}}",
                field.name,
                parts.join(",\n            ")
            );
        }
        (Kind::Choice { words }, _) => {
            let words: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
            format!(", \"words\": [{}]", words.join(", "))
        }
        (_, Some(history)) if form == Form::Full => {
            format!(", \"earlier\": ({}, {})", history.earlier, history.bits)
        }
        _ => String::new(),
    };
    let sets = kit.setting(field).map_or_else(String::new, |sets| {
        format!(
            ", \"sets\": (\"{}\", {}, \"{}\", \"{}\")",
            field.unit,
            sets.interval.unit_s,
            quotable(&sets.next),
            quotable(&sets.only)
        )
    });
    format!("{{\"kind\": \"{kind}\", {}{more}{sets}}}", part_row(field, Part::Value, offset))
}

fn part_row(field: &Field, part: Part, offset: u32) -> String {
    let codes = field.codes(part);
    let place = format!(
        "\"name\": \"{}\", \"offset\": {offset}, \"bits\": {}",
        reading_name(field, part),
        codes.bits
    );
    if matches!(field.kind, Kind::Bytes { .. }) {
        return place;
    }
    let saturates = if codes.saturates { "True" } else { "False" };
    let scale = field.scale(part).map_or_else(String::new, |scale| {
        format!(", \"scale\": ({}, {}, {})", scale.numerator, scale.offset, scale.denominator)
    });
    format!("{place}, \"last\": {}, \"saturates\": {saturates}{scale}", codes.last)
}
