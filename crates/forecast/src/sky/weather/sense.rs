//! Whether the numbers of a weather file can be true.

use design::quantity::Share;

use super::{HourStart, WeatherError, WeatherHours};
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

/// Shares of sunny hours in which the columns disagree above which the file is refused (own choice: the files of
/// `examples/weather` have none, with swapped columns 88 and 95 %; good stations have a few percent).
const MOST_DOUBTFUL: f64 = 0.25;
/// Below this sum of beam and diffuse the columns are not compared [W/m²].
const LEAST_COMPARED_W_M2: f64 = 50.0;
/// Mean of global light over what arrives above the air below which no place on earth lies: the darkest months of the
/// cloudiest coasts have 0.15 (own choice, a fifth of it).
const LEAST_CLEARNESS: f64 = 0.03;

/// Compares light and sun for every hour with light, and the three columns with each other; says in which share of the
/// sunny hours they disagree. `None` without both direct and diffuse light.
///
/// # References
/// Long & Dutton 2002, "BSRN Global Network recommended QC tests, V2.0": physically possible limits, and comparisons of
/// the sum with the global and of the diffuse with the global.
pub(super) fn check_sun(weather: &WeatherHours, observer: &Observer) -> Result<Option<Share>, WeatherError> {
    let columns = weather.dni_w_m2.as_deref().zip(weather.dhi_w_m2.as_deref());
    let at =
        |column: Option<&[f32]>, index: usize| column.and_then(|of| of.get(index)).copied().map(f64::from);
    let mut comparison = Comparison::default();
    let mut impossible = None;
    let (mut ghi_sum, mut above_air_sum) = (0.0, 0.0);
    for (index, (start, ghi_w_m2)) in weather.starts.iter().zip(&weather.ghi_w_m2).enumerate() {
        let light = Light {
            ghi: f64::from(*ghi_w_m2),
            dni: at(weather.dni_w_m2.as_deref(), index),
            dhi: at(weather.dhi_w_m2.as_deref(), index),
        };
        if light.brightest() <= 0.0 {
            continue;
        }
        let sun = SunOfHour::new(*start, weather.utc_offset_h, observer);
        if let Err(error) = light.check(&sun, weather.line(index)) {
            impossible.get_or_insert(error);
        }
        ghi_sum += light.ghi;
        above_air_sum += sun.above_air_w_m2 * sun.mean_cos;
        if columns.is_some() {
            comparison.add(&light, &sun, weather.line(index));
        }
    }
    // Exchanged columns give impossible hours too, but the exchange is what has to be said.
    match impossible {
        Some(error) if !comparison.looks_swapped() => return Err(error),
        _ => {}
    }
    if ghi_sum < LEAST_CLEARNESS * above_air_sum {
        return Err(WeatherError::TooDark { share: ghi_sum / above_air_sum });
    }
    columns.map(|_| comparison.doubtful()).transpose()
}

/// What falls in an hour, where the file says it [W/m²].
struct Light {
    ghi: f64,
    dni: Option<f64>,
    dhi: Option<f64>,
}

impl Light {
    fn brightest(&self) -> f64 {
        self.ghi.max(self.dni.unwrap_or(0.0)).max(self.dhi.unwrap_or(0.0))
    }

    /// Whether the sun of the hour can give so much.
    fn check(&self, sun: &SunOfHour, line: usize) -> Result<(), WeatherError> {
        let by_column = [
            ("global", Some(self.ghi), sun.most_w_m2(1.5, 100.0)),
            ("diffuse", self.dhi, sun.most_w_m2(0.95, 50.0)),
            ("direct", self.dni, sun.above_air_w_m2),
        ];
        for (light, w_m2, limit) in by_column {
            let Some(w_m2) = w_m2.filter(|w_m2| *w_m2 > NIGHT_LIGHT_W_M2) else { continue };
            if sun.least_zenith_deg > DUSK_ZENITH_DEG {
                let below_deg = sun.least_zenith_deg - 90.0;
                return Err(WeatherError::SunAtNight { line, light, w_m2, below_deg });
            }
            if w_m2 > limit {
                return Err(WeatherError::MoreThanTheSun { line, light, w_m2, limit });
            }
        }
        Ok(())
    }
}

/// Where the sun stands in an hour.
struct SunOfHour {
    least_zenith_deg: f64,
    most_zenith_deg: f64,
    /// Mean over the hour of the cosine of the zenith, 0 below the horizon.
    mean_cos: f64,
    /// On a surface towards the sun outside the air [W/m²].
    above_air_w_m2: f64,
}

impl SunOfHour {
    fn new(start: HourStart, utc_offset_h: f64, observer: &Observer) -> Self {
        let zenith_deg = [0.0, 0.5, 1.0].map(|part| {
            let hour_utc = f64::from(start.hour) + part - utc_offset_h;
            let day = sun::julian_day(start.year, start.month, start.day, hour_utc);
            sun::position(Algorithm::Grena3, day, DELTA_T_S, observer).zenith_deg
        });
        let [begin, middle, end] = zenith_deg.map(|zenith_deg| zenith_deg.to_radians().cos().max(0.0));
        let day_of_year = sun::day_of_year(start.year, start.month, start.day);
        Self {
            least_zenith_deg: zenith_deg.into_iter().fold(180.0, f64::min),
            most_zenith_deg: zenith_deg.into_iter().fold(0.0, f64::max),
            // Simpson's rule.
            mean_cos: (begin + 4.0 * middle + end) / 6.0,
            above_air_w_m2: extraterrestrial_normal_w_m2(day_of_year, SOLAR_CONSTANT_W_M2),
        }
    }

    /// A physically possible limit of Long & Dutton 2002 [W/m²].
    fn most_w_m2(&self, share: f64, more_w_m2: f64) -> f64 {
        let cos_zenith = self.least_zenith_deg.to_radians().cos().max(0.0);
        share * self.above_air_w_m2 * cos_zenith.powf(1.2) + more_w_m2
    }

    /// By how much sum and global, and diffuse and global, may differ (Long & Dutton 2002); `None` where the sun is too
    /// low within the hour to tell.
    fn tolerances(&self) -> Option<(f64, f64)> {
        match self.most_zenith_deg {
            zenith_deg if zenith_deg < 75.0 => Some((0.08, 0.05)),
            zenith_deg if zenith_deg < 85.0 => Some((0.15, 0.10)),
            _ => None,
        }
    }
}

/// How well global, direct and diffuse light of the sunny hours agree.
#[derive(Default)]
struct Comparison {
    hours: usize,
    doubtful: usize,
    first_line: Option<usize>,
    /// Hours that would agree if direct and diffuse changed places.
    agree_swapped: usize,
    ghi: f64,
    sum: f64,
}

impl Comparison {
    fn add(&mut self, light: &Light, sun: &SunOfHour, line: usize) {
        let (Some(dni), Some(dhi), Some(tolerances)) = (light.dni, light.dhi, sun.tolerances()) else {
            return;
        };
        let agree = |dni: f64, dhi: f64| {
            let sum = dni * sun.mean_cos + dhi;
            (light.ghi - sum).abs() <= tolerances.0 * sum && dhi <= (1.0 + tolerances.1) * light.ghi
        };
        let sum = dni * sun.mean_cos + dhi;
        if light.ghi.max(sum) < LEAST_COMPARED_W_M2 {
            return;
        }
        self.hours += 1;
        self.ghi += light.ghi;
        self.sum += sum;
        self.agree_swapped += usize::from(agree(dhi, dni));
        if !agree(dni, dhi) {
            self.doubtful += 1;
            self.first_line.get_or_insert(line);
        }
    }

    fn doubtful(&self) -> Result<Share, WeatherError> {
        let share = self.doubtful as f64 / self.hours.max(1) as f64;
        match self.first_line {
            Some(line) if share > MOST_DOUBTFUL => {
                Err(WeatherError::Disagree { line, share, limit: MOST_DOUBTFUL, help: self.help() })
            }
            _ => Ok(Share::from_fraction(share)),
        }
    }

    /// Whether most hours agree once direct and diffuse change places, and few as they are.
    fn looks_swapped(&self) -> bool {
        let agree = self.hours - self.doubtful;
        self.agree_swapped > 2 * agree && 2 * self.agree_swapped > self.hours
    }

    fn help(&self) -> &'static str {
        if self.looks_swapped() {
            "direct and diffuse look swapped: exchange the names of the two columns"
        } else if self.sum <= 0.0 {
            "direct and diffuse are empty: leave both columns out, then they are worked out from the global light"
        } else if self.ghi > 200.0 * self.sum || self.sum > 200.0 * self.ghi {
            "one of them is in kW/m2: write W/m2 in all columns"
        } else {
            "check the columns, their units and the clock, or leave direct and diffuse out, then they are worked out from the global light"
        }
    }
}
