//! What is asked of one life: its lowest point, what is in hand there, and how it comes back.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use std::ops::ControlFlow::{Break, Continue};

use design::quantity::{Charge, Duration, Share};

use crate::plan::{Life, Moment, Restart};
use forecast::life::ensemble::{BACK_FOR_GOOD_H, Silence};
use forecast::life::kernel::{self, HourOutcome};
use forecast::life::node::{Harvest, NodeTables};
use forecast::life::walk::{Darkness, Record, Walk};
use forecast::life::weather::YEAR_H;
use forecast::power::battery::FREEZING_CELSIUS;

/// The longest a node is followed without sun: long enough for any primary cell.
const LONGEST_WITHOUT_SUN_H: usize = 40 * YEAR_H;

/// The lowest charge is looked for once the battery has first been filled, or after so long: the charge it was sent out
/// with is no result.
const SETTLED_H: usize = 60 * 24;

/// A node in its weather, ready to be walked.
#[derive(Debug)]
pub(super) struct Stage<'a> {
    pub(super) node: &'a NodeTables,
    pub(super) record: &'a Record,
    /// Month, day and hour of each hour of the record.
    pub(super) dates: &'a [(u8, u8, u8)],
    /// First hour of the month with the least sun on the plane.
    pub(super) dark_month_from: usize,
    /// Whether charging below freezing damages the battery and nothing prevents it.
    pub(super) plates: bool,
}

/// Charge per day \[Ah\].
#[expect(clippy::struct_field_names, reason = "the unit belongs to the name")]
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Balance {
    /// What panel and charger offer.
    pub(super) offered_ah: f64,
    /// What the board draws asleep.
    pub(super) floor_ah: f64,
    /// What it draws awake.
    pub(super) active_ah: f64,
}

/// What is kept of one hour.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct KeptHour {
    pub(super) place: usize,
    /// State of charge at its start and at its end.
    pub(super) charge_before: f32,
    pub(super) charge: f32,
    pub(super) outcome: HourOutcome,
}

/// One life with all that was seen on the way.
#[derive(Debug)]
pub(super) struct Lived {
    pub(super) life: Life,
    /// The hours of the last pass.
    pub(super) last_pass: Vec<KeptHour>,
    /// The life as it stood in the last pass when a defect starts.
    pub(super) before_dark: kernel::Life,
}

#[derive(Debug, Default)]
struct Counts {
    outage_hours: u32,
    outages: u32,
    first_outage: Option<usize>,
    gated_hours: u32,
    plating_hours: u32,
    reports: f64,
    wanted_reports: f64,
}

impl Stage<'_> {
    /// The date of an hour of a walk that began at `from`.
    pub(super) fn moment(&self, from: usize, index: usize) -> Moment {
        let year = self.record.hours.len();
        let (month, day, hour) = self.dates[(from + index) % year];
        let years_per_pass = (year as f64 / YEAR_H as f64).round().max(1.0) as usize;
        Moment { pass: u16::try_from(index * years_per_pass / year).unwrap_or(u16::MAX), month, day, hour }
    }

    /// Lives from `from` at this charge for so many hours, and answers the usual questions.
    pub(super) fn live(&self, from: usize, charge: Share, hours: usize, defects_from: usize) -> Lived {
        let year = self.record.hours.len();
        let start = kernel::Life::new(self.node, charge.fraction());
        let mut counts = Counts::default();
        let mut lowest = (f64::INFINITY, 0, start.clone());
        let mut before_dark = start.clone();
        let mut settled = false;
        let mut last_pass = Vec::with_capacity(year);
        let last_from = hours.saturating_sub(year);
        let mut charge_before = charge.fraction() as f32;
        let end = Walk::new(start, from, hours).go(self.node, self.record, |index, life, outcome| {
            let place = (from + index) % year;
            self.count(&mut counts, index, place, life, outcome);
            settled |= outcome.full || index >= SETTLED_H;
            if settled && life.charge() < lowest.0 {
                lowest = (life.charge(), index, life.clone());
            }
            if index >= last_from {
                last_pass.push(KeptHour {
                    place,
                    charge_before,
                    charge: life.charge() as f32,
                    outcome: *outcome,
                });
                if (place + 1) % year == defects_from {
                    before_dark = life.clone();
                }
            }
            charge_before = life.charge() as f32;
            Continue(())
        });
        let life = self.answer(from, hours, &counts, &lowest, &end);
        Lived { life, last_pass, before_dark }
    }

    /// First hour of the record that has this day of the year.
    pub(super) fn place_of_day(&self, day: usize) -> usize {
        (day * 24).min(self.record.hours.len().saturating_sub(1))
    }

    /// Reports per year with a battery that is always full.
    pub(super) fn wanted_reports_per_year(&self) -> f64 {
        let level = self.node.demand.levels.len() - 1;
        let hours = self.record.hours.iter().zip(&self.record.kinds);
        let reports = hours.map(|(hour, kind)| {
            f64::from(self.node.demand.row(usize::from(*kind), level).reports_per_hour(hour.air_celsius))
        });
        reports.sum::<f64>() * YEAR_H as f64 / self.record.hours.len() as f64
    }

    /// The longest time between two reports with a battery that is always full \[h\]: the year is gone through twice, so that
    /// a silence over its end is seen whole.
    pub(super) fn usual_silence_h(&self) -> f64 {
        let demand = &self.node.demand;
        let mut silence = Silence::default();
        for (hour, kind) in (0..2).flat_map(|_| self.record.hours.iter().zip(&self.record.kinds)) {
            let row = demand.row(usize::from(*kind), demand.levels.len() - 1);
            silence.pass_hour(row.reports_per_hour(hour.air_celsius));
        }
        f64::from(silence.longest_h)
    }

    /// What a day of the darkest month brings and costs a nominal node at mid charge.
    pub(super) fn dark_month_balance(&self) -> Balance {
        const MIDDLE: f32 = 0.6;
        let month = self.dates[self.dark_month_from].0;
        let volts = self.node.rest_volts(MIDDLE);
        let mut balance = Balance::default();
        let mut hours = 0_u32;
        for (index, hour) in
            self.record.hours.iter().enumerate().filter(|(index, _)| self.dates[*index].0 == month)
        {
            let row = self
                .node
                .demand
                .row(usize::from(self.record.kinds[index]), self.node.demand.levels.len() - 1);
            let (floor, active) = row.amperes(hour.air_celsius, || volts);
            balance.offered_ah +=
                f64::from(self.node.from_panel(hour.in_plane_w_m2, hour.cell_celsius, volts));
            balance.floor_ah += f64::from(floor);
            balance.active_ah += f64::from(active);
            hours += 1;
        }
        let days = f64::from(hours.max(1)) / 24.0;
        Balance {
            offered_ah: balance.offered_ah / days,
            floor_ah: balance.floor_ah / days,
            active_ah: balance.active_ah / days,
        }
    }

    /// Whether a life from `from` goes without an outage.
    pub(super) fn survives(&self, from: usize, charge: Share, hours: usize) -> bool {
        let mut out = false;
        let life = kernel::Life::new(self.node, charge.fraction());
        Walk::new(life, from, hours).go(self.node, self.record, |_, _, outcome| {
            out = outcome.out();
            if out { Break(()) } else { Continue(()) }
        });
        !out
    }

    fn count(
        &self,
        counts: &mut Counts,
        index: usize,
        place: usize,
        life: &kernel::Life,
        outcome: &HourOutcome,
    ) {
        let weather = &self.record.hours[place];
        let demand = &self.node.demand;
        let kind = usize::from(self.record.kinds[place]);
        let out = outcome.out();
        counts.outages += u32::from(outcome.stopped_now);
        counts.outage_hours += u32::from(out);
        if out && counts.first_outage.is_none() {
            counts.first_outage = Some(index);
        }
        counts.gated_hours += u32::from(outcome.gated);
        let plating = self.plates && outcome.taken > 0.0 && weather.battery_celsius < FREEZING_CELSIUS;
        counts.plating_hours += u32::from(plating);
        let full_level = demand.levels.len() - 1;
        counts.wanted_reports +=
            f64::from(demand.row(kind, full_level).reports_per_hour(weather.air_celsius));
        if !out {
            let level = demand.level(life.charge() as f32);
            counts.reports += f64::from(demand.row(kind, level).reports_per_hour(weather.air_celsius));
        }
    }

    fn answer(
        &self,
        from: usize,
        hours: usize,
        counts: &Counts,
        lowest: &(f64, usize, kernel::Life),
        end: &kernel::Life,
    ) -> Life {
        let years = hours as f64 / YEAR_H as f64;
        let (lowest_charge, lowest_index, lowest_life) = lowest;
        let lowest_place = (from + lowest_index + 1) % self.record.hours.len();
        let (in_hand, _) = self.until_stopped(lowest_life.clone(), lowest_place, usize::MAX);
        let spilled = (end.flows.offered - end.flows.taken) / (hours as f64 / 24.0);
        Life {
            outage_hours: counts.outage_hours,
            outages: counts.outages.max(u32::from(counts.first_outage.is_some())),
            first_outage: counts.first_outage.map(|index| self.moment(from, index)),
            cause: None,
            missed_reports_per_year: (counts.wanted_reports - counts.reports).max(0.0) / years,
            reports_per_year: counts.reports / years,
            lowest_charge: Share::from_fraction(*lowest_charge),
            lowest_at: self.moment(from, *lowest_index),
            in_hand,
            without_sun: self.without_sun(),
            restart: self.restart_from(lowest_life, lowest_place),
            days_to_half: self.days_to_half(),
            spilled_per_day: Charge::from_ampere_hours(spilled),
            capacity_left: Share::from_fraction(end.capacity_left()),
            gated_hours_per_year: f64::from(counts.gated_hours) / years,
            plating_hours_per_year: f64::from(counts.plating_hours) / years,
        }
    }

    /// How long a full new battery lasts without sun from the start of the darkest month.
    fn without_sun(&self) -> Duration {
        self.until_stopped(kernel::Life::new(self.node, 1.0), self.dark_month_from, usize::MAX).0
    }

    /// Walks until the node stops, without sun for `dark_hours`, and returns the time and the life at that point.
    pub(super) fn until_stopped(
        &self,
        life: kernel::Life,
        from: usize,
        dark_hours: usize,
    ) -> (Duration, kernel::Life) {
        let longest = if dark_hours == usize::MAX { LONGEST_WITHOUT_SUN_H } else { YEAR_H };
        let mut lasted = longest;
        let walk = Walk { life, from, hours: longest, darkness: Darkness { hours: dark_hours } };
        let end = walk.go(self.node, self.record, |index, _, outcome| {
            if !outcome.out() {
                return Continue(());
            }
            lasted = index;
            Break(())
        });
        (Duration::from_hours(lasted as f64), end)
    }

    /// When a node that has just stopped at this place of the record is back for good.
    pub(super) fn until_running(&self, stopped: kernel::Life, from: usize, dark_hours: usize) -> Restart {
        let (mut since, mut restart) = (None, Restart::Never);
        if matches!(self.node.harvest, Harvest::None) || dark_hours == usize::MAX {
            return restart;
        }
        let hours = YEAR_H + BACK_FOR_GOOD_H;
        let walk = Walk { life: stopped, from, hours, darkness: Darkness { hours: dark_hours } };
        walk.go(self.node, self.record, |index, _, outcome| {
            if outcome.out() {
                since = None;
                return Continue(());
            }
            let first = *since.get_or_insert(index);
            if index - first < BACK_FOR_GOOD_H {
                return Continue(());
            }
            restart = Restart::At(self.moment(from, first), first as f64 / 24.0);
            Break(())
        });
        restart
    }

    /// The restart of a node that stops at this place and, starting and sagging, has drained itself down to where it
    /// rests at the voltage that stops it.
    pub(super) fn restart_from(&self, life: &kernel::Life, place: usize) -> Restart {
        let (_, mut stopped) = self.until_stopped(life.clone(), place, usize::MAX);
        stopped.running = false;
        stopped.drain_to(f64::from(self.node.charge_resting_at(self.node.stops_below_volts)));
        self.until_running(stopped, place, 0)
    }

    fn days_to_half(&self) -> Option<f64> {
        let mut empty = kernel::Life::new(self.node, 0.0);
        empty.running = false;
        let mut days = None;
        Walk::new(empty, self.dark_month_from, YEAR_H).go(self.node, self.record, |index, life, _| {
            if life.charge() < 0.5 {
                return Continue(());
            }
            days = Some(index as f64 / 24.0);
            Break(())
        });
        days
    }
}
