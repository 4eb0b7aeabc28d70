//! How long each gateway may still send: the law's share of any hour, by sub-band.
//!
//! # References
//! ETSI EN 300 220-1, duty cycle: the share of an observation period of one hour (from memory); the limits themselves are
//! data of `design::law`.

use std::collections::BTreeMap;

use design::law::{Band, DIPOLE_GAIN, Law, PowerReference};
use design::quantity::Frequency;
use wire::identity::GatewayEui;

use super::Station;
use crate::received::Moment;

/// The period of which the law grants a share \[us\].
pub const HOUR: Moment = 3_600_000_000;

/// A transmission: from when to when \[us\].
type OnAir = (Moment, Moment);

/// What every gateway has sent within the hour, by sub-band.
#[derive(Debug)]
pub(super) struct Budget {
    law: Option<Law>,
    spent: BTreeMap<(GatewayEui, usize), Vec<OnAir>>,
}

/// What the law says to a transmission.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Granted {
    /// It may be sent with this radiated power \[dBm\].
    Eirp(f64),
    /// The hour is used up.
    Later,
    /// The law that was seen never allows it.
    Never,
}

/// A transmission that is asked for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wanted {
    pub(super) frequency: Frequency,
    pub(super) bandwidth: Frequency,
    pub(super) from: Moment,
    pub(super) airtime: Moment,
    /// Of the law's share, what this may use.
    pub(super) share: f64,
}

impl Budget {
    pub(super) fn new(law: Option<Law>) -> Self {
        Self { law, spent: BTreeMap::new() }
    }

    /// Asks for a transmission, and counts it if it is granted: of the sub-band's alternatives the one with most power that
    /// has room.
    pub(super) fn take(&mut self, station: &Station, wanted: Wanted) -> Granted {
        let Some(law) = &self.law else { return Granted::Never };
        if too_long(law, wanted) {
            return Granted::Never;
        }
        let bands = law.bands.iter().enumerate();
        let fits = |band: &Band| band.refused.is_none() && band.contains(wanted.frequency, wanted.bandwidth);
        let mut allowed: Vec<(usize, f64, Option<f64>)> = bands
            .filter(|(_, band)| fits(band))
            .map(|(index, band)| {
                let share = band.duty_cycle.map(|share| share.fraction() * wanted.share);
                (index, eirp_dbm(law, band, station), share)
            })
            .collect();
        allowed.sort_by(|(_, one, _), (_, other, _)| other.total_cmp(one));
        let on_air = (wanted.from, wanted.from + wanted.airtime);
        let has_room = |(index, _, share): &&(usize, f64, Option<f64>)| {
            let spent = self.spent.get(&(station.eui, *index)).map_or(&[][..], Vec::as_slice);
            share.is_none_or(|share| leaves_room(spent, on_air, share))
        };
        let Some((index, eirp, _)) = allowed.iter().find(has_room).copied() else {
            return if allowed.is_empty() { Granted::Never } else { Granted::Later };
        };
        self.note(station.eui, index, on_air);
        Granted::Eirp(eirp.min(station.eirp_most_dbm))
    }

    /// Counts what was sent before a restart, in every sub-band that it may have been granted in.
    pub(super) fn sent_before(
        &mut self,
        gateway: GatewayEui,
        frequency: Frequency,
        from: Moment,
        airtime: Moment,
    ) {
        let bands = self.law.iter().flat_map(|law| law.bands.iter().enumerate());
        let held: Vec<usize> =
            bands.filter(|(_, band)| band.holds(frequency)).map(|(index, _)| index).collect();
        for index in held {
            self.note(gateway, index, (from, from + airtime));
        }
    }

    /// Our clock and a gateway's stand otherwise than before, and nobody knows how long ago it sent what it sent: it counts
    /// as sent just now.
    pub(super) fn clock_jumped(&mut self, gateway: GatewayEui, now: Moment) {
        for (_, spent) in self.spent.range_mut((gateway, 0)..=(gateway, usize::MAX)) {
            let latest = spent.iter().map(|(_, until)| *until).max().unwrap_or(now);
            spent.retain(|(_, until)| *until > latest - HOUR);
            let mut end = now;
            for on_air in spent.iter_mut().rev() {
                *on_air = (end - (on_air.1 - on_air.0), end);
                end = on_air.0;
            }
        }
    }

    /// Gives back what was not sent after all.
    pub(super) fn give_back(&mut self, gateway: GatewayEui, from: Moment, airtime: Moment) {
        for ((_, _), spent) in self.spent.range_mut((gateway, 0)..=(gateway, usize::MAX)) {
            if let Some(at) = spent.iter().position(|on_air| *on_air == (from, from + airtime)) {
                spent.remove(at);
                return;
            }
        }
    }

    fn note(&mut self, gateway: GatewayEui, index: usize, on_air: OnAir) {
        let spent = self.spent.entry((gateway, index)).or_default();
        spent.push(on_air);
        // Nothing is asked for that ends more than an hour before the latest.
        let latest = spent.iter().map(|(_, until)| *until).max().unwrap_or_default();
        spent.retain(|(_, until)| *until > latest - 2 * HOUR);
    }
}

/// Whether no hour holds more than its share with this transmission among the others.
fn leaves_room(spent: &[OnAir], wanted: OnAir, share: f64) -> bool {
    let most = share * HOUR as f64;
    let (first_end, last_end) = (wanted.0, wanted.1 + HOUR);
    let near = spent.iter().filter(|(from, until)| *until > first_end - HOUR && *from < last_end);
    let near: Vec<OnAir> = near.copied().chain([wanted]).collect();
    if near.iter().map(|(from, until)| until - from).sum::<Moment>() as f64 <= most {
        return true;
    }
    let within = |end: Moment| {
        let overlap = |(from, until): &OnAir| (*until.min(&end) - *from.max(&(end - HOUR))).max(0);
        near.iter().map(overlap).sum::<Moment>()
    };
    // The fullest hours end with a transmission, or begin with one.
    let ends = near.iter().flat_map(|(from, until)| [*until, from + HOUR]);
    ends.filter(|end| (first_end..last_end).contains(end)).all(|end| within(end) as f64 <= most)
}

fn too_long(law: &Law, wanted: Wanted) -> bool {
    law.dwell.as_ref().is_some_and(|dwell| {
        !dwell.lifted_by_network
            && wanted.bandwidth < dwell.narrower_than
            && wanted.airtime as f64 > dwell.longest.seconds() * 1e6
    })
}

/// The most that this gateway may radiate in a sub-band \[dBm EIRP\].
fn eirp_dbm(law: &Law, band: &Band, station: &Station) -> f64 {
    let gain = station.gain.decibels();
    let limit = |power: &design::law::PowerLimit| match power.reference {
        PowerReference::Erp => (power.most + DIPOLE_GAIN).dbm(),
        PowerReference::Eirp => power.most.dbm(),
        PowerReference::Conducted => {
            let free = law.antenna.as_ref().map_or(gain, |rule| rule.free_gain.decibels());
            power.most.dbm() + gain - (gain - free).max(0.0)
        }
    };
    let stated = band.power.iter().map(limit).fold(f64::INFINITY, f64::min);
    if stated.is_finite() { stated } else { station.eirp_most_dbm }
}

#[cfg(test)]
mod tests {
    use super::*;
    use design::quantity::Decibels;

    fn station() -> Station {
        Station {
            eui: GatewayEui::from_display_bytes([2, 0, 0, 0xff, 0xfe, 0, 0, 1]),
            eirp_most_dbm: 40.0,
            gain: Decibels::ZERO,
        }
    }

    fn wanted(megahertz: f64, from_s: Moment, airtime_ms: Moment) -> Wanted {
        Wanted {
            frequency: Frequency::from_megahertz(megahertz),
            bandwidth: Frequency::from_kilohertz(125.0),
            from: from_s * 1_000_000,
            airtime: airtime_ms * 1000,
            share: 1.0,
        }
    }

    /// EN 300 220-2 V3.3.1, table 4, band M: 1 % of an hour is 36 s, at 14 dBm ERP (16.15 dBm EIRP); band O: 10 %, 360 s, at
    /// 27 dBm ERP; 868.65 MHz lies in no band.
    #[test]
    fn an_hour_holds_the_share_of_the_law_and_not_a_transmission_more() {
        for (megahertz, count, eirp) in [(868.3, 36, 16.13), (869.525, 360, 29.14)] {
            let mut budget = Budget::new(Law::of_region("EU868"));
            for second in 0..count {
                let Granted::Eirp(found) = budget.take(&station(), wanted(megahertz, 2 * second, 1000))
                else {
                    panic!("{megahertz} MHz, {second}")
                };
                assert!((found - eirp).abs() < 0.05, "{found}");
            }
            assert_eq!(budget.take(&station(), wanted(megahertz, 3000, 1000)), Granted::Later);
            // The first second is out of the hour that ends with it.
            assert!(matches!(budget.take(&station(), wanted(megahertz, 3601, 1000)), Granted::Eirp(_)));
            let other = Station { eui: GatewayEui::from_display_bytes([1; 8]), ..station() };
            assert!(matches!(budget.take(&other, wanted(megahertz, 3000, 1000)), Granted::Eirp(_)));
        }
        let mut budget = Budget::new(Law::of_region("EU868"));
        assert_eq!(budget.take(&station(), wanted(868.65, 0, 10)), Granted::Never);
    }

    #[test]
    fn what_was_not_sent_is_given_back_and_what_was_sent_before_a_restart_counts() {
        let mut budget = Budget::new(Law::of_region("EU868"));
        assert!(matches!(budget.take(&station(), wanted(868.3, 0, 36_000)), Granted::Eirp(_)));
        assert_eq!(budget.take(&station(), wanted(868.3, 100, 100)), Granted::Later);
        budget.give_back(station().eui, 0, 36_000_000);
        budget.sent_before(station().eui, Frequency::from_megahertz(868.1), 50_000_000, 35_950_000);
        assert_eq!(budget.take(&station(), wanted(868.3, 100, 100)), Granted::Later);
        assert!(matches!(budget.take(&station(), wanted(868.3, 100, 50)), Granted::Eirp(_)));
    }

    #[test]
    fn an_answer_that_is_planned_ahead_counts_in_every_hour_that_holds_it() {
        let mut budget = Budget::new(Law::of_region("EU868"));
        assert!(matches!(budget.take(&station(), wanted(868.3, 3000, 30_000)), Granted::Eirp(_)));
        assert_eq!(budget.take(&station(), wanted(868.3, 0, 7000)), Granted::Later);
        assert!(matches!(budget.take(&station(), wanted(868.3, 0, 6000)), Granted::Eirp(_)));
    }
}
