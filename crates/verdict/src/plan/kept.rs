//! What was promised, and whether many lives keep it.

use design::node::Promise;
use design::quantity::{Duration, Share};

use super::lives::Stage;
use crate::finding::Verdict;
use forecast::life::ensemble::{self, LifeOutcome, Question};
use forecast::sky::hours::LifeWeather;
use forecast::stats;

/// Share of the lives that must stay below the silence that is promised.
const FRESH_LIVES: f64 = 0.95;
/// How far the worst fifth may miss a promise before doubt about the parts makes the verdict tight.
const WORST_FIFTH_SLACK: f64 = 0.05;
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
pub struct Kept {
    /// What was promised.
    pub promised: Promised,
    /// Whether it is kept.
    pub verdict: Verdict,
}

/// The verdict on all promises together: that of the worst.
pub(super) fn worst(kept: &[Kept]) -> Verdict {
    let given = |verdict: &Verdict| kept.iter().any(|one| one.verdict == *verdict);
    [Verdict::Fails, Verdict::NotKnown, Verdict::Tight].into_iter().find(given).unwrap_or(Verdict::Holds)
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

    /// Whether it reaches what is asked; in doubt if it may not, or if the lives with the worst unknowns stay far below.
    fn reaches(self, asked: f64, worst_fifth: f64) -> Verdict {
        if self.high < asked {
            Verdict::Fails
        } else if self.low < asked || worst_fifth < asked - WORST_FIFTH_SLACK {
            Verdict::Tight
        } else {
            Verdict::Holds
        }
    }

    /// Whether it stays within what is asked.
    fn within(self, asked: f64) -> Verdict {
        if self.low > asked {
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
    /// The longest silence of such a node [h].
    usual_silence_h: f64,
    /// Whether a low battery makes it report less often.
    spares: bool,
    visits_per_year: Figure,
}

impl<'a> Evidence<'a> {
    /// The lives of a question, and the fifth of them with the worst unknowns.
    pub(super) fn new<W: LifeWeather>(
        stage: &Stage<'_>,
        question: &Question<'_, W>,
        lives: &'a [LifeOutcome],
        worst_fifth: &'a [LifeOutcome],
    ) -> Self {
        Self {
            lives,
            worst_fifth,
            wanted_reports: stage.wanted_reports_per_year() * question.years as f64,
            usual_silence_h: stage.usual_silence_h(),
            spares: stage.node.demand.levels.len() > 1,
            visits_per_year: visits_per_year(question, lives),
        }
    }

    /// Share of the reports sent, mean over all lives.
    pub(super) fn completeness(&self) -> Share {
        Share::from_fraction(self.completeness_of(self.lives).found)
    }

    /// Silence that 95 % of the lives stay below.
    pub(super) fn longest_silence(&self) -> Duration {
        let mut hours: Vec<f64> = self.lives.iter().map(|life| self.silence_h(life)).collect();
        hours.sort_by(f64::total_cmp);
        Duration::from_hours(if hours.is_empty() { 0.0 } else { stats::quantile(&hours, FRESH_LIVES) })
    }

    /// Outages a year that do not end by themselves, mean over all lives.
    pub(super) fn visits_per_year(&self) -> f64 {
        self.visits_per_year.found
    }

    /// Each promise of a design file with its verdict, survival first.
    pub(super) fn keep(&self, promise: &Promise) -> Vec<Kept> {
        let without_outage = self.share(promise.without_outage, |life| life.outage_hours == 0);
        let asked = promise.without_outage;
        let survival = Promised::WithoutOutage { asked, found: Share::from_fraction(without_outage.0) };
        let completeness = promise.completeness.map(|asked| {
            let worst = self.completeness_of(self.worst_fifth).found;
            let verdict = self.completeness_of(self.lives).reaches(asked.fraction(), worst);
            (Promised::Completeness { asked, found: self.completeness() }, verdict)
        });
        let freshness = promise.freshness.map(|asked| {
            let fresh = |life: &LifeOutcome| self.silence_h(life) <= asked.hours() * ROUNDING;
            let (_, verdict) = self.share(Share::from_fraction(FRESH_LIVES), fresh);
            (Promised::Freshness { asked, found: self.longest_silence() }, verdict)
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
            .map(|(promised, verdict)| Kept { promised, verdict: lived(verdict) })
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

    /// The longest silence of a life [h]; around an outage lies an interval of the full battery, which lives do not count.
    fn silence_h(&self, life: &LifeOutcome) -> f64 {
        match f64::from(life.longest_silence_h) {
            seen if self.spares || seen <= 0.0 => seen.max(self.usual_silence_h),
            seen => seen + self.usual_silence_h,
        }
    }
}

/// Outages a year that do not end by themselves; of the lives with an outage a number is looked into.
fn visits_per_year<W: LifeWeather>(question: &Question<'_, W>, lives: &[LifeOutcome]) -> Figure {
    let failed = || lives.iter().filter(|life| life.outage_hours > 0);
    let seen: Vec<f64> =
        failed().take(VISITED).map(|life| f64::from(ensemble::visits(question, life.life))).collect();
    if seen.is_empty() {
        return Figure::default();
    }
    let lived = lives.len() as f64;
    let share = failed().count() as f64 / lived;
    let (mean, deviation) = stats::mean_and_deviation(&seen);
    // Both the visits of a failing life and the share of such lives are known from so many alone.
    let of_visits = share * deviation / (seen.len() as f64).sqrt();
    let of_lives = mean * (share * (1.0 - share) / lived).sqrt();
    let years = question.years as f64;
    Figure::about(share * mean / years, of_visits.hypot(of_lives) / years)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kept(verdicts: &[Verdict]) -> Vec<Kept> {
        let promised = Promised::Visits { asked: 0.0, found: 0.0 };
        verdicts.iter().map(|verdict| Kept { promised, verdict: *verdict }).collect()
    }

    #[test]
    fn one_broken_promise_breaks_the_whole() {
        assert_eq!(worst(&kept(&[Verdict::Holds, Verdict::Tight, Verdict::Fails])), Verdict::Fails);
        assert_eq!(worst(&kept(&[Verdict::Tight, Verdict::Holds])), Verdict::Tight);
        assert_eq!(worst(&kept(&[Verdict::NotKnown, Verdict::Tight])), Verdict::NotKnown);
        assert_eq!(worst(&kept(&[Verdict::Holds])), Verdict::Holds);
    }

    /// Twice the standard error to either side: of 100 values with a deviation of 1 the mean is known within 0.196.
    #[test]
    fn a_mean_fails_holds_or_is_in_doubt_by_its_own_noise() {
        let values: Vec<f64> =
            (0..100).map(|index| 5.0 + if index % 2 == 0 { 0.995 } else { -0.995 }).collect();
        let figure = Figure::mean(&values);
        assert!((figure.high - 5.196).abs() < 1e-3 && (figure.low - 4.804).abs() < 1e-3, "{figure:?}");
        let verdicts = [4.7, 5.0, 5.3].map(|asked| (figure.reaches(asked, 5.0), figure.within(asked)));
        assert_eq!(
            verdicts,
            [
                (Verdict::Holds, Verdict::Fails),
                (Verdict::Tight, Verdict::Tight),
                (Verdict::Fails, Verdict::Holds)
            ]
        );
        assert_eq!(figure.reaches(4.7, 4.6), Verdict::Tight, "the worst fifth stays more than 0.05 below");
    }
}
