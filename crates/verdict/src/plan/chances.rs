//! The question that matters: what share of lives survives, how sure that is, and what it hangs on.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use design::node::Design;
use design::quantity::{Duration, Share};
use forecast::life::cause::{Cause, causes, survival_next_to_a_gateway};
use forecast::life::ensemble::Lives;
use forecast::life::fault::{Fault, Faulted, comeback, possible, reserve, with_fault};
use forecast::life::run::{LifeOutcome, Trial};
use forecast::life::shown::{Moment, YearInBrief, year_in_brief};
use forecast::life::unknowns::{self, SUNSHINE};
use forecast::life::weather::Balance;
use forecast::sky::light::{YEAR_DAYS, nominal_hours};
use forecast::stats;

use super::Restart;
use super::course::{Course, course};
use super::kept::{self, Evidence, Figure, JudgedPromise, Promised};
use super::make::LifeInputs;
use crate::finding::Verdict;

/// Lives when nobody says otherwise: a thousand without one failure prove 99.6 % and no more.
const LEAST_LIVES: f64 = 1000.0;
/// Lives per life that the promise allows to fail.
const LIVES_PER_FAILURE: f64 = 10.0;
/// Follows a headline that misses the promise by so little.
const WITHIN_NOISE: &str = "; below the promise by less than the simulation noise";
/// Lives lived again next to a gateway.
const NEAR_LIVES: usize = 200;

/// The answer of many lives.
#[derive(Clone, Debug)]
pub struct Survival {
    /// Lives lived.
    pub lives: usize,
    /// Lives asked for; more than were lived if somebody stopped it.
    pub wanted: usize,
    /// Length of a life \[years\].
    pub years: f64,
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
    /// Share of the reports sent that a full battery would send, mean over all lives; `None` if nothing is reported.
    pub completeness: Option<Share>,
    /// Longest silence of the life that does worse than 95 % of the others; `None` if nothing is reported.
    pub longest_silence: Option<Duration>,
    /// What is sent over the year, where intervals depend on the charge.
    pub course: Option<Course>,
    /// Outages a year that do not end by themselves, mean over all lives.
    pub visits_per_year: f64,
    /// What was promised and whether it is kept; survival first.
    pub kept: Vec<JudgedPromise>,
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
    /// Numbers of the lives with an outage.
    pub failed: Vec<u64>,
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
    /// The year around its lowest point.
    pub year: YearInBrief,
}

/// An unknown and how much hangs on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Driver {
    /// In words.
    pub name: &'static str,
    /// Standard deviations of the outcome's rank per standard deviation of its own.
    pub weight: f64,
    /// Share without an outage of the fifth of lives with least of it.
    pub least: Share,
    /// And of the fifth with most.
    pub most: Share,
}

/// How lives fare with one thing gone wrong at the start of the dark season.
#[derive(Clone, Debug, PartialEq)]
pub struct FaultRow {
    /// What goes wrong.
    pub fault: Fault,
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

/// How many lives are wanted of a design.
pub(super) fn lives_wanted(design: &Design, effort: Effort) -> usize {
    let promise = design.promise.without_outage.fraction();
    let needed = (LIVES_PER_FAILURE / (1.0 - promise).max(1e-4)).max(LEAST_LIVES) as usize;
    effort.lives.unwrap_or(needed)
}

/// What the lives of a design show.
pub(super) fn chances(case: &LifeInputs<'_>, lives: &Lives) -> Survival {
    let (trial, threads) = (case.trial, case.effort.threads);
    let survival = Figure::share(&lives.outcomes, LifeOutcome::is_unbroken);
    let ranked = by_unknowns(case, &lives.outcomes);
    let (fifth, rest) = ranked.split_at(ranked.len() / 5);
    let best_fifth = rest.get(rest.len() - fifth.len()..).unwrap_or_default();
    let visits = kept::visits_per_year(case, &lives.outcomes);
    let evidence = Evidence::new(case, &lives.outcomes, fifth, visits);
    let low: Vec<f64> =
        (0..YEAR_DAYS).map(|day| lives.bands.quantile(day, 0.05).unwrap_or(f64::INFINITY)).collect();
    let darkest_day = darkest(&low);
    let charge = Share::from_fraction(low[darkest_day].min(1.0));
    let nominal = case.nominal_trial();
    let unbroken =
        |lives: &[LifeOutcome]| Share::from_fraction(Figure::share(lives, LifeOutcome::is_unbroken).found);
    Survival {
        lives: lives.outcomes.len(),
        wanted: lives.wanted,
        years: trial.years(),
        seed: trial.seed,
        without_outage: Share::from_fraction(survival.found),
        interval: (Share::from_fraction(survival.low), Share::from_fraction(survival.high)),
        worst_fifth: unbroken(fifth),
        best_fifth: unbroken(best_fifth),
        outage_hours_per_year: mean(&lives.outcomes, |life| f64::from(life.outage_hours())) / trial.years(),
        completeness: evidence.completeness(),
        longest_silence: evidence.longest_silence(),
        course: case.node().demand.by_charge().then(|| course(trial, &lives.outcomes)),
        visits_per_year: visits.found,
        kept: evidence.keep(&case.design.promise),
        in_hand: reserve(&nominal, darkest_day, charge, threads),
        restart: restart(comeback(&nominal, darkest_day, threads), darkest_day),
        darkest_day,
        bands: (0..YEAR_DAYS).map(|day| band(lives, day)).collect(),
        worst: worst(case, &lives.outcomes),
        failed: lives.outcomes.iter().filter(|life| !life.is_unbroken()).map(|life| life.life).collect(),
        causes: causes(trial, &lives.outcomes, threads),
        drivers: drivers(trial, &lives.outcomes),
        faults: faults(case),
    }
}

/// What many lives show of the promises: the first line of an answer.
#[derive(Clone, Copy, Debug)]
pub(super) struct Headline<'a> {
    pub(super) lives: usize,
    pub(super) years: f64,
    pub(super) without_outage: Share,
    pub(super) interval: (Share, Share),
    pub(super) kept: &'a [JudgedPromise],
}

impl Survival {
    pub(super) fn headline(&self) -> Headline<'_> {
        let Self { lives, years, without_outage, interval, .. } = *self;
        Headline { lives, years, without_outage, interval, kept: &self.kept }
    }

    /// The smaller promises that are not kept, or in doubt.
    pub fn missed(&self) -> impl Iterator<Item = &JudgedPromise> {
        self.headline().missed()
    }

    /// Whether survival misses what is promised by less than the simulation noise: more lives might reach it.
    #[must_use]
    pub fn misses_within_noise(&self) -> bool {
        self.headline().misses_within_noise()
    }

    /// The headline as a sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        self.headline().sentence()
    }
}

impl<'a> Headline<'a> {
    /// The verdict on all that was promised: that of the worst.
    pub(super) fn verdict(&self) -> Verdict {
        Verdict::worst(self.kept.iter().map(|kept| kept.verdict)).unwrap_or(Verdict::NotKnown)
    }

    /// The headline, and which of the smaller promises are not kept.
    pub(super) fn reason(&self) -> String {
        let missed = self.missed().map(|kept| match kept.verdict {
            Verdict::Fails => format!("; misses the promised {}", kept.promised.name()),
            _ => format!("; the promised {} is in doubt", kept.promised.name()),
        });
        let noise = if self.misses_within_noise() { WITHIN_NOISE } else { "" };
        self.sentence() + noise + &missed.collect::<String>()
    }

    /// Whether survival fails, and the upper end of its interval reaches what is promised.
    fn misses_within_noise(&self) -> bool {
        self.kept.first().is_some_and(|survival| {
            let Promised::WithoutOutage { asked, .. } = survival.promised else { return false };
            survival.verdict == Verdict::Fails && self.interval.1 >= asked
        })
    }

    fn missed(self) -> impl Iterator<Item = &'a JudgedPromise> {
        self.kept.iter().skip(1).filter(|kept| kept.verdict != Verdict::Holds)
    }

    fn sentence(&self) -> String {
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
    match percent {
        // Wilson's upper end of all lives is one but for rounding.
        percent if percent >= 100.0 - 1e-9 => "100".to_owned(),
        percent if percent >= 99.95 => format!("{:.2}", percent.min(99.99)),
        percent => format!("{percent:.1}"),
    }
}

fn thousands(count: usize) -> String {
    if count >= 1000 { format!("{},{:03}", count / 1000, count % 1000) } else { count.to_string() }
}

fn lives_text(years: f64) -> String {
    const WORDS: [&str; 11] =
        ["", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"];
    let whole = years.round() as usize;
    if (years - years.round()).abs() > 1e-9 {
        return format!("lives of {:.0} days", years * YEAR_DAYS as f64);
    }
    match WORDS.get(whole).filter(|word| !word.is_empty()) {
        Some(word) => format!("{word}-year lives"),
        None => format!("{whole}-year lives"),
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

fn share(part: usize, of: usize) -> Share {
    Share::from_fraction(if of == 0 { 0.0 } else { part as f64 / of as f64 })
}

fn mean(lives: &[LifeOutcome], of: impl Fn(&LifeOutcome) -> f64) -> f64 {
    lives.iter().map(of).sum::<f64>() / lives.len().max(1) as f64
}

fn band(lives: &Lives, day: usize) -> DayBand {
    let quantile = |share| lives.bands.quantile(day, share).map_or(f64::NAN, |charge| charge);
    DayBand { charge: [0.05, 0.25, 0.5, 0.75, 0.95].map(|share| Share::from_fraction(quantile(share))) }
}

/// The lives ranked by what the fixed draws alone do to a dark month's harvest less its load, worst first.
pub(super) fn by_unknowns(case: &LifeInputs<'_>, lives: &[LifeOutcome]) -> Vec<LifeOutcome> {
    let (trial, weather) = (case.trial, case.trial.weather);
    let months: Vec<Balance> =
        trial.nodes.iter().map(|node| weather.sample().dark_month_balance(node)).collect();
    let surplus = |LifeOutcome { drawn, class, .. }: &LifeOutcome| {
        let dark = months[*class];
        let harvest = dark.offered_ah * drawn.site().sun(weather.sun_doubt()) * drawn.panel();
        harvest - dark.floor_ah * drawn.floor() - dark.active_ah * drawn.active()
    };
    let mut ranked = lives.to_vec();
    ranked.sort_by(|one, other| surplus(one).total_cmp(&surplus(other)).then(one.life.cmp(&other.life)));
    ranked
}

/// When a node is back that stops on a day of the year and takes so long.
fn restart(back: Option<Duration>, day: usize) -> Restart {
    let Some(back) = back else { return Restart::Never };
    let hours = nominal_hours();
    let at = (day * 24 + back.hours().round() as usize) % hours.len();
    let (month, day, hour) = (hours[at].month, hours[at].day, hours[at].hour);
    Restart::At(Moment { pass: 0, month, day, hour }, back.days())
}

fn went_worst(lives: &[LifeOutcome]) -> Option<&LifeOutcome> {
    lives.iter().max_by(|one, other| {
        one.outage_hours().cmp(&other.outage_hours()).then(other.lowest_charge.total_cmp(&one.lowest_charge))
    })
}

/// What the worst life looked like.
fn worst(case: &LifeInputs<'_>, lives: &[LifeOutcome]) -> WorstLife {
    let outcome = went_worst(lives).copied().unwrap_or_default();
    WorstLife {
        life: outcome.life,
        outage_hours: outcome.outage_hours(),
        year: year_in_brief(case.trial, &outcome),
    }
}

/// Share of lives without an outage if the node stood next to a gateway, at the fastest data rate; `None` where distance
/// stopped less than half of those that failed.
pub(super) fn near_a_gateway(
    case: &LifeInputs<'_>,
    causes: &[(Cause, Share)],
    lives: usize,
) -> Option<Share> {
    let by_distance = causes.iter().find(|(cause, _)| *cause == Cause::Distance);
    by_distance.filter(|(_, share)| share.fraction() >= 0.5)?;
    Some(survival_next_to_a_gateway(case.trial, lives.min(NEAR_LIVES), case.effort.threads, case.progress))
}

/// What the outcome hangs on: rank regression of how well a life went on its own draws.
fn drivers(trial: &Trial<'_>, lives: &[LifeOutcome]) -> Vec<Driver> {
    let went = |life: &LifeOutcome| {
        if life.outage_hours() > 0 { -f64::from(life.outage_hours()) } else { f64::from(life.lowest_charge) }
    };
    let outcome: Vec<f64> = lives.iter().map(went).collect();
    // Without a panel nothing hangs on the sun.
    let counts = |index: &usize| trial.unknowns.varies(*index) && (*index != SUNSHINE || trial.has_sun());
    let varying: Vec<usize> = (0..unknowns::COUNT).filter(counts).collect();
    let scores: Vec<Vec<f64>> = varying.iter().map(|index| scores(lives, *index)).collect();
    let weights = stats::rank_regression(&scores, &outcome);
    let driver = |((index, scores), weight): ((usize, &Vec<f64>), f64)| {
        let (least, most) = fifths(lives, scores);
        Driver { name: unknowns::NAMES[index], weight, least, most }
    };
    let mut drivers: Vec<Driver> = varying.into_iter().zip(&scores).zip(weights).map(driver).collect();
    drivers.sort_by(|one, other| other.weight.abs().total_cmp(&one.weight.abs()));
    drivers
}

/// Shares without an outage of the fifths of lives with least and with most of something.
fn fifths(lives: &[LifeOutcome], of_it: &[f64]) -> (Share, Share) {
    let mut ranked: Vec<(f64, bool)> =
        of_it.iter().zip(lives).map(|(score, life)| (*score, life.is_unbroken())).collect();
    ranked.sort_by(|one, other| one.0.total_cmp(&other.0));
    let size = (ranked.len() / 5).max(1).min(ranked.len());
    let unbroken = |lives: &[(f64, bool)]| share(lives.iter().filter(|life| life.1).count(), lives.len());
    (unbroken(&ranked[..size]), unbroken(&ranked[ranked.len() - size..]))
}

/// The scores of one unknown over all lives.
fn scores(lives: &[LifeOutcome], unknown: usize) -> Vec<f64> {
    lives.iter().map(|life| life.drawn.scores[unknown]).collect()
}

fn faults(case: &LifeInputs<'_>) -> Vec<FaultRow> {
    let (trial, threads, day) = (case.trial, case.effort.threads, case.day_of_faults());
    let possible =
        possible(case.design, &case.node().demand).into_iter().take_while(|_| !case.progress.stop());
    let mut rows: Vec<FaultRow> =
        possible.map(|fault| fault_row(with_fault(trial, day, &fault, threads))).collect();
    let key = |row: &FaultRow| row.median_days.unwrap_or(f64::INFINITY);
    rows.sort_by(|one, other| key(one).total_cmp(&key(other)));
    rows
}

fn fault_row(Faulted { fault, days_to_stop, came_back, lives }: Faulted) -> FaultRow {
    let stopped = days_to_stop.len();
    let after = |share: f64| (stopped > 0).then(|| stats::quantile(&days_to_stop, share));
    FaultRow {
        fault,
        stops: share(stopped, lives),
        median_days: after(0.5),
        most_days: after(0.9),
        comes_back: (stopped > 0).then(|| share(came_back, stopped)),
    }
}

#[cfg(test)]
mod tests {
    use super::{darkest, fifths};
    use forecast::life::run::LifeOutcome;

    /// By hand: ten lives with scores 1 to 10 of which those below 4 stop: of the two with least none passes, of the two with
    /// most both.
    #[test]
    fn the_fifths_with_least_and_with_most_are_counted() {
        let scores: Vec<f64> = [7, 1, 4, 10, 2, 8, 3, 9, 5, 6].map(f64::from).to_vec();
        let life =
            |score: &f64| LifeOutcome { first_outage: (*score < 4.0).then_some(1), ..LifeOutcome::default() };
        let lives: Vec<LifeOutcome> = scores.iter().map(life).collect();
        let (least, most) = fifths(&lives, &scores);
        assert_eq!((least.percent(), most.percent()), (0.0, 100.0));
        let turned: Vec<f64> = scores.iter().map(|score| -score).collect();
        let (least, most) = fifths(&lives, &turned);
        assert_eq!((least.percent(), most.percent()), (100.0, 0.0));
    }

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
