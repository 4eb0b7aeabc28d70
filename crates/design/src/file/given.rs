//! The keys of messages of bought nodes.

use crate::diagnostic::{self, Diagnostics};
use crate::file::message::Decimal;
use crate::file::value::{Named, text_of};
use crate::message::Meaning;
use crate::message::given::Order;
use crate::quantity::{Bytes, shortened};
use crate::section::rule::within;
use crate::section::{At, Field, section};
use toml::Spanned;
use toml::de::DeValue;

section! {
    /// A message of a bought node, as its maker's data sheet lays it out; it is read and never written, so there is no firmware kit for it. Either each field has its place, or each value stands behind a tag, in any order.
    pub(crate) struct GivenSection = "given" {
        /// What it is, in words.
        title: String = optional "what the bought probe sends";
        /// 1 to 223; it tells the receiver which message it has.
        port: u32 = required 7;
        /// The bytes with which it begins, where several messages come on one port.
        begins: Octets = optional "01";
        /// Nobody knows its layout here: another network decodes it, and its values come by `values` of a source. Then its fields have no places, only kind, unit, title and meaning.
        decoded: bool = default false;
        /// How long it is; where values stand behind tags, how long at most.
        bytes: Bytes = required "7 bytes" where within("1 byte", "242 bytes");
        /// What it carries: a table for each field, or a line such as `level = { unit = "cm", byte = 1, bits = 16 }` under `[given.NAME.field]`.
        field: Named<GivenFieldSection> = required level;
    }
}

section! {
    /// One thing that a message of a bought node says: some bytes taken as one integer, moved right, masked, and scaled.
    pub(crate) struct GivenFieldSection = "field" {
        /// `number`, `float` (IEEE 754, 32 or 64 bits), `counter` (counts that begin anew behind the greatest), `position` (degrees north, and degrees east of the same width), `flag`, `choice` or `bytes`.
        kind: GivenWord = default "number";
        /// What it is, in words.
        title: String = optional "water above the probe";
        /// UCUM code of the unit, as `Cel`, `%`, `cm`. Needed for numbers and floats.
        unit: String = shown "cm";
        /// The bytes that stand before the value, in hex, if the message is a list of tagged values; then all fields have one, of which none begins as another. Several fields may share a tag.
        tag: Octets = optional "02 68";
        /// First byte of the integer, from 0: of the message, or behind the tag.
        byte: u32 = default 0 where within("0", "241");
        /// First byte of a position's degrees east, as `byte` is that of its degrees north. Left out: right behind those.
        longitude_byte: u32 = depends 4 where within("0", "241");
        /// By how many bits the integer is moved right: the number of its lowest bit, as data sheets count them.
        shift: u32 = default 0 where within("0", "63");
        /// Width in bits, needed unless the message is `decoded`; the integer is taken from as many bytes as `shift` and `bits` need.
        bits: u32 = shown 16 where within("1", "1936");
        /// Which byte comes first: `big`, the most significant one, or `little`.
        order: Order = default "big";
        /// The integer is in two's complement; those of a position always are.
        signed: bool = default false;
        /// What one is worth, in the unit; left out: 1. May be below zero.
        step: Decimal = depends 0.1;
        /// What 0 is worth, in the unit; left out: 0.
        offset: Decimal = depends 20;
        /// Integers that say that there is no reading.
        absent: Vec<At<Decimal>> = depends [65535];
        /// Words of a choice, from 0, at least two.
        words: Vec<At<String>> = depends ["dry", "wet"];
        /// What the field tells about the node itself: `battery`, `panel` (in `mV` or `V`), `box` (in `Cel`), `charging` (a counter in `min`) or `restarted` (a flag).
        means: Meaning = optional "battery";
    }
}

/// `kind` of a field of a bought node.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum GivenWord {
    Number,
    Float,
    Counter,
    Position,
    Flag,
    Choice,
    Bytes,
}

/// Bytes as they are written: in hex, with blanks as one likes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Octets(pub(crate) Vec<u8>);

/// Longest tag or beginning \[bytes\].
const LONGEST: usize = 8;

impl Octets {
    fn parse(text: &str) -> Option<Self> {
        let digits: Option<Vec<u32>> =
            text.chars().filter(|letter| *letter != ' ').map(|letter| letter.to_digit(16)).collect();
        let octets: Option<Vec<u8>> = digits?
            .chunks(2)
            .map(|pair| match *pair {
                [high, low] => u8::try_from(high << 4 | low).ok(),
                _ => None,
            })
            .collect();
        octets.filter(|octets| (1..=LONGEST).contains(&octets.len())).map(Self)
    }
}

impl Field for Octets {
    fn noun() -> String {
        "bytes in hex".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"string","pattern":"^( *[0-9A-Fa-f]{2} *){1,8}$"}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let text = text_of(value, "bytes in hex", "two digits a byte, as \"02 68\"", found)?;
        let octets = Self::parse(text);
        if octets.is_none() {
            let message = format!("`{}` is not 1 to {LONGEST} bytes in hex", shortened(text));
            found.error(
                diagnostic::GIVEN_TAG,
                &value.span(),
                message,
                "write two digits a byte, as \"02 68\"",
            );
        }
        octets
    }
}
