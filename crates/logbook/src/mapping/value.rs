//! Numbers and bytes out of a message.

use design::serve::{MappedValue, TextForm};
use serde_json::{Number as JsonNumber, Value};

use super::json::{Json, Number};
use super::{Found, Wrong};
use crate::base64;

/// Most ports that a device may send on (`FPort` of an application, TS001-1.0.4, clause 4.3.2, from memory).
const LAST_PORT: u8 = 223;

/// A whole number, or a text of ASCII digits.
pub(super) fn whole<T: TryFrom<i128>>(found: &Found<'_>, wanted: &'static str) -> Result<T, Wrong> {
    let number = match found {
        Found::Json(Json::Number(Number::Whole(whole))) => Some(*whole),
        Found::Json(Json::Number(Number::Other(_))) => return Err(Wrong::Unreadable { wanted }),
        other => {
            let text = other.text().ok_or(Wrong::Kind { wanted, found: other.kind() })?;
            let digits = !text.is_empty() && text.bytes().all(|digit| digit.is_ascii_digit());
            text.parse().ok().filter(|_| digits)
        }
    };
    T::try_from(number.ok_or(Wrong::Unreadable { wanted })?).ok().ok_or(Wrong::Range { wanted })
}

/// A port of an application.
pub(super) fn port(found: &Found<'_>) -> Result<u8, Wrong> {
    let wanted = "a port from 1 to 223";
    let port: u8 = whole(found, wanted)?;
    if (1..=LAST_PORT).contains(&port) { Ok(port) } else { Err(Wrong::Range { wanted }) }
}

/// The bytes of a text.
pub(super) fn bytes(found: &Found<'_>, form: TextForm) -> Result<Vec<u8>, Wrong> {
    let wanted = match form {
        TextForm::Base64 => "a text in base64",
        TextForm::Hex => "a text of hex digits",
    };
    let text = found.text().ok_or(Wrong::Kind { wanted, found: found.kind() })?;
    bytes_of(text, form).ok_or(Wrong::Unreadable { wanted })
}

/// The bytes that a text writes, if it does.
pub(super) fn bytes_of(text: &str, form: TextForm) -> Option<Vec<u8>> {
    match form {
        TextForm::Base64 => base64::decode(text).ok(),
        TextForm::Hex => {
            let digits: Vec<u32> = text.chars().map(|letter| letter.to_digit(16)).collect::<Option<_>>()?;
            let pairs = digits.chunks(2).map(|pair| match *pair {
                [high, low] => u8::try_from(high << 4 | low).ok(),
                _ => None,
            });
            pairs.collect()
        }
    }
}

/// A value that was decoded already, in the unit of its field: numbers are scaled, texts, flags and nulls stay as they are.
pub(super) fn decoded(found: &Found<'_>, mapped: &MappedValue) -> Result<Value, Wrong> {
    let number = match found {
        Found::Json(Json::Number(Number::Whole(whole))) => *whole as f64,
        Found::Json(Json::Number(Number::Other(other))) => *other,
        Found::Json(Json::Bool(truth)) => return Ok(Value::Bool(*truth)),
        Found::Json(Json::Null) => return Ok(Value::Null),
        other => {
            let wanted = "a number, a text, true, false or null";
            let text = other.text().ok_or(Wrong::Kind { wanted, found: other.kind() })?;
            return Ok(Value::String(text.to_owned()));
        }
    };
    let scaled = (number * mapped.numerator as f64 + mapped.offset as f64) / mapped.denominator as f64;
    let wanted = "a number that is not boundless";
    JsonNumber::from_f64(scaled).map(Value::Number).ok_or(Wrong::Range { wanted })
}

/// A number, or a text of one; anything else is left out.
pub(super) fn decibels(found: &Found<'_>) -> Option<f64> {
    let number = match found {
        Found::Json(Json::Number(Number::Whole(whole))) => *whole as f64,
        Found::Json(Json::Number(Number::Other(other))) => *other,
        other => {
            let text = other.text()?;
            let plain = text.bytes().all(|letter| letter.is_ascii_digit() || matches!(letter, b'-' | b'.'));
            text.parse().ok().filter(|_| plain)?
        }
    };
    number.is_finite().then_some(number)
}
