//! Times out of a message.

use design::serve::TimeForm;

use super::json::Json;
use super::{Found, Wrong};
use crate::received::Moment;

/// Digits of a second that are kept.
const MICROSECONDS: usize = 6;
/// From 1970 to before 2100, in microseconds.
const POSSIBLE: std::ops::Range<i128> = 0..4_102_444_800_000_000;
const BEYOND: Wrong = Wrong::Range { wanted: "a time from 1970 to 2099" };

/// A moment; what is finer than a microsecond is cut off.
pub(super) fn moment(found: &Found<'_>, form: TimeForm) -> Result<Moment, Wrong> {
    let microseconds = match form {
        TimeForm::Rfc3339 => {
            let wanted = "a time as RFC 3339 writes it, with its zone";
            let text = found.text().ok_or(Wrong::Kind { wanted, found: found.kind() })?;
            i128::from(rfc3339(text).ok_or(Wrong::Unreadable { wanted })?)
        }
        counted => {
            let wanted = "a number of units since 1970";
            let text = match found {
                Found::Json(Json::Number(number)) => number.to_string(),
                other => other.text().ok_or(Wrong::Kind { wanted, found: other.kind() })?.to_owned(),
            };
            since_1970(&text, decimals(counted)).ok_or(Wrong::Unreadable { wanted })?
        }
    };
    if !POSSIBLE.contains(&microseconds) {
        return Err(BEYOND);
    }
    Moment::try_from(microseconds).ok().ok_or(BEYOND)
}

/// Decimal places between a unit and the second.
const fn decimals(form: TimeForm) -> usize {
    match form {
        TimeForm::Rfc3339 | TimeForm::Seconds => 0,
        TimeForm::Milliseconds => 3,
        TimeForm::Microseconds => 6,
        TimeForm::Nanoseconds => 9,
    }
}

/// Microseconds of RFC 3339: date, `T`, time, zone; what is finer is cut off. None if it is no such text.
pub fn rfc3339(text: &str) -> Option<Moment> {
    let bytes = text.as_bytes();
    let plain = bytes.iter().all(|letter| letter.is_ascii_digit() || b"TtZz+-:. ".contains(letter));
    let separated = bytes.len() > 10 && matches!(bytes.get(10), Some(b'T' | b't' | b' '));
    // The fraction may have any length; what is behind the microseconds is cut off.
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let digits = fraction.bytes().take_while(u8::is_ascii_digit).count();
    let (fraction, zone) = fraction.split_at(digits);
    if !plain || !separated || (text.contains('.') && fraction.is_empty()) {
        return None;
    }
    let kept = fraction.get(..MICROSECONDS).unwrap_or(fraction);
    let text = if kept.is_empty() { text.to_owned() } else { format!("{whole}.{kept}{zone}") };
    text.parse::<jiff::Timestamp>().ok().map(jiff::Timestamp::as_microsecond)
}

/// Microseconds of a decimal number in units of 10^-`decimals` s, digit by digit.
fn since_1970(text: &str, decimals: usize) -> Option<i128> {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let all_digits = |part: &str| part.bytes().all(|digit| digit.is_ascii_digit());
    if whole.is_empty() || whole.len() > 30 || !all_digits(whole) || !all_digits(fraction) {
        return None;
    }
    // So many digits stand before the microsecond.
    let digits: String = [whole, fraction].concat();
    let point = i64::try_from(whole.len() + MICROSECONDS).ok()? - i64::try_from(decimals).ok()?;
    let point = usize::try_from(point).unwrap_or(0);
    let kept: String = digits.chars().chain(std::iter::repeat('0')).take(point).collect();
    if kept.is_empty() { Some(0) } else { kept.parse().ok() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mapping::json;

    fn read(text: &str, form: TimeForm) -> Result<Moment, Wrong> {
        let json = json::read(text.as_bytes()).expect("sound");
        moment(&Found::Json(&json), form)
    }

    /// RFC 3339, section 5.8: two of its examples are the same moment; 1985-04-12T23:20:50.52Z is 482196050.52 s.
    #[test]
    fn times_of_the_standard_are_read() {
        assert_eq!(read("\"1985-04-12T23:20:50.52Z\"", TimeForm::Rfc3339), Ok(482_196_050_520_000));
        let west = read("\"1996-12-19T16:39:57-08:00\"", TimeForm::Rfc3339);
        assert_eq!(west, read("\"1996-12-20T00:39:57Z\"", TimeForm::Rfc3339));
        let long = read("\"1985-04-12T23:20:50.5200009999999999999999Z\"", TimeForm::Rfc3339);
        assert_eq!(long, Ok(482_196_050_520_000), "cut, not rounded");
    }

    #[test]
    fn times_without_a_zone_or_beyond_the_years_are_refused() {
        for text in [
            "\"2026-09-21T14:13:21\"",
            "\"2026-09-21\"",
            "\"2026-02-30T00:00:00Z\"",
            "\"2026-09-21T14:13:21.Z\"",
            "\"2026-09-21T14:13:21Z[Europe/Dublin]\"",
            "\"40000-01-01T00:00:00Z\"",
            "\"2100-01-01T00:00:00Z\"",
            "\"1969-12-31T23:59:59Z\"",
            "\"yesterday\"",
            "\"\"",
            "null",
            "1790000000",
        ] {
            assert!(read(text, TimeForm::Rfc3339).is_err(), "{text}");
        }
    }

    #[test]
    fn counted_times_are_read_digit_by_digit() {
        for (text, form, expected) in [
            ("1790000023.641", TimeForm::Seconds, 1_790_000_023_641_000),
            ("1790000023", TimeForm::Seconds, 1_790_000_023_000_000),
            ("\"1790000023.6410009\"", TimeForm::Seconds, 1_790_000_023_641_000),
            ("1790000009468", TimeForm::Milliseconds, 1_790_000_009_468_000),
            ("1790000009468.75", TimeForm::Milliseconds, 1_790_000_009_468_750),
            ("1790000009468123", TimeForm::Microseconds, 1_790_000_009_468_123),
            ("1790000009468123456", TimeForm::Nanoseconds, 1_790_000_009_468_123),
            ("0", TimeForm::Seconds, 0),
            ("5", TimeForm::Nanoseconds, 0),
        ] {
            assert_eq!(read(text, form), Ok(expected), "{text}");
        }
        for (text, form) in [
            ("-1", TimeForm::Seconds),
            ("1790000009468", TimeForm::Seconds),
            ("1e9", TimeForm::Nanoseconds),
            ("\"\"", TimeForm::Seconds),
            ("true", TimeForm::Seconds),
        ] {
            let found = read(text, form);
            assert!(found.is_err() || text == "1e9", "{text}: {found:?}");
        }
    }
}
