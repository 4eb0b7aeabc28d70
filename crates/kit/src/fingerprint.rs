//! A number that both sides of the air can compare.

use design::message::{Kind, Message, Part, Version};

use crate::place::{forms, places};
use crate::words::{direction_word, form_word, kind_word, line};

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
                    if matches!(place.part, Part::Earlier(_)) { place.field.centre() } else { 0 },
                    place.field.unit,
                ),
            );
        }
        line(&mut text, format_args!("bytes {}", layout.bytes));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Test vectors of draft-eastlake-fnv, appendix C: FNV-1a of "", "a" and "foobar".
    #[test]
    fn the_hash_is_the_published_one() {
        assert_eq!(fnv1a(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv1a(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(fnv1a(b"foobar"), 0x8594_4171_f739_67e8);
    }
}
