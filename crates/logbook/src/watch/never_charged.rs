//! A node with a panel has not been charged since it was heard first.

use std::collections::VecDeque;

use serde_json::json;

use super::alarm::{Finding, evidence};
use super::daylight;
use super::event::Uplink;
use super::plan::NodePlan;
use super::{DAY, HOUR};
use crate::received::Moment;

/// It has so long to show a charge ..
const WITHIN: Moment = 48 * HOUR;
/// .. with so many hours of daylight in it in which its charger may charge: a polar night charges nobody, and many chargers
/// refuse below freezing (own choice).
const DAYLIGHT_H: u32 = 8;
/// What a message says of the warmth holds for so many hours before it (own choice).
pub(super) const WARMTH_HOLDS: Moment = 6 * HOUR;
/// A rise of the voltage by which a charge shows \[V\].
pub(super) const RISE_VOLTS: f64 = 0.010;
/// So near its full voltage a battery takes no charge that would show \[V\] (own choice).
const FULL_WITHIN_VOLTS: f64 = 0.06;
/// Voltages of which the middle one counts.
const MEDIAN_OF: usize = 3;

/// What shows whether a node is charged.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Charging {
    newest: VecDeque<f64>,
    least: Option<f64>,
    most: Option<f64>,
    minutes: Option<f64>,
    has_risen: bool,
    full_at: Option<Moment>,
    daylight_h: u32,
    looked_at_sun: Option<Moment>,
}

impl Charging {
    /// The voltage at rest, as far as its newest values tell \[V\].
    pub(super) fn volts(&self) -> Option<f64> {
        let mut sorted: Vec<f64> = self.newest.iter().copied().collect();
        sorted.sort_by(f64::total_cmp);
        sorted.get(sorted.len() / 2).copied()
    }

    /// A message may tell voltage, minutes in charge and how warm it is.
    pub(super) fn hear(&mut self, at: Moment, uplink: &Uplink, plan: &NodePlan) {
        self.look_at_sun(at, uplink, plan);
        if let Some(minutes) = plan.charging.as_deref().and_then(|column| uplink.number(column)) {
            self.has_risen |= self.minutes.is_some_and(|before| minutes > before);
            self.minutes = Some(minutes);
        }
        let Some((column, unit)) = &plan.battery else { return };
        let Some(volts) = uplink.number(column).map(|value| value * unit) else { return };
        if self.newest.len() == MEDIAN_OF {
            self.newest.pop_front();
        }
        self.newest.push_back(volts);
        if self.newest.len() < MEDIAN_OF {
            return;
        }
        let Some(volts) = self.volts() else { return };
        if volts >= plan.full_volts - FULL_WITHIN_VOLTS {
            self.full_at = Some(at);
        }
        let least = self.least.map_or(volts, |least| least.min(volts));
        self.least = Some(least);
        self.most = Some(self.most.map_or(volts, |most| most.max(volts)));
        // Minutes in charge say it better than a voltage that breathes with the warmth.
        self.has_risen |= plan.charging.is_none() && volts - least >= RISE_VOLTS;
    }

    /// Counts the hours of daylight since the last message in which its charger may charge.
    fn look_at_sun(&mut self, at: Moment, uplink: &Uplink, plan: &NodePlan) {
        let Some(observer) = daylight::observer(plan) else { return };
        let before = self.looked_at_sun.replace(at).unwrap_or(at).max(at - WARMTH_HOLDS);
        if self.has_risen || self.daylight_h >= DAYLIGHT_H || !plan.may_charge(uplink) {
            return;
        }
        let hours = (before.div_euclid(HOUR) + 1..=at.div_euclid(HOUR)).map(|hour| hour * HOUR);
        self.daylight_h +=
            hours.map(|hour| u32::from(daylight::height_deg(hour, &observer) > 0.0)).sum::<u32>();
    }

    /// Of a node that was heard first at a moment.
    pub(super) fn find(&self, first: Moment, now: Moment, plan: &NodePlan) -> Finding {
        if self.has_risen {
            return Finding::Right;
        }
        let tells = self.minutes.is_some() || (plan.charging.is_none() && self.least.is_some());
        let is_full = self.full_at.is_some_and(|at| now - at < DAY);
        if !plan.has_panel || !tells || is_full || self.daylight_h < DAYLIGHT_H || now - first < WITHIN {
            return Finding::Between;
        }
        let millivolts = |volts: Option<f64>| json!(volts.map(|volts| (1e3 * volts).round()));
        Finding::Wrong(evidence([
            ("since_h", json!((now - first) / HOUR)),
            ("least_mv", millivolts(self.least)),
            ("most_mv", millivolts(self.most)),
            ("counts_minutes", json!(self.minutes.is_some())),
        ]))
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::super::plan::tests::every_ten_minutes;
    use super::*;

    /// 2026-11-01 00:00 UTC by hand: 20,758 days after 1970.
    const NOVEMBER: Moment = 20_758 * DAY;

    fn send(charging: &mut Charging, plan: &NodePlan, at: Moment, values: &[(&str, f64)]) {
        let values: BTreeMap<_, _> =
            values.iter().map(|(name, value)| ((*name).to_owned(), json!(value))).collect();
        charging.hear(at, &Uplink { values, ..Uplink::default() }, plan);
    }

    /// Falls by 1 mV an hour.
    fn falling(plan: &NodePlan, hours: Moment) -> (Charging, Moment) {
        let mut charging = Charging::default();
        for hour in 0..=hours {
            send(&mut charging, plan, NOVEMBER + hour * HOUR, &[("battery", 3800.0 - hour as f64)]);
        }
        (charging, NOVEMBER + hours * HOUR)
    }

    #[test]
    fn a_node_whose_voltage_only_falls_is_named_after_48_hours_and_not_before() {
        let plan = every_ten_minutes();
        let (charging, now) = falling(&plan, 47);
        assert_eq!(charging.find(NOVEMBER, now, &plan), Finding::Between);
        let (charging, now) = falling(&plan, 48);
        let Finding::Wrong(evidence) = charging.find(NOVEMBER, now, &plan) else { panic!("48 h") };
        // The middle one of the first and of the last three.
        assert_eq!((&evidence["most_mv"], &evidence["least_mv"]), (&json!(3799.0), &json!(3753.0)));
    }

    #[test]
    fn a_rise_of_ten_millivolts_is_a_charge_and_a_single_value_is_none() {
        let plan = every_ten_minutes();
        let (mut charging, now) = falling(&plan, 50);
        send(&mut charging, &plan, now + HOUR, &[("battery", 4000.0)]);
        assert!(matches!(charging.find(NOVEMBER, now + HOUR, &plan), Finding::Wrong(_)), "an outlier");
        send(&mut charging, &plan, now + 2 * HOUR, &[("battery", 3761.0)]);
        send(&mut charging, &plan, now + 3 * HOUR, &[("battery", 3761.0)]);
        assert_eq!(charging.find(NOVEMBER, now + 3 * HOUR, &plan), Finding::Right);
    }

    #[test]
    fn minutes_in_charge_say_it_better_than_the_voltage() {
        let plan = NodePlan { charging: Some("charging".to_owned()), ..every_ten_minutes() };
        let mut charging = Charging::default();
        for hour in 0..60 {
            let volts = 3700.0 + 20.0 * (hour as f64 / 4.0).sin();
            send(&mut charging, &plan, NOVEMBER + hour * HOUR, &[("battery", volts), ("charging", 7.0)]);
        }
        let now = NOVEMBER + 60 * HOUR;
        assert!(matches!(charging.find(NOVEMBER, now, &plan), Finding::Wrong(_)));
        send(&mut charging, &plan, now, &[("charging", 8.0)]);
        assert_eq!(charging.find(NOVEMBER, now, &plan), Finding::Right);
    }

    /// A charger that refuses below freezing, and a box that tells -3 °C for days: nothing is broken. At +3 °C it is.
    #[test]
    fn a_charger_that_is_held_back_by_cold_is_not_blamed() {
        let file = design::file::parse(include_str!("../../../../examples/larkmoor/frost-mast.toml"));
        let mast =
            design::resolve::resolve(&design::catalog::Catalog::builtin(), &file).expect("resolves").design;
        let gate = NodePlan::of("mast", &mast).gate;
        assert!(gate.is_some(), "it does not charge below 0 °C");
        let plan = NodePlan { gate, warmth: vec!["box".to_owned()], ..every_ten_minutes() };
        let of = |celsius: f64| {
            let mut charging = Charging::default();
            for hour in 0..=72 {
                let values = [("battery", 3800.0 - hour as f64), ("box", celsius)];
                send(&mut charging, &plan, NOVEMBER + hour * HOUR, &values);
            }
            charging.find(NOVEMBER, NOVEMBER + 72 * HOUR, &plan)
        };
        assert_eq!(of(-3.0), Finding::Between);
        assert!(matches!(of(3.0), Finding::Wrong(_)));
    }

    #[test]
    fn a_full_battery_a_polar_night_and_a_node_without_panel_are_not_blamed() {
        let plan = every_ten_minutes();
        let full = NodePlan { full_volts: 3.80, ..plan.clone() };
        let (charging, now) = falling(&full, 50);
        assert_eq!(charging.find(NOVEMBER, now, &full), Finding::Between);
        // At 78 N the sun does not rise from late October to the middle of February (from memory).
        let night = NodePlan { latitude_deg: 78.0, ..plan.clone() };
        let (charging, now) = falling(&night, 200);
        assert_eq!(charging.find(NOVEMBER, now, &night), Finding::Between);
        let primary = NodePlan { has_panel: false, ..plan };
        let (charging, now) = falling(&primary, 50);
        assert_eq!(charging.find(NOVEMBER, now, &primary), Finding::Between);
    }
}
