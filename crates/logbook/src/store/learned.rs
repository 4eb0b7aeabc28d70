//! What was learned of nodes: what was foretold of each day and seen, the swarm to go on with, and what it all says.

use forecast::learn::{BLOCKS, Band, DayBand};
use rusqlite::{Connection, OptionalExtension as _, params};
use wire::identity::DevEui;

use super::StoreError;
use crate::received::Moment;

/// What some days taught of a node.
#[derive(Clone, Debug, PartialEq)]
pub struct Lesson {
    /// Which node.
    pub dev_eui: DevEui,
    /// Since when it is this node: what was learned before a part was changed is of another.
    pub epoch: Moment,
    /// What was foretold of each day, and seen.
    pub days: Vec<DayBand>,
    /// The swarm after the last of them.
    pub swarm: Vec<u8>,
    /// What it says after the last day, if it was asked.
    pub said: Option<Said>,
}

/// What a swarm says after a day.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// Counted since 1970 on the place's mean solar clock.
    pub day: i64,
    /// Quantities with their bands, units in the names.
    pub figures: Vec<(&'static str, Band)>,
    /// All of it, as JSON.
    pub text: String,
}

/// Quantities of the table: what was foretold and seen of a block of hours, and how likely a kind of change was.
const FORETOLD: &str = "foretold_v_";
const SEEN: &str = "seen_v_";
const CHANGE: &str = "change_";

pub(super) fn keep(log: &Connection, lesson: &Lesson) -> Result<(), StoreError> {
    let node = super::rows::node_id(log, lesson.dev_eui)?;
    let node = node.ok_or_else(|| StoreError::Row {
        why: format!("something was learned of {}, which the log does not know", lesson.dev_eui),
    })?;
    let mut band = log.prepare_cached(
        "INSERT OR REPLACE INTO band (node, day, quantity, p05, p50, p95) VALUES (?, ?, ?, ?, ?, ?)",
    )?;
    for day in &lesson.days {
        for (quantity, Band { p05, p50, p95 }) in quantities(day) {
            band.execute(params![node, day.day, quantity, p05, p50, p95])?;
        }
    }
    if let Some(said) = &lesson.said {
        for (quantity, Band { p05, p50, p95 }) in &said.figures {
            band.execute(params![node, said.day, quantity, p05, p50, p95])?;
        }
        log.prepare_cached("INSERT OR REPLACE INTO truth (node, day, said) VALUES (?, ?, ?)")?
            .execute(params![node, said.day, said.text])?;
    }
    log.prepare_cached("DELETE FROM swarm WHERE node = ? AND epoch <> ?")?
        .execute(params![node, lesson.epoch])?;
    log.prepare_cached("INSERT OR REPLACE INTO swarm (node, epoch, bytes) VALUES (?, ?, ?)")?
        .execute(params![node, lesson.epoch, lesson.swarm])?;
    Ok(())
}

/// What is kept of a day; what was seen and how likely a change was have no doubt.
fn quantities(day: &DayBand) -> Vec<(String, Band)> {
    let sure = |value: f64| Band { p05: value, p50: value, p95: value };
    let places = || day.foretold_volts.iter().zip(day.seen_volts).enumerate();
    let foretold = places().filter_map(|(block, (band, _))| Some((format!("{FORETOLD}{block}"), (*band)?)));
    let seen = places().filter_map(|(block, (_, seen))| Some((format!("{SEEN}{block}"), sure(seen?))));
    let changes =
        day.regimes.iter().enumerate().map(|(kind, chance)| (format!("{CHANGE}{kind}"), sure(*chance)));
    foretold.chain(seen).chain(changes).collect()
}

/// The swarm of a node, if one of this epoch was kept.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn swarm(log: &Connection, dev_eui: DevEui, epoch: Moment) -> Result<Option<Vec<u8>>, StoreError> {
    let sql =
        "SELECT bytes FROM swarm JOIN node ON node.id = swarm.node WHERE node.dev_eui = ? AND epoch = ?";
    Ok(log
        .prepare_cached(sql)?
        .query_row(params![dev_eui.to_string(), epoch], |row| row.get(0))
        .optional()?)
}

/// What was foretold and seen of a node's days from one on, in their order.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn days(log: &Connection, dev_eui: DevEui, from_day: i64) -> Result<Vec<DayBand>, StoreError> {
    let sql = "SELECT day, quantity, p05, p50, p95 FROM band JOIN node ON node.id = band.node \
               WHERE node.dev_eui = ? AND day >= ? ORDER BY day";
    let mut statement = log.prepare_cached(sql)?;
    let mut rows = statement.query(params![dev_eui.to_string(), from_day])?;
    let mut days: Vec<DayBand> = Vec::new();
    while let Some(row) = rows.next()? {
        let (day, quantity): (i64, String) = (row.get(0)?, row.get(1)?);
        let band = Band { p05: row.get(2)?, p50: row.get(3)?, p95: row.get(4)? };
        if days.last().is_none_or(|last| last.day != day) {
            days.push(DayBand { day, ..DayBand::default() });
        }
        if let Some(last) = days.last_mut() {
            take(last, &quantity, band);
        }
    }
    Ok(days)
}

/// Takes a quantity of a day; those of other kinds are passed over.
fn take(day: &mut DayBand, quantity: &str, band: Band) {
    let place = |prefix: &str| {
        quantity
            .strip_prefix(prefix)
            .and_then(|number| number.parse::<usize>().ok())
            .filter(|place| *place < BLOCKS)
    };
    if let Some(slot) = place(FORETOLD).and_then(|block| day.foretold_volts.get_mut(block)) {
        *slot = Some(band);
    } else if let Some(slot) = place(SEEN).and_then(|block| day.seen_volts.get_mut(block)) {
        *slot = Some(band.p50);
    } else if let Some(slot) = place(CHANGE).and_then(|kind| day.regimes.get_mut(kind)) {
        *slot = band.p50;
    }
}

/// What was said of a node after the days before one, without a gap, the latest first: at most so many.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn said_before(
    log: &Connection,
    dev_eui: DevEui,
    day: i64,
    most: u32,
) -> Result<Vec<String>, StoreError> {
    let sql = "SELECT day, said FROM truth JOIN node ON node.id = truth.node \
               WHERE node.dev_eui = ? AND day < ? ORDER BY day DESC LIMIT ?";
    let mut statement = log.prepare_cached(sql)?;
    let mut rows = statement.query(params![dev_eui.to_string(), day, most])?;
    let mut said = Vec::new();
    for expected in (0..day).rev() {
        let Some(row) = rows.next()? else { break };
        if row.get::<_, i64>(0)? != expected {
            break;
        }
        said.push(row.get(1)?);
    }
    Ok(said)
}
