//! Uplinks that another network has verified and decrypted become rows.
//!
//! A row bears the whole message; of a message with several uplinks the first row that is kept bears it, and the others name
//! that row.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::Arc;

use rusqlite::{Connection, OptionalExtension as _, params};
use wire::frame::{AcceptedCounters, LATE_WINDOW};
use wire::identity::DevEui;

use super::super::rows::Id;
use super::super::sheet::Sheet;
use super::super::{StoreError, settings};
use super::{Keeper, KeptFrame, lost, told};
use crate::mapping::run::{Placed, Run, SAME_WITHIN_DAYS};
use crate::mapping::{Message, Reported};
use crate::received::Moment;

/// Microseconds of a day.
const DAY: Moment = 24 * 3_600_000_000;
/// Where a source tells neither counter nor time, equal bytes within this time are one uplink delivered twice (own choice:
/// below the shortest reporting interval).
const SAME_WITHIN: Moment = 60_000_000;

/// The run in which each device stands at each source.
pub(super) type Runs = BTreeMap<(DevEui, String), Standing>;

/// A run as it was kept.
#[derive(Clone, Copy, Debug)]
pub(super) struct Standing {
    session: Id,
    number: u32,
    run: Run,
}

/// Where an uplink belongs.
struct Place {
    standing: Standing,
    verdict: &'static str,
    /// Messages between it and the one before that did not come.
    lost: usize,
}

impl Keeper {
    /// Writes the rows of a message; a row for each of its uplinks that is no copy.
    ///
    /// # Errors
    /// [`StoreError`]; then what was written in this transaction is to be undone, and the rows to be loaded.
    pub fn keep_message(
        &mut self,
        log: &Connection,
        message: &Message,
    ) -> Result<Vec<KeptFrame>, StoreError> {
        let mut all = Vec::new();
        let mut whole = None;
        for uplink in &message.uplinks {
            let kept = match uplink {
                Ok(reported) => self.keep_reported(log, message, reported, whole)?,
                Err(why) => self.keep_refused(log, message, why.word(), &why.to_string(), whole)?,
            };
            if kept.verdict != "copy" {
                whole.get_or_insert(kept.seq);
            }
            all.push(kept);
        }
        Ok(all)
    }

    /// Another network has been asked to tell a node something.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn asked_elsewhere(
        &mut self,
        log: &Connection,
        setting: Id,
        at: Moment,
        taken: bool,
    ) -> Result<(), StoreError> {
        settings::asked_elsewhere(log, setting, at, taken)?;
        self.asked_elsewhere = settings::asked_of(log)?;
        Ok(())
    }

    /// Keeps a message that made the log refuse its rows: its bytes, and why.
    ///
    /// # Errors
    /// [`StoreError`] if even that can't be kept.
    pub fn keep_message_bytes(
        &mut self,
        log: &Connection,
        message: &Message,
        why: &str,
    ) -> Result<KeptFrame, StoreError> {
        self.keep_refused(log, message, "refused:store", why, None)
    }

    fn keep_refused(
        &mut self,
        log: &Connection,
        message: &Message,
        verdict: &'static str,
        why: &str,
        whole: Option<Id>,
    ) -> Result<KeptFrame, StoreError> {
        let kept = KeptFrame { verdict, reason: Some(why.to_owned()), ..self.blank(message, None) };
        keep_row(log, message, &kept, None, whole)?;
        self.next_frame += 1;
        Ok(kept)
    }

    fn keep_reported(
        &mut self,
        log: &Connection,
        message: &Message,
        reported: &Reported,
        whole: Option<Id>,
    ) -> Result<KeptFrame, StoreError> {
        let node = self.nodes.get(&reported.dev_eui).ok_or_else(|| lost("its device has no row"))?.id;
        let mut kept = self.blank(message, Some(reported));
        let Some(place) = self.place(log, node, message, reported)? else {
            return Ok(KeptFrame { verdict: "copy", ..kept });
        };
        kept.verdict = place.verdict;
        let said = {
            let content = &reported.content;
            self.said(reported.dev_eui, kept.at, content.port(), content.bytes(), place.lost)
        };
        kept.reason = match &said {
            Ok((_, said)) => said.note().or(kept.reason),
            Err(unreadable) => Some(unreadable.clone()),
        };
        keep_row(log, message, &kept, Some((place.standing.session, reported)), whole)?;
        if let Ok((edition, said)) = said {
            let mut sheet = Sheet::default();
            sheet.put_readings((node, kept.seq, kept.at), edition, &said, kept.verdict == "late");
            kept.message = Some(told(said));
            self.note_stale(reported.dev_eui, &mut sheet, 0);
            sheet.write(log)?;
        }
        if reported.rssi_dbm.is_some() || reported.snr_db.is_some() {
            log.prepare_cached(
                "INSERT INTO reception (frame, arrived_at, rssi, snr, clock_unsure) VALUES (?, ?, ?, ?, ?)",
            )?
            .execute(params![
                kept.seq,
                message.arrived_at,
                reported.rssi_dbm,
                reported.snr_db,
                kept.clock_unsure.then_some(1)
            ])?;
        }
        let was_asked = kept.verdict == "new" && self.asked_elsewhere.contains(&reported.dev_eui);
        if was_asked && !settings::heard_after(log, node, kept.seq)? {
            self.asked_elsewhere.remove(&reported.dev_eui);
        }
        self.runs.insert((reported.dev_eui, message.source.clone()), place.standing);
        self.next_frame += 1;
        Ok(kept)
    }

    /// What is known of an uplink, or of a message that has none, before it is placed.
    fn blank(&self, message: &Message, reported: Option<&Reported>) -> KeptFrame {
        let at = reported.and_then(|reported| reported.at).unwrap_or(message.arrived_at);
        let dev_eui = reported.map(|reported| reported.dev_eui);
        let row = dev_eui.and_then(|dev_eui| self.named_row_at(dev_eui, at));
        KeptFrame {
            seq: self.next_frame,
            arrived_at: message.arrived_at,
            at,
            verdict: "",
            reason: None,
            dev_eui,
            name: row.map(|(_, name)| Arc::clone(name)),
            fcnt: reported.and_then(|reported| reported.counter),
            port: reported.and_then(|reported| reported.content.port()),
            message: None,
            source: Cow::Owned(message.source.clone()),
            gateway: None,
            data_rate: None,
            frequency_hz: None,
            rssi_dbm: reported.and_then(|reported| reported.rssi_dbm),
            snr_db: reported.and_then(|reported| reported.snr_db),
            length: reported.map_or(message.body.len(), |reported| reported.content.bytes().len()),
            clock_unsure: !self.belief.holds(message.arrived_at),
        }
    }

    /// Where an uplink belongs, with its session begun or brought forward; `None` for one that was kept before.
    fn place(
        &self,
        log: &Connection,
        node: Id,
        message: &Message,
        reported: &Reported,
    ) -> Result<Option<Place>, StoreError> {
        let source = &message.source;
        let known = self.runs.get(&(reported.dev_eui, source.clone())).copied();
        let standing = known.map_or_else(|| standing(log, node, source), |known| Ok(Some(known)))?;
        let delivered = delivered(log, node, message, reported, standing)?;
        let run = standing.map_or_else(Run::default, |standing| standing.run);
        let at = reported.at.unwrap_or(message.arrived_at);
        let (verdict, run, anew) = match run.place(reported, delivered) {
            Placed::Copy => return Ok(None),
            Placed::New(run) => ("new", run, false),
            Placed::Late(run) => ("late", run, false),
            Placed::NewRun(run) => ("new", run, true),
        };
        let before = standing.filter(|_| !anew);
        let (session, number) = match before {
            Some(standing) => (standing.session, standing.number),
            None => begin(log, node, source, standing, at)?,
        };
        if verdict == "new"
            && let Some(counter) = reported.counter
        {
            let mut sheet = Sheet::default();
            sheet.counters.insert(session, counter);
            sheet.write(log)?;
        }
        let lost = match (before.and_then(|standing| standing.run.last), reported.counter, verdict) {
            (Some(last), Some(counter), "new") => counter.saturating_sub(last).saturating_sub(1),
            _ => 0,
        };
        let lost = usize::try_from(lost).unwrap_or(usize::MAX);
        Ok(Some(Place { standing: Standing { session, number, run }, verdict, lost }))
    }
}

/// The newest run of a node at a source.
fn standing(log: &Connection, node: Id, source: &str) -> Result<Option<Standing>, StoreError> {
    let found = log
        .prepare_cached(
            "SELECT id, run, last_up FROM session WHERE node = ? AND source = ? ORDER BY run DESC LIMIT 1",
        )?
        .query_row(params![node, source], |row| Ok((row.get(0)?, row.get(1)?, row.get::<_, Option<u32>>(2)?)))
        .optional()?;
    let Some((session, number, last)) = found else { return Ok(None) };
    let mut run = Run { last, seen: AcceptedCounters::default() };
    if let Some(last) = last {
        let mut statement = log.prepare_cached(
            "SELECT fcnt FROM frame WHERE session = ? AND fcnt >= ? AND fcnt < ? AND verdict IN ('new', 'late')",
        )?;
        let first = last.saturating_sub(LATE_WINDOW);
        let below = statement.query_map(params![session, first, last], |row| row.get::<_, u32>(0))?;
        for counter in below {
            run.seen = run.seen.after_late(last, counter?);
        }
    }
    Ok(Some(Standing { session, number, run }))
}

/// Whether an uplink was kept before.
fn delivered(
    log: &Connection,
    node: Id,
    message: &Message,
    reported: &Reported,
    standing: Option<Standing>,
) -> Result<bool, StoreError> {
    if reported.at.is_some() {
        let sql = "SELECT EXISTS (SELECT 1 FROM session JOIN frame ON frame.session = session.id \
                   WHERE session.node = ? AND session.source = ? AND frame.report_key = ?)";
        return Ok(log
            .prepare_cached(sql)?
            .query_row(params![node, message.source, reported.key()], |row| row.get(0))?);
    }
    let Some(Standing { session, .. }) = standing else { return Ok(false) };
    if reported.counter.is_some() {
        let since = message.arrived_at - DAY * Moment::from(SAME_WITHIN_DAYS);
        let sql = "SELECT EXISTS (SELECT 1 FROM frame WHERE session = ? AND report_key = ? \
                   AND (at >= ? OR clock_unsure))";
        return Ok(log
            .prepare_cached(sql)?
            .query_row(params![session, reported.key(), since], |row| row.get(0))?);
    }
    let around = (message.arrived_at - SAME_WITHIN, message.arrived_at + SAME_WITHIN);
    let sql = "SELECT EXISTS (SELECT 1 FROM frame WHERE session = ? AND at BETWEEN ? AND ? AND port IS ? AND payload = ?)";
    Ok(log.prepare_cached(sql)?.query_row(
        params![session, around.0, around.1, reported.content.port(), reported.content.bytes()],
        |row| row.get(0),
    )?)
}

/// Begins a run; the one before is closed.
fn begin(
    log: &Connection,
    node: Id,
    source: &str,
    before: Option<Standing>,
    at: Moment,
) -> Result<(Id, u32), StoreError> {
    if let Some(Standing { session, .. }) = before {
        log.prepare_cached("UPDATE session SET state = 'closed', closed = ?2 WHERE id = ?1")?
            .execute(params![session, at])?;
    }
    let number = before.map_or(1, |before| before.number.saturating_add(1));
    let session = log
        .prepare_cached(
            "INSERT INTO session (node, source, run, state, opened) VALUES (?, ?, ?, 'open', ?) RETURNING id",
        )?
        .query_row(params![node, source, number, at], |row| row.get(0))?;
    Ok((session, number))
}

fn keep_row(
    log: &Connection,
    message: &Message,
    kept: &KeptFrame,
    placed: Option<(Id, &Reported)>,
    whole: Option<Id>,
) -> Result<(), StoreError> {
    let reported = placed.map(|(_, reported)| reported);
    let reason = match (whole, &kept.reason) {
        (None, reason) => reason.clone(),
        (Some(whole), None) => Some(format!("in the message of frame {whole}")),
        (Some(whole), Some(reason)) => Some(format!("{reason}; in the message of frame {whole}")),
    };
    // Without counter and time the same bytes may be sent again: then they are another uplink.
    let key = reported.map(|reported| match (reported.counter, reported.at) {
        (None, None) => format!("{} arrived {}", reported.key(), message.arrived_at),
        _ => reported.key(),
    });
    let from = if reported.is_some_and(|reported| reported.at.is_some()) { "upstream" } else { "arrival" };
    log.prepare_cached(
        "INSERT INTO frame (id, seq, arrived_at, at, at_from, kind, verdict, reason, session, fcnt, port, bytes, payload, \
         source, report_key, clock_unsure) VALUES (?1, ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)",
    )?
    .execute(params![
        kept.seq,
        message.arrived_at,
        kept.at,
        from,
        if reported.is_some() { "up" } else { "other" },
        kept.verdict,
        reason,
        placed.map(|(session, _)| session),
        kept.fcnt,
        kept.port,
        if whole.is_none() { message.body.as_slice() } else { &[] },
        reported.map(|reported| reported.content.bytes()),
        message.source,
        key,
        kept.clock_unsure.then_some(1),
    ])?;
    Ok(())
}
