//! Values that only messages have: kinds, exact decimals and days.

use crate::date::Date;
use crate::diagnostic::{self, Diagnostics};
use crate::file::value::{Word, text_of};
use crate::quantity::shortened;
use crate::section::{Field, wrong_type};
use toml::Spanned;
use toml::de::DeValue;

/// `kind` of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum KindWord {
    Number,
    Battery,
    Counter,
    Flag,
    Choice,
    Position,
    Time,
    Bytes,
}

impl KindWord {
    /// As it is written.
    pub(crate) fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, kind)| *kind == self).map_or("", |(word, _)| word)
    }
}

/// Most digits of a decimal number, so that it fits an integer with room for products.
const MOST_DIGITS: usize = 15;
/// Most digits behind its point.
const MOST_PLACES: u32 = 9;

/// A decimal number as it is written: `digits` over ten to the `places`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Decimal {
    pub(crate) digits: i64,
    pub(crate) places: u32,
}

impl Decimal {
    fn parse(text: &str) -> Option<Self> {
        let (sign, text) = match text.strip_prefix('-') {
            Some(rest) => (-1, rest),
            None => (1, text.strip_prefix('+').unwrap_or(text)),
        };
        let (whole, part) = text.split_once('.').unwrap_or((text, ""));
        let part = part.trim_end_matches('0');
        let places = u32::try_from(part.len()).ok().filter(|places| *places <= MOST_PLACES)?;
        let digits = format!("{whole}{part}");
        let plain = !whole.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
        (plain && digits.len() <= MOST_DIGITS)
            .then(|| digits.parse::<i64>().ok())
            .flatten()
            .map(|digits| Self { digits: sign * digits, places })
    }

    /// The integer that it is with so many digits behind the point, which are not fewer than it has.
    pub(crate) fn scaled(self, places: u32) -> i128 {
        i128::from(self.digits) * 10_i128.pow(places.saturating_sub(self.places))
    }
}

impl Field for Decimal {
    fn noun() -> String {
        "number".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"number"}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let text = match value.get_ref() {
            DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str(),
            DeValue::Float(float) => float.as_str(),
            _ => {
                let help = "write a number without quotes, as `0.1`; its unit stands in `unit`";
                wrong_type(value, "a plain number", help, found);
                return None;
            }
        };
        let read = Self::parse(text);
        if read.is_none() {
            let message = format!("`{}` can't be used as an exact decimal number", shortened(text));
            let help = "write at most 15 digits, 9 of them behind the point, without exponent";
            found.error(diagnostic::FIELD_NUMBER, &value.span(), message, help);
        }
        read
    }
}

/// A day of the calendar that a time can count from.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Day(pub(crate) Date);

impl Day {
    fn parse(text: &str) -> Option<Self> {
        Date::parse(text).filter(|day| day.year() <= 2100).map(Self)
    }
}

impl Field for Day {
    fn noun() -> String {
        "day, as `YYYY-MM-DD`".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"string","pattern":"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let text = text_of(value, "a day", "\"YYYY-MM-DD\", as \"2026-01-01\"", found)?;
        let day = Self::parse(text);
        if day.is_none() {
            let message = format!("`{}` is not a day from 1970 to 2100", shortened(text));
            found.error(
                diagnostic::DATE,
                &value.span(),
                message,
                "write year, month and day as \"2026-01-01\"",
            );
        }
        day
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seconds as POSIX.1-2017, section 4.16, defines them: 86400 for each day since 1970-01-01.
    #[test]
    fn days_are_those_of_the_calendar_from_1970_to_2100() {
        let seconds = |text: &str| Day::parse(text).expect("a day").0.unix_seconds();
        assert_eq!(seconds("1970-01-01"), 0);
        assert_eq!(seconds("2001-09-09"), 999_993_600, "1e9 s is 01:46:40 of that day");
        assert_eq!(seconds("2038-01-19"), 2_147_472_000, "2^31 s is 03:14:08 of that day");
        for wrong in [
            "2026-02-29",
            "2100-02-29",
            "2101-01-01",
            "2026-13-01",
            "26-01-01",
            "2026-1-1",
            "2026-01-01-",
            "x",
        ] {
            assert!(Day::parse(wrong).is_none(), "{wrong}");
        }
    }

    #[test]
    fn decimals_keep_every_digit() {
        assert_eq!(Decimal::parse("-0.25"), Some(Decimal { digits: -25, places: 2 }));
        assert_eq!(Decimal::parse("60"), Some(Decimal { digits: 60, places: 0 }));
        assert_eq!(Decimal::parse("1.50").map(|number| number.scaled(3)), Some(1500));
        for wrong in ["1e3", "inf", "nan", ".5", "0.1234567891", "1234567890123456"] {
            assert!(Decimal::parse(wrong).is_none(), "{wrong}");
        }
    }
}
