//! One life of a node on its way, hour by hour, and those who look on.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use design::quantity::Share;

use super::kernel::{HourOutcome, Life, QUARTER_H, step, step_quiet_quarter};
use super::node::{Harvest, NodeTables};
use super::unknowns::{UnknownScores, Unknowns};
use super::weather::{NodeSky, NodeWeather};
use crate::radio::spots::Spots;
use crate::random::Stream;
use crate::sky::hours::{DayHours, HourWeather, LifeWeather};
use crate::sky::light::YEAR_DAYS;

pub(super) const HOURS_PER_DAY: usize = 24;
/// Gauges have streams of their own, so that a node without one lives as if there were none.
const GAUGES: u64 = 1 << 48;
/// The charge a node was sent out with is no result: levels count from the first full battery, or from here.
const SETTLED_DAYS: usize = 60;
/// A node is back when it has run for so long without stopping: a warm noon that lets a cold battery flicker is no
/// return \[h\].
const BACK_FOR_GOOD_H: usize = 72;

/// Counts how long a node has run without stopping.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Running {
    pub(super) hours: usize,
}

impl Running {
    /// So many hours have passed; whether it is back for good now.
    pub(super) fn pass(&mut self, hours: usize, out: bool) -> bool {
        self.hours = if out { 0 } else { self.hours + hours };
        self.hours >= BACK_FOR_GOOD_H
    }
}

/// What lives are lived under: a node, its weather, its spots, and how long.
#[derive(Clone, Copy, Debug)]
pub struct Trial<'a> {
    /// The node by the class of its spot, as [`Spots::classes`] counts them.
    pub nodes: &'a [NodeTables],
    /// Where it may find itself.
    pub spots: &'a Spots,
    /// Its weather.
    pub weather: &'a NodeWeather,
    /// What is unknown of site and parts.
    pub unknowns: &'a Unknowns,
    /// Length of a life \[days\].
    pub days: usize,
    /// Day of the year on which lives begin; drawn over the year if open.
    pub start_day: Option<usize>,
    /// State of charge on that day.
    pub charge: Share,
    /// Share of its yield that the panel keeps from one year to the next.
    pub yield_kept_per_year: f64,
    /// Seed of all that is drawn.
    pub seed: u64,
}

impl Trial<'_> {
    /// Length of a life in years of the calendar of lives.
    #[must_use]
    pub fn years(&self) -> f64 {
        self.days as f64 / YEAR_DAYS as f64
    }

    /// Whether anything charges the battery, so that an outage may end.
    #[must_use]
    pub fn has_sun(&self) -> bool {
        self.nodes.iter().any(|node| !matches!(node.harvest, Harvest::None))
    }
}

/// How one life went.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LifeOutcome {
    /// Its number.
    pub life: u64,
    /// What was drawn for it.
    pub drawn: UnknownScores,
    /// Class of its spot.
    pub class: usize,
    /// Day of the year on which it began.
    pub start_day: usize,
    /// Hours it was out, by month of the year.
    pub outage_hours_by_month: [u32; 12],
    /// Times it stopped.
    pub outages: u32,
    /// Hour of its first outage.
    pub first_outage: Option<u32>,
    /// Lowest charge once settled.
    pub lowest_charge: f32,
    /// Hour of that.
    pub lowest_hour: u32,
    /// Reports missed, of those it would send with a full battery.
    pub missed_reports: f64,
    /// Reports sent in each month of the year, where their interval depends on the charge; else nothing.
    pub sent_by_month: [f64; 12],
    /// Longest time without a report \[h\]. Of a node that always reports as often, only hours out are counted.
    pub longest_silence_h: f32,
    /// Capacity left at the end, of what it had when new.
    pub capacity_left: f32,
}

impl LifeOutcome {
    /// Hours it was out.
    #[must_use]
    pub fn outage_hours(&self) -> u32 {
        self.outage_hours_by_month.iter().sum()
    }

    /// Whether it went without an outage.
    #[must_use]
    pub fn is_unbroken(&self) -> bool {
        self.first_outage.is_none()
    }
}

/// One hour of a life, or the last of some in which nothing happened.
#[derive(Debug)]
pub struct LivedHour<'a> {
    /// How many hours.
    pub hours: usize,
    /// Hours since the life began.
    pub index: usize,
    /// Hour of the year.
    pub place: usize,
    /// What the surroundings did.
    pub weather: &'a HourWeather,
    /// State of charge at its start.
    pub charge_before: f32,
    /// The life after it.
    pub life: &'a Life,
    /// What it brought.
    pub outcome: &'a HourOutcome,
}

/// Looks on while a life is lived.
pub trait Recorder {
    /// Whether it wants every hour and what the sun offers to a full battery; else six quiet hours are shown as one.
    const HOURLY: bool = false;

    /// An hour has passed.
    fn hour(&mut self, _hour: &LivedHour<'_>) {}

    /// A day of the year has passed; `counts` says whether its level is a result, and not what the node was sent out with.
    fn day(&mut self, _day: usize, _life: &Life, _counts: bool) {}

    /// Whether it has seen enough.
    fn is_done(&self) -> bool {
        false
    }
}

/// Nobody looks on.
impl Recorder for () {}

/// Sun that a life must do without.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Darkness {
    /// None: the sun shines as its weather has it.
    #[default]
    None,
    /// No sun for so many days from the beginning.
    Days(usize),
    /// No sun for ever.
    Forever,
}

/// A life on its way.
#[derive(Clone, Debug)]
pub struct LifeRun<'a> {
    trial: &'a Trial<'a>,
    pub(super) node: &'a NodeTables,
    random: Stream,
    sky: NodeSky,
    /// The node and its battery as they are now.
    pub(super) life: Life,
    /// What is sure of its outcome so far.
    pub(super) outcome: LifeOutcome,
    settled: bool,
    silence: Silence,
    pub(super) darkness: Darkness,
    /// What the panel yields of its label in this year.
    panel_yield: f32,
}

/// Lives one life; with `parts` it has these in place of its own, under the same weather.
pub fn live(
    trial: &Trial<'_>,
    number: u64,
    parts: Option<UnknownScores>,
    recorder: &mut impl Recorder,
) -> LifeOutcome {
    LifeRun::new(trial, number, parts).live(recorder)
}

/// Lives lives of one number that differ in their node alone, day by day side by side: the same is drawn for them, their
/// weather once. Each has its own recorder.
pub(super) fn live_side_by_side<R: Recorder>(
    trials: &[Trial<'_>],
    number: u64,
    recorders: &mut [R],
) -> Vec<LifeOutcome> {
    let mut runs: Vec<LifeRun<'_>> = trials.iter().map(|trial| LifeRun::new(trial, number, None)).collect();
    for index in 0..trials.first().map_or(0, |trial| trial.days) {
        let hours = runs[0].draw_day(index);
        for (run, recorder) in runs.iter_mut().zip(&mut *recorders) {
            run.live_day_under(index, &hours, recorder);
        }
    }
    runs.into_iter().map(|run| run.outcome).collect()
}

/// What is drawn for a life before its first day: its parts, and the class of its spot.
#[must_use]
pub fn drawn_for(trial: &Trial<'_>, number: u64) -> LifeOutcome {
    LifeRun::new(trial, number, None).outcome
}

/// Whether a life goes without an outage; with `parts` it has these in place of its own, under the same weather.
#[must_use]
pub fn survives(trial: &Trial<'_>, number: u64, parts: Option<UnknownScores>) -> bool {
    let mut run = LifeRun::new(trial, number, parts);
    (0..trial.days).all(|index| {
        run.live_day(index, &mut ());
        run.outcome.is_unbroken()
    })
}

impl<'a> LifeRun<'a> {
    /// The life of this number on its first day; with `parts` it has these in place of its own.
    #[must_use]
    pub fn new(trial: &'a Trial<'a>, number: u64, parts: Option<UnknownScores>) -> Self {
        let mut random = Stream::new(trial.seed, number);
        let drawn_day = (random.uniform() * YEAR_DAYS as f64) as usize;
        let spot = trial.spots.draw(number);
        let gauge = Stream::new(trial.seed, GAUGES | number).normal();
        let own = trial.unknowns.draw(&mut random, trial.spots.score(&spot), gauge);
        let drawn = parts.unwrap_or(own);
        let class = trial.spots.class(&spot);
        let node = &trial.nodes[class];
        Self {
            node,
            life: installed(node, trial.charge, &drawn),
            sky: trial.weather.start(&mut random),
            outcome: LifeOutcome {
                life: number,
                drawn,
                class,
                start_day: trial.start_day.unwrap_or(drawn_day),
                lowest_charge: f32::INFINITY,
                ..LifeOutcome::default()
            },
            settled: false,
            silence: Silence::default(),
            darkness: Darkness::None,
            panel_yield: 1.0,
            random,
            trial,
        }
    }

    /// Lives to the end, or until the recorder has seen enough.
    pub fn live<R: Recorder>(mut self, recorder: &mut R) -> LifeOutcome {
        for index in 0..self.trial.days {
            self.live_day(index, recorder);
            if recorder.is_done() {
                break;
            }
        }
        self.outcome
    }

    /// Lives until it is out, and says at which hour; `None` if it never is.
    pub(super) fn until_stopped(mut self) -> Option<u32> {
        let mut index = 0;
        while index < self.trial.days && self.outcome.is_unbroken() {
            self.live_day(index, &mut ());
            index += 1;
        }
        self.outcome.first_outage
    }

    /// Lives the day of this number.
    #[inline]
    pub(super) fn live_day<R: Recorder>(&mut self, index: usize, recorder: &mut R) {
        let hours = self.draw_day(index);
        self.live_day_under(index, &hours, recorder);
    }

    /// Day of the year of the day of this number.
    fn day_of_year(&self, index: usize) -> usize {
        (self.outcome.start_day + index) % YEAR_DAYS
    }

    /// What the surroundings do on the day of this number; days come in their order.
    #[inline]
    fn draw_day(&mut self, index: usize) -> DayHours {
        let day = self.day_of_year(index);
        let weather = self.trial.weather;
        weather.next_day(day, &self.outcome.drawn.site(), &mut self.sky, &mut self.random);
        weather.hours(day, &mut self.sky)
    }

    /// Lives the day of this number under such hours.
    #[inline]
    fn live_day_under<R: Recorder>(&mut self, index: usize, hours: &DayHours, recorder: &mut R) {
        if index.is_multiple_of(YEAR_DAYS) {
            let kept = self.trial.yield_kept_per_year.powi((index / YEAR_DAYS) as i32);
            self.panel_yield = (self.outcome.drawn.panel() * kept) as f32;
        }
        self.life.yield_factor = if self.is_dark(index) { 0.0 } else { self.panel_yield };
        self.life.counts_offers = R::HOURLY;
        let day = self.day_of_year(index);
        self.live_hours((index, day), hours, recorder);
        self.settled |= index >= SETTLED_DAYS;
        self.outcome.capacity_left = self.life.capacity_left() as f32;
        // A date that comes only once counts as it is.
        let counts = self.settled || index + YEAR_DAYS >= self.trial.days;
        recorder.day(day, &self.life, counts);
    }

    fn is_dark(&self, index: usize) -> bool {
        match self.darkness {
            Darkness::None => false,
            Darkness::Days(days) => index < days,
            Darkness::Forever => true,
        }
    }

    #[inline]
    fn live_hours<R: Recorder>(&mut self, (index, day): (usize, usize), hours: &DayHours, recorder: &mut R) {
        let (node, weather) = (self.node, self.trial.weather);
        if node.demand.by_charge() {
            self.life.gauge_error = self.outcome.drawn.gauge_error(hours.battery_celsius[0]);
        }
        let (quarters, _) = weather.kinds_of(day).as_chunks();
        for (quarter, kinds) in quarters.iter().enumerate() {
            let (from, last) = (quarter * QUARTER_H, quarter * QUARTER_H + QUARTER_H - 1);
            if !R::HOURLY
                && let Some(outcome) = step_quiet_quarter(node, kinds, hours, from, &mut self.life)
            {
                let charge = self.life.charge() as f32;
                let seen = (QUARTER_H, index, day, last, charge);
                self.note(seen, kinds[QUARTER_H - 1], &hours.hour(last), &outcome, recorder);
                continue;
            }
            for (hour, kind) in (from..).zip(kinds) {
                let now = hours.hour(hour);
                let charge = self.life.charge() as f32;
                let outcome = step(node, usize::from(*kind), &now, &mut self.life);
                self.note((1, index, day, hour, charge), *kind, &now, &outcome, recorder);
            }
        }
    }

    #[inline]
    fn note<R: Recorder>(
        &mut self,
        (hours, index, day, hour, charge_before): (usize, usize, usize, usize, f32),
        kind: u16,
        weather: &HourWeather,
        outcome: &HourOutcome,
        recorder: &mut R,
    ) {
        let (index, place) = (index * HOURS_PER_DAY + hour, day * HOURS_PER_DAY + hour);
        let charge = self.life.charge() as f32;
        self.settled |= outcome.full;
        if charge < self.outcome.lowest_charge && self.settled {
            self.outcome.lowest_charge = charge;
            self.outcome.lowest_hour = index as u32;
        }
        if outcome.out() || self.node.demand.by_charge() {
            self.note_reports((hours, index, day), usize::from(kind), weather.air_celsius, outcome);
        } else {
            self.silence.hours = 0.0;
        }
        let life = &self.life;
        recorder.hour(&LivedHour { hours, index, place, weather, charge_before, life, outcome });
    }

    fn note_reports(
        &mut self,
        (hours, index, day): (usize, usize, usize),
        kind: usize,
        air_celsius: f32,
        outcome: &HourOutcome,
    ) {
        let demand = &self.node.demand;
        let seen = &mut self.outcome;
        let reports = |level| demand.row(kind, level).reports_per_hour(air_celsius);
        let sent = if outcome.out() { 0.0 } else { reports(self.life.level()) };
        let month = self.trial.weather.month_of(day);
        seen.missed_reports += hours as f64 * f64::from(reports(demand.levels.len() - 1) - sent);
        seen.sent_by_month[month] += hours as f64 * f64::from(sent);
        self.silence.pass_hours(hours, sent);
        seen.longest_silence_h = self.silence.longest_h;
        if outcome.out() {
            seen.outage_hours_by_month[month] += 1;
            seen.outages += u32::from(outcome.stopped_now || outcome.ran_dry);
            seen.first_outage.get_or_insert(index as u32);
        }
    }

    /// Stops the node, drained to where its battery rests at the voltage that stops it.
    pub(super) fn sag(&mut self) {
        self.life.running = false;
        self.life.drain_to(f64::from(self.node.charge_resting_at(self.node.stops_below_volts)));
    }

    /// Puts the battery that it was installed with into a node that goes on with its parts and its weather.
    pub(super) fn change_battery(&mut self) {
        self.life = installed(self.node, self.trial.charge, &self.outcome.drawn);
    }
}

/// A life on its first day: the battery as it was installed, the parts as they were drawn.
fn installed(node: &NodeTables, charge: Share, drawn: &UnknownScores) -> Life {
    let mut life = Life::new(node, charge.fraction());
    life.counts_offers = false;
    drawn.equip(node, &mut life);
    life
}

/// The time since the last report.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Silence {
    hours: f32,
    /// The longest so far \[h\].
    pub longest_h: f32,
    /// Share of the next report that has fallen due.
    due: f32,
}

impl Silence {
    /// Hours with so many reports each, evenly spaced.
    fn pass_hours(&mut self, hours: usize, reports: f32) {
        // Where every hour has its report they are all alike.
        let hours = if reports >= 1.0 { 1 } else { hours };
        (0..hours).for_each(|_| self.pass_hour(reports));
    }

    /// An hour with so many reports, evenly spaced.
    pub fn pass_hour(&mut self, reports: f32) {
        self.hours += if reports >= 1.0 { 1.0 / reports } else { 1.0 };
        self.longest_h = self.longest_h.max(self.hours);
        self.due += reports;
        // Six times a sixth is a little less than one.
        if self.due >= 0.999 {
            (self.hours, self.due) = (0.0, 0.0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Running;

    /// A warm noon that lets a cold battery flicker is no return: three days are, without a stop in between.
    #[test]
    fn a_node_is_back_for_good_after_three_days_without_a_stop() {
        let mut running = Running::default();
        assert!(!running.pass(1, false) && !running.pass(6, false) && !running.pass(64, false), "71 hours");
        assert!(!running.pass(1, true) && !running.pass(71, false), "it stopped in between");
        assert!(running.pass(1, false), "72 hours");
    }
}
