//! The field table for people.

use design::message::{Form, Kind, Message, Part, Scale, Version};

use crate::c;
use crate::charge::{self, ChargeSteps};
use crate::kit::{Kit, OnAir};
use crate::place::{CodePosition, forms, places, reading_name};
use crate::words::{direction_word, line, remark};

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
        form_table(&mut text, kit, message, form);
    }
    intervals(&mut text, kit);
    text
}

/// How often each activity happens whose interval depends on month or charge, a column a month.
fn intervals(text: &mut String, kit: &Kit) {
    let charge = kit.settings.charge.clone().unwrap_or_else(ChargeSteps::one);
    for (index, activity) in kit.settings.varying().enumerate() {
        if index == 0 {
            line(text, format_args!("\n## Intervals\n\n{}", charge::remarks().join("\n")));
        }
        line(text, format_args!("\n### `{}`\n", activity.name));
        text.push_str("| from | from, mV | up at, mV | Jan | Feb | Mar | Apr | May | Jun | Jul | Aug | Sep | Oct | Nov | Dec |\n");
        text.push_str(
            "| ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n",
        );
        for (step, months) in activity.every_s.iter().enumerate().rev() {
            let months = months.map(|seconds| format!("{seconds} s")).join(" | ");
            let percent = charge.from_percent[step];
            let (from, up) = (charge.from_mv[step], charge.up_at_mv[step]);
            line(text, format_args!("| {percent} % | {from} | {up} | {months} |"));
        }
    }
}

const RULES: &str = "\
Every value travels as an unsigned code, most significant bit first; codes follow each other without gaps, and zero
bits fill the last byte. All ones is \"no reading\"; where a range can be left, the two codes before it are \"above\" and
\"below\". A value follows from its code as its row says, in one division of integers. Codes without a meaning are
errors, never readings. What is absent in a message to the node leaves things as they are.
";

fn form_table(text: &mut String, kit: &Kit, message: &Message, form: Form) {
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
    text.push_str("| bit | width | reading | what | unit | value of a code | codes of values | below, above, absent | in C |\n");
    text.push_str("| ---: | ---: | --- | --- | --- | --- | --- | --- | --- |\n");
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
    for field in &message.fields {
        if let Some(says) = kit.recording(message, field) {
            line(text, format_args!("\n`{}` carries {says}.", field.name));
        }
    }
    for sets in message.fields.iter().filter_map(|field| kit.setting(field)) {
        line(text, format_args!("\n`{}` {}.", sets.field.name, cell(&sets.remark())));
    }
    costs(text, kit, message, form);
}

/// What the form costs at each data rate, and where a byte less or more changes that.
fn costs(text: &mut String, kit: &Kit, message: &Message, form: Form) {
    let rows: Vec<&OnAir> =
        kit.on_air.iter().filter(|row| row.message == message.name && row.form == form).collect();
    if rows.is_empty() {
        return;
    }
    text.push_str(
        "\n| data rate | time on air | longest, bytes | bytes shorter: time saved | free bytes |\n",
    );
    text.push_str("| --- | ---: | ---: | --- | ---: |\n");
    for row in rows {
        let sent = if row.sent { "" } else { ", not sent" };
        let cliff = row
            .cliff
            .map_or_else(|| "none".to_owned(), |(bytes, saved_ms)| format!("{bytes}: {saved_ms:.1} ms"));
        line(
            text,
            format_args!(
                "| DR{}{sent} | {:.1} ms | {} | {cliff} | {} |",
                row.data_rate, row.airtime_ms, row.most_bytes, row.room
            ),
        );
    }
}

fn row(text: &mut String, place: &CodePosition) {
    let CodePosition { field, part, offset, bits } = *place;
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
        (_, _, Some(scale)) => formula(scale),
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
            "| {offset} | {bits} | `{}` | {} | {} | {value} | {range} | {reserved} | {} |",
            place.name(),
            cell(&field.title),
            cell(&field.unit),
            in_c(place)
        ),
    );
}

/// What the value is called in C, and by what it is multiplied there.
fn in_c(place: &CodePosition) -> String {
    let name = reading_name(place.field, place.part);
    let index = if let Part::Earlier(index) = place.part { format!("[{index}]") } else { String::new() };
    match c::multiplier(place.field, place.part) {
        Some(parts) => format!("`{name}_x{parts}{index}`, times {parts}"),
        None => format!("`{name}{index}`"),
    }
}

/// What to compute, without what changes nothing.
fn formula(scale: Scale) -> String {
    let Scale { numerator, offset, denominator, .. } = scale;
    let product = if numerator == 1 { "code".to_owned() } else { format!("code x {numerator}") };
    let sign = if offset < 0 { '-' } else { '+' };
    let sum = if offset == 0 { product } else { format!("{product} {sign} {}", offset.unsigned_abs()) };
    match (denominator, offset) {
        (1, _) => sum,
        (_, 0) => format!("{sum} / {denominator}"),
        _ => format!("({sum}) / {denominator}"),
    }
}

/// Text of a person in a table.
fn cell(text: &str) -> String {
    remark(text).replace('|', "\\|").replace('<', "&lt;").replace('`', "'")
}
