//! The question that matters: what share of lives survives, how sure that is, and what it hangs on.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use design::node::Design;
use design::quantity::{Charge, Duration, Share};

use super::lives::{Balance, Stage};
use crate::plan::defects::{self, Defect};
use crate::plan::kept::{self, Evidence, Figure, Kept};
use crate::plan::{Cause, Restart, Verdict};
use forecast::Progress;
use forecast::life::ensemble::{self, Fault, Faulted, LifeOutcome, Lives, Question};
use forecast::life::kernel::Life;
use forecast::life::node::NodeTables;
use forecast::life::unknowns::{self, Drawn, Unknowns};
use forecast::sky::hours::LifeWeather;
use forecast::sky::light::YEAR_DAYS;
use forecast::stats;

/// Lives when nobody says otherwise: a thousand without one failure prove 99.6 % and no more.
const LEAST_LIVES: f64 = 1000.0;
/// Lives per life that the promise allows to fail.
const LIVES_PER_FAILURE: f64 = 10.0;
/// Lives with each defect.
const FAULTED_LIVES: usize = 50;
/// Failed lives looked into for their cause.
const EXAMINED: usize = 40;
/// Lives lived again next to a gateway.
const NEAR_LIVES: usize = 200;

/// The answer of many lives.
#[derive(Clone, Debug)]
pub struct Chances {
    /// Lives lived.
    pub lives: usize,
    /// Lives asked for; more than were lived if somebody stopped it.
    pub wanted: usize,
    /// Length of a life \[years\].
    pub years: usize,
    /// Seed of all that was drawn.
    pub seed: u64,
    /// Share of lives without an outage.
    pub without_outage: Share,
    /// Its 95 % interval: simulation noise alone.
    pub interval: (Share, Share),
    /// The same share in the fifth of lives with the worst unknowns.
    pub worst_fifth: Share,
    /// And in the fifth with the best.
    pub best_fifth: Share,
    /// Hours out per year, mean over all lives.
    pub outage_hours_per_year: f64,
    /// Share of the reports sent that a full battery would send, mean over all lives.
    pub completeness: Share,
    /// Longest silence of the life that does worse than 95 % of the others.
    pub longest_silence: Duration,
    /// Outages a year that do not end by themselves, mean over all lives.
    pub visits_per_year: f64,
    /// What was promised and whether it is kept; survival first.
    pub kept: Vec<Kept>,
    /// Charge over the year, a row per day.
    pub bands: Vec<DayBand>,
    /// Day of the year on which the lives that do worse than 95 % stand lowest.
    pub darkest_day: usize,
    /// How long such a life would last from there without sun.
    pub in_hand: Duration,
    /// If it stopped on that day, when it would be back.
    pub restart: Restart,
    /// The life that went worst.
    pub worst: WorstLife,
    /// What stopped the lives that failed, most frequent first.
    pub causes: Vec<(Cause, Share)>,
    /// What the outcome hangs on, most first.
    pub drivers: Vec<Driver>,
    /// The node with one thing gone wrong, soonest dead first.
    pub faults: Vec<FaultRow>,
}

/// Charge on one day of the year: below it lie 5, 25, 50, 75 and 95 % of the lives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayBand {
    /// In that order.
    pub charge: [Share; 5],
}

/// The life that went worst.
#[derive(Clone, Debug, PartialEq)]
pub struct WorstLife {
    /// Its number.
    pub life: u64,
    /// Hours it was out.
    pub outage_hours: u32,
    /// State of charge at the end of each day of the year around its lowest point, by day of the year.
    pub charge_by_day: Vec<Share>,
    /// Day of the year on which that year begins.
    pub first_day: usize,
    /// Its fortnight around the lowest point, hour by hour.
    pub fortnight: Vec<FortnightHour>,
}

/// One hour of a fortnight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FortnightHour {
    /// Hour of the year.
    pub place: usize,
    /// Sun on the plane past the cover [W/m²].
    pub in_plane_w_m2: f32,
    /// Air [°C].
    pub air_celsius: f32,
    /// Battery [°C].
    pub battery_celsius: f32,
    /// Net current into the battery \[A\].
    pub amperes: f32,
    /// State of charge at its end.
    pub charge: f32,
    /// Whether the node ran.
    pub running: bool,
}

/// An unknown and how much hangs on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Driver {
    /// In words.
    pub name: &'static str,
    /// Standard deviations of the outcome's rank per standard deviation of its own.
    pub weight: f64,
}

/// How lives fare with one thing gone wrong at the start of the dark season.
#[derive(Clone, Debug, PartialEq)]
pub struct FaultRow {
    /// In words.
    pub name: String,
    /// What it adds or takes.
    pub effect: String,
    /// Share of lives that it stops within a year.
    pub stops: Share,
    /// Days after which half of those have stopped.
    pub median_days: Option<f64>,
    /// Days after which nine in ten of those have.
    pub most_days: Option<f64>,
    /// Share of the stopped that come back by themselves within another year.
    pub comes_back: Option<Share>,
}

/// How many lives, from which seed, on how many threads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effort {
    /// Lives; as many as the promise needs if open.
    pub lives: Option<usize>,
    /// Seed of all that is drawn.
    pub seed: u64,
    /// Threads; the answer does not depend on them.
    pub threads: usize,
}

/// Lives the lives of a design and says what they show.
pub(super) fn chances<W: LifeWeather>(
    design: &Design,
    stage: &Stage<'_>,
    question: &Question<'_, W>,
    sun_doubt: f64,
    defects_day: usize,
    effort: Effort,
    progress: &dyn Progress,
) -> Chances {
    let promise = design.promise.without_outage.fraction();
    let needed = (LIVES_PER_FAILURE / (1.0 - promise).max(1e-4)).max(LEAST_LIVES) as usize;
    let wanted = effort.lives.unwrap_or(needed);
    let lives = ensemble::live_all(question, wanted, effort.threads, progress);
    let survival = Figure::share(&lives.outcomes, alive);
    let ranked = by_unknowns(stage, question.nodes, sun_doubt, &lives.outcomes);
    let (fifth, rest) = ranked.split_at(ranked.len() / 5);
    let best_fifth = rest.get(rest.len() - fifth.len()..).unwrap_or_default();
    let evidence = Evidence::new(stage, question, &lives.outcomes, fifth);
    let bands: Vec<DayBand> = (0..YEAR_DAYS).map(|day| band(&lives, day)).collect();
    let low: Vec<f64> = (0..YEAR_DAYS).map(|day| lives.bands.quantile(day, 0.05)).collect();
    let darkest_day = darkest(&low);
    Chances {
        lives: lives.outcomes.len(),
        wanted,
        years: question.years,
        seed: effort.seed,
        without_outage: Share::from_fraction(survival.found),
        interval: (Share::from_fraction(survival.low), Share::from_fraction(survival.high)),
        worst_fifth: Share::from_fraction(Figure::share(fifth, alive).found),
        best_fifth: Share::from_fraction(Figure::share(best_fifth, alive).found),
        outage_hours_per_year: mean(&lives.outcomes, |life| f64::from(life.outage_hours))
            / question.years as f64,
        completeness: evidence.completeness(),
        longest_silence: evidence.longest_silence(),
        visits_per_year: evidence.visits_per_year(),
        kept: evidence.keep(&design.promise),
        in_hand: in_hand(stage, low[darkest_day], darkest_day),
        restart: restart(stage, low[darkest_day], darkest_day),
        darkest_day,
        bands,
        worst: worst(question, &lives.outcomes),
        causes: causes(question, &lives.outcomes, effort.threads),
        drivers: drivers(question.unknowns, &lives.outcomes),
        faults: faults(design, question, defects_day, effort.threads, progress),
    }
}

impl Chances {
    /// The verdict on all that was promised: that of the worst.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        kept::worst(&self.kept)
    }

    /// The headline, and which of the smaller promises are not kept.
    #[must_use]
    pub fn reason(&self) -> String {
        let missed = self.missed().map(|kept| match kept.verdict {
            Verdict::Fails => format!("; misses the promised {}", kept.promised.name()),
            _ => format!("; the promised {} is in doubt", kept.promised.name()),
        });
        self.sentence() + &missed.collect::<String>()
    }

    /// The smaller promises that are not kept, or in doubt.
    pub fn missed(&self) -> impl Iterator<Item = &Kept> {
        self.kept.iter().skip(1).filter(|kept| kept.verdict != Verdict::Holds)
    }

    /// The headline as a sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        let percent = |share: Share| percent_text(share.percent());
        let (low, high) = self.interval;
        format!(
            "{} % of {} {} without an outage ({}-{})",
            percent(self.without_outage),
            thousands(self.lives),
            lives_text(self.years),
            percent(low),
            percent(high)
        )
    }
}

fn percent_text(percent: f64) -> String {
    if percent >= 100.0 { "100".to_owned() } else { format!("{percent:.1}") }
}

fn thousands(count: usize) -> String {
    if count >= 1000 { format!("{},{:03}", count / 1000, count % 1000) } else { count.to_string() }
}

fn lives_text(years: usize) -> String {
    const WORDS: [&str; 11] =
        ["", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"];
    match WORDS.get(years).filter(|word| !word.is_empty()) {
        Some(word) => format!("{word}-year lives"),
        None => format!("{years}-year lives"),
    }
}

/// The place of the lowest value on a ring; the middle of the longest stretch of equally low ones, as where lives that have
/// stopped lie on one level for weeks.
fn darkest(low: &[f64]) -> usize {
    let lowest = low.iter().copied().fold(f64::INFINITY, f64::min);
    let Some(above) = low.iter().position(|value| *value > lowest) else { return 0 };
    let (mut run, mut longest, mut end) = (0, 0, above);
    for place in above + 1..=above + low.len() {
        if low[place % low.len()] <= lowest {
            run += 1;
        } else {
            run = 0;
        }
        if run > longest {
            (longest, end) = (run, place);
        }
    }
    (end - longest / 2) % low.len()
}

fn alive(life: &LifeOutcome) -> bool {
    life.outage_hours == 0
}

fn share(part: usize, of: usize) -> Share {
    Share::from_fraction(if of == 0 { 0.0 } else { part as f64 / of as f64 })
}

fn mean(lives: &[LifeOutcome], of: impl Fn(&LifeOutcome) -> f64) -> f64 {
    lives.iter().map(of).sum::<f64>() / lives.len().max(1) as f64
}

fn band(lives: &Lives, day: usize) -> DayBand {
    let charge =
        [0.05, 0.25, 0.5, 0.75, 0.95].map(|share| Share::from_fraction(lives.bands.quantile(day, share)));
    DayBand { charge }
}

/// The lives ranked by what the fixed draws alone do to a dark month's harvest less its load, worst first.
fn by_unknowns(
    stage: &Stage<'_>,
    nodes: &[NodeTables],
    sun_doubt: f64,
    lives: &[LifeOutcome],
) -> Vec<LifeOutcome> {
    let months: Vec<Balance> =
        nodes.iter().map(|node| Stage { node, ..*stage }.dark_month_balance()).collect();
    let surplus = |LifeOutcome { drawn, class, .. }: &LifeOutcome| {
        let dark = months[*class];
        let harvest = dark.offered_ah * drawn.site().sun(sun_doubt) * drawn.panel();
        harvest - dark.floor_ah * drawn.floor() - dark.active_ah * drawn.active()
    };
    let mut ranked = lives.to_vec();
    ranked.sort_by(|one, other| surplus(one).total_cmp(&surplus(other)).then(one.life.cmp(&other.life)));
    ranked
}

/// How long a nominal node lasts in the dark from this charge on this day of the year.
fn in_hand(stage: &Stage<'_>, charge: f64, day: usize) -> Duration {
    stage.until_stopped(Life::new(stage.node, charge), stage.place_of_day(day), usize::MAX).0
}

/// When a nominal node that stops on this day of the year, once this charge is used up, is back.
fn restart(stage: &Stage<'_>, charge: f64, day: usize) -> Restart {
    stage.restart_from(&Life::new(stage.node, charge), stage.place_of_day(day))
}

fn went_worst(lives: &[LifeOutcome]) -> Option<&LifeOutcome> {
    lives.iter().max_by(|one, other| {
        one.outage_hours.cmp(&other.outage_hours).then(other.lowest_charge.total_cmp(&one.lowest_charge))
    })
}

/// Lives the worst life once more and keeps what it looked like.
fn worst<W: LifeWeather>(question: &Question<'_, W>, lives: &[LifeOutcome]) -> WorstLife {
    const WEEK_H: usize = 7 * 24;
    let mut found = WorstLife {
        life: 0,
        outage_hours: 0,
        charge_by_day: vec![Share::ZERO; YEAR_DAYS],
        first_day: 0,
        fortnight: Vec::with_capacity(2 * WEEK_H),
    };
    let Some(outcome) = went_worst(lives) else { return found };
    let middle = outcome.first_outage.unwrap_or(outcome.lowest_hour) as usize;
    let last_year = (question.years * YEAR_DAYS).saturating_sub(YEAR_DAYS);
    let first = (middle / 24).saturating_sub(YEAR_DAYS / 2).min(last_year);
    ensemble::live_by_the_hour(question, outcome.life, |seen| {
        if seen.index == first * 24 {
            found.first_day = seen.place / 24;
        }
        if seen.place % 24 == 23 && (first..first + YEAR_DAYS).contains(&(seen.index / 24)) {
            found.charge_by_day[seen.place / 24] = Share::from_fraction(seen.life.charge());
        }
        if seen.index.abs_diff(middle) < WEEK_H {
            found.fortnight.push(FortnightHour {
                place: seen.place,
                in_plane_w_m2: seen.weather.in_plane_w_m2 * seen.life.yield_factor,
                air_celsius: seen.weather.air_celsius,
                battery_celsius: seen.weather.battery_celsius,
                amperes: seen.outcome.taken - seen.outcome.spent,
                charge: seen.life.charge() as f32,
                running: !seen.outcome.out(),
            });
        }
    });
    WorstLife { life: outcome.life, outage_hours: outcome.outage_hours, ..found }
}

/// Looks into failed lives: the first change among pulse, gate, wear and parts that would have saved each.
fn causes<W: LifeWeather>(
    question: &Question<'_, W>,
    lives: &[LifeOutcome],
    threads: usize,
) -> Vec<(Cause, Share)> {
    let failed: Vec<&LifeOutcome> =
        lives.iter().filter(|life| life.outage_hours > 0).take(EXAMINED).collect();
    let changed = |change: &dyn Fn(&mut NodeTables)| -> Vec<NodeTables> {
        let mut nodes = question.nodes.to_vec();
        nodes.iter_mut().for_each(change);
        nodes
    };
    let mut saviours = vec![
        (Cause::BrownOut, changed(&|node| node.demand.pulse.amperes = 0.0)),
        (Cause::ChargeGate, changed(&|node| node.charger.open_gate())),
        (Cause::Ageing, changed(&|node| node.ageing = None)),
    ];
    if question.nodes.len() > 1 {
        let nearest = question.nodes[question.spots.nearest()].clone();
        saviours.push((Cause::Distance, vec![nearest; question.nodes.len()]));
    }
    let cause = |life: &LifeOutcome| {
        let saved = |nodes: &[NodeTables], parts| {
            ensemble::survives(&Question { nodes, ..*question }, life.life, parts)
        };
        let by_change = saviours.iter().find(|(_, nodes)| saved(nodes, None)).map(|(cause, _)| *cause);
        by_change.unwrap_or(if saved(question.nodes, Some(Drawn::nominal())) {
            Cause::Parts
        } else {
            Cause::Sun
        })
    };
    let found: Vec<Cause> = ensemble::on_threads(threads, failed.len(), |index| cause(failed[index]));
    let all = [Cause::Sun, Cause::Distance, Cause::Parts, Cause::ChargeGate, Cause::BrownOut, Cause::Ageing];
    let counted = all.map(|cause| (cause, found.iter().filter(|other| **other == cause).count()));
    let mut counted: Vec<_> = counted.into_iter().filter(|(_, count)| *count > 0).collect();
    counted.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    counted.into_iter().map(|(cause, count)| (cause, share(count, found.len()))).collect()
}

/// Share of lives without an outage if the node stood next to a gateway, at the fastest data rate; `None` where distance
/// stopped less than half of those that failed.
pub(super) fn near_a_gateway<W: LifeWeather>(
    question: &Question<'_, W>,
    chances: &Chances,
    effort: Effort,
    progress: &dyn Progress,
) -> Option<Share> {
    let by_distance = chances.causes.iter().find(|(cause, _)| *cause == Cause::Distance);
    by_distance.filter(|(_, share)| share.fraction() >= 0.5)?;
    let near = vec![question.nodes[question.spots.nearest()].clone(); question.nodes.len()];
    let question = Question { nodes: &near, ..*question };
    let lives = ensemble::live_all(&question, chances.lives.min(NEAR_LIVES), effort.threads, progress);
    Some(Share::from_fraction(Figure::share(&lives.outcomes, alive).found))
}

/// What the outcome hangs on: rank regression of how well a life went on its own draws.
fn drivers(unknowns: &Unknowns, lives: &[LifeOutcome]) -> Vec<Driver> {
    let went = |life: &LifeOutcome| {
        if life.outage_hours > 0 { -f64::from(life.outage_hours) } else { f64::from(life.lowest_charge) }
    };
    let outcome: Vec<f64> = lives.iter().map(went).collect();
    let varying: Vec<usize> = (0..unknowns::COUNT).filter(|index| unknowns.varies(*index)).collect();
    let scores: Vec<Vec<f64>> = varying.iter().map(|index| ensemble::scores(lives, *index)).collect();
    let weights = stats::rank_regression(&scores, &outcome);
    let named = varying.into_iter().map(|index| unknowns::NAMES[index]).zip(weights);
    let mut drivers: Vec<Driver> = named.map(|(name, weight)| Driver { name, weight }).collect();
    drivers.sort_by(|one, other| other.weight.abs().total_cmp(&one.weight.abs()));
    drivers
}

fn faults<W: LifeWeather>(
    design: &Design,
    question: &Question<'_, W>,
    day: usize,
    threads: usize,
    progress: &dyn Progress,
) -> Vec<FaultRow> {
    let question = Question { start_day: Some(day), charge: Share::from_fraction(1.0), ..*question };
    let middle = question.spots.class(&question.spots.middle());
    let join = question.nodes.get(middle).map_or(Charge::ZERO, |node| node.demand.join);
    let possible = defects::possible(design, join).into_iter().take_while(|_| !progress.stop());
    let mut rows: Vec<FaultRow> = possible.map(|defect| fault_row(&question, defect, threads)).collect();
    let key = |row: &FaultRow| row.median_days.unwrap_or(f64::INFINITY);
    rows.sort_by(|one, other| key(one).total_cmp(&key(other)));
    rows
}

fn fault_row<W: LifeWeather>(question: &Question<'_, W>, defect: Defect, threads: usize) -> FaultRow {
    let fault = Fault {
        extra_amperes: defect.extra.amperes() as f32,
        clears: defect.clears_by_itself,
        dark_days: if defect.dark_hours == usize::MAX { usize::MAX } else { defect.dark_hours / 24 },
    };
    let Faulted { days_to_stop, came_back, lives } =
        ensemble::with_fault(question, &fault, FAULTED_LIVES, threads);
    let stopped = days_to_stop.len();
    let after = |share: f64| (stopped > 0).then(|| stats::quantile(&days_to_stop, share));
    FaultRow {
        name: defect.name.to_owned(),
        effect: defect.effect,
        stops: share(stopped, lives),
        median_days: after(0.5),
        most_days: after(0.9),
        comes_back: (stopped > 0).then(|| share(came_back, stopped)),
    }
}

#[cfg(test)]
mod tests {
    use super::darkest;

    #[test]
    fn the_darkest_day_is_the_middle_of_the_darkest_stretch() {
        let mut year = vec![0.9; 365];
        year[200] = 0.2;
        assert_eq!(darkest(&year), 200);
        for day in [361, 362, 363, 364, 0, 1, 2] {
            year[day] = 0.2;
        }
        assert_eq!(darkest(&year), 364);
        assert_eq!(darkest(&[0.0; 365]), 0);
    }
}
