//! What reaches the air from outside, how thick the air is, and how warm a panel gets.

/// Irradiance outside the air at the mean distance of the sun, as in the reference library of the tests [W/m²].
///
/// # References
/// ASTM E490; the value of 1366.1 W/m² is the extraterrestrial spectrum's integral.
pub const SOLAR_CONSTANT_W_M2: f64 = 1366.1;

/// Irradiance outside the air at right angles to the beam [W/m²] on a day of the year (1 to 366).
///
/// # References
/// Spencer 1971, *Search* 2 (5), 172, distance of the sun.
pub fn extraterrestrial_normal_w_m2(day_of_year: u16, solar_constant_w_m2: f64) -> f64 {
    let b = std::f64::consts::TAU * (f64::from(day_of_year) - 1.0) / 365.0;
    let distance = 1.00011
        + 0.034221 * b.cos()
        + 0.00128 * b.sin()
        + 0.000719 * (2.0 * b).cos()
        + 7.7e-5 * (2.0 * b).sin();
    solar_constant_w_m2 * distance
}

/// Air mass relative to the zenith at an apparent zenith angle [°]; below the horizon that of the horizon.
///
/// # References
/// Kasten & Young 1989, *Applied Optics* 28, 4735-4738.
pub fn relative_air_mass(apparent_zenith_deg: f64) -> f64 {
    let zenith_deg = apparent_zenith_deg.min(90.0);
    1.0 / (zenith_deg.to_radians().cos() + 0.50572 * (96.07995 - zenith_deg).powf(-1.6364))
}

/// Temperature of the cells [°C] of a panel in the open, from irradiance on its plane [W/m²], air [°C] and wind [m/s].
///
/// # References
/// Faiman 2008, *Progress in Photovoltaics* 16, 307-315; U0 = 25 W/m²K, U1 = 6.84 W s/m³K. A small panel glued to a box runs hotter.
pub fn faiman_celsius(in_plane_w_m2: f64, air_celsius: f64, wind_m_s: f64) -> f64 {
    air_celsius + in_plane_w_m2 / (25.0 + 6.84 * wind_m_s)
}
