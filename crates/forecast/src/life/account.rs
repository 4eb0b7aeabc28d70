//! Where the charge comes from and goes to: means over lives and over the hours in which the node runs.

use design::quantity::{Charge, Share};

use super::ensemble::on_threads;
use super::kernel::{Flows, Life};
use super::node::NodeTables;
use super::run::{HOURS_PER_DAY, LivedHour, Recorder, Trial, live};
use super::unknowns::UnknownScores;
use crate::load::{Purpose, Row};

/// Lives whose every hour goes into the account: a month's mean is then known to 2 % of itself.
pub const ACCOUNTED_LIVES: usize = 250;

/// From so many hours a year on charging at a wrong temperature counts as harm: a few minutes at sunrise lie within the doubt
/// of the battery's own temperature (own choice).
pub const HARMFUL_HOURS_PER_YEAR: f64 = 1.0;

/// What many lives took in and spent.
#[derive(Clone, Debug)]
pub struct Account {
    /// How many lives.
    pub lives: usize,
    /// January first.
    pub months: [MonthAccount; 12],
    /// What each purpose drew from the battery by month of the year while the node ran, in the order of
    /// [`crate::load::Demand::purposes`] \[Ah\].
    pub purposes: Vec<(Purpose, [f64; 12])>,
    /// Hours a year in which sun was refused for the battery's temperature, mean.
    pub gated_hours_per_year: f64,
    /// Charging at temperatures that harm the battery.
    pub harm: Harm,
}

/// Charging of a battery at temperatures that harm it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Harm {
    /// Below freezing, where that plates metal.
    pub frozen: Often,
    /// Above what it bears.
    pub hot: Often,
}

/// How often something happens.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Often {
    /// Hours a year, mean over lives.
    pub hours_per_year: f64,
    /// Share of lives in which it happens.
    pub lives: Share,
    /// Share of lives in which it happens for [`HARMFUL_HOURS_PER_YEAR`] or more.
    pub harmed: Share,
}

impl Harm {
    /// Of lives of so many years with so many such hours.
    #[must_use]
    pub fn of(lives: &[HarmHours], years: f64) -> Self {
        let often = |of: fn(&HarmHours) -> u32| Often::of(&lives.iter().map(of).collect::<Vec<_>>(), years);
        Self { frozen: often(|life| life.frozen), hot: often(|life| life.hot) }
    }
}

impl Often {
    fn of(hours: &[u32], years: f64) -> Self {
        let lives = hours.len().max(1) as f64;
        let with_at_least = |least: f64| {
            let counted = hours.iter().filter(|hours| **hours > 0 && f64::from(**hours) >= least * years);
            Share::from_fraction(counted.count() as f64 / lives)
        };
        Self {
            hours_per_year: hours.iter().copied().map(f64::from).sum::<f64>() / (lives * years),
            lives: with_at_least(0.0),
            harmed: with_at_least(HARMFUL_HOURS_PER_YEAR),
        }
    }
}

/// Hours of a life in which its battery was charged at a temperature that harms it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct HarmHours {
    /// Below freezing, where that plates metal.
    pub frozen: u32,
    /// Above what it bears.
    pub hot: u32,
}

/// Counts them.
#[derive(Clone, Copy, Debug)]
pub(super) struct HarmCounter<'a> {
    node: &'a NodeTables,
    pub(super) hours: HarmHours,
}

impl<'a> HarmCounter<'a> {
    pub(super) fn new(node: &'a NodeTables) -> Self {
        Self { node, hours: HarmHours::default() }
    }
}

impl Recorder for HarmCounter<'_> {
    #[inline]
    fn hour(&mut self, hour: &LivedHour<'_>) {
        if hour.outcome.taken > 0.0 {
            let celsius = hour.weather.battery_celsius;
            self.hours.frozen += u32::from(self.node.plates_at(celsius));
            self.hours.hot += u32::from(self.node.is_charged_hot_at(celsius));
        }
    }
}

/// A month of the year over many lives.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct MonthAccount {
    /// Hours that were lived.
    pub hours: f64,
    /// Hours of them in which the node ran.
    pub live_hours: f64,
    /// What moved \[Ah\].
    pub flows: Flows,
    /// Mean of the air over all hours, times them \[K h\].
    air_celsius_h: f64,
    /// Lowest state of charge at the end of a day, over all lives.
    pub lowest_charge: f64,
}

impl MonthAccount {
    fn add(&mut self, other: &Self) {
        self.hours += other.hours;
        self.live_hours += other.live_hours;
        self.flows.add(&other.flows);
        self.air_celsius_h += other.air_celsius_h;
        self.lowest_charge = self.lowest_charge.min(other.lowest_charge);
    }

    /// Mean of the air [°C].
    #[must_use]
    pub fn air_celsius(&self) -> f64 {
        self.air_celsius_h / self.hours.max(1.0)
    }

    /// What moved in a day in which the node runs; nothing where it never does.
    #[must_use]
    pub fn per_live_day(&self, ampere_hours: f64) -> Charge {
        Charge::from_ampere_hours(ampere_hours / (self.live_hours.max(1.0) / 24.0))
    }

    /// What moved in a day of the calendar.
    #[must_use]
    pub fn per_day(&self, ampere_hours: f64) -> Charge {
        Charge::from_ampere_hours(ampere_hours / (self.hours.max(1.0) / 24.0))
    }
}

/// Hours of one row of the demand, and what a battery voltage divides \[1/V\].
#[derive(Clone, Copy, Debug, Default)]
struct RowHours {
    hours: f64,
    per_volt: f64,
}

/// The account of one life.
struct LifeAccount<'a> {
    trial: &'a Trial<'a>,
    node: &'a NodeTables,
    before: Flows,
    months: [MonthAccount; 12],
    /// By month, row of the demand, and how many of its thresholds of cold air are passed.
    rows: Vec<Vec<RowHours>>,
    gated_hours: u32,
    harm: HarmCounter<'a>,
}

impl<'a> LifeAccount<'a> {
    fn new(trial: &'a Trial<'a>, number: u64) -> Self {
        let node = &trial.nodes[trial.spots.class(&trial.spots.draw(number))];
        let cells = |row: &Row| vec![RowHours::default(); 12 * (row.when_cold.len() + 1)];
        Self {
            trial,
            node,
            before: Flows::default(),
            months: [MonthAccount { lowest_charge: 1.0, ..MonthAccount::default() }; 12],
            rows: node.demand.rows().iter().map(cells).collect(),
            gated_hours: 0,
            harm: HarmCounter::new(node),
        }
    }

    /// What each purpose drew by month \[Ah\], its tolerances as this life has them.
    fn purposes(&self, drawn: &UnknownScores) -> Vec<[f64; 12]> {
        let demand = &self.node.demand;
        let mut sums = vec![[0.0; 12]; demand.purposes.len()];
        for (row, cells) in demand.rows().iter().zip(&self.rows) {
            let buckets = row.when_cold.len() + 1;
            for part in &row.contributions {
                let purpose = &demand.purposes[part.purpose];
                let factor =
                    if matches!(purpose, Purpose::Sleeping { .. }) { drawn.floor() } else { drawn.active() };
                let warmer = row.when_cold.iter().filter(|(air, _)| *air > part.air_below_celsius).count();
                let least = if part.air_below_celsius == f32::INFINITY { 0 } else { warmer + 1 };
                for (place, cell) in cells.iter().enumerate().filter(|(place, _)| place % buckets >= least) {
                    let drawn_ah = f64::from(part.draw.amperes) * cell.hours
                        + f64::from(part.draw.watts) * cell.per_volt;
                    sums[part.purpose][place / buckets] += factor * drawn_ah;
                }
            }
        }
        sums
    }
}

impl Recorder for LifeAccount<'_> {
    const HOURLY: bool = true;

    fn hour(&mut self, hour: &LivedHour<'_>) {
        let (outcome, weather) = (hour.outcome, hour.weather);
        let month = self.trial.weather.month_of(hour.place / HOURS_PER_DAY);
        let account = &mut self.months[month];
        account.hours += 1.0;
        account.air_celsius_h += f64::from(weather.air_celsius);
        self.gated_hours += u32::from(outcome.gated);
        self.harm.hour(hour);
        if !outcome.running {
            return;
        }
        account.live_hours += 1.0;
        let demand = &self.node.demand;
        let kind = usize::from(self.trial.weather.kinds()[hour.place]);
        let place = demand.place(kind, hour.life.level());
        let row = &demand.rows()[place];
        let passed = row.when_cold.iter().filter(|(air, _)| weather.air_celsius < *air).count();
        let cell = &mut self.rows[place][month * (row.when_cold.len() + 1) + passed];
        cell.hours += 1.0;
        if row.by_power {
            cell.per_volt += 1.0 / f64::from(self.node.rest_volts(hour.charge_before));
        }
    }

    fn day(&mut self, day: usize, life: &Life, counts: bool) {
        let account = &mut self.months[self.trial.weather.month_of(day)];
        account.flows.add(&life.flows.since(&self.before));
        self.before = life.flows;
        if counts {
            account.lowest_charge = account.lowest_charge.min(life.charge());
        }
    }
}

/// Lives the first lives of a trial once more, hour by hour, and sums up what they took in and spent.
#[must_use]
pub fn account(trial: &Trial<'_>, lives: usize, threads: usize) -> Account {
    let lives = lives.clamp(1, ACCOUNTED_LIVES);
    let one = |number: usize| {
        let mut account = LifeAccount::new(trial, number as u64);
        let outcome = live(trial, number as u64, None, &mut account);
        let purposes = account.purposes(&outcome.drawn);
        (outcome.class, account.months, purposes, account.gated_hours, account.harm.hours)
    };
    let mut sum = Account {
        lives,
        months: [MonthAccount { lowest_charge: 1.0, ..MonthAccount::default() }; 12],
        purposes: Vec::new(),
        gated_hours_per_year: 0.0,
        harm: Harm::default(),
    };
    let per_life_year = 1.0 / (lives as f64 * trial.years());
    let mut harm_hours = Vec::with_capacity(lives);
    for (class, months, purposes, gated, hours) in on_threads(threads, lives, one) {
        sum.months.iter_mut().zip(&months).for_each(|(mine, its)| mine.add(its));
        for (purpose, its) in trial.nodes[class].demand.purposes.iter().zip(purposes) {
            sum.spend(purpose, &its);
        }
        sum.gated_hours_per_year += f64::from(gated) * per_life_year;
        harm_hours.push(hours);
    }
    sum.harm = Harm::of(&harm_hours, trial.years());
    sum
}

impl Account {
    fn spend(&mut self, purpose: &Purpose, its: &[f64; 12]) {
        match self.purposes.iter_mut().find(|(known, _)| known == purpose) {
            Some((_, mine)) => mine.iter_mut().zip(its).for_each(|(mine, its)| *mine += its),
            None => self.purposes.push((purpose.clone(), *its)),
        }
    }

    /// All months together.
    #[must_use]
    pub fn year(&self) -> MonthAccount {
        let mut year = MonthAccount { lowest_charge: 1.0, ..MonthAccount::default() };
        self.months.iter().for_each(|month| year.add(month));
        year
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: three lives of three years with 0, 2 and 12 such hours. It happens in two of them, and in one for 4 h a year.
    #[test]
    fn a_few_minutes_a_year_are_told_and_do_no_harm() {
        let lives = [0, 2, 12].map(|frozen| HarmHours { frozen, hot: 0 });
        let harm = Harm::of(&lives, 3.0);
        assert!((harm.frozen.hours_per_year - 14.0 / 9.0).abs() < 1e-12);
        assert_eq!(harm.frozen.lives, Share::from_fraction(2.0 / 3.0));
        assert_eq!(harm.frozen.harmed, Share::from_fraction(1.0 / 3.0));
        assert_eq!(harm.hot, Often::default());
    }
}
