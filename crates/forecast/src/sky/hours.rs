//! The weather of one life as its node feels it, hour by hour.

use crate::random::Stream;

const HOURS_PER_DAY: usize = 24;

/// What the surroundings do in one hour.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HourWeather {
    /// Effective sun on the plane of the panel [W/m²]; of a store whose record states it, the charging current itself \[A\].
    pub in_plane_w_m2: f32,
    /// Panel cells [°C].
    pub cell_celsius: f32,
    /// Air [°C].
    pub air_celsius: f32,
    /// Battery [°C].
    pub battery_celsius: f32,
}

/// What the surroundings do in the hours of a day, as in [`HourWeather`].
#[derive(Clone, Debug, Default)]
pub struct DayHours {
    /// Sun on the plane [W/m²].
    pub in_plane_w_m2: [f32; HOURS_PER_DAY],
    /// Panel cells [°C].
    pub cell_celsius: [f32; HOURS_PER_DAY],
    /// Air [°C].
    pub air_celsius: [f32; HOURS_PER_DAY],
    /// Battery [°C].
    pub battery_celsius: [f32; HOURS_PER_DAY],
}

impl DayHours {
    /// A day of these hours.
    #[must_use]
    pub fn of(hours: &[HourWeather]) -> Self {
        let mut day = Self::default();
        for (place, hour) in hours.iter().take(HOURS_PER_DAY).enumerate() {
            day.in_plane_w_m2[place] = hour.in_plane_w_m2;
            day.cell_celsius[place] = hour.cell_celsius;
            day.air_celsius[place] = hour.air_celsius;
            day.battery_celsius[place] = hour.battery_celsius;
        }
        day
    }

    /// One of the hours.
    #[inline]
    #[must_use]
    pub fn hour(&self, hour: usize) -> HourWeather {
        HourWeather {
            in_plane_w_m2: self.in_plane_w_m2[hour],
            cell_celsius: self.cell_celsius[hour],
            air_celsius: self.air_celsius[hour],
            battery_celsius: self.battery_celsius[hour],
        }
    }

    /// All of them.
    pub fn iter(&self) -> impl Iterator<Item = HourWeather> {
        (0..HOURS_PER_DAY).map(|hour| self.hour(hour))
    }
}

/// What is fixed but unknown of the weather at a site, drawn once for every life.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SiteDraw {
    /// How sunny it is, as a standard normal score of each month's own doubt.
    pub sun_score: f64,
    /// How much warmer than its climate \[K\].
    pub warmer_k: f64,
}

impl SiteDraw {
    /// The factor on the sun for a month with this doubt (relative standard deviation).
    #[must_use]
    pub fn sun(&self, doubt: f64) -> f64 {
        (self.sun_score * doubt).exp()
    }
}

/// Weather for lives: drawn from a climate, or drawn from recorded years.
pub trait LifeWeather: Sync {
    /// One life's place in it.
    type Sky: Clone;
    /// The sky of a life on the day before its first.
    fn start(&self, random: &mut Stream) -> Self::Sky;
    /// Draws a day of the year for a life at such a site.
    fn next_day(&self, day: usize, site: &SiteDraw, sky: &mut Self::Sky, random: &mut Stream);
    /// The hours of that day.
    fn hours(&self, day: usize, sky: &mut Self::Sky) -> DayHours;
}
