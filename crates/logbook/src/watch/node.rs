//! A node as its rules remember it: what it sends goes to each of them, and each says what it finds.

use std::collections::BTreeMap;

use super::alarm::{Finding, Rule};
use super::cell_ending::Ending;
use super::charge_stopped::Idle;
use super::contact::Contact;
use super::counter_lost::Counters;
use super::drains_fast::Nights;
use super::empty_soon::DailyLeast;
use super::event::{Frame, Uplink, What};
use super::foretold::Foretold;
use super::forged::Forgeries;
use super::join_storm::Joins;
use super::jump::Jumps;
use super::never_charged::Charging;
use super::out_of_range::Ranges;
use super::place::Places;
use super::plan::NodePlan;
use super::readings::Readings;
use super::restarts::Restarts;
use super::slower::Rates;
use super::sun_heated::Warmth;
use super::threshold::{Seen, Threshold, Wall};
use super::too_long_on_air::OnAir;
use super::{DAY, Setup, losing, silent, slower};
use crate::received::Moment;

/// A node as its rules remember it.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Node {
    pub(super) contact: Contact,
    pub(super) charging: Charging,
    idle: Idle,
    nights: Nights,
    ending: Ending,
    pub(super) restarts: Restarts,
    counters: Counters,
    joins: Joins,
    forgeries: Forgeries,
    least: DailyLeast,
    pub(super) readings: Readings,
    jumps: Jumps,
    ranges: Ranges,
    pub(super) warmth: Warmth,
    places: Places,
    on_air: OnAir,
    rates: Rates,
    /// What was learned of it by the end of its last day.
    pub(super) foretold: Option<Foretold>,
    /// By the name of a rule of the site file.
    thresholds: BTreeMap<String, Seen>,
    /// When anything genuine of it was heard.
    last_sign: Option<Moment>,
}

impl Node {
    pub(super) fn take(&mut self, frame: &Frame, plan: &NodePlan, now: Moment) {
        if matches!(frame.what, What::New(_) | What::Join) {
            self.last_sign = Some(self.last_sign.map_or(now, |last| last.max(now)));
        }
        match &frame.what {
            What::New(uplink) => {
                let limit = silent::limit(&self.contact, plan, now, self.charging.volts());
                let sent = self.contact.hear(now, uplink.fcnt, limit);
                self.on_air.hear(now, uplink, sent, &plan.granted);
                self.charging.hear(now, uplink, plan);
                self.idle.hear(now, uplink, plan, self.charging.volts());
                self.hear_battery(uplink, plan, now);
                self.restarts.hear(now, uplink, plan.restarted.as_deref());
                self.counters.goes_on();
                self.forgeries.genuine();
                self.readings.hear(now, uplink, &plan.sensors);
                self.jumps.hear(now, uplink, &plan.sensors);
                self.ranges.hear(now, uplink, &plan.sensors);
                self.warmth.hear(now, uplink, plan);
                if let Some(volts) = self.charging.volts() {
                    self.least.hear(now, volts, plan.stops_volts);
                }
                let factor = uplink.data_rate.as_deref().and_then(slower::spreading_factor);
                if let (Some(factor), Some(planned)) = (factor, plan.spreading_factor) {
                    self.rates.hear(now, factor, planned);
                }
            }
            What::Late(_) => self.contact.hear_late(),
            What::Join => {
                self.contact.join();
                self.restarts.join(now);
                self.ending.start(now);
                self.counters.join();
                self.joins.join(now);
            }
            What::OldCounter => self.counters.old(now),
            What::UsedCounter => self.counters.used(),
            What::WrongCode => self.forgeries.wrong_code(now),
            What::Copy | What::Damaged | What::Refused => {}
        }
        if let (Some(gateway), What::New(_) | What::Late(_) | What::Copy | What::Join) =
            (frame.gateway, &frame.what)
        {
            self.contact.heard_by(gateway, now);
        }
    }

    /// What a message tells of its battery.
    fn hear_battery(&mut self, uplink: &Uplink, plan: &NodePlan, now: Moment) {
        let told = |column: &str| uplink.number(column);
        if plan.restarted.as_deref().and_then(told) == Some(1.0) {
            self.ending.start(now);
        }
        let volts = plan.battery.as_ref().and_then(|(column, unit)| Some(told(column)? * unit));
        if let Some(volts) = volts.filter(|_| plan.is_primary) {
            self.ending.hear(now, volts);
        }
        self.nights.hear(now, volts, plan.charging.as_deref().and_then(told), plan);
    }

    pub(super) fn read(&mut self, frame: &Frame, plan: &NodePlan, setup: &Setup, now: Moment) {
        let What::New(uplink) = &frame.what else { return };
        self.places.hear(now, uplink, plan, &setup.areas);
        let of_node = |of: &&Threshold| of.nodes.is_empty() || of.nodes.contains(&plan.name);
        for of in setup.thresholds.iter().filter(of_node) {
            if let Some(value) = uplink.number(&of.field) {
                self.thresholds.entry(of.name.clone()).or_default().read(now, value, of);
            }
        }
    }

    /// What is found of rules and areas of the site file, by their names.
    pub(super) fn find_named(&self, setup: &Setup, now: Moment) -> Vec<(Rule, String, Finding)> {
        let wall = Wall { month: setup.zone.month(now), minute_of_day: setup.zone.minute(now) };
        let found = setup.thresholds.iter().filter_map(|of| Some((of, self.thresholds.get(&of.name)?)));
        let both = |(of, seen): (&Threshold, &Seen)| {
            [
                (Rule::Threshold, of.name.clone(), seen.find(now, wall, of)),
                (Rule::CannotSee, of.name.clone(), seen.find_unseen(now, wall, of)),
            ]
        };
        let left = self.places.find_left().map(|(area, finding)| (Rule::LeftArea, area, finding));
        found.flat_map(both).chain(left).collect()
    }

    /// Whether it has given a sign within the time of two messages and a half.
    pub(super) fn is_heard(&self, plan: &NodePlan, now: Moment) -> bool {
        let interval = self.contact.interval(plan, now, self.charging.volts());
        let within = interval.map_or(DAY, |interval| 2 * interval + interval / 2);
        self.last_sign.is_some_and(|last| now - last <= within)
    }

    /// What was learned knows of the sun to come; the line through the voltages only of those that were.
    fn find_empty(&self, plan: &NodePlan, now: Moment) -> Finding {
        let learned = self.foretold.as_ref().and_then(|foretold| foretold.find_empty(now));
        learned.unwrap_or_else(|| self.least.find(plan.stops_volts, now))
    }

    pub(super) fn find(&mut self, plan: &NodePlan, now: Moment) -> Vec<(Rule, Finding)> {
        let volts = self.charging.volts();
        let mut findings = vec![
            (Rule::Silent, silent::find(&self.contact, plan, now, volts)),
            (Rule::ChargeStopped, self.idle.find(now, plan)),
            (Rule::DrainsFast, self.nights.find(now)),
            (Rule::CellEnding, self.ending.find(now, plan)),
            (Rule::Restarts, self.restarts.find(now)),
            (Rule::CounterLost, self.counters.find()),
            (Rule::Losing, losing::find(&self.contact, plan.loss)),
            (Rule::EmptySoon, self.find_empty(plan, now)),
            (Rule::JoinStorm, self.joins.find(now)),
            (Rule::Forged, self.forgeries.find(now)),
            (Rule::TooLongOnAir, self.on_air.find(now)),
            (Rule::ReadingStuck, self.readings.find_stuck(now, &plan.sensors)),
            (Rule::MagicValue, self.readings.find_magic()),
            (Rule::ReadingJump, self.jumps.find(now)),
            (Rule::ReadingOutOfRange, self.ranges.find(now)),
            (Rule::PlaceImpossible, self.places.find_impossible()),
        ];
        if let Some(foretold) = &self.foretold {
            findings.push((Rule::BelowForecast, foretold.find_below(now)));
            findings.push((Rule::BatteryWorn, foretold.find_worn(now)));
        }
        if let Some(position) = &plan.position {
            findings.push((Rule::PlaceStale, self.places.find_stale(position)));
            // In its shed it is not meant to move.
            let is_away = plan.roofed.at(now, plan.longitude_deg);
            let still = if is_away { Finding::Between } else { self.places.find_still(position) };
            findings.push((Rule::NotMoved, still));
        }
        if let Some(planned) = plan.spreading_factor {
            findings.push((Rule::SlowerThanPlanned, self.rates.find(now, planned)));
        }
        if let Some(first) = self.contact.first {
            findings.push((Rule::NeverCharged, self.charging.find(first, now, plan)));
        }
        findings
    }
}
