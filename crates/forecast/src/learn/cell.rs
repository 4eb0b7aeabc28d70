//! One field of a file from the field, and what is wrong with it.

use super::DAY_S;
use crate::sky::sun::days_since_1970;

/// What is wrong with a field, and what to write instead.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CellError {
    /// No number.
    #[error("`{name}` is `{text}`, no number")]
    NoNumber {
        /// The column.
        name: &'static str,
        /// As written.
        text: String,
    },
    /// A number that can't be.
    #[error("`{name}` is {number}, which lies outside {least} to {most}")]
    Outside {
        /// The column.
        name: &'static str,
        /// As written.
        number: f64,
        /// The least that can be.
        least: f64,
        /// The most that can be.
        most: f64,
    },
    /// No whole number.
    #[error("`{name}` is `{text}`; write a whole number from 0 to {most}")]
    NoCount {
        /// The column.
        name: &'static str,
        /// As written.
        text: String,
        /// The most that can be.
        most: u32,
    },
    /// Neither yes nor no.
    #[error("`{name}` is `{text}`; write 1 or 0")]
    NoFlag {
        /// The column.
        name: &'static str,
        /// As written.
        text: String,
    },
    /// No time in UTC.
    #[error("`{name}` is `{text}`; write 2026-10-04T12:00:00Z")]
    NoTime {
        /// The column.
        name: &'static str,
        /// As written.
        text: String,
    },
}

/// One field: the name of its column and what stands in it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cell<'a> {
    pub(super) name: &'static str,
    pub(super) text: &'a str,
}

impl Cell<'_> {
    pub(super) fn number(&self, least: f64, most: f64) -> Result<Option<f64>, CellError> {
        let name = self.name;
        if self.text.is_empty() {
            return Ok(None);
        }
        let number: f64 = self
            .text
            .parse()
            .map_err(|_no_number| CellError::NoNumber { name, text: shortened(self.text) })?;
        if (least..=most).contains(&number) {
            Ok(Some(number))
        } else {
            Err(CellError::Outside { name, number, least, most })
        }
    }

    pub(super) fn count(&self) -> Result<Option<u32>, CellError> {
        if self.text.is_empty() {
            return Ok(None);
        }
        let wrong = |_no_count| self.no_count(u32::MAX);
        self.text.parse().map(Some).map_err(wrong)
    }

    pub(super) fn small(&self, most: u8) -> Result<Option<u8>, CellError> {
        if self.text.is_empty() {
            return Ok(None);
        }
        let wrong = || self.no_count(u32::from(most));
        let number: u8 = self.text.parse().map_err(|_no_count| wrong())?;
        if number <= most { Ok(Some(number)) } else { Err(wrong()) }
    }

    fn no_count(&self, most: u32) -> CellError {
        CellError::NoCount { name: self.name, text: shortened(self.text), most }
    }

    pub(super) fn yes(&self) -> Result<bool, CellError> {
        match self.text {
            "1" | "true" => Ok(true),
            "" | "0" | "false" => Ok(false),
            _ => Err(CellError::NoFlag { name: self.name, text: shortened(self.text) }),
        }
    }

    /// Seconds since 1970 of a time such as `2026-10-04T12:00:00Z`; fractions of a second are cut off.
    pub(super) fn seconds(&self) -> Result<i64, CellError> {
        seconds(self.text).ok_or_else(|| CellError::NoTime { name: self.name, text: shortened(self.text) })
    }
}

pub(super) fn seconds(text: &str) -> Option<i64> {
    let utc = text.strip_suffix('Z').or_else(|| text.strip_suffix("+00:00"))?;
    let (date, clock) = utc.split_once(['T', ' '])?;
    let mut parts = date.split('-');
    let (year, month, day) =
        (digits(parts.next()?, 4)?, digits(parts.next()?, 2)?, digits(parts.next()?, 2)?);
    let (clock, fraction) = clock.split_once('.').unwrap_or((clock, "0"));
    let mut units = clock.split(':');
    let (hour, minute) = (digits(units.next()?, 2)?, digits(units.next()?, 2)?);
    let second = units.next().map_or(Some(0), |second| digits(second, 2))?;
    let over = parts.next().is_some() || units.next().is_some();
    let fraction_is_one = !fraction.is_empty() && fraction.bytes().all(|byte| byte.is_ascii_digit());
    let (year, month, day) = (i32::try_from(year).ok()?, u8::try_from(month).ok()?, u8::try_from(day).ok()?);
    let days = days_since_1970(year, month, day);
    let is_date = (1..=12).contains(&month) && day >= 1 && crate::sky::sun::date(days) == (year, month, day);
    let sound = !over && fraction_is_one && is_date && hour < 24 && minute < 60 && second < 60;
    sound.then(|| days * DAY_S + i64::from(hour * 3600 + minute * 60 + second))
}

fn digits(text: &str, count: usize) -> Option<u32> {
    let sound = text.len() == count && text.bytes().all(|byte| byte.is_ascii_digit());
    // The digits were looked at: what fails here is no number at all, which the caller says.
    if sound { text.parse().ok() } else { None }
}

pub(super) fn shortened(text: &str) -> String {
    text.chars().take(40).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By `date -u -d ... +%s` of GNU coreutils.
    #[test]
    fn times_are_seconds_since_1970() {
        for (text, expected) in [
            ("1970-01-01T00:00:00Z", 0),
            ("2025-11-01T00:00:02Z", 1_761_955_202),
            ("2024-02-29 23:59:59.75Z", 1_709_251_199),
            ("2026-10-04T12:00+00:00", 1_791_115_200),
        ] {
            assert_eq!(seconds(text), Some(expected), "{text}");
        }
    }

    #[test]
    fn what_is_no_time_in_utc_is_none() {
        for text in [
            "",
            "2025-11-01T00:00:02",
            "2025-02-29T00:00:00Z",
            "2025-11-01T24:00:00Z",
            "25-11-01T00:00:00Z",
            "2025-11-01T00:00:02+01:00",
            "2025-13-01T00:00:00Z",
            "2025-11-01T00:00:02.Z",
            "2025-00-01T00:00:00Z",
        ] {
            assert_eq!(seconds(text), None, "{text}");
        }
    }
}
