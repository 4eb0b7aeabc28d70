//! What the log kept of a node, for a network that begins.

use rusqlite::{Connection, OptionalExtension as _, params};
use wire::identity::{DevAddr, DevEui, GatewayEui};
use wire::key::AppKey;

use super::StoreError;
use super::rows::Id;
use super::setup::Site;
use crate::network::{HOUR, KeptSession, Member, Plan, REMEMBERED, SessionState};
use crate::received::Moment;

/// Sessions of a node that are of use: the open one, one that waits, and those that tell a recording.
const SESSIONS: u32 = 6;

/// Key under which the last report of a node on battery and reception lies.
pub(super) fn status_key(dev_eui: DevEui) -> String {
    format!("status:{dev_eui}")
}

/// A device with a key, and its sessions as the log kept them.
pub(super) fn device(
    log: &Connection,
    site: &Site,
    dev_eui: DevEui,
    app_key: &AppKey,
) -> Result<Option<(Member, Vec<KeptSession>)>, StoreError> {
    let of_device = || site.registry.iter().filter(move |row| row.dev_eui == dev_eui);
    let Some(row) = of_device().find(|row| row.open()).or_else(|| of_device().next_back()) else {
        return Ok(None);
    };
    let plan = site.kind(&row.kind).and_then(|kind| site.kinds.get(kind));
    let plan = plan.map_or_else(Plan::default, |(_, plan)| plan.clone());
    let mut member = Member::enrolled(dev_eui, row.join_eui, app_key.clone(), plan);
    member.retired = !row.open();
    let kept = log
        .prepare_cached("SELECT id, dev_addr, dev_nonce, join_nonce FROM node WHERE dev_eui = ?")?
        .query_row([dev_eui.to_string()], |row| {
            Ok((row.get(0)?, row.get::<_, Option<String>>(1)?, row.get(2)?, row.get(3)?))
        })
        .optional()?;
    let Some((id, dev_addr, dev_nonce, join_nonce)) = kept else { return Ok(Some((member, Vec::new()))) };
    member.dev_addr = dev_addr.map(|text| address(&text)).transpose()?;
    member.dev_nonce = dev_nonce;
    member.join_nonce = join_nonce;
    member.last_status = log
        .prepare_cached("SELECT value ->> 'at' FROM meta WHERE key = ?")?
        .query_row([status_key(dev_eui)], |row| row.get(0))
        .optional()?;
    Ok(Some((member, sessions(log, id)?)))
}

fn address(text: &str) -> Result<DevAddr, StoreError> {
    DevAddr::from_display(text).map_err(|error| StoreError::Damaged { why: error.to_string() })
}

fn sessions(log: &Connection, node: Id) -> Result<Vec<KeptSession>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT id, state, dev_nonce, join_nonce, dev_addr, last_up, last_down, rx1_delay_s FROM session \
         WHERE node = ? AND source IS NULL ORDER BY id DESC LIMIT ?",
    )?;
    let mut found = statement.query(params![node, SESSIONS])?;
    let mut sessions = Vec::new();
    while let Some(row) = found.next()? {
        let id: Id = row.get(0)?;
        let state = match row.get_ref(1)?.as_str().unwrap_or_default() {
            "open" => SessionState::Open,
            "pending" => SessionState::Pending,
            _ => SessionState::Closed,
        };
        let request = request(log, id)?;
        sessions.push(KeptSession {
            state,
            dev_nonce: row.get(2)?,
            join_nonce: row.get(3)?,
            typed: None,
            dev_addr: address(&row.get::<_, String>(4)?)?,
            last_up: row.get(5)?,
            last_down: row.get(6)?,
            last_heard: last_heard(log, id)?,
            rx1_delay_s: row.get::<_, Option<u8>>(7)?.unwrap_or(1),
            accepted: accepted(log, id)?,
            request,
        });
    }
    Ok(sessions)
}

fn request(log: &Connection, session: Id) -> Result<Option<(Moment, Vec<u8>)>, StoreError> {
    Ok(log
        .prepare_cached(
            "SELECT arrived_at, bytes FROM frame WHERE session = ? AND verdict = 'join' ORDER BY at LIMIT 1",
        )?
        .query_row([session], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?)
}

/// When the newest frame that moved the counter arrived, or the join.
fn last_heard(log: &Connection, session: Id) -> Result<Moment, StoreError> {
    let newest = log
        .prepare_cached(
            "SELECT arrived_at FROM frame WHERE session = ? AND verdict IN ('new', 'join') ORDER BY at DESC LIMIT 1",
        )?
        .query_row([session], |row| row.get(0))
        .optional()?;
    Ok(newest.unwrap_or_default())
}

fn accepted(log: &Connection, session: Id) -> Result<Vec<(u32, Vec<u8>)>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT fcnt, bytes FROM frame WHERE session = ? AND verdict IN ('new', 'late') ORDER BY fcnt DESC LIMIT ?",
    )?;
    let most = i64::try_from(REMEMBERED).unwrap_or(i64::MAX);
    let found = statement.query_map(params![session, most], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(found.collect::<Result<_, _>>()?)
}

/// A transmission of a gateway within the last hour: gateway, frequency \[Hz\], when, and its time on air \[us\].
pub(super) type Transmission = (GatewayEui, u32, Moment, Moment);

/// What gateways have sent within the last hour, and what may have been.
pub(super) fn transmissions(log: &Connection, now: Moment) -> Result<Vec<Transmission>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT gateway.eui, freq_hz, asked_at, airtime_us FROM downlink JOIN gateway ON gateway.id = downlink.gateway \
         WHERE asked_at >= ? AND bytes IS NOT NULL AND freq_hz IS NOT NULL AND airtime_us IS NOT NULL \
         AND (outcome IS NULL OR outcome NOT LIKE 'refused%')",
    )?;
    let found = statement.query_map([now - HOUR], |row| {
        Ok((row.get::<_, String>(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
    })?;
    let mut sent = Vec::new();
    for row in found {
        let (eui, frequency_hz, at, airtime_us) = row?;
        let eui = GatewayEui::from_display(&eui);
        let eui = eui.map_err(|error| StoreError::Damaged { why: error.to_string() })?;
        sent.push((eui, frequency_hz, at, airtime_us));
    }
    Ok(sent)
}
