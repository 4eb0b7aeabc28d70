//! Whether the numbers of a weather file can be true.

use super::{WeatherError, WeatherHours};
use crate::sky::irradiance::{SOLAR_CONSTANT_W_M2, extraterrestrial_normal_w_m2};
use crate::sky::sun::{self, Algorithm, DELTA_T_S, Observer};

/// What a column holds.
#[derive(Clone, Copy, Debug)]
pub(super) enum Kind {
    /// Irradiance.
    Light,
    /// Air temperature.
    Air,
    /// Wind speed.
    Wind,
}

/// A sensor's night offset, taken for 0 [W/m²].
const NIGHT_OFFSET_W_M2: f64 = -5.0;
/// No hour has more light than the sun gives outside the air in January, and clouds beside it reflect (a third more).
const MOST_LIGHT_W_M2: f64 = 1.3 * 1.035 * SOLAR_CONSTANT_W_M2;
/// Air on earth, with room beyond the records of -89 and 57 °C.
const AIR_CELSIUS: (f64, f64) = (-90.0, 60.0);
const WIND_M_S: (f64, f64) = (0.0, 100.0);
/// Light above this with the sun below civil dusk for the whole hour is no twilight [W/m²].
const NIGHT_LIGHT_W_M2: f64 = 50.0;
const DUSK_ZENITH_DEG: f64 = 96.0;

/// A field as a number in its range, or the error that it is missing.
///
/// # Errors
/// No number, or one that can't be.
#[expect(clippy::cast_possible_truncation, reason = "seven digits are more than any station measures")]
pub(super) fn reading(
    kind: Kind,
    line: usize,
    column: &str,
    text: &str,
) -> Result<Result<f32, WeatherError>, WeatherError> {
    let column = || column.to_owned();
    let missing =
        || WeatherError::Missing { line, column: column(), text: text.to_owned(), help: kind.missing_help() };
    if ["", "nan", "na", "n/a", "-", "null"].contains(&text.to_lowercase().as_str()) {
        return Ok(Err(missing()));
    }
    let value = text.parse::<f64>().ok().filter(|value| value.is_finite());
    let value =
        value.ok_or_else(|| WeatherError::NotANumber { line, column: column(), text: text.to_owned() })?;
    if kind.means_missing(value) {
        return Ok(Err(missing()));
    }
    let (low, high, unit) = kind.range();
    if value < low || value > high {
        let help = kind.range_help(value);
        return Err(WeatherError::OutOfRange { line, column: column(), value, unit, low, high, help });
    }
    let value = if matches!(kind, Kind::Light) { value.max(0.0) } else { value };
    Ok(Ok(value as f32))
}

impl Kind {
    fn range(self) -> (f64, f64, &'static str) {
        match self {
            Self::Light => (NIGHT_OFFSET_W_M2, MOST_LIGHT_W_M2.round(), "W/m2"),
            Self::Air => (AIR_CELSIUS.0, AIR_CELSIUS.1, "C"),
            Self::Wind => (WIND_M_S.0, WIND_M_S.1, "m/s"),
        }
    }

    /// The numbers that weather files write for "missing".
    ///
    /// # References
    /// `EnergyPlus` Auxiliary Programs, "Weather file data dictionary" (9999, 99.9, 999); -999 and -9999 are common
    /// practice, no source.
    fn means_missing(self, value: f64) -> bool {
        let written = [-9999.0, -999.0, -99.0, -9900.0].contains(&value);
        written
            || match self {
                Self::Light => value >= 9999.0,
                Self::Air => (99.89..99.91).contains(&value) || value >= 999.0,
                Self::Wind => value >= 999.0,
            }
    }

    fn missing_help(self) -> &'static str {
        match self {
            Self::Light | Self::Air => {
                "fill the gap from the neighbouring hours or days, and say so in the title"
            }
            Self::Wind => "fill the gap, or leave the whole column out (then 1 m/s is taken)",
        }
    }

    fn range_help(self, value: f64) -> &'static str {
        match self {
            Self::Light if value < 0.0 => {
                "a night offset down to -5 is taken for 0, this is a fault: repair the file"
            }
            Self::Light => "write W/m2, which is Wh/m2 of the hour; divide kJ/m2 by 3.6",
            Self::Air if (200.0..340.0).contains(&value) => "this looks like kelvin: subtract 273.15",
            Self::Air if (60.0..140.0).contains(&value) => {
                "this looks like degrees Fahrenheit: write degrees Celsius"
            }
            Self::Air => "write degrees Celsius",
            Self::Wind => "write metres per second",
        }
    }
}

/// Compares light and sun for every hour with much light.
pub(super) fn check_sun(weather: &WeatherHours, observer: &Observer) -> Result<(), WeatherError> {
    for (index, (start, ghi_w_m2)) in weather.starts.iter().zip(&weather.ghi_w_m2).enumerate() {
        let w_m2 = f64::from(*ghi_w_m2);
        if w_m2 <= NIGHT_LIGHT_W_M2 {
            continue;
        }
        let line = weather.line(index);
        let zenith_deg = [0.0, 0.5, 1.0]
            .map(|part| {
                let hour_utc = f64::from(start.hour) + part - weather.utc_offset_h;
                let day = sun::julian_day(start.year, start.month, start.day, hour_utc);
                sun::position(Algorithm::Grena3, day, DELTA_T_S, observer).zenith_deg
            })
            .into_iter()
            .fold(180.0, f64::min);
        if zenith_deg > DUSK_ZENITH_DEG {
            return Err(WeatherError::SunAtNight { line, w_m2, below_deg: zenith_deg - 90.0 });
        }
        let limit = most_light_w_m2(zenith_deg, sun::day_of_year(start.year, start.month, start.day));
        if w_m2 > limit {
            return Err(WeatherError::MoreThanTheSun { line, w_m2, limit });
        }
    }
    Ok(())
}

/// The most global irradiance that is physically possible [W/m²].
///
/// # References
/// Long & Dutton 2002, "BSRN Global Network recommended QC tests, V2.0", physically possible limit of global SW.
fn most_light_w_m2(zenith_deg: f64, day_of_year: u16) -> f64 {
    let cos_zenith = zenith_deg.to_radians().cos().max(0.0);
    1.5 * extraterrestrial_normal_w_m2(day_of_year, SOLAR_CONSTANT_W_M2) * cos_zenith.powf(1.2) + 100.0
}
