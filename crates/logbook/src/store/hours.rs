//! Rows of hours and days, made from readings after those are kept.
//!
//! An hour is stale when a reading of it was written; [`work_off`] makes stale hours anew, and the days that they belong to.
//! What it writes follows from the readings alone, so that it can be done twice, and a restart finishes what is left.

use std::collections::{BTreeMap, BTreeSet};
use std::time::{Duration, Instant};

use rusqlite::{Connection, params};
use serde_json::Value;

use super::StoreError;
use super::rows::Id;
use crate::received::Moment;

/// Microseconds of an hour.
pub(super) const HOUR: Moment = 3_600_000_000;
/// Hours of a day; both count from 1970-01-01 UTC.
const HOURS_OF_DAY: i64 = 24;

/// Message and field.
type Series = (String, String);

/// What an hour or a day of a field comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Summary {
    /// Values that are there, at least one.
    n: u32,
    least: f64,
    mean: f64,
    greatest: f64,
    /// Those that lay beyond the range.
    marked: u32,
}

impl Summary {
    /// Of both together.
    fn and(self, other: Self) -> Self {
        let n = self.n + other.n;
        Self {
            n,
            least: self.least.min(other.least),
            mean: self.mean + (other.mean - self.mean) * f64::from(other.n) / f64::from(n),
            greatest: self.greatest.max(other.greatest),
            marked: self.marked + other.marked,
        }
    }

    /// Of one value.
    fn of(value: f64, is_marked: bool) -> Self {
        Self { n: 1, least: value, mean: value, greatest: value, marked: is_marked.into() }
    }
}

/// Numbers, and flags as 0 and 1; words have no mean.
pub(super) fn number(value: &Value) -> Option<f64> {
    value.as_f64().or_else(|| value.as_bool().map(f64::from))
}

/// Makes stale hours anew until the time is over; which nodes it was for, and whether some are left.
///
/// # Errors
/// [`StoreError`]; what was begun is to be rolled back.
pub(super) fn work_off(log: &Connection, time: Duration) -> Result<(Vec<Id>, bool), StoreError> {
    let begun = Instant::now();
    let series = series(log)?;
    let mut nodes = Vec::new();
    while begun.elapsed() < time {
        let oldest = log
            .prepare_cached("SELECT node, hour FROM stale_hour ORDER BY node, hour LIMIT 1")?
            .query_row([], |row| Ok((row.get(0)?, row.get(1)?)));
        let (node, hour): (Id, i64) = match oldest {
            Err(rusqlite::Error::QueryReturnedNoRows) => return Ok((nodes, false)),
            found => found?,
        };
        make(log, &series, node, hour)?;
        log.prepare_cached("DELETE FROM stale_hour WHERE node = ? AND hour = ?")?.execute((node, hour))?;
        nodes.push(node);
    }
    Ok((nodes, true))
}

/// Columns of each message, by edition.
#[derive(Default)]
struct Known {
    fields: BTreeMap<Id, BTreeMap<String, Vec<String>>>,
    all: BTreeSet<Series>,
}

fn series(log: &Connection) -> Result<Known, StoreError> {
    let mut known = Known::default();
    let mut statement = log.prepare_cached("SELECT id, fields FROM edition")?;
    let mut found = statement.query([])?;
    while let Some(row) = found.next()? {
        let (edition, text): (Id, String) = (row.get(0)?, row.get(1)?);
        let damaged = |error| StoreError::Damaged { why: format!("edition {edition}: {error}") };
        let fields: BTreeMap<String, Vec<String>> = serde_json::from_str(&text).map_err(damaged)?;
        for (message, columns) in &fields {
            known.all.extend(columns.iter().map(|column| (message.clone(), column.clone())));
        }
        known.fields.insert(edition, fields);
    }
    Ok(known)
}

fn make(log: &Connection, known: &Known, node: Id, hour: i64) -> Result<(), StoreError> {
    let made = of_readings(log, known, node, hour)?;
    let day = hour.div_euclid(HOURS_OF_DAY);
    for (message, field) in &known.all {
        match made.get(&(message, field)) {
            Some(summary) => put(log, HOUR_ROW, node, (message, field), hour, *summary)?,
            None => {
                log.prepare_cached(
                    "DELETE FROM hour WHERE node = ? AND message = ? AND field = ? AND hour = ?",
                )?
                .execute(params![node, message, field, hour])?;
            }
        }
        match of_hours(log, node, (message, field), day)? {
            Some(summary) => put(log, DAY_ROW, node, (message, field), day, summary)?,
            None => {
                log.prepare_cached(
                    "DELETE FROM day WHERE node = ? AND message = ? AND field = ? AND day = ?",
                )?
                .execute(params![node, message, field, day])?;
            }
        }
    }
    Ok(())
}

const HOUR_ROW: &str = "INSERT OR REPLACE INTO hour (node, message, field, hour, n, least, mean, greatest, marked) \
                        VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)";
const DAY_ROW: &str = "INSERT OR REPLACE INTO day (node, message, field, day, n, least, mean, greatest, marked) \
                       VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)";

fn put(
    log: &Connection,
    sql: &str,
    node: Id,
    (message, field): (&str, &str),
    time: i64,
    of: Summary,
) -> Result<(), StoreError> {
    let Summary { n, least, mean, greatest, marked } = of;
    log.prepare_cached(sql)?
        .execute(params![node, message, field, time, n, least, mean, greatest, marked])?;
    Ok(())
}

fn of_readings<'k>(
    log: &Connection,
    known: &'k Known,
    node: Id,
    hour: i64,
) -> Result<BTreeMap<(&'k String, &'k String), Summary>, StoreError> {
    let mut made: BTreeMap<(&String, &String), Summary> = BTreeMap::new();
    let mut statement = log.prepare_cached(
        "SELECT message, edition, vals, marks FROM reading WHERE node = ? AND at >= ? AND at < ? ORDER BY at",
    )?;
    let mut found = statement.query((node, hour * HOUR, (hour + 1) * HOUR))?;
    while let Some(row) = found.next()? {
        let damaged = |error| StoreError::Damaged { why: format!("a reading of hour {hour}: {error}") };
        let text = row.get_ref(0)?.as_str().map_err(rusqlite::Error::from)?;
        let fields = known.fields.get(&row.get(1)?).and_then(|messages| messages.get_key_value(text));
        let (message, columns) = fields
            .ok_or_else(|| StoreError::Damaged { why: format!("no edition has the message `{text}`") })?;
        let values: Vec<Value> =
            serde_json::from_str(row.get_ref(2)?.as_str().map_err(rusqlite::Error::from)?)
                .map_err(damaged)?;
        let marks: BTreeMap<String, String> =
            match row.get_ref(3)?.as_str_or_null().map_err(rusqlite::Error::from)? {
                Some(marks) => serde_json::from_str(marks).map_err(damaged)?,
                None => BTreeMap::new(),
            };
        for (column, value) in columns.iter().zip(&values) {
            let Some(value) = number(value) else { continue };
            let one = Summary::of(value, marks.contains_key(column));
            made.entry((message, column)).and_modify(|all| *all = all.and(one)).or_insert(one);
        }
    }
    Ok(made)
}

fn of_hours(
    log: &Connection,
    node: Id,
    (message, field): (&str, &str),
    day: i64,
) -> Result<Option<Summary>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT n, least, mean, greatest, marked FROM hour WHERE node = ? AND message = ? AND field = ? \
         AND hour >= ? AND hour < ? ORDER BY hour",
    )?;
    let mut found =
        statement.query(params![node, message, field, day * HOURS_OF_DAY, (day + 1) * HOURS_OF_DAY])?;
    let mut all: Option<Summary> = None;
    while let Some(row) = found.next()? {
        let hour = Summary {
            n: row.get(0)?,
            least: row.get(1)?,
            mean: row.get(2)?,
            greatest: row.get(3)?,
            marked: row.get(4)?,
        };
        all = Some(all.map_or(hour, |all| all.and(hour)));
    }
    Ok(all)
}
