//! How much charge lives need to get through, by month and interval of what they report, and the table of intervals that
//! follows: at each charge the shortest interval whose need is met.
//!
//! A life is lived at the longest interval, and what the sun offers and the node spends is kept by the day. Backwards from
//! the end, the charge that a day needs is that of the day after, less what the day brings, but never less than keeps the
//! node from stopping in that day's cold (the sequent peak of the theory of storage). At a shorter interval a day needs so
//! much more as it costs to go on with it to the end of the month.
//!
//! # References
//! Rippl 1883, *Minutes of the Proceedings of the Institution of Civil Engineers* 71, 270-278 (the largest drawdown).
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use super::ensemble::on_threads;
use super::kernel::{Flows, Life};
use super::node::NodeTables;
use super::run::{LivedHour, Recorder, Trial, live};
use super::unknowns::UnknownScores;
use super::weather::MonthlyDraw;
use crate::sky::light::YEAR_DAYS;

/// Needs in whole percents of the charge; the last is what no battery holds.
const BINS: usize = 102;
/// What lies beyond the end is needed as well: lives are followed for so much longer.
const BEYOND_DAYS: usize = YEAR_DAYS;
/// More years say nothing new.
const LONGEST_DAYS: usize = 5 * YEAR_DAYS;
/// Charges from which the rows of a table hold: tenths.
const ROWS: usize = 10;

/// What many lives need to get through.
#[derive(Clone, Debug)]
pub struct Needs {
    /// Days of all lives by interval, month and percent of the charge that they need.
    counts: Vec<[[u32; BINS]; 12]>,
    /// What the sun offered in a year, mean over lives \[Ah\].
    pub offered_ah: f64,
    /// What was spent in a year at the longest interval, mean over lives \[Ah\].
    pub spent_ah: f64,
    /// Lives that got through at the longest interval; the others tell nothing.
    pub lives: usize,
}

/// How careful a table is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Caution {
    /// Share of the days whose need is met.
    pub share: f64,
    /// Charge in hand on top of the need.
    pub margin: f64,
}

/// Rows of charge from which they hold, highest first, and in each the place of the interval for every month.
pub type Rows = Vec<(f64, [usize; 12])>;

/// What lives of a trial at the longest interval need; `draws` says by class of spot and interval, the shortest first and
/// the trial's own last, what the node draws.
#[must_use]
pub fn needs(longest: &Trial<'_>, draws: &[Vec<MonthlyDraw>], lives: usize, threads: usize) -> Needs {
    let counted = longest.days.clamp(YEAR_DAYS, LONGEST_DAYS);
    let trial = Trial { days: counted + BEYOND_DAYS, ..*longest };
    let intervals = draws.first().map_or(0, Vec::len);
    let mut all =
        Needs { counts: vec![[[0; BINS]; 12]; intervals], offered_ah: 0.0, spent_ah: 0.0, lives: 0 };
    for (counts, offered_ah, spent_ah) in
        on_threads(threads, lives, |number| of_life(&trial, draws, number as u64, counted))
            .into_iter()
            .flatten()
    {
        let cells = all.counts.iter_mut().flatten().flatten();
        cells.zip(counts.iter().flatten().flatten()).for_each(|(mine, its)| *mine += its);
        all.offered_ah += offered_ah;
        all.spent_ah += spent_ah;
        all.lives += 1;
    }
    let per_life = 1.0 / all.lives.max(1) as f64;
    all.offered_ah *= per_life;
    all.spent_ah *= per_life;
    all
}

impl Needs {
    /// The charge that is enough on so large a share of the days of a month, 0 being January, at the interval of this place;
    /// above 1 if no battery is.
    #[must_use]
    pub fn enough(&self, interval: usize, month: usize, share: f64) -> f64 {
        let counts = &self.counts[interval][month];
        let wanted = share * f64::from(counts.iter().sum::<u32>());
        let mut below = 0.0;
        let bin = counts.iter().position(|count| {
            below += f64::from(*count);
            below >= wanted - 1e-9
        });
        bin.unwrap_or(BINS - 1) as f64 / 100.0
    }

    /// The table that is so careful.
    #[must_use]
    pub fn table(&self, caution: Caution) -> Rows {
        let longest = self.counts.len() - 1;
        let row = |tenth: usize| {
            let charge = tenth as f64 / ROWS as f64;
            let shortest = |month: usize| {
                let met = |interval: &usize| {
                    self.enough(*interval, month, caution.share) + caution.margin <= charge + 1e-9
                };
                (0..longest).find(met).unwrap_or(longest)
            };
            (charge, std::array::from_fn(shortest))
        };
        (0..ROWS).rev().map(row).collect()
    }
}

/// What a day brought and took \[Ah\].
#[derive(Clone, Copy, Debug)]
struct Day {
    month: usize,
    offered_ah: f64,
    spent_ah: f64,
    capacity_ah: f64,
    reserve_ah: f64,
}

/// Keeps the days of a life.
struct Days<'a> {
    trial: &'a Trial<'a>,
    node: &'a NodeTables,
    /// Charge above which nothing stops the node, by whole degrees of the battery.
    reserves: Vec<Option<f32>>,
    resistance_factor: f32,
    before: Flows,
    coldest_celsius: f32,
    kept: Vec<Day>,
}

const COLDEST_CELSIUS: f32 = -60.0;
const DEGREES: usize = 161;

impl Recorder for Days<'_> {
    const HOURLY: bool = true;

    fn hour(&mut self, hour: &LivedHour<'_>) {
        self.coldest_celsius = self.coldest_celsius.min(hour.weather.battery_celsius);
    }

    fn day(&mut self, day: usize, life: &Life, _counts: bool) {
        let flows = life.flows.since(&self.before);
        self.before = life.flows;
        let capacity_ah = life.capacity_ah();
        let reserve = f64::from(self.reserve());
        self.coldest_celsius = f32::INFINITY;
        self.kept.push(Day {
            month: self.trial.weather.month_of(day),
            offered_ah: flows.offered,
            spent_ah: flows.load + flows.joins + flows.charger + flows.self_discharge + flows.fade,
            capacity_ah,
            reserve_ah: reserve * capacity_ah,
        });
    }
}

impl Days<'_> {
    fn reserve(&mut self) -> f32 {
        let degree = (self.coldest_celsius - COLDEST_CELSIUS).floor().clamp(0.0, (DEGREES - 1) as f32);
        let (node, factor) = (self.node, self.resistance_factor);
        let known = &mut self.reserves[degree as usize];
        *known.get_or_insert_with(|| node.runs_above(COLDEST_CELSIUS + degree, factor))
    }
}

type Counts = Vec<[[u32; BINS]; 12]>;

/// What one life needs, offered and spent in a year; `None` if it does not get through.
fn of_life(
    trial: &Trial<'_>,
    draws: &[Vec<MonthlyDraw>],
    number: u64,
    counted: usize,
) -> Option<(Counts, f64, f64)> {
    let class = trial.spots.class(&trial.spots.draw(number));
    let node = &trial.nodes[class];
    let mut days = Days {
        trial,
        node,
        reserves: vec![None; DEGREES],
        resistance_factor: super::run::drawn_for(trial, number).drawn.resistance() as f32,
        before: Flows::default(),
        coldest_celsius: f32::INFINITY,
        kept: Vec::with_capacity(trial.days),
    };
    let outcome = live(trial, number, None, &mut days);
    if !outcome.is_unbroken() {
        return None;
    }
    let kept = &days.kept;
    let per_year = YEAR_DAYS as f64 / kept.len().max(1) as f64;
    let offered_ah = kept.iter().map(|day| day.offered_ah).sum::<f64>() * per_year;
    let spent_ah = kept.iter().map(|day| day.spent_ah).sum::<f64>() * per_year;
    Some((counts(kept, &more_by_month(&draws[class], &outcome.drawn), counted), offered_ah, spent_ah))
}

/// What a day at each interval costs more than one at the longest, by month \[Ah\].
fn more_by_month(draws: &[MonthlyDraw], drawn: &UnknownScores) -> Vec<[f64; 12]> {
    let Some(longest) = draws.last() else { return Vec::new() };
    let more = |draw: &MonthlyDraw| {
        std::array::from_fn(|month| {
            (draw.active_ah[month] - longest.active_ah[month]) * drawn.active()
                + (draw.floor_ah[month] - longest.floor_ah[month]) * drawn.floor()
        })
    };
    draws.iter().map(more).collect()
}

fn counts(days: &[Day], more_ah: &[[f64; 12]], counted: usize) -> Counts {
    let mut counts = vec![[[0; BINS]; 12]; more_ah.len()];
    let mut longest_ah: f64 = days.last().map_or(0.0, |day| day.reserve_ah);
    let mut needs_ah = vec![longest_ah; more_ah.len()];
    let mut month = None;
    for (index, day) in days.iter().enumerate().rev() {
        if month != Some(day.month) {
            needs_ah.fill(longest_ah);
            month = Some(day.month);
        }
        let gain_ah = day.offered_ah - day.spent_ah;
        longest_ah = (longest_ah - gain_ah).max(day.reserve_ah);
        for ((need_ah, more_ah), counts) in needs_ah.iter_mut().zip(more_ah).zip(&mut counts) {
            *need_ah = (*need_ah - gain_ah + more_ah[day.month]).max(day.reserve_ah);
            if index < counted {
                let percent = (100.0 * *need_ah / day.capacity_ah).ceil().clamp(0.0, (BINS - 1) as f64);
                counts[day.month][percent as usize] += 1;
            }
        }
    }
    counts
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(month: usize, gain_ah: f64) -> Day {
        Day { month, offered_ah: gain_ah + 1.0, spent_ah: 1.0, capacity_ah: 10.0, reserve_ah: 0.5 }
    }

    /// By hand: two days that bring 2, then three that cost 1, then one that brings 5, reserve 0.5 of 10. Backwards the
    /// charge needed is 0.5, 1.5, 2.5, 3.5, 1.5, 0.5 (not below the reserve).
    #[test]
    fn the_need_is_the_largest_drawdown_to_come() {
        let days = [day(0, 2.0), day(0, 2.0), day(0, -1.0), day(0, -1.0), day(0, -1.0), day(0, 5.0)];
        let counts = counts(&days, &[[0.0; 12]], 6);
        let seen: Vec<(usize, u32)> =
            counts[0][0].iter().copied().enumerate().filter(|(_, count)| *count > 0).collect();
        assert_eq!(seen, [(5, 2), (15, 2), (25, 1), (35, 1)]);
    }

    /// At an interval that costs 0.5 a day more, until the month ends: the second month's need is what begins the first's.
    #[test]
    fn a_shorter_interval_is_kept_to_the_end_of_the_month() {
        let days = [day(0, -1.0), day(0, -1.0), day(1, -2.0), day(1, 9.0)];
        let counts = counts(&days, &[[0.5; 12], [0.0; 12]], 4);
        let percents = |interval: usize, month: usize| -> Vec<usize> {
            (0..BINS).filter(|percent| counts[interval][month][*percent] > 0).collect()
        };
        // Longest: 0.5, 2.5 | 3.5, 4.5. Shorter: month 1: 0.5, 3.0; month 0 from 2.5: 4.0, 5.5.
        assert_eq!((percents(1, 1), percents(1, 0)), (vec![5, 25], vec![35, 45]));
        assert_eq!((percents(0, 1), percents(0, 0)), (vec![5, 30], vec![40, 55]));
    }
}
