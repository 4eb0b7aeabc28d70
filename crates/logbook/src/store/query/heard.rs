//! Frames and messages, the newest first, and how many there are.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension as _, params};

use super::super::StoreError;
use super::super::since::{self, Row};
use crate::received::Moment;

/// Which frames are wanted; each `None` leaves a choice open.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wanted<'a> {
    /// Those with a smaller number.
    pub before: Option<i64>,
    /// Those whose verdict begins so.
    pub verdict: Option<&'a str>,
    /// Those of one device: 16 hex digits.
    pub dev_eui: Option<&'a str>,
}

/// The newest frames that are wanted, the newest first, with what they say.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn newest(log: &Connection, wanted: &Wanted<'_>, most: u32) -> Result<Vec<Row>, StoreError> {
    let before = wanted.before.unwrap_or(i64::MAX);
    let beginning = wanted.verdict.unwrap_or_default();
    match wanted.dev_eui {
        Some(dev_eui) => since::selected(
            log,
            "frame.session IN (SELECT id FROM session WHERE node = (SELECT id FROM node WHERE dev_eui = ?1)) \
             AND frame.id < ?2 AND substr(verdict, 1, length(?3)) = ?3 ORDER BY frame.at DESC, frame.id DESC LIMIT ?4",
            params![dev_eui, before, beginning, most],
        ),
        None => since::selected(
            log,
            "frame.id < ?1 AND substr(verdict, 1, length(?2)) = ?2 ORDER BY frame.id DESC LIMIT ?3",
            params![before, beginning, most],
        ),
    }
}

/// How many frames came from a moment on, by way and verdict.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn arrived(log: &Connection, from: Moment) -> Result<Vec<(String, String, u32)>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT source, verdict, count(*) FROM frame WHERE at >= ? GROUP BY source, verdict ORDER BY source, verdict",
    )?;
    let found = statement.query_map([from], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
    Ok(found.collect::<Result<_, _>>()?)
}

/// How many frames came from a moment on, by verdict.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn counted(log: &Connection, from: Moment) -> Result<BTreeMap<String, u32>, StoreError> {
    let mut statement =
        log.prepare_cached("SELECT verdict, count(*) FROM frame WHERE at >= ? GROUP BY verdict")?;
    let found = statement.query_map([from], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(found.collect::<Result<_, _>>()?)
}

/// How many frames and messages the log holds.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn all(log: &Connection) -> Result<u32, StoreError> {
    Ok(log.query_row("SELECT count(*) FROM frame", [], |row| row.get(0))?)
}

/// Gateways that heard a frame, by identity or name, best signal first.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn heard_by(log: &Connection, frame: i64) -> Result<Vec<String>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT coalesce(gateway.name, gateway.eui) FROM reception JOIN gateway ON gateway.id = reception.gateway \
         WHERE frame = ? GROUP BY gateway.id ORDER BY max(snr) DESC, gateway.id",
    )?;
    let found = statement.query_map([frame], |row| row.get(0))?;
    Ok(found.collect::<Result<_, _>>()?)
}

/// The bytes of a frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Raw {
    /// As it travelled; of a message of another network the whole message.
    pub bytes: Vec<u8>,
    /// What it carries, in the clear.
    pub payload: Option<Vec<u8>>,
    /// Name of the design of its node by the newest reading of it.
    pub kind: Option<String>,
}

/// A frame and its bytes; `None` if there is no such frame.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn one(log: &Connection, seq: i64) -> Result<Option<(Row, Raw)>, StoreError> {
    let Some(row) = since::selected(log, "frame.id = ?", [seq])?.pop() else { return Ok(None) };
    let bytes = log
        .query_row("SELECT bytes, payload FROM frame WHERE id = ?", [seq], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .optional()?;
    let kind = row.readings.first().map(|said| said.kind.clone());
    Ok(bytes.map(|(bytes, payload)| (row, Raw { bytes, payload, kind })))
}
