//! The JavaScript codec in the form that network servers run.
//!
//! # References
//!
//! LoRa Alliance, TS013-1.0.0, Payload Codec API: `decodeUplink`, `encodeDownlink`, `decodeDownlink`.

use design::message::{Field, Form, Kind, Message, Part, Slot, Version};

use crate::arithmetic::ToCode;
use crate::charge::{self, ChargeSteps};
use crate::kit::Kit;
use crate::place::{forms, reading_name};
use crate::settings::Settings;
use crate::words::{direction_word, form_word, kind_word, line, quotable, remark};

const CHARGE: &str = include_str!("runtime/charge.js");
const RUNTIME: &str = include_str!("runtime/codec.js");
/// The first integer that doubles no longer tell from its neighbours.
const EXACT: u128 = 1 << 53;

pub(super) fn codec(kit: &Kit) -> String {
    let mut text = String::new();
    line(
        &mut text,
        format_args!(
            "/* {}: codec of its messages. Made by overwinter; change the design file instead.",
            remark(&kit.title)
        ),
    );
    line(
        &mut text,
        format_args!(
            " * Messages: {}. ECMAScript 5; decodeUplink, encodeDownlink and decodeDownlink as in LoRa Alliance TS013.",
            kit.fingerprint()
        ),
    );
    line(
        &mut text,
        format_args!(
            " * A value is null if there was no reading. Times are seconds since 1970-01-01 UTC. Bytes are hexadecimal text.\n \
             * encodeDownlink warns of what follows; describeDownlink({{ bytes, fPort, recvTime }}) says when, in its effects. */\n"
        ),
    );
    line(&mut text, format_args!("'use strict';\n\nvar FORMS = ["));
    let rows: Vec<String> = forms(kit.messages).map(|(message, form)| form_row(kit, message, form)).collect();
    line(&mut text, format_args!("{}\n];", rows.join(",\n")));
    text.push_str(RUNTIME);
    charge_steps(&mut text, &kit.settings);
    text
}

/// The steps of charge and the intervals on them, where any depend on charge or month.
fn charge_steps(text: &mut String, settings: &Settings) {
    let rows: Vec<String> = settings
        .varying()
        .map(|activity| {
            let rows: Vec<String> =
                activity.every_s.iter().map(|months| format!("    [{}]", charge::list(months, ""))).collect();
            format!("  {}: [\n{}\n  ]", activity.name, rows.join(",\n"))
        })
        .collect();
    if rows.is_empty() {
        return;
    }
    let charge = settings.charge.clone().unwrap_or_else(ChargeSteps::one);
    line(
        text,
        format_args!(
            "\n/* {} */\nvar STEP_FROM_MV = [{}];\nvar STEP_UP_AT_MV = [{}];\nvar EVERY_S = {{\n{}\n}};\n{CHARGE}",
            charge::remarks().join("\n * "),
            charge::list(&charge.from_mv, ""),
            charge::list(&charge.up_at_mv, ""),
            rows.join(",\n"),
        ),
    );
}

fn form_row(kit: &Kit, message: &Message, form: Form) -> String {
    let layout = message.layout(form);
    let version = match message.version {
        Version::Port => "null".to_owned(),
        Version::Bits { width, value } => format!("[{width}, {value}]"),
    };
    let first = |slot: &&Slot| matches!(slot.part, Part::Value | Part::Latitude);
    let row = |slot: &Slot| Some(field_row(kit, message.fields.get(slot.field)?, form, slot.offset));
    let fields: Vec<String> = layout.slots.iter().filter(first).filter_map(row).collect();
    format!(
        "  {{ message: '{}', direction: '{}', form: '{}', port: {}, version: {version}, bytes: {}, bits: {}, fields: [\n{}\n  ] }}",
        message.name,
        direction_word(message.direction),
        form_word(form),
        message.port_of(form).unwrap_or_default(),
        layout.bytes,
        layout.bits,
        fields.join(",\n")
    )
}

fn field_row(kit: &Kit, field: &Field, form: Form, offset: u32) -> String {
    let kind = match field.kind {
        Kind::Number { .. } | Kind::Time { .. } => "number",
        ref kind => kind_word(kind),
    };
    let more = match (&field.kind, field.history) {
        (Kind::Position { .. }, _) => {
            let north = field.codes(Part::Latitude).bits;
            let parts = [(Part::Latitude, offset), (Part::Longitude, offset + north)]
                .map(|(part, offset)| format!("      {{ {} }}", part_row(field, part, offset)));
            return format!(
                "    {{ name: '{}', kind: 'position', parts: [\n{}\n    ] }}",
                field.name,
                parts.join(",\n")
            );
        }
        (Kind::Choice { words }, _) => {
            let words: Vec<String> = words.iter().map(|word| format!("'{word}'")).collect();
            format!(", words: [{}]", words.join(", "))
        }
        (_, Some(history)) if form == Form::Full => {
            format!(", earlier: [{}, {}]", history.earlier, history.bits)
        }
        _ => String::new(),
    };
    let sets = kit.setting(field).map_or_else(String::new, |sets| {
        format!(
            ", sets: {{ unit: '{}', seconds: {}, next: '{}', only: '{}' }}",
            field.unit,
            sets.interval.unit_s,
            quotable(&sets.next),
            quotable(&sets.only)
        )
    });
    format!("    {{ kind: '{kind}', {}{more}{sets} }}", part_row(field, Part::Value, offset))
}

fn part_row(field: &Field, part: Part, offset: u32) -> String {
    let codes = field.codes(part);
    let place = format!("name: '{}', offset: {offset}, bits: {}", reading_name(field, part), codes.bits);
    if matches!(field.kind, Kind::Bytes { .. }) {
        return place;
    }
    let place = format!("{place}, last: {}, saturates: {}", codes.last, codes.saturates);
    let Some(scale) = field.scale(part) else { return place };
    let place = format!("{place}, scale: [{}, {}, {}]", scale.numerator, scale.offset, scale.denominator);
    if matches!(field.kind, Kind::Counter { .. }) {
        return place;
    }
    let to = ToCode::of(field, part, scale);
    let base = if to.largest() < EXACT { String::new() } else { format!(", base: {}", base(&to)) };
    format!(
        "{place}, to: {{ perUnit: {}, least: {}, most: {}, factor: {}, addend: {}, divisor: {}, ties: {}{base} }}",
        scale.per_unit, to.least, to.most, to.factor, to.addend, to.divisor, to.ties,
    )
}

/// The largest base of digits in which no intermediate result of the long division leaves the exact integers.
fn base(to: &ToCode) -> u64 {
    let sum = u128::from(to.factor) + u128::from(to.divisor) + u128::from(to.addend);
    (1..=16).rev().map(|power| 1 << power).find(|base| sum * u128::from(*base) < EXACT).unwrap_or(2)
}
