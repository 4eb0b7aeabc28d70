//! Where the charge comes from and goes to, and month by month.

use design::quantity::{Charge, Share, Temperature};

use super::lives::{KeptHour, Stage};
use crate::plan::{LedgerEntry, MonthRow};

/// Sums over the hours of a year and of its darkest month.
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    year_ah: f64,
    dark_ah: f64,
}

impl Sum {
    fn add(&mut self, ampere_hours: f64, dark: bool) {
        self.year_ah += ampere_hours;
        if dark {
            self.dark_ah += ampere_hours;
        }
    }
}

/// The ledger of the kept hours; `dark_month` is the one whose day is shown beside the year's.
pub(super) fn ledger(stage: &Stage<'_>, hours: &[KeptHour], dark_month: u8) -> Vec<LedgerEntry> {
    let demand = &stage.node.demand;
    let mut offered = Sum::default();
    let mut purposes = vec![Sum::default(); demand.purposes.len()];
    let mut drains = Drains::default();
    let mut dark_hours = 0;
    for hour in hours {
        let dark = stage.dates[hour.place].0 == dark_month;
        dark_hours += usize::from(dark);
        offered.add(f64::from(hour.outcome.offered), dark);
        spend(stage, hour, dark, &mut purposes, &mut drains);
    }
    let days = (hours.len() as f64 / 24.0, (dark_hours.max(1)) as f64 / 24.0);
    let mut entries = vec![entry("sun", offered, days, 1.0)];
    entries.extend(demand.purposes.iter().zip(purposes).map(|(name, sum)| entry(name, sum, days, -1.0)));
    entries.push(entry("charger in the dark", drains.charger, days, -1.0));
    entries.push(entry("self-discharge and leakage", drains.inside, days, -1.0));
    entries.push(entry("drawn while stopped", drains.stopped, days, -1.0));
    entries.retain(|entry| entry.per_day != Charge::ZERO || entry.purpose == "sun");
    entries
}

#[derive(Debug, Default)]
struct Drains {
    charger: Sum,
    inside: Sum,
    stopped: Sum,
}

/// Splits what the battery gave in one hour by purpose; what no purpose claims is the charger's and the battery's own.
fn spend(stage: &Stage<'_>, hour: &KeptHour, dark: bool, purposes: &mut [Sum], drains: &mut Drains) {
    let node = stage.node;
    let weather = &stage.record.hours[hour.place];
    let volts = node.rest_volts(hour.charge_before);
    let mut own = f64::from(hour.outcome.spent);
    if hour.outcome.running {
        let kind = usize::from(stage.record.kinds[hour.place]);
        let row = node.demand.row(kind, node.demand.level(hour.charge_before));
        for part in row.contributions.iter().filter(|part| weather.air_celsius < part.air_below_celsius) {
            let amperes = f64::from(part.draw.at(volts));
            purposes[part.purpose].add(amperes, dark);
            own -= amperes;
        }
    } else {
        drains.stopped.add(f64::from(node.stopped_amperes), dark);
        own -= f64::from(node.stopped_amperes);
    }
    let lit = hour.outcome.offered > 0.0 || hour.outcome.gated;
    let charger = if lit { 0.0 } else { f64::from(node.charger.drain_amperes) };
    drains.charger.add(charger, dark);
    drains.inside.add((own - charger).max(0.0), dark);
}

fn entry(purpose: &str, sum: Sum, days: (f64, f64), sign: f64) -> LedgerEntry {
    LedgerEntry {
        purpose: purpose.to_owned(),
        per_day: Charge::from_ampere_hours(sign * sum.year_ah / days.0),
        per_dark_day: Charge::from_ampere_hours(sign * sum.dark_ah / days.1),
    }
}

/// The year month by month; `plain_in_plane_w_m2` is the sun on the plane before reflection at the cover.
pub(super) fn months(stage: &Stage<'_>, hours: &[KeptHour], plain_in_plane_w_m2: &[f32]) -> Vec<MonthRow> {
    (1..=12).filter_map(|month| month_row(stage, hours, plain_in_plane_w_m2, month)).collect()
}

fn month_row(stage: &Stage<'_>, hours: &[KeptHour], plain_w_m2: &[f32], month: u8) -> Option<MonthRow> {
    let of_month: Vec<&KeptHour> = hours.iter().filter(|hour| stage.dates[hour.place].0 == month).collect();
    if of_month.is_empty() {
        return None;
    }
    let days = of_month.len() as f64 / 24.0;
    let sum =
        |value: &dyn Fn(&KeptHour) -> f32| of_month.iter().map(|hour| f64::from(value(hour))).sum::<f64>();
    let per_day = |value: &dyn Fn(&KeptHour) -> f32| Charge::from_ampere_hours(sum(value) / days);
    let air = sum(&|hour| stage.record.hours[hour.place].air_celsius) / of_month.len() as f64;
    let lowest = of_month.iter().map(|hour| hour.charge).fold(f32::INFINITY, f32::min);
    let outages = of_month.iter().filter(|hour| hour.outcome.out()).count();
    Some(MonthRow {
        month,
        sun_on_plane_wh_m2: sum(&|hour| plain_w_m2.get(hour.place).copied().unwrap_or(0.0)) / days,
        offered_per_day: per_day(&|hour| hour.outcome.offered),
        taken_per_day: per_day(&|hour| hour.outcome.taken),
        spent_per_day: per_day(&|hour| hour.outcome.spent),
        air: Temperature::from_celsius(air),
        lowest_charge: Share::from_fraction(f64::from(lowest)),
        outage_hours: u32::try_from(outages).unwrap_or(u32::MAX),
    })
}
