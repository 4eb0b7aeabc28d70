//! The sun heats a sensor of air temperature: around noon it reads warmer than its neighbours, and at night it does not.
//!
//! # References
//! World Meteorological Organization, Guide to Instruments and Methods of Observation (WMO-No. 8), volume I, chapter 2, on errors
//! by radiation (from memory); the limits here are an own choice. Lapse of the standard atmosphere: ISO 2533:1975, 6.5 K/km.

use std::collections::{BTreeMap, VecDeque};

use forecast::stats::median;
use serde_json::json;
use wire::identity::DevEui;

use super::alarm::{Finding, evidence};
use super::event::Uplink;
use super::plan::NodePlan;
use super::{DAY, HOUR};
use crate::received::Moment;

/// Within this time of solar noon it is noon, and of solar midnight night.
const AROUND: Moment = 2 * HOUR;
/// So much warmer at noon than its neighbours is too much \[K\] ..
const TOO_WARM_K: f64 = 3.0;
/// .. as long as it is not at night by more than this share of it: that is a sensor that reads too warm always ..
const AT_NIGHT: f64 = 0.5;
/// .. on so many of the newest days with noon and night.
const DAYS: (usize, usize) = (5, 7);
/// It is over once it was less than this on the newest days, and so many of them \[K\].
const WELL: (f64, usize) = (2.0, 3);
/// Fewest neighbours.
const NEIGHBOURS: usize = 2;
const LAPSE_K_PER_M: f64 = 0.0065;

/// Temperatures of a node around noon and midnight, by column.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Warmth(BTreeMap<String, VecDeque<Day>>);

#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Day {
    number: Moment,
    noon: Mean,
    night: Mean,
}

#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Mean {
    sum: f64,
    count: u32,
}

impl Mean {
    fn add(&mut self, value: f64) {
        self.sum += value;
        self.count += 1;
    }

    fn value(self) -> Option<f64> {
        (self.count > 0).then(|| self.sum / f64::from(self.count))
    }
}

impl Warmth {
    /// A message of a node; the days are those of the sun at its place, from noon to noon.
    pub(super) fn hear(&mut self, at: Moment, uplink: &Uplink, plan: &NodePlan) {
        #[expect(clippy::cast_possible_truncation, reason = "at most half a day")]
        let local = at + (plan.longitude_deg / 360.0 * DAY as f64) as Moment;
        let of_day = local.rem_euclid(DAY);
        let is_noon = (of_day - DAY / 2).abs() <= AROUND;
        let is_night = of_day <= AROUND || of_day >= DAY - AROUND;
        if !is_noon && !is_night {
            return;
        }
        // The night belongs to the noon that follows.
        let day = (local + DAY / 4).div_euclid(DAY);
        let sea_level = LAPSE_K_PER_M * plan.elevation_m;
        for sensor in plan.sensors.iter().filter(|sensor| sensor.is_air) {
            let is_of = uplink.message.as_deref() == Some(&sensor.message);
            let Some(value) = uplink.number(&sensor.column).filter(|_| is_of) else { continue };
            let days = self.0.entry(sensor.column.clone()).or_default();
            if days.back().is_none_or(|last| last.number < day) {
                if days.len() == DAYS.1 + 1 {
                    days.pop_front();
                }
                days.push_back(Day { number: day, ..Day::default() });
            }
            let Some(today) = days.back_mut().filter(|today| today.number == day) else { continue };
            if is_noon { &mut today.noon } else { &mut today.night }.add(value + sea_level);
        }
    }

    fn at(&self, column: &str, day: Moment) -> Option<(f64, f64)> {
        let found = self.0.get(column)?.iter().find(|known| known.number == day)?;
        Some((found.noon.value()?, found.night.value()?))
    }
}

/// Of a node among the others of its site; none if there are too few that measure the same.
pub(super) fn find(
    dev_eui: DevEui,
    warmth: &Warmth,
    others: &[(DevEui, &Warmth)],
    now_day: Moment,
) -> Finding {
    let mut finding = Finding::Right;
    for (column, days) in &warmth.0 {
        // A day counts once it is over.
        let whole = days.iter().filter(|day| day.number < now_day).map(|day| day.number);
        let excess = |day: Moment| {
            let (noon, night) = warmth.at(column, day)?;
            let of_others: Vec<(f64, f64)> = others
                .iter()
                .filter(|(other, _)| *other != dev_eui)
                .filter_map(|(_, other)| other.at(column, day))
                .collect();
            (of_others.len() >= NEIGHBOURS).then_some(())?;
            let noon = noon - median(of_others.iter().map(|(noon, _)| *noon))?;
            Some((noon, night - median(of_others.iter().map(|(_, night)| *night))?))
        };
        let excesses: Vec<(f64, f64)> = whole.filter_map(excess).collect();
        let is_heated = |(noon, night): &&(f64, f64)| *noon > TOO_WARM_K && *night < AT_NIGHT * noon;
        let heated: Vec<&(f64, f64)> = excesses.iter().rev().take(DAYS.1).filter(is_heated).collect();
        if heated.len() >= DAYS.0 {
            let mean = heated.iter().map(|(noon, _)| noon).sum::<f64>() / heated.len() as f64;
            return Finding::Wrong(evidence([
                ("fields", json!([column])),
                ("warmer_k", json!((10.0 * mean).round() / 10.0)),
                ("days", json!(heated.len())),
                ("of_days", json!(excesses.len().min(DAYS.1))),
            ]));
        }
        let is_well =
            excesses.len() >= WELL.1 && excesses.iter().rev().take(WELL.1).all(|(noon, _)| *noon < WELL.0);
        if !is_well {
            finding = Finding::Between;
        }
    }
    finding
}

/// The number of the day of the sun that runs at a place.
pub(super) fn day_of(now: Moment, plan: &NodePlan) -> Moment {
    #[expect(clippy::cast_possible_truncation, reason = "at most half a day")]
    let local = now + (plan.longitude_deg / 360.0 * DAY as f64) as Moment;
    (local + DAY / 4).div_euclid(DAY)
}

#[cfg(test)]
mod tests {
    use super::super::plan::Sensor;
    use super::super::plan::tests::every_ten_minutes;
    use super::*;

    const NODES: [DevEui; 3] = [
        DevEui::from_display_bytes([1; 8]),
        DevEui::from_display_bytes([2; 8]),
        DevEui::from_display_bytes([3; 8]),
    ];

    fn plan(elevation_m: f64) -> NodePlan {
        let sensor = Sensor {
            message: "report".to_owned(),
            column: "air".to_owned(),
            unit: "Cel".to_owned(),
            least: -40.0,
            greatest: 60.0,
            is_air: true,
        };
        NodePlan { longitude_deg: 0.0, elevation_m, sensors: vec![sensor], ..every_ten_minutes() }
    }

    /// Days of 6 °C at night and 18 °C at noon, to which this is added.
    fn lived(days: Moment, night_k: f64, noon_k: f64, elevation_m: f64) -> Warmth {
        let mut warmth = Warmth::default();
        for day in 0..days {
            for (hour, value) in [(0, 6.0 + night_k), (6, 9.0), (12, 18.0 + noon_k), (18, 12.0)] {
                let values = BTreeMap::from([("air".to_owned(), json!(value))]);
                let uplink = Uplink { message: Some("report".to_owned()), values, ..Uplink::default() };
                warmth.hear(day * DAY + hour * HOUR, &uplink, &plan(elevation_m));
            }
        }
        warmth
    }

    fn found(of: &Warmth, neighbours: [&Warmth; 2], days: Moment) -> Finding {
        let all = [(NODES[0], of), (NODES[1], neighbours[0]), (NODES[2], neighbours[1])];
        find(NODES[0], of, &all, days)
    }

    /// By hand: the neighbours read 18.0 and 18.4 at noon, 18.2 in the middle; 18 + 5 lies 4.8 K above.
    #[test]
    fn a_sensor_that_is_warmer_at_noon_alone_on_five_days_is_heated_by_the_sun() {
        let neighbours = |days| [lived(days, 0.0, 0.0, 0.0), lived(days, 0.2, 0.4, 0.0)];
        let [one, other] = neighbours(4);
        assert_eq!(found(&lived(4, 0.0, 5.0, 0.0), [&one, &other], 4), Finding::Between, "four days");
        let [one, other] = neighbours(5);
        let Finding::Wrong(evidence) = found(&lived(5, 0.0, 5.0, 0.0), [&one, &other], 5) else {
            panic!("five days")
        };
        assert_eq!((&evidence["warmer_k"], &evidence["days"]), (&json!(4.8), &json!(5)));
    }

    #[test]
    fn a_frost_hollow_a_lower_place_and_a_sensor_that_always_reads_warm_are_not() {
        let [one, other] = [lived(7, 0.0, 0.0, 500.0), lived(7, 0.2, 0.4, 500.0)];
        let of =
            |night_k, noon_k, elevation_m| found(&lived(7, night_k, noon_k, elevation_m), [&one, &other], 7);
        assert_eq!(of(-6.0, 0.5, 500.0), Finding::Right, "cold nights in a hollow");
        // 500 m lower the air is 3.25 K warmer, by day and by night.
        assert_eq!(of(3.25, 3.25, 0.0), Finding::Right);
        assert_eq!(of(4.0, 4.0, 500.0), Finding::Between, "always too warm: no sun does that");
        assert_eq!(of(0.0, 2.5, 500.0), Finding::Between);
        // Nobody to compare with.
        let alone = lived(7, 0.0, 9.0, 0.0);
        assert_eq!(find(NODES[0], &alone, &[(NODES[0], &alone), (NODES[1], &one)], 7), Finding::Between);
    }
}
