//! What was promised, and whether many lives keep it.

use design::node::Promise;
use design::quantity::{Duration, Share};

use super::make::LifeInputs;
use crate::finding::Verdict;
use crate::quota::WORST_FIFTH_SLACK;
use forecast::life::ensemble::on_threads;
use forecast::life::run::LifeOutcome;
use forecast::life::visits::visits;
use forecast::stats;

/// Share of the lives that must stay below the silence that is promised.
pub(super) const FRESH_LIVES: f64 = 0.95;
/// Lives with an outage that are lived once more with somebody who comes when it must be.
const VISITED: usize = 100;
/// Intervals are kept in single precision.
const ROUNDING: f64 = 1.0 + 1e-5;

/// Something that the design file promises, with what it asks and what the lives show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Promised {
    /// Share of lives without an outage.
    WithoutOutage {
        /// At least so many.
        asked: Share,
        /// So many.
        found: Share,
    },
    /// Share of the reports sent that a full battery would send, mean over all lives.
    Completeness {
        /// At least so many.
        asked: Share,
        /// So many.
        found: Share,
    },
    /// Longest silence of 95 % of the lives.
    Freshness {
        /// At most so long.
        asked: Duration,
        /// So long.
        found: Duration,
    },
    /// Outages a year that do not end by themselves, mean over all lives.
    Visits {
        /// At most so many.
        asked: f64,
        /// So many.
        found: f64,
    },
}

impl Promised {
    /// What is promised, in a word.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            Self::WithoutOutage { .. } => "survival",
            Self::Completeness { .. } => "completeness",
            Self::Freshness { .. } => "freshness",
            Self::Visits { .. } => "visits",
        }
    }
}

/// A promise and its verdict.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JudgedPromise {
    /// What was promised.
    pub promised: Promised,
    /// Whether it is kept.
    pub verdict: Verdict,
}

/// A figure of many lives with its 95 % interval: simulation noise alone.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Figure {
    pub(super) found: f64,
    pub(super) low: f64,
    pub(super) high: f64,
}

impl Figure {
    /// A mean with its standard error.
    fn about(found: f64, error: f64) -> Self {
        let half = stats::TWO_SIDED_95 * error;
        Self { found, low: found - half, high: found + half }
    }

    fn mean(values: &[f64]) -> Self {
        let (mean, deviation) = stats::mean_and_deviation(values);
        Self::about(mean, deviation / (values.len().max(1) as f64).sqrt())
    }

    /// The share of lives that are good, by Wilson's interval.
    pub(super) fn share(lives: &[LifeOutcome], good: impl Fn(&LifeOutcome) -> bool) -> Self {
        let whole = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
        let count = lives.iter().filter(|life| good(life)).count();
        let (low, high) = stats::wilson(whole(count), whole(lives.len()));
        Self { found: count as f64 / lives.len().max(1) as f64, low, high }
    }

    /// Whether it reaches what is asked: fails below it; is tight where it may not by noise alone, or where the lives with
    /// the worst unknowns stay far below.
    fn reaches(self, asked: f64, worst_fifth: f64) -> Verdict {
        if self.found < asked {
            Verdict::Fails
        } else if self.low < asked || worst_fifth < asked - WORST_FIFTH_SLACK {
            Verdict::Tight
        } else {
            Verdict::Holds
        }
    }

    /// Whether it stays within what is asked.
    fn within(self, asked: f64) -> Verdict {
        if self.found > asked {
            Verdict::Fails
        } else if self.high > asked {
            Verdict::Tight
        } else {
            Verdict::Holds
        }
    }
}

/// What the lives show of the promises.
pub(super) struct Evidence<'a> {
    lives: &'a [LifeOutcome],
    worst_fifth: &'a [LifeOutcome],
    /// Reports that a node with a full battery sends in a life.
    wanted_reports: f64,
    /// The longest silence of such a node [h]; `None` if it reports nothing.
    usual_silence_h: Option<f64>,
    /// Length of a life [h].
    life_h: f64,
    /// Whether a low battery makes it report less often.
    spares: bool,
    visits_per_year: Figure,
}

impl<'a> Evidence<'a> {
    /// The lives of a trial, and the fifth of them with the worst unknowns.
    pub(super) fn new(
        case: &LifeInputs<'_>,
        lives: &'a [LifeOutcome],
        worst_fifth: &'a [LifeOutcome],
        visits_per_year: Figure,
    ) -> Self {
        let sample = case.trial.weather.sample();
        Self {
            lives,
            worst_fifth,
            wanted_reports: sample.wanted_reports_per_year(case.node()) * case.trial.years(),
            usual_silence_h: sample.usual_silence_h(case.node()),
            life_h: 24.0 * case.trial.days as f64,
            spares: case.node().demand.by_charge(),
            visits_per_year,
        }
    }

    /// Share of the reports sent, mean over all lives.
    pub(super) fn completeness(&self) -> Option<Share> {
        (self.wanted_reports > 0.0).then(|| Share::from_fraction(self.completeness_of(self.lives).found))
    }

    /// Silence that 95 % of the lives stay below.
    pub(super) fn longest_silence(&self) -> Option<Duration> {
        let mut hours = self.lives.iter().map(|life| self.silence_h(life)).collect::<Option<Vec<f64>>>()?;
        hours.sort_by(f64::total_cmp);
        (!hours.is_empty()).then(|| Duration::from_hours(stats::quantile(&hours, FRESH_LIVES)))
    }

    /// Each promise of a design file with its verdict, survival first.
    pub(super) fn keep(&self, promise: &Promise) -> Vec<JudgedPromise> {
        let without_outage = self.share(promise.without_outage, LifeOutcome::is_unbroken);
        let asked = promise.without_outage;
        let survival = Promised::WithoutOutage { asked, found: Share::from_fraction(without_outage.0) };
        let completeness = promise.completeness.map(|asked| {
            let worst = self.completeness_of(self.worst_fifth).found;
            let Some(found) = self.completeness() else {
                return (Promised::Completeness { asked, found: Share::ZERO }, Verdict::NotKnown);
            };
            let verdict = self.completeness_of(self.lives).reaches(asked.fraction(), worst);
            (Promised::Completeness { asked, found }, verdict)
        });
        let freshness = promise.freshness.map(|asked| {
            let least = asked.hours() * ROUNDING;
            let fresh = |life: &LifeOutcome| self.silence_h(life).is_some_and(|hours| hours <= least);
            let (_, verdict) = self.share(Share::from_fraction(FRESH_LIVES), fresh);
            match self.longest_silence() {
                Some(found) => (Promised::Freshness { asked, found }, verdict),
                None => (Promised::Freshness { asked, found: Duration::ZERO }, Verdict::NotKnown),
            }
        });
        let visits = promise.visits_per_year.map(|asked| {
            (
                Promised::Visits { asked, found: self.visits_per_year.found },
                self.visits_per_year.within(asked),
            )
        });
        let lived = |verdict| if self.lives.is_empty() { Verdict::NotKnown } else { verdict };
        [Some((survival, without_outage.1)), completeness, freshness, visits]
            .into_iter()
            .flatten()
            .map(|(promised, verdict)| JudgedPromise { promised, verdict: lived(verdict) })
            .collect()
    }

    /// The share of lives that are good, and whether it reaches what is asked.
    fn share(&self, asked: Share, good: impl Fn(&LifeOutcome) -> bool) -> (f64, Verdict) {
        let all = Figure::share(self.lives, &good);
        (all.found, all.reaches(asked.fraction(), Figure::share(self.worst_fifth, &good).found))
    }

    fn completeness_of(&self, lives: &[LifeOutcome]) -> Figure {
        let sent = |life: &LifeOutcome| match self.wanted_reports {
            wanted if wanted > 0.0 => (1.0 - life.missed_reports / wanted).max(0.0),
            _ => 1.0,
        };
        Figure::mean(&lives.iter().map(sent).collect::<Vec<_>>())
    }

    /// The longest silence of a life [h], at most all of it; around an outage lies an interval of the full battery, which
    /// lives do not count.
    fn silence_h(&self, life: &LifeOutcome) -> Option<f64> {
        let usual = self.usual_silence_h?;
        let hours = match f64::from(life.longest_silence_h) {
            seen if self.spares || seen <= 0.0 => seen.max(usual),
            seen => seen + usual,
        };
        Some(hours.min(self.life_h))
    }
}

/// Outages a year that do not end by themselves; of the lives with an outage a number is looked into.
pub(super) fn visits_per_year(case: &LifeInputs<'_>, lives: &[LifeOutcome]) -> Figure {
    let failed: Vec<&LifeOutcome> = lives.iter().filter(|life| !life.is_unbroken()).collect();
    if failed.is_empty() {
        return Figure::default();
    }
    let looked_into = failed.len().min(VISITED);
    let seen: Vec<f64> = on_threads(case.effort.threads, looked_into, |index| {
        f64::from(visits(case.trial, failed[index].life))
    });
    let lived = lives.len() as f64;
    let share = failed.len() as f64 / lived;
    let (mean, deviation) = stats::mean_and_deviation(&seen);
    // Both the visits of a failing life and the share of such lives are known from so many alone.
    let of_visits = share * deviation / (seen.len() as f64).sqrt();
    let of_lives = mean * (share * (1.0 - share) / lived).sqrt();
    let years = case.trial.years();
    Figure::about(share * mean / years, of_visits.hypot(of_lives) / years)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Twice the standard error to either side: of 100 values with a deviation of 1 the mean is known within 0.196.
    #[test]
    fn what_misses_the_promise_fails_and_what_reaches_it_within_noise_is_tight() {
        let values: Vec<f64> =
            (0..100).map(|index| 5.0 + if index % 2 == 0 { 0.995 } else { -0.995 }).collect();
        let figure = Figure::mean(&values);
        assert!((figure.high - 5.196).abs() < 1e-3 && (figure.low - 4.804).abs() < 1e-3, "{figure:?}");
        let verdicts = [4.7, 4.9, 5.1, 5.3].map(|asked| (figure.reaches(asked, 5.0), figure.within(asked)));
        assert_eq!(
            verdicts,
            [
                (Verdict::Holds, Verdict::Fails),
                (Verdict::Tight, Verdict::Fails),
                (Verdict::Fails, Verdict::Tight),
                (Verdict::Fails, Verdict::Holds)
            ]
        );
        assert_eq!(figure.reaches(4.7, 4.6), Verdict::Tight, "the worst fifth stays more than 0.05 below");
    }

    /// By hand: a node that reports every 6 hours and is out for 10 is silent for 16, from the last report before to the
    /// first after; one that never stops for 6. Nobody is silent for longer than the life.
    #[test]
    fn around_an_outage_lies_an_interval() {
        let life = |longest_silence_h| LifeOutcome { longest_silence_h, ..LifeOutcome::default() };
        let silence_h = |lives: &[LifeOutcome], life_h| {
            let evidence = Evidence {
                lives,
                worst_fifth: &[],
                wanted_reports: 100.0,
                usual_silence_h: Some(6.0),
                life_h,
                spares: false,
                visits_per_year: Figure::default(),
            };
            evidence.longest_silence().expect("it reports").hours()
        };
        assert!((silence_h(&[life(10.0)], 1000.0) - 16.0).abs() < 1e-9);
        assert!((silence_h(&[life(0.0)], 1000.0) - 6.0).abs() < 1e-9);
        assert!((silence_h(&[life(10.0)], 12.0) - 12.0).abs() < 1e-9);
    }
}
