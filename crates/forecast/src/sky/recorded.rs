//! Recorded weather for many lives: whole winters drawn from measured years, each under its own dates.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use crate::random::Stream;
use crate::sky::hours::{DayHours, HourWeather, LifeWeather, SiteDraw};
use crate::sky::light::{YEAR_DAYS, YEAR_HOURS, nominal_hours};
use crate::sky::weather::HourStart;

const HOURS_PER_DAY: usize = 24;
/// First days of July and January by day of the nominal year: north and south of the equator years are changed there, so
/// that winters stay whole.
const MIDSUMMER: [usize; 2] = [181, 0];
/// How far a measured file's sun may be off its place's truth: a fair pyranometer kept clean (from memory).
pub const MEASURED_SUN_DOUBT: f64 = 0.05;

/// What a record has of winters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Winters {
    /// So many run from midsummer to midsummer in it; lives are made of them.
    Whole(usize),
    /// None does: its first year alone is lived, the last day of which is followed by its first.
    Joined,
}

impl Winters {
    /// Of a record whose hours began then.
    #[must_use]
    pub fn of(starts: &[HourStart], south: bool) -> Self {
        let hours = starts.iter().filter(|start| !is_leap_day(**start)).count();
        match midsummers(starts, south).iter().filter(|hour| *hour + YEAR_HOURS <= hours).count() {
            0 => Self::Joined,
            whole => Self::Whole(whole),
        }
    }
}

fn is_leap_day(start: HourStart) -> bool {
    (start.month, start.day) == (2, 29)
}

/// The hours at which midsummer begins, counted without leap days.
fn midsummers(starts: &[HourStart], south: bool) -> Vec<usize> {
    let seam = nominal_hours()[MIDSUMMER[usize::from(south)] * HOURS_PER_DAY];
    let kept = starts.iter().filter(|start| !is_leap_day(**start)).enumerate();
    kept.filter(|(_, start)| (start.month, start.day, start.hour) == (seam.month, seam.day, seam.hour))
        .map(|(hour, _)| hour)
        .collect()
}

/// The winters of a record as a node feels them, without leap days.
#[derive(Clone, Debug)]
pub struct RecordedWeather {
    hours: Vec<HourWeather>,
    /// Where the first hour of each midsummer stands in `hours`.
    begin: Vec<usize>,
    changes_on: usize,
    /// Relative standard deviation of the sun from winter to winter that a single one lacks.
    spread: f64,
}

/// One life's place in it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Winter {
    first_hour: usize,
    sun_factor: f32,
    warmer_k: f32,
}

impl RecordedWeather {
    /// From hours and when they began, gapless, whole years from the first hour of any day; `south` of the equator
    /// midsummer lies in December. A single winter is spread by `winter_spread`, the relative standard deviation of a dark
    /// month's sun over the years.
    #[must_use]
    pub fn new(hours: &[HourWeather], starts: &[HourStart], south: bool, winter_spread: f64) -> Self {
        let changes_on = MIDSUMMER[usize::from(south)];
        let mut kept: Vec<HourWeather> = hours
            .iter()
            .zip(starts)
            .filter(|(_, start)| !is_leap_day(**start))
            .map(|(hour, _)| *hour)
            .collect();
        let midsummers = midsummers(starts, south);
        let begin: Vec<usize> =
            midsummers.iter().copied().filter(|hour| hour + YEAR_HOURS <= kept.len()).collect();
        let spread = if begin.len() > 1 { 0.0 } else { winter_spread };
        if !begin.is_empty() {
            return Self { hours: kept, begin, changes_on, spread };
        }
        kept.truncate(YEAR_HOURS);
        kept.rotate_left(midsummers.first().copied().unwrap_or(0));
        Self { hours: kept, begin: vec![0], changes_on, spread }
    }

    fn draw_winter(&self, site: &SiteDraw, random: &mut Stream) -> Winter {
        let one = (random.uniform() * self.begin.len() as f64) as usize;
        let first_hour = self.begin[one.min(self.begin.len() - 1)];
        let (score, spread) = (random.normal(), self.spread);
        let sun = site.sun(MEASURED_SUN_DOUBT) * (score * spread - 0.5 * spread * spread).exp();
        Winter { first_hour, sun_factor: sun as f32, warmer_k: site.warmer_k as f32 }
    }
}

impl LifeWeather for RecordedWeather {
    type Sky = Option<Winter>;

    fn start(&self, _: &mut Stream) -> Self::Sky {
        None
    }

    fn next_day(&self, day: usize, site: &SiteDraw, sky: &mut Self::Sky, random: &mut Stream) {
        if sky.is_none() || day == self.changes_on {
            *sky = Some(self.draw_winter(site, random));
        }
    }

    fn hours(&self, day: usize, sky: &mut Self::Sky) -> DayHours {
        let winter = sky.unwrap_or_default();
        let since_midsummer = (day + YEAR_DAYS - self.changes_on) % YEAR_DAYS;
        let first = winter.first_hour + since_midsummer * HOURS_PER_DAY;
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
