//! Weather files: hours of sun, air and wind from TMY3, EPW or plain CSV.
//!
//! All three name an hour by its *end*. Plain CSV has named columns with the unit in the name, hourly rows in local
//! standard time, and comment lines above that say where and by which clock:
//!
//! ```text
//! # title = "orchard, upper mast"
//! # utc_offset_hours = 1
//! # latitude = "46.9 deg"
//! # longitude = "9.2 deg"
//! # elevation = "640 m"
//! time,ghi_w_m2,dni_w_m2,dhi_w_m2,air_celsius,wind_m_s
//! 2021-01-01T01:00,0,0,0,-3.1,1.2
//! ```
//!
//! `time`, `ghi_w_m2` and `air_celsius` are needed, the other columns and the place may be left out. Fields may be parted by
//! semicolons, with decimal commas. A line `# fill_gaps = "6 h"` asks to fill gaps of up to so many hours (at most six),
//! missing rows and missing values alike; the title then says how many hours were filled.

mod error;
mod layout;
mod rows;
mod sense;

pub use error::WeatherError;

use design::quantity::{Angle, Length, Quantity, Share};

use super::decompose::Split;
use super::plane::HourSky;
use super::sun::{Observer, date, days_since_1970};

/// Hours of weather, gapless, whole years, beginning with the first hour of a day.
#[derive(Clone, Debug, PartialEq)]
pub struct WeatherHours {
    /// Name of the station or file, as the file says it.
    pub title: String,
    /// Where it was taken, if the file says so.
    pub place: Option<Place>,
    /// Hours by which its clock is ahead of universal time.
    pub utc_offset_h: f64,
    /// Global horizontal irradiance [W/m²].
    pub ghi_w_m2: Vec<f32>,
    /// Direct normal irradiance [W/m²].
    pub dni_w_m2: Option<Vec<f32>>,
    /// Diffuse horizontal irradiance [W/m²].
    pub dhi_w_m2: Option<Vec<f32>>,
    /// Air temperature [°C].
    pub air_celsius: Vec<f32>,
    /// Wind [m/s].
    pub wind_m_s: Option<Vec<f32>>,
    /// Share of the sunny hours in which global, direct and diffuse light contradict each other; `None` if the file does
    /// not have all three, or before its place is known.
    pub doubtful: Option<Share>,
    starts: Vec<HourStart>,
    first_line: usize,
    /// Hours of gaps that were filled, for which no row stands in the file.
    inserted: Vec<usize>,
}

/// Where weather was taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// North positive.
    pub latitude: Angle,
    /// East positive.
    pub longitude: Angle,
    /// Above sea level.
    pub elevation: Length,
}

/// The beginning of an hour by the clock of a weather file.
///
/// A typical year mixes months of several years; it is given one year of the calendar here, 2025, or 2024 if it has
/// a leap day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HourStart {
    /// Year of the calendar.
    pub year: i32,
    /// 1 to 12.
    pub month: u8,
    /// 1 to 31.
    pub day: u8,
    /// 0 to 23.
    pub hour: u8,
}

/// Reads a weather file; the format is recognised by its content.
///
/// # Errors
/// What is wrong, where, and what to do. Whether the bytes are weather at all is decided on the first 64 kB.
pub fn read(bytes: &[u8]) -> Result<WeatherHours, WeatherError> {
    let layout = layout::recognise(bytes)?;
    let mut weather = rows::read(bytes, layout)?;
    if let Some(observer) = weather.observer() {
        weather.check_sun(&observer)?;
    }
    Ok(weather)
}

impl WeatherHours {
    /// Month, day and hour (0 to 23) at which each hour begins.
    pub fn dates(&self) -> impl Iterator<Item = (u8, u8, u8)> + '_ {
        self.starts.iter().map(|start| (start.month, start.day, start.hour))
    }

    /// The beginning of each hour.
    pub fn starts(&self) -> &[HourStart] {
        &self.starts
    }

    /// Line of the file in which an hour stands; of a filled one that of the row after.
    fn line(&self, hour: usize) -> usize {
        self.first_line + hour - self.inserted.partition_point(|other| *other < hour)
    }

    /// The place it was taken, as one from which the sun is seen.
    pub fn observer(&self) -> Option<Observer> {
        let place = self.place?;
        Observer::new(place.latitude.degrees(), place.longitude.degrees(), place.elevation.metres())
    }

    /// What of an hour makes light: beam and diffuse as measured where the file has both. Nothing beyond the end.
    pub fn sky(&self, hour: usize) -> HourSky {
        let at = |column: &[f32]| column.get(hour).map(|value| f64::from(*value));
        let measured = || {
            let (dni, dhi) = (self.dni_w_m2.as_deref()?, self.dhi_w_m2.as_deref()?);
            Some(Split { dni_w_m2: at(dni)?, dhi_w_m2: at(dhi)? })
        };
        HourSky { ghi_w_m2: at(&self.ghi_w_m2).unwrap_or(0.0), measured: measured() }
    }

    /// Checks that light and sun agree, seen from a place, and notes the share of doubtful hours: for a file that does not
    /// name its own place.
    ///
    /// # Errors
    /// The first hour in which much light falls from a sun far below the horizon, or more than the sun can give; columns
    /// that contradict each other in many hours; hardly any light in all.
    pub fn check_sun(&mut self, observer: &Observer) -> Result<(), WeatherError> {
        self.doubtful = sense::check_sun(self, observer)?;
        Ok(())
    }
}

impl HourStart {
    fn from_serial(hours_since_1970: i64) -> Self {
        let (year, month, day) = date(hours_since_1970.div_euclid(24));
        let hour = u8::try_from(hours_since_1970.rem_euclid(24)).expect("below 24");
        Self { year, month, day, hour }
    }

    fn serial(self) -> i64 {
        days_since_1970(self.year, self.month, self.day) * 24 + i64::from(self.hour)
    }
}

impl Place {
    /// A place from degrees and metres; `None` off the earth.
    fn new(latitude_deg: f64, longitude_deg: f64, elevation_m: f64) -> Option<Self> {
        Observer::new(latitude_deg, longitude_deg, elevation_m).map(|_| Self {
            latitude: Angle::from_degrees(latitude_deg),
            longitude: Angle::from_degrees(longitude_deg),
            elevation: Length::from_si(elevation_m),
        })
    }
}
