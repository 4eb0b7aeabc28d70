//! Days, months and hours.

use super::text_of;
use crate::diagnostic::{self, Diagnostics};
use crate::quantity::shortened;
use crate::section::Field;
use toml::Spanned;
use toml::de::DeValue;

/// Days in each month, 29 in February.
const MONTH_DAYS: [u8; 12] = [31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

/// A day of the year.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Date {
    pub(crate) month: u8,
    pub(crate) day: u8,
}

impl Date {
    fn parse(text: &str) -> Option<Self> {
        let (month, day) = text.split_once('-').filter(|(month, day)| month.len() == 2 && day.len() == 2)?;
        let two_digits = |text: &str| {
            text.bytes().all(|byte| byte.is_ascii_digit()).then(|| text.parse::<u8>().ok()).flatten()
        };
        let (month, day) = (two_digits(month)?, two_digits(day)?);
        let days = *MONTH_DAYS.get(usize::from(month).checked_sub(1)?)?;
        (1..=days).contains(&day).then_some(Self { month, day })
    }

    /// Days since 1 January of a leap year.
    pub(crate) fn day_of_leap_year(self) -> usize {
        MONTH_DAYS.iter().take(usize::from(self.month) - 1).map(|days| usize::from(*days)).sum::<usize>()
            + usize::from(self.day)
            - 1
    }
}

impl Field for Date {
    fn noun() -> String {
        "day of the year, month first".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"string","pattern":"^(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let text = text_of(value, "a day of the year", "\"MM-DD\", as \"10-15\" for 15 October", found)?;
        let date = Self::parse(text);
        if date.is_none() {
            let message = format!("`{}` is not a day of the year", shortened(text));
            found.error(
                diagnostic::DATE,
                &value.span(),
                message,
                "write month and day as \"MM-DD\", as \"10-15\" for 15 October",
            );
        }
        date
    }
}

/// A month, 1 to 12.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Month(pub(crate) u8);

impl Field for Month {
    fn noun() -> String {
        "month, 1 to 12".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"integer","minimum":1,"maximum":12}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let number = u32::read(value, found)?;
        let month = u8::try_from(number).ok().filter(|month| (1..=12).contains(month));
        if month.is_none() {
            found.error(
                diagnostic::MONTH,
                &value.span(),
                format!("there is no month {number}"),
                "write months as numbers from 1 to 12",
            );
        }
        month.map(Self)
    }
}

/// Months of the year, each named once.
#[derive(Clone, Debug)]
pub(crate) struct Months(pub(crate) Vec<u8>);

impl Months {
    /// Which months are named, January first.
    pub(crate) fn by_month(&self) -> [bool; 12] {
        std::array::from_fn(|index| self.0.iter().any(|month| usize::from(*month) == index + 1))
    }
}

impl Field for Months {
    fn noun() -> String {
        <Vec<Month>>::noun()
    }
    fn schema() -> String {
        <Vec<Month>>::schema()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let months: Vec<u8> = <Vec<Month>>::read(value, found)?.into_iter().map(|month| month.0).collect();
        let twice = months.iter().enumerate().find(|(index, month)| months[..*index].contains(month));
        let message = match twice {
            Some((_, month)) => format!("month {month} stands twice in the list"),
            None if months.is_empty() => "the list names no month".to_owned(),
            None => return Some(Self(months)),
        };
        let help = "write each month once, as [5, 6, 7]; leave the key out for the whole year";
        found.error(diagnostic::MONTH, &value.span(), message, help);
        None
    }
}

/// Hours of a day, the last not included.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Hours(pub(crate) u8, pub(crate) u8);

impl Field for Hours {
    fn noun() -> String {
        "pair [from, to] of hours, 0 to 24".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"array","items":{"type":"integer","minimum":0,"maximum":24},"minItems":2,"maxItems":2}"#
            .to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let (from, to) = <(u32, u32)>::read(value, found)?;
        match (u8::try_from(from), u8::try_from(to)) {
            (Ok(from), Ok(to)) if from < 24 && to <= 24 && from != to => Some(Self(from, to)),
            _ => {
                let help =
                    "write [6, 18] for six in the morning to six in the evening, [22, 4] over midnight";
                found.error(
                    diagnostic::HOURS,
                    &value.span(),
                    format!("[{from}, {to}] are not hours of a day"),
                    help,
                );
                None
            }
        }
    }
}

/// A figure for each month, January first.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Monthly<T>(pub(crate) [T; 12]);

impl<T: Field + Copy> Field for Monthly<T> {
    fn noun() -> String {
        format!("list of twelve, each {}", T::noun())
    }
    fn schema() -> String {
        format!(r#"{{"type":"array","items":{},"minItems":12,"maxItems":12}}"#, T::schema())
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let figures = <Vec<T>>::read(value, found)?;
        let count = figures.len();
        let months = <[T; 12]>::try_from(figures).ok();
        if months.is_none() {
            let message = format!("{count} figures do not make a year of months");
            found.error(diagnostic::MONTHLY, &value.span(), message, "write twelve, January first");
        }
        months.map(Self)
    }
    fn numbers(&self) -> Vec<f64> {
        self.0.iter().flat_map(Field::numbers).collect()
    }
    fn number_in(text: &str) -> Option<f64> {
        T::number_in(text)
    }
    fn said(number: f64) -> String {
        T::said(number)
    }
}

/// Days of snow by month.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SnowDays(pub(crate) [f64; 12]);

impl Field for SnowDays {
    fn noun() -> String {
        "list of twelve numbers".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"array","items":{"type":"number","minimum":0,"maximum":31},"minItems":12,"maxItems":12}"#
            .to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let days = <Vec<f64>>::read(value, found)?;
        let in_month = |(days, most): (&f64, &u8)| (0.0..=f64::from(*most)).contains(days);
        match <[f64; 12]>::try_from(days) {
            Ok(days) if days.iter().zip(&MONTH_DAYS).all(in_month) => Some(Self(days)),
            _ => {
                let help = "write twelve numbers, January first, none above the days of its month";
                found.error(
                    diagnostic::SNOW_DAYS,
                    &value.span(),
                    "the days of snow do not fit the months",
                    help,
                );
                None
            }
        }
    }
}
