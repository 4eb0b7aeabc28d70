//! A battery falls faster in the dark than planned: the node draws more, or the battery holds less.
//!
//! In the dark nothing but the node moves the charge. Which of both it is, the minutes in charge tell: they lift a battery that
//! holds less by more, and one that is drawn from by less.

use std::collections::VecDeque;

use forecast::stats::median;
use serde_json::{Value, json};

use super::alarm::{Finding, evidence};
use super::cell::Cell;
use super::plan::{NodePlan, month};
use super::{DAY, HOUR, daylight};
use crate::received::Moment;

/// A battery that was charged comes to rest within this (own choice).
const SETTLES: Moment = 2 * HOUR;
/// Voltages are averaged over so long at both ends of a night ..
const END: Moment = 2 * HOUR;
/// .. whose middles lie so far apart at least (own choice).
const SHORTEST: Moment = 4 * HOUR;
/// Nights of which the middle one counts, and how many must be known.
const NIGHTS: (usize, usize) = (7, 4);
/// They must be as new.
const NEW: Moment = 10 * DAY;
/// So many times as planned is too fast, and so much of the charge more than planned in a night; it is right again below the
/// last (own choice).
const TOO_FAST: (f64, f64) = (1.8, 0.015);
const WELL: f64 = 1.4;
/// Nights that are kept.
const KEPT: usize = 45;
/// Days before those nights against which minutes in charge are held, how many of them it takes, and how many minutes on each
/// side (own choice).
const DAYS_BEFORE: usize = 7;
const FEWEST_MINUTES: f64 = 120.0;
/// A minute in charge that lifts by so much more tells of the battery, by less than the last of the load (own choice).
const LIFTS: (f64, f64) = (1.6, 1.3);
/// A node draws this share of what is planned for it at most, or more (own choice).
const LEAST_OF_PLAN: f64 = 0.5;
const HOURS_PER_DAY: f64 = 24.0;

/// The nights of a node.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Nights {
    tonight: Vec<(Moment, f64)>,
    began: Moment,
    past: VecDeque<Night>,
    counter: Option<f64>,
    counted: f64,
}

/// A night, or a day of one that does not end.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Night {
    ended: Moment,
    /// Between the middles of its ends.
    hours: f64,
    /// Charge at its ends.
    dusk: f64,
    dawn: f64,
    /// By how much it should have fallen.
    planned: f64,
    /// Minutes in charge that had been counted before it.
    counted: f64,
}

impl Night {
    fn fell(&self) -> f64 {
        self.dusk - self.dawn
    }
}

impl Nights {
    /// A voltage of a node \[V\], and the minutes in charge that its counter shows.
    pub(super) fn hear(&mut self, at: Moment, volts: Option<f64>, minutes: Option<f64>, plan: &NodePlan) {
        let (Some(cell), Some(observer)) = (&plan.cell, daylight::observer(plan)) else { return };
        if let Some(minutes) = minutes {
            let before = self.counter.replace(minutes);
            self.counted += before.map_or(0.0, |before| (minutes - before).max(0.0));
        }
        let is_dark = daylight::height_deg(at, &observer) < 0.0;
        if self.tonight.is_empty() && is_dark {
            self.began = at;
        }
        if !self.tonight.is_empty() && (!is_dark || at - self.began >= DAY) {
            self.end(cell);
            self.began = at;
        }
        if let Some(volts) = volts.filter(|_| is_dark) {
            self.tonight.push((at, volts));
        }
    }

    fn end(&mut self, cell: &Cell) {
        let readings = std::mem::take(&mut self.tonight);
        let settled = readings.partition_point(|(at, _)| *at < self.began + SETTLES);
        let Some((first, last)) = readings.get(settled).zip(readings.last()) else { return };
        let dusk = mean(readings[settled..].iter().filter(|(at, _)| *at <= first.0 + END));
        let dawn = mean(readings[settled..].iter().filter(|(at, _)| *at >= last.0 - END));
        let (Some(dusk), Some(dawn)) = (dusk, dawn) else { return };
        let hours = (dawn.0 - dusk.0) / HOUR as f64;
        let (Some(dusk), Some(dawn)) = (cell.share(dusk.1), cell.share(dawn.1)) else { return };
        if hours * (HOUR as f64) < SHORTEST as f64 {
            return;
        }
        if self.past.len() == KEPT {
            self.past.pop_front();
        }
        let planned = hours * cell.drawn_per_hour(month(last.0));
        self.past.push_back(Night { ended: last.0, hours, dusk, dawn, planned, counted: self.counted });
    }

    /// How many of the newest nights count.
    fn newest(&self, now: Moment) -> usize {
        self.past.iter().rev().take(NIGHTS.0).take_while(|night| now - night.ended <= NEW).count()
    }

    /// Whether it falls as planned.
    pub(super) fn find(&self, now: Moment) -> Finding {
        let count = self.newest(now);
        if count < NIGHTS.1 {
            return Finding::Between;
        }
        let newest = || self.past.iter().rev().take(count);
        let times = median(newest().map(|night| night.fell() / night.planned));
        let more = median(newest().map(|night| night.fell() - night.planned));
        let (Some(times), Some(more)) = (times, more) else { return Finding::Between };
        if times < WELL {
            return Finding::Right;
        }
        if times < TOO_FAST.0 || more < TOO_FAST.1 {
            return Finding::Between;
        }
        let percent = |share: Option<f64>| json!(share.map(|share| (1e3 * share).round() / 10.0));
        let lifts = self.lifts(count);
        Finding::Wrong(evidence([
            ("nights", json!(count)),
            ("fell_percent", percent(median(newest().map(Night::fell)))),
            ("planned_percent", percent(median(newest().map(|night| night.planned)))),
            ("lifts_times", json!(lifts.map(|times| (10.0 * times).round() / 10.0))),
            ("because", because(lifts)),
        ]))
    }

    /// How many times as much as before a minute in charge lifts the battery; none if too few were counted.
    fn lifts(&self, newest: usize) -> Option<f64> {
        let from = self.past.len() - newest;
        let before = self.lift(0, from, DAYS_BEFORE)?;
        Some(self.lift(from, self.past.len(), NIGHTS.1)? / before)
    }

    /// Charge that a minute in charge brought between the first and the last of these nights: what the node drew in that time, as
    /// the nights say, and what stayed. Of at least so many nights.
    fn lift(&self, from: usize, to: usize, fewest: usize) -> Option<f64> {
        let nights = || self.past.iter().take(to).skip(from);
        let (first, last) = (nights().next()?, nights().last()?);
        let (days, minutes) = ((last.ended - first.ended) as f64 / DAY as f64, last.counted - first.counted);
        if to - from < fewest || minutes < FEWEST_MINUTES {
            return None;
        }
        let per_day = |of: fn(&Night) -> f64| {
            nights().map(|night| HOURS_PER_DAY * of(night) / night.hours).sum::<f64>() / (to - from) as f64
        };
        // Meters that round may show a quiet night no fall at all.
        let drawn = per_day(Night::fell).max(LEAST_OF_PLAN * per_day(|night| night.planned));
        let lift = (drawn * days + last.dawn - first.dawn) / minutes;
        (lift > 0.0).then_some(lift)
    }
}

/// What the minutes in charge say of it.
fn because(lifts: Option<f64>) -> Value {
    match lifts {
        Some(times) if times >= LIFTS.0 => json!("battery"),
        Some(times) if times < LIFTS.1 => json!("load"),
        _ => Value::Null,
    }
}

/// Mean moment and voltage.
fn mean<'a>(readings: impl Iterator<Item = &'a (Moment, f64)>) -> Option<(f64, f64)> {
    let (mut count, mut moments, mut volts) = (0.0, 0.0, 0.0);
    for (at, value) in readings {
        (count, moments, volts) = (count + 1.0, moments + *at as f64, volts + value);
    }
    (count > 0.0).then(|| (moments / count, volts / count))
}

#[cfg(test)]
mod tests {
    use forecast::power::battery::open_circuit;

    use super::super::plan::tests::every_ten_minutes;
    use super::*;

    /// 2026-11-01 00:00 UTC by hand: 20,758 days after 1970.
    const NOVEMBER: Moment = 20_758 * DAY;

    /// What a mast does from a day on: so many times the load, and so many times what its battery held.
    #[derive(Clone, Copy)]
    struct Change {
        from_day: Moment,
        load: f64,
        holds: f64,
    }

    /// Lives a mast for days: it draws evenly, and from 10 to 14 o'clock UTC the panel brings what a day takes.
    fn live(days: Moment, change: Change) -> (Nights, Moment) {
        let file = design::file::parse(include_str!("../../../../examples/larkmoor/frost-mast.toml"));
        let mast =
            design::resolve::resolve(&design::catalog::Catalog::builtin(), &file).expect("resolves").design;
        let cell = Cell::of(&mast).expect("it is charged");
        let draws = cell.drawn_per_hour(10);
        let plan = NodePlan { cell: Some(cell), ..every_ten_minutes() };
        let (mut nights, mut charge, mut minutes) = (Nights::default(), 0.7, 0.0);
        let mut at = NOVEMBER;
        for tick in 0..days * 144 {
            at = NOVEMBER + tick * 10 * 60_000_000;
            let is_changed = tick >= change.from_day * 144;
            let (load, holds) = if is_changed { (change.load, change.holds) } else { (1.0, 1.0) };
            charge -= draws * load / holds / 6.0;
            if (60..84).contains(&(tick % 144)) {
                charge += 6.0 * draws / holds / 6.0;
                minutes += 10.0;
            }
            let millivolts = 1e3 * open_circuit(&mast.battery, charge).volts();
            // As the message rounds it.
            nights.hear(at, Some(1e-2 * (millivolts / 10.0).round()), Some(minutes), &plan);
        }
        (nights, at)
    }

    #[test]
    fn a_node_that_draws_what_was_planned_is_right() {
        let (nights, now) = live(30, Change { from_day: 99, load: 1.0, holds: 1.0 });
        assert_eq!(nights.find(now), Finding::Right);
    }

    #[test]
    fn a_battery_that_holds_a_third_is_told_from_a_load_by_its_minutes_in_charge() {
        let (nights, now) = live(30, Change { from_day: 23, load: 1.0, holds: 0.33 });
        let Finding::Wrong(worn) = nights.find(now) else { panic!("three times as fast") };
        assert_eq!(worn["because"], "battery", "{worn:?}");
        let (nights, now) = live(26, Change { from_day: 20, load: 4.0, holds: 1.0 });
        let Finding::Wrong(load) = nights.find(now) else { panic!("four times as fast") };
        assert_ne!(load["because"], "battery", "{load:?}");
    }

    #[test]
    fn without_a_time_before_nobody_says_which_of_both() {
        let (nights, now) = live(6, Change { from_day: 0, load: 1.0, holds: 0.33 });
        let Finding::Wrong(worn) = nights.find(now) else { panic!("three times as fast") };
        assert_eq!(worn["because"], Value::Null);
    }
}
