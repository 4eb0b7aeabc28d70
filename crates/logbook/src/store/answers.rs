//! What the network sends, kept before it is sent; and what became of it.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, params};
use serde_json::json;
use wire::identity::{DevEui, GatewayEui};

use super::StoreError;
use super::restore::status_key;
use super::rows::Id;
use super::settings::{self, State};
use crate::network::{Downlink, DownlinkNumber, Effect, News, Outcome, Prevented, SessionId, Why, Window};
use crate::received::Moment;

/// The rows of downlinks whose outcome is not known yet.
#[derive(Debug, Default)]
pub(super) struct Answers {
    rows: BTreeMap<DownlinkNumber, Id>,
    /// Sessions of which it was said that questions reach the device too late; they wait for its next uplink.
    said_late: BTreeSet<SessionId>,
}

impl Answers {
    /// Keeps an effect; a downlink's counter is raised in the same breath.
    pub(super) fn keep(
        &mut self,
        log: &Connection,
        effect: &Effect,
        gateway: impl FnOnce(GatewayEui) -> Result<Id, StoreError>,
        now: Moment,
    ) -> Result<(), StoreError> {
        match effect {
            Effect::Send(downlink) => {
                let row = send(log, downlink, gateway(downlink.gateway)?)?;
                if let Some(message) = downlink.message {
                    settings::becomes(log, message, State::Sent)?;
                }
                self.rows.insert(downlink.number, row);
                Ok(())
            }
            Effect::SendAgain(downlink) => self.send_again(log, downlink),
            Effect::Settled(number, outcome) => self.settle(log, *number, outcome),
            // A device whose gateways can't send would have such a row for each of its uplinks.
            Effect::NotSent { session, why: Why::Commands, prevented: Prevented::TooLate }
                if !self.said_late.insert(*session) =>
            {
                Ok(())
            }
            Effect::NotSent { session, why, prevented } => {
                if matches!(prevented, Prevented::NoBudget | Prevented::Unlawful) {
                    settings::hold_back(log, *session, *why)?;
                }
                let (node, session) = session_row(log, *session)?;
                log.prepare_cached(
                    "INSERT INTO downlink (node, session, asked_at, why, outcome) VALUES (?, ?, ?, ?, ?)",
                )?
                .execute(params![node, session, now, why.word(), prevented.word()])?;
                Ok(())
            }
            Effect::News(dev_eui, news) => keep_news(log, *dev_eui, news, now),
        }
    }

    fn send_again(&self, log: &Connection, downlink: &Downlink) -> Result<(), StoreError> {
        log.prepare_cached(
            "UPDATE downlink SET \"window\" = ?2, freq_hz = ?3, data_rate = ?4, airtime_us = ?5, asked_at = ?6 WHERE id = ?1",
        )?
        .execute(params![
            self.rows.get(&downlink.number),
            word(downlink.window),
            downlink.frequency_hz,
            downlink.rate_name,
            downlink.airtime_us,
            downlink.leaves_at,
        ])?;
        Ok(())
    }

    fn settle(
        &mut self,
        log: &Connection,
        number: DownlinkNumber,
        outcome: &Outcome,
    ) -> Result<(), StoreError> {
        let word = match outcome {
            Outcome::Sent => "sent".to_owned(),
            Outcome::Refused(word) => format!("refused:{word}"),
            Outcome::Unknown => "unknown".to_owned(),
        };
        log.prepare_cached("UPDATE downlink SET outcome = ?2 WHERE id = ?1")?
            .execute(params![self.rows.get(&number), word])?;
        // Once it is committed; a row that is settled twice has the same word.
        if *outcome != Outcome::Sent {
            self.rows.retain(|known, _| *known >= number.saturating_sub(1000));
        }
        Ok(())
    }
}

fn send(log: &Connection, downlink: &Downlink, gateway: Id) -> Result<Id, StoreError> {
    let (node, session) = session_row(log, downlink.session)?;
    if let Some(fcnt) = downlink.fcnt {
        log.prepare_cached(
            "UPDATE session SET last_down = ?2 WHERE id = ?1 AND coalesce(last_down, -1) < ?2",
        )?
        .execute(params![session, fcnt])?;
    }
    Ok(log
        .prepare_cached(
            "INSERT INTO downlink (node, session, fcnt, gateway, asked_at, \"window\", freq_hz, data_rate, airtime_us, \
             bytes, why) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
        )?
        .query_row(
            params![
                node,
                session,
                downlink.fcnt,
                gateway,
                downlink.leaves_at,
                word(downlink.window),
                downlink.frequency_hz,
                downlink.rate_name,
                downlink.airtime_us,
                downlink.bytes,
                downlink.why.word(),
            ],
            |row| row.get(0),
        )?)
}

fn session_row(log: &Connection, session: SessionId) -> Result<(Id, Id), StoreError> {
    Ok(log
        .prepare_cached(
            "SELECT node.id, session.id FROM session JOIN node ON node.id = session.node \
             WHERE node.dev_eui = ? AND session.join_nonce = ? AND source IS NULL",
        )?
        .query_row(params![session.dev_eui.to_string(), session.join_nonce], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })?)
}

/// What a device has answered.
pub(super) fn keep_news(
    log: &Connection,
    dev_eui: DevEui,
    news: &News,
    now: Moment,
) -> Result<(), StoreError> {
    match news {
        News::Status { battery, snr_db } => {
            let value = json!({ "at": now, "battery": battery, "snr_db": snr_db }).to_string();
            log.prepare_cached("INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)")?
                .execute(params![status_key(dev_eui), value])?;
            Ok(())
        }
        News::Delivered { message } => settings::becomes(log, *message, State::Confirmed),
        News::NotDelivered { message } => settings::becomes(log, *message, State::NotConfirmed),
        other => {
            log.prepare_cached("INSERT INTO deed (at, who, what, \"on\") VALUES (?, 'network', ?, ?)")?
                .execute(params![now, format!("{other:?}"), dev_eui.to_string()])?;
            Ok(())
        }
    }
}

const fn word(window: Window) -> &'static str {
    match window {
        Window::First => "rx1",
        Window::Second => "rx2",
    }
}
