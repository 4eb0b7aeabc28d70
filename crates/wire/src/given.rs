//! What messages of bought nodes say, by the layout of their maker. All input is hostile.

use design::message::given::{Given, GivenField, GivenKind, Order};
use thiserror::Error;

/// What a field says.
#[derive(Clone, Debug, PartialEq)]
pub enum GivenReading {
    /// There is no reading: the message says so, or its tag did not come.
    Absent,
    /// In the unit of the field.
    Number(f64),
    /// Degrees north and east.
    Place {
        /// North positive.
        latitude: f64,
        /// East positive.
        longitude: f64,
    },
    /// Yes or no.
    Flag(bool),
    /// A word of a choice.
    Word(String),
    /// A choice for which the design has no word.
    Unnamed(u64),
    /// Bytes as they are.
    Octets(Vec<u8>),
}

/// What a message says.
#[derive(Clone, Debug, PartialEq)]
pub struct GivenReadings {
    /// In the order of the fields.
    pub fields: Vec<GivenReading>,
    /// Bytes at the end that begin with a tag which the design does not know.
    pub unread: usize,
}

/// Why bytes are no such message.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum GivenError {
    /// Of another length.
    #[error("{found} bytes where the design says {expected}; correct `bytes`, or is it another message?")]
    Length {
        /// Bytes received.
        found: usize,
        /// Bytes of the design; of tagged values, at most so many.
        expected: usize,
    },
    /// It begins otherwise.
    #[error("it does not begin as `{message}` does; is it another message?")]
    Beginning {
        /// The message it was taken for.
        message: String,
    },
    /// It ends within a value.
    #[error("it ends within `{field}`")]
    Cut {
        /// The field.
        field: String,
    },
}

/// Reads a message. Of a tag that comes twice the last value counts.
///
/// # Errors
/// [`GivenError`] for bytes that are not laid out like this.
pub fn read(given: &Given, bytes: &[u8]) -> Result<GivenReadings, GivenError> {
    let fits = if given.tagged { bytes.len() <= given.bytes } else { bytes.len() == given.bytes };
    if !fits {
        return Err(GivenError::Length { found: bytes.len(), expected: given.bytes });
    }
    let Some(rest) = bytes.strip_prefix(given.begins.as_slice()) else {
        return Err(GivenError::Beginning { message: given.name.clone() });
    };
    if given.tagged {
        return tagged(given, rest);
    }
    let fields = given.fields.iter().map(|field| reading(field, bytes)).collect::<Result<_, _>>()?;
    Ok(GivenReadings { fields, unread: 0 })
}

fn tagged(given: &Given, mut rest: &[u8]) -> Result<GivenReadings, GivenError> {
    let mut fields = vec![GivenReading::Absent; given.fields.len()];
    while !rest.is_empty() {
        let Some(tag) =
            given.fields.iter().map(|field| field.tag.as_slice()).find(|tag| rest.starts_with(tag))
        else {
            break;
        };
        let value = rest.get(tag.len()..).unwrap_or_default();
        for (field, place) in given.fields.iter().zip(&mut fields) {
            if field.tag == tag {
                *place = reading(field, value)?;
            }
        }
        rest = value.get(given.value_bytes(tag)..).unwrap_or_default();
    }
    Ok(GivenReadings { fields, unread: rest.len() })
}

fn reading(field: &GivenField, bytes: &[u8]) -> Result<GivenReading, GivenError> {
    let cut = || GivenError::Cut { field: field.name.clone() };
    let at = |byte: usize| bytes.get(byte..byte + field.width()).ok_or_else(cut);
    let octets = at(field.byte)?;
    if field.kind == GivenKind::Bytes {
        return Ok(GivenReading::Octets(octets.to_vec()));
    }
    let raw = integer(field, octets);
    Ok(match &field.kind {
        GivenKind::Position { longitude_byte, numerator, denominator, absent } => {
            let degrees = |raw: u64| {
                let raw = with_sign(raw, field.bits);
                let is_there = absent.iter().all(|absent| i128::from(*absent) != raw);
                is_there.then(|| (raw * i128::from(*numerator)) as f64 / *denominator as f64)
            };
            place(degrees(raw), degrees(integer(field, at(*longitude_byte)?)))
        }
        GivenKind::Counter { numerator, denominator } => {
            GivenReading::Number((i128::from(raw) * i128::from(*numerator)) as f64 / *denominator as f64)
        }
        GivenKind::Number { signed, numerator, offset, denominator, absent } => {
            let raw = if *signed { with_sign(raw, field.bits) } else { i128::from(raw) };
            if absent.iter().any(|absent| i128::from(*absent) == raw) {
                return Ok(GivenReading::Absent);
            }
            // Below 2^127: 64 bits times 63 and as much again.
            let scaled = raw * i128::from(*numerator) + i128::from(*offset);
            GivenReading::Number(scaled as f64 / *denominator as f64)
        }
        GivenKind::Float => float(raw, field.bits),
        GivenKind::Flag => GivenReading::Flag(raw != 0),
        GivenKind::Choice { words } => {
            let word = usize::try_from(raw).ok().and_then(|raw| words.get(raw));
            word.map_or(GivenReading::Unnamed(raw), |word| GivenReading::Word(word.clone()))
        }
        GivenKind::Bytes => GivenReading::Absent,
    })
}

/// A place on the globe; one beyond it is no reading.
fn place(latitude: Option<f64>, longitude: Option<f64>) -> GivenReading {
    match latitude.zip(longitude) {
        Some((latitude, longitude)) if latitude.abs() <= 90.0 && longitude.abs() <= 180.0 => {
            GivenReading::Place { latitude, longitude }
        }
        _ => GivenReading::Absent,
    }
}

/// The bytes as one integer in their order, moved right and masked.
fn integer(field: &GivenField, octets: &[u8]) -> u64 {
    let whole = |whole: u64, octet: &u8| whole << 8 | u64::from(*octet);
    let integer = match field.order {
        Order::Big => octets.iter().fold(0, whole),
        Order::Little => octets.iter().rev().fold(0, whole),
    };
    integer.unbounded_shr(field.shift) & u64::MAX.unbounded_shr(u64::BITS.saturating_sub(field.bits))
}

/// Two's complement of so many bits.
fn with_sign(raw: u64, bits: u32) -> i128 {
    let raw = i128::from(raw);
    if raw >> (bits - 1) & 1 == 1 { raw - (1 << bits) } else { raw }
}

/// IEEE 754; infinite and no numbers are no reading.
fn float(raw: u64, bits: u32) -> GivenReading {
    let number = match u32::try_from(raw) {
        Ok(single) if bits == u32::BITS => f64::from(f32::from_bits(single)),
        _ => f64::from_bits(raw),
    };
    if number.is_finite() { GivenReading::Number(number) } else { GivenReading::Absent }
}

#[cfg(test)]
mod tests {
    use super::GivenReading::{Absent, Flag, Number, Unnamed, Word};
    use super::*;

    fn field(name: &str, byte: usize, shift: u32, bits: u32, order: Order, kind: GivenKind) -> GivenField {
        let (name, title, unit) = (name.to_owned(), String::new(), "1".to_owned());
        GivenField { name, title, unit, tag: Vec::new(), byte, shift, bits, order, kind, means: None }
    }

    fn number(signed: bool, numerator: i64, offset: i64, denominator: i64, absent: &[i64]) -> GivenKind {
        GivenKind::Number { signed, numerator, offset, denominator, absent: absent.to_vec() }
    }

    fn given(bytes: usize, tagged: bool, fields: Vec<GivenField>) -> Given {
        let (name, title) = ("status".to_owned(), String::new());
        Given { name, title, port: 7, begins: Vec::new(), bytes, tagged, decoded: false, fields }
    }

    /// Worked by hand. Bytes 0x24 0xFF38 0x3802 0x93: 36 in tenths is 3.6 V; 0xFF38 in two's complement is 65336 - 65536 =
    /// -200, in hundredths -2 °C; 0x3802 with the less significant byte first is 0x0238 = 568, less 100 is 468 cm; 0x93 is
    /// 1001 0011: bit 7 is set, bits 4 to 6 are 1, bits 0 to 3 are 3.
    #[test]
    fn fields_lie_where_the_data_sheet_says() {
        let words = ["asleep", "awake"].map(str::to_owned).to_vec();
        let layout = given(
            6,
            false,
            vec![
                field("battery", 0, 0, 8, Order::Big, number(false, 1, 0, 10, &[255])),
                field("water", 1, 0, 16, Order::Big, number(true, 1, 0, 100, &[-32_768])),
                field("level", 3, 0, 16, Order::Little, number(false, 1, -100, 1, &[0xffff])),
                field("alarm", 5, 7, 1, Order::Big, GivenKind::Flag),
                field("mode", 5, 4, 3, Order::Big, GivenKind::Choice { words: words.clone() }),
                field("stage", 5, 0, 4, Order::Big, GivenKind::Choice { words }),
            ],
        );
        let said = read(&layout, &[0x24, 0xff, 0x38, 0x38, 0x02, 0x93]).expect("it is one");
        let awake = Word("awake".to_owned());
        assert_eq!(said.fields, [Number(3.6), Number(-2.0), Number(468.0), Flag(true), awake, Unnamed(3)]);
        let none = read(&layout, &[0xff, 0x80, 0x00, 0xff, 0xff, 0x00]).expect("it is one");
        assert_eq!(none.fields[..4], [Absent, Absent, Absent, Flag(false)]);
        for length in [0, 5, 7] {
            let found = read(&layout, &vec![0; length]);
            assert_eq!(found, Err(GivenError::Length { found: length, expected: 6 }));
        }
    }

    /// Twelve bits each in three bytes 0xAB 0xC1 0x23: the first bytes are 0xABC1, moved right by 4 0xABC = 2748; the last two
    /// are 0xC123, their lower twelve bits 0x123 = 291. IEEE 754: 0x41C80000 is 1.5625 * 2^4 = 25; 0x7FC00000 is no number.
    #[test]
    fn numbers_may_share_a_byte_and_be_floats() {
        let layout = given(
            7,
            false,
            vec![
                field("one", 0, 4, 12, Order::Big, number(false, 1, 0, 1, &[])),
                field("other", 1, 0, 12, Order::Big, number(false, 1, 0, 1, &[])),
                field("depth", 3, 0, 32, Order::Little, GivenKind::Float),
            ],
        );
        let said = read(&layout, &[0xab, 0xc1, 0x23, 0x00, 0x00, 0xc8, 0x41]).expect("it is one");
        assert_eq!(said.fields, [2748.0, 291.0, 25.0].map(GivenReading::Number));
        let said = read(&layout, &[0xab, 0xc1, 0x23, 0x00, 0x00, 0xc0, 0x7f]).expect("it is one");
        assert_eq!(said.fields[2], GivenReading::Absent);
    }

    /// 0x01 0x75 0x64: battery 100 %; 0x03 0x67 0x0110: 272 in tenths is 27.2 °C; 0x09 is no tag of the design.
    #[test]
    fn tagged_values_come_in_any_order_and_what_is_not_known_is_counted() {
        let tagged = |name: &str, tag: &[u8], byte, bits, denominator| GivenField {
            tag: tag.to_vec(),
            ..field(name, byte, 0, bits, Order::Big, number(true, 1, 0, denominator, &[]))
        };
        let layout = given(
            12,
            true,
            vec![
                tagged("battery", &[1, 0x75], 0, 8, 1),
                tagged("water", &[3, 0x67], 0, 16, 10),
                tagged("north", &[4], 0, 8, 1),
                tagged("east", &[4], 1, 8, 1),
            ],
        );
        let (battery, water) = (GivenReading::Number(100.0), GivenReading::Number(27.2));
        let none = GivenReading::Absent;
        for bytes in [[1, 0x75, 0x64, 3, 0x67, 0x01, 0x10], [3, 0x67, 0x01, 0x10, 1, 0x75, 0x64]] {
            let said = read(&layout, &bytes).expect("it is one");
            assert_eq!(said.fields, [battery.clone(), water.clone(), none.clone(), none.clone()]);
            assert_eq!(said.unread, 0);
        }
        let said = read(&layout, &[4, 0x11, 0xff, 9, 1, 0x75]).expect("the beginning is known");
        assert_eq!(said.fields[2..], [GivenReading::Number(17.0), GivenReading::Number(-1.0)]);
        assert_eq!((&said.fields[0], said.unread), (&none, 3));
        assert_eq!(read(&layout, &[3, 0x67, 1]), Err(GivenError::Cut { field: "water".to_owned() }));
        assert_eq!(read(&layout, &[]).map(|said| said.unread), Ok(0));
    }

    /// Worked by hand: 0x01C9C380 is 30,000,000 and 0xFF676980 is 2^32 - 10,000,000; in steps of 1e-6 degrees 30 north and 10
    /// west. 0x0D693A40 is 225,000,000: 225 degrees lie beyond the globe. A counter of 32 bits has no sign.
    #[test]
    fn places_are_two_integers_and_counters_have_no_sign() {
        let place = |longitude_byte| GivenKind::Position {
            longitude_byte,
            numerator: 1,
            denominator: 1_000_000,
            absent: vec![i64::from(i32::MAX)],
        };
        let north = [0x01, 0xc9, 0xc3, 0x80];
        let west = [0xff, 0x67, 0x69, 0x80];
        let read_one = |kind, byte, bytes: &[u8]| {
            let layout = given(bytes.len(), false, vec![field("place", byte, 0, 32, Order::Big, kind)]);
            read(&layout, bytes).map(|said| said.fields)
        };
        let there = Ok(vec![GivenReading::Place { latitude: 30.0, longitude: -10.0 }]);
        assert_eq!(read_one(place(4), 0, &[north, west].concat()), there);
        assert_eq!(read_one(place(0), 4, &[west, north].concat()), there, "east first");
        let nowhere = Ok(vec![Absent]);
        assert_eq!(read_one(place(4), 0, &[north, [0x7f, 0xff, 0xff, 0xff]].concat()), nowhere);
        assert_eq!(read_one(place(4), 0, &[north, [0x0d, 0x69, 0x3a, 0x40]].concat()), nowhere);
        let cut = Err(GivenError::Cut { field: "place".to_owned() });
        assert_eq!(read_one(place(4), 0, &north), cut);
        let counter = GivenKind::Counter { numerator: 1, denominator: 5 };
        assert_eq!(read_one(counter, 0, &[0xff; 4]), Ok(vec![Number(858_993_459.0)]));
    }

    #[test]
    fn what_begins_otherwise_is_another_message() {
        let layout = Given {
            begins: vec![2],
            ..given(2, false, vec![field("level", 1, 0, 8, Order::Big, number(false, 1, 0, 1, &[]))])
        };
        assert_eq!(read(&layout, &[2, 5]).expect("it is one").fields, [GivenReading::Number(5.0)]);
        assert!(matches!(read(&layout, &[3, 5]), Err(GivenError::Beginning { .. })));
    }
}
