//! Many lives of one node, each with its own weather and its own parts.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use std::sync::atomic::{AtomicUsize, Ordering};

use design::quantity::Share;

use super::kernel::{HourOutcome, Life, QUARTER_H, step, step_quiet_quarter};
use super::node::{Harvest, NodeTables};
use super::unknowns::{Drawn, Unknowns};
use crate::progress::Progress;
use crate::radio::spots::Spots;
use crate::random::Stream;
use crate::sky::hours::{HourWeather, LifeWeather};
use crate::sky::light::YEAR_DAYS;

/// Lives between two looks at whether to stop.
const BATCH: usize = 8;
const HOURS_PER_DAY: usize = 24;
/// The charge a node was sent out with is no result: levels count from the first full battery, or from here.
const SETTLED_DAYS: usize = 60;
const PERCENTS: usize = 101;
/// A node is back when it has run for so long without stopping: a warm noon that lets a cold battery flicker is no
/// return \[h\].
pub const BACK_FOR_GOOD_H: usize = 72;
/// Lives with a fault have weather of their own.
const FIRST_FAULTED: u64 = 1 << 40;

/// What is lived.
#[derive(Debug)]
pub struct Question<'a, W> {
    /// The node by the class of its spot, as [`Spots::classes`] counts them.
    pub nodes: &'a [NodeTables],
    /// Where it may find itself.
    pub spots: &'a Spots,
    /// Its weather.
    pub weather: &'a W,
    /// Kind of each hour of the year, as the demand table counts them.
    pub kinds: &'a [u16],
    /// What is unknown of site and parts.
    pub unknowns: &'a Unknowns,
    /// Length of a life \[years\].
    pub years: usize,
    /// Day of the year on which lives begin; drawn over the year if open.
    pub start_day: Option<usize>,
    /// State of charge on that day.
    pub charge: Share,
    /// Share of its yield that the panel keeps from one year to the next.
    pub yield_kept_per_year: f64,
    /// Seed of all that is drawn.
    pub seed: u64,
}

impl<W> Clone for Question<'_, W> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<W> Copy for Question<'_, W> {}

/// How one life went.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LifeOutcome {
    /// Its number.
    pub life: u64,
    /// What was drawn for it.
    pub drawn: Drawn,
    /// Class of its spot.
    pub class: usize,
    /// Hours it was out.
    pub outage_hours: u32,
    /// Hour of its first outage.
    pub first_outage: Option<u32>,
    /// Whether that was a brown-out with charge left.
    pub browned_out: bool,
    /// Lowest charge once settled.
    pub lowest_charge: f32,
    /// Hour of that.
    pub lowest_hour: u32,
    /// Reports missed, of those it would send with a full battery.
    pub missed_reports: f64,
    /// Longest time without a report \[h\]. Of a node that always reports as often, only hours out are counted.
    pub longest_silence_h: f32,
    /// Capacity left at the end, of what it had when new.
    pub capacity_left: f32,
}

/// Counts of lives by day of the year and whole percent of charge.
#[derive(Clone, Debug)]
pub struct Bands {
    counts: Vec<[u32; PERCENTS]>,
}

impl Bands {
    fn new() -> Self {
        Self { counts: vec![[0; PERCENTS]; YEAR_DAYS] }
    }

    #[inline]
    fn add(&mut self, day: usize, charge: f64) {
        let percent = ((charge * 100.0).round().clamp(0.0, 100.0)) as usize;
        self.counts[day][percent] += 1;
    }

    fn merge(&mut self, other: &Self) {
        let pairs = self.counts.iter_mut().zip(&other.counts);
        pairs.for_each(|(mine, theirs)| mine.iter_mut().zip(theirs).for_each(|(a, b)| *a += b));
    }

    /// The charge below which a share of the lives lies on a day of the year.
    #[must_use]
    pub fn quantile(&self, day: usize, share: f64) -> f64 {
        let counts = &self.counts[day];
        let wanted = share * f64::from(counts.iter().sum::<u32>());
        let mut below = 0.0;
        for (percent, count) in counts.iter().enumerate() {
            below += f64::from(*count);
            if below >= wanted && below > 0.0 {
                return percent as f64 / 100.0;
            }
        }
        1.0
    }
}

/// All lives of a question.
#[derive(Clone, Debug)]
pub struct Lives {
    /// One by one, in the order of their numbers.
    pub outcomes: Vec<LifeOutcome>,
    /// Charge by day of the year.
    pub bands: Bands,
    /// How many were asked for.
    pub wanted: usize,
}

/// Lives a number of lives on so many threads; the answer does not depend on how many.
#[must_use]
pub fn live_all<W: LifeWeather>(
    question: &Question<'_, W>,
    lives: usize,
    threads: usize,
    progress: &dyn Progress,
) -> Lives {
    let threads = threads.max(1);
    let done = AtomicUsize::new(0);
    let work = |thread: usize| {
        let mut bands = Bands::new();
        let mut outcomes = Vec::new();
        for batch in (thread..lives.div_ceil(BATCH)).step_by(threads) {
            if progress.stop() {
                break;
            }
            let numbers = batch * BATCH..lives.min((batch + 1) * BATCH);
            let lived = done.fetch_add(numbers.len(), Ordering::Relaxed) + numbers.len();
            outcomes.extend(numbers.map(|life| live(question, life as u64, None, Some(&mut bands))));
            progress.report(lived, lives);
        }
        (outcomes, bands)
    };
    let mut all = Lives { outcomes: Vec::with_capacity(lives), bands: Bands::new(), wanted: lives };
    std::thread::scope(|scope| {
        let work = &work;
        let handles: Vec<_> = (0..threads).map(|thread| scope.spawn(move || work(thread))).collect();
        for handle in handles {
            let (outcomes, bands) = handle.join().expect("a life does not panic");
            all.outcomes.extend(outcomes);
            all.bands.merge(&bands);
        }
    });
    all.outcomes.sort_by_key(|outcome| outcome.life);
    all
}

/// One hour of a life, for a recorder; or the last of some in which nothing happened.
#[derive(Debug)]
pub struct Seen<'a> {
    /// How many hours.
    pub hours: usize,
    /// Hours since the life began.
    pub index: usize,
    /// Hour of the year.
    pub place: usize,
    /// What the surroundings did.
    pub weather: &'a HourWeather,
    /// The life after it.
    pub life: &'a Life,
    /// What it brought.
    pub outcome: &'a HourOutcome,
}

/// Lives one life; with `parts` it has these in place of its own, under the same weather.
pub fn live<W: LifeWeather>(
    question: &Question<'_, W>,
    number: u64,
    parts: Option<Drawn>,
    bands: Option<&mut Bands>,
) -> LifeOutcome {
    let mut living = Living::new(question, number, parts);
    living.live(bands, |_| {});
    living.outcome
}

/// Whether a life goes without an outage; with `parts` it has these in place of its own, under the same weather.
pub fn survives<W: LifeWeather>(question: &Question<'_, W>, number: u64, parts: Option<Drawn>) -> bool {
    let mut living = Living::new(question, number, parts);
    (0..question.years * YEAR_DAYS).all(|index| {
        living.live_next_day(index, &mut |_| {});
        living.outcome.outage_hours == 0
    })
}

/// Does numbered work on so many threads; what comes of it stands in the order of the numbers.
pub fn on_threads<T: Send>(threads: usize, count: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let threads = threads.clamp(1, count.max(1));
    let share_of = |thread: usize| (thread..count).step_by(threads).map(&work).collect::<Vec<T>>();
    let mut shares: Vec<_> = std::thread::scope(|scope| {
        let share_of = &share_of;
        let handles: Vec<_> = (0..threads).map(|thread| scope.spawn(move || share_of(thread))).collect();
        let joined = handles.into_iter().map(|handle| handle.join().expect("a life does not panic"));
        joined.map(Vec::into_iter).collect()
    });
    (0..count).filter_map(|number| shares[number % threads].next()).collect()
}

/// Lives a life once more, as [`live`] did, and shows every hour of it.
pub fn live_by_the_hour<W: LifeWeather>(
    question: &Question<'_, W>,
    number: u64,
    visit: impl FnMut(&Seen<'_>),
) -> LifeOutcome {
    let mut living = Living::new(question, number, None);
    living.by_the_hour = true;
    living.live(None, visit);
    living.outcome
}

/// A life on its way.
struct Living<'a, W: LifeWeather> {
    question: &'a Question<'a, W>,
    node: &'a NodeTables,
    random: Stream,
    sky: W::Sky,
    life: Life,
    outcome: LifeOutcome,
    settled: bool,
    silence: Silence,
    start_day: usize,
    /// Whether every hour is shown, quiet or not.
    by_the_hour: bool,
}

impl<W: LifeWeather> Clone for Living<'_, W> {
    fn clone(&self) -> Self {
        let Self { question, node, random, sky, life, outcome, settled, silence, start_day, by_the_hour } =
            self;
        Self {
            question,
            node,
            random: random.clone(),
            sky: sky.clone(),
            life: life.clone(),
            outcome: *outcome,
            settled: *settled,
            silence: *silence,
            start_day: *start_day,
            by_the_hour: *by_the_hour,
        }
    }
}

impl<'a, W: LifeWeather> Living<'a, W> {
    fn new(question: &'a Question<'a, W>, number: u64, parts: Option<Drawn>) -> Self {
        let mut random = Stream::new(question.seed, number);
        let drawn_day = (random.uniform() * YEAR_DAYS as f64) as usize;
        let spot = question.spots.draw(number);
        let own = question.unknowns.draw(&mut random, question.spots.score(&spot));
        let drawn = parts.unwrap_or(own);
        let class = question.spots.class(&spot);
        let node = &question.nodes[class];
        let life = installed(node, question.charge, &drawn);
        let sky = question.weather.start(&mut random);
        let outcome = LifeOutcome {
            life: number,
            drawn,
            class,
            lowest_charge: f32::INFINITY,
            ..LifeOutcome::default()
        };
        let start_day = question.start_day.unwrap_or(drawn_day);
        // What is reported at which charge is counted by the hour.
        let by_the_hour = node.demand.levels.len() > 1;
        Self {
            question,
            node,
            random,
            sky,
            life,
            outcome,
            settled: false,
            silence: Silence::default(),
            start_day,
            by_the_hour,
        }
    }

    fn live(&mut self, mut bands: Option<&mut Bands>, mut visit: impl FnMut(&Seen<'_>)) {
        for index in 0..self.question.years * YEAR_DAYS {
            let day = self.live_next_day(index, &mut visit);
            if let Some(bands) = bands.as_deref_mut().filter(|_| self.settled) {
                bands.add(day, self.life.charge());
            }
        }
        self.outcome.capacity_left = self.life.capacity_left() as f32;
    }

    /// Lives the day of this number and says which day of the year it was.
    #[inline]
    fn live_next_day(&mut self, index: usize, visit: &mut impl FnMut(&Seen<'_>)) -> usize {
        if index.is_multiple_of(YEAR_DAYS) {
            let kept = self.question.yield_kept_per_year.powi((index / YEAR_DAYS) as i32);
            self.life.yield_factor = (self.outcome.drawn.panel() * kept) as f32;
        }
        let day = (self.start_day + index) % YEAR_DAYS;
        self.live_day(index, day, visit);
        self.settled |= index >= SETTLED_DAYS;
        day
    }

    #[inline]
    fn live_day(&mut self, index: usize, day: usize, visit: &mut impl FnMut(&Seen<'_>)) {
        let (node, Question { weather, kinds, .. }) = (self.node, *self.question);
        weather.next_day(day, &self.outcome.drawn.site(), &mut self.sky, &mut self.random);
        let hours = weather.hours(day, &mut self.sky);
        let (quarters, _) = kinds[day * HOURS_PER_DAY..][..HOURS_PER_DAY].as_chunks();
        for (quarter, kinds) in quarters.iter().enumerate() {
            let (from, last) = (quarter * QUARTER_H, quarter * QUARTER_H + QUARTER_H - 1);
            if !self.by_the_hour
                && let Some(outcome) = step_quiet_quarter(node, kinds, &hours, from, &mut self.life)
            {
                self.see(
                    QUARTER_H,
                    (index, day, last),
                    kinds[QUARTER_H - 1],
                    &hours.hour(last),
                    &outcome,
                    visit,
                );
                continue;
            }
            for (hour, kind) in (from..).zip(kinds) {
                let now = hours.hour(hour);
                let outcome = step(node, usize::from(*kind), &now, &mut self.life);
                self.see(1, (index, day, hour), *kind, &now, &outcome, visit);
            }
        }
    }

    #[inline]
    fn see(
        &mut self,
        hours: usize,
        (index, day, hour): (usize, usize, usize),
        kind: u16,
        weather: &HourWeather,
        outcome: &HourOutcome,
        visit: &mut impl FnMut(&Seen<'_>),
    ) {
        let (index, place) = (index * HOURS_PER_DAY + hour, day * HOURS_PER_DAY + hour);
        self.note(index, usize::from(kind), weather.air_celsius, outcome);
        visit(&Seen { hours, index, place, weather, life: &self.life, outcome });
    }

    #[inline]
    fn note(&mut self, hours: usize, kind: usize, air_celsius: f32, outcome: &HourOutcome) {
        let charge = self.life.charge() as f32;
        self.settled |= outcome.full;
        if charge < self.outcome.lowest_charge && self.settled {
            self.outcome.lowest_charge = charge;
            self.outcome.lowest_hour = hours as u32;
        }
        if outcome.out() || self.node.demand.levels.len() > 1 {
            self.note_reports(hours, kind, air_celsius, charge, outcome);
        } else {
            self.silence.hours = 0.0;
        }
    }

    fn note_reports(
        &mut self,
        hours: usize,
        kind: usize,
        air_celsius: f32,
        charge: f32,
        outcome: &HourOutcome,
    ) {
        let demand = &self.node.demand;
        let seen = &mut self.outcome;
        let reports = |level| demand.row(kind, level).reports_per_hour(air_celsius);
        let sent = if outcome.out() { 0.0 } else { reports(demand.level(charge)) };
        seen.missed_reports += f64::from(reports(demand.levels.len() - 1) - sent);
        self.silence.pass_hour(sent);
        seen.longest_silence_h = self.silence.longest_h;
        if outcome.out() {
            seen.outage_hours += 1;
            if seen.first_outage.is_none() {
                seen.first_outage = Some(hours as u32);
                seen.browned_out = outcome.browned_out;
            }
        }
    }
}

/// A life on its first day: the battery as it was installed, the parts as they were drawn.
fn installed(node: &NodeTables, charge: Share, drawn: &Drawn) -> Life {
    let mut life = Life::new(node, charge.fraction());
    life.counts_offers = false;
    drawn.equip(node, &mut life);
    life
}

/// Whether anything charges the battery, so that an outage may end.
fn has_sun(node: &NodeTables) -> bool {
    !matches!(node.harvest, Harvest::None)
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

/// A thing gone wrong: load on top, or no sun for a while.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// Extra load while the node runs \[A\].
    pub extra_amperes: f32,
    /// Whether a stop clears it.
    pub clears: bool,
    /// Days without sun.
    pub dark_days: usize,
}

/// How a node fared with a fault, one life each.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Faulted {
    /// Days until it stopped, for the lives that did within a year.
    pub days_to_stop: Vec<f64>,
    /// How many of those came back for good within another year.
    pub came_back: usize,
    /// How many lives were lived.
    pub lives: usize,
}

/// Lives lives with a fault that begins on their first day, on so many threads.
#[must_use]
pub fn with_fault<W: LifeWeather>(
    question: &Question<'_, W>,
    fault: &Fault,
    lives: usize,
    threads: usize,
) -> Faulted {
    let live = |number: usize| live_with_fault(question, fault, FIRST_FAULTED + number as u64);
    let ends = on_threads(threads, lives, live);
    let stopped_h = ends.iter().filter_map(|(stopped_h, _)| *stopped_h);
    let mut days_to_stop: Vec<f64> = stopped_h.map(|hours| hours as f64 / 24.0).collect();
    days_to_stop.sort_by(f64::total_cmp);
    Faulted { days_to_stop, came_back: ends.iter().filter(|(_, back)| *back).count(), lives }
}

/// When one life with a fault stops within a year, and whether it is back for good within another.
fn live_with_fault<W: LifeWeather>(
    question: &Question<'_, W>,
    fault: &Fault,
    number: u64,
) -> (Option<usize>, bool) {
    let mut living = Living::new(question, number, None);
    living.life.extra_amperes = fault.extra_amperes;
    living.life.extra_clears = fault.clears;
    let panel = living.outcome.drawn.panel() as f32;
    let (mut stopped_h, mut running_h, mut back) = (None, 0, false);
    for index in 0..2 * YEAR_DAYS {
        living.life.yield_factor = if index < fault.dark_days { 0.0 } else { panel };
        let day = (living.start_day + index) % YEAR_DAYS;
        living.live_day(index, day, &mut |seen: &Seen<'_>| {
            let out = seen.outcome.out();
            if stopped_h.is_none() && out {
                stopped_h = Some(seen.index);
            }
            running_h = if out { 0 } else { running_h + seen.hours };
            back |= stopped_h.is_some() && running_h >= BACK_FOR_GOOD_H;
        });
        if back || (stopped_h.is_none() && index + 1 >= YEAR_DAYS) {
            break;
        }
    }
    // Without any sun a warm spell may free some charge once more, but that is no return.
    let sunless = fault.dark_days == usize::MAX || !has_sun(living.node);
    (stopped_h, back && !sunless)
}

/// How often somebody must come in one life: once for each outage that does not end by itself within a year. Whoever comes
/// comes on the next day and leaves a battery as new as the first, but at most once a month over the life.
#[must_use]
pub fn visits<W: LifeWeather>(question: &Question<'_, W>, number: u64) -> u32 {
    let mut living = Living::new(question, number, None);
    let (mut visits, mut index, mut running_h) = (0, 0, 0);
    let mut stopped: Option<(usize, Living<'_, W>)> = None;
    let most = 12 * question.years as u32;
    while visits < most && (index < question.years * YEAR_DAYS || stopped.is_some()) {
        let (mut out, mut back) = (false, false);
        living.live_next_day(index, &mut |seen: &Seen<'_>| {
            out |= seen.outcome.out();
            running_h = if seen.outcome.out() { 0 } else { running_h + seen.hours };
            back |= running_h >= BACK_FOR_GOOD_H;
        });
        index += 1;
        match stopped.take() {
            None if out => stopped = Some((index, living.clone())),
            Some((since, at_stop)) if !back && index < since + YEAR_DAYS && has_sun(living.node) => {
                stopped = Some((since, at_stop));
            }
            Some((since, at_stop)) if !back => {
                let yield_factor = at_stop.life.yield_factor;
                living = Living {
                    life: installed(at_stop.node, question.charge, &at_stop.outcome.drawn),
                    ..at_stop
                };
                living.life.yield_factor = yield_factor;
                (visits, index, running_h) = (visits + 1, since, 0);
            }
            None | Some(_) => {}
        }
    }
    visits
}

/// The scores of one unknown over all lives.
#[must_use]
pub fn scores(outcomes: &[LifeOutcome], unknown: usize) -> Vec<f64> {
    outcomes.iter().map(|life| life.drawn.scores[unknown]).collect()
}
