//! A node that was charged is charged no more.
//!
//! A full battery tells nothing: its charger waits until the voltage has fallen to where it begins anew. From then on each hour
//! of sun should show.

use serde_json::json;

use super::alarm::{Finding, evidence};
use super::event::Uplink;
use super::never_charged::{RISE_VOLTS, WARMTH_HOLDS};
use super::plan::NodePlan;
use super::{HOUR, daylight};
use crate::received::Moment;

/// It has so long to show a charge ..
const WITHIN: Moment = 48 * HOUR;
/// .. with so many hours in it in which the sun stood high and the charger should have charged (own choice); without minutes in
/// charge three times as many, since the voltage does not rise in each dark week.
const SUNNY_H: (u32, u32) = (8, 24);
/// Ridges and trees take lower suns (own choice) \[degrees\].
const HIGH_DEG: f64 = 10.0;
/// So far below where its charger begins anew a battery is sure to be charged: what a meter may be off (own choice) \[V\].
const SURELY_BELOW_VOLTS: f64 = 0.03;

/// What shows that a node is charged no more.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Idle {
    charged_at: Option<Moment>,
    minutes: Option<f64>,
    least: Option<f64>,
    sunny_h: u32,
    looked_at_sun: Option<Moment>,
}

impl Idle {
    /// A message, and the voltage at rest as far as is known \[V\].
    pub(super) fn hear(&mut self, at: Moment, uplink: &Uplink, plan: &NodePlan, volts: Option<f64>) {
        let Some(cell) = &plan.cell else { return };
        let begins = cell.recharges_below.min(plan.full_volts) - SURELY_BELOW_VOLTS;
        let is_low = volts.is_some_and(|volts| volts < begins);
        self.look_at_sun(at, uplink, plan, is_low);
        let is_charged = match &plan.charging {
            Some(column) => uplink.number(column).is_some_and(|minutes| {
                // A count that is less than before has begun anew, and says nothing of the time before.
                self.minutes.replace(minutes).is_some_and(|before| minutes.total_cmp(&before).is_ne())
            }),
            None => volts.is_some_and(|volts| {
                let least = self.least.map_or(volts, |least| least.min(volts));
                self.least = Some(least);
                volts - least >= RISE_VOLTS
            }),
        };
        if is_charged {
            (self.charged_at, self.least, self.sunny_h) = (Some(at), volts, 0);
        }
    }

    /// Counts the hours of high sun since the last message in which a sound charger charges.
    fn look_at_sun(&mut self, at: Moment, uplink: &Uplink, plan: &NodePlan, is_low: bool) {
        let Some(observer) = daylight::observer(plan) else { return };
        let before = self.looked_at_sun.replace(at).unwrap_or(at).max(at - WARMTH_HOLDS);
        if !is_low || !plan.may_charge(uplink) || self.sunny_h >= SUNNY_H.1 {
            return;
        }
        let hours = (before.div_euclid(HOUR) + 1..=at.div_euclid(HOUR)).map(|hour| hour * HOUR);
        let sunny = hours.filter(|hour| daylight::height_deg(*hour, &observer) > HIGH_DEG);
        self.sunny_h += u32::try_from(sunny.count()).unwrap_or(u32::MAX).min(SUNNY_H.1);
    }

    /// Before its first charge it is not its affair.
    pub(super) fn find(&self, now: Moment, plan: &NodePlan) -> Finding {
        let Some(charged_at) = self.charged_at else { return Finding::Between };
        let counts = plan.charging.is_some();
        let asked = if counts { SUNNY_H.0 } else { SUNNY_H.1 };
        if self.sunny_h >= asked && now - charged_at >= WITHIN {
            return Finding::Wrong(evidence([
                ("since_h", json!((now - charged_at) / HOUR)),
                ("sunny_h", json!(self.sunny_h)),
                ("counts_minutes", json!(counts)),
            ]));
        }
        if self.sunny_h == 0 { Finding::Right } else { Finding::Between }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::super::DAY;
    use super::super::cell::Cell;
    use super::super::plan::tests::every_ten_minutes;
    use super::*;

    /// 2026-11-01 00:00 UTC by hand: 20,758 days after 1970.
    const NOVEMBER: Moment = 20_758 * DAY;

    fn plan(charging: bool) -> NodePlan {
        let file = design::file::parse(include_str!("../../../../examples/larkmoor/frost-mast.toml"));
        let mast =
            design::resolve::resolve(&design::catalog::Catalog::builtin(), &file).expect("resolves").design;
        let cell = Cell::of(&mast);
        // The mast's charger begins anew at 4.1 V.
        assert!(cell.as_ref().is_some_and(|cell| (cell.recharges_below - 4.1).abs() < 1e-9));
        NodePlan { cell, charging: charging.then(|| "charging".to_owned()), ..every_ten_minutes() }
    }

    /// Hour by hour from one to another, at a voltage, with the minutes that were counted.
    fn live(
        idle: &mut Idle,
        plan: &NodePlan,
        hours: std::ops::Range<Moment>,
        state: impl Fn(Moment) -> (f64, f64),
    ) {
        for hour in hours {
            let (volts, minutes) = state(hour);
            let values = BTreeMap::from([("charging".to_owned(), json!(minutes))]);
            let uplink = Uplink { values, ..Uplink::default() };
            idle.hear(NOVEMBER + hour * HOUR, &uplink, plan, Some(volts));
        }
    }

    /// It is charged until noon of the second day. The sun of early November stands above 10 degrees at 47 N for seven hours a day
    /// or so: with 48 h that is the third noon after.
    #[test]
    fn a_battery_that_could_be_charged_and_is_not_is_named_within_48_hours_and_a_day() {
        let plan = plan(true);
        let mut idle = Idle::default();
        let state = |hour: Moment| (3.9, 60.0 * hour.min(36) as f64);
        let named = (37..200).find(|hour| {
            let mut idle = Idle::default();
            live(&mut idle, &plan, 0..*hour, state);
            matches!(idle.find(NOVEMBER + (hour - 1) * HOUR, &plan), Finding::Wrong(_))
        });
        assert!(named.is_some_and(|hour| (36 + 48..36 + 72).contains(&hour)), "{named:?}");
        live(&mut idle, &plan, 0..120, state);
        live(&mut idle, &plan, 120..122, |hour| (3.9, 60.0 * hour as f64));
        assert_eq!(idle.find(NOVEMBER + 121 * HOUR, &plan), Finding::Right, "it is charged again");
    }

    #[test]
    fn a_charger_that_waits_with_a_full_battery_is_not_blamed() {
        let plan = plan(true);
        let mut idle = Idle::default();
        live(&mut idle, &plan, 0..200, |hour| (4.12, 60.0 * hour.min(36) as f64));
        assert_eq!(idle.find(NOVEMBER + 200 * HOUR, &plan), Finding::Right);
        live(&mut idle, &plan, 200..260, |_| (4.05, 60.0 * 36.0));
        assert!(matches!(idle.find(NOVEMBER + 260 * HOUR, &plan), Finding::Wrong(_)));
    }

    #[test]
    fn without_minutes_in_charge_the_voltage_must_not_rise_for_longer() {
        let plan = plan(false);
        let mut idle = Idle::default();
        let state = |hour: Moment| (if hour < 36 { 3.8 + 0.002 * hour as f64 } else { 3.87 }, 0.0);
        live(&mut idle, &plan, 0..84, state);
        assert_eq!(idle.find(NOVEMBER + 84 * HOUR, &plan), Finding::Between);
        live(&mut idle, &plan, 84..160, state);
        assert!(matches!(idle.find(NOVEMBER + 160 * HOUR, &plan), Finding::Wrong(_)));
    }
}
