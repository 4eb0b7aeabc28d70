//! Rows of the log, one statement each.

use rusqlite::{Connection, OptionalExtension as _, params};
use wire::identity::{DevEui, GatewayEui, JoinEui};

use super::StoreError;
use crate::network::{Joined, PRIVATE};
use crate::received::{Moment, Report};

/// A number by which the log knows a row.
pub(super) type Id = i64;

/// The gateway's row; one is made where there is none. A name is kept anew.
pub(super) fn gateway(log: &Connection, eui: GatewayEui, name: Option<&str>) -> Result<Id, StoreError> {
    Ok(log
        .prepare_cached(
            "INSERT INTO gateway (eui, name) VALUES (?1, ?2) \
             ON CONFLICT (eui) DO UPDATE SET name = coalesce(?2, name) RETURNING id",
        )?
        .query_row(params![eui.to_string(), name], |row| row.get(0))?)
}

pub(super) fn sign_of_life(
    log: &Connection,
    gateway: Id,
    at: Moment,
    address: Option<&str>,
) -> Result<(), StoreError> {
    log.prepare_cached(
        "UPDATE gateway SET last_sign_of_life = max(?2, coalesce(last_sign_of_life, 0)), \
         last_address = coalesce(?3, last_address) WHERE id = ?1",
    )?
    .execute(params![gateway, at, address])?;
    Ok(())
}

pub(super) fn keep_report(
    log: &Connection,
    gateway: Id,
    at: Moment,
    report: &Report,
) -> Result<(), StoreError> {
    log.prepare_cached("UPDATE gateway SET last_report = ?2 WHERE id = ?1")?.execute(params![gateway, at])?;
    let (latitude, longitude) = report.place.unzip();
    log.prepare_cached(
        "INSERT INTO gateway_report (gateway, at, heard, intact, passed_on, acknowledged_share, answers_received, \
         answers_sent, latitude, longitude, extra) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6 / 100.0, ?7, ?8, ?9, ?10, ?11) ON CONFLICT DO NOTHING",
    )?
    .execute(params![
        gateway,
        at,
        whole(report.heard),
        whole(report.intact),
        whole(report.passed_on),
        report.acknowledged_percent,
        whole(report.answers_received),
        whole(report.answers_sent),
        latitude,
        longitude,
        report.extra,
    ])?;
    Ok(())
}

/// A count; what is none, or beyond any, is left out.
#[expect(clippy::cast_possible_truncation, reason = "held within 2^53 just before")]
fn whole(number: Option<f64>) -> Option<i64> {
    number.filter(|number| number.fract() == 0.0 && (0.0..9e15).contains(number)).map(|number| number as i64)
}

pub(super) fn node(log: &Connection, dev_eui: DevEui, join_eui: JoinEui) -> Result<Id, StoreError> {
    Ok(log
        .prepare_cached(
            "INSERT INTO node (dev_eui, join_eui) VALUES (?1, ?2) \
             ON CONFLICT (dev_eui) DO UPDATE SET join_eui = ?2 RETURNING id",
        )?
        .query_row(params![dev_eui.to_string(), join_eui.to_string()], |row| row.get(0))?)
}

/// Compare and set: a nonce that is not above the last one changes nothing, and is an error.
pub(super) fn join(log: &Connection, node: Id, joined: &Joined) -> Result<(), StoreError> {
    let changed = log
        .prepare_cached(
            "UPDATE node SET dev_nonce = ?2, join_nonce = ?3, dev_addr = ?4 \
             WHERE id = ?1 AND (dev_nonce IS NULL OR dev_nonce < ?2) AND join_nonce < ?3",
        )?
        .execute(params![node, joined.dev_nonce, joined.join_nonce, joined.dev_addr.to_string()])?;
    if changed == 1 {
        return Ok(());
    }
    Err(StoreError::Row { why: format!("nonce {} is in the log already", joined.dev_nonce) })
}

/// The session that a join begins; an earlier one that was never used is closed.
pub(super) fn begin_session(
    log: &Connection,
    node: Id,
    joined: &Joined,
    at: Moment,
) -> Result<Id, StoreError> {
    log.prepare_cached(
        "UPDATE session SET state = 'closed', closed = ?2 WHERE node = ?1 AND state = 'pending' AND source IS NULL",
    )?
    .execute(params![node, at])?;
    Ok(log
        .prepare_cached(
            "INSERT INTO session (node, state, dev_nonce, join_nonce, net_id, dev_addr, rx1_delay_s) \
             VALUES (?, 'pending', ?, ?, ?, ?, ?) RETURNING id",
        )?
        .query_row(
            params![
                node,
                joined.dev_nonce,
                joined.join_nonce,
                PRIVATE.to_string(),
                joined.dev_addr.to_string(),
                joined.rx1_delay_s
            ],
            |row| row.get(0),
        )?)
}

/// A session opens; the one that was open before is closed.
pub(super) fn open_session(log: &Connection, node: Id, session: Id, at: Moment) -> Result<(), StoreError> {
    log.prepare_cached(
        "UPDATE session SET state = 'closed', closed = ?2 WHERE node = ?1 AND state = 'open' AND source IS NULL",
    )?
    .execute(params![node, at])?;
    log.prepare_cached("UPDATE session SET state = 'open', opened = ?2 WHERE id = ?1")?
        .execute(params![session, at])?;
    Ok(())
}

/// The frame of a session that was accepted with this counter.
pub(super) fn frame_of_copy(log: &Connection, session: Id, fcnt: u32) -> Result<Option<Id>, StoreError> {
    Ok(log
        .prepare_cached("SELECT id FROM frame WHERE session = ? AND fcnt = ? AND verdict IN ('new', 'late')")?
        .query_row(params![session, fcnt], |row| row.get(0))
        .optional()?)
}

/// The newest join-request with these bytes.
pub(super) fn frame_of_join(log: &Connection, session: Id, bytes: &[u8]) -> Result<Option<Id>, StoreError> {
    Ok(log
        .prepare_cached(
            "SELECT id FROM frame WHERE session = ? AND verdict = 'join' AND bytes = ? ORDER BY at LIMIT 1",
        )?
        .query_row(params![session, bytes], |row| row.get(0))
        .optional()?)
}

pub(super) fn node_id(log: &Connection, dev_eui: DevEui) -> Result<Option<Id>, StoreError> {
    Ok(log
        .prepare_cached("SELECT id FROM node WHERE dev_eui = ?")?
        .query_row([dev_eui.to_string()], |row| row.get(0))
        .optional()?)
}

/// Remembers a value under a key.
pub(super) fn note(log: &Connection, key: &str, value: &str) -> Result<(), StoreError> {
    log.prepare_cached(
        "INSERT INTO meta (key, value) VALUES (?1, ?2) ON CONFLICT (key) DO UPDATE SET value = ?2",
    )?
    .execute(params![key, value])?;
    Ok(())
}
