//! Several islands that live the same log, and what they say together.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "hours of a day, and shares of a swarm"
)]

use std::sync::Arc;

use super::ahead::{Silence, Start, WORTH_A_VISIT, silence, silent_after};
use super::cause::{self, Cause, NotKnown};
use super::days::{BLOCKS, Counted, DaySeen, HOURS};
use super::island::{Foretold, Island, regime_shares};
use super::model::Model;
use super::particle::{Mend, Particle, Regime, profile};
use super::parts::{AFTERNOON, CAPACITY, FLOOR, MORNING, Parts, YIELD};
use super::{Band, Past, Reading};
use crate::progress::Progress;
use crate::random::Stream;
use crate::sky::climate::Climate;
use crate::sky::light::YEAR_DAYS;
use crate::stats::quantile;

/// A swarm can begin only where a quarter of a day does.
const BEGINS_EVERY_H: usize = 6;
/// Days that are looked at ahead.
const AHEAD_DAYS: usize = 180;
/// Days over which the light of the hours is averaged.
const LIGHT_DAYS: f64 = 14.0;
/// Days over which skies are compared with what is usual.
const SKY_DAYS: usize = 30;
/// By this much the memory of skies widens the variance of their mean: 1 + 2 x .3 / (1 - .55), in the middle of what
/// `sky::persistence` has.
const SKY_MEMORY: f64 = 2.33;
/// An island that foretold so much worse, in logarithms, is outvoted; where the islands differ by more, that is their noise.
const OUTVOTED_BY: f64 = 4.0;

/// How much work is done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effort {
    /// Swarms with seeds of their own.
    pub islands: usize,
    /// Members of each.
    pub members: usize,
    /// Lives of the forecast.
    pub lives: usize,
    /// Threads; the answer does not depend on it.
    pub threads: usize,
    /// Share of the likelihood that counts.
    pub temper: f64,
    /// Of all that is drawn.
    pub seed: u64,
}

impl Default for Effort {
    fn default() -> Self {
        Self { islands: 4, members: 4000, lives: 400, threads: 1, temper: 0.5, seed: 1 }
    }
}

/// What was foretold of a day, and what was seen.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DayBand {
    /// Day since 1970 on the place's mean solar clock.
    pub day: i64,
    /// Voltage by blocks of four hours as the swarm of the day before foretold it \[V\].
    pub foretold_volts: [Option<Band>; BLOCKS],
    /// Mean of what was reported \[V\].
    pub seen_volts: [Option<f64>; BLOCKS],
    /// How likely, after that day, it was that nothing had changed; that nothing came from the panel; that it drew more; that
    /// the panel gave less.
    pub regimes: [f64; 4],
}

/// Possible nodes that have lived the log so far, to go on with the next day.
#[derive(Clone, Debug)]
pub struct Swarm {
    pub(super) model: Arc<Model>,
    pub(super) islands: Vec<Island>,
    pub(super) counted: Counted,
    /// The day that comes next.
    pub(super) next_day: i64,
    /// Hour of it from which it is lived: 0 except on the first day.
    pub(super) from_hour: usize,
    pub(super) threads: usize,
    /// Light of the hours on the panel of late, unshaded [W/m²].
    pub(super) light: [f64; HOURS],
    /// Highest voltage of the panel on the last three days \[V\].
    pub(super) panel_volts: [Option<f32>; 3],
    /// Restarts on the last three days.
    pub(super) restarts: [u32; 3],
    /// Scores of the skies of late, the last at the end.
    pub(super) skies: Vec<f64>,
    /// Days that were lived.
    pub(super) days: usize,
}

impl Swarm {
    /// Possible nodes of a design before anything was heard but its first voltage.
    #[must_use]
    pub fn begin(past: &Past<'_>, climate: &Climate, effort: &Effort) -> Self {
        Self::under(Model::new(past.design, climate, past.counter_modulus, past.sun), past, effort)
    }

    /// The same in what they live in.
    pub(super) fn under(model: Model, past: &Past<'_>, effort: &Effort) -> Self {
        let (next_day, from_hour) = begins(&model, past.readings);
        let begins_s = model.clock.begins_s(next_day) + 3600 * from_hour as i64;
        let first = past.readings.iter().find(|one| one.at_s >= begins_s && one.battery.is_some());
        let first_volts = first.and_then(|one| one.battery).map(|volts| volts.volts() as f32);
        let island = |number: usize| {
            let stream = (effort.seed, number as u64);
            Island::new(&model, stream, effort.members.max(2), effort.temper, first_volts)
        };
        Self {
            islands: (0..effort.islands.max(1)).map(island).collect(),
            model: Arc::new(model),
            counted: Counted::default(),
            next_day,
            from_hour,
            threads: effort.threads.max(1),
            light: [0.0; HOURS],
            panel_volts: [None; 3],
            restarts: [0; 3],
            skies: Vec::new(),
            days: 0,
        }
    }

    /// The moment at which the day that comes next begins \[s since 1970, UTC\].
    #[must_use]
    pub fn next_begins_s(&self) -> i64 {
        self.model.clock.begins_s(self.next_day)
    }

    /// The moment at which it ends \[s since 1970, UTC\].
    #[must_use]
    pub fn next_ends_s(&self) -> i64 {
        self.model.clock.begins_s(self.next_day + 1)
    }

    /// The last day that was lived, counted since 1970 on the place's mean solar clock.
    #[must_use]
    pub fn last_day(&self) -> i64 {
        self.next_day - 1
    }

    /// What was learned until the end of the last day; `band` is what was foretold and seen so far, `past` the messages of late.
    #[must_use]
    pub fn learned(&self, past: &Past<'_>, band: Vec<DayBand>, effort: &Effort) -> Learned {
        summary(past, self, band, effort, self.next_day, 0)
    }

    /// Lives the next day, with what was heard in it; messages of other days are left out.
    pub fn next_day(&mut self, readings: &[Reading]) -> DayBand {
        self.live(readings, HOURS)
    }

    fn live(&mut self, readings: &[Reading], to_hour: usize) -> DayBand {
        let (day, clock) = (self.next_day, self.model.clock);
        let (begins_s, ends_s) = (clock.begins_s(day), clock.begins_s(day + 1));
        let own = readings.partition_point(|one| one.at_s < begins_s)
            ..readings.partition_point(|one| one.at_s < ends_s);
        let hours = (self.from_hour, to_hour);
        let own = readings.get(own).unwrap_or_default();
        let modulus = self.model.modulus;
        let mut seen = DaySeen::new(day, hours, own, clock, modulus, &mut self.counted);
        seen.forget_before(hours.0);
        self.panel_volts = [self.panel_volts[1], self.panel_volts[2], seen.panel_volts];
        self.restarts = [self.restarts[1], self.restarts[2], seen.restarts];
        let foretold = self.live_islands(&seen);
        self.see_light(&seen);
        self.see_sky(&foretold);
        (self.next_day, self.from_hour, self.days) = (day + 1, 0, self.days + 1);
        DayBand { regimes: self.regimes(), ..band(&seen, &foretold) }
    }

    /// How likely each kind of change is.
    fn regimes(&self) -> [f64; 4] {
        let mut regimes = [0.0; 4];
        for (island, vote) in self.islands.iter().zip(self.votes()) {
            regimes.iter_mut().zip(regime_shares(island)).for_each(|(sum, share)| *sum += vote * share);
        }
        regimes
    }

    fn live_islands(&mut self, seen: &DaySeen) -> Vec<Foretold> {
        let model = &*self.model;
        let each = self.islands.len().div_ceil(self.threads);
        std::thread::scope(|scope| {
            let shares = self.islands.chunks_mut(each).map(|islands| {
                scope.spawn(move || islands.iter_mut().map(|one| one.live(model, seen)).collect::<Vec<_>>())
            });
            let shares: Vec<_> = shares.collect();
            shares.into_iter().flat_map(|share| share.join().expect("a day does not panic")).collect()
        })
    }

    /// Averages the light of the hours, by which mornings and afternoons weigh.
    fn see_light(&mut self, seen: &DaySeen) {
        let mut sky = self.islands[0].members[0].sky;
        let hours = crate::sky::hours::LifeWeather::hours(&self.model.weather, seen.place, &mut sky);
        let measured = self.model.measured(seen.day, (0, HOURS));
        for (hour, light) in self.light.iter_mut().enumerate() {
            let w_m2 = measured.map_or(hours.in_plane_w_m2[hour], |day| day.in_plane_w_m2[hour]);
            *light += (f64::from(w_m2) - *light) / LIGHT_DAYS;
        }
    }

    /// Logarithm of how well each island foretold what was seen.
    #[must_use]
    pub fn evidence(&self) -> Vec<f64> {
        self.islands.iter().map(|island| island.evidence).collect()
    }

    /// Keeps the score of the day's sky, as far back as is asked.
    fn see_sky(&mut self, foretold: &[Foretold]) {
        let votes = votes(foretold.iter().map(|one| one.evidence));
        self.skies.push(foretold.iter().zip(votes).map(|(one, vote)| vote * one.sky_score).sum());
        let old = self.skies.len().saturating_sub(SKY_DAYS);
        self.skies.drain(..old);
    }

    /// The mean score of the skies of late, in standard deviations of such a mean.
    pub(super) fn sky_of_late(&self) -> f64 {
        let days = self.skies.len().max(1) as f64;
        self.skies.iter().sum::<f64>() / days / (SKY_MEMORY / days).sqrt()
    }

    /// The day since which most of those hold whose panel and load are so; none if most had it from the start.
    pub(super) fn since(&self, holds: impl Fn(Regime) -> bool) -> Option<i64> {
        let of = |one: &Particle| one.since_day.map_or(f64::NEG_INFINITY, |day| day as f64);
        let all = self.of_members(of);
        let own = self.of_members(|one| f64::from(u8::from(holds(one.regime))));
        let days: Vec<(f64, f64)> =
            all.into_iter().zip(own).map(|((day, weight), (own, _))| (day, own * weight)).collect();
        let middle = Band::of_weighed(days.into_iter().filter(|(_, weight)| *weight > 0.0).collect()).p50;
        middle.is_finite().then_some(middle as i64)
    }

    /// Weights of the islands by how well they foretold.
    pub(super) fn votes(&self) -> Vec<f64> {
        votes(self.islands.iter().map(|island| island.evidence))
    }

    /// Figures of all members with their weights.
    pub(super) fn of_members(&self, figure: impl Fn(&Particle) -> f64) -> Vec<(f64, f64)> {
        let votes = self.votes();
        let of_island = |(island, vote): (&Island, f64)| -> Vec<(f64, f64)> {
            let pairs = island.members.iter().zip(&island.weights);
            pairs.map(|(member, weight)| (figure(member), vote * weight)).collect()
        };
        self.islands.iter().zip(votes).flat_map(of_island).collect()
    }

    fn band(&self, figure: impl Fn(&Particle) -> f64) -> Band {
        Band::of_weighed(self.of_members(figure))
    }

    /// The middle of a figure.
    pub(super) fn median(&self, figure: impl Fn(&Particle) -> f64) -> f64 {
        self.band(figure).p50
    }

    /// How likely it is that a member is so.
    pub(super) fn chance(&self, holds: impl Fn(&Particle) -> bool) -> f64 {
        self.of_members(|member| f64::from(u8::from(holds(member)))).iter().map(|(yes, w)| yes * w).sum()
    }

    /// Shares of the day's light before, at and after noon, as shade can take them.
    pub(super) fn light_shares(&self) -> [f64; 3] {
        let mut shares = [0.0; 3];
        for (hour, light) in self.light.iter().enumerate() {
            let (early, late) = (f64::from(profile(hour, 1.0, 0.0)), f64::from(profile(hour, 0.0, 1.0)));
            let noon = early + late - 1.0;
            shares[0] += light * (1.0 - late);
            shares[1] += light * noon.max(0.0);
            shares[2] += light * (1.0 - early);
        }
        let sum: f64 = shares.iter().sum();
        shares.map(|share| if sum > 0.0 { share / sum } else { 1.0 / 3.0 })
    }

    /// Members by vote and weight, evenly taken.
    fn chosen(&self, count: usize) -> Vec<&Particle> {
        let votes = self.votes();
        let (mut chosen, mut wanted) = (Vec::with_capacity(count), 0.0);
        for (island, vote) in self.islands.iter().zip(votes) {
            wanted += vote * count as f64;
            let own = (wanted.round() as usize).min(count) - chosen.len();
            chosen.extend(island.chosen(own));
        }
        chosen
    }

    /// Highest voltage of the panel within three days \[V\].
    pub(super) fn highest_panel_volts(&self) -> Option<f32> {
        self.panel_volts.iter().flatten().copied().reduce(f32::max)
    }

    /// Restarts per day of late.
    pub(super) fn restarts_per_day(&self) -> f64 {
        f64::from(self.restarts.iter().sum::<u32>()) / self.days.clamp(1, 3) as f64
    }
}

/// What the panel gives of what the design says, with a part of the light in the morning, at noon and in the afternoon.
pub(super) fn present_yield(member: &Particle, light: &[f64; 3]) -> f64 {
    yield_of(&member.parts, light) * f64::from(member.regime.panel())
}

fn yield_of(parts: &Parts, light: &[f64; 3]) -> f64 {
    parts[YIELD].exp() * (light[0] * parts[MORNING].exp() + light[1] + light[2] * parts[AFTERNOON].exp())
}

/// What the floor draws of what the design says.
pub(super) fn present_load(member: &Particle) -> f64 {
    member.parts[FLOOR].exp() * f64::from(member.regime.load())
}

fn votes(evidence: impl Iterator<Item = f64> + Clone) -> Vec<f64> {
    let best = evidence.clone().fold(f64::NEG_INFINITY, f64::max);
    let outvoted_by = spread(evidence.clone()).max(OUTVOTED_BY);
    let votes: Vec<f64> = evidence.map(|one| ((one - best) / outvoted_by).exp()).collect();
    let sum: f64 = votes.iter().sum();
    votes.into_iter().map(|vote| vote / sum).collect()
}

/// Standard deviation; nothing of fewer than two.
fn spread(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let count = values.clone().count() as f64;
    let mean = values.clone().sum::<f64>() / count;
    let squares: f64 = values.map(|value| (value - mean).powi(2)).sum();
    (squares / (count - 1.0).max(1.0)).sqrt()
}

fn band(seen: &DaySeen, foretold: &[Foretold]) -> DayBand {
    let votes = votes(foretold.iter().map(|one| one.evidence));
    let mut band = DayBand { day: seen.day, ..DayBand::default() };
    for block in 0..BLOCKS {
        let Some((mean, _)) = seen.block_volts(block) else { continue };
        band.seen_volts[block] = Some(f64::from(mean));
        let of_island = |(one, vote): (&Foretold, &f64)| -> Vec<(f64, f64)> {
            one.block_volts.iter().map(|volts| (f64::from(volts[block]), *vote)).collect()
        };
        let volts = foretold.iter().zip(&votes).flat_map(of_island).collect();
        band.foretold_volts[block] = Some(Band::of_weighed(volts));
    }
    band
}

/// Where a swarm begins: the first quarter of a day after the first reading.
fn begins(model: &Model, readings: &[Reading]) -> (i64, usize) {
    let Some(first) = readings.first() else { return (0, 0) };
    let (day, hour) = model.clock.day_and_hour(first.at_s);
    let from = (hour / BEGINS_EVERY_H as f64).ceil() as usize * BEGINS_EVERY_H;
    if from >= HOURS { (day + 1, 0) } else { (day, from) }
}

/// What was learned of a node.
#[derive(Clone, Debug)]
pub struct Learned {
    /// What panel and place give now, of what the design says, over the day.
    pub yields: Band,
    /// The same in the morning, about noon, and in the afternoon.
    pub by_hour: [Band; 3],
    /// What the running node draws in a day \[mAh\].
    pub load_mah_per_day: Band,
    /// Real capacity over the label.
    pub capacity: Band,
    /// State of charge.
    pub charge: Band,
    /// The same of the first three and the capacity before anything was heard.
    pub before: Before,
    /// How likely it is that nothing changed; that nothing comes from the panel; that it draws more; that the panel gives
    /// less than it did.
    pub regimes: [f64; 4],
    /// How likely it is that it runs.
    pub runs: f64,
    /// What explains the difference best.
    pub causes: Vec<Cause>,
    /// Of what the log says almost nothing.
    pub not_known: Vec<NotKnown>,
    /// Day by day, foretold and seen.
    pub band: Vec<DayBand>,
    /// How long it goes on within half a year.
    pub silence: Silence,
    /// The same to the end of what was promised.
    pub to_the_end: Silence,
    /// The same if what broke were mended today.
    pub mended: Option<Silence>,
    /// The same with one part sound, as designed and put in today; of a node that is likely to stop.
    pub helps: Vec<(Mend, Silence)>,
    /// Days of the log.
    pub days: usize,
    /// The moment at which it was asked \[s since 1970, UTC\].
    pub as_of_s: i64,
    /// Whether sun was measured, minutes in charge were sent, and the voltage of the panel was.
    pub heard: Heard,
}

/// What there was to learn from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Heard {
    /// Sun was measured.
    pub sun: bool,
    /// Minutes in charge were sent.
    pub minutes: bool,
    /// The voltage of the panel was sent.
    pub panel: bool,
}

impl Heard {
    fn of(past: &Past<'_>) -> Self {
        Self {
            sun: past.sun.is_some(),
            minutes: past.readings.iter().any(|one| one.charging_min.is_some()),
            panel: past.readings.iter().any(|one| one.panel.is_some()),
        }
    }
}

/// What was believed before anything was heard.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Before {
    /// Of what the design says.
    pub yields: Band,
    /// In a day \[mAh\].
    pub load_mah_per_day: Band,
    /// Over the label.
    pub capacity: Band,
}

/// Learns what a log says of a node, and the swarm on the last whole day, to go on with; the same for any number of threads.
#[must_use]
pub fn learn(
    past: &Past<'_>,
    climate: &Climate,
    effort: &Effort,
    progress: &dyn Progress,
) -> (Learned, Swarm) {
    live_all(Swarm::begin(past, climate, effort), past, effort, progress)
}

/// Lives all days of a log; what it teaches, and the swarm on the last whole day.
pub(super) fn live_all(
    mut swarm: Swarm,
    past: &Past<'_>,
    effort: &Effort,
    progress: &dyn Progress,
) -> (Learned, Swarm) {
    let (last_day, hour) = swarm.model.clock.day_and_hour(past.as_of_s);
    let to_hour = (hour.round() as usize).min(HOURS);
    let days = usize::try_from(last_day + 1 - swarm.next_day).unwrap_or(0);
    let mut band = Vec::with_capacity(days);
    while swarm.next_day < last_day && !progress.stop() {
        band.push(swarm.next_day(past.readings));
        progress.report(band.len(), days);
    }
    let kept = swarm.clone();
    let day = swarm.next_day;
    if to_hour > swarm.from_hour && day == last_day {
        band.push(swarm.live(past.readings, to_hour));
    }
    (summary(past, &swarm, band, effort, day, to_hour), kept)
}

fn summary(
    past: &Past<'_>,
    swarm: &Swarm,
    band: Vec<DayBand>,
    effort: &Effort,
    day: i64,
    hour: usize,
) -> Learned {
    let members = swarm.chosen(effort.lives.max(2));
    let light = swarm.light_shares();
    let start = Start { day, hour, mend: None, days: AHEAD_DAYS, seed: effort.seed, threads: effort.threads };
    let ahead = |days: usize, mend: Option<Mend>| {
        silence(&silent_after(&swarm.model, &members, &Start { days, mend, ..start }), days)
    };
    let to_the_end = days_to_the_end(past, swarm.days, start.days);
    let by_hour = [MORNING, usize::MAX, AFTERNOON].map(|place| {
        swarm.band(|one| {
            let shade = one.parts.get(place).map_or(1.0, |part| part.exp());
            one.parts[YIELD].exp() * f64::from(one.regime.panel()) * shade
        })
    });
    let regimes = swarm.regimes();
    let mut learned = Learned {
        yields: swarm.band(|one| present_yield(one, &light)),
        by_hour,
        load_mah_per_day: swarm.band(|one| 1e3 * one.load_ah),
        capacity: swarm.band(|one| one.parts[CAPACITY].exp()),
        charge: swarm.band(|one| one.life.charge()),
        before: before(swarm, &light, effort.seed),
        regimes,
        runs: swarm.chance(|one| one.life.running),
        causes: Vec::new(),
        not_known: Vec::new(),
        silence: ahead(start.days, None),
        to_the_end: ahead(to_the_end, None),
        mended: (regimes[0] < 0.5).then(|| ahead(start.days, Some(Mend::Fault))),
        helps: Vec::new(),
        days: swarm.days,
        as_of_s: past.as_of_s,
        heard: Heard::of(past),
        band,
    };
    learned.helps = helps(past, &learned, |mend| ahead(start.days, Some(mend)));
    learned.not_known = cause::not_known(swarm, &learned);
    learned.causes = cause::causes(past, swarm, &light, &learned.not_known);
    learned
}

/// Days of the promise that are left after so many, at least, as far as is looked.
fn days_to_the_end(past: &Past<'_>, gone: usize, least: usize) -> usize {
    let days = (past.design.promise.unattended.years() * YEAR_DAYS as f64).round() as usize;
    days.saturating_sub(gone).clamp(least, 10 * YEAR_DAYS)
}

/// What each part, sound and as designed, would change: asked where a node is likelier to stop than is worth a visit.
fn helps(past: &Past<'_>, learned: &Learned, ahead: impl Fn(Mend) -> Silence) -> Vec<(Mend, Silence)> {
    if learned.silence.p <= WORTH_A_VISIT {
        return Vec::new();
    }
    let parts = [past.design.panel.is_some().then_some(Mend::Panel), Some(Mend::Battery), Some(Mend::Board)];
    parts.into_iter().flatten().map(|mend| (mend, ahead(mend))).collect()
}

/// What was believed before.
fn before(swarm: &Swarm, light: &[f64; 3], seed: u64) -> Before {
    const DRAWS: usize = 2000;
    let mut random = Stream::new(seed, u64::MAX);
    let members: Vec<Particle> =
        (0..DRAWS).map(|_| Particle::new(&swarm.model, Some(3.8), &mut random)).collect();
    let of = |figure: &dyn Fn(&Particle) -> f64| {
        let mut values: Vec<f64> = members.iter().map(figure).collect();
        values.sort_by(f64::total_cmp);
        Band::of_sorted(&values)
    };
    let usual = swarm
        .of_members(|one| if one.load_ah > 0.0 { 1e3 * one.load_ah / present_load(one) } else { f64::NAN });
    let mut usual: Vec<f64> =
        usual.into_iter().map(|(load, _)| load).filter(|load| load.is_finite()).collect();
    usual.sort_by(f64::total_cmp);
    let usual_mah = quantile(&usual, 0.5);
    Before {
        yields: of(&|one| yield_of(&one.parts, light)),
        load_mah_per_day: of(&|one| usual_mah * present_load(one)),
        capacity: of(&|one| one.parts[CAPACITY].exp()),
    }
}
