//! Days and months without hours: geometry from declination and hour angle, daily totals, and how a day is shaped.
//!
//! Declination and the irradiance outside the air are arguments, so that a book's own values can be followed.
//!
//! # References
//! Duffie & Beckman, *Solar Engineering of Thermal Processes*, 4th ed. 2013, chapters 1 and 2 (equation numbers
//! from memory; the book's examples hold the results).

use std::f64::consts::{PI, TAU};

use design::quantity::Angle;

use super::irradiance::{SOLAR_CONSTANT_W_M2, extraterrestrial_normal_w_m2};
use super::sun::day_of_year;

/// Days of the year whose sun is the mean of their month, January first.
///
/// # References
/// Klein 1977, *Solar Energy* 19, 325-329.
pub const MEAN_DAYS: [u16; 12] = [17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344];

/// Any year of 365 days.
const COMMON_YEAR: i32 = 2025;

/// Declination of the sun [°] on a day of the year.
///
/// # References
/// Cooper 1969, *Solar Energy* 12, 333-346; Duffie & Beckman equation 1.6.1a.
pub fn declination_deg(day_of_year: u16) -> f64 {
    23.45 * (TAU * (284.0 + f64::from(day_of_year)) / 365.0).sin()
}

/// Apparent less mean solar time on a day of the year, in minutes.
///
/// # References
/// Spencer 1971; Duffie & Beckman equation 1.5.3.
pub fn equation_of_time_min(day_of_year: u16) -> f64 {
    let b = TAU * (f64::from(day_of_year) - 1.0) / 365.0;
    229.2
        * (0.000075 + 0.001868 * b.cos()
            - 0.032077 * b.sin()
            - 0.014615 * (2.0 * b).cos()
            - 0.04089 * (2.0 * b).sin())
}

/// Irradiance outside the air at right angles to the beam [W/m²], by the single cosine of the book.
///
/// # References
/// Duffie & Beckman equation 1.4.1a.
pub fn extraterrestrial_by_cosine_w_m2(day_of_year: u16, solar_constant_w_m2: f64) -> f64 {
    solar_constant_w_m2 * (1.0 + 0.033 * (TAU * f64::from(day_of_year) / 365.0).cos())
}

/// Zenith angle and azimuth clockwise from north [°] of the sun at an hour angle (afternoon positive) [°].
///
/// # References
/// Duffie & Beckman equations 1.6.5 and 1.6.6.
pub fn sun_at(latitude_deg: f64, declination_deg: f64, hour_angle_deg: f64) -> (f64, f64) {
    let (sin_lat, cos_lat) = latitude_deg.to_radians().sin_cos();
    let (sin_dec, cos_dec) = declination_deg.to_radians().sin_cos();
    let (sin_hour, cos_hour) = hour_angle_deg.to_radians().sin_cos();
    let up = sin_lat * sin_dec + cos_lat * cos_dec * cos_hour;
    let north = cos_lat * sin_dec - sin_lat * cos_dec * cos_hour;
    let east = -cos_dec * sin_hour;
    (up.clamp(-1.0, 1.0).acos().to_degrees(), east.atan2(north).to_degrees().rem_euclid(360.0))
}

/// Hour angle of sunset [°]: 0 in polar night, 180 under the midnight sun.
///
/// # References
/// Duffie & Beckman equation 1.6.10.
pub fn sunset_hour_angle_deg(latitude_deg: f64, declination_deg: f64) -> f64 {
    let cosine = -latitude_deg.to_radians().tan() * declination_deg.to_radians().tan();
    cosine.clamp(-1.0, 1.0).acos().to_degrees()
}

/// Irradiation of a day outside the air on the horizontal [Wh/m²].
///
/// # References
/// Duffie & Beckman equation 1.10.3.
pub fn day_outside_wh_m2(latitude_deg: f64, declination_deg: f64, normal_w_m2: f64) -> f64 {
    hours_outside_wh_m2(latitude_deg, declination_deg, normal_w_m2, {
        let sunset_deg = sunset_hour_angle_deg(latitude_deg, declination_deg);
        (-sunset_deg, sunset_deg)
    })
}

/// The same between two hour angles [°] of daylight.
///
/// # References
/// Duffie & Beckman equation 1.10.4.
pub fn hours_outside_wh_m2(
    latitude_deg: f64,
    declination_deg: f64,
    normal_w_m2: f64,
    (from_deg, to_deg): (f64, f64),
) -> f64 {
    let (sin_lat, cos_lat) = latitude_deg.to_radians().sin_cos();
    let (sin_dec, cos_dec) = declination_deg.to_radians().sin_cos();
    let (from, to) = (from_deg.to_radians(), to_deg.to_radians());
    let mean_up = cos_lat * cos_dec * (to.sin() - from.sin()) + (to - from) * sin_lat * sin_dec;
    12.0 / PI * normal_w_m2 * mean_up.max(0.0)
}

/// Irradiation of a date outside the air on the horizontal [Wh/m²].
pub fn extraterrestrial_day_wh_m2(latitude: Angle, month: u8, day: u8) -> f64 {
    let day = day_of_year(COMMON_YEAR, month, day);
    let normal_w_m2 = extraterrestrial_normal_w_m2(day, SOLAR_CONSTANT_W_M2);
    day_outside_wh_m2(latitude.degrees(), declination_deg(day), normal_w_m2)
}

/// Beam irradiation of a mean day on a plane that faces the equator, relative to the horizontal.
///
/// # References
/// Liu & Jordan 1962; Klein 1977; Duffie & Beckman equation 2.19.3.
pub fn beam_ratio(latitude_deg: f64, declination_deg: f64, tilt_deg: f64) -> f64 {
    let toward_equator_deg = latitude_deg.signum() * tilt_deg;
    let on_plane_deg = latitude_deg - toward_equator_deg;
    let sunset_deg = sunset_hour_angle_deg(latitude_deg, declination_deg);
    let lit_deg = sunset_deg.min(sunset_hour_angle_deg(on_plane_deg, declination_deg));
    let on_plane = hours_outside_wh_m2(on_plane_deg, declination_deg, 1.0, (-lit_deg, lit_deg));
    on_plane / day_outside_wh_m2(latitude_deg, declination_deg, 1.0)
}

/// Irradiation of a mean day on a tilted plane, in the unit of `global`, under an even sky.
///
/// # References
/// Liu & Jordan 1962; Duffie & Beckman equation 2.19.1.
pub fn day_on_plane(global: f64, diffuse_share: f64, beam_ratio: f64, tilt_deg: f64, albedo: f64) -> f64 {
    let cos_tilt = tilt_deg.to_radians().cos();
    let beam = global * (1.0 - diffuse_share) * beam_ratio;
    let sky = global * diffuse_share * (1.0 + cos_tilt) / 2.0;
    let ground = global * albedo * (1.0 - cos_tilt) / 2.0;
    beam + sky + ground
}

/// Share of a day's global irradiation that falls in the hour about an hour angle [°].
///
/// The sum over the hours of a day is not quite 1 (0.99 to 1.03): scale them to the day's total.
///
/// # References
/// Collares-Pereira & Rabl 1979, *Solar Energy* 22, 155-164; Duffie & Beckman equation 2.13.2.
pub fn global_hour_share(hour_angle_deg: f64, sunset_hour_angle_deg: f64) -> f64 {
    let past = (sunset_hour_angle_deg - 60.0).to_radians().sin();
    let (a, b) = (0.409 + 0.5016 * past, 0.6609 - 0.4767 * past);
    (a + b * hour_angle_deg.to_radians().cos()) * diffuse_hour_share(hour_angle_deg, sunset_hour_angle_deg)
}

/// Share of a day's diffuse irradiation that falls in the hour about an hour angle [°].
///
/// # References
/// Liu & Jordan 1960, *Solar Energy* 4 (3), 1-19; Duffie & Beckman equation 2.13.4.
pub fn diffuse_hour_share(hour_angle_deg: f64, sunset_hour_angle_deg: f64) -> f64 {
    let (hour, sunset) = (hour_angle_deg.to_radians(), sunset_hour_angle_deg.to_radians());
    let above = hour.cos() - sunset.cos();
    if above <= 0.0 { 0.0 } else { PI / 24.0 * above / (sunset.sin() - sunset * sunset.cos()) }
}
