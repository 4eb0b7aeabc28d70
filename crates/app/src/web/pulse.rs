//! How the log is now, for those who ask: written by the thread that keeps, read by what listens.

use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

use logbook::received::Moment;
use logbook::store::keeper::KeptFrame;
use logbook::watch::Change;
use serde_json::{Value, json};
use tokio::sync::{broadcast, watch};
use wire::identity::GatewayEui;

/// What is known of the log now.
#[derive(Debug)]
pub(crate) struct Pulse {
    newest: watch::Sender<i64>,
    stopping: watch::Sender<bool>,
    news: broadcast::Sender<News>,
    counted: Mutex<Counted>,
    /// Newest signs of life of gateways; the log has one a minute.
    signs: Mutex<BTreeMap<GatewayEui, Moment>>,
}

/// News that wait for a slow listener; whoever misses some reads the page anew.
const NEWS: usize = 256;

/// Something that is told to those who follow, beside frames.
#[derive(Clone, Debug)]
pub(crate) struct News {
    /// Its word.
    pub(crate) event: &'static str,
    /// What is told.
    pub(crate) data: Value,
}

/// What was counted since the start.
#[derive(Clone, Debug, Default)]
pub(crate) struct Counted {
    /// Frames and messages by verdict; copies too.
    pub(crate) verdicts: BTreeMap<String, u64>,
    /// Messages of other networks that are none of those that are taken, by source.
    pub(crate) skipped: BTreeMap<String, u64>,
    /// When the newest arrived.
    pub(crate) last: Option<Moment>,
    /// Why the log can't be written, if it can't.
    pub(crate) trouble: Option<String>,
    /// Why the computer's clock can't be believed, if it can't.
    pub(crate) clock: Option<String>,
    /// What is to be connected, and why it is not.
    pub(crate) connections: BTreeMap<String, Result<(), String>>,
    /// Readings that were handed on, by name.
    pub(crate) handed_on: BTreeMap<String, u64>,
    /// Alarms that stand open, by rule.
    pub(crate) alarms: BTreeMap<&'static str, u64>,
}

impl Pulse {
    pub(crate) fn new(newest: i64) -> Self {
        Self {
            newest: watch::Sender::new(newest),
            stopping: watch::Sender::new(false),
            news: broadcast::Sender::new(NEWS),
            counted: Mutex::default(),
            signs: Mutex::default(),
        }
    }

    /// A gateway has shown that it lives.
    pub(crate) fn alive(&self, gateway: GatewayEui, at: Moment) {
        let mut signs = self.signs.lock().unwrap_or_else(PoisonError::into_inner);
        let newest = signs.entry(gateway).or_insert(at);
        *newest = (*newest).max(at);
    }

    /// When a gateway showed last that it lives, since the start.
    pub(crate) fn sign_of_life(&self, gateway: GatewayEui) -> Option<Moment> {
        self.signs.lock().unwrap_or_else(PoisonError::into_inner).get(&gateway).copied()
    }

    fn counted_mut(&self) -> MutexGuard<'_, Counted> {
        self.counted.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What was counted.
    pub(crate) fn counted(&self) -> Counted {
        self.counted_mut().clone()
    }

    /// These are on the disk.
    pub(crate) fn kept(&self, frames: &[KeptFrame]) {
        let mut counted = self.counted_mut();
        for kept in frames {
            *counted.verdicts.entry(kept.verdict.to_owned()).or_default() += 1;
            counted.last = counted.last.max(Some(kept.arrived_at));
        }
        drop(counted);
        let newest = frames.iter().filter(|kept| kept.verdict != "copy").map(|kept| kept.seq).max();
        if let Some(newest) = newest {
            self.newest.send_if_modified(|seq| std::mem::replace(seq, newest.max(*seq)) < newest);
        }
    }

    /// A message of a source is none of those that are taken.
    pub(crate) fn skipped(&self, source: &str) {
        *self.counted_mut().skipped.entry(source.to_owned()).or_default() += 1;
    }

    /// Readings were handed on.
    pub(crate) fn handed_on(&self, name: &str, count: u64) {
        *self.counted_mut().handed_on.entry(name.to_owned()).or_default() += count;
    }

    /// The log can't be written, or can be again.
    pub(crate) fn trouble(&self, why: Option<String>) {
        self.counted_mut().trouble = why;
    }

    /// The computer's clock can't be believed, or can be again.
    pub(crate) fn clock(&self, why: Option<String>) {
        self.counted_mut().clock = why;
    }

    /// These alarms stood open at the start.
    pub(crate) fn alarms_stand(&self, rules: impl Iterator<Item = &'static str>) {
        let mut counted = self.counted_mut();
        rules.for_each(|rule| *counted.alarms.entry(rule).or_default() += 1);
    }

    /// An alarm has changed, and that is on the disk.
    pub(crate) fn alarm(&self, change: &Change, told: Value) {
        let mut counted = self.counted_mut();
        let open = counted.alarms.entry(change.alarm().key.rule.word()).or_default();
        match change {
            Change::Opened(_) | Change::Reopened(_) => *open += 1,
            Change::Closed(_) => *open = open.saturating_sub(1),
            Change::Explained(_) => {}
        }
        drop(counted);
        // Nobody may be listening.
        let _nobody = self.news.send(News { event: "alarm", data: told });
    }

    /// A node's day was lived by its swarm; days count since 1970.
    pub(crate) fn forecast(&self, node: &str, day: i64) {
        let (year, month, of_month) = forecast::learn::date_of(day * 86_400);
        let day = format!("{year:04}-{month:02}-{of_month:02}");
        // Nobody may be listening.
        let _nobody = self.news.send(News { event: "forecast", data: json!({ "node": node, "day": day }) });
    }

    /// What happens beside frames, from now on.
    pub(crate) fn news(&self) -> broadcast::Receiver<News> {
        self.news.subscribe()
    }

    /// Whether something that is to be connected is; true if that is news.
    pub(crate) fn connection(&self, name: &str, state: Result<(), String>) -> bool {
        let before = self.counted_mut().connections.insert(name.to_owned(), state.clone());
        before != Some(state)
    }

    /// The number of the newest frame, whenever it changes.
    pub(crate) fn newest(&self) -> watch::Receiver<i64> {
        self.newest.subscribe()
    }

    /// Whether the program is being stopped, whenever that changes.
    pub(crate) fn stopping(&self) -> watch::Receiver<bool> {
        self.stopping.subscribe()
    }

    /// The program is being stopped.
    pub(crate) fn stop(&self) {
        self.stopping.send_replace(true);
    }
}

/// Waits until the program is being stopped.
pub(crate) async fn stopped(stopping: &mut watch::Receiver<bool>) {
    // Nobody is left to stop it if the other end is gone.
    let _gone = stopping.wait_for(|stopping| *stopping).await.is_ok();
}
