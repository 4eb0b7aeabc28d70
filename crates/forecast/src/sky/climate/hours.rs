//! The climate that hours of weather show.

use design::quantity::Angle;

use super::{Climate, MonthClimate, TWILIGHT_WH_M2};
use crate::sky::clearness::DAY_TO_DAY;
use crate::sky::monthly::extraterrestrial_day_wh_m2;
use crate::sky::weather::WeatherHours;
use crate::stats::quantile;

/// Probabilities at which the distribution of daily clearness is kept.
const PROBABILITIES: [f64; 13] = [0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0];
/// Relative standard deviation of the measurement itself: a fair pyranometer kept clean (from memory).
const MEASURED_SUN_DOUBT: f64 = 0.05;
/// Relative standard deviation of a month's mean from year to year beyond what its days make: 17 % in all where
/// days alone make 13 to 15 % (24 measured years of December in the cloudy temperate zone).
const BETWEEN_YEARS: f64 = 0.1;

/// One day of hours.
struct WeatherDay {
    month: usize,
    day_of_month: f64,
    ghi_wh_m2: f64,
    outside_wh_m2: f64,
    air_celsius: f64,
    swing_k: f64,
}

impl Climate {
    /// The climate that hours of weather show: means, spreads and daily distributions of their months.
    ///
    /// `sun_doubt` says how far so few years may be off the long mean; a typical year, chosen for its means, is nearer
    /// to it than said.
    pub fn from_hours(weather: &WeatherHours, latitude: Angle) -> Self {
        let days = days(weather, latitude);
        let years = days.len() as f64 / 365.0;
        let months = std::array::from_fn(|index| {
            let own: Vec<&WeatherDay> = days.iter().filter(|day| day.month == index + 1).collect();
            month(&own, years.max(1.0))
        });
        Self { months, latitude, source: format!("{}, {:.0} hours", weather.title, days.len() as f64 * 24.0) }
    }
}

fn days(weather: &WeatherHours, latitude: Angle) -> Vec<WeatherDay> {
    let dates: Vec<(u8, u8, u8)> = weather.dates().step_by(24).collect();
    let hours = weather.ghi_w_m2.chunks_exact(24).zip(weather.air_celsius.chunks_exact(24));
    dates
        .into_iter()
        .zip(hours)
        .map(|((month, day, _), (ghi, air))| {
            let warmest = air.iter().copied().fold(f32::NEG_INFINITY, f32::max);
            let coldest = air.iter().copied().fold(f32::INFINITY, f32::min);
            WeatherDay {
                month: usize::from(month),
                day_of_month: f64::from(day),
                ghi_wh_m2: ghi.iter().map(|hour| f64::from(*hour)).sum(),
                outside_wh_m2: extraterrestrial_day_wh_m2(latitude, month, day),
                air_celsius: air.iter().map(|hour| f64::from(*hour)).sum::<f64>() / 24.0,
                swing_k: f64::from(warmest - coldest),
            }
        })
        .collect()
}

fn month(days: &[&WeatherDay], years: f64) -> MonthClimate {
    let ghi_wh_m2 = mean(days, |day| day.ghi_wh_m2);
    let lit: Vec<f64> = days
        .iter()
        .filter(|day| day.outside_wh_m2 > TWILIGHT_WH_M2)
        .map(|day| day.ghi_wh_m2 / day.outside_wh_m2)
        .collect();
    let middle = lit.iter().sum::<f64>() / lit.len().max(1) as f64;
    let variance = lit.iter().map(|one| (one - middle).powi(2)).sum::<f64>() / lit.len().max(1) as f64;
    MonthClimate {
        ghi_wh_m2,
        clearness_rows: rows(lit, middle),
        air_celsius: mean(days, |day| day.air_celsius),
        daily_swing_k: mean(days, |day| day.swing_k),
        day_sd_k: spread_about_course(days),
        sun_doubt: sun_doubt(variance.sqrt() / middle.max(1e-9), days.len() as f64 / years, years),
        precipitation_mm_day: None,
    }
}

fn mean(days: &[&WeatherDay], value: impl Fn(&WeatherDay) -> f64) -> f64 {
    days.iter().map(|day| value(day)).sum::<f64>() / days.len().max(1) as f64
}

/// Quantiles of daily clearness, scaled to the mean that straight lines between them would miss.
fn rows(mut clearness: Vec<f64>, mean: f64) -> Option<Vec<(f64, f64)>> {
    if clearness.is_empty() || mean <= 0.0 {
        return None;
    }
    clearness.sort_by(f64::total_cmp);
    let raw = PROBABILITIES.map(|share| (share, quantile(&clearness, share)));
    let area: f64 =
        raw.windows(2).map(|pair| f64::midpoint(pair[0].1, pair[1].1) * (pair[1].0 - pair[0].0)).sum();
    Some(raw.into_iter().map(|(share, value)| (share, value * mean / area)).collect())
}

/// Standard deviation of daily means about the straight line through the month.
fn spread_about_course(days: &[&WeatherDay]) -> f64 {
    let (middle, level) = (mean(days, |day| day.day_of_month), mean(days, |day| day.air_celsius));
    let along = mean(days, |day| (day.day_of_month - middle) * (day.air_celsius - level));
    let slope = along / mean(days, |day| (day.day_of_month - middle).powi(2)).max(1e-9);
    mean(days, |day| (day.air_celsius - level - slope * (day.day_of_month - middle)).powi(2)).sqrt()
}

/// Measurement, the days that so few years happened to have, and the years they happened to be.
fn sun_doubt(relative_sd_of_days: f64, days_per_month: f64, years: f64) -> f64 {
    let persistence = (1.0 + DAY_TO_DAY) / (1.0 - DAY_TO_DAY);
    let days = relative_sd_of_days.powi(2) * persistence / days_per_month.max(1.0);
    (MEASURED_SUN_DOUBT.powi(2) + (days + BETWEEN_YEARS.powi(2)) / years).sqrt()
}
