//! A reading leaps away and comes back at once.
//!
//! # References
//! U.S. IOOS, Manual for Real-Time Quality Control of In-situ Temperature and Salinity Data, version 2.0, 2015
//! (DOI 10.7289/V5V40SD4): spike test, with limits by place; here a field's own steps set them.

use std::collections::{BTreeMap, VecDeque};

use serde_json::json;

use super::DAY;
use super::alarm::{Finding, evidence};
use super::event::Uplink;
use super::plan::Sensor;
use crate::received::Moment;

/// Steps that are remembered, and how many it takes to know what is usual.
const STEPS: (usize, usize) = (100, 40);
/// So many times the step that one in twenty exceeds (own choice) ..
const USUAL_STEPS: f64 = 8.0;
/// .. and at least this share of the field's range (own choice).
const SHARE_OF_RANGE: f64 = 0.05;
/// What is left of a leap once it is back.
const BACK: f64 = 0.5;
/// So many leaps within a day are no weather.
const LEAPS: usize = 3;

/// How far a node's fields leap, by message and column.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Jumps(BTreeMap<(String, String), Field>);

#[derive(Clone, Debug, Default, PartialEq)]
struct Field {
    /// The newest two.
    last: VecDeque<f64>,
    steps: VecDeque<f64>,
    leaps: VecDeque<(Moment, f64)>,
}

impl Jumps {
    /// A message of a node with these sensors.
    pub(super) fn hear(&mut self, at: Moment, uplink: &Uplink, sensors: &[Sensor]) {
        for sensor in sensors.iter().filter(|sensor| uplink.message.as_deref() == Some(&sensor.message)) {
            let Some(value) = uplink.number(&sensor.column) else { continue };
            let range = sensor.greatest - sensor.least;
            self.0.entry((sensor.message.clone(), sensor.column.clone())).or_default().hear(at, value, range);
        }
    }

    /// Three leaps within a day are wrong; a day without one ends it.
    pub(super) fn find(&self, now: Moment) -> Finding {
        let in_a_day = |field: &Field| field.leaps.iter().filter(|(at, _)| now - at <= DAY).count();
        let worst = self.0.iter().max_by_key(|(_, field)| in_a_day(field));
        let Some((((_, column), field), leaps)) = worst.map(|worst| (worst, in_a_day(worst.1))) else {
            return Finding::Right;
        };
        if leaps < LEAPS {
            return if leaps == 0 { Finding::Right } else { Finding::Between };
        }
        Finding::Wrong(evidence([
            ("fields", json!([column])),
            ("leaps", json!(leaps)),
            ("furthest", json!(field.furthest(now))),
            ("usual_step", json!(field.usual())),
        ]))
    }
}

impl Field {
    fn hear(&mut self, at: Moment, value: f64, range: f64) {
        let before = (self.last.front().copied(), self.last.get(1).copied());
        if self.last.len() == 2 {
            self.last.pop_front();
        }
        self.last.push_back(value);
        let (Some(first), Some(middle)) = before else { return };
        let (out, back) = (middle - first, value - middle);
        let limit = self.usual().map(|usual| (USUAL_STEPS * usual).max(SHARE_OF_RANGE * range));
        let leapt = out * back < 0.0
            && limit.is_some_and(|limit| out.abs().min(back.abs()) > limit)
            && (value - first).abs() < BACK * out.abs().min(back.abs());
        if leapt {
            self.leaps.push_back((at, out.abs()));
            self.leaps.retain(|(then, _)| at - then <= DAY);
            // Neither of its steps is a usual one.
            self.steps.pop_back();
            return;
        }
        if self.steps.len() == STEPS.0 {
            self.steps.pop_front();
        }
        self.steps.push_back(back.abs());
    }

    /// The step that one in twenty exceeds; none as long as too few are known.
    fn usual(&self) -> Option<f64> {
        if self.steps.len() < STEPS.1 {
            return None;
        }
        let mut sorted: Vec<f64> = self.steps.iter().copied().collect();
        sorted.sort_by(f64::total_cmp);
        sorted.get((95 * sorted.len()).div_ceil(100).saturating_sub(1)).copied()
    }

    fn furthest(&self, now: Moment) -> f64 {
        self.leaps.iter().filter(|(at, _)| now - at <= DAY).map(|(_, far)| *far).fold(0.0, f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::*;

    fn hear(jumps: &mut Jumps, minute: Moment, value: f64) {
        let sensor = Sensor {
            message: "report".to_owned(),
            column: "air".to_owned(),
            unit: "Cel".to_owned(),
            least: -40.0,
            greatest: 60.0,
            is_air: false,
        };
        let values = BTreeMap::from([("air".to_owned(), json!(value))]);
        let uplink = Uplink { message: Some("report".to_owned()), values, ..Uplink::default() };
        jumps.hear(minute * MINUTE, &uplink, &[sensor]);
    }

    /// Every ten minutes up and down by 0.2 K: a leap is more than 5 % of 100 K.
    fn calm() -> Jumps {
        let mut jumps = Jumps::default();
        (0..50).for_each(|reading| hear(&mut jumps, 10 * reading, 10.0 + 0.2 * (reading % 2) as f64));
        jumps
    }

    #[test]
    fn three_leaps_in_a_day_are_wrong_and_a_day_without_one_ends_it() {
        let mut jumps = calm();
        let leap = |jumps: &mut Jumps, minute: Moment| {
            for (more, value) in [(0, 10.0), (10, 16.0), (20, 10.2)] {
                hear(jumps, minute + more, value);
            }
        };
        leap(&mut jumps, 500);
        leap(&mut jumps, 600);
        assert_eq!(jumps.find(620 * MINUTE), Finding::Between, "two");
        leap(&mut jumps, 700);
        let Finding::Wrong(evidence) = jumps.find(720 * MINUTE) else { panic!("three") };
        assert_eq!((&evidence["leaps"], &evidence["furthest"]), (&json!(3), &json!(6.0)));
        assert_eq!(jumps.find(720 * MINUTE + DAY + 1), Finding::Right);
    }

    #[test]
    fn what_goes_and_stays_or_goes_in_steps_or_is_small_is_no_leap() {
        let mut front = calm();
        // A cold front, each in one step: it does not come back.
        let passing =
            [(500, 10.0), (510, 3.0), (520, 3.0), (530, -4.0), (540, -4.2), (550, -12.0), (560, -12.1)];
        for (minute, value) in passing {
            hear(&mut front, minute, value);
        }
        assert_eq!(front.find(560 * MINUTE), Finding::Right);
        let mut small = calm();
        (0..10).for_each(|time| {
            hear(&mut small, 500 + 30 * time, 10.0);
            hear(&mut small, 510 + 30 * time, 14.9);
            hear(&mut small, 520 + 30 * time, 10.0);
        });
        assert_eq!(small.find(800 * MINUTE), Finding::Right, "less than 5 K");
        // Before its steps are known nothing is said.
        let mut young = Jumps::default();
        (0..30).for_each(|reading| hear(&mut young, 10 * reading, 30.0 * (reading % 2) as f64));
        assert_eq!(young.find(300 * MINUTE), Finding::Right);
    }
}
