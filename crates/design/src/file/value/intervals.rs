//! Intervals: one, and tables of them by charge and by month.

use super::Monthly;
use crate::diagnostic::{self, Diagnostics};
use crate::quantity::{Duration, Quantity as _, Share};
use crate::schedule::Months;
use crate::section::Field;
use crate::section::rule::INTERVAL;
use toml::Spanned;
use toml::de::DeValue;

/// An interval, or never.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Interval(Option<Duration>);

impl Field for Interval {
    fn noun() -> String {
        "interval, as `\"10 min\"`, or `\"never\"`".to_owned()
    }
    fn schema() -> String {
        format!("{{\"anyOf\":[{},{{\"const\":\"never\"}}]}}", Duration::schema())
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        if value.get_ref().as_str() == Some("never") {
            return Some(Self(None));
        }
        crate::section::read_field::<Duration>("interval", value, Some(INTERVAL), found)
            .map(|interval| Self(Some(interval.value)))
    }
}

/// What is wrong with a table, and what to write instead.
type Wrong = (String, String);

/// Rows of charge and interval, the charge descending strictly to 0 %.
#[derive(Clone, Debug)]
pub(crate) struct IntervalRows(pub(crate) Vec<(Share, Option<Duration>)>);

impl Field for IntervalRows {
    fn noun() -> String {
        "list of pairs [state of charge, interval or `\"never\"`], descending".to_owned()
    }
    fn schema() -> String {
        <Vec<(Share, Interval)>>::schema()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let rows = <Vec<(Share, Interval)>>::read(value, found)?;
        let rows = Self(rows.into_iter().map(|(charge, interval)| (charge, interval.0)).collect());
        let wrong = rows.wrong();
        note(wrong, value, found).then_some(rows)
    }
    fn numbers(&self) -> Vec<f64> {
        self.0.iter().filter_map(|(_, every)| every.map(Duration::seconds)).collect()
    }
}

impl IntervalRows {
    /// What is wrong with it: the charge must descend from 100 % or less to 0 %.
    pub(crate) fn wrong(&self) -> Option<Wrong> {
        let charges: Vec<Share> = self.0.iter().map(|(charge, _)| *charge).collect();
        (!descends(&charges)).then(|| {
            let help = "write [[\"50 %\", \"10 min\"], [\"0 %\", \"1 h\"]]: highest charge first, the last row from \"0 %\"";
            (NOT_DESCENDING.to_owned(), help.to_owned())
        })
    }
}

/// Rows of charge and the intervals of twelve months.
#[derive(Clone, Debug)]
pub(crate) struct MonthRows(pub(crate) Vec<(Share, Months)>);

impl Field for MonthRows {
    fn noun() -> String {
        "list of pairs [state of charge, list of twelve intervals or `\"never\"`], descending".to_owned()
    }
    fn schema() -> String {
        <Vec<(Share, Monthly<Interval>)>>::schema()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let rows = <Vec<(Share, Monthly<Interval>)>>::read(value, found)?;
        let months = |intervals: Monthly<Interval>| intervals.0.map(|interval| interval.0);
        let rows = Self(rows.into_iter().map(|(charge, intervals)| (charge, months(intervals))).collect());
        let wrong = rows.wrong();
        note(wrong, value, found).then_some(rows)
    }
    fn numbers(&self) -> Vec<f64> {
        self.0.iter().flat_map(|(_, months)| months.iter().flatten().map(|every| every.seconds())).collect()
    }
}

impl MonthRows {
    /// What is wrong with it: the charge must descend to 0 %, and no interval be shorter than the one above it.
    pub(crate) fn wrong(&self) -> Option<Wrong> {
        let charges: Vec<Share> = self.0.iter().map(|(charge, _)| *charge).collect();
        if !descends(&charges) {
            let help = "write a row as [\"50 %\", [\"10 min\", ...]] with twelve intervals, highest charge first, the last row from \"0 %\"";
            return Some((NOT_DESCENDING.to_owned(), help.to_owned()));
        }
        let faster = self.0.windows(2).find_map(|rows| {
            let (above, below) = (&rows[0], &rows[1]);
            let month = above.1.iter().zip(&below.1).position(|(above, below)| shorter(*below, *above))?;
            Some((below.0, month + 1, above.1[month], below.1[month]))
        });
        faster.map(|(charge, month, above, below)| {
            let text = |every: Option<Duration>| every.map_or("never".to_owned(), Duration::text);
            let message = format!(
                "in month {month} it is {} from {} %, more often than {} above",
                text(below),
                charge.percent(),
                text(above)
            );
            (
                message,
                format!("write {} or longer there, or a shorter interval in the row above", text(above)),
            )
        })
    }
}

const NOT_DESCENDING: &str = "the rows do not descend to 0 %";

fn descends(charges: &[Share]) -> bool {
    charges.windows(2).all(|two| two[0] > two[1])
        && charges.first().is_some_and(|first| first.fraction() <= 1.0)
        && charges.last().is_some_and(|last| *last == Share::ZERO)
}

/// Whether one interval is shorter than another; never is longest.
fn shorter(one: Option<Duration>, other: Option<Duration>) -> bool {
    match (one, other) {
        (Some(one), Some(other)) => one < other,
        (one, other) => one.is_some() && other.is_none(),
    }
}

/// Whether nothing is wrong; else it is noted.
fn note(wrong: Option<Wrong>, value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> bool {
    let sound = wrong.is_none();
    if let Some((message, help)) = wrong {
        found.error(diagnostic::INTERVAL_ROWS, &value.span(), message, help);
    }
    sound
}
