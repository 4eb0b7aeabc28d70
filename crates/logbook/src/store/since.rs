//! What was kept after a frame, in the order of keeping, for those who follow the log.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension as _, params};
use serde_json::Value;

use super::StoreError;
use crate::received::Moment;

/// Readings that ride along lie at most so far before their frame (own choice; keeps the search to a stretch of the table).
const LONGEST_BEFORE: Moment = 7 * 24 * 3_600_000_000;

/// A frame as it was kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Its number: counts up in the order of keeping.
    pub seq: i64,
    /// When it arrived.
    pub arrived_at: Moment,
    /// When it was heard, as far as that is known.
    pub at: Moment,
    /// The word for what became of it.
    pub verdict: String,
    /// Why, where there is more to say.
    pub reason: Option<String>,
    /// Whose it is, where that is known: 16 hex digits.
    pub dev_eui: Option<String>,
    /// Its counter.
    pub fcnt: Option<u32>,
    /// Its port.
    pub port: Option<u8>,
    /// The way by which it came.
    pub source: String,
    /// Modulation and rate.
    pub data_rate: Option<String>,
    /// Received power of the best copy \[dBm\].
    pub rssi_dbm: Option<f64>,
    /// Signal to noise of the best copy \[dB\].
    pub snr_db: Option<f64>,
    /// What it says.
    pub readings: Vec<Said>,
}

/// What a frame says.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// When it was so.
    pub at: Moment,
    /// Message of the design.
    pub message: String,
    /// Name of the design.
    pub kind: String,
    /// Its values by column; null if absent.
    pub values: Vec<(String, Value)>,
    /// Columns whose value lay beyond the range, and on which side.
    pub marks: BTreeMap<String, String>,
    /// A newer one came before it.
    pub late: bool,
    /// It rode along with a later message, in place of one that was lost.
    pub rebuilt: bool,
}

/// When the oldest frame was heard; none of an empty log.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn begun(log: &Connection) -> Result<Option<Moment>, StoreError> {
    let sql = "SELECT at FROM frame WHERE clock_unsure IS NULL ORDER BY at LIMIT 1";
    Ok(log.query_row(sql, [], |row| row.get(0)).optional()?)
}

/// The number of the newest frame; 0 before the first.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn newest(log: &Connection) -> Result<i64, StoreError> {
    Ok(log.query_row("SELECT coalesce(max(id), 0) FROM frame", [], |row| row.get(0))?)
}

/// How many frames were kept after one.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn count(log: &Connection, seq: i64) -> Result<i64, StoreError> {
    Ok(log.prepare_cached("SELECT count(*) FROM frame WHERE id > ?")?.query_row([seq], |row| row.get(0))?)
}

/// What is remembered under a key.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn noted(log: &Connection, key: &str) -> Result<Option<String>, StoreError> {
    use rusqlite::OptionalExtension as _;
    let mut statement = log.prepare_cached("SELECT value FROM meta WHERE key = ?")?;
    Ok(statement.query_row([key], |row| row.get(0)).optional()?)
}

/// The first frames after one, with what they say.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn frames(log: &Connection, seq: i64, most: u32) -> Result<Vec<Row>, StoreError> {
    frames_of(log, seq, None, most)
}

/// The same of one verdict alone, if one is given.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn frames_of(
    log: &Connection,
    seq: i64,
    verdict: Option<&str>,
    most: u32,
) -> Result<Vec<Row>, StoreError> {
    let condition = "frame.id > ?1 AND (?3 IS NULL OR verdict = ?3) ORDER BY frame.id LIMIT ?2";
    selected(log, condition, params![seq, most, verdict])
}

/// The frames that a condition selects, with what they say.
pub(super) fn selected(
    log: &Connection,
    condition: &str,
    values: impl rusqlite::Params,
) -> Result<Vec<Row>, StoreError> {
    let mut statement = log.prepare_cached(&format!(
        "SELECT frame.id, frame.arrived_at, frame.at, verdict, reason, node.dev_eui, fcnt, port, frame.source, data_rate, \
         (SELECT max(rssi) FROM reception WHERE frame = frame.id), \
         (SELECT max(snr) FROM reception WHERE frame = frame.id), node.id \
         FROM frame LEFT JOIN session ON session.id = frame.session LEFT JOIN node ON node.id = session.node \
         WHERE {condition}"
    ))?;
    let found = statement.query_map(values, |row| Ok((frame(row)?, row.get::<_, Option<i64>>(12)?)))?;
    let found = found.collect::<Result<Vec<_>, _>>()?;
    let with_readings = found.into_iter().map(|(mut row, node)| {
        if let Some(node) = node.filter(|_| matches!(row.verdict.as_str(), "new" | "late")) {
            row.readings = readings(log, node, &row)?;
        }
        Ok(row)
    });
    with_readings.collect()
}

fn frame(row: &rusqlite::Row<'_>) -> Result<Row, rusqlite::Error> {
    Ok(Row {
        seq: row.get(0)?,
        arrived_at: row.get(1)?,
        at: row.get(2)?,
        verdict: row.get(3)?,
        reason: row.get(4)?,
        dev_eui: row.get(5)?,
        fcnt: row.get(6)?,
        port: row.get(7)?,
        source: row.get(8)?,
        data_rate: row.get(9)?,
        rssi_dbm: row.get(10)?,
        snr_db: row.get(11)?,
        readings: Vec::new(),
    })
}

fn readings(log: &Connection, node: i64, row: &Row) -> Result<Vec<Said>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT reading.at, message, edition.kind, vals, edition.fields, marks, late, rebuilt FROM reading \
         JOIN edition ON edition.id = reading.edition \
         WHERE node = ? AND reading.at BETWEEN ? AND ? AND frame = ? ORDER BY reading.at",
    )?;
    let around = (row.at - LONGEST_BEFORE, row.at.max(row.arrived_at));
    let mut found = statement.query(params![node, around.0, around.1, row.seq])?;
    let mut all = Vec::new();
    while let Some(row) = found.next()? {
        all.push(said(row)?);
    }
    Ok(all)
}

/// What a device said in a time [from, to), the oldest first.
pub(super) fn readings_between(
    log: &Connection,
    dev_eui: &str,
    from: Moment,
    to: Moment,
) -> Result<Vec<Said>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT reading.at, message, edition.kind, vals, edition.fields, marks, late, rebuilt FROM reading \
         JOIN edition ON edition.id = reading.edition WHERE node = (SELECT id FROM node WHERE dev_eui = ?) \
         AND reading.at >= ? AND reading.at < ? ORDER BY reading.at",
    )?;
    let mut found = statement.query(params![dev_eui, from, to])?;
    let mut all = Vec::new();
    while let Some(row) = found.next()? {
        all.push(said(row)?);
    }
    Ok(all)
}

fn said(row: &rusqlite::Row<'_>) -> Result<Said, StoreError> {
    let damaged = |error: serde_json::Error| StoreError::Damaged { why: format!("a reading: {error}") };
    let message: String = row.get(1)?;
    let values: Vec<Value> = serde_json::from_str(&row.get::<_, String>(3)?).map_err(damaged)?;
    let mut fields: BTreeMap<String, Vec<String>> =
        serde_json::from_str(&row.get::<_, String>(4)?).map_err(damaged)?;
    let names = fields.remove(&message).unwrap_or_default();
    if names.len() != values.len() {
        let why = format!("a reading of `{message}` has {} values for {} fields", values.len(), names.len());
        return Err(StoreError::Damaged { why });
    }
    let marks = row.get::<_, Option<String>>(5)?;
    let marks = marks.map(|text| serde_json::from_str(&text)).transpose().map_err(damaged)?;
    Ok(Said {
        at: row.get(0)?,
        message,
        kind: row.get(2)?,
        values: names.into_iter().zip(values).collect(),
        marks: marks.unwrap_or_default(),
        late: row.get(6)?,
        rebuilt: row.get(7)?,
    })
}
