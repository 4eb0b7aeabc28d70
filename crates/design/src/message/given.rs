//! Messages of bought nodes: laid out by their maker, and only read here.
//!
//! A number is cut out of the message as its maker's data sheet says: some bytes taken as one integer in their order, moved
//! right by some bits, and masked. Where the message is a list of tagged values, the same holds within each value.

use super::Meaning;

/// Widest number \[bits\].
pub const WIDEST_GIVEN: u32 = 64;

/// A message of a bought node.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Given {
    /// Its key in the file.
    pub name: String,
    /// What it is, in words; may be empty.
    pub title: String,
    /// Its port, 1 to 223.
    pub port: u8,
    /// What it begins with, where several messages come on one port; else empty.
    pub begins: Vec<u8>,
    /// How long it is \[bytes\]; of a list of tagged values, how long at most.
    pub bytes: usize,
    /// Whether it is a list of tagged values, in any order.
    pub tagged: bool,
    /// Whether another network decodes it, so that its bytes can't be read here.
    pub decoded: bool,
    /// What it carries.
    pub fields: Vec<GivenField>,
}

/// One thing that a message of a bought node says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GivenField {
    /// Its key in the file.
    pub name: String,
    /// What it is, in words; may be empty.
    pub title: String,
    /// UCUM unit; `1` where there is none.
    pub unit: String,
    /// The bytes before its value, where the message is a list of tagged values; else empty.
    pub tag: Vec<u8>,
    /// Its first byte, from 0: of the message, or behind the tag.
    pub byte: usize,
    /// By how many bits the integer is moved right.
    pub shift: u32,
    /// Its width \[bits\], at most [`WIDEST_GIVEN`] but for bytes.
    pub bits: u32,
    /// Order of the bytes of the integer.
    pub order: Order,
    /// What it is.
    pub kind: GivenKind,
    /// What it tells about the node itself.
    pub means: Option<Meaning>,
}

/// Which byte of an integer comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// The most significant one.
    Big,
    /// The least significant one.
    Little,
}

/// What a field of a bought node is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum GivenKind {
    /// A quantity: (integer * `numerator` + `offset`) / `denominator`.
    Number {
        /// Whether the integer is in two's complement.
        signed: bool,
        /// Step of one, times the denominator; not 0.
        numerator: i64,
        /// Value of 0, times the denominator.
        offset: i64,
        /// Above 0.
        denominator: i64,
        /// Integers that say that there is no reading.
        absent: Vec<i64>,
    },
    /// IEEE 754, of 32 or 64 bits; what is no number is no reading.
    Float,
    /// Counts that begin anew behind the greatest one: integer * `numerator` / `denominator`.
    Counter {
        /// What one count is worth, times the denominator; above 0.
        numerator: i64,
        /// Above 0.
        denominator: i64,
    },
    /// Degrees north and east: two integers of one width in two's complement, each times `numerator` / `denominator`. A place
    /// beyond the globe is no reading.
    Position {
        /// First byte of the longitude, counted as that of the latitude.
        longitude_byte: usize,
        /// Step of one, times the denominator; not 0.
        numerator: i64,
        /// Above 0.
        denominator: i64,
        /// Integers that say that there is no reading.
        absent: Vec<i64>,
    },
    /// Yes if any of its bits is set.
    Flag,
    /// One of several words, by the integer from 0.
    Choice {
        /// At least two.
        words: Vec<String>,
    },
    /// Bytes as they are.
    Bytes,
}

impl Given {
    /// How many bytes stand behind a tag.
    #[must_use]
    pub fn value_bytes(&self, tag: &[u8]) -> usize {
        let of_tag = self.fields.iter().filter(|field| field.tag == tag);
        of_tag.map(GivenField::end).max().unwrap_or_default()
    }

    /// Whether bytes on a port are read as this message.
    #[must_use]
    pub fn takes(&self, port: u8, payload: &[u8]) -> bool {
        !self.decoded && self.port == port && payload.starts_with(&self.begins)
    }

    /// Whether both may be meant by the same bytes on a port.
    #[must_use]
    pub fn is_like(&self, other: &Self) -> bool {
        self.port == other.port
            && (self.begins.starts_with(&other.begins) || other.begins.starts_with(&self.begins))
    }
}

impl GivenField {
    /// Bytes of its integer.
    #[must_use]
    pub fn width(&self) -> usize {
        (self.shift + self.bits).div_ceil(8) as usize
    }

    /// The byte behind its last one.
    #[must_use]
    pub fn end(&self) -> usize {
        let last = match self.kind {
            GivenKind::Position { longitude_byte, .. } => self.byte.max(longitude_byte),
            _ => self.byte,
        };
        last + self.width()
    }

    /// Whether it can tell this about the node itself.
    #[must_use]
    pub fn suits(&self, meaning: Meaning) -> bool {
        match meaning {
            Meaning::Battery | Meaning::Panel => {
                self.is_number() && ["mV", "V"].contains(&self.unit.as_str())
            }
            Meaning::Box => self.is_number() && self.unit == "Cel",
            Meaning::Restarted => self.kind == GivenKind::Flag,
            // Counts of minutes, by a counter whose end is known in 32 bits.
            Meaning::Charging => {
                let counts = |kind: &GivenKind| matches!(kind, GivenKind::Counter { numerator, denominator } if numerator == denominator);
                counts(&self.kind) && self.unit == "min" && self.bits < u32::BITS
            }
        }
    }

    fn is_number(&self) -> bool {
        matches!(self.kind, GivenKind::Number { .. } | GivenKind::Float)
    }
}
