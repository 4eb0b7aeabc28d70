//! When a node was heard, by whom, and what was lost in between: what several rules go by.

use std::collections::{BTreeMap, VecDeque};

use wire::identity::GatewayEui;

use super::DAY;
use super::plan::NodePlan;
use crate::received::Moment;

/// Losses and runs of so many days count.
const DAYS: usize = 30;
/// Gaps of which the middle one says how often a node really sends.
const GAPS: usize = 12;
/// Messages by which `losing` judges, and as many before them.
pub(super) const RECENT: usize = 100;
/// A gateway hears a node if it did within this time.
const HEARS_WITHIN: Moment = 7 * DAY;
/// False alarms of silence that losses one by one may raise in a year; fades may as many, so that a node raises 0.1.
const FALSE_A_YEAR: f64 = 0.05;
/// No fade lasts longer (own choice).
const LONGEST_FADE: Moment = DAY;
/// Fewest messages that must be missed.
const FEWEST_MISSED: u32 = 3;
/// Beyond this loss more patience would say nothing.
const MOST_LOSS: f64 = 0.9;
/// Microseconds of a year of 365 days.
const YEAR: f64 = 365.0 * DAY as f64;

/// What was heard of a node.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Contact {
    pub(super) first: Option<Moment>,
    pub(super) last: Option<Moment>,
    /// Silence since then that is not the node's: nobody listened, or its gateways were away.
    pub(super) held: Moment,
    /// Uplinks in a row without a silence between them that was too long.
    pub(super) in_a_row: u32,
    fcnt: Option<u32>,
    joined: bool,
    days: VecDeque<Counted>,
    gaps: VecDeque<Moment>,
    recent: VecDeque<bool>,
    heard_by: BTreeMap<GatewayEui, Moment>,
}

/// Messages of a day.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Counted {
    day: Moment,
    sent: u32,
    lost: u32,
    /// Runs of two losses and more that were no alarm, and what was lost in them.
    runs: u32,
    lost_in_runs: u32,
    longest_run: u32,
}

/// Fewest missed messages k with N p^k <= 0.05, and at least 3: of N messages a year a share p is lost, each by itself.
pub(super) fn missed_before_alarm(loss: f64, messages_a_year: f64) -> u32 {
    let needed = (FALSE_A_YEAR / messages_a_year).ln() / loss.clamp(1e-9, MOST_LOSS).ln();
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "held within u16 just before"
    )]
    let needed = needed.ceil().clamp(0.0, f64::from(u16::MAX)) as u32;
    needed.max(FEWEST_MISSED)
}

impl Contact {
    /// A new uplink was heard.
    ///
    /// Gives how many it has sent since the one before, itself included; those that nobody could hear are left out.
    pub(super) fn hear(&mut self, at: Moment, fcnt: Option<u32>, limit: Option<Moment>) -> u32 {
        let step = self.step(fcnt);
        let mut in_time = true;
        if let Some(last) = self.last {
            let silence = at - last - self.held;
            if self.held == 0 && silence > 0 {
                push(&mut self.gaps, silence / Moment::from(step), GAPS);
            }
            in_time = limit.is_none_or(|limit| silence <= limit);
            self.in_a_row = if in_time { self.in_a_row.saturating_add(1) } else { 1 };
        } else {
            self.in_a_row = 1;
        }
        // What nobody could hear is not lost on the air.
        let sent = if self.held == 0 { step } else { 1 };
        self.count(at, sent - 1, in_time);
        self.first.get_or_insert(at);
        self.last = Some(self.last.map_or(at, |last| last.max(at)));
        self.held = 0;
        self.fcnt = fcnt.or(self.fcnt);
        self.joined = false;
        sent
    }

    /// Messages from the last one that was heard to this one, itself included.
    fn step(&self, fcnt: Option<u32>) -> u32 {
        match (self.fcnt, fcnt) {
            (Some(last), Some(fcnt)) if !self.joined && fcnt > last => fcnt - last,
            _ => 1,
        }
    }

    fn count(&mut self, at: Moment, lost: u32, in_time: bool) {
        let day = at.div_euclid(DAY);
        if self.days.back().is_none_or(|last| last.day < day) {
            push(&mut self.days, Counted { day, ..Counted::default() }, DAYS);
        }
        if let Some(today) = self.days.back_mut() {
            today.sent = today.sent.saturating_add(lost).saturating_add(1);
            today.lost = today.lost.saturating_add(lost);
            // What was an alarm is not usual, and makes nobody patient.
            let usual = if in_time { lost } else { 0 };
            let in_a_run = if usual > 1 { usual } else { 0 };
            today.runs = today.runs.saturating_add(u32::from(in_a_run > 0));
            today.lost_in_runs = today.lost_in_runs.saturating_add(in_a_run);
            today.longest_run = today.longest_run.max(usual);
        }
        for _ in 0..lost.min(u32::try_from(RECENT).unwrap_or(u32::MAX)) {
            push(&mut self.recent, false, RECENT);
        }
        push(&mut self.recent, true, RECENT);
    }

    /// An older message has come after all.
    pub(super) fn hear_late(&mut self) {
        if let Some(lost) = self.recent.iter_mut().rev().find(|heard| !**heard) {
            *lost = true;
        }
        if let Some(day) = self.days.iter_mut().rev().find(|day| day.lost > 0) {
            day.lost -= 1;
        }
    }

    /// It asks to join: its counter begins anew.
    pub(super) fn join(&mut self) {
        self.joined = true;
    }

    /// A gateway of ours heard it.
    pub(super) fn heard_by(&mut self, gateway: GatewayEui, at: Moment) {
        self.heard_by.insert(gateway, at);
        self.heard_by.retain(|_, last| at - *last <= HEARS_WITHIN);
    }

    /// The gateways that hear it.
    pub(super) fn gateways(&self) -> impl Iterator<Item = GatewayEui> {
        self.heard_by.keys().copied()
    }

    /// Whether this gateway alone hears it.
    pub(super) fn is_heard_by_only(&self, gateway: GatewayEui) -> bool {
        self.heard_by.len() == 1 && self.heard_by.contains_key(&gateway)
    }

    /// Share of its messages that are lost, by those of a month: one more lost and one more heard than were counted (Laplace's
    /// rule of succession), so that little knowledge makes patient.
    pub(super) fn loss(&self) -> f64 {
        let (lost, sent) = self.counted();
        (f64::from(lost) + 1.0) / (f64::from(sent) + 2.0)
    }

    /// Messages of a month that were lost, of those that were sent.
    pub(super) fn counted(&self) -> (u32, u32) {
        let add = |(lost, sent): (u32, u32), day: &Counted| {
            (lost.saturating_add(day.lost), sent.saturating_add(day.sent))
        };
        self.days.iter().fold((0, 0), add)
    }

    /// The newest messages, true for those that were heard, oldest first.
    pub(super) const fn recent(&self) -> &VecDeque<bool> {
        &self.recent
    }

    /// How often it sends now: as planned, or more slowly if it does so; none if it need not send at all.
    pub(super) fn interval(&self, plan: &NodePlan, now: Moment, volts: Option<f64>) -> Option<Moment> {
        let planned = plan.interval(now, volts)?;
        let seen = if self.gaps.len() < GAPS { None } else { median(self.gaps.iter().copied()) };
        Some(seen.map_or(planned, |seen| seen.max(planned)))
    }

    /// So many messages in a row may be missed.
    pub(super) fn patience(&self, interval: Moment) -> u32 {
        let longest = self.days.iter().map(|day| day.longest_run).max().unwrap_or(0);
        let a_year = YEAR / interval.max(1) as f64;
        let alone = missed_before_alarm(self.loss(), a_year);
        let in_a_fade = u32::try_from(LONGEST_FADE / interval.max(1)).unwrap_or(u32::MAX);
        alone.max(self.missed_in_runs(a_year).min(in_a_fade)).max(longest.saturating_add(1))
    }

    /// Fewest missed messages k with N r q^(k-2) <= 0.05, where a share r of messages begins a run of at least two losses, and
    /// a share q of those in it, the first apart, is followed by another: fades do not lose messages one by one, and what is
    /// lost alone says nothing of them. Without knowledge q is 0.4 (own choice).
    fn missed_in_runs(&self, messages_a_year: f64) -> u32 {
        let sum = |of: fn(&Counted) -> u32| f64::from(self.days.iter().map(of).sum::<u32>());
        let (runs, lost) = (sum(|day| day.runs), sum(|day| day.lost_in_runs));
        let begins = (runs + 1.0) / (sum(|day| day.sent) + 2.0);
        let goes_on = (lost - 2.0 * runs + 0.8) / (lost - runs + 2.0);
        missed_before_alarm(goes_on, messages_a_year * begins).saturating_add(2)
    }

    /// How long it has said nothing, as far as it could have been heard.
    pub(super) fn silence(&self, now: Moment) -> Option<Moment> {
        Some((now - self.last? - self.held).max(0))
    }
}

fn push<T>(queue: &mut VecDeque<T>, value: T, most: usize) {
    if queue.len() == most {
        queue.pop_front();
    }
    queue.push_back(value);
}

/// The middle one; of an even count the upper of the two.
fn median(values: impl Iterator<Item = Moment>) -> Option<Moment> {
    let mut sorted: Vec<Moment> = values.collect();
    sorted.sort_unstable();
    sorted.get(sorted.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::*;

    /// By hand: N = 52,560 (10 min) and 8,760 (1 h) messages a year; k = ln(N / 0.05) / -ln p, rounded up: 13.87 / 3.00, 1.90,
    /// 1.20 and 12.07 / 3.00, 1.90, 1.20.
    #[test]
    fn patience_follows_from_losses_and_messages_a_year() {
        let of = |messages| [0.05, 0.15, 0.30].map(|loss| missed_before_alarm(loss, messages));
        assert_eq!(of(52_560.0), [5, 8, 12]);
        assert_eq!(of(8_760.0), [5, 7, 11]);
        // A node that loses nothing: never fewer than three.
        assert_eq!(missed_before_alarm(0.0, 52_560.0), 3);
    }

    #[test]
    fn losses_are_counted_by_the_counter_and_a_join_begins_anew() {
        let mut contact = Contact::default();
        for (minute, fcnt) in [(0, 7), (10, 8), (40, 11)] {
            contact.hear(minute * MINUTE, Some(fcnt), None);
        }
        // 7 8 . . 11: of five messages two were lost, in one run. (2 + 1) / (5 + 2).
        assert!((contact.loss() - 3.0 / 7.0).abs() < 1e-12, "{}", contact.loss());
        assert_eq!(contact.recent(), &VecDeque::from([true, true, false, false, true]));
        assert_eq!(contact.patience(10 * MINUTE), missed_before_alarm(3.0 / 7.0, 52_560.0));
        contact.hear_late();
        assert!((contact.loss() - 2.0 / 7.0).abs() < 1e-12);
        contact.join();
        contact.hear(50 * MINUTE, Some(100), None);
        assert!((contact.loss() - 2.0 / 8.0).abs() < 1e-12, "what a new session began with is not lost");
    }

    #[test]
    fn a_longer_run_of_losses_asks_for_more_patience() {
        let mut contact = Contact::default();
        for fcnt in 0..4000 {
            contact.hear(Moment::from(fcnt) * 10 * MINUTE, Some(fcnt), None);
        }
        // By hand: runs begin with (0 + 1) / (4,000 + 2), 13.1 times a year; 2 + ln(262) / -ln 0.4 = 8.1.
        assert_eq!(contact.patience(10 * MINUTE), 9);
        // Who reports once a day is not heard for three days: 3 > ln(365 / 0.05) / ln(4,002), and no fade lasts so long.
        assert_eq!(contact.patience(24 * 60 * MINUTE), 3);
        contact.hear(40_080 * MINUTE, Some(4007), None);
        // Seven were lost in a row: (1 + 1) / (4,008 + 2), 26.2 times a year, and (7 - 2 + 0.8) / (7 - 1 + 2) = 0.725 go on:
        // 2 + ln(524) / 0.3216 = 21.5.
        assert_eq!(contact.patience(10 * MINUTE), 22);
    }
}
