//! The bytes on the air: fields, how a value becomes a code, and where each code lies in the message.
//!
//! # Codes
//! Every value travels as an unsigned integer, its code, most significant bit first; codes follow each other without
//! gaps in the order of the fields, and zero bits fill the last byte. The rules are the same for every field:
//!
//! - All ones is *absent*: no reading. It is a value of its own in every field.
//! - Where [`Codes::saturates`] holds, the two codes before it are *above* and *below*: the value lay outside the range.
//!   The decoder reports the end of the range and says so. Nothing wraps, except a counter, which is made to.
//! - Codes from 0 to [`Codes::last`] are values. Any other code is an error of the sender.
//!
//! A value is `(code * numerator + offset) / denominator` ([`Scale`]): both integers are below 2^53, so one division gives
//! the double nearest to the true value in every language.
//!
//! A field with a history carries its newest reading, then the earlier ones as differences of codes ([`History`]).
//! Version bits, if any, come first in every form. The short form has a port of its own, so that neither form can be
//! taken for the other.

mod ceiling;
pub mod given;
mod keyword;
mod layout;
mod meaning;
mod scale;

pub use ceiling::{Ceiling, LONGEST_ANSWERS, bytes_at};
pub use keyword::is_keyword;
pub use layout::{Codes, Layout, Part, Slot};
pub use meaning::Meaning;
pub use scale::Scale;

/// A message of the node, or to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Message {
    /// Its key in the file: lower-case ASCII letters, digits and `_`.
    pub name: String,
    /// What it is, in words; may be empty.
    pub title: String,
    /// Port of the full form, 1 to 223.
    pub port: u8,
    /// Which way it goes.
    pub direction: Direction,
    /// How the receiver knows which edition of the message it has.
    pub version: Version,
    /// What it carries, in the order on the air; 1 to [`MOST_FIELDS`].
    pub fields: Vec<Field>,
    /// What is sent instead where the full form is too long.
    pub short: Option<ShortForm>,
}

/// Most fields of a message.
pub const MOST_FIELDS: usize = 64;
/// Most bytes of a message: the largest application payload of any region.
pub const MOST_BYTES: usize = 242;
/// Widest code of a field other than bytes \[bits\].
pub const WIDEST_BITS: u32 = 32;

/// Which way a message goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// From the node.
    Up,
    /// To the node.
    Down,
}

/// How the receiver knows which edition of a message it has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Version {
    /// By the port: a new edition takes a new port.
    Port,
    /// By the first bits of every form.
    Bits {
        /// How many bits, 1 to 8.
        width: u8,
        /// The edition, below 2^width.
        value: u8,
    },
}

/// One of the forms of a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// All fields with their history.
    Full,
    /// The most important fields, without history.
    Short,
}

/// What is sent where the full form is too long.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ShortForm {
    /// Its own port, 1 to 223.
    pub port: u8,
    /// Fields of this priority and more important ones are kept.
    pub keeps: u8,
    /// Data rates of the radio at which it is sent instead of the full form, ascending.
    pub data_rates: Vec<u8>,
}

/// One thing that a message says.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// Its key in the file: lower-case ASCII letters, digits and `_`; no keyword of C, C++, JavaScript, Python or Rust.
    pub name: String,
    /// What it is, in words; may be empty.
    pub title: String,
    /// UCUM unit of the decoded value, such as `Cel` or `%`; `1` where there is none.
    pub unit: String,
    /// What it is.
    pub kind: Kind,
    /// 1 is most important; decides what the short form keeps.
    pub priority: u8,
    /// Earlier readings sent along; numbers and counters only.
    pub history: Option<History>,
    /// Constants that belong to each device and stand in the registry, such as `zero_level`.
    pub per_device: Vec<String>,
    /// What it is said to tell about the node itself; see [`Field::meaning`].
    pub means: Option<Meaning>,
    /// The interval that it sets; numbers in messages to the node only.
    pub sets: Option<SetInterval>,
}

/// The activity whose fixed interval a field sets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetInterval {
    /// The load, as it is called in the file.
    pub load: String,
    /// Its activity, as it is called in the file.
    pub activity: String,
    /// Seconds in one unit of the field.
    pub unit_s: u32,
}

/// What a field is.
#[derive(Clone, Debug, PartialEq)]
pub enum Kind {
    /// A quantity in a range: codes 0 to `last`.
    Number {
        /// From code to value.
        scale: Scale,
        /// Code of the upper end of the range.
        last: u32,
        /// Width of the code.
        bits: u8,
        /// Whether it is the battery's voltage in millivolts.
        battery: bool,
    },
    /// A count that only grows and goes from 2^`count_bits` - 1 to 0; the receiver takes differences modulo 2^`count_bits`.
    /// One bit more is sent, so that all ones is absent.
    Counter {
        /// From count to value; the offset is 0.
        scale: Scale,
        /// Width of the count, 1 to 31.
        count_bits: u8,
    },
    /// Yes or no: code 1 or 0, two bits.
    Flag,
    /// One of several words: the code is its place in the list, from 0.
    Choice {
        /// At least two.
        words: Vec<String>,
    },
    /// Degrees north and east, latitude first; absent is all ones in both. What lies outside 90 and 180 degrees is no
    /// position and sent as absent.
    Position {
        /// From code to degrees north.
        latitude: Scale,
        /// Width of the latitude; its last value is 2^bits - 2.
        latitude_bits: u8,
        /// From code to degrees east.
        longitude: Scale,
        /// Width of the longitude; its last value is 2^bits - 2.
        longitude_bits: u8,
    },
    /// A moment; the value is in seconds since 1970-01-01 UTC.
    Time {
        /// From code to seconds.
        scale: Scale,
        /// Code of the last moment.
        last: u32,
        /// Width of the code.
        bits: u8,
    },
    /// So many bytes as they are, after one bit that is 0; absent is all ones.
    Bytes {
        /// How many, at least 1.
        length: u8,
    },
}

/// Earlier readings of a field: each as a difference of codes to the newest reading.
///
/// `earlier = newest + difference - centre`, for counters modulo 2^`count_bits`. A difference saturates like a number: its
/// *below* and *above* say that the earlier reading lay farther away. If the newest reading is below or above its range, the
/// differences count from code 0 or the last code; if it is absent, so are the earlier ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct History {
    /// How many earlier readings, newest first.
    pub earlier: u8,
    /// Width of each difference, 3 to 16.
    pub bits: u8,
}

impl Field {
    /// The code of a difference of zero: in the middle, or at the top for a counter, which only grows.
    #[must_use]
    pub fn centre(&self) -> u32 {
        let last = self.codes(Part::Earlier(0)).last;
        if matches!(self.kind, Kind::Counter { .. }) { last } else { last / 2 }
    }
}
