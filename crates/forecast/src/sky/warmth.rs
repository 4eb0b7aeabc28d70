//! How daily mean temperatures stray from their course: how far, for how long, with which skies, and to which side.
//!
//! # References
//! Own least squares over 36 records of air between 34 S and 69 N (`data/climate/README.md`, "The law of days"); the form
//! after Richardson 1981, *Water Resources Research* 17, 182-190, and Cornish & Fisher 1938 (from memory).

use std::f64::consts::TAU;

use super::persistence::Persistence;

/// Share of the variance that lasts for months.
const SLOW_SHARE: f64 = 0.05;
/// Skewness by the month's mean temperature [°C], straight between: frost leaves a long tail downwards.
const SKEWNESS: [(f64, f64); 6] =
    [(-18.0, 0.10), (-10.0, -0.32), (0.0, -0.34), (7.0, 0.04), (14.0, 0.20), (26.0, -0.48)];
/// Beyond, the curve would fold back.
const MOST_SKEWNESS: f64 = 0.9;

/// What a month's temperatures hang on.
#[derive(Clone, Copy, Debug)]
pub(super) struct MonthOfAir {
    /// Degrees from the equator; of either sign.
    pub(super) latitude_deg: f64,
    /// 1 in the middle of winter, -1 in that of summer.
    pub(super) winter: f64,
    /// Sine of the sun's height at noon.
    pub(super) noon_sine: f64,
    /// Mean clearness.
    pub(super) clearness: f64,
    /// Mean temperature [°C].
    pub(super) celsius: f64,
}

/// How one month's temperatures follow each other and the sky.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Warmth {
    /// What of yesterday's score stays, what today's sky adds, and what else.
    kept: f64,
    by_sky: f64,
    noise: f64,
    /// Correlation with the sky of the same day.
    with_sky: f64,
    /// Curvature of the temperature over the score, and what keeps its deviation at one.
    curvature: f64,
    scale: f64,
}

impl Warmth {
    pub(super) fn new(month: &MonthOfAir, sky: &Persistence) -> Self {
        let fast_share = 1.0 - SLOW_SHARE;
        let next_day = 0.579 + 0.167 * month.latitude_deg.abs() / 50.0 + 0.039 * month.winter;
        let kept = (next_day - SLOW_SHARE) / fast_share;
        // Clear days are cold in winter and warm in summer and in the wet tropics.
        let with_sky = (-0.15 + 1.39 * month.noon_sine - 1.81 * month.clearness).clamp(-0.5, 0.6);
        let (sky_next_day, sky_fades_to) = sky.fast();
        let carried = kept * sky_next_day / (1.0 - sky_fades_to * kept);
        let by_sky = with_sky / fast_share.sqrt() / (1.0 + carried);
        let noise = (1.0 - kept * kept - by_sky * by_sky * (1.0 + 2.0 * carried)).sqrt();
        let curvature = curvature_of(skewness(month.celsius));
        Self {
            kept,
            by_sky,
            noise,
            with_sky: with_sky / fast_share.sqrt(),
            curvature,
            scale: 1.0 / (1.0 + 2.0 * curvature * curvature).sqrt(),
        }
    }

    /// A score of warmth under this sky, whatever was before.
    pub(super) fn start(&self, sky: f64, normal: f64) -> f64 {
        self.with_sky * sky + (1.0 - self.with_sky * self.with_sky).sqrt() * normal
    }

    /// The next day's score of warmth.
    #[inline]
    pub(super) fn next(&self, score: f64, sky: f64, normal: f64) -> f64 {
        self.kept * score + self.by_sky * sky + self.noise * normal
    }

    /// Standard deviations by which a day is off its course.
    #[inline]
    pub(super) fn deviation(&self, score: f64) -> f64 {
        (score + self.curvature * (score * score - 1.0)) * self.scale
    }
}

/// A day's score and that of its season, as one standard normal score.
#[inline]
pub(super) fn together(score: f64, slow: f64) -> f64 {
    (1.0 - SLOW_SHARE).sqrt() * score + SLOW_SHARE.sqrt() * slow
}

/// The day's own score where it makes this one together with that of its season.
pub(super) fn alone(both: f64, slow: f64) -> f64 {
    (both - SLOW_SHARE.sqrt() * slow) / (1.0 - SLOW_SHARE).sqrt()
}

/// How deep in winter the middle of a month is: 1 in January north of the equator, in July south of it.
pub(super) fn winter(latitude_deg: f64, month: usize) -> f64 {
    let coldest = if latitude_deg < 0.0 { 6.0 } else { 0.0 };
    (TAU * (month as f64 - coldest) / 12.0).cos()
}

fn skewness(month_celsius: f64) -> f64 {
    let above =
        SKEWNESS.partition_point(|(celsius, _)| *celsius < month_celsius).clamp(1, SKEWNESS.len() - 1);
    let ((t0, s0), (t1, s1)) = (SKEWNESS[above - 1], SKEWNESS[above]);
    let share = ((month_celsius - t0) / (t1 - t0)).clamp(0.0, 1.0);
    s0 + share * (s1 - s0)
}

/// The curvature of `u + b (u² - 1)` over a normal `u` that gives this skewness.
fn curvature_of(skewness: f64) -> f64 {
    let wanted = skewness.clamp(-MOST_SKEWNESS, MOST_SKEWNESS);
    let of = |b: f64| (6.0 * b + 8.0 * b.powi(3)) / (1.0 + 2.0 * b * b).powf(1.5);
    let (mut low, mut high) = (-0.3, 0.3);
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if of(middle) < wanted { low = middle } else { high = middle }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Stream;

    /// Skewness of the curve over a normal score, by its own moments: mean 0, deviation 1.
    #[test]
    fn temperatures_are_skewed_as_the_month_asks() {
        for (celsius, wanted) in
            [(-25.0, 0.10), (-10.0, -0.32), (-5.0, -0.33), (7.0, 0.04), (20.0, -0.14), (30.0, -0.48)]
        {
            let air = MonthOfAir { latitude_deg: 50.0, winter: 0.0, noon_sine: 0.5, clearness: 0.4, celsius };
            let warmth = Warmth::new(&air, &Persistence::of_sky(0.5));
            let mut random = Stream::new(1, 1);
            let days: Vec<f64> = (0..400_000).map(|_| warmth.deviation(random.normal())).collect();
            let moment = |power: i32| days.iter().map(|day| day.powi(power)).sum::<f64>() / days.len() as f64;
            assert!(moment(1).abs() < 0.01 && (moment(2) - 1.0).abs() < 0.01, "{celsius}");
            assert!((moment(3) - wanted).abs() < 0.03, "{celsius}: {}", moment(3));
        }
    }
}
