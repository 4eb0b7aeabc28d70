//! Quantities as text: `"2600 mAh +- 200 mAh"`.

use super::{
    Angle, Bytes, Capacitance, Charge, Current, Dbm, Decibels, Duration, Energy, Frequency, Irradiance,
    Irradiation, Length, PerKelvin, Power, Quantity, Resistance, Share, Temperature, TemperatureDifference,
    Uncertain, Voltage,
};
use crate::diagnostic::{self, Code};

/// Why a text is not the quantity that is wanted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{message}")]
pub struct QuantityError {
    /// Its entry in the list of codes.
    pub code: Code,
    /// What is wrong.
    pub message: String,
    /// What to write instead.
    pub help: String,
}

type Result<T> = std::result::Result<T, QuantityError>;

/// Largest stated standard deviation as a share of the value; more than that is a slip of the pen.
const LARGEST_TOLERANCE: f64 = 3.0;

fn error<T>(code: Code, message: String, help: String) -> Result<T> {
    Err(QuantityError { code, message, help })
}

/// Reads a quantity with an optional tolerance.
pub(super) fn parse<Q: Quantity>(text: &str) -> Result<Uncertain<Q>> {
    let text = text.trim();
    let (nominal, tolerance) = match find_tolerance(text) {
        Some((at, length)) => (text[..at].trim_end(), Some(text[at + length..].trim_start())),
        None => (text, None),
    };
    let value = Q::from_si(si::<Q>(nominal)?);
    let spread_si = tolerance.map_or(Ok(0.0), |tolerance| spread(value, tolerance))?;
    Ok(Uncertain { nominal: value, spread_si })
}

fn find_tolerance(text: &str) -> Option<(usize, usize)> {
    ["+-", "+/-", "±"].iter().find_map(|sign| text.find(sign).map(|at| (at, sign.len())))
}

fn si<Q: Quantity>(text: &str) -> Result<f64> {
    let (number, unit) = split_number::<Q>(text)?;
    let (factor, offset) = find_unit::<Q>(text, unit)?;
    let si = number * factor + offset;
    if si.is_finite() { Ok(si) } else { not_finite::<Q, _>(text) }
}

fn spread<Q: Quantity>(value: Q, text: &str) -> Result<f64> {
    let (number, unit) = split_number::<Q>(text)?;
    let own_percent = Q::UNITS.iter().any(|(symbol, ..)| *symbol == "%");
    let spread_si = if unit == "%" && !own_percent {
        if !has_ratios::<Q>() {
            return error(
                diagnostic::TOLERANCE,
                format!("a percentage of {} means nothing", a(Q::NOUN)),
                format!("write the tolerance in {}, as `+- 2 {}`", unit_list::<Q>(), unit_of_example::<Q>()),
            );
        }
        number * 1e-2 * value.si().abs()
    } else {
        number * find_unit::<Q>(text, unit)?.0
    };
    let too_much = has_ratios::<Q>() && !own_percent && spread_si > LARGEST_TOLERANCE * value.si().abs();
    if !spread_si.is_finite() || spread_si < 0.0 || too_much || (own_percent && spread_si > LARGEST_TOLERANCE)
    {
        return error(
            diagnostic::TOLERANCE,
            format!("`+- {text}` is not a usable tolerance"),
            "write one standard deviation between 0 and 300 % of the value, as `+- 10 %`".to_owned(),
        );
    }
    Ok(spread_si)
}

/// Whether "half as much" means something: not for temperatures, whose zero is arbitrary, nor for logarithms.
fn has_ratios<Q: Quantity>() -> bool {
    Q::UNITS.iter().all(|(symbol, _, offset)| *offset == 0.0 && !symbol.starts_with("dB"))
}

/// The number a text begins with, and the rest.
fn split_number<Q: Quantity>(text: &str) -> Result<(f64, &str)> {
    let length = number_length(text);
    let (digits, rest) = text.split_at(length);
    let help = format!("write a number and a unit, as \"{}\"", Q::EXAMPLE);
    let Ok(number) = digits.parse::<f64>() else {
        return error(
            diagnostic::NUMBER,
            format!("`{}` does not begin with a number", shortened(text)),
            help,
        );
    };
    if rest.starts_with([',', '.', '_', '\'']) {
        let help = "the decimal sign is a point and digits are not grouped, as \"4.2 V\"".to_owned();
        return error(diagnostic::NUMBER, format!("`{}` is not a number", shortened(text)), help);
    }
    if number.is_finite() { Ok((number, rest.trim_start())) } else { not_finite::<Q, _>(text) }
}

fn not_finite<Q: Quantity, T>(text: &str) -> Result<T> {
    let help = format!("write a number of a usual size, as \"{}\"", Q::EXAMPLE);
    error(diagnostic::NOT_FINITE, format!("`{}` is too large", shortened(text)), help)
}

/// Length of `[+-] digits [. digits] [e [+-] digits]` at the beginning.
fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits = |from: usize| bytes.iter().skip(from).take_while(|byte| byte.is_ascii_digit()).count();
    let mut end = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    end += digits(end);
    if bytes.get(end) == Some(&b'.') && digits(end + 1) > 0 {
        end += 1 + digits(end + 1);
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        let exponent = digits(end + 1 + sign);
        if exponent > 0 {
            end += 1 + sign + exponent;
        }
    }
    end
}

/// Factor and offset of a unit.
fn find_unit<Q: Quantity>(text: &str, unit: &str) -> Result<(f64, f64)> {
    // The micro sign and the Greek letter look alike, and so do the ohm sign and omega.
    let unit = unit.replace('μ', "µ").replace(['Ω', '\u{2126}'], "ohm");
    if let Some((_, factor, offset)) = Q::UNITS.iter().find(|(symbol, ..)| *symbol == unit) {
        return Ok((*factor, *offset));
    }
    let example = Q::EXAMPLE;
    let list = unit_list::<Q>();
    if unit.is_empty() {
        let fixed = format!("{text} {}", unit_of_example::<Q>());
        return error(
            diagnostic::MISSING_UNIT,
            format!("`{}` has no unit", shortened(text)),
            format!("write \"{}\" if that is meant; {} is written in {list}", fixed.trim_end(), a(Q::NOUN)),
        );
    }
    if let Some(noun) =
        ALL.iter().find(|(_, units)| units.iter().any(|(symbol, ..)| *symbol == unit)).map(|all| all.0)
    {
        return error(
            diagnostic::WRONG_QUANTITY,
            format!("`{unit}` is the unit of {}", a(noun)),
            format!("{} is wanted, such as \"{example}\"", a(Q::NOUN)),
        );
    }
    let symbols = || Q::UNITS.iter().map(|(symbol, ..)| *symbol).filter(|symbol| !symbol.is_empty());
    let spelled = UNIT_WORDS.iter().find(|(word, _)| unit.to_lowercase().trim_end_matches('s') == *word);
    let near = match spelled.and_then(|(_, meant)| symbols().find(|symbol| symbol == meant)) {
        Some(meant) => meant,
        None => diagnostic::closest(&unit, symbols()).unwrap_or(example),
    };
    let help = format!("did you mean \"{near}\"? {} is written in {list}, as \"{example}\"", a(Q::NOUN));
    error(diagnostic::UNKNOWN_UNIT, format!("`{}` is not a unit known here", shortened(&unit)), help)
}

/// Units as people spell them out, without the plural's `s`, and their symbols.
const UNIT_WORDS: &[(&str, &str)] = &[
    ("volt", "V"),
    ("millivolt", "mV"),
    ("amp", "A"),
    ("ampere", "A"),
    ("milliamp", "mA"),
    ("microamp", "uA"),
    ("watt", "W"),
    ("milliwatt", "mW"),
    ("hour", "h"),
    ("hr", "h"),
    ("minute", "min"),
    ("second", "s"),
    ("sec", "s"),
    ("degree", "deg"),
    ("celsiu", "C"),
    ("kelvin", "K"),
    ("metre", "m"),
    ("meter", "m"),
    ("kilometre", "km"),
    ("kilometer", "km"),
    ("percent", "%"),
    ("farad", "F"),
];

/// A noun with its article.
pub(crate) fn a(noun: &str) -> String {
    let article = if noun.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" };
    format!("{article} {noun}")
}

/// The units of a quantity as words: "mAh, Ah or C".
pub(crate) fn unit_list<Q: Quantity>() -> String {
    let symbols: Vec<&str> =
        Q::UNITS.iter().map(|(symbol, ..)| *symbol).filter(|symbol| !symbol.is_empty()).collect();
    match symbols.as_slice() {
        [rest @ .., last] if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        _ => symbols.concat(),
    }
}

/// The unit that the example of the quantity uses.
pub(crate) fn unit_of_example<Q: Quantity>() -> &'static str {
    Q::EXAMPLE.split_once(' ').map_or("", |(_, unit)| unit)
}

/// Whether a character is never shown: a control character, or a mark that turns the direction of what follows and can
/// make a text look like another.
///
/// # References
/// Unicode Standard Annex 9, revision 48, section 2 (directional formatting characters).
pub fn is_unprintable(letter: char) -> bool {
    let turns = matches!(letter, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    letter.is_control() || turns
}

/// At most 40 characters of a text, for a message.
pub(crate) fn shortened(text: &str) -> String {
    match text.char_indices().nth(40) {
        Some((end, _)) => format!("{}...", &text[..end]),
        None => text.to_owned(),
    }
}

/// Writes a quantity in the unit in which it has one to three digits before the point, to four digits.
pub(super) fn write<Q: Quantity>(value: Q) -> String {
    let in_unit = |(_, factor, offset): &(&str, f64, f64)| (value.si() - offset) / factor;
    let named = || Q::UNITS.iter().filter(|(symbol, ..)| !symbol.is_empty());
    let unit = named()
        .filter(|unit| (1.0..1000.0).contains(&in_unit(unit).abs()))
        .min_by(|a, b| in_unit(a).abs().total_cmp(&in_unit(b).abs()))
        .filter(|_| has_ratios::<Q>())
        .or_else(|| Q::UNITS.iter().find(|(symbol, ..)| *symbol == unit_of_example::<Q>()))
        .or_else(|| named().next());
    unit.map_or_else(String::new, |unit| {
        let number = in_unit(unit);
        let decimals = [1.0, 10.0, 100.0, 1000.0].iter().filter(|limit| number.abs() < **limit).count();
        let text = format!("{number:.decimals$}");
        let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
        format!("{text} {}", unit.0)
    })
}

/// A noun and the units that belong to it.
type NounAndUnits = (&'static str, &'static [(&'static str, f64, f64)]);

macro_rules! all {
    ($($quantity:ident)+) => { &[$(($quantity::NOUN, $quantity::UNITS)),+] };
}

/// Every quantity, to say whose unit was written. The commoner one first where two share a unit.
const ALL: &[NounAndUnits] = all! {
    Temperature Charge Current Voltage Power Energy Resistance Capacitance Irradiance Irradiation Angle Length Frequency Duration Share
    PerKelvin Decibels Dbm Bytes TemperatureDifference
};

/// Every quantity with its units, for the manual.
pub(crate) fn units() -> Vec<(&'static str, Vec<&'static str>)> {
    let symbols =
        |all: &NounAndUnits| all.1.iter().map(|unit| unit.0).filter(|symbol| !symbol.is_empty()).collect();
    ALL.iter().map(|all| (all.0, symbols(all))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read<Q: Quantity>(text: &str) -> Uncertain<Q> {
        Q::parse(text).expect("a good quantity")
    }

    #[test]
    fn a_number_and_a_unit_become_si() {
        assert!((read::<Charge>("2600 mAh").nominal.coulombs() - 9360.0).abs() < 1e-9);
        assert!((read::<Temperature>("-20 C").nominal.kelvin() - 253.15).abs() < 1e-9);
        assert!((read::<Dbm>("14 dBm").nominal.dbm() - 14.0).abs() < 1e-12);
        assert!((read::<Current>("12µA").nominal.amperes() - 12e-6).abs() < 1e-15);
        assert!((read::<Resistance>("2.5 kΩ").nominal.ohms() - 2500.0).abs() < 1e-9);
        assert!((read::<Duration>("1.5e2 ms").nominal.seconds() - 0.15).abs() < 1e-12);
    }

    #[test]
    fn a_tolerance_is_relative_or_in_a_unit() {
        for text in ["4 uA +- 50 %", "4 uA ± 2 uA", "4 uA+/-2000nA"] {
            assert!((read::<Current>(text).spread_si - 2e-6).abs() < 1e-15, "{text}");
        }
        assert!((read::<Share>("94 % +- 4 %").spread_si - 0.04).abs() < 1e-12, "percentage points");
        assert!((read::<Temperature>("-20 C +- 2 C").spread_si - 2.0).abs() < 1e-12, "no offset on a spread");
    }

    #[test]
    fn each_slip_has_its_own_code_and_help() {
        let of = |error: Result<Uncertain<Charge>>| error.expect_err("a slip");
        for (text, code, help) in [
            ("2600", diagnostic::MISSING_UNIT, "\"2600 mAh\""),
            ("2600 mah", diagnostic::UNKNOWN_UNIT, "\"mAh\""),
            ("2600 mA", diagnostic::WRONG_QUANTITY, "a charge is wanted, such as \"2600 mAh\""),
            ("2,6 Ah", diagnostic::NUMBER, "point"),
            ("much", diagnostic::NUMBER, "number and a unit"),
            ("", diagnostic::NUMBER, "number and a unit"),
            ("1e999 Ah", diagnostic::NOT_FINITE, "usual size"),
            ("2600 mAh +- 301 %", diagnostic::TOLERANCE, "300 %"),
            ("2600 mAh +- -1 %", diagnostic::TOLERANCE, "300 %"),
            ("2600 mAh +- 5", diagnostic::MISSING_UNIT, "mAh"),
        ] {
            let error = of(Charge::parse(text));
            assert_eq!(error.code, code, "{text}");
            assert!(error.help.contains(help), "{text}: {}", error.help);
        }
        let percent_of_celsius = Temperature::parse("20 C +- 5 %").expect_err("a slip");
        assert_eq!(percent_of_celsius.code, diagnostic::TOLERANCE);
        assert_eq!(Dbm::parse("14 dBm +- 5 %").expect_err("a slip").code, diagnostic::TOLERANCE);
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "\\PC{0,40}") {
            let _ = Charge::parse(&text);
            let _ = Temperature::parse(&text);
        }

        #[test]
        fn what_is_written_reads_back_to_four_digits(value in 1e-9..1e6f64) {
            let charge = Charge::from_coulombs(value);
            let back = read::<Charge>(&charge.text()).nominal;
            prop_assert!((back.coulombs() - value).abs() <= 5e-4 * value + 1e-6, "{}", charge.text());
        }

        #[test]
        fn every_unit_reads_back_what_was_written(number in -1e6..1e6f64, index in 0usize..6) {
            let (symbol, factor, offset) = Charge::UNITS[index % Charge::UNITS.len()];
            let si = read::<Charge>(&format!("{number} {symbol}")).nominal.si();
            prop_assert!((si - (number * factor + offset)).abs() <= 1e-12 * si.abs());
        }
    }
}
