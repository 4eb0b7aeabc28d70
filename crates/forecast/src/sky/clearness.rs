//! Daily clearness of one month after another: its distribution, its persistence and its good and bad years.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use crate::random::Stream;

/// Correlation of the day-to-day normal scores, for which the persistence of daily clearness is reproduced.
///
/// # References
/// Graham, Hollands & Unny 1988, *Solar Energy* 40, 83-92 (coefficient from memory).
pub const DAY_TO_DAY: f64 = 0.29;
/// Memory of the slow factor that makes good and bad winters \[days\]: months hang together, years hardly (own choice).
const SLOW_MEMORY_DAYS: f64 = 180.0;
const LEAST_CLEARNESS: f64 = 0.05;

const STEPS: usize = 160;
const LARGEST_SCORE: f32 = 4.0;
const STEPS_PER_SCORE: f32 = STEPS as f32 / (2.0 * LARGEST_SCORE);

/// The distribution of daily clearness in one month, as a function of a standard normal score.
#[derive(Clone, Debug)]
pub struct Clearness {
    by_score: [f32; STEPS + 1],
}

impl Clearness {
    /// The distribution with this mean by the formula of Bendt, Collares-Pereira and Rabl.
    ///
    /// The mean is held within 0.1 to 0.74, and met exactly there: the published fit is up to 0.5 % off its own mean.
    ///
    /// # References
    /// Bendt, Collares-Pereira & Rabl 1981, *Solar Energy* 27, 1-5, with Herzog's 1985 fit and Hollands & Huget's
    /// largest clearness; Duffie & Beckman, 5th edition, equations 2.9.4 to 2.9.6.
    #[must_use]
    pub fn with_mean(mean: f64) -> Self {
        let wanted = mean.clamp(0.1, 0.74);
        let mut parameter = wanted;
        for _ in 0..4 {
            parameter += wanted - Self::bendt_herzog(parameter).mean();
        }
        Self::bendt_herzog(parameter)
    }

    /// The published formula with its parameter, the mean clearness.
    #[must_use]
    pub fn bendt_herzog(mean: f64) -> Self {
        let law = BendtHerzog::new(mean);
        Self::from_quantile(|probability| law.quantile(probability))
    }

    /// The distribution with these quantiles: rows of (probability, clearness), both ascending.
    #[must_use]
    pub fn from_rows(rows: &[(f64, f64)]) -> Self {
        Self::from_quantile(|probability| {
            let above = rows.partition_point(|(at, _)| *at < probability);
            match (above.checked_sub(1).and_then(|index| rows.get(index)), rows.get(above)) {
                (Some((p0, k0)), Some((p1, k1))) => k0 + (probability - p0) / (p1 - p0) * (k1 - k0),
                (Some((_, clearness)), None) | (None, Some((_, clearness))) => *clearness,
                (None, None) => LEAST_CLEARNESS,
            }
        })
    }

    /// The same distribution, every day brighter or darker by what brings it to this mean.
    #[must_use]
    pub fn scaled_to(mut self, mean: f64) -> Self {
        let factor = (mean / self.mean()) as f32;
        self.by_score.iter_mut().for_each(|clearness| *clearness *= factor);
        self
    }

    fn from_quantile(quantile: impl Fn(f64) -> f64) -> Self {
        let score = |step: usize| f64::from(step as f32 / STEPS_PER_SCORE - LARGEST_SCORE);
        Self { by_score: std::array::from_fn(|step| quantile(normal_share_below(score(step))) as f32) }
    }

    /// The clearness at a standard normal score.
    #[inline]
    #[must_use]
    pub fn at(&self, score: f32) -> f32 {
        let place = ((score + LARGEST_SCORE) * STEPS_PER_SCORE).clamp(0.0, STEPS as f32);
        let index = (place as usize).min(STEPS - 1);
        let (low, high) = (self.by_score[index], self.by_score[index + 1]);
        low + (place - index as f32) * (high - low)
    }

    /// The mean.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.hermite()[0]
    }

    /// Standard deviation of the mean over so many days when the scores of days `k` apart correlate as given.
    #[must_use]
    pub fn sd_of_mean(&self, days: usize, correlation: impl Fn(usize) -> f64) -> f64 {
        sd_of_mean(&self.hermite(), days, correlation)
    }

    /// Coefficients in normalised Hermite polynomials: the covariance of two days is `sum c_n² rho^n` (Mehler).
    fn hermite(&self) -> [f64; 12] {
        const FINENESS: usize = 4000;
        let mut terms = [0.0; 12];
        let width = 2.0 * f64::from(LARGEST_SCORE) * 1.5 / FINENESS as f64;
        for step in 0..FINENESS {
            let z = (step as f64 + 0.5) * width - f64::from(LARGEST_SCORE) * 1.5;
            let weight =
                (-z * z / 2.0).exp() / std::f64::consts::TAU.sqrt() * width * f64::from(self.at(z as f32));
            let (mut before, mut now) = (0.0, 1.0);
            for (n, term) in terms.iter_mut().enumerate() {
                *term += weight * now;
                let degree = n as f64;
                (before, now) = (now, (z * now - degree.sqrt() * before) / (degree + 1.0).sqrt());
            }
        }
        terms
    }
}

/// The same from the coefficients in Hermite polynomials.
fn sd_of_mean(terms: &[f64; 12], days: usize, correlation: impl Fn(usize) -> f64) -> f64 {
    let covariance =
        |rho: f64| terms.iter().enumerate().skip(1).map(|(n, c)| c * c * rho.powi(n as i32)).sum::<f64>();
    let apart = (1..days).map(|k| 2.0 * (days - k) as f64 * covariance(correlation(k)));
    ((days as f64 * covariance(1.0) + apart.sum::<f64>()) / (days * days) as f64).sqrt()
}

struct BendtHerzog {
    least: f64,
    largest: f64,
    gamma: f64,
}

impl BendtHerzog {
    fn new(mean: f64) -> Self {
        let least = LEAST_CLEARNESS;
        let largest = 0.6313 + 0.267 * mean - 11.9 * (mean - 0.75).powi(8);
        let xi = (largest - least) / (largest - mean);
        let gamma = -1.498 + (1.184 * xi - 27.182 * (-1.5 * xi).exp()) / (largest - least);
        Self { least, largest, gamma }
    }

    fn quantile(&self, probability: f64) -> f64 {
        let (low, high) = ((self.gamma * self.least).exp(), (self.gamma * self.largest).exp());
        (low - probability * (low - high)).ln() / self.gamma
    }
}

/// How days and years hang together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Persistence {
    /// Correlation of the fast part of the score from one day to the next.
    day_to_day: f64,
    /// Share of the score's variance that the slow factor carries.
    slow_share: f64,
    /// Of the slow factor, what is left of it from one day to the next.
    slow_kept: f64,
    /// Standard deviations of what a day adds to the fast and to the slow part.
    day_noise: f64,
    slow_noise: f64,
    /// Weights of the two in the score.
    parts: [f64; 2],
}

impl Persistence {
    /// Day-to-day persistence alone: a year is then as good as the next but for its days.
    #[must_use]
    pub fn of_days(day_to_day: f64) -> Self {
        Self::of_parts(day_to_day, 0.0)
    }

    fn of_parts(day_to_day: f64, slow_share: f64) -> Self {
        let slow_kept = (-1.0 / SLOW_MEMORY_DAYS).exp();
        let noise = |kept: f64| (1.0 - kept * kept).sqrt();
        Self {
            day_to_day,
            slow_share,
            slow_kept,
            day_noise: noise(day_to_day),
            slow_noise: noise(slow_kept),
            parts: [(1.0 - slow_share).sqrt(), slow_share.sqrt()],
        }
    }

    /// Day-to-day persistence and as much of the slow factor as brings the standard deviation of this month's mean over
    /// the years to `relative_sd` of the mean; none if the days alone make as much.
    #[must_use]
    pub fn with_yearly_spread(day_to_day: f64, month: &Clearness, days: usize, relative_sd: f64) -> Self {
        let terms = month.hermite();
        let wanted = relative_sd * terms[0];
        let spread = |slow_share: f64| {
            let persistence = Self::of_parts(day_to_day, slow_share);
            sd_of_mean(&terms, days, |apart| persistence.correlation(apart))
        };
        let (mut low, mut high) = (0.0, 0.9);
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if spread(middle) < wanted { low = middle } else { high = middle }
        }
        Self::of_parts(day_to_day, low)
    }

    /// Correlation of the scores of two days so many days apart.
    #[must_use]
    pub fn correlation(&self, apart: usize) -> f64 {
        let fast = self.day_to_day.powi(apart as i32);
        let slow = (-(apart as f64) / SLOW_MEMORY_DAYS).exp();
        (1.0 - self.slow_share) * fast + self.slow_share * slow
    }

    /// Share of the score's variance that the slow factor carries.
    #[must_use]
    pub fn slow_share(&self) -> f64 {
        self.slow_share
    }
}

/// The normal scores of one life's days, one after the other.
#[derive(Clone, Copy, Debug, Default)]
pub struct Scores {
    fast: f64,
    slow: f64,
}

impl Scores {
    /// Scores in their stationary state.
    #[must_use]
    pub fn start(random: &mut Stream) -> Self {
        Self { fast: random.normal(), slow: random.normal() }
    }

    /// The score of the next day.
    #[inline]
    pub fn next(&mut self, persistence: &Persistence, random: &mut Stream) -> f32 {
        let Persistence { day_to_day, day_noise, slow_noise, slow_kept, parts, .. } = *persistence;
        self.fast = day_to_day * self.fast + day_noise * random.normal();
        if persistence.slow_share > 0.0 {
            self.slow = slow_kept * self.slow + slow_noise * random.normal();
        }
        (parts[0] * self.fast + parts[1] * self.slow) as f32
    }
}

/// The share of a standard normal below a score.
///
/// # References
/// Marsaglia 2004, *J. Stat. Softw.* 11(4), the Taylor series `cPhi`.
fn normal_share_below(score: f64) -> f64 {
    let (mut sum, mut term, mut n) = (score, score, 1.0);
    while f64::abs(term) > 1e-17 * f64::abs(sum) {
        n += 2.0;
        term *= score * score / n;
        sum += term;
    }
    0.5 + sum * (-0.5 * score * score).exp() / std::f64::consts::TAU.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Shares below five clearnesses and the mean, from the published formula (energy facts 3.4; Duffie & Beckman 5th
    /// edition, equations 2.9.4 to 2.9.6; numbers computed independently).
    #[test]
    fn the_distribution_is_the_published_one() {
        for (mean, shares, mean_of_law) in [
            (0.3, [0.1347, 0.3652, 0.5520, 0.7034, 0.8262], 0.3008),
            (0.4, [0.0688, 0.2083, 0.3504, 0.4950, 0.6424], 0.3998),
            (0.5, [0.0290, 0.0982, 0.1854, 0.2952, 0.4337], 0.5016),
            (0.6, [0.0089, 0.0343, 0.0744, 0.1378, 0.2379], 0.5987),
            (0.7, [0.0008, 0.0037, 0.0107, 0.0270, 0.0652], 0.7019),
        ] {
            let law = BendtHerzog::new(mean);
            for (index, share) in shares.into_iter().enumerate() {
                let clearness = 0.1 * (index + 1) as f64;
                assert!((law.quantile(share) - clearness).abs() < 0.004, "{mean} {share}");
            }
            assert!((Clearness::bendt_herzog(mean).mean() - mean_of_law).abs() < 3e-4, "{mean}");
            assert!((Clearness::with_mean(mean).mean() / mean - 1.0).abs() < 1e-4, "{mean}");
        }
    }

    fn december_means(persistence: Persistence, month: &Clearness, years: usize) -> Vec<f64> {
        let mut random = Stream::new(3, 0);
        let mut scores = Scores::start(&mut random);
        (0..years)
            .map(|_| {
                let december: f64 =
                    (0..31).map(|_| f64::from(month.at(scores.next(&persistence, &mut random)))).sum();
                for _ in 31..365 {
                    scores.next(&persistence, &mut random);
                }
                december / 31.0
            })
            .collect()
    }

    fn mean_and_sd(values: &[f64]) -> (f64, f64) {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let variance = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / values.len() as f64;
        (mean, variance.sqrt())
    }

    /// The 17 % are measured (24 years of daily records in the cloudy temperate zone); days alone make 13 to 15 %.
    #[test]
    fn december_means_spread_over_the_years_as_measured() {
        for mean in [0.25, 0.35] {
            let month = Clearness::with_mean(mean);
            let days_alone = month.sd_of_mean(31, |apart| DAY_TO_DAY.powi(apart as i32)) / mean;
            assert!((0.125..0.155).contains(&days_alone), "{days_alone}");
            let persistence = Persistence::with_yearly_spread(DAY_TO_DAY, &month, 31, 0.17);
            let (found_mean, sd) = mean_and_sd(&december_means(persistence, &month, 20_000));
            assert!((sd / mean - 0.17).abs() < 0.005, "{sd}");
            assert!((found_mean / mean - 1.0).abs() < 0.01, "{found_mean}");
        }
    }

    /// Lag-1 of daily clearness lies between 0.2 and 0.35 (Graham, Hollands & Unny 1988; Aguiar's matrices give 0.2-0.39).
    #[test]
    fn dark_days_follow_dark_days() {
        let month = Clearness::with_mean(0.43);
        let persistence = Persistence::of_days(DAY_TO_DAY);
        let mut random = Stream::new(5, 0);
        let mut scores = Scores::start(&mut random);
        let days: Vec<f64> =
            (0..200_000).map(|_| f64::from(month.at(scores.next(&persistence, &mut random)))).collect();
        let (mean, sd) = mean_and_sd(&days);
        let lagged = days.windows(2).map(|pair| (pair[0] - mean) * (pair[1] - mean)).sum::<f64>();
        let lag_1 = lagged / (days.len() - 1) as f64 / (sd * sd);
        assert!((0.2..0.35).contains(&lag_1), "{lag_1}");
    }
}
