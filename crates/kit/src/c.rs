//! The C99 header: freestanding, no allocation, no floating point unless asked for.

mod message;
mod settings;

use design::message::{Field, Kind, Part};

use crate::arithmetic::ToCode;
use crate::kit::Kit;
use crate::place::{forms, reading_name};
use crate::words::{direction_word, form_word, line};

const CODEC: &str = include_str!("runtime/codec.h");
const HISTORY: &str = include_str!("runtime/history.h");
const OCTETS: &str = include_str!("runtime/octets.h");

/// The header with encoder, decoder and settings.
pub(crate) fn header(kit: &Kit) -> String {
    let guard = format!("WINTER_KIT_{}_H", kit.stem().to_uppercase());
    let mut text = opening(kit);
    line(&mut text, format_args!("#ifndef {guard}\n#define {guard}\n"));
    line(&mut text, format_args!("#include <stddef.h>\n#include <stdint.h>\n"));
    line(&mut text, format_args!("#define WINTER_FINGERPRINT 0x{}ULL\n", kit.fingerprint()));
    text.push_str(CODEC);
    let fields = || kit.messages.iter().flat_map(|message| &message.fields);
    if fields().any(|field| field.history.is_some()) {
        text.push_str(HISTORY);
    }
    if fields().any(|field| matches!(field.kind, Kind::Bytes { .. })) {
        text.push_str(OCTETS);
    }
    for one in kit.messages {
        message::write(&mut text, kit, one);
    }
    settings::write(&mut text, kit);
    line(&mut text, format_args!("\n#endif"));
    text
}

fn opening(kit: &Kit) -> String {
    let mut text = String::new();
    line(
        &mut text,
        format_args!(
            "{}messages and settings. Made by overwinter from the design file; change that instead.",
            kit.heading()
        ),
    );
    line(&mut text, format_args!(" * Messages: {}. C99, freestanding.\n *", kit.fingerprint()));
    line(&mut text, format_args!(" * {}\n *", USE.replace('\n', "\n * ").replace(" \n", "\n")));
    for (message, form) in forms(kit.messages) {
        let layout = message.layout(form);
        let port = message.port_of(form).unwrap_or_default();
        line(
            &mut text,
            format_args!(
                " * {} ({}, {}): port {port}, {} bytes",
                message.name,
                direction_word(message.direction),
                form_word(form),
                layout.bytes
            ),
        );
    }
    text.push_str(" */\n");
    text
}

const USE: &str = "\
For each message: a struct, `winter_absent_*` that says \"no reading\" everywhere, `winter_pack_*` that returns how many
readings lay outside their range (they are sent as \"below\" or \"above\"), and `winter_unpack_*` that returns the same
or a negative WINTER_WRONG_*. Whatever was not measured stays absent; never send a number for it.

Values are integers, and a member says in its name by what the value is multiplied: air_x100 = 2150 is 21.5. With
WINTER_REAL defined as float or double before this file, members are in their units and have no such ending.

Define WINTER_STACK_REGION in the build of the LoRaWAN stack as one of the WINTER_REGION_* below, and the wrong region
does not compile.";

/// What the firmware multiplies a value by, if it does.
pub(crate) fn multiplier(field: &Field, part: Part) -> Option<u32> {
    let is_number = !matches!(field.kind, Kind::Counter { .. });
    let part = if matches!(part, Part::Earlier(_)) { Part::Value } else { part };
    field.scale(part).filter(|_| is_number).map(|scale| scale.per_unit).filter(|parts| *parts > 1)
}

/// A name that ends with what its value is multiplied by: `air_x100`.
fn scaled(name: &str, field: &Field, part: Part) -> String {
    match multiplier(field, part) {
        Some(parts) => format!("WINTER_SCALED({name}, {parts})"),
        None => name.to_owned(),
    }
}

/// Name and type of the struct member of a part; none for a part that shares the member of another.
fn member(field: &Field, part: Part) -> Option<String> {
    let name = reading_name(field, part);
    let kind = match &field.kind {
        Kind::Counter { .. } => "uint32_t",
        Kind::Flag | Kind::Choice { .. } => "uint8_t",
        Kind::Bytes { length } => {
            return Some(format!("struct {{ uint8_t present; uint8_t octets[{length}]; }} {name}"));
        }
        _ => value_type(field, part).0,
    };
    match part {
        Part::Earlier(0) => {
            Some(format!("{kind} {}[{}]", scaled(&name, field, part), field.history?.earlier))
        }
        Part::Earlier(_) => None,
        _ => Some(format!("{kind} {}", scaled(&name, field, part))),
    }
}

/// The type of a value, of its parts, and the word that tells their macros apart.
fn value_type(field: &Field, part: Part) -> (&'static str, &'static str, &'static str) {
    // An earlier reading has the type of the newest one.
    let part = if matches!(part, Part::Earlier(_)) { Part::Value } else { part };
    let narrow = field.scale(part).is_none_or(|scale| ToCode::of(field, part, scale).is_narrow());
    if narrow { ("winter_inner_number", "int32_t", "") } else { ("winter_inner_wide", "int64_t", "_WIDE") }
}

/// What stands in for the identity of a node until `overwinter enrol --hand-over` writes its own; it does not compile.
pub(crate) fn identity(kit: &Kit) -> String {
    let heading = kit.heading();
    format!(
        "\
{heading}identity of ONE node, which is not here yet.
 *
 * `overwinter enrol --hand-over` writes a file like this for each node, with its values; put that in the place of this one.
 * Keep it out of version control and out of messages: who has the key can speak for the node.
 *
 * An EUI is printed on the label with its first byte first, and sent with its last byte first. The manual of the LoRaWAN
 * stack says which of the two it takes. A key has one order only.
 */
#ifndef WINTER_IDENTITY_H
#define WINTER_IDENTITY_H

#error \"identity of this node is missing: run enrol --hand-over\"

#define WINTER_DEV_EUI_AS_PRINTED KEY_NOT_SET
#define WINTER_DEV_EUI_AS_SENT KEY_NOT_SET
#define WINTER_JOIN_EUI_AS_PRINTED KEY_NOT_SET
#define WINTER_JOIN_EUI_AS_SENT KEY_NOT_SET
#define WINTER_APP_KEY KEY_NOT_SET

#endif
"
    )
}
