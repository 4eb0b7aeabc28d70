//! Who was at a node, and what was done there.

use rusqlite::{Connection, OptionalExtension as _, params};
use wire::identity::DevEui;

use super::StoreError;
use super::people::{By, People, deed};
use crate::received::Moment;

/// Parts that a visit may change, by the words of page and API.
pub const PARTS: [&str; 7] = ["battery", "panel", "charger", "radio", "sensor", "antenna", "board"];
/// Longest text of what was done \[characters\] (own choice).
pub const LONGEST_WHAT: usize = 2000;
/// Longest name of a certificate \[characters\] (own choice).
pub const LONGEST_CERTIFICATE: usize = 200;
/// Largest picture \[bytes\]: a phone scales it down first.
pub const LARGEST_PHOTO: usize = 2_000_000;

/// Somebody was at a node.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Visit {
    /// As the log numbers them.
    pub id: i64,
    /// Where: 16 hex digits.
    pub dev_eui: String,
    /// When.
    pub at: Moment,
    /// Who.
    pub by: String,
    /// What was done.
    pub what: String,
    /// Parts that were changed: an epoch of learning begins.
    pub parts: Vec<String>,
    /// Name of the file of its picture, beside the log.
    pub photo_file: Option<String>,
    /// What the certificate of a calibration is called.
    pub certificate: Option<String>,
    /// When the next calibration is due: the beginning of that day, UTC.
    pub due: Option<Moment>,
}

/// A visit that is to be noted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Note<'a> {
    /// Number of the sender's own.
    pub own_id: &'a str,
    /// Where: 16 hex digits.
    pub dev_eui: &'a str,
    /// When.
    pub at: Moment,
    /// What was done.
    pub what: &'a str,
    /// Parts that were changed, of [`PARTS`].
    pub parts: &'a [String],
    /// Name of the file of its picture.
    pub photo_file: Option<&'a str>,
    /// What the certificate of a calibration is called.
    pub certificate: Option<&'a str>,
    /// When the next calibration is due: the beginning of that day, UTC.
    pub due: Option<Moment>,
}

/// Whether a text can be the sender's own number of a visit: 8 to 64 letters, digits and `-`.
pub fn is_own_id(text: &str) -> bool {
    (8..=64).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
}

impl People {
    /// Notes a visit; its number, and whether it was there already. None if the log has no such node.
    ///
    /// # Errors
    /// [`StoreError`]; nothing was changed then.
    pub fn note_visit(&self, note: Note<'_>, by: By<'_>) -> Result<Option<(i64, bool)>, StoreError> {
        let change = self.begin()?;
        let known = "SELECT id FROM visit WHERE own_id = ?";
        if let Some(id) = change.query_row(known, [note.own_id], |row| row.get(0)).optional()? {
            return Ok(Some((id, true)));
        }
        let node = "SELECT id FROM node WHERE dev_eui = ?";
        let node: Option<i64> = change.query_row(node, [note.dev_eui], |row| row.get(0)).optional()?;
        let Some(node) = node else { return Ok(None) };
        let parts =
            (!note.parts.is_empty()).then(|| serde_json::Value::from(note.parts.to_vec()).to_string());
        let id = change.query_row(
            "INSERT INTO visit (node, at, \"by\", what, parts, photo_file, own_id, certificate, due) \
             VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
            params![
                node,
                note.at,
                by.who,
                note.what,
                parts,
                note.photo_file,
                note.own_id,
                note.certificate,
                note.due
            ],
            |row| row.get(0),
        )?;
        deed(&change, by, "noted a visit", note.dev_eui)?;
        change.commit()?;
        Ok(Some((id, false)))
    }
}

impl People {
    /// Notes that a node was put somewhere, and where it stood before as far as that is known: north and east positive \[°\]. It is
    /// a visit whose `before` and `after` are the places. Nothing is noted of a node that the log has not.
    ///
    /// # Errors
    /// [`StoreError`]; nothing was changed then.
    pub fn note_put(
        &self,
        dev_eui: &str,
        before: Option<(f64, f64)>,
        after: (f64, f64),
        by: By<'_>,
    ) -> Result<(), StoreError> {
        let change = self.begin()?;
        let place = |(latitude, longitude): (f64, f64)| {
            serde_json::json!({ "latitude_deg": latitude, "longitude_deg": longitude }).to_string()
        };
        let what = format!("stands at {:.6}, {:.6}", after.0, after.1);
        change.execute(
            "INSERT INTO visit (node, at, \"by\", what, before, after) SELECT id, ?2, ?3, ?4, ?5, ?6 FROM node WHERE dev_eui = ?1",
            params![dev_eui, by.at, by.who, what, before.map(place), place(after)],
        )?;
        deed(&change, by, &format!("said that it {what}"), dev_eui)?;
        Ok(change.commit()?)
    }
}

/// Visits, the newest first: of one node, or of all; at most so many.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn visits(log: &Connection, dev_eui: Option<&str>, most: u32) -> Result<Vec<Visit>, StoreError> {
    let sql = "SELECT visit.id, node.dev_eui, at, \"by\", what, parts, photo_file, certificate, due FROM visit \
               JOIN node ON node.id = visit.node WHERE ?1 IS NULL OR node.dev_eui = ?1 ORDER BY at DESC, visit.id DESC LIMIT ?2";
    let mut statement = log.prepare_cached(sql)?;
    let mut rows = statement.query(params![dev_eui, most])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let parts = row.get::<_, Option<String>>(5)?.map(|text| serde_json::from_str(&text)).transpose();
        let id = row.get(0)?;
        all.push(Visit {
            id,
            dev_eui: row.get(1)?,
            at: row.get(2)?,
            by: row.get(3)?,
            what: row.get(4)?,
            parts: parts
                .map_err(|error| StoreError::Damaged { why: format!("visit {id}: {error}") })?
                .unwrap_or_default(),
            photo_file: row.get(6)?,
            certificate: row.get(7)?,
            due: row.get(8)?,
        });
    }
    Ok(all)
}

/// Name of the file of a visit's picture, if it has one.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn photo_file(log: &Connection, id: i64) -> Result<Option<String>, StoreError> {
    let sql = "SELECT photo_file FROM visit WHERE id = ?";
    Ok(log.query_row(sql, [id], |row| row.get(0)).optional()?.flatten())
}

/// When the next calibration of each device is due, by the newest of its visits that says so.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn due(log: &Connection) -> Result<Vec<(DevEui, Moment)>, StoreError> {
    let sql = "SELECT node.dev_eui, due, max(visit.at) FROM visit JOIN node ON node.id = visit.node \
               WHERE due IS NOT NULL GROUP BY node.dev_eui ORDER BY node.dev_eui";
    let mut statement = log.prepare_cached(sql)?;
    let mut rows = statement.query([])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let text: String = row.get(0)?;
        let dev_eui = DevEui::from_display(&text)
            .map_err(|error| StoreError::Damaged { why: format!("device {text}: {error}") })?;
        all.push((dev_eui, row.get(1)?));
    }
    Ok(all)
}

/// When the epoch of learning began in which a moment lies: with the newest visit before it that changed a part of the device.
/// What was learned before tells of another node; none if no part was changed.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn epoch(log: &Connection, dev_eui: DevEui, at: Moment) -> Result<Option<Moment>, StoreError> {
    let sql = "SELECT max(visit.at) FROM visit JOIN node ON node.id = visit.node \
               WHERE node.dev_eui = ? AND visit.at <= ? AND parts IS NOT NULL \
               AND parts NOT IN ('', '[]', '{}', 'null')";
    Ok(log.prepare_cached(sql)?.query_row(params![dev_eui.to_string(), at], |row| row.get(0))?)
}
