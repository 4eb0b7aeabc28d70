//! The field table for people.

use design::message::{Form, Kind, Message, Part, Version};

use super::{Kit, Place, direction_word, forms, line, places, remark};

pub(super) fn table(kit: &Kit) -> String {
    let mut text = String::new();
    line(&mut text, format_args!("# Messages of {}\n", cell(&kit.title)));
    line(
        &mut text,
        format_args!(
            "Made by overwinter from the design file; change that instead. Messages: `{}`.\n",
            kit.fingerprint()
        ),
    );
    text.push_str(RULES);
    for (message, form) in forms(kit.messages) {
        form_table(&mut text, message, form);
    }
    text
}

const RULES: &str = "\
Every value travels as an unsigned code, most significant bit first; codes follow each other without gaps, and zero
bits fill the last byte. All ones is \"no reading\"; where a range can be left, the two codes before it are \"above\" and
\"below\". A value is (code x numerator + offset) / denominator. An earlier reading is the newest one plus a difference
minus its centre. Codes without a meaning are errors, never readings.
";

fn form_table(text: &mut String, message: &Message, form: Form) {
    let layout = message.layout(form);
    let short = if form == Form::Short { ", short form" } else { "" };
    let way = if direction_word(message.direction) == "up" { "From the node" } else { "To the node" };
    line(text, format_args!("\n## `{}`{short}\n", message.name));
    let title = if message.title.is_empty() { String::new() } else { format!("{}. ", cell(&message.title)) };
    let version = match message.version {
        Version::Port => String::new(),
        Version::Bits { width, value } => format!(" The first {width} bits are the version, {value}."),
    };
    let rates = message.short.as_ref().filter(|_| form == Form::Short).map_or_else(String::new, |short| {
        let rates: Vec<String> = short.data_rates.iter().map(|rate| format!("DR{rate}")).collect();
        if rates.is_empty() { String::new() } else { format!(" Sent at {}.", rates.join(", ")) }
    });
    line(
        text,
        format_args!(
            "{title}{way}, port {}, {} bytes ({} bits).{version}{rates}\n",
            message.port_of(form).unwrap_or_default(),
            layout.bytes,
            layout.bits
        ),
    );
    text.push_str("| bit | width | reading | what | unit | value of a code | codes of values | below, above, absent |\n");
    text.push_str("| ---: | ---: | --- | --- | --- | --- | --- | --- |\n");
    for place in places(message, form) {
        row(text, &place);
    }
    for field in
        message.fields.iter().filter(|field| message.carries(form, field) && !field.per_device.is_empty())
    {
        line(
            text,
            format_args!("\n`{}` is corrected per device: {}.", field.name, field.per_device.join(", ")),
        );
    }
}

fn row(text: &mut String, place: &Place) {
    let Place { field, part, offset, bits } = *place;
    let codes = field.codes(part);
    let value = match (&field.kind, part, place.scale()) {
        (_, Part::Earlier(_), _) => format!("newest + code - {}", field.centre()),
        (Kind::Flag, ..) => "0 no, 1 yes".to_owned(),
        (Kind::Choice { words }, ..) => words
            .iter()
            .enumerate()
            .map(|(code, word)| format!("{code} {word}"))
            .collect::<Vec<_>>()
            .join(", "),
        (_, _, Some(scale)) => {
            format!("(code x {} + {}) / {}", scale.numerator, scale.offset, scale.denominator)
        }
        _ => "a zero bit, then the bytes".to_owned(),
    };
    let (range, reserved) = if matches!(field.kind, Kind::Bytes { .. }) {
        ("any".to_owned(), "all ones".to_owned())
    } else {
        let ends = match (codes.below(), codes.above()) {
            (Some(below), Some(above)) => format!("{below}, {above}, "),
            _ => "-, -, ".to_owned(),
        };
        (format!("0 to {}", codes.last), format!("{ends}{}", codes.absent()))
    };
    line(
        text,
        format_args!(
            "| {offset} | {bits} | `{}` | {} | {} | {value} | {range} | {reserved} |",
            place.name(),
            cell(&field.title),
            cell(&field.unit)
        ),
    );
}

/// Text of a person in a table.
fn cell(text: &str) -> String {
    remark(text).replace('|', "\\|").replace('<', "&lt;").replace('`', "'")
}
