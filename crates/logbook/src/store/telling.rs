//! The queue of messages to those who are told of alarms.

use rusqlite::{Connection, params};

use super::StoreError;
use crate::received::Moment;
use crate::watch::AlarmId;
use crate::watch::tell::Waiting;

/// Somebody is to be told of an alarm.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tell {
    /// Of which one.
    pub alarm: AlarmId,
    /// By which way.
    pub way: String,
    /// When at the earliest.
    pub due: Moment,
    /// Since when it is known.
    pub since: Moment,
}

/// What became of messages.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// They were taken.
    Sent(Moment),
    /// Nobody needs them any more.
    Dropped(Moment),
    /// They wait until then, and are tried from then on; it was no try.
    Waits(Moment),
    /// They could not be sent.
    Failed {
        /// When it is tried again; none if it no longer is.
        again: Option<Moment>,
        /// When it was tried.
        at: Moment,
        /// Why.
        why: String,
    },
}

const SENT: &str = "sent";

pub(super) fn enqueue(log: &Connection, tells: &[Tell]) -> Result<(), StoreError> {
    for tell in tells {
        log.prepare_cached("INSERT INTO tell_queue (alarm, way, due, tries, since) VALUES (?, ?, ?, 0, ?)")?
            .execute(params![tell.alarm, tell.way, tell.due, tell.since])?;
    }
    Ok(())
}

pub(super) fn settle(log: &Connection, messages: &[i64], outcome: &Outcome) -> Result<(), StoreError> {
    for id in messages {
        match outcome {
            Outcome::Sent(at) => over(log, *id, *at, SENT, None)?,
            Outcome::Dropped(at) => over(log, *id, *at, "dropped", None)?,
            Outcome::Waits(until) => {
                log.prepare_cached("UPDATE tell_queue SET due = ?2, since = ?2 WHERE id = ?1")?
                    .execute(params![id, until])?;
            }
            Outcome::Failed { again: None, at, why } => over(log, *id, *at, "given up", Some(why))?,
            Outcome::Failed { again: Some(again), why, .. } => {
                let sql = "UPDATE tell_queue SET due = ?2, tries = tries + 1, last_error = ?3 WHERE id = ?1";
                log.prepare_cached(sql)?.execute(params![id, again, why])?;
            }
        }
    }
    Ok(())
}

fn over(log: &Connection, id: i64, at: Moment, what: &str, why: Option<&String>) -> Result<(), StoreError> {
    let sql =
        "UPDATE tell_queue SET told_at = ?2, what = ?3, last_error = coalesce(?4, last_error) WHERE id = ?1";
    log.prepare_cached(sql)?.execute(params![id, at, what, why])?;
    Ok(())
}

/// Messages of a way that are due, oldest first.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn due(log: &Connection, way: &str, now: Moment) -> Result<Vec<Waiting>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT id, alarm, way, due, tries, since FROM tell_queue WHERE told_at IS NULL AND due <= ? AND way = ? \
         AND alarm IS NOT NULL AND since IS NOT NULL ORDER BY id",
    )?;
    let found = statement.query_map(params![now, way], |row| {
        Ok(Waiting {
            id: row.get(0)?,
            alarm: row.get(1)?,
            way: row.get(2)?,
            due: row.get(3)?,
            tries: row.get(4)?,
            since: row.get(5)?,
        })
    })?;
    Ok(found.collect::<Result<_, _>>()?)
}

/// How many messages a way was given since a moment; several that went as one count once.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn given_since(log: &Connection, way: &str, since: Moment) -> Result<usize, StoreError> {
    let sql = "SELECT count(DISTINCT told_at) FROM tell_queue WHERE way = ? AND told_at > ? AND what = ?";
    let count: i64 = log.prepare_cached(sql)?.query_row(params![way, since, SENT], |row| row.get(0))?;
    Ok(usize::try_from(count).unwrap_or(usize::MAX))
}
