//! Alarms as they are kept, and what the watch must know of the past.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension as _, Row, params};
use serde_json::Value;
use wire::identity::{DevEui, GatewayEui};

use super::StoreError;
use super::keeper::KeptFrame;
use super::rows::Id;
use crate::network::airtime;
use crate::received::Moment;
use crate::watch::{About, Alarm, AlarmId, Change, Event, Evidence, Frame, Key, Rule, Uplink, What};

/// An alarm as it is kept.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptAlarm {
    /// The alarm.
    pub alarm: Alarm,
    /// Who has seen it.
    pub seen: Option<Seen>,
}

/// Somebody has seen an alarm.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seen {
    /// When.
    pub at: Moment,
    /// Who.
    pub by: String,
    /// What they said to it; may be empty.
    pub word: String,
}

const COLUMNS: &str = "SELECT alarm.id, rule, alarm.\"of\", node.dev_eui, gateway.eui, opened_at, closed_at, cause, evidence, \
                       seen_at, seen_by, word FROM alarm LEFT JOIN node ON node.id = alarm.node \
                       LEFT JOIN gateway ON gateway.id = alarm.gateway";

/// The alarms that stand open, newest first.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn open_alarms(log: &Connection) -> Result<Vec<KeptAlarm>, StoreError> {
    found(log, "WHERE closed_at IS NULL ORDER BY opened_at DESC, alarm.id DESC", params![])
}

/// The alarms that were closed, newest first: at most so many, of numbers below `before`.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn past_alarms(
    log: &Connection,
    before: Option<AlarmId>,
    most: u32,
) -> Result<Vec<KeptAlarm>, StoreError> {
    let before = before.unwrap_or(AlarmId::MAX);
    let sql = "WHERE closed_at IS NOT NULL AND alarm.id < ? ORDER BY alarm.id DESC LIMIT ?";
    found(log, sql, params![before, most])
}

/// The alarm of this number.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn alarm(log: &Connection, id: AlarmId) -> Result<Option<KeptAlarm>, StoreError> {
    Ok(found(log, "WHERE alarm.id = ?", params![id])?.pop())
}

/// The alarms that a watch must know which begins at a moment: those that stand open or were closed since, and the number of
/// the next.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn known_since(log: &Connection, closed_since: Moment) -> Result<(Vec<Alarm>, AlarmId), StoreError> {
    let sql = "WHERE closed_at IS NULL OR closed_at >= ? ORDER BY alarm.id";
    let known = found(log, sql, params![closed_since])?;
    let next = log.query_row("SELECT coalesce(max(id), 0) + 1 FROM alarm", [], |row| row.get(0))?;
    Ok((known.into_iter().map(|kept| kept.alarm).collect(), next))
}

/// Nodes on which somebody works at a moment, and until when.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn paused_at(log: &Connection, now: Moment) -> Result<Vec<(DevEui, Moment)>, StoreError> {
    let sql = "SELECT node.dev_eui, coalesce(until, ?2) FROM pause JOIN node ON node.id = pause.node \
               WHERE \"from\" <= ?1 AND coalesce(until, ?2) > ?1";
    let mut statement = log.prepare_cached(sql)?;
    let mut rows = statement.query(params![now, Moment::MAX])?;
    let mut paused = Vec::new();
    while let Some(row) = rows.next()? {
        paused.push((dev_eui(&row.get::<_, String>(0)?)?, row.get(1)?));
    }
    Ok(paused)
}

/// Keeps what the watch has found.
pub(super) fn keep(log: &Connection, change: &Change) -> Result<(), StoreError> {
    let alarm = change.alarm();
    match change {
        Change::Opened(_) => {
            let (node, gateway) = about(log, alarm.key.about)?;
            log.prepare_cached(
                "INSERT INTO alarm (id, rule, \"of\", node, gateway, opened_at, cause, evidence) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            )?
            .execute(params![
                alarm.id,
                alarm.key.rule.word(),
                alarm.key.of,
                node,
                gateway,
                alarm.opened_at,
                alarm.cause,
                Value::Object(alarm.evidence.clone()).to_string(),
            ])?;
        }
        Change::Reopened(_) | Change::Explained(_) | Change::Closed(_) => {
            log.prepare_cached("UPDATE alarm SET closed_at = ?2, cause = ?3 WHERE id = ?1")?
                .execute(params![alarm.id, alarm.closed_at, alarm.cause])?;
        }
    }
    Ok(())
}

/// Notes that somebody has seen an alarm; the first to see it stays.
pub(super) fn see(log: &Connection, id: AlarmId, seen: &Seen) -> Result<(), StoreError> {
    log.prepare_cached(
        "UPDATE alarm SET seen_at = ?2, seen_by = ?3, word = ?4 WHERE id = ?1 AND seen_at IS NULL",
    )?
    .execute(params![id, seen.at, seen.by, seen.word])?;
    Ok(())
}

/// What a frame that was kept is to the watch, and when it was; none while the clock could not be believed.
pub fn event_of(kept: &KeptFrame) -> Option<(Moment, Event)> {
    let uplink = || Uplink {
        fcnt: kept.fcnt,
        frequency_hz: kept.frequency_hz,
        data_rate: kept.data_rate.clone(),
        airtime_us: kept.data_rate.as_deref().and_then(|rate| airtime(rate, kept.length)),
        message: kept.message.as_ref().map(|told| told.message.clone()),
        values: kept
            .message
            .iter()
            .flat_map(|told| &told.values)
            .map(|told| (told.name.to_string(), told.value.clone()))
            .collect(),
        beyond: kept
            .message
            .iter()
            .flat_map(|told| &told.values)
            .filter_map(|told| Some((told.name.to_string(), told.beyond?.to_owned())))
            .collect(),
    };
    let frame = Frame {
        gateway: kept.gateway.as_ref().map(|(eui, _)| *eui),
        dev_eui: kept.dev_eui,
        what: what(kept.verdict, kept.reason.as_deref(), uplink),
    };
    (!kept.clock_unsure).then_some((kept.at, Event::Frame(frame)))
}

fn what(verdict: &str, reason: Option<&str>, uplink: impl FnOnce() -> Uplink) -> What {
    match verdict {
        "new" => What::New(uplink()),
        "late" => What::Late(uplink()),
        "copy" => What::Copy,
        "join" => What::Join,
        "refused:crc" => What::Damaged,
        "refused:mic" => What::WrongCode,
        // The word that a used counter's reason begins with.
        "refused:counter" if reason.is_some_and(|reason| reason.starts_with("reset")) => What::UsedCounter,
        "refused:counter" => What::OldCounter,
        _ => What::Refused,
    }
}

/// Calls for each copy of a frame that was kept since a moment, in the order of keeping; the number of the newest frame.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn history(log: &Connection, since: Moment, each: impl FnMut(Moment, Event)) -> Result<i64, StoreError> {
    let newest = super::since::newest(log)?;
    let first: Option<Id> = log
        .query_row("SELECT id FROM frame WHERE at >= ? ORDER BY at LIMIT 1", [since], |row| row.get(0))
        .optional()?;
    let Some(first) = first else { return Ok(newest) };
    recount(log, "frame.id >= ? AND frame.id <= ? AND frame.at >= ?", params![first, newest, since], each)?;
    Ok(newest)
}

/// What was kept of a node in a time [from, to), oldest first.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn history_of(
    log: &Connection,
    dev_eui: DevEui,
    from: Moment,
    to: Moment,
) -> Result<Vec<(Moment, Event)>, StoreError> {
    let mut all = Vec::new();
    let condition = "node.dev_eui = ? AND frame.at >= ? AND frame.at < ?";
    let parameters = params![dev_eui.to_string(), from, to];
    recount(log, condition, parameters, |at, event| all.push((at, event)))?;
    Ok(all)
}

/// When a node was heard first; none if it never was.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn first_heard(log: &Connection, dev_eui: DevEui) -> Result<Option<Moment>, StoreError> {
    let sql = "SELECT min(frame.at) FROM node JOIN session ON session.node = node.id JOIN frame ON frame.session = session.id \
               WHERE node.dev_eui = ? AND frame.clock_unsure IS NULL";
    Ok(log.prepare_cached(sql)?.query_row([dev_eui.to_string()], |row| row.get(0))?)
}

fn recount(
    log: &Connection,
    condition: &str,
    parameters: impl rusqlite::Params,
    mut each: impl FnMut(Moment, Event),
) -> Result<(), StoreError> {
    let mut statement = log.prepare_cached(&format!(
        "SELECT frame.id, frame.at, verdict, reason, fcnt, freq_hz, data_rate, airtime_us, node.dev_eui, reading.message, \
         reading.vals, edition.fields, reading.marks FROM frame LEFT JOIN session ON session.id = frame.session \
         LEFT JOIN node ON node.id = session.node \
         LEFT JOIN reading ON reading.node = node.id AND reading.at = frame.at AND reading.frame = frame.id \
         AND reading.rebuilt = 0 LEFT JOIN edition ON edition.id = reading.edition \
         WHERE {condition} AND frame.clock_unsure IS NULL ORDER BY frame.id"
    ))?;
    let mut heard_by = log.prepare_cached(
        "SELECT arrived_at, eui FROM reception JOIN gateway ON gateway.id = gateway WHERE frame = ? ORDER BY reception.rowid",
    )?;
    let mut rows = statement.query(parameters)?;
    while let Some(row) = rows.next()? {
        let (frame, at): (Id, Moment) = (row.get(0)?, row.get(1)?);
        let node: Option<String> = row.get(8)?;
        let node = node.as_deref().map(dev_eui).transpose()?;
        let mut what = Some(past(row)?);
        let mut copies = heard_by.query([frame])?;
        let mut tell = |at, gateway| {
            let what = what.take().unwrap_or(What::Copy);
            each(at, Event::Frame(Frame { gateway, dev_eui: node, what }));
        };
        let mut by_any = false;
        while let Some(copy) = copies.next()? {
            let arrived: Moment = copy.get(0)?;
            tell(if by_any { arrived.max(at) } else { at }, Some(gateway_eui(&copy.get::<_, String>(1)?)?));
            by_any = true;
        }
        if !by_any {
            tell(at, None);
        }
    }
    Ok(())
}

fn past(row: &Row<'_>) -> Result<What, StoreError> {
    let verdict: String = row.get(2)?;
    let reason: Option<String> = row.get(3)?;
    let mut uplink = Uplink {
        fcnt: row.get(4)?,
        frequency_hz: row.get(5)?,
        data_rate: row.get(6)?,
        airtime_us: row.get(7)?,
        message: row.get(9)?,
        values: BTreeMap::new(),
        beyond: BTreeMap::new(),
    };
    if let (Some(message), Some(values), Some(fields)) =
        (&uplink.message, row.get::<_, Option<String>>(10)?, row.get::<_, Option<String>>(11)?)
    {
        let damaged = |error| StoreError::Damaged { why: format!("a reading: {error}") };
        let values: Vec<Value> = serde_json::from_str(&values).map_err(damaged)?;
        let mut fields: BTreeMap<String, Vec<String>> = serde_json::from_str(&fields).map_err(damaged)?;
        let names = fields.remove(message).unwrap_or_default();
        uplink.values = names.into_iter().zip(values).collect();
        if let Some(marks) = row.get::<_, Option<String>>(12)? {
            uplink.beyond = serde_json::from_str(&marks).map_err(damaged)?;
        }
    }
    Ok(what(&verdict, reason.as_deref(), || uplink))
}

fn found(
    log: &Connection,
    condition: &str,
    parameters: impl rusqlite::Params,
) -> Result<Vec<KeptAlarm>, StoreError> {
    let mut statement = log.prepare_cached(&format!("{COLUMNS} {condition}"))?;
    let mut rows = statement.query(parameters)?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        all.push(kept(row)?);
    }
    Ok(all)
}

fn kept(row: &Row<'_>) -> Result<KeptAlarm, StoreError> {
    let id: AlarmId = row.get(0)?;
    let damaged = |what: &str| StoreError::Damaged { why: format!("alarm {id}: {what}") };
    let rule: String = row.get(1)?;
    let (node, gateway): (Option<String>, Option<String>) = (row.get(3)?, row.get(4)?);
    let evidence: Evidence =
        serde_json::from_str(&row.get::<_, String>(8)?).map_err(|error| damaged(&error.to_string()))?;
    let key = Key {
        rule: Rule::named(&rule).ok_or_else(|| damaged(&format!("no rule is called `{rule}`")))?,
        about: match (node, gateway) {
            (Some(node), _) => About::Node(dev_eui(&node)?),
            (None, Some(gateway)) => About::Gateway(gateway_eui(&gateway)?),
            (None, None) => About::Log,
        },
        of: row.get(2)?,
    };
    let alarm =
        Alarm { id, key, opened_at: row.get(5)?, closed_at: row.get(6)?, cause: row.get(7)?, evidence };
    let seen = match (row.get(9)?, row.get::<_, Option<String>>(10)?, row.get::<_, Option<String>>(11)?) {
        (Some(at), Some(by), word) => Some(Seen { at, by, word: word.unwrap_or_default() }),
        _ => None,
    };
    Ok(KeptAlarm { alarm, seen })
}

fn about(log: &Connection, about: About) -> Result<(Option<Id>, Option<Id>), StoreError> {
    Ok(match about {
        About::Node(dev_eui) => (super::rows::node_id(log, dev_eui)?, None),
        About::Gateway(eui) => (None, Some(super::rows::gateway(log, eui, None)?)),
        About::Log => (None, None),
    })
}

fn dev_eui(text: &str) -> Result<DevEui, StoreError> {
    DevEui::from_display(text)
        .map_err(|_no_digits| StoreError::Damaged { why: format!("`{text}` is no DevEUI") })
}

fn gateway_eui(text: &str) -> Result<GatewayEui, StoreError> {
    GatewayEui::from_display(text)
        .map_err(|_no_digits| StoreError::Damaged { why: format!("`{text}` is no EUI") })
}
