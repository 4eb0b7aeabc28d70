//! The whole life of a node, as the log knows it.

use rusqlite::{Connection, params};

use super::super::StoreError;
use crate::received::Moment;

/// What the log knows of a node from its first frame to its last.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Life {
    /// First frame that was believed.
    pub first: Option<Moment>,
    /// Last frame that was believed.
    pub last: Option<Moment>,
    /// Days of the calendar (UTC) on which it was heard.
    pub days_heard: u32,
    /// Messages that were kept, late ones among them.
    pub kept: u32,
    /// Messages that never came, by their counters.
    pub lost: u32,
    /// Joins.
    pub joins: u32,
    /// The longest time between two messages, and when it began \[us\].
    pub longest_silence: Option<(Moment, Moment)>,
    /// Alarms by rule, in the order of their names.
    pub alarms: Vec<(String, u32)>,
    /// Visits, and of them those that changed a part.
    pub visits: (u32, u32),
}

/// The life of a device.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn life(log: &Connection, dev_eui: &str) -> Result<Life, StoreError> {
    let own = "(SELECT session.id FROM session JOIN node ON node.id = session.node WHERE node.dev_eui = ?1)";
    let sql = format!(
        "SELECT min(at), max(at), count(DISTINCT at / 86400000000), \
         count(*) FILTER (WHERE verdict <> 'join'), count(*) FILTER (WHERE verdict = 'join') \
         FROM frame WHERE session IN {own} AND verdict IN ('new', 'late', 'join')"
    );
    let mut life = log.query_row(&sql, [dev_eui], |row| {
        Ok(Life {
            first: row.get(0)?,
            last: row.get(1)?,
            days_heard: row.get(2)?,
            kept: row.get(3)?,
            joins: row.get(4)?,
            ..Life::default()
        })
    })?;
    life.lost = super::nodes::losses(log, dev_eui, Moment::MIN)?.1;
    let sql = format!(
        "SELECT at - before, before FROM (SELECT at, lag(at) OVER (ORDER BY at) AS before FROM frame \
         WHERE session IN {own} AND verdict IN ('new', 'late')) WHERE before IS NOT NULL ORDER BY 1 DESC LIMIT 1"
    );
    let mut statement = log.prepare(&sql)?;
    let mut silences = statement.query_map([dev_eui], |row| Ok((row.get(0)?, row.get(1)?)))?;
    life.longest_silence = silences.next().transpose()?;
    let mut statement = log.prepare(
        "SELECT rule, count(*) FROM alarm JOIN node ON node.id = alarm.node WHERE node.dev_eui = ? GROUP BY rule ORDER BY rule",
    )?;
    let alarms = statement.query_map(params![dev_eui], |row| Ok((row.get(0)?, row.get(1)?)))?;
    life.alarms = alarms.collect::<Result<_, _>>()?;
    let visits =
        "SELECT count(*), count(parts) FROM visit JOIN node ON node.id = visit.node WHERE node.dev_eui = ?";
    life.visits = log.query_row(visits, [dev_eui], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(life)
}
