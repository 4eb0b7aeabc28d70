//! Rows of a batch that wait to be written together: many in one statement.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, Statement, ToSql};
use serde_json::Value;

use super::StoreError;
use super::rows::Id;
use crate::readings::Said;
use crate::received::{Moment, Received};

/// Rows that one statement writes; what is left over goes one by one.
const AT_ONCE: usize = 32;

const FRAME: (&str, usize, &str) = (
    "INSERT INTO frame (id, seq, arrived_at, at, at_from, kind, verdict, reason, session, fcnt, port, confirmed, adr, \
     bytes, payload, options, data_rate, freq_hz, airtime_us, source, clock_unsure) VALUES ",
    21,
    "",
);
const RECEPTION: (&str, usize, &str) = (
    "INSERT INTO reception (frame, arrived_at, gateway, rssi, snr, gateway_clock_us, gps_us, clock_unsure) VALUES ",
    8,
    "",
);
const READING: (&str, usize, &str) = (
    "INSERT INTO reading (node, at, message, frame, edition, vals, marks, rebuilt, late) VALUES ",
    9,
    " ON CONFLICT (node, at, message, frame, rebuilt) DO UPDATE SET edition = excluded.edition, vals = excluded.vals, \
     marks = excluded.marks, late = excluded.late",
);

/// What becomes a row of `frame`.
pub(super) struct FrameRow<'a> {
    pub(super) id: Id,
    /// When it was heard: by the gateway's word where that is believed.
    pub(super) at: Moment,
    pub(super) received: &'a Received,
    pub(super) source: &'a str,
    pub(super) kind: &'static str,
    pub(super) verdict: &'static str,
    pub(super) reason: Option<String>,
    pub(super) session: Option<Id>,
    pub(super) fcnt: Option<u32>,
    pub(super) port: Option<u8>,
    pub(super) flags: Option<(bool, bool)>,
    pub(super) payload: Option<&'a [u8]>,
    pub(super) options: Option<&'a [u8]>,
    pub(super) airtime_us: Option<Moment>,
    pub(super) clock_unsure: bool,
}

/// What becomes a row of `reception`.
pub(super) struct ReceptionRow<'a> {
    pub(super) frame: Id,
    pub(super) gateway: Id,
    pub(super) received: &'a Received,
    pub(super) clock_unsure: bool,
}

/// What becomes a row of `reading`.
pub(super) struct ReadingRow {
    pub(super) node: Id,
    pub(super) at: Moment,
    pub(super) message: String,
    pub(super) frame: Id,
    pub(super) edition: Id,
    pub(super) values: String,
    pub(super) marks: Option<String>,
    pub(super) rebuilt: bool,
    pub(super) late: bool,
}

/// The rows of a batch, and the counters that it moves.
#[derive(Default)]
pub(super) struct Sheet<'a> {
    pub(super) frames: Vec<FrameRow<'a>>,
    pub(super) receptions: Vec<ReceptionRow<'a>>,
    pub(super) readings: Vec<ReadingRow>,
    /// The newest counter of a session.
    pub(super) counters: BTreeMap<Id, u32>,
    /// Nodes and hours that must be worked out again.
    pub(super) stale: BTreeSet<(Id, i64)>,
}

impl Sheet<'_> {
    /// Rows that wait.
    pub(super) fn len(&self) -> usize {
        self.frames.len() + self.receptions.len() + self.readings.len()
    }

    /// Writes what waits; what was written before in this transaction is there already.
    pub(super) fn write(&mut self, log: &Connection) -> Result<(), StoreError> {
        write(log, FRAME, &self.frames, frame)?;
        write(log, RECEPTION, &self.receptions, reception)?;
        write(log, READING, &self.readings, reading)?;
        let sql = "UPDATE session SET last_up = max(coalesce(last_up, -1), ?2) WHERE id = ?1";
        let mut raise = log.prepare_cached(sql)?;
        for (session, fcnt) in &self.counters {
            raise.execute((session, fcnt))?;
        }
        let mut grow_stale =
            log.prepare_cached("INSERT OR IGNORE INTO stale_hour (node, hour) VALUES (?, ?)")?;
        for node_and_hour in &self.stale {
            grow_stale.execute(*node_and_hour)?;
        }
        *self = Self::default();
        Ok(())
    }
}

impl Sheet<'_> {
    /// What a frame of a node says: its own reading, and those that rode along in place of messages that were lost.
    pub(super) fn put_readings(
        &mut self,
        (node, frame, at): (Id, Id, Moment),
        edition: Id,
        said: &Said<'_>,
        late: bool,
    ) {
        let row = |at, values: &[Value], marks, rebuilt| ReadingRow {
            node,
            at,
            message: said.message.name.clone(),
            frame,
            edition,
            values: as_text(values),
            marks,
            rebuilt,
            late,
        };
        let marks = (!said.marks.is_empty()).then(|| serde_json::json!(said.marks).to_string());
        self.readings.push(row(at, &said.values, marks, false));
        for (before, values) in &said.earlier {
            self.readings.push(row(at - before, values, None, true));
        }
    }
}

/// A list in JSON.
fn as_text(values: &[Value]) -> String {
    serde_json::to_string(values).expect("numbers, words and nulls")
}

/// Values of one row, in the order of the columns.
struct Values<'s, 'c> {
    statement: &'s mut Statement<'c>,
    place: usize,
}

impl Values<'_, '_> {
    fn put(&mut self, value: impl ToSql) -> Result<(), rusqlite::Error> {
        self.place += 1;
        self.statement.raw_bind_parameter(self.place, value)
    }
}

type Bind<R> = fn(&R, &mut Values<'_, '_>) -> Result<(), rusqlite::Error>;

fn write<R>(
    log: &Connection,
    (insert, columns, after): (&str, usize, &str),
    rows: &[R],
    bind: Bind<R>,
) -> Result<(), StoreError> {
    let row = format!("({})", vec!["?"; columns].join(","));
    let (together, alone) = rows.as_chunks::<AT_ONCE>();
    if !together.is_empty() {
        let sql = format!("{insert}{}{after}", vec![row.as_str(); AT_ONCE].join(","));
        let mut statement = log.prepare_cached(&sql)?;
        for chunk in together {
            let mut values = Values { statement: &mut statement, place: 0 };
            chunk.iter().try_for_each(|row| bind(row, &mut values))?;
            statement.raw_execute()?;
        }
    }
    if !alone.is_empty() {
        let mut statement = log.prepare_cached(&format!("{insert}{row}{after}"))?;
        for row in alone {
            bind(row, &mut Values { statement: &mut statement, place: 0 })?;
            statement.raw_execute()?;
        }
    }
    Ok(())
}

fn frame(row: &FrameRow<'_>, values: &mut Values<'_, '_>) -> Result<(), rusqlite::Error> {
    let received = row.received;
    values.put(row.id)?;
    values.put(row.id)?;
    values.put(received.arrived_at)?;
    values.put(row.at)?;
    let is_by_gateway = !row.clock_unsure && received.heard_at().is_some();
    values.put(if is_by_gateway { "gateway" } else { "arrival" })?;
    values.put(row.kind)?;
    values.put(row.verdict)?;
    values.put(row.reason.as_deref())?;
    values.put(row.session)?;
    values.put(row.fcnt)?;
    values.put(row.port)?;
    values.put(row.flags.map(|(confirmed, _)| confirmed))?;
    values.put(row.flags.map(|(_, adr)| adr))?;
    values.put(&received.bytes)?;
    values.put(row.payload)?;
    values.put(row.options)?;
    values.put(&received.radio.data_rate)?;
    values.put(received.radio.frequency_hz)?;
    values.put(row.airtime_us)?;
    values.put(row.source)?;
    values.put(row.clock_unsure.then_some(1))
}

fn reception(row: &ReceptionRow<'_>, values: &mut Values<'_, '_>) -> Result<(), rusqlite::Error> {
    let radio = &row.received.radio;
    values.put(row.frame)?;
    values.put(row.received.arrived_at)?;
    values.put(row.gateway)?;
    values.put(radio.rssi_dbm)?;
    values.put(radio.snr_db)?;
    values.put(radio.clock_us)?;
    values.put(radio.gps_us)?;
    values.put(row.clock_unsure.then_some(1))
}

fn reading(row: &ReadingRow, values: &mut Values<'_, '_>) -> Result<(), rusqlite::Error> {
    values.put(row.node)?;
    values.put(row.at)?;
    values.put(&row.message)?;
    values.put(row.frame)?;
    values.put(row.edition)?;
    values.put(&row.values)?;
    values.put(row.marks.as_deref())?;
    values.put(row.rebuilt)?;
    values.put(row.late)
}
