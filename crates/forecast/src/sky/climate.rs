//! What is known of the weather at a place, month by month: built in, given as twelve numbers, or taken from hours.

mod error;
mod hours;
mod land;
mod snow;

pub use error::ClimateError;
pub use land::LAND_WITHIN_KM;
pub use snow::snow_guess_days;

use design::quantity::{Angle, Length};

use super::clearness::{Clearness, Unevenness};
use super::monthly::{MEAN_DAYS, declination_deg, extraterrestrial_day_wh_m2};
use super::sun::Observer;

/// Days of the months, January first.
pub const MONTH_DAYS: [u8; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
/// What the air cools by upwards [K/m].
///
/// # References
/// ISO 2533:1975, standard atmosphere.
pub const LAPSE_K_PER_M: f64 = 0.0065;
/// Standard deviation of what [`MonthClimate::daily_swing_k`] may be off where it was reckoned from clearness \[K\].
pub const SWING_DOUBT_K: f64 = 2.6;
/// Standard deviation of the logarithm of what [`MonthClimate::day_sd_k`] may really be.
const DAY_SD_DOUBT: f64 = 0.24;
/// The same where it was reckoned from the year's range, far from every cell.
const DAY_SD_DOUBT_AFAR: f64 = 0.30;
/// Standard deviation of the built-in temperature of a month against the weather years \[K\].
pub const AIR_DOUBT_K: f64 = 1.6;
/// Relative standard deviation granted to twelve numbers whose origin is not known (own choice).
const GIVEN_SUN_DOUBT: f64 = 0.1;
/// Of what falls outside the air an overcast day lets less through.
const OVERCAST_CLEARNESS: f64 = 0.2;
/// Twilight and refraction let a little through that geometry does not know of [Wh/m²].
const TWILIGHT_WH_M2: f64 = 20.0;
/// 90 % of a normal lie within so many standard deviations.
const NINETY_PER_CENT: f64 = 1.645;

/// The climate of a place.
#[derive(Clone, Debug, PartialEq)]
pub struct Climate {
    /// January first.
    pub months: [MonthClimate; 12],
    /// North positive.
    pub latitude: Angle,
    /// Standard deviation of the logarithm of what [`MonthClimate::day_sd_k`] may really be, drawn once per life.
    pub day_sd_doubt: f64,
    /// Where the numbers come from, in words.
    pub source: String,
}

/// One month of it.
#[derive(Clone, Debug, PartialEq)]
pub struct MonthClimate {
    /// Mean daily global irradiation on the horizontal [Wh/m²].
    pub ghi_wh_m2: f64,
    /// How uneven its days are in clearness, the irradiation over that outside the air.
    pub unevenness: Unevenness,
    /// Mean temperature [°C].
    pub air_celsius: f64,
    /// Mean of the day's highest less its lowest temperature \[K\].
    pub daily_swing_k: f64,
    /// Standard deviation of daily means about the course of the climate, over all years \[K\].
    pub day_sd_k: f64,
    /// Relative standard deviation of what `ghi_wh_m2`, the long-term mean, may really be: the climate tolerance, drawn
    /// once per life, best as the factor `exp(sun_doubt z)`.
    pub sun_doubt: f64,
    /// Mean precipitation [mm/day]; `None`: not known.
    pub precipitation_mm_day: Option<f64>,
}

impl MonthClimate {
    /// The interval that holds the true `ghi_wh_m2` with 90 % [Wh/m²].
    pub fn sun_interval_wh_m2(&self) -> (f64, f64) {
        let factor = (NINETY_PER_CENT * self.sun_doubt).exp();
        (self.ghi_wh_m2 / factor, self.ghi_wh_m2 * factor)
    }
}

impl Climate {
    /// Share of a month's days, January being 0, that are overcast, with less than a fifth of the light outside
    /// the air; none in polar night.
    pub fn overcast_share(&self, month: usize) -> f64 {
        let known = &self.months[month];
        match ratio(known.ghi_wh_m2, month_outside_wh_m2(self.latitude, month)) {
            mean if mean > 0.0 => Clearness::of_days(mean, &known.unevenness).share_below(OVERCAST_CLEARNESS),
            _ => 0.0,
        }
    }

    /// The built-in climate of a place on land, or within [`LAND_WITHIN_KM`] of it.
    ///
    /// Sun is interpolated as clearness between the land cells of a 3-degree grid, temperature between means over a
    /// degree, brought to the place's elevation by [`LAPSE_K_PER_M`]. How it was made and how far it is to be trusted
    /// is written in `data/climate/README.md`.
    ///
    /// # Errors
    /// Off the earth, beyond 57° south or 72° north, or far at sea.
    pub fn builtin(latitude: Angle, longitude: Angle, elevation: Length) -> Result<Self, ClimateError> {
        check_place(latitude, longitude, elevation)?;
        let found = land::at(latitude.degrees(), longitude.degrees(), elevation.metres())?;
        let months = std::array::from_fn(|index| {
            let cell = &found.months[index];
            MonthClimate {
                ghi_wh_m2: cell.clearness * month_outside_wh_m2(latitude, index),
                unevenness: unevenness((latitude, elevation), index, cell.unevenness, cell.clearness),
                air_celsius: found.air_celsius[index],
                daily_swing_k: swing_k(cell.clearness),
                day_sd_k: cell.day_sd_k,
                sun_doubt: cell.doubt,
                precipitation_mm_day: Some(cell.precipitation_mm_day),
            }
        });
        Ok(Self { months, latitude, day_sd_doubt: DAY_SD_DOUBT, source: found.source })
    }

    /// A climate from twelve means of daily irradiation on the horizontal [Wh/m²] and, if known, of temperature [°C];
    /// without them the built-in ones.
    ///
    /// # Errors
    /// No numbers; sun below zero or above that outside the air; a temperature no place on earth has; and, if
    /// temperatures are not given, what [`Climate::builtin`] refuses.
    pub fn from_monthly(
        latitude: Angle,
        longitude: Angle,
        elevation: Length,
        ghi_wh_m2: &[f64; 12],
        air_celsius: Option<&[f64; 12]>,
    ) -> Result<Self, ClimateError> {
        check_place(latitude, longitude, elevation)?;
        check_sun(latitude, ghi_wh_m2)?;
        let known = Self::builtin(latitude, longitude, elevation);
        let (air_celsius, source) = match air_celsius {
            Some(given) => (*check_air(given)?, "twelve monthly numbers of sun and air"),
            None => (
                known.as_ref().map_err(Clone::clone)?.months.each_ref().map(|month| month.air_celsius),
                "twelve monthly numbers of sun; air from the built-in climatology",
            ),
        };
        let known = known.ok();
        let afar_k = day_sd_afar_k(&air_celsius);
        let months = std::array::from_fn(|index| {
            let cell = known.as_ref().map(|known| &known.months[index]);
            let clearness = ratio(ghi_wh_m2[index], month_outside_wh_m2(latitude, index));
            let share = cell.map_or(Unevenness::USUAL_SHARE, |cell| cell.unevenness.share);
            MonthClimate {
                ghi_wh_m2: ghi_wh_m2[index],
                unevenness: unevenness((latitude, elevation), index, share, clearness),
                air_celsius: air_celsius[index],
                daily_swing_k: swing_k(clearness),
                day_sd_k: cell.map_or(afar_k[index], |cell| cell.day_sd_k),
                sun_doubt: GIVEN_SUN_DOUBT,
                precipitation_mm_day: cell.and_then(|cell| cell.precipitation_mm_day),
            }
        });
        let day_sd_doubt = if known.is_some() { DAY_SD_DOUBT } else { DAY_SD_DOUBT_AFAR };
        Ok(Self { months, latitude, day_sd_doubt, source: source.to_owned() })
    }
}

/// Days that are so uneven about a mean clearness, at a place in a month.
fn unevenness((latitude, elevation): (Angle, Length), month: usize, share: f64, mean: f64) -> Unevenness {
    Unevenness::new(share, mean, noon_sine(latitude, month), elevation.metres() / 1000.0)
}

/// Sine of the sun's height at noon on the mean day of a month, January being 0; 0 in polar night.
pub(crate) fn noon_sine(latitude: Angle, month: usize) -> f64 {
    let declination_deg = MEAN_DAYS.get(month).map_or(0.0, |day| declination_deg(*day));
    (latitude.degrees() - declination_deg).to_radians().cos().max(0.0)
}

/// Mean daily irradiation outside the air on the horizontal [Wh/m²] in a month, January being 0.
pub fn month_outside_wh_m2(latitude: Angle, month: usize) -> f64 {
    let days = MONTH_DAYS.get(month).copied().unwrap_or(31);
    let number = u8::try_from(month + 1).unwrap_or(12);
    (1..=days).map(|day| extraterrestrial_day_wh_m2(latitude, number, day)).sum::<f64>() / f64::from(days)
}

/// Days do not differ less between noon and night than this, however dark (own choice) \[K\].
const LEAST_SWING_K: f64 = 1.5;

/// Daily swing of temperature in a month of this mean clearness \[K\], where no other is known.
///
/// Own least squares over the weather years of `oracles/climatology_years.py` that were not held out; off by
/// [`SWING_DOUBT_K`]. Hargreaves & Samani's root law inverted (coefficient 0.16) is off by 3.4 K, and 1.4 K too small below
/// clearness 0.35, where it matters.
fn swing_k(clearness: f64) -> f64 {
    (19.3 * clearness - 1.0).max(LEAST_SWING_K)
}

/// Spread of daily means about the climate \[K\] where only twelve temperatures are known: own least squares over the
/// records of air behind the table of the land (`data/climate/README.md`, "The law of days").
fn day_sd_afar_k(air_celsius: &[f64; 12]) -> [f64; 12] {
    let warmest = air_celsius.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let coldest = air_celsius.iter().copied().fold(f64::INFINITY, f64::min);
    let year = 0.515 * (2.0 + warmest - coldest).ln();
    air_celsius.map(|celsius| (year - 0.063 - 0.551 * celsius.min(18.0) / 20.0).exp().clamp(0.8, 11.0))
}

fn ratio(value: f64, whole: f64) -> f64 {
    if whole > TWILIGHT_WH_M2 { value / whole } else { 0.0 }
}

fn check_place(latitude: Angle, longitude: Angle, elevation: Length) -> Result<(), ClimateError> {
    let (latitude_deg, longitude_deg) = (latitude.degrees(), longitude.degrees());
    match Observer::new(latitude_deg, longitude_deg, elevation.metres()) {
        Some(_) => Ok(()),
        None => Err(ClimateError::NoPlace { latitude_deg, longitude_deg, elevation_m: elevation.metres() }),
    }
}

fn check_sun(latitude: Angle, ghi_wh_m2: &[f64; 12]) -> Result<(), ClimateError> {
    for (index, value) in ghi_wh_m2.iter().enumerate() {
        let most_wh_m2 = month_outside_wh_m2(latitude, index) + TWILIGHT_WH_M2;
        if !(0.0..=most_wh_m2).contains(value) {
            return Err(ClimateError::Sun { month: index + 1, value_wh_m2: *value, most_wh_m2 });
        }
    }
    Ok(())
}

fn check_air(air_celsius: &[f64; 12]) -> Result<&[f64; 12], ClimateError> {
    match air_celsius.iter().position(|value| !(-70.0..=50.0).contains(value)) {
        Some(index) => Err(ClimateError::Air { month: index + 1, value_celsius: air_celsius[index] }),
        None => Ok(air_celsius),
    }
}
