//! History is read anew: when a design has changed, or when a person asks for it.
//!
//! Frames are read in stretches, each in one transaction that also notes how far it has come, so that a restart goes on from
//! there. A frame that the design of today can't read keeps the reading that an earlier edition made of it.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, OptionalExtension as _, params};
use serde::{Deserialize, Serialize};
use wire::identity::DevEui;

use super::StoreError;
use super::hours::HOUR;
use super::keeper::Keeper;
use super::rows::Id;
use super::sheet::Sheet;
use crate::received::Moment;

/// Frames that are read anew in one transaction.
const AT_ONCE: u32 = 10_000;

/// Where the progress for a kind stands.
fn key(kind: &str) -> String {
    format!("again:{kind}")
}

/// How far the history of a kind has been read anew.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Again {
    /// The kind.
    pub kind: String,
    /// The newest frame that was looked at.
    pub frame: Id,
    /// The newest frame when it began.
    pub last: Id,
    /// How long before its frame a reading may lie that rode along \[us\].
    pub span: Moment,
    /// Frames of the kind that were read.
    pub frames: usize,
    /// Readings of them before.
    pub before: usize,
    /// Readings of them now.
    pub after: usize,
    /// Frames that the design of today can't read.
    pub unreadable: usize,
}

impl Again {
    /// Whether all is read.
    pub const fn is_done(&self) -> bool {
        self.frame >= self.last
    }
}

/// Asks that the history of a kind be read anew, from a moment on.
///
/// # Errors
/// [`StoreError`]; nothing is asked then.
pub(super) fn ask(log: &Connection, kind: &str, since: Option<Moment>) -> Result<(), StoreError> {
    let last: Id = log.query_row("SELECT coalesce(max(id), 0) FROM frame", [], |row| row.get(0))?;
    let first: Option<Id> = match since {
        Some(since) => log
            .query_row("SELECT min(id) FROM frame WHERE at >= ?", [since], |row| row.get(0))
            .optional()?
            .flatten(),
        None => Some(0),
    };
    let span = "SELECT coalesce(max(frame.at - reading.at), 0) FROM reading JOIN frame ON frame.id = reading.frame \
                WHERE rebuilt";
    let again = Again {
        kind: kind.to_owned(),
        frame: first.map_or(last, |first| (first - 1).max(0)),
        last,
        span: log.query_row(span, [], |row| row.get(0))?,
        frames: 0,
        before: 0,
        after: 0,
        unreadable: 0,
    };
    note(log, &again)
}

fn note(log: &Connection, again: &Again) -> Result<(), StoreError> {
    let text = serde_json::to_string(again).map_err(|error| StoreError::Row { why: error.to_string() })?;
    log.prepare_cached("INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)")?
        .execute((key(&again.kind), text))?;
    Ok(())
}

/// What is not read anew yet, one at a time.
pub(super) fn next(log: &Connection) -> Result<Option<Again>, StoreError> {
    let found: Option<String> = log
        .prepare_cached(
            "SELECT value FROM meta WHERE key >= 'again:' AND key < 'again;' ORDER BY key LIMIT 1",
        )?
        .query_row([], |row| row.get(0))
        .optional()?;
    let damaged = |error| StoreError::Damaged { why: format!("what is to be decoded again: {error}") };
    found.map(|text| serde_json::from_str(&text).map_err(damaged)).transpose()
}

/// A frame of the past.
struct Past {
    id: Id,
    at: Moment,
    node: Id,
    dev_eui: DevEui,
    session: Id,
    fcnt: Option<u32>,
    late: bool,
    /// None of values that were decoded already.
    port: Option<u8>,
    /// None of a frame that carries nothing.
    payload: Option<Vec<u8>>,
    /// The message of which an earlier edition has read it, if one has.
    message: Option<String>,
}

/// Reads the next stretch anew; what is done is noted in the same transaction, and at the end a deed says what came of it.
pub(super) fn stretch(
    keeper: &Keeper,
    log: &Connection,
    mut again: Again,
    now: Moment,
) -> Result<Again, StoreError> {
    let mut sheet = Sheet::default();
    let mut stale: BTreeSet<(Id, i64)> = BTreeSet::new();
    let mut counters = BTreeMap::new();
    let until = (again.frame + Id::from(AT_ONCE)).min(again.last);
    for past in frames(log, again.frame, until)? {
        let lost = lost(log, &mut counters, &past)?;
        let Some(payload) = past.payload.as_deref().filter(|_| past.port != Some(0)) else { continue };
        if keeper.kind_at(past.dev_eui, past.at) != Some(again.kind.as_str()) {
            continue;
        }
        again.frames += 1;
        match keeper.said(past.dev_eui, past.at, past.port, payload, lost) {
            Ok((edition, said)) => {
                // A reading of the same message is written over.
                let stands = lost == 0 && past.message.as_deref() == Some(said.message.name.as_str());
                let before = if stands { 1 } else { forget(log, &past, lost, again.span)? };
                if before == 0 {
                    explain(log, past.id, said.note().as_deref())?;
                }
                again.before += before;
                let earlier = sheet.readings.len();
                sheet.put_readings((past.node, past.id, past.at), edition, &said, past.late);
                let made = sheet.readings.get(earlier..).unwrap_or_default();
                again.after += made.len();
                stale.extend(made.iter().map(|reading| (past.node, reading.at.div_euclid(HOUR))));
            }
            Err(why) => {
                again.unreadable += 1;
                if past.message.is_none() {
                    explain(log, past.id, Some(&why))?;
                }
            }
        }
    }
    sheet.write(log)?;
    for (node, hour) in stale {
        log.prepare_cached("INSERT OR IGNORE INTO stale_hour (node, hour) VALUES (?, ?)")?
            .execute((node, hour))?;
    }
    again.frame = until;
    if again.is_done() {
        end(log, &again, now)?;
    } else {
        note(log, &again)?;
    }
    Ok(again)
}

fn end(log: &Connection, again: &Again, now: Moment) -> Result<(), StoreError> {
    log.execute("DELETE FROM meta WHERE key = ?", [key(&again.kind)])?;
    let Again { kind, frames, before, after, unreadable, .. } = again;
    let what = format!(
        "decoded again: {frames} frames, {before} readings before, {after} after, {unreadable} frames unreadable"
    );
    log.execute("INSERT INTO deed (at, who, what, \"on\") VALUES (?, 'serve', ?, ?)", (now, what, kind))?;
    Ok(())
}

fn frames(log: &Connection, after: Id, until: Id) -> Result<Vec<Past>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT frame.id, frame.at, node.id, node.dev_eui, frame.session, fcnt, verdict = 'late', port, payload, message \
         FROM frame JOIN session ON session.id = frame.session JOIN node ON node.id = session.node \
         LEFT JOIN reading ON reading.node = node.id AND reading.at = frame.at AND reading.frame = frame.id AND rebuilt = 0 \
         WHERE frame.id > ? AND frame.id <= ? AND verdict IN ('new', 'late') ORDER BY frame.id",
    )?;
    let mut found = statement.query((after, until))?;
    let mut frames = Vec::new();
    while let Some(row) = found.next()? {
        let dev_eui = DevEui::from_display(row.get_ref(3)?.as_str().map_err(rusqlite::Error::from)?)
            .map_err(|error| StoreError::Damaged { why: error.to_string() })?;
        frames.push(Past {
            id: row.get(0)?,
            at: row.get(1)?,
            node: row.get(2)?,
            dev_eui,
            session: row.get(4)?,
            fcnt: row.get(5)?,
            late: row.get(6)?,
            port: row.get(7)?,
            payload: row.get::<_, Option<Vec<u8>>>(8)?,
            message: row.get(9)?,
        });
    }
    Ok(frames)
}

/// Messages between a frame and the one before it that did not come.
fn lost(
    log: &Connection,
    counters: &mut BTreeMap<Id, Option<u32>>,
    past: &Past,
) -> Result<usize, StoreError> {
    let Some(fcnt) = past.fcnt.filter(|_| !past.late) else { return Ok(0) };
    let before = match counters.get(&past.session) {
        Some(before) => *before,
        None => log
            .prepare_cached("SELECT max(fcnt) FROM frame WHERE session = ? AND verdict = 'new' AND fcnt < ?")?
            .query_row(params![past.session, fcnt], |row| row.get(0))?,
    };
    counters.insert(past.session, Some(fcnt));
    let missing = before.map_or(0, |before| fcnt.saturating_sub(before.saturating_add(1)));
    Ok(usize::try_from(missing).unwrap_or(usize::MAX))
}

/// Removes the readings of a frame; how many there were.
fn forget(log: &Connection, past: &Past, lost: usize, span: Moment) -> Result<usize, StoreError> {
    let own = log
        .prepare_cached("DELETE FROM reading WHERE node = ? AND at = ? AND frame = ?")?
        .execute((past.node, past.at, past.id))?;
    if lost == 0 {
        return Ok(own);
    }
    let earlier = log
        .prepare_cached("DELETE FROM reading WHERE node = ? AND at >= ? AND at < ? AND frame = ?")?
        .execute((past.node, past.at - span, past.at, past.id))?;
    Ok(own + earlier)
}

fn explain(log: &Connection, frame: Id, why: Option<&str>) -> Result<(), StoreError> {
    log.prepare_cached("UPDATE frame SET reason = ?2 WHERE id = ?1 AND reason IS NOT ?2")?
        .execute((frame, why))?;
    Ok(())
}
