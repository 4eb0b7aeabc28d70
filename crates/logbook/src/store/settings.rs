//! What people want nodes to be told, and what became of it.

use std::collections::BTreeSet;

use rusqlite::{Connection, OptionalExtension as _, params};
use serde_json::Value;
use wire::identity::DevEui;

use super::StoreError;
use super::people::{By, People, deed};
use super::rows::Id;
use crate::network::{Message, SessionId, Why};
use crate::received::Moment;

/// What became of a setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// It waits for the node's next uplink.
    Waiting,
    /// The hour's share of the law is used up, or the law never allows it; it is tried with the next uplink.
    HeldBack,
    /// It was sent, and is sent again until the node confirms it.
    Sent,
    /// The node has confirmed it.
    Confirmed,
    /// It was sent three times, or fits into no window, and the node has not confirmed it; or another network did not take it.
    NotConfirmed,
}

impl State {
    const ALL: [Self; 5] = [Self::Waiting, Self::HeldBack, Self::Sent, Self::Confirmed, Self::NotConfirmed];

    /// The word of the column `state`, of page and API.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::HeldBack => "held back by the law",
            Self::Sent => "sent",
            Self::Confirmed => "confirmed",
            Self::NotConfirmed => "not confirmed",
        }
    }
}

/// What a node is to be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wish<'a> {
    /// Which: 16 hex digits.
    pub dev_eui: &'a str,
    /// Message of its design.
    pub message: &'a str,
    /// Its values by field.
    pub values: &'a Value,
    /// Its port.
    pub port: u8,
    /// Its bytes in the clear.
    pub payload: &'a [u8],
}

/// Something that waits for another network to tell it.
#[derive(Clone, Debug, PartialEq)]
pub struct Due {
    /// As the log numbers it.
    pub id: i64,
    /// Which node: 16 hex digits.
    pub dev_eui: String,
    /// Message of its design.
    pub message: String,
    /// Its values by field.
    pub values: Value,
    /// Its port.
    pub port: u8,
    /// Its bytes in the clear.
    pub payload: Vec<u8>,
}

/// What a node is to be told, or was.
#[derive(Clone, Debug, PartialEq)]
pub struct Setting {
    /// As the log numbers them.
    pub id: i64,
    /// Which node: 16 hex digits.
    pub dev_eui: String,
    /// Message of its design.
    pub message: String,
    /// Its values by field.
    pub values: Value,
    /// Who wants it.
    pub asked_by: String,
    /// Since when.
    pub asked_at: Moment,
    /// What became of it.
    pub state: State,
}

impl People {
    /// Wants nodes to be told something, all of them or none; the numbers of the rows. None if the log does not know one of
    /// them.
    ///
    /// # Errors
    /// [`StoreError`]; nothing was changed then.
    pub fn want(&self, wishes: &[Wish<'_>], by: By<'_>) -> Result<Option<Vec<i64>>, StoreError> {
        let change = self.begin()?;
        let mut ids = Vec::new();
        for wish in wishes {
            let node = "SELECT id FROM node WHERE dev_eui = ?";
            let node: Option<i64> = change.query_row(node, [wish.dev_eui], |row| row.get(0)).optional()?;
            let Some(node) = node else { return Ok(None) };
            let values = wish.values.to_string();
            ids.push(change.query_row(
                "INSERT INTO setting (node, message, vals, asked_by, asked_at, state, port, payload) \
                 VALUES (?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
                params![
                    node,
                    wish.message,
                    values,
                    by.who,
                    by.at,
                    State::Waiting.word(),
                    wish.port,
                    wish.payload
                ],
                |row| row.get(0),
            )?);
            deed(&change, by, &format!("wants it told {} {values}", wish.message), wish.dev_eui)?;
        }
        change.commit()?;
        Ok(Some(ids))
    }
}

/// What nodes were to be told, the newest first: of one node, or of all; at most so many.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn settings(log: &Connection, dev_eui: Option<&str>, most: u32) -> Result<Vec<Setting>, StoreError> {
    let sql = "SELECT setting.id, node.dev_eui, message, vals, asked_by, asked_at, state FROM setting \
               JOIN node ON node.id = setting.node WHERE ?1 IS NULL OR node.dev_eui = ?1 ORDER BY setting.id DESC LIMIT ?2";
    let mut statement = log.prepare_cached(sql)?;
    let mut rows = statement.query(params![dev_eui, most])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let (id, values, state): (i64, String, String) = (row.get(0)?, row.get(3)?, row.get(6)?);
        let damaged = |why: String| StoreError::Damaged { why: format!("setting {id}: {why}") };
        let state = State::ALL.into_iter().find(|known| known.word() == state).ok_or(state);
        all.push(Setting {
            id,
            dev_eui: row.get(1)?,
            message: row.get(2)?,
            values: serde_json::from_str(&values).map_err(|error| damaged(error.to_string()))?,
            asked_by: row.get(4)?,
            asked_at: row.get(5)?,
            state: state.map_err(|state| damaged(format!("{state:?} is no state")))?,
        });
    }
    Ok(all)
}

/// The source by which a node was heard last; none if no other network has handed on anything of it.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn heard_by(log: &Connection, dev_eui: &str) -> Result<Option<String>, StoreError> {
    let sql = "SELECT session.source FROM session JOIN node ON node.id = session.node \
               WHERE node.dev_eui = ? AND session.source IS NOT NULL \
               ORDER BY (SELECT max(frame.id) FROM frame WHERE frame.session = session.id) DESC LIMIT 1";
    Ok(log.prepare_cached(sql)?.query_row([dev_eui], |row| row.get(0)).optional()?)
}

/// What waits for a source's network to tell it, the oldest first.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn due(log: &Connection, source: &str) -> Result<Vec<Due>, StoreError> {
    let sql = "SELECT setting.id, node.dev_eui, message, vals, port, payload FROM setting \
               JOIN node ON node.id = setting.node WHERE state = ? AND port IS NOT NULL ORDER BY setting.id";
    let mut statement = log.prepare_cached(sql)?;
    let mut rows = statement.query([State::Waiting.word()])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let (id, dev_eui, values): (i64, String, String) = (row.get(0)?, row.get(1)?, row.get(3)?);
        if heard_by(log, &dev_eui)?.as_deref() != Some(source) {
            continue;
        }
        let damaged = |error| StoreError::Damaged { why: format!("setting {id}: {error}") };
        all.push(Due {
            id,
            dev_eui,
            message: row.get(2)?,
            values: serde_json::from_str(&values).map_err(damaged)?,
            port: row.get(4)?,
            payload: row.get(5)?,
        });
    }
    Ok(all)
}

/// Another network has been asked to tell it, and has taken that or not.
pub(super) fn asked_elsewhere(
    log: &Connection,
    setting: i64,
    at: Moment,
    taken: bool,
) -> Result<(), StoreError> {
    let state = if taken { State::Sent } else { State::NotConfirmed };
    log.prepare_cached("UPDATE setting SET state = ?2, sent_at = ?3 WHERE id = ?1 AND state = ?4")?
        .execute(params![setting, state.word(), at, State::Waiting.word()])?;
    Ok(())
}

/// Devices that another network has been asked to tell something, and that are not known to have heard it.
pub(super) fn asked_of(log: &Connection) -> Result<BTreeSet<DevEui>, StoreError> {
    let sql = "SELECT DISTINCT node.dev_eui FROM setting JOIN node ON node.id = setting.node \
               WHERE state = ? AND sent_at IS NOT NULL";
    let mut statement = log.prepare_cached(sql)?;
    let all = statement.query_map([State::Sent.word()], |row| row.get::<_, String>(0))?;
    all.map(|text| {
        DevEui::from_display(&text?).map_err(|error| StoreError::Damaged { why: error.to_string() })
    })
    .collect()
}

/// A device that another network was asked to tell something has sent a frame: the first one may have opened the window in which
/// it was told, the second shows that it went on. Whether anything of that device is still open.
pub(super) fn heard_after(log: &Connection, node: Id, frame: Id) -> Result<bool, StoreError> {
    let sql = "UPDATE setting SET state = ?3, confirmed_by_frame = ?2 WHERE node = ?1 AND state = ?4 AND sent_at IS NOT NULL \
               AND (SELECT count(*) FROM frame JOIN session ON session.id = frame.session WHERE session.node = ?1 \
               AND frame.verdict = 'new' AND frame.arrived_at > setting.sent_at) > 1";
    log.prepare_cached(sql)?.execute(params![node, frame, State::Confirmed.word(), State::Sent.word()])?;
    let open = "SELECT EXISTS (SELECT 1 FROM setting WHERE node = ? AND state = ? AND sent_at IS NOT NULL)";
    Ok(log.prepare_cached(open)?.query_row(params![node, State::Sent.word()], |row| row.get(0))?)
}

/// What still waits of rows after a number, for the network: of one device, or of all.
pub(super) fn waiting(
    log: &Connection,
    of: Option<DevEui>,
    after: Id,
) -> Result<Vec<(DevEui, Message)>, StoreError> {
    let sql = "SELECT setting.id, node.dev_eui, port, payload FROM setting JOIN node ON node.id = setting.node \
               WHERE state IN ('waiting', 'held back by the law', 'sent') AND port IS NOT NULL AND sent_at IS NULL AND setting.id > ?1 \
               AND (?2 IS NULL OR node.dev_eui = ?2) ORDER BY setting.id";
    let mut statement = log.prepare_cached(sql)?;
    let mut rows = statement.query(params![after, of.map(|of| of.to_string())])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let dev_eui = DevEui::from_display(&row.get::<_, String>(1)?)
            .map_err(|error| StoreError::Damaged { why: error.to_string() })?;
        let number = row.get::<_, i64>(0)?.unsigned_abs();
        all.push((dev_eui, Message { number, port: row.get(2)?, payload: row.get(3)? }));
    }
    Ok(all)
}

/// What became of a setting.
pub(super) fn becomes(log: &Connection, number: u64, state: State) -> Result<(), StoreError> {
    let id = i64::try_from(number).unwrap_or(i64::MAX);
    log.prepare_cached("UPDATE setting SET state = ?2 WHERE id = ?1")?.execute(params![id, state.word()])?;
    Ok(())
}

/// The law holds back what a device was to be told first.
pub(super) fn hold_back(log: &Connection, session: SessionId, why: Why) -> Result<(), StoreError> {
    if why != Why::Message {
        return Ok(());
    }
    let sql = "UPDATE setting SET state = ?2 WHERE id = (SELECT min(setting.id) FROM setting \
               JOIN node ON node.id = setting.node WHERE node.dev_eui = ?1 AND state = ?3)";
    log.prepare_cached(sql)?.execute(params![
        session.dev_eui.to_string(),
        State::HeldBack.word(),
        State::Waiting.word()
    ])?;
    Ok(())
}
