//! What hears the nodes: signs of life, what was heard by hour, whom, and what was sent.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension as _, params};

use super::super::StoreError;
use crate::received::Moment;

/// Microseconds of an hour.
const HOUR: Moment = 3_600_000_000;
/// Hours that are counted.
const HOURS: usize = 24;
/// A moment of them ago \[us\].
const DAY: Moment = 24 * HOUR;

/// A gateway as the log knows it.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// Its identity: 16 hex digits.
    pub eui: String,
    /// What the site file calls it; `None` of a stranger.
    pub name: Option<String>,
    /// Its last sign of life.
    pub last_sign_of_life: Option<Moment>,
    /// Its newest report.
    pub report: Option<Report>,
    /// Frames in each of the last 24 hours, the oldest first.
    pub by_hour: [u32; HOURS],
    /// Devices of ours that it heard in that time: 16 hex digits each.
    pub devices: Vec<String>,
    /// Answers that it was asked to send in the last hour, and for how long in all \[us\].
    pub answers: (u32, Moment),
}

/// What a gateway reports on itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// When.
    pub at: Moment,
    /// Frames received.
    pub heard: Option<i64>,
    /// With a sound checksum.
    pub intact: Option<i64>,
    /// Share that was acknowledged, 0 to 1.
    pub acknowledged_share: Option<f64>,
    /// North positive \[°\].
    pub latitude_deg: Option<f64>,
    /// East positive \[°\].
    pub longitude_deg: Option<f64>,
    /// Its program and model, where it says them.
    pub software: Vec<String>,
}

/// All gateways that have ever sent something, and those of the site file, by name.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn all(log: &Connection, now: Moment) -> Result<Vec<Heard>, StoreError> {
    let mut statement =
        log.prepare_cached("SELECT id, eui, name, last_sign_of_life FROM gateway ORDER BY name, eui")?;
    let found = statement
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))?
        .collect::<Result<Vec<(i64, String, Option<String>, Option<Moment>)>, _>>()?;
    let (mut hours, mut devices) = (by_hour(log, now)?, devices(log, now)?);
    let gateway = |(id, eui, name, last_sign_of_life)| {
        Ok(Heard {
            eui,
            name,
            last_sign_of_life,
            report: report(log, id)?,
            by_hour: hours.remove(&id).unwrap_or_default(),
            devices: devices.remove(&id).unwrap_or_default(),
            answers: answers(log, id, now)?,
        })
    };
    found.into_iter().map(gateway).collect()
}

fn by_hour(log: &Connection, now: Moment) -> Result<BTreeMap<i64, [u32; HOURS]>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT reception.gateway, (?1 - frame.at) / ?2, count(*) FROM frame JOIN reception ON reception.frame = frame.id \
         WHERE frame.at > ?1 - ?3 AND frame.at <= ?1 AND reception.gateway IS NOT NULL GROUP BY 1, 2",
    )?;
    let mut found = statement.query(params![now, HOUR, DAY])?;
    let mut all: BTreeMap<i64, [u32; HOURS]> = BTreeMap::new();
    while let Some(row) = found.next()? {
        let (gateway, ago, count): (i64, u32, u32) = (row.get(0)?, row.get(1)?, row.get(2)?);
        let hours = all.entry(gateway).or_default();
        if let Some(hour) = (HOURS - 1).checked_sub(ago as usize).and_then(|place| hours.get_mut(place)) {
            *hour = count;
        }
    }
    Ok(all)
}

fn devices(log: &Connection, now: Moment) -> Result<BTreeMap<i64, Vec<String>>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT DISTINCT reception.gateway, node.dev_eui FROM frame JOIN reception ON reception.frame = frame.id \
         JOIN session ON session.id = frame.session JOIN node ON node.id = session.node \
         WHERE frame.at > ?1 AND verdict IN ('new', 'late', 'join') AND reception.gateway IS NOT NULL \
         ORDER BY node.dev_eui",
    )?;
    let mut found = statement.query([now - DAY])?;
    let mut all: BTreeMap<i64, Vec<String>> = BTreeMap::new();
    while let Some(row) = found.next()? {
        all.entry(row.get(0)?).or_default().push(row.get(1)?);
    }
    Ok(all)
}

fn report(log: &Connection, gateway: i64) -> Result<Option<Report>, StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT at, heard, intact, acknowledged_share, latitude, longitude, extra FROM gateway_report \
         WHERE gateway = ? ORDER BY at DESC LIMIT 1",
    )?;
    let found = statement.query_row([gateway], |row| {
        Ok(Report {
            at: row.get(0)?,
            heard: row.get(1)?,
            intact: row.get(2)?,
            acknowledged_share: row.get(3)?,
            latitude_deg: row.get(4)?,
            longitude_deg: row.get(5)?,
            software: software(row.get::<_, Option<String>>(6)?.as_deref()),
        })
    });
    Ok(found.optional()?)
}

/// What a gateway on a websocket says when it begins; others say nothing of it.
fn software(extra: Option<&str>) -> Vec<String> {
    let said: Option<serde_json::Value> = extra.and_then(|extra| serde_json::from_str(extra).ok());
    let word =
        |key: &str| said.as_ref()?.get(key)?.as_str().filter(|word| !word.is_empty()).map(str::to_owned);
    ["software", "model"].into_iter().filter_map(word).collect()
}

fn answers(log: &Connection, gateway: i64, now: Moment) -> Result<(u32, Moment), StoreError> {
    let mut statement = log.prepare_cached(
        "SELECT count(*), coalesce(sum(airtime_us), 0) FROM downlink WHERE gateway = ? AND asked_at > ?",
    )?;
    Ok(statement.query_row(params![gateway, now - HOUR], |row| Ok((row.get(0)?, row.get(1)?)))?)
}
