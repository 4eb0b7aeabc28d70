//! Recorded weather for many lives: whole winters drawn from measured years.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use crate::random::Stream;
use crate::sky::hours::{DayHours, HourWeather, LifeWeather, SiteDraw};
use crate::sky::light::{YEAR_DAYS, YEAR_HOURS};

const HOURS_PER_DAY: usize = 24;
/// First day of summer by day of the year, north and south: years are changed there, so that winters stay whole.
const MIDSUMMER: [usize; 2] = [171, 354];
/// Spread of a month's mean over the years that a single typical year lacks: 17 % in all, of which its own days are drawn
/// by no one here.
const TYPICAL_YEAR_SPREAD: f64 = 0.17;
/// How far a measured file's sun may be off its place's truth: a fair pyranometer kept clean (from memory).
pub const MEASURED_SUN_DOUBT: f64 = 0.05;

/// Years of a record as a node feels them, without leap days.
#[derive(Clone, Debug)]
pub struct RecordedWeather {
    hours: Vec<HourWeather>,
    years: usize,
    changes_on: usize,
}

/// One life's place in it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Winter {
    year: usize,
    sun_factor: f32,
    warmer_k: f32,
}

impl RecordedWeather {
    /// From hours with their dates (month, day, hour); a year that is not whole is left out.
    #[must_use]
    pub fn new(hours: &[HourWeather], dates: &[(u8, u8, u8)], south: bool) -> Self {
        let kept: Vec<HourWeather> = hours
            .iter()
            .zip(dates)
            .filter(|(_, (month, day, _))| (*month, *day) != (2, 29))
            .map(|(hour, _)| *hour)
            .collect();
        let years = kept.len() / YEAR_HOURS;
        Self { hours: kept, years, changes_on: MIDSUMMER[usize::from(south)] }
    }

    /// Whole years in it.
    #[must_use]
    pub fn years(&self) -> usize {
        self.years
    }

    fn draw_winter(&self, site: &SiteDraw, random: &mut Stream) -> Winter {
        let year = ((random.uniform() * self.years as f64) as usize).min(self.years - 1);
        let score = random.normal();
        let spread = if self.years == 1 { TYPICAL_YEAR_SPREAD } else { 0.0 };
        let sun = site.sun(MEASURED_SUN_DOUBT) * (score * spread - 0.5 * spread * spread).exp();
        Winter { year, sun_factor: sun as f32, warmer_k: site.warmer_k as f32 }
    }
}

impl LifeWeather for RecordedWeather {
    type Sky = Option<Winter>;

    fn start(&self, _: &mut Stream) -> Self::Sky {
        None
    }

    fn next_day(&self, day: usize, site: &SiteDraw, sky: &mut Self::Sky, random: &mut Stream) {
        if sky.is_none() || day == self.changes_on % YEAR_DAYS {
            *sky = Some(self.draw_winter(site, random));
        }
    }

    fn hours(&self, day: usize, sky: &mut Self::Sky) -> DayHours {
        let winter = sky.unwrap_or_default();
        let first = winter.year * YEAR_HOURS + day * HOURS_PER_DAY;
        let mut hours = DayHours::default();
        for (hour, seen) in self.hours[first..first + HOURS_PER_DAY].iter().enumerate() {
            hours.in_plane_w_m2[hour] = seen.in_plane_w_m2 * winter.sun_factor;
            hours.cell_celsius[hour] = seen.cell_celsius + winter.warmer_k;
            hours.air_celsius[hour] = seen.air_celsius + winter.warmer_k;
            hours.battery_celsius[hour] = seen.battery_celsius + winter.warmer_k;
        }
        hours
    }
}
