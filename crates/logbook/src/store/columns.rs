//! A field over time in columns, each with its least, mean and greatest value: what a chart shows, however long.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, params};
use serde_json::Value;

use super::StoreError;
use super::hours::{HOUR, number};
use crate::received::Moment;

/// What a field was within a column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Column {
    /// Where it begins.
    pub from: Moment,
    /// Values in it, at least one.
    pub n: u32,
    /// Least of them.
    pub least: f64,
    /// Their mean.
    pub mean: f64,
    /// Greatest of them.
    pub greatest: f64,
    /// Those that lay beyond the range.
    pub beyond_range: u32,
}

/// Borders of columns: where the first begins, how wide each is, where the last ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Borders {
    /// Where the first begins.
    pub from: Moment,
    /// Where the last ends.
    pub to: Moment,
    /// Width of each \[us\].
    pub width: Moment,
}

impl Borders {
    /// At most so many columns over a time. From an hour on they are whole hours, and begin with one.
    pub fn new(from: Moment, to: Moment, columns: u32) -> Self {
        let columns = i64::from(columns.max(1));
        let span = (to - from).max(1);
        let width = (span + columns - 1) / columns;
        if width < HOUR {
            return Self { from, to: from + span, width };
        }
        let from = from.div_euclid(HOUR) * HOUR;
        let hours = (to - from + HOUR - 1) / HOUR;
        let width = (hours + columns - 1) / columns * HOUR;
        Self { from, to: from + (hours * HOUR + width - 1) / width * width, width }
    }

    fn start(self, at: Moment) -> Moment {
        self.from + (at - self.from).div_euclid(self.width) * self.width
    }
}

/// A field of a node's messages.
#[derive(Clone, Copy, Debug)]
pub struct Of<'a> {
    /// 16 hex digits.
    pub dev_eui: &'a str,
    /// Message of the design.
    pub message: &'a str,
    /// Column of the message.
    pub field: &'a str,
}

/// The columns in which there is a value: whole hours from the rows of hours, the rest from readings.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn columns(log: &Connection, of: Of<'_>, borders: Borders) -> Result<Vec<Column>, StoreError> {
    let mut found = Found { borders, columns: BTreeMap::new() };
    let readings = Readings::of(log, of)?;
    let Some(readings) = readings else { return Ok(Vec::new()) };
    if borders.width < HOUR {
        readings
            .each(log, borders.from, borders.to, |at, value, beyond| found.add(at, one(value, beyond)))?;
    } else {
        let stale = stale(log, readings.node, borders)?;
        hours(log, readings.node, of, borders, &stale, &mut found)?;
        for hour in stale {
            let from = hour * HOUR;
            readings.each(log, from, from + HOUR, |at, value, beyond| found.add(at, one(value, beyond)))?;
        }
    }
    Ok(found.columns.into_values().collect())
}

struct Found {
    borders: Borders,
    columns: BTreeMap<Moment, Column>,
}

impl Found {
    fn add(&mut self, at: Moment, more: Column) {
        let from = self.borders.start(at);
        let column = self.columns.entry(from).or_insert(Column { from, n: 0, ..more });
        let n = column.n + more.n;
        *column = Column {
            from,
            n,
            least: column.least.min(more.least),
            mean: column.mean + (more.mean - column.mean) * f64::from(more.n) / f64::from(n),
            greatest: column.greatest.max(more.greatest),
            beyond_range: if column.n == 0 { 0 } else { column.beyond_range } + more.beyond_range,
        };
    }
}

fn one(value: f64, beyond: bool) -> Column {
    Column { from: 0, n: 1, least: value, mean: value, greatest: value, beyond_range: beyond.into() }
}

/// Hours whose rows do not tell yet what came in.
fn stale(log: &Connection, node: i64, borders: Borders) -> Result<BTreeSet<i64>, StoreError> {
    let sql = "SELECT hour FROM stale_hour WHERE node = ? AND hour >= ? AND hour < ?";
    let mut statement = log.prepare_cached(sql)?;
    let found =
        statement.query_map(params![node, borders.from / HOUR, borders.to / HOUR], |row| row.get(0))?;
    Ok(found.collect::<Result<_, _>>()?)
}

fn hours(
    log: &Connection,
    node: i64,
    of: Of<'_>,
    borders: Borders,
    stale: &BTreeSet<i64>,
    found: &mut Found,
) -> Result<(), StoreError> {
    let sql = "SELECT hour, n, least, mean, greatest, marked FROM hour \
               WHERE node = ? AND message = ? AND field = ? AND hour >= ? AND hour < ? ORDER BY hour";
    let mut statement = log.prepare_cached(sql)?;
    let span = (borders.from / HOUR, borders.to / HOUR);
    let mut rows = statement.query(params![node, of.message, of.field, span.0, span.1])?;
    while let Some(row) = rows.next()? {
        let hour: i64 = row.get(0)?;
        if stale.contains(&hour) {
            continue;
        }
        let (n, beyond_range) = (row.get(1)?, row.get(5)?);
        let (least, mean, greatest) = (row.get(2)?, row.get(3)?, row.get(4)?);
        found.add(hour * HOUR, Column { from: 0, n, least, mean, greatest, beyond_range });
    }
    Ok(())
}

/// Readings of a message that have a field, and its place in each edition.
struct Readings<'a> {
    of: Of<'a>,
    node: i64,
    places: BTreeMap<i64, usize>,
}

impl<'a> Readings<'a> {
    fn of(log: &Connection, of: Of<'a>) -> Result<Option<Self>, StoreError> {
        use rusqlite::OptionalExtension as _;
        let node = log
            .query_row("SELECT id FROM node WHERE dev_eui = ?", [of.dev_eui], |row| row.get(0))
            .optional()?;
        let Some(node) = node else { return Ok(None) };
        let mut places = BTreeMap::new();
        let mut statement = log.prepare_cached("SELECT id, fields FROM edition")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let (edition, text): (i64, String) = (row.get(0)?, row.get(1)?);
            let damaged = |error| StoreError::Damaged { why: format!("edition {edition}: {error}") };
            let fields: BTreeMap<String, Vec<String>> = serde_json::from_str(&text).map_err(damaged)?;
            let columns = fields.get(of.message);
            let place = columns.and_then(|columns| columns.iter().position(|column| column == of.field));
            places.extend(place.map(|place| (edition, place)));
        }
        Ok(Some(Self { of, node, places }))
    }

    fn each(
        &self,
        log: &Connection,
        from: Moment,
        to: Moment,
        mut each: impl FnMut(Moment, f64, bool),
    ) -> Result<(), StoreError> {
        let sql = "SELECT at, edition, vals, marks FROM reading WHERE node = ? AND at >= ? AND at < ? AND message = ?";
        let mut statement = log.prepare_cached(sql)?;
        let mut rows = statement.query(params![self.node, from, to, self.of.message])?;
        let damaged = |error| StoreError::Damaged { why: format!("a reading: {error}") };
        while let Some(row) = rows.next()? {
            let Some(place) = self.places.get(&row.get(1)?) else { continue };
            let values: Vec<Value> = serde_json::from_str(&row.get::<_, String>(2)?).map_err(damaged)?;
            let Some(value) = values.get(*place).and_then(number) else { continue };
            let marks = row.get::<_, Option<String>>(3)?;
            let marks: Option<BTreeMap<String, String>> =
                marks.map(|text| serde_json::from_str(&text)).transpose().map_err(damaged)?;
            each(row.get(0)?, value, marks.is_some_and(|marks| marks.contains_key(self.of.field)));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand.
    #[test]
    fn columns_of_an_hour_and_more_are_whole_hours() {
        let minute = HOUR / 60;
        let short = Borders::new(7, 7 + HOUR, 60);
        assert_eq!(short, Borders { from: 7, to: 7 + HOUR, width: minute });
        // 10:30 to 20:10 in 5 columns: eleven hours from 10:00 on, three to a column, so that four columns end at 22:00.
        let long = Borders::new(10 * HOUR + 30 * minute, 20 * HOUR + 10 * minute, 5);
        assert_eq!(long, Borders { from: 10 * HOUR, to: 22 * HOUR, width: 3 * HOUR });
        let day = Borders::new(10 * HOUR, 34 * HOUR, 24);
        assert_eq!(day, Borders { from: 10 * HOUR, to: 34 * HOUR, width: HOUR });
        let nothing = Borders::new(5, 5, 1000);
        assert!(nothing.width >= 1 && nothing.to > nothing.from);
    }
}
