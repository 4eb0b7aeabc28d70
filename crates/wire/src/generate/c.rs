//! The C99 header: freestanding, no allocation, no floating point unless asked for.

mod message;
mod settings;

use design::message::{Field, Kind, Part};

use super::arithmetic::ToCode;
use super::{Kit, forms, line, reading_name};
use crate::payload;

const CODEC: &str = include_str!("runtime/codec.h");
const HISTORY: &str = include_str!("runtime/history.h");
const OCTETS: &str = include_str!("runtime/octets.h");

/// The header with encoder, decoder and settings.
#[must_use]
pub fn header(kit: &Kit) -> String {
    let guard = format!("OW_KIT_{}_H", kit.stem().to_uppercase());
    let mut text = opening(kit);
    line(&mut text, format_args!("#ifndef {guard}\n#define {guard}\n"));
    line(&mut text, format_args!("#include <stddef.h>\n#include <stdint.h>\n"));
    line(&mut text, format_args!("#define OW_FINGERPRINT 0x{}ULL\n", kit.fingerprint()));
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
                super::direction_word(message.direction),
                super::form_word(form),
                layout.bytes
            ),
        );
    }
    text.push_str(" */\n");
    text
}

const USE: &str = "\
For each message: a struct, `ow_absent_*` that says \"no reading\" everywhere, `ow_pack_*` that returns how many
readings lay outside their range (they are sent as \"below\" or \"above\"), and `ow_unpack_*` that returns the same
or a negative OW_WRONG_*. Whatever was not measured stays absent; never send a number for it.

Values are whole parts of their unit, as the comment at each says. With OW_REAL defined as float or double before
this file, they are in their units instead.

Define OW_STACK_REGION in the build of the LoRaWAN stack as one of the OW_REGION_* below, and the wrong region
does not compile.";

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
        Part::Earlier(0) => Some(format!("{kind} {name}[{}]", field.history?.earlier)),
        Part::Earlier(_) => None,
        _ => Some(format!("{kind} {name}")),
    }
}

/// The type of a value, of its parts, and the word that tells their macros apart.
fn value_type(field: &Field, part: Part) -> (&'static str, &'static str, &'static str) {
    // An earlier reading has the type of the newest one.
    let part = if matches!(part, Part::Earlier(_)) { Part::Value } else { part };
    let narrow =
        payload::scale_of(field, part).is_none_or(|scale| ToCode::of(field, part, scale).is_narrow());
    if narrow { ("owi_number", "int32_t", "") } else { ("owi_wide", "int64_t", "_WIDE") }
}

/// The file for identity and keys, which does not compile before it is filled.
#[must_use]
pub fn secrets(kit: &Kit) -> String {
    let stem = kit.stem();
    let guard = format!("OW_KIT_{}_SECRETS_H", stem.to_uppercase());
    let heading = kit.heading();
    format!(
        "\
{heading}identity and keys of ONE node. Never put this file under version control or into a message.
 *
 * Fill the three rows of bytes, then delete the line that begins with #error. `overwinter enrol --hand-over` writes a
 * file with the same macros for each node, filled.
 *
 * Labels and consoles show the most significant byte first, as here. Over the air each EUI goes least significant byte
 * first: if your stack wants EUIs in that order (its manual says \"little-endian\" or \"LSB\"), use the _REVERSED
 * macros. A key is a row of bytes and is never reversed.
 */
#ifndef {guard}
#define {guard}

#error \"{stem}_secrets.h holds placeholders: fill in the EUIs and the key, then delete this line\"

/* DevEUI, most significant byte first: 0123456789ABCDEF is 0x01, 0x23, ... 0xEF. */
#define OW_FILL_DEV_EUI(as) as(FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN)
/* JoinEUI (once called AppEUI), most significant byte first. */
#define OW_FILL_JOIN_EUI(as) as(FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN)
/* AppKey (LoRaWAN 1.0.x), in the order in which it is written. */
#define OW_APP_KEY FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, \\
    FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN, FILL_IN

/* As labels and consoles show them; and least significant byte first, as they travel. */
#define OW_AS_SHOWN(a, b, c, d, e, f, g, h) a, b, c, d, e, f, g, h
#define OW_AS_SENT(a, b, c, d, e, f, g, h) h, g, f, e, d, c, b, a
#define OW_DEV_EUI OW_FILL_DEV_EUI(OW_AS_SHOWN)
#define OW_JOIN_EUI OW_FILL_JOIN_EUI(OW_AS_SHOWN)
#define OW_DEV_EUI_REVERSED OW_FILL_DEV_EUI(OW_AS_SENT)
#define OW_JOIN_EUI_REVERSED OW_FILL_JOIN_EUI(OW_AS_SENT)

#endif
"
    )
}
