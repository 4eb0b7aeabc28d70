//! Drawn weather: one day after another for one life, from a climate and its doubts.
#![expect(
    clippy::cast_possible_truncation,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use design::node::Enclosure;

use super::clearness::{Clearness, DAY_TO_DAY, Persistence, Scores};
use super::climate::Climate;
use super::irradiance::faiman_celsius;
use super::light::{ClearnessPlace, LightTable, YEAR_DAYS};
use crate::life::ensemble::{DayHours, LifeWeather};
use crate::life::unknowns::Drawn;
use crate::random::Stream;

/// Correlation of the daily mean temperature from one day to the next.
///
/// # References
/// Richardson & Wright 1984, ARS-8: 0.62 for the daily highest, 0.67 for the lowest.
const WARMTH_DAY_TO_DAY: f64 = 0.65;
/// Relative standard deviation of the December mean over the years: 24 measured years in the cloudy temperate zone.
pub const YEARLY_SPREAD: f64 = 0.17;
/// Hour of the day at which it is warmest.
const WARMEST_HOUR: f64 = 15.0;
/// Daily clearness of a cloudless sky.
const CLEAR_SKY_CLEARNESS: f32 = 0.7;
/// No wind is known; calm air makes warm cells and a careful answer [m/s].
const WIND_M_S: f64 = 1.0;
const HOURS_PER_DAY: usize = 24;

/// All that a day of drawn weather needs and no life changes.
#[derive(Clone, Debug)]
pub struct SyntheticWeather {
    light: LightTable,
    clearness: Vec<Clearness>,
    persistence: Persistence,
    days: Vec<DayNormal>,
    warmth_by_hour: [f32; HOURS_PER_DAY],
    cell_k_per_w_m2: f32,
    sun_gain_k_per_w_m2: f32,
    sky_loss_k: f32,
    box_follows: f32,
}

/// What is usual on a day of the year.
#[derive(Clone, Copy, Debug, Default)]
struct DayNormal {
    month: usize,
    air_celsius: f64,
    air_sd_k: f64,
    half_swing_k: f64,
    mean_clearness: f32,
    /// Snow lies when the day's warmth score is below this.
    snow_below_score: f64,
    sun_doubt: f64,
}

/// One life's place in its weather.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sky {
    scores: Scores,
    warmth: f64,
    day: Day,
    battery_celsius: f32,
}

/// One day of one life.
#[derive(Clone, Copy, Debug, Default)]
struct Day {
    place: ClearnessPlace,
    clearness: f32,
    air_celsius: f32,
    half_swing_k: f32,
    sun_factor: f32,
    night_loss_k: f32,
}

impl SyntheticWeather {
    /// The weather of a climate on a plane whose light is tabulated, for a battery in this box; `snow_days` lie on the
    /// tilted panel in each month.
    #[must_use]
    pub fn new(climate: &Climate, light: LightTable, snow_days: &[f64; 12], enclosure: &Enclosure) -> Self {
        let days = normal_days(climate, &light, snow_days);
        let clearness: Vec<Clearness> = (0..12).map(|month| month_clearness(climate, &days, month)).collect();
        let darkest = (0..12)
            .min_by(|one, other| climate.months[*one].ghi_wh_m2.total_cmp(&climate.months[*other].ghi_wh_m2));
        let dark = &clearness[darkest.unwrap_or(0)];
        let warmth =
            |hour: usize| (std::f64::consts::TAU * (hour as f64 + 0.5 - WARMEST_HOUR) / 24.0).cos() as f32;
        Self {
            persistence: Persistence::with_yearly_spread(DAY_TO_DAY, dark, 31, YEARLY_SPREAD),
            light,
            clearness,
            days,
            warmth_by_hour: std::array::from_fn(warmth),
            cell_k_per_w_m2: faiman_celsius(1.0, 0.0, WIND_M_S) as f32,
            sun_gain_k_per_w_m2: (enclosure.sun_gain_k / 1000.0) as f32,
            sky_loss_k: enclosure.sky_loss_k as f32,
            box_follows: (1.0 - (-1.0 / enclosure.lag.hours().max(1e-6)).exp()) as f32,
        }
    }

    /// The same weather with another persistence: for reference tables that are made with one.
    #[must_use]
    pub fn with_persistence(self, persistence: Persistence) -> Self {
        Self { persistence, ..self }
    }

    /// Light falling on the plane in the day that was drawn [Wh/m²].
    #[must_use]
    pub fn plain_day_wh_m2(&self, day: usize, sky: &Sky) -> f32 {
        self.light.plain_day_wh_m2(day, sky.day.place) * sky.day.sun_factor
    }

    /// Light falling on the ground in the day that was drawn [Wh/m²].
    #[must_use]
    pub fn ground_day_wh_m2(&self, day: usize, sky: &Sky) -> f64 {
        f64::from(sky.day.clearness) * self.light.outside_wh_m2(day)
    }
}

impl LifeWeather for SyntheticWeather {
    type Sky = Sky;

    fn start(&self, random: &mut Stream) -> Self::Sky {
        let mut sky = Sky { scores: Scores::start(random), warmth: random.normal(), ..Sky::default() };
        sky.battery_celsius = self.days.first().map_or(0.0, |day| day.air_celsius as f32);
        sky
    }

    fn next_day(&self, day: usize, drawn: &Drawn, sky: &mut Self::Sky, random: &mut Stream) {
        let normal = &self.days[day];
        let score = sky.scores.next(&self.persistence, random);
        let kept = WARMTH_DAY_TO_DAY;
        sky.warmth = kept * sky.warmth + (1.0 - kept * kept).sqrt() * random.normal();
        let clearness = self.clearness[normal.month].at(score);
        let clear_share = (clearness / CLEAR_SKY_CLEARNESS).min(1.0);
        // A clear day warms and cools more, in proportion (see `climate::DailyAir`): so the month keeps its mean swing.
        let swing = (clearness / normal.mean_clearness.max(0.05)).clamp(0.2, 2.5);
        let snowed = sky.warmth < normal.snow_below_score;
        sky.day = Day {
            place: ClearnessPlace::of(clearness),
            clearness,
            air_celsius: (normal.air_celsius + drawn.warmer_k() + sky.warmth * normal.air_sd_k) as f32,
            half_swing_k: normal.half_swing_k as f32 * swing,
            sun_factor: if snowed { 0.0 } else { drawn.sun(normal.sun_doubt) as f32 },
            night_loss_k: self.sky_loss_k * clear_share,
        };
    }

    #[inline]
    fn hours(&self, day: usize, sky: &mut Self::Sky) -> DayHours {
        let today = &sky.day;
        let light = self.light.effective_w_m2(day, today.place);
        let ghi_at_one = self.light.ghi_at_one_w_m2(day);
        let mut hours = DayHours::default();
        for (hour, now) in hours.iter_mut().enumerate() {
            now.air_celsius = today.air_celsius + today.half_swing_k * self.warmth_by_hour[hour];
            now.in_plane_w_m2 = light[hour] * today.sun_factor;
            now.cell_celsius = now.air_celsius + self.cell_k_per_w_m2 * now.in_plane_w_m2;
            let lit = ghi_at_one[hour] > 0.0;
            let warmed_k = self.sun_gain_k_per_w_m2 * ghi_at_one[hour] * today.clearness;
            let inside_celsius = now.air_celsius + if lit { warmed_k } else { -today.night_loss_k };
            sky.battery_celsius += self.box_follows * (inside_celsius - sky.battery_celsius);
            now.battery_celsius = sky.battery_celsius;
        }
        hours
    }
}

fn month_clearness(climate: &Climate, days: &[DayNormal], month: usize) -> Clearness {
    let mean = days.iter().find(|day| day.month == month).map_or(0.5, |day| f64::from(day.mean_clearness));
    let shape = match &climate.months[month].clearness_rows {
        Some(rows) => Clearness::from_rows(rows),
        None => Clearness::with_mean(mean),
    };
    // Days of one month are not equally long, and some months lie beyond the fit of the formula.
    shape.scaled_to(mean)
}

/// Months drawn out into days: air and swing run smoothly from mid-month to mid-month, clearness keeps to its month.
fn normal_days(climate: &Climate, light: &LightTable, snow_days: &[f64; 12]) -> Vec<DayNormal> {
    let dates = super::light::nominal_hours();
    let month_of = |day: usize| usize::from(dates[day * HOURS_PER_DAY].month) - 1;
    let outside: Vec<f64> = (0..12)
        .map(|month| {
            (0..YEAR_DAYS).filter(|day| month_of(*day) == month).map(|day| light.outside_wh_m2(day)).sum()
        })
        .collect();
    (0..YEAR_DAYS)
        .map(|day| {
            let date = dates[day * HOURS_PER_DAY];
            let month = month_of(day);
            let here = &climate.months[month];
            let length = dates.iter().filter(|other| other.month == date.month).count() as f64 / 24.0;
            let past_middle = (f64::from(date.day) - 0.5) / length - 0.5;
            let neighbour = if past_middle < 0.0 { (month + 11) % 12 } else { (month + 1) % 12 };
            let toward = &climate.months[neighbour];
            let between = |one: f64, other: f64| one + past_middle.abs() * (other - one);
            let snow_share = (snow_days[month] / length).clamp(0.0, 1.0);
            DayNormal {
                month,
                air_celsius: between(here.air_celsius, toward.air_celsius),
                air_sd_k: between(here.day_sd_k, toward.day_sd_k),
                half_swing_k: 0.5 * between(here.daily_swing_k, toward.daily_swing_k),
                mean_clearness: (here.ghi_wh_m2 * length / outside[month].max(1.0)).clamp(0.0, 0.8) as f32,
                snow_below_score: snow_score(snow_share),
                sun_doubt: here.sun_doubt,
            }
        })
        .collect()
}

fn snow_score(share: f64) -> f64 {
    if share <= 0.0 {
        f64::NEG_INFINITY
    } else if share >= 1.0 {
        f64::INFINITY
    } else {
        crate::random::normal_quantile(share)
    }
}
