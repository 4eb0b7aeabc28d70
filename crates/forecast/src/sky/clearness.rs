//! Daily clearness: how it is spread within a month.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use crate::random::normal_quantile;

/// No day is darker.
const LEAST_CLEARNESS: f64 = 0.04;
/// Months are held so far above it: nearer, nothing is left to vary (own choice).
const LEAST_MEAN: f64 = 0.05;
/// The largest steepness: days are then either dark or bright.
const STEEPEST: f64 = 12.0;
/// Quantiles on which mean and variance are reckoned.
const QUANTILES: usize = 400;
/// Towards the steepness: shares up to one half are met to 0.01 %.
const ROUNDS: usize = 16;
/// Steps towards the mean at each steepness.
const NEWTON_STEPS: usize = 4;

const STEPS: usize = 160;
const LARGEST_SCORE: f32 = 4.0;
const STEPS_PER_SCORE: f32 = STEPS as f32 / (2.0 * LARGEST_SCORE);

/// How uneven the days of a month are: one number beside their mean and bounds.
///
/// # References
/// Own least squares over 69 places between 23 S and 62 N (`data/climate/README.md`, "The law of days").
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unevenness {
    /// Variance of daily clearness as a share of the most that mean and bounds allow: 0 if all days are alike, 1 if each is
    /// either the darkest or the brightest.
    pub share: f64,
    /// The most clearness a day may have.
    pub largest: f64,
}

impl Unevenness {
    /// Where nothing of a place is known, and in polar night.
    pub const USUAL_SHARE: f64 = 0.23;

    /// So uneven days about a mean clearness, under a sun of this height at noon (its sine, in the middle of the month) at
    /// this elevation \[km\].
    #[must_use]
    pub fn new(share: f64, mean: f64, noon_sine: f64, elevation_km: f64) -> Self {
        let thin_air = 0.66 + 0.09 * noon_sine.max(0.0) + 0.01 * elevation_km.max(0.0);
        Self { share, largest: thin_air.max(mean + 0.06) }
    }

    /// The share that days of this mean and variance have.
    #[must_use]
    pub fn of_days(mean: f64, variance: f64, noon_sine: f64, elevation_km: f64) -> Self {
        let bounds = Self::new(0.0, mean, noon_sine, elevation_km);
        Self { share: (variance / bounds.most_variance(mean)).clamp(0.005, 0.9), ..bounds }
    }

    /// Share of the way from the darkest to the brightest day.
    fn place(&self, mean: f64) -> f64 {
        (mean.max(LEAST_MEAN) - LEAST_CLEARNESS) / (self.largest - LEAST_CLEARNESS)
    }

    fn most_variance(&self, mean: f64) -> f64 {
        let place = self.place(mean);
        place * (1.0 - place) * (self.largest - LEAST_CLEARNESS).powi(2)
    }
}

/// Mean, standard deviation and mean slope of a logistic curve over these scores.
fn moments(scores: &[f64; QUANTILES], middle: f64, steepness: f64) -> [f64; 3] {
    let (mut sum, mut squares) = (0.0, 0.0);
    for score in scores {
        let place = logistic(middle + steepness * score);
        sum += place;
        squares += place * place;
    }
    let (mean, square) = (sum / QUANTILES as f64, squares / QUANTILES as f64);
    [mean, (square - mean * mean).max(1e-12).sqrt(), mean - square]
}

/// The distribution of daily clearness in one month, as a function of a standard normal score.
#[derive(Clone, Debug)]
pub struct Clearness {
    by_score: [f32; STEPS + 1],
}

impl Clearness {
    /// Days of this mean clearness that are so uneven: a logistic curve between the darkest and the brightest day over a
    /// normal score, whose middle and steepness meet mean and variance.
    #[must_use]
    pub fn of_days(mean: f64, unevenness: &Unevenness) -> Self {
        let (wanted, width) = (unevenness.place(mean), unevenness.largest - LEAST_CLEARNESS);
        let wanted_sd = (unevenness.share * wanted * (1.0 - wanted)).sqrt();
        let scores: [f64; QUANTILES] =
            std::array::from_fn(|index| normal_quantile((index as f64 + 0.5) / QUANTILES as f64));
        let (mut middle, mut steepness) = (logit(wanted), 1.0);
        for _ in 0..ROUNDS {
            for _ in 0..NEWTON_STEPS {
                let [mean, _, slope] = moments(&scores, middle, steepness);
                middle -= ((mean - wanted) / slope.max(1e-6)).clamp(-2.0, 2.0);
            }
            let [_, deviation, _] = moments(&scores, middle, steepness);
            steepness = (steepness * (wanted_sd / deviation).clamp(0.67, 1.5)).min(STEEPEST);
        }
        let curve = Self::from_score(|score| LEAST_CLEARNESS + width * logistic(middle + steepness * score));
        curve.scaled_to(mean)
    }

    /// The published formula with its parameter, the mean clearness; it is up to 0.5 % off its own mean.
    ///
    /// # References
    /// Bendt, Collares-Pereira & Rabl 1981, *Solar Energy* 27, 1-5, with Herzog's 1985 fit and Hollands & Huget's
    /// largest clearness; Duffie & Beckman, 5th edition, equations 2.9.4 to 2.9.6.
    #[must_use]
    pub fn bendt_herzog(mean: f64) -> Self {
        let law = BendtHerzog::new(mean);
        Self::from_score(|score| law.quantile(normal_share_below(score)))
    }

    fn from_score(clearness: impl Fn(f64) -> f64) -> Self {
        let score = |step: usize| f64::from(step as f32 / STEPS_PER_SCORE - LARGEST_SCORE);
        Self { by_score: std::array::from_fn(|step| clearness(score(step)) as f32) }
    }

    /// The same distribution, every day brighter or darker by what brings it to this mean.
    fn scaled_to(mut self, mean: f64) -> Self {
        let factor = (mean / self.mean()) as f32;
        self.by_score.iter_mut().for_each(|clearness| *clearness *= factor);
        self
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

    /// Share of days below a clearness.
    #[must_use]
    pub fn share_below(&self, clearness: f64) -> f64 {
        let (mut low, mut high) = (-LARGEST_SCORE, LARGEST_SCORE);
        for _ in 0..30 {
            let middle = 0.5 * (low + high);
            if f64::from(self.at(middle)) < clearness { low = middle } else { high = middle }
        }
        normal_share_below(f64::from(low))
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
        let least = 0.05;
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

/// Logarithm of a share over what is left of one.
pub(crate) fn logit(share: f64) -> f64 {
    (share / (1.0 - share)).ln()
}

/// The share of which this is the [`logit`].
pub(crate) fn logistic(value: f64) -> f64 {
    1.0 / (1.0 + (-value).exp())
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

    /// Shares below five clearnesses and the mean, from the published formula (Duffie & Beckman 5th edition, equations 2.9.4
    /// to 2.9.6; numbers computed independently).
    #[test]
    fn the_published_distribution_is_met() {
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
        }
    }

    /// Mean to 0.01 %, deviation to 2 %, and to 6 % where the mean is next to a bound: the variance is the asked share of `p (1 - p) (largest - 0.04)²` with the mean at the
    /// share `p` of the way, which no days between these bounds can exceed.
    #[test]
    fn days_have_the_mean_and_the_variance_that_are_asked() {
        for mean in [0.08, 0.2, 0.35, 0.5, 0.65, 0.78] {
            for share in [0.04, 0.15, 0.23, 0.35, 0.46] {
                for (sine, km) in [(0.0, 0.0), (0.3, 0.1), (1.0, 4.0)] {
                    let unevenness = Unevenness::new(share, mean, sine, km);
                    let month = Clearness::of_days(mean, &unevenness);
                    let way = (mean - 0.04) / (unevenness.largest - 0.04);
                    let wanted = (share * way * (1.0 - way)).sqrt() * (unevenness.largest - 0.04);
                    let found = month.sd_of_mean(1, |_| 1.0);
                    assert!((month.mean() / mean - 1.0).abs() < 1e-4, "{mean} {share}");
                    let within = if (0.1..0.75).contains(&mean) { 0.02 } else { 0.06 };
                    assert!((found / wanted - 1.0).abs() < within, "{mean} {share} {sine}: {found} {wanted}");
                    assert!(month.by_score.windows(2).all(|pair| pair[0] <= pair[1]));
                }
            }
        }
    }

    /// `.66 + .09 s + .01 km`, and `.06` above a mean that is too bright for it.
    #[test]
    fn the_brightest_day_is_that_of_the_law() {
        let largest = |mean, sine, km| Unevenness::new(0.2, mean, sine, km).largest;
        assert!((largest(0.4, 0.5, 2.0) - 0.725).abs() < 1e-12);
        assert!((largest(0.74, 0.5, 0.0) - 0.80).abs() < 1e-12);
    }
}
