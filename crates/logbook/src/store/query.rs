//! Reading back: all readings of a time, and what pages show.
//!
//! - [`heard`]: frames, the newest first.
//! - [`gateways`]: what hears them.
//! - [`nodes`]: one node.
//! - [`supply`]: what a device told of its battery and panel.

pub mod gateways;
pub mod heard;
pub mod life;
pub mod nodes;
pub mod supply;

use std::collections::BTreeMap;

use rusqlite::{Connection, params};
use serde_json::Value;

use super::StoreError;
use crate::received::Moment;

/// One reading as it was kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Whose: 16 hex digits.
    pub dev_eui: String,
    /// When.
    pub at: Moment,
    /// Kind of node by whose design it was read.
    pub kind: String,
    /// Message of that design.
    pub message: String,
    /// Its values by column; null if absent.
    pub values: Vec<(String, Value)>,
    /// Columns whose value lay beyond the range, and on which side.
    pub marks: BTreeMap<String, String>,
    /// A newer one came before it.
    pub late: bool,
    /// It rode along with a later message, in place of one that was lost.
    pub rebuilt: bool,
}

/// Calls for each reading of a time [from, to), in the order of time.
///
/// # Errors
/// [`StoreError`] if the log can't be read, or what the call gives back.
pub fn readings<E: From<StoreError>>(
    log: &Connection,
    from: Moment,
    to: Moment,
    mut each: impl FnMut(Reading) -> Result<(), E>,
) -> Result<(), E> {
    let sql = "SELECT node.dev_eui, reading.at, edition.kind, message, vals, edition.fields, marks, late, rebuilt FROM reading \
               JOIN node ON node.id = reading.node JOIN edition ON edition.id = reading.edition \
               WHERE reading.at >= ?1 AND reading.at < ?2 ORDER BY reading.at, reading.node, message, rebuilt";
    let mut statement = log.prepare(sql).map_err(StoreError::from)?;
    let mut found = statement.query(params![from, to]).map_err(StoreError::from)?;
    while let Some(row) = found.next().map_err(StoreError::from)? {
        each(reading(row)?)?;
    }
    Ok(())
}

fn reading(row: &rusqlite::Row<'_>) -> Result<Reading, StoreError> {
    let damaged = |error: serde_json::Error| StoreError::Damaged { why: format!("a reading: {error}") };
    let message: String = row.get(3)?;
    let values: Vec<Value> = serde_json::from_str(&row.get::<_, String>(4)?).map_err(damaged)?;
    let mut fields: BTreeMap<String, Vec<String>> =
        serde_json::from_str(&row.get::<_, String>(5)?).map_err(damaged)?;
    let names = fields.remove(&message).unwrap_or_default();
    if names.len() != values.len() {
        let why = format!("a reading of `{message}` has {} values for {} fields", values.len(), names.len());
        return Err(StoreError::Damaged { why });
    }
    let marks = row.get::<_, Option<String>>(6)?;
    let marks = marks.map(|text| serde_json::from_str(&text)).transpose().map_err(damaged)?;
    Ok(Reading {
        dev_eui: row.get(0)?,
        at: row.get(1)?,
        kind: row.get(2)?,
        message,
        values: names.into_iter().zip(values).collect(),
        marks: marks.unwrap_or_default(),
        late: row.get(7)?,
        rebuilt: row.get(8)?,
    })
}
