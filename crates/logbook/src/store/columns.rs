//! A field over time in columns, each with its least, mean and greatest value: what a chart shows, however long.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, OptionalExtension as _, params};
use serde_json::Value;

use super::StoreError;
use super::hours::{HOUR, number};
use crate::received::Moment;

/// Microseconds of a day.
const DAY: Moment = 24 * HOUR;

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
    /// At most so many columns over a time. From an hour on they are whole hours, and begin with one; from a day on whole
    /// days of universal time.
    pub fn new(from: Moment, to: Moment, columns: u32) -> Self {
        let columns = i64::from(columns.max(1));
        let span = (to - from).max(1);
        let width = (span + columns - 1) / columns;
        if width < HOUR {
            return Self { from, to: from + span, width };
        }
        let unit = if width < DAY { HOUR } else { DAY };
        let from = from.div_euclid(unit) * unit;
        let units = (to - from + unit - 1) / unit;
        let width = (units + columns - 1) / columns * unit;
        Self { from, to: from + (units * unit + width - 1) / width * width, width }
    }

    fn start(self, at: Moment) -> Moment {
        self.from + (at - self.from).div_euclid(self.width) * self.width
    }

    /// Whether each column is made of whole stretches of this length.
    fn are_whole(self, unit: Moment) -> bool {
        self.width % unit == 0 && self.from % unit == 0
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

/// The columns in which there is a value: whole days and hours from their rows, the rest from readings.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn columns(log: &Connection, of: Of<'_>, borders: Borders) -> Result<Vec<Column>, StoreError> {
    let found = columns_of(log, (of.dev_eui, of.message), &[of.field], borders)?;
    Ok(found.into_iter().flatten().collect())
}

/// The same of several fields of a message of a node, in their order; each reading is read once.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn columns_of(
    log: &Connection,
    (dev_eui, message): (&str, &str),
    fields: &[&str],
    borders: Borders,
) -> Result<Vec<Vec<Column>>, StoreError> {
    let mut found: Vec<Found> = fields.iter().map(|_| Found { borders, columns: BTreeMap::new() }).collect();
    let Some(node) = node(log, dev_eui)? else { return Ok(vec![Vec::new(); fields.len()]) };
    let readings = Readings::of(log, (node, message), fields)?;
    if borders.width < HOUR {
        readings.each(log, (borders.from, borders.to), &mut found)?;
    } else {
        let stale = stale(log, node, borders)?;
        for (field, found) in fields.iter().zip(&mut found) {
            summed(log, (node, message, field), borders, &stale, found)?;
        }
        for hour in stale {
            readings.each(log, (hour * HOUR, (hour + 1) * HOUR), &mut found)?;
        }
    }
    Ok(found.into_iter().map(|found| found.columns.into_values().collect()).collect())
}

/// When the oldest reading of a node was so.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn begun(log: &Connection, dev_eui: &str) -> Result<Option<Moment>, StoreError> {
    let Some(node) = node(log, dev_eui)? else { return Ok(None) };
    let mut statement = log.prepare_cached("SELECT min(at) FROM reading WHERE node = ?")?;
    Ok(statement.query_row([node], |row| row.get(0))?)
}

fn node(log: &Connection, dev_eui: &str) -> Result<Option<i64>, StoreError> {
    let mut statement = log.prepare_cached("SELECT id FROM node WHERE dev_eui = ?")?;
    Ok(statement.query_row([dev_eui], |row| row.get(0)).optional()?)
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

/// Rows of days where columns are made of days, and of hours where they are not or where an hour of the day is stale; of
/// stale hours none.
fn summed(
    log: &Connection,
    of: (i64, &str, &str),
    borders: Borders,
    stale: &BTreeSet<i64>,
    found: &mut Found,
) -> Result<(), StoreError> {
    let span = (borders.from, borders.to);
    if !borders.are_whole(DAY) {
        return rows(log, HOURS, of, (span, HOUR), stale, found);
    }
    let stale_days: BTreeSet<i64> = stale.iter().map(|hour| hour * HOUR / DAY).collect();
    rows(log, DAYS, of, (span, DAY), &stale_days, found)?;
    for day in stale_days {
        rows(log, HOURS, of, ((day * DAY, (day + 1) * DAY), HOUR), stale, found)?;
    }
    Ok(())
}

const HOURS: &str = "SELECT hour, n, least, mean, greatest, marked FROM hour \
                     WHERE node = ? AND message = ? AND field = ? AND hour >= ? AND hour < ? ORDER BY hour";
const DAYS: &str = "SELECT day, n, least, mean, greatest, marked FROM day \
                    WHERE node = ? AND message = ? AND field = ? AND day >= ? AND day < ? ORDER BY day";

/// Rows of a time [from, to), each so long, but for those that are to be left out.
fn rows(
    log: &Connection,
    sql: &str,
    (node, message, field): (i64, &str, &str),
    ((from, to), unit): ((Moment, Moment), Moment),
    without: &BTreeSet<i64>,
    found: &mut Found,
) -> Result<(), StoreError> {
    let mut statement = log.prepare_cached(sql)?;
    let mut rows = statement.query(params![node, message, field, from / unit, to / unit])?;
    while let Some(row) = rows.next()? {
        let place: i64 = row.get(0)?;
        if without.contains(&place) {
            continue;
        }
        let (n, beyond_range) = (row.get(1)?, row.get(5)?);
        let (least, mean, greatest) = (row.get(2)?, row.get(3)?, row.get(4)?);
        found.add(place * unit, Column { from: 0, n, least, mean, greatest, beyond_range });
    }
    Ok(())
}

/// Readings of a message of a node, and where each edition of the design has the fields that are asked for.
struct Readings<'a> {
    node: i64,
    message: &'a str,
    fields: &'a [&'a str],
    places: BTreeMap<i64, Vec<Option<usize>>>,
}

impl<'a> Readings<'a> {
    fn of(
        log: &Connection,
        (node, message): (i64, &'a str),
        fields: &'a [&'a str],
    ) -> Result<Self, StoreError> {
        let mut places = BTreeMap::new();
        let mut statement = log.prepare_cached("SELECT id, fields FROM edition")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let (edition, text): (i64, String) = (row.get(0)?, row.get(1)?);
            let damaged = |error| StoreError::Damaged { why: format!("edition {edition}: {error}") };
            let messages: BTreeMap<String, Vec<String>> = serde_json::from_str(&text).map_err(damaged)?;
            let Some(columns) = messages.get(message) else { continue };
            let place = |field: &&str| columns.iter().position(|column| column == field);
            places.insert(edition, fields.iter().map(place).collect());
        }
        Ok(Self { node, message, fields, places })
    }

    /// Adds each value of a time [from, to) to the columns of its field.
    fn each(
        &self,
        log: &Connection,
        (from, to): (Moment, Moment),
        found: &mut [Found],
    ) -> Result<(), StoreError> {
        let sql = "SELECT at, edition, vals, marks FROM reading WHERE node = ? AND at >= ? AND at < ? AND message = ?";
        let mut statement = log.prepare_cached(sql)?;
        let mut rows = statement.query(params![self.node, from, to, self.message])?;
        let damaged = |error| StoreError::Damaged { why: format!("a reading: {error}") };
        while let Some(row) = rows.next()? {
            let Some(places) = self.places.get(&row.get(1)?) else { continue };
            let at = row.get(0)?;
            let values: Vec<Value> =
                serde_json::from_str(row.get_ref(2)?.as_str().map_err(rusqlite::Error::from)?)
                    .map_err(damaged)?;
            let marks: BTreeMap<String, String> =
                match row.get_ref(3)?.as_str_or_null().map_err(rusqlite::Error::from)? {
                    Some(marks) => serde_json::from_str(marks).map_err(damaged)?,
                    None => BTreeMap::new(),
                };
            for ((place, field), found) in places.iter().zip(self.fields).zip(&mut *found) {
                let value = place.and_then(|place| values.get(place)).and_then(number);
                if let Some(value) = value {
                    found.add(at, one(value, marks.contains_key(*field)));
                }
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand.
    #[test]
    fn columns_of_an_hour_and_more_are_whole_hours_and_those_of_a_day_whole_days() {
        let minute = HOUR / 60;
        let short = Borders::new(7, 7 + HOUR, 60);
        assert_eq!(short, Borders { from: 7, to: 7 + HOUR, width: minute });
        // 10:30 to 20:10 in 5 columns: eleven hours from 10:00 on, three to a column, so that four columns end at 22:00.
        let long = Borders::new(10 * HOUR + 30 * minute, 20 * HOUR + 10 * minute, 5);
        assert_eq!(long, Borders { from: 10 * HOUR, to: 22 * HOUR, width: 3 * HOUR });
        let day = Borders::new(10 * HOUR, 34 * HOUR, 24);
        assert_eq!(day, Borders { from: 10 * HOUR, to: 34 * HOUR, width: HOUR });
        // From 5 o'clock of a day to noon of the sixth after it in 3 columns: seven days, three to a column.
        let week = Borders::new(DAY + 5 * HOUR, 7 * DAY + 12 * HOUR, 3);
        assert_eq!(week, Borders { from: DAY, to: 10 * DAY, width: 3 * DAY });
        let nothing = Borders::new(5, 5, 1000);
        assert!(nothing.width >= 1 && nothing.to > nothing.from);
    }
}
