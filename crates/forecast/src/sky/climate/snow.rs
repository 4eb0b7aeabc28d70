//! A guess at snow from cold and wet months.

use super::{Climate, MONTH_DAYS, MonthClimate};

/// As much falls as snow as falls as rain on a day of this mean temperature [°C].
///
/// # References
/// Jennings, Winchell, Livneh & Molotch 2018, *Nature Communications* 9, 1148: 1.0 °C over the northern hemisphere
/// (from memory).
const HALF_SNOW_CELSIUS: f64 = 1.0;
/// The logistic of 1.702 times a normal score is the normal's share below it within 0.01 (Haley 1952).
const LOGISTIC: f64 = 1.702;
/// Water in a fall of snow that covers a panel, some 5 cm deep (own choice) [mm].
const COVERING_FALL_MM: f64 = 5.0;
/// How long a fall lies on a flat panel if it neither thaws nor freezes through (own choice) \[days\].
const LIES_DAYS: f64 = 8.0;
/// It lies as long again for each of these below the freezing month (own choice) \[K\].
const LIES_AGAIN_K: f64 = 5.0;
const FREEZES_THROUGH_CELSIUS: f64 = -3.0;
/// Precipitation where none is known (own choice) [mm/day].
const UNKNOWN_MM_DAY: f64 = 2.0;
/// A month below freezing has a day of it at least (own choice).
const LEAST_DAYS_IN_FROST: f64 = 1.0;

/// Days of each month, January first, on which snow lies on a flat panel: a guess, to be said as one.
///
/// Snow falls on the days of a month that are cold enough, as much as it rains in it; a fall lies the longer the colder
/// it is. Never nought where the month's mean is below 0 °C. Nothing here was held against measured snow.
pub fn snow_guess_days(climate: &Climate) -> [f64; 12] {
    std::array::from_fn(|index| covered_days(&climate.months[index], f64::from(MONTH_DAYS[index])))
}

fn covered_days(month: &MonthClimate, days: f64) -> f64 {
    let score = (month.air_celsius - HALF_SNOW_CELSIUS) / month.day_sd_k.max(1.0);
    let snow_share = 1.0 / (1.0 + (LOGISTIC * score).exp());
    let falls_per_day = snow_share * month.precipitation_mm_day.unwrap_or(UNKNOWN_MM_DAY) / COVERING_FALL_MM;
    let deeper = (FREEZES_THROUGH_CELSIUS - month.air_celsius).max(0.0) / LIES_AGAIN_K;
    let lies_days = LIES_DAYS * snow_share * (1.0 + deeper);
    let covered = days * (1.0 - (-falls_per_day * lies_days).exp());
    if month.air_celsius < 0.0 { covered.max(LEAST_DAYS_IN_FROST) } else { covered }
}
