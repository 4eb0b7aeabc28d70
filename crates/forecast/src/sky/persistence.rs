//! How the skies of one day, month and winter hang together.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use crate::random::Stream;

/// Of the memory of the sky, what is left of it from one day to the next: it fades slowly after a first steep fall.
const FADES_TO: f64 = 0.55;
/// Share of a score's variance that lasts for months.
const SLOW_SHARE: f64 = 0.015;
/// Of a slow part, what is left of it from one month to the next.
const SLOW_KEPT: f64 = 0.845;

/// Memory of the sky, in normal scores: ARMA(1, 1) by the day, and a slow part by the month.
///
/// # References
/// Own least squares over 69 places (`data/climate/README.md`, "The law of days"); the form after Graham, Hollands &
/// Unny 1988, *Solar Energy* 40, 83-92 (from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Persistence {
    /// Correlation of the fast part over one day.
    next_day: f64,
    /// And what is left of that with each day more.
    fades_to: f64,
    /// What of a day's news comes on that day and on the next.
    news: [f64; 2],
    slow_share: f64,
    /// Weights of the fast and of the slow part in the score.
    parts: [f64; 2],
}

impl Persistence {
    /// The memory of the sky under a sun of this height at noon (its sine): a low winter sky changes from day to day.
    #[must_use]
    pub fn of_sky(noon_sine: f64) -> Self {
        Self::new(0.22 + 0.20 * noon_sine.max(0.0), FADES_TO, SLOW_SHARE)
    }

    /// Memory that fades by the same factor each day, and nothing slow: for reference tables that are made so.
    #[must_use]
    pub fn of_days(day_to_day: f64) -> Self {
        Self::new(day_to_day, day_to_day, 0.0)
    }

    fn new(next_day: f64, fades_to: f64, slow_share: f64) -> Self {
        // An ARMA(1, 1) correlates over one day by (1 + f t)(f + t) / (1 + 2 f t + t²): the root within -1 and 1.
        let (square, linear) = (fades_to - next_day, 1.0 + fades_to * fades_to - 2.0 * fades_to * next_day);
        let echo = if square.abs() < 1e-12 {
            0.0
        } else {
            ((linear * linear - 4.0 * square * square).sqrt() - linear) / (2.0 * square)
        };
        let scale = ((1.0 - fades_to * fades_to) / (1.0 + 2.0 * fades_to * echo + echo * echo)).sqrt();
        Self {
            next_day,
            fades_to,
            news: [scale, scale * echo],
            slow_share,
            parts: [(1.0 - slow_share).sqrt(), slow_share.sqrt()],
        }
    }

    /// Correlation of the scores of two days of one month, so many days apart.
    #[must_use]
    pub fn correlation(&self, apart: usize) -> f64 {
        let fast = match apart {
            0 => 1.0,
            _ => self.next_day * self.fades_to.powi(apart as i32 - 1),
        };
        (1.0 - self.slow_share) * fast + self.slow_share
    }

    /// Correlation of the fast part over one day, and what is left of that with each day more.
    pub(crate) fn fast(&self) -> (f64, f64) {
        (self.next_day, self.fades_to)
    }
}

/// The normal scores of one life's days, one after the other.
#[derive(Clone, Copy, Debug, Default)]
pub struct Scores {
    fast: f64,
    news: f64,
    slow: f64,
}

impl Scores {
    /// Scores in their stationary state.
    #[must_use]
    pub fn start(persistence: &Persistence, random: &mut Stream) -> Self {
        let news = random.normal();
        let [own, _] = persistence.news;
        Self { fast: own * news + (1.0 - own * own).sqrt() * random.normal(), news, slow: random.normal() }
    }

    /// All that they remember: of days, of the last day, of months.
    pub(crate) fn figures(&self) -> [f64; 3] {
        [self.fast, self.news, self.slow]
    }

    /// Scores that remember this.
    pub(crate) fn of_figures([fast, news, slow]: [f64; 3]) -> Self {
        Self { fast, news, slow }
    }

    /// The score of the day itself, without its season.
    pub(crate) fn fast(&self) -> f64 {
        self.fast
    }

    /// A month begins.
    pub fn turn_month(&mut self, random: &mut Stream) {
        self.slow = next_month(self.slow, random);
    }

    /// The score of the next day.
    #[inline]
    pub fn next(&mut self, persistence: &Persistence, random: &mut Stream) -> f32 {
        let Persistence { fades_to, news: [own, echo], parts, .. } = *persistence;
        let news = random.normal();
        self.fast = fades_to * self.fast + own * news + echo * self.news;
        self.news = news;
        (parts[0] * self.fast + parts[1] * self.slow) as f32
    }
}

/// A slow score in the month after.
pub(crate) fn next_month(slow: f64, random: &mut Stream) -> f64 {
    SLOW_KEPT * slow + (1.0 - SLOW_KEPT * SLOW_KEPT).sqrt() * random.normal()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scores(persistence: &Persistence, days: usize) -> Vec<f64> {
        let mut random = Stream::new(5, 0);
        let mut scores = Scores::start(persistence, &mut random);
        (0..days)
            .map(|day| {
                if day % 30 == 0 {
                    scores.turn_month(&mut random);
                }
                f64::from(scores.next(persistence, &mut random))
            })
            .collect()
    }

    fn lag(values: &[f64], apart: usize) -> f64 {
        let pairs = values.iter().zip(&values[apart..]);
        pairs.map(|(one, other)| one * other).sum::<f64>() / values.iter().map(|one| one * one).sum::<f64>()
    }

    /// A day hangs on the one before by .22 in polar night and .42 under a sun in the zenith, and on earlier ones by .55 of
    /// that for each day more; .015 of it lasts.
    #[test]
    fn scores_keep_the_memory_of_the_law() {
        for (sine, next_day) in [(0.0, 0.22), (0.5, 0.32), (1.0, 0.42)] {
            let persistence = Persistence::of_sky(sine);
            let found = scores(&persistence, 400_000);
            let variance =
                lag(&found, 0) * found.iter().map(|one| one * one).sum::<f64>() / found.len() as f64;
            assert!((variance - 1.0).abs() < 0.02, "{sine} {variance}");
            for (apart, kept) in [(1, 1.0), (2, 0.55), (3, 0.3025)] {
                let wanted = 0.985 * next_day * kept + 0.015;
                assert!((lag(&found, apart) - wanted).abs() < 0.01, "{sine} {apart}");
                assert!((persistence.correlation(apart) - wanted).abs() < 1e-12);
            }
        }
    }

    /// AR(1) for reference tables: each day by the same share of the one before.
    #[test]
    fn a_single_share_fades_by_itself() {
        let found = scores(&Persistence::of_days(0.29), 400_000);
        for apart in 1..4 {
            assert!((lag(&found, apart) - 0.29_f64.powi(apart as i32)).abs() < 0.01);
        }
    }
}
