//! Readings that do not change, or are what sensors give when they fail.
//!
//! # References
//! U.S. IOOS, Manual for Real-Time Quality Control of In-situ Temperature and Salinity Data, version 2.0, 2015
//! (DOI 10.7289/V5V40SD4): flat line and gross range. Its advice is to set limits by place; here a field's own longest stretch
//! sets it.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::json;

use super::HOUR;
use super::alarm::{Finding, evidence};
use super::event::Uplink;
use super::plan::Sensor;
use crate::received::Moment;

/// Fewest equal readings in a row, and how many times as many as ever before (own choice).
const FLAT: (u32, u32) = (12, 3);
/// And not within this time.
const FLAT_FOR: Moment = 6 * HOUR;
/// A field must have changed so often to be judged.
const KNOWN_CHANGES: u32 = 20;
/// What common temperature sensors give without a sensor or before the first conversion \[°C\] (from memory).
const MAGIC_CELSIUS: [f64; 2] = [85.0, -127.0];
/// So many in a row are no accident.
const MAGIC_IN_A_ROW: u32 = 3;

/// How the values of a node's fields came.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Readings(BTreeMap<(String, String), Field>);

#[derive(Clone, Debug, Default, PartialEq)]
struct Field {
    last: Option<f64>,
    since: Moment,
    run: u32,
    longest: u32,
    changes: u32,
    magic: u32,
}

impl Readings {
    /// A message of a node with these sensors.
    pub(super) fn hear(&mut self, at: Moment, uplink: &Uplink, sensors: &[Sensor]) {
        for sensor in sensors.iter().filter(|sensor| uplink.message.as_deref() == Some(&sensor.message)) {
            let Some(value) = uplink.number(&sensor.column) else { continue };
            let field = self.0.entry(key(sensor)).or_default();
            if field.last == Some(value) {
                field.run += 1;
            } else {
                field.longest = field.longest.max(field.run);
                field.changes = field.changes.saturating_add(1);
                (field.run, field.since, field.last) = (1, at, Some(value));
            }
            let is_magic = sensor.unit == "Cel" && MAGIC_CELSIUS.contains(&value);
            field.magic = if is_magic { field.magic + 1 } else { 0 };
        }
    }

    /// Fields that stand still; at the ends of their range many rightly do.
    pub(super) fn find_stuck(&self, now: Moment, sensors: &[Sensor]) -> Finding {
        let is_stuck = |sensor: &&Sensor| {
            let at_an_end = |value: f64| value <= sensor.least || value >= sensor.greatest;
            self.0.get(&key(sensor)).is_some_and(|field| {
                field.changes >= KNOWN_CHANGES
                    && field.run >= FLAT.0.max(FLAT.1 * field.longest)
                    && now - field.since >= FLAT_FOR
                    && !field.last.is_some_and(at_an_end)
            })
        };
        let stuck: Vec<&Sensor> = sensors.iter().filter(is_stuck).collect();
        let Some(first) = stuck.first().and_then(|sensor| self.0.get(&key(sensor))) else {
            return Finding::Right;
        };
        // Two messages may carry the same reading.
        let stuck: BTreeSet<&str> = stuck.iter().map(|sensor| sensor.column.as_str()).collect();
        Finding::Wrong(evidence([
            ("fields", json!(stuck)),
            ("equal", json!(first.run)),
            ("longest_before", json!(first.longest)),
            ("value", json!(first.last)),
        ]))
    }

    /// Fields that say what sensors give when they fail.
    pub(super) fn find_magic(&self) -> Finding {
        let failed = self.0.iter().find(|(_, field)| field.magic >= MAGIC_IN_A_ROW);
        let Some(((_, column), field)) = failed else { return Finding::Right };
        Finding::Wrong(evidence([
            ("fields", json!([column])),
            ("value", json!(field.last)),
            ("in_a_row", json!(field.magic)),
        ]))
    }
}

fn key(sensor: &Sensor) -> (String, String) {
    (sensor.message.clone(), sensor.column.clone())
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::*;

    fn air() -> [Sensor; 1] {
        [Sensor {
            message: "report".to_owned(),
            column: "air".to_owned(),
            unit: "Cel".to_owned(),
            least: -40.0,
            greatest: 60.0,
            is_air: true,
        }]
    }

    fn hear(readings: &mut Readings, minute: Moment, value: f64) {
        let values = BTreeMap::from([("air".to_owned(), json!(value))]);
        let uplink = Uplink { message: Some("report".to_owned()), values, ..Uplink::default() };
        readings.hear(minute * MINUTE, &uplink, &air());
    }

    /// Every ten minutes; each value twice, then 10.5 again and again.
    fn stands_still_for(equal: Moment) -> (Readings, Moment) {
        let mut readings = Readings::default();
        for reading in 0..100 {
            hear(&mut readings, reading * 10, (reading / 2) as f64 / 10.0);
        }
        (0..equal).for_each(|more| hear(&mut readings, 1000 + more * 10, 10.5));
        (readings, (1000 + (equal - 1) * 10) * MINUTE)
    }

    #[test]
    fn a_reading_that_never_stood_still_so_long_is_stuck_after_six_hours() {
        let (readings, now) = stands_still_for(36);
        assert_eq!(readings.find_stuck(now, &air()), Finding::Right, "5 h 50 min");
        let (mut readings, now) = stands_still_for(37);
        let Finding::Wrong(evidence) = readings.find_stuck(now, &air()) else { panic!("6 h") };
        assert_eq!((&evidence["equal"], &evidence["longest_before"]), (&json!(37), &json!(2)));
        hear(&mut readings, 1400, 10.6);
        assert_eq!(readings.find_stuck(now, &air()), Finding::Right, "the first that changes ends it");
    }

    #[test]
    fn what_stands_at_the_end_of_its_range_or_often_stands_still_is_not_stuck() {
        let (readings, now) = stands_still_for(40);
        let [mut sensor] = air();
        sensor.greatest = 10.5;
        assert_eq!(readings.find_stuck(now, &[sensor]), Finding::Right);
        let mut calm = Readings::default();
        (0..1000).for_each(|reading| hear(&mut calm, reading * 10, (reading / 20) as f64));
        (0..50).for_each(|more| hear(&mut calm, 10_000 + more * 10, -1.0));
        assert_eq!(
            calm.find_stuck(10_490 * MINUTE, &air()),
            Finding::Right,
            "fifty after stretches of twenty"
        );
    }

    #[test]
    fn three_times_what_a_sensor_says_when_it_fails_is_no_weather() {
        let mut readings = Readings::default();
        [20.0, 85.0, 85.0]
            .into_iter()
            .zip(0..)
            .for_each(|(value, minute)| hear(&mut readings, minute, value));
        assert_eq!(readings.find_magic(), Finding::Right);
        hear(&mut readings, 3, 85.0);
        assert!(matches!(readings.find_magic(), Finding::Wrong(_)));
        hear(&mut readings, 4, 21.0);
        assert_eq!(readings.find_magic(), Finding::Right);
    }
}
