//! A reading lies beyond the range of its field: the sensor gives what it can't measure.
//!
//! # References
//! U.S. IOOS, Manual for Real-Time Quality Control of In-situ Temperature and Salinity Data, version 2.0, 2015
//! (DOI 10.7289/V5V40SD4): gross range. The limits are those of the field in the design.

use std::collections::BTreeMap;

use serde_json::json;

use super::HOUR;
use super::alarm::{Finding, evidence};
use super::event::Uplink;
use super::plan::Sensor;
use crate::received::Moment;

/// So many in a row ..
const IN_A_ROW: u32 = 6;
/// .. for at least this time are no accident (own choice).
const FOR: Moment = HOUR;

/// Fields that lie beyond their range now, by message and column.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Ranges(BTreeMap<(String, String), Beyond>);

#[derive(Clone, Debug, PartialEq)]
struct Beyond {
    side: String,
    since: Moment,
    in_a_row: u32,
    end: f64,
    unit: String,
}

impl Ranges {
    /// A message of a node with these sensors.
    pub(super) fn hear(&mut self, at: Moment, uplink: &Uplink, sensors: &[Sensor]) {
        for sensor in sensors.iter().filter(|sensor| uplink.message.as_deref() == Some(&sensor.message)) {
            let key = (sensor.message.clone(), sensor.column.clone());
            match uplink.beyond.get(&sensor.column) {
                Some(side) => {
                    let end = if side == "below" { sensor.least } else { sensor.greatest };
                    let anew = || Beyond {
                        side: side.clone(),
                        since: at,
                        in_a_row: 0,
                        end,
                        unit: sensor.unit.clone(),
                    };
                    let known = self.0.entry(key).or_insert_with(anew);
                    if known.side != *side {
                        *known = anew();
                    }
                    known.in_a_row = known.in_a_row.saturating_add(1);
                }
                // An absent value says nothing.
                None if uplink.number(&sensor.column).is_some() => drop(self.0.remove(&key)),
                None => {}
            }
        }
    }

    /// Six in a row, for an hour, are wrong; the first inside ends it.
    pub(super) fn find(&self, now: Moment) -> Finding {
        let is_long =
            |(_, one): &(&(String, String), &Beyond)| one.in_a_row >= IN_A_ROW && now - one.since >= FOR;
        match self.0.iter().find(is_long) {
            Some(((_, column), one)) => Finding::Wrong(evidence([
                ("fields", json!([column])),
                ("side", json!(one.side)),
                ("end", json!(one.end)),
                ("unit", json!(one.unit)),
                ("in_a_row", json!(one.in_a_row)),
            ])),
            None if self.0.is_empty() => Finding::Right,
            None => Finding::Between,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::*;

    fn hear(ranges: &mut Ranges, minute: Moment, value: f64, side: Option<&str>) {
        let sensor = Sensor {
            message: "report".to_owned(),
            column: "level".to_owned(),
            unit: "m".to_owned(),
            least: 0.0,
            greatest: 2.5,
            is_air: false,
        };
        let values = BTreeMap::from([("level".to_owned(), json!(value))]);
        let beyond = side.map(|side| ("level".to_owned(), side.to_owned())).into_iter().collect();
        let uplink = Uplink { message: Some("report".to_owned()), values, beyond, ..Uplink::default() };
        ranges.hear(minute * MINUTE, &uplink, &[sensor]);
    }

    #[test]
    fn six_readings_beyond_the_range_for_an_hour_are_wrong_and_the_first_inside_ends_it() {
        let mut ranges = Ranges::default();
        (0..6).for_each(|reading| hear(&mut ranges, 10 * reading, 2.5, Some("above")));
        assert_eq!(ranges.find(59 * MINUTE), Finding::Between, "not an hour yet");
        let Finding::Wrong(evidence) = ranges.find(60 * MINUTE) else { panic!("an hour") };
        assert_eq!((&evidence["end"], &evidence["side"]), (&json!(2.5), &json!("above")));
        hear(&mut ranges, 70, 2.4, None);
        assert_eq!(ranges.find(70 * MINUTE), Finding::Right);
    }

    #[test]
    fn a_reading_at_the_end_of_the_range_or_beyond_it_now_and_then_is_not() {
        let mut full = Ranges::default();
        (0..100).for_each(|reading| hear(&mut full, 10 * reading, 2.5, None));
        assert_eq!(full.find(1000 * MINUTE), Finding::Right, "a full tank");
        let mut waves = Ranges::default();
        (0..100).for_each(|reading| {
            hear(&mut waves, 10 * reading, 2.5, (reading % 5 != 4).then_some("above"));
        });
        assert_eq!(waves.find(990 * MINUTE), Finding::Right, "four in a row");
        // From one side to the other it begins anew.
        let mut both = Ranges::default();
        (0..10).for_each(|reading| {
            hear(&mut both, 10 * reading, 0.0, Some(if reading < 5 { "above" } else { "below" }));
        });
        assert_eq!(both.find(95 * MINUTE), Finding::Between);
    }
}
