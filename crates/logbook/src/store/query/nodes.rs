//! What the log knows of one node: when it was heard, how well, what it said.

use rusqlite::{Connection, OptionalExtension as _, params};

use super::super::StoreError;
use super::super::since::{Said, readings_between};
use crate::received::Moment;

/// Sessions of a device.
const SESSIONS: &str = "(SELECT id FROM session WHERE node = (SELECT id FROM node WHERE dev_eui = ?1))";

/// A frame that was believed.
#[derive(Clone, Debug, PartialEq)]
pub struct Signal {
    /// When it was heard.
    pub at: Moment,
    /// Modulation and rate.
    pub data_rate: Option<String>,
    /// Received power of the best copy \[dBm\].
    pub rssi_dbm: Option<f64>,
    /// Signal to noise of the best copy \[dB\].
    pub snr_db: Option<f64>,
}

/// What was done to a node.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Visit {
    /// When.
    pub at: Moment,
    /// By whom.
    pub by: String,
    /// What.
    pub what: String,
}

/// Least and greatest value of a field on a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Day {
    /// Days since 1970-01-01, UTC.
    pub day: i64,
    /// Least value.
    pub least: f64,
    /// Mean value.
    pub mean: f64,
    /// Greatest value.
    pub greatest: f64,
}

/// Frames of a device that were believed from a moment on, the oldest first; of a join as well.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn signals(log: &Connection, dev_eui: &str, from: Moment) -> Result<Vec<Signal>, StoreError> {
    let sql = format!(
        "{SIGNAL} frame.session IN {SESSIONS} AND frame.at >= ?2 AND verdict IN ('new', 'late', 'join') ORDER BY frame.at"
    );
    let mut statement = log.prepare_cached(&sql)?;
    let found = statement.query_map(params![dev_eui, from], signal)?;
    Ok(found.collect::<Result<_, _>>()?)
}

/// The newest frame of a device that was believed.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn last_signal(log: &Connection, dev_eui: &str) -> Result<Option<Signal>, StoreError> {
    let sql = format!(
        "{SIGNAL} frame.session IN {SESSIONS} AND verdict IN ('new', 'late', 'join') ORDER BY frame.at DESC LIMIT 1"
    );
    Ok(log.prepare_cached(&sql)?.query_row([dev_eui], signal).optional()?)
}

const SIGNAL: &str = "SELECT frame.at, data_rate, (SELECT max(rssi) FROM reception WHERE frame = frame.id), \
                      (SELECT max(snr) FROM reception WHERE frame = frame.id) FROM frame WHERE";

fn signal(row: &rusqlite::Row<'_>) -> Result<Signal, rusqlite::Error> {
    Ok(Signal { at: row.get(0)?, data_rate: row.get(1)?, rssi_dbm: row.get(2)?, snr_db: row.get(3)? })
}

/// When a device was heard first.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn first_heard(log: &Connection, dev_eui: &str) -> Result<Option<Moment>, StoreError> {
    let sql = format!(
        "SELECT min(frame.at) FROM frame WHERE frame.session IN {SESSIONS} AND verdict IN ('new', 'late', 'join')"
    );
    Ok(log.prepare_cached(&sql)?.query_row([dev_eui], |row| row.get(0))?)
}

/// Frames of a device that were kept from a moment on, and those lost between them by their counters.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn losses(log: &Connection, dev_eui: &str, from: Moment) -> Result<(u32, u32), StoreError> {
    let sql = format!(
        "SELECT count(*), count(DISTINCT fcnt), max(fcnt) - min(fcnt) + 1 FROM frame WHERE session IN {SESSIONS} \
         AND at >= ?2 AND verdict IN ('new', 'late') AND fcnt IS NOT NULL GROUP BY session"
    );
    let mut statement = log.prepare_cached(&sql)?;
    let mut found = statement.query(params![dev_eui, from])?;
    let (mut kept, mut lost) = (0_u32, 0_u32);
    while let Some(row) = found.next()? {
        let (count, distinct, span): (u32, u32, u32) = (row.get(0)?, row.get(1)?, row.get(2)?);
        kept += count;
        lost = lost.saturating_add(span.saturating_sub(distinct));
    }
    Ok((kept, lost))
}

/// What a device said in a time [from, to), the oldest first.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn said(log: &Connection, dev_eui: &str, from: Moment, to: Moment) -> Result<Vec<Said>, StoreError> {
    readings_between(log, dev_eui, from, to)
}

/// A field of a device by day, the oldest first, from a day on.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn days(
    log: &Connection,
    dev_eui: &str,
    series: (&str, &str),
    from: i64,
) -> Result<Vec<Day>, StoreError> {
    let sql = "SELECT day, least, mean, greatest FROM day WHERE node = (SELECT id FROM node WHERE dev_eui = ?1) \
               AND message = ?2 AND field = ?3 AND day >= ?4 AND least IS NOT NULL ORDER BY day";
    let mut statement = log.prepare_cached(sql)?;
    let found = statement.query_map(params![dev_eui, series.0, series.1, from], |row| {
        Ok(Day { day: row.get(0)?, least: row.get(1)?, mean: row.get(2)?, greatest: row.get(3)? })
    })?;
    Ok(found.collect::<Result<_, _>>()?)
}

/// The greatest value of a field on each of the first days after one (since 1970, UTC), in whichever message it came: so many.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn greatest_by_day(
    log: &Connection,
    dev_eui: &str,
    field: &str,
    (after, days): (i64, usize),
) -> Result<Vec<f64>, StoreError> {
    let sql = "SELECT max(greatest) FROM day WHERE node = (SELECT id FROM node WHERE dev_eui = ?1) AND field = ?2 \
               AND day > ?3 AND greatest IS NOT NULL GROUP BY day ORDER BY day LIMIT ?4";
    let most = i64::try_from(days).unwrap_or(i64::MAX);
    let mut statement = log.prepare_cached(sql)?;
    let found = statement.query_map(params![dev_eui, field, after, most], |row| row.get(0))?;
    Ok(found.collect::<Result<_, _>>()?)
}

/// What was done to a device, the newest first.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn visits(log: &Connection, dev_eui: &str) -> Result<Vec<Visit>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT at, \"by\", what FROM visit WHERE node = (SELECT id FROM node WHERE dev_eui = ?) ORDER BY at DESC LIMIT 50",
    )?;
    let found = statement
        .query_map([dev_eui], |row| Ok(Visit { at: row.get(0)?, by: row.get(1)?, what: row.get(2)? }))?;
    Ok(found.collect::<Result<_, _>>()?)
}
