//! The climate that hours of weather show.

use design::quantity::Angle;

use super::{
    Climate, DAY_SD_DOUBT, MONTH_DAYS, MonthClimate, TWILIGHT_WH_M2, month_outside_wh_m2, noon_sine, ratio,
};
use crate::sky::clearness::{Clearness, Unevenness, logistic, logit};
use crate::sky::monthly::extraterrestrial_day_wh_m2;
use crate::sky::persistence::Persistence;
use crate::sky::weather::WeatherHours;
use crate::stats::mean_and_deviation;

/// Relative standard deviation of the measurement itself: a fair pyranometer kept clean (from memory).
const MEASURED_SUN_DOUBT: f64 = 0.05;
/// Daily means stray within one year's month by this share of what they stray about the climate: 0.75 to 0.88 in 14 long
/// records (`data/climate/README.md`, "The law of days").
const WITHIN_ONE_YEAR: f64 = 0.80;
/// How far months beside one count for its unevenness: thirty days alone say little.
const FIVE_MONTHS: [f64; 5] = [1.0, 2.0, 3.0, 2.0, 1.0];

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
    /// The climate that hours of weather show: means, spreads and unevenness of their months.
    ///
    /// `sun_doubt` says how far so few years may be off the long mean; a typical year, chosen for its means, is nearer
    /// to it than said.
    pub fn from_hours(weather: &WeatherHours, latitude: Angle) -> Self {
        let days = days(weather, latitude);
        let years = (days.len() as f64 / 365.0).max(1.0);
        let elevation_km = weather.place.as_ref().map_or(0.0, |place| place.elevation.metres() / 1000.0);
        let own: [Vec<&WeatherDay>; 12] =
            std::array::from_fn(|index| days.iter().filter(|day| day.month == index + 1).collect());
        let unevenness = unevenness(&own, latitude, elevation_km);
        let months =
            std::array::from_fn(|index| month(&own[index], unevenness[index], (latitude, index), years));
        let source = format!("{}, {:.0} hours", weather.title, days.len() as f64 * 24.0);
        Self { months, latitude, day_sd_doubt: DAY_SD_DOUBT, source }
    }

    /// Relative standard deviation of the mean sun of the darkest month from year to year, that its days make.
    pub fn darkest_month_spread(&self) -> f64 {
        let clearness =
            |month: usize| ratio(self.months[month].ghi_wh_m2, month_outside_wh_m2(self.latitude, month));
        let lit = (0..12).filter(|month| clearness(*month) > 0.0);
        let darkest =
            lit.min_by(|one, other| self.months[*one].ghi_wh_m2.total_cmp(&self.months[*other].ghi_wh_m2));
        darkest.map_or(0.0, |month| {
            let days = usize::from(MONTH_DAYS[month]);
            spread_of_month(clearness(month), self.months[month].unevenness, (self.latitude, month), days)
        })
    }
}

/// Relative standard deviation over the years of the mean of so many days of a month.
fn spread_of_month(mean: f64, unevenness: Unevenness, (latitude, month): (Angle, usize), days: usize) -> f64 {
    let memory = Persistence::of_sky(noon_sine(latitude, month));
    let clearness = Clearness::of_days(mean, &unevenness);
    clearness.sd_of_mean(days, |apart| memory.correlation(apart)) / mean.max(1e-9)
}

/// How uneven the days of each month are: their own variance, averaged over five months as logit.
fn unevenness(months: &[Vec<&WeatherDay>; 12], latitude: Angle, elevation_km: f64) -> [Unevenness; 12] {
    let lit: [Vec<f64>; 12] = std::array::from_fn(|index| {
        let days = months[index].iter().filter(|day| day.outside_wh_m2 > TWILIGHT_WH_M2);
        days.map(|day| day.ghi_wh_m2 / day.outside_wh_m2).collect()
    });
    let own: [Option<f64>; 12] = std::array::from_fn(|index| {
        let (mean, deviation) = mean_and_deviation(&lit[index]);
        let sine = noon_sine(latitude, index);
        let own = || logit(Unevenness::of_days(mean, deviation * deviation, sine, elevation_km).share);
        (lit[index].len() > 1 && mean > 0.0).then(own)
    });
    std::array::from_fn(|index| {
        let around =
            (0..5).filter_map(|beside| Some((FIVE_MONTHS[beside], own[(index + 10 + beside) % 12]?)));
        let (sum, weight) =
            around.fold((0.0, 0.0), |all, (weight, one)| (all.0 + weight * one, all.1 + weight));
        let share = if own[index].is_some() { logistic(sum / weight) } else { Unevenness::USUAL_SHARE };
        let (mean, _) = mean_and_deviation(&lit[index]);
        Unevenness::new(share, mean, noon_sine(latitude, index), elevation_km)
    })
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

fn month(days: &[&WeatherDay], unevenness: Unevenness, place: (Angle, usize), years: f64) -> MonthClimate {
    let ghi_wh_m2 = mean(days, |day| day.ghi_wh_m2);
    let clearness = ratio(ghi_wh_m2, mean(days, |day| day.outside_wh_m2));
    let of_one_year = if clearness > 0.0 {
        spread_of_month(clearness, unevenness, place, usize::from(MONTH_DAYS[place.1]))
    } else {
        0.0
    };
    MonthClimate {
        ghi_wh_m2,
        unevenness,
        air_celsius: mean(days, |day| day.air_celsius),
        daily_swing_k: mean(days, |day| day.swing_k),
        day_sd_k: spread_about_courses(days) / WITHIN_ONE_YEAR,
        // Measurement, and the days that so few years happened to have.
        sun_doubt: MEASURED_SUN_DOUBT.hypot(of_one_year / years.sqrt()),
        precipitation_mm_day: None,
    }
}

fn mean(days: &[&WeatherDay], value: impl Fn(&WeatherDay) -> f64) -> f64 {
    days.iter().map(|day| value(day)).sum::<f64>() / days.len().max(1) as f64
}

/// Standard deviation of daily means about the straight line through each year's month.
fn spread_about_courses(days: &[&WeatherDay]) -> f64 {
    let years = days.chunk_by(|one, next| one.day_of_month < next.day_of_month);
    let squares: f64 = years.map(squares_about_course).sum();
    (squares / days.len().max(1) as f64).sqrt()
}

fn squares_about_course(days: &[&WeatherDay]) -> f64 {
    let (middle, level) = (mean(days, |day| day.day_of_month), mean(days, |day| day.air_celsius));
    let along = mean(days, |day| (day.day_of_month - middle) * (day.air_celsius - level));
    let slope = along / mean(days, |day| (day.day_of_month - middle).powi(2)).max(1e-9);
    days.iter().map(|day| (day.air_celsius - level - slope * (day.day_of_month - middle)).powi(2)).sum()
}
