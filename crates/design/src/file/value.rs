//! What stands behind the equals signs: quantities, texts, curves, lists and named tables.

mod address;
mod calendar;
mod curve;
mod intervals;
mod word;

pub(crate) use address::{Eui, Foreign, Listen, TimeZone};
pub(crate) use calendar::{Date, Hours, Monthly, Months, SnowDays};
pub(crate) use curve::{Curve, Facing, Horizon, Pair};
pub(crate) use intervals::{IntervalRows, MonthRows};
pub(crate) use word::{ChargerWord, RegulatorWord, Word};

use crate::diagnostic::{self, Diagnostics};
use crate::quantity::{Quantity, Share, Uncertain, a, is_unprintable, shortened, unit_list, unit_of_example};
use crate::region::Region;
use crate::section::schema::quoted;
use crate::section::{At, Field, Section, SectionDoc, as_table, in_order, wrong_type};
use toml::Spanned;
use toml::de::DeValue;

/// Most tables under names of the person's choice in one place, and most entries of one list.
const MOST_TABLES: usize = 1000;
/// Longest name or remark.
const LONGEST_TEXT: usize = 200;

/// The text that a value is, or an error.
pub(crate) fn text_of<'v>(
    value: &'v Spanned<DeValue<'_>>,
    wanted: &str,
    example: &str,
    found: &mut Diagnostics,
) -> Option<&'v str> {
    let text = value.get_ref().as_str();
    if text.is_none() {
        wrong_type(value, wanted, &format!("write {example}"), found);
    }
    text
}

/// The list that a value is, or an error.
fn list_of<'v, 'i>(
    value: &'v Spanned<DeValue<'i>>,
    wanted: &str,
    example: &str,
    found: &mut Diagnostics,
) -> Option<&'v [Spanned<DeValue<'i>>]> {
    let list = value.get_ref().as_array();
    if list.is_none() {
        wrong_type(value, wanted, &format!("write {example}"), found);
    }
    list.map(|list| &**list)
}

fn pair_of<'v, 'i>(
    value: &'v Spanned<DeValue<'i>>,
    example: &str,
    found: &mut Diagnostics,
) -> Option<(&'v Spanned<DeValue<'i>>, &'v Spanned<DeValue<'i>>)> {
    match list_of(value, "a pair", example, found)? {
        [first, second] => Some((first, second)),
        list => {
            let message = format!("a pair is wanted here, not a list of {}", list.len());
            found.error(diagnostic::WRONG_TYPE, &value.span(), message, format!("write {example}"));
            None
        }
    }
}

fn number_of(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str().parse().ok(),
        DeValue::Float(float) => float.as_str().parse().ok(),
        _ => None,
    }
}

impl<Q: Quantity> Field for Uncertain<Q> {
    fn noun() -> String {
        format!("{}, with a tolerance if known", Q::NOUN)
    }
    fn schema() -> String {
        Q::schema()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        if let Some(number) = number_of(value.get_ref()) {
            bare_number::<Q>(number, value, found);
            return None;
        }
        let text = text_of(value, &a(Q::NOUN), &format!("a text with a unit, as \"{}\"", Q::EXAMPLE), found)?;
        match Q::parse(text) {
            Ok(quantity) => Some(quantity),
            Err(error) => {
                found.error(error.code, &value.span(), error.message, error.help);
                None
            }
        }
    }
    fn numbers(&self) -> Vec<f64> {
        vec![self.nominal.si()]
    }
    fn number_in(text: &str) -> Option<f64> {
        Q::parse(text).ok().map(|read| read.nominal.si())
    }
    fn said(number: f64) -> String {
        Q::from_si(number).text()
    }
}

fn bare_number<Q: Quantity>(number: f64, value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) {
    let unit = unit_of_example::<Q>();
    let as_percent = unit == "%" && number.abs() <= 1.0;
    let number = if as_percent { number * 100.0 } else { number };
    let message = format!("{} needs a unit", a(Q::NOUN));
    let help = format!("write \"{number} {unit}\" if that is meant; units are {}", unit_list::<Q>());
    found.error(diagnostic::BARE_NUMBER, &value.span(), message, help);
}

impl<Q: Quantity> Field for Q {
    fn noun() -> String {
        Q::NOUN.to_owned()
    }
    fn schema() -> String {
        let units: Vec<&str> = Q::UNITS.iter().map(|(symbol, ..)| *symbol).collect();
        let pattern =
            format!("^\\s*[-+]?[0-9.]+([eE][-+]?[0-9]+)?\\s*({})\\s*((\\+-|\\+/-|±).*)?$", units.join("|"));
        let example = quoted(Q::EXAMPLE);
        format!("{{\"type\":\"string\",\"pattern\":{},\"examples\":[{example}]}}", quoted(&pattern))
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let read = Uncertain::<Q>::read(value, found)?;
        if read.spread_si > 0.0 {
            let help = format!("leave the tolerance out: \"{}\"", read.nominal.text());
            found.warning(diagnostic::TOLERANCE_UNUSED, &value.span(), "no tolerance is used here", help);
        }
        Some(read.nominal)
    }
    fn numbers(&self) -> Vec<f64> {
        vec![self.si()]
    }
    fn number_in(text: &str) -> Option<f64> {
        Q::parse(text).ok().map(|read| read.nominal.si())
    }
    fn said(number: f64) -> String {
        Q::from_si(number).text()
    }
}

impl Field for bool {
    fn noun() -> String {
        "`true` or `false`".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"boolean"}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let read = value.get_ref().as_bool();
        if read.is_none() {
            wrong_type(value, "true or false", "write `true` or `false` without quotes", found);
        }
        read
    }
}

impl Field for f64 {
    fn noun() -> String {
        "number".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"number"}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let read = number_of(value.get_ref()).filter(|number| number.is_finite());
        if read.is_none() {
            wrong_type(value, "a plain number", "write a number without unit or quotes, as `1.7`", found);
        }
        read
    }
    fn numbers(&self) -> Vec<f64> {
        vec![*self]
    }
}

impl Field for u32 {
    fn noun() -> String {
        "whole number".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"integer","minimum":0}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let read = value
            .get_ref()
            .as_integer()
            .and_then(|integer| Self::from_str_radix(integer.as_str(), integer.radix()).ok());
        if read.is_none() {
            wrong_type(
                value,
                "a whole number",
                "write a whole number without unit or quotes, as `12`",
                found,
            );
        }
        read
    }
    fn numbers(&self) -> Vec<f64> {
        vec![f64::from(*self)]
    }
}

impl Field for String {
    fn noun() -> String {
        "text".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"string","minLength":1,"maxLength":200}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let text = text_of(value, "a text", "it in quotes", found)?;
        usable_text(text, &value.span(), found).then(|| text.to_owned())
    }
}

/// A longer text; line breaks count as spaces.
#[derive(Clone, Debug)]
pub(crate) struct Prose(pub(crate) String);

impl Field for Prose {
    fn noun() -> String {
        String::noun()
    }
    fn schema() -> String {
        r#"{"type":"string","minLength":1}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let text = text_of(value, "a text", "it in quotes", found)?;
        let words: Vec<&str> = text.split_whitespace().collect();
        if words.is_empty() || words.iter().any(|word| word.chars().any(is_unprintable)) {
            found.error(
                diagnostic::TEXT,
                &value.span(),
                "the text is empty or has control characters",
                "write a sentence",
            );
            return None;
        }
        Some(Self(words.join(" ")))
    }
}

fn usable_text(text: &str, span: &std::ops::Range<usize>, found: &mut Diagnostics) -> bool {
    let wrong = if text.trim().is_empty() {
        "the text is empty"
    } else if text.chars().count() > LONGEST_TEXT {
        "the text is longer than 200 characters"
    } else if text.chars().any(is_unprintable) {
        "the text has line breaks, control characters or marks that turn the direction of writing"
    } else {
        return true;
    };
    found.error(diagnostic::TEXT, span, wrong, "write one short line");
    false
}

impl<T: Field> Field for Vec<T> {
    fn noun() -> String {
        format!("list of: {}", T::noun())
    }
    fn schema() -> String {
        format!("{{\"type\":\"array\",\"items\":{}}}", T::schema())
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let list = list_of(value, "a list", "it in square brackets", found)?;
        if list.len() > MOST_TABLES {
            let message = format!("a list of {} is too long, at most {MOST_TABLES} are read", list.len());
            found.error(diagnostic::TOO_MANY, &value.span(), message, "shorten it, or check what wrote it");
            return None;
        }
        let read: Vec<Option<T>> = list.iter().map(|item| T::read(item, found)).collect();
        read.into_iter().collect()
    }
    fn numbers(&self) -> Vec<f64> {
        self.iter().flat_map(Field::numbers).collect()
    }
    fn number_in(text: &str) -> Option<f64> {
        T::number_in(text)
    }
    fn said(number: f64) -> String {
        T::said(number)
    }
    fn inside() -> Option<SectionDoc> {
        T::inside()
    }
}

impl<A: Field, B: Field> Field for (A, B) {
    fn noun() -> String {
        format!("pair of {} and {}", A::noun(), B::noun())
    }
    fn schema() -> String {
        format!(
            "{{\"type\":\"array\",\"prefixItems\":[{},{}],\"minItems\":2,\"maxItems\":2}}",
            A::schema(),
            B::schema()
        )
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let (first, second) = pair_of(value, "two values in square brackets", found)?;
        let pair = (A::read(first, found), B::read(second, found));
        Some((pair.0?, pair.1?))
    }
}

/// The name of a regional plan, such as `EU868`.
#[derive(Clone, Debug)]
pub(crate) struct RegionName(pub(crate) String);

impl Field for RegionName {
    fn noun() -> String {
        "name of a regional plan".to_owned()
    }
    fn schema() -> String {
        let names: Vec<String> = Region::names().into_iter().map(quoted).collect();
        format!("{{\"enum\":[{}]}}", names.join(","))
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let name = text_of(value, "a regional plan", "\"EU868\"", found)?;
        let names = Region::names();
        if names.contains(&name) {
            return Some(Self(name.to_owned()));
        }
        let list = format!("it is one of {}", names.join(", "));
        let help = diagnostic::nearest(name, names.iter().copied())
            .map_or(list.clone(), |near| format!("did you mean \"{near}\"? {list}"));
        let message = format!("there is no region `{}`", shortened(name));
        found.error(diagnostic::UNKNOWN_REGION, &value.span(), message, help);
        None
    }
}

/// A data rate, `DR0` to `DR15`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct DataRate(pub(crate) u8);

impl DataRate {
    fn parse(text: &str, span: &std::ops::Range<usize>, found: &mut Diagnostics) -> Option<Self> {
        let rate = text
            .strip_prefix("DR")
            .filter(|digits| digits.len() <= 2)
            .and_then(|digits| digits.parse().ok())
            .filter(|rate| *rate <= 15);
        if rate.is_none() {
            found.error(
                diagnostic::DATA_RATE,
                span,
                format!("`{}` is not a data rate", shortened(text)),
                "write \"DR0\" to \"DR15\"",
            );
        }
        rate.map(Self)
    }
}

impl Field for DataRate {
    fn noun() -> String {
        "data rate".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"string","pattern":"^DR([0-9]|1[0-5])$"}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        Self::parse(text_of(value, "a data rate", "\"DR3\"", found)?, &value.span(), found)
    }
}

/// Shares of the uplinks by data rate; together 1.
#[derive(Clone, Debug)]
pub(crate) struct DataRates(pub(crate) Vec<(u8, Share)>);

impl Field for DataRates {
    fn noun() -> String {
        "table of data rates and shares".to_owned()
    }
    fn schema() -> String {
        format!("{{\"type\":\"object\",\"additionalProperties\":{}}}", Share::schema())
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let table = as_table(value, "data_rates", found)?;
        let rows: Vec<Option<(u8, Share)>> = in_order(table)
            .into_iter()
            .map(|(key, share)| {
                let rate = DataRate::parse(key.get_ref(), &key.span(), found);
                let share = crate::section::read_field::<Share>(
                    key.get_ref(),
                    share,
                    Some(crate::section::rule::FRACTION),
                    found,
                );
                Some((rate?.0, share?.value))
            })
            .collect();
        let mut rows = rows.into_iter().collect::<Option<Vec<_>>>()?;
        rows.sort_by_key(|(rate, _)| *rate);
        let sum: f64 = rows.iter().map(|(_, share)| share.fraction()).sum();
        if (sum - 1.0).abs() > 1e-6 {
            let message = format!("the shares make {} together", Share::from_fraction(sum).text());
            found.error(
                diagnostic::DATA_RATE_SHARES,
                &value.span(),
                message,
                "write shares that make 100 % together",
            );
            return None;
        }
        Some(Self(rows))
    }
}

/// Tables under names of the person's choice, in the order of the file.
#[derive(Clone, Debug)]
pub(crate) struct Named<T>(pub(crate) Vec<(At<String>, T)>);

impl<T: Field + Section> Field for Named<T> {
    fn noun() -> String {
        "tables under names of your choice".to_owned()
    }
    fn schema() -> String {
        format!("{{\"type\":\"object\",\"additionalProperties\":{}}}", T::schema())
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let table = as_table(value, T::DOC.name, found)?;
        if table.len() > MOST_TABLES {
            let message = format!("{} tables are too many, at most {MOST_TABLES} are read", table.len());
            let help = "split the file, or check what wrote it";
            found.error(diagnostic::TOO_MANY, &value.span(), message, help);
            return None;
        }
        let rows: Vec<Option<_>> = in_order(table)
            .into_iter()
            .map(|(key, section)| {
                let usable = usable_text(key.get_ref(), &key.span(), found);
                let name = At { value: key.get_ref().to_string(), span: key.span() };
                T::read(section, found).filter(|_| usable).map(|section| (name, section))
            })
            .collect();
        rows.into_iter().collect::<Option<Vec<_>>>().map(Self)
    }
    fn inside() -> Option<SectionDoc> {
        T::inside()
    }
}
