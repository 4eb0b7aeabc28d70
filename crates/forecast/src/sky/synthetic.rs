//! Drawn weather: one day after another for one life, from a climate and its doubts.
#![expect(
    clippy::cast_possible_truncation,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use design::node::Enclosure;

use super::clearness::{Clearness, DAY_TO_DAY, Persistence, Scores};
use super::climate::{Climate, MonthClimate};
use super::hours::{DayHours, LifeWeather, SiteDraw};
use super::irradiance::faiman_celsius;
use super::light::{ClearnessPlace, LightTable, YEAR_DAYS};
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
    sky_loss_k: f32,
    in_box: InBox,
    /// Standard deviation of what a day adds to the score of warmth.
    warmth_noise: f64,
}

/// How a battery in its box follows the day from hour to hour: its lag is linear, so that what each cause alone makes of
/// it is tabulated, and the hours of a day need not wait for one another.
#[derive(Clone, Debug)]
struct InBox {
    /// Share that is left of its temperature at the day's start.
    left: [f32; HOURS_PER_DAY],
    /// Per kelvin of the air's half swing.
    by_swing: [f32; HOURS_PER_DAY],
    /// By day of the year: what the sun adds at clearness 1, and the hours without sun per kelvin lost to the sky \[K\].
    by_day: Vec<[[f32; HOURS_PER_DAY]; 2]>,
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
    /// The month that is being drawn, and the life's own factor on its sun.
    sun_of_month: Option<(usize, f32)>,
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
        let warmth_by_hour = std::array::from_fn(warmth);
        Self {
            persistence: Persistence::with_yearly_spread(DAY_TO_DAY, dark, 31, YEARLY_SPREAD),
            in_box: InBox::new(enclosure, &light, &warmth_by_hour),
            light,
            clearness,
            days,
            warmth_by_hour,
            cell_k_per_w_m2: faiman_celsius(1.0, 0.0, WIND_M_S) as f32,
            sky_loss_k: enclosure.sky_loss_k as f32,
            warmth_noise: (1.0 - WARMTH_DAY_TO_DAY * WARMTH_DAY_TO_DAY).sqrt(),
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

    fn next_day(&self, day: usize, site: &SiteDraw, sky: &mut Self::Sky, random: &mut Stream) {
        let normal = &self.days[day];
        let score = sky.scores.next(&self.persistence, random);
        sky.warmth = WARMTH_DAY_TO_DAY * sky.warmth + self.warmth_noise * random.normal();
        let sun_factor = match sky.sun_of_month {
            Some((month, factor)) if month == normal.month => factor,
            _ => site.sun(normal.sun_doubt) as f32,
        };
        sky.sun_of_month = Some((normal.month, sun_factor));
        let clearness = self.clearness[normal.month].at(score);
        let clear_share = (clearness / CLEAR_SKY_CLEARNESS).min(1.0);
        // A clear day warms and cools more, in proportion (see `climate::DailyAir`): so the month keeps its mean swing.
        let swing = (clearness / normal.mean_clearness.max(0.05)).clamp(0.2, 2.5);
        let snowed = sky.warmth < normal.snow_below_score;
        sky.day = Day {
            place: ClearnessPlace::of(clearness),
            clearness,
            air_celsius: (normal.air_celsius + site.warmer_k + sky.warmth * normal.air_sd_k) as f32,
            half_swing_k: normal.half_swing_k as f32 * swing,
            sun_factor: if snowed { 0.0 } else { sun_factor },
            night_loss_k: self.sky_loss_k * clear_share,
        };
    }

    #[inline]
    fn hours(&self, day: usize, sky: &mut Self::Sky) -> DayHours {
        let Day { place, clearness, air_celsius, half_swing_k, sun_factor, night_loss_k } = sky.day;
        let (low, high) = self.light.rows(day, place);
        let [sun_k, night] = &self.in_box.by_day[day];
        let off_k = sky.battery_celsius - air_celsius;
        let mut hours = DayHours::default();
        for hour in 0..HOURS_PER_DAY {
            let in_plane_w_m2 = (low[hour] + place.share() * (high[hour] - low[hour])) * sun_factor;
            let air = air_celsius + half_swing_k * self.warmth_by_hour[hour];
            let followed =
                air_celsius + half_swing_k * self.in_box.by_swing[hour] + off_k * self.in_box.left[hour];
            hours.in_plane_w_m2[hour] = in_plane_w_m2;
            hours.air_celsius[hour] = air;
            hours.cell_celsius[hour] = air + self.cell_k_per_w_m2 * in_plane_w_m2;
            hours.battery_celsius[hour] = followed + clearness * sun_k[hour] - night_loss_k * night[hour];
        }
        sky.battery_celsius = hours.battery_celsius[HOURS_PER_DAY - 1];
        hours
    }
}

impl InBox {
    fn new(enclosure: &Enclosure, light: &LightTable, warmth_by_hour: &[f32; HOURS_PER_DAY]) -> Self {
        let kept = (-1.0 / enclosure.lag.hours().max(1e-6)).exp() as f32;
        let gain_k_per_w_m2 = (enclosure.sun_gain_k / 1000.0) as f32;
        let of_day = |day: usize| {
            let ghi_at_one = light.ghi_at_one_w_m2(day);
            [
                lagged(kept, &ghi_at_one.map(|ghi_w_m2| gain_k_per_w_m2 * ghi_w_m2)),
                lagged(kept, &ghi_at_one.map(|ghi_w_m2| if ghi_w_m2 > 0.0 { 0.0 } else { 1.0 })),
            ]
        };
        let followed = lagged(kept, &[1.0; HOURS_PER_DAY]);
        Self {
            left: followed.map(|share| 1.0 - share),
            by_swing: lagged(kept, warmth_by_hour),
            by_day: (0..YEAR_DAYS).map(of_day).collect(),
        }
    }
}

/// What a first-order lag makes of the hours of a day, from nothing.
fn lagged(kept: f32, hours: &[f32; HOURS_PER_DAY]) -> [f32; HOURS_PER_DAY] {
    let mut follows = 0.0;
    hours.map(|hour| {
        follows += (1.0 - kept) * (hour - follows);
        follows
    })
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

/// Months drawn out into days: air and swing run straight from mid-month to mid-month, clearness keeps to its month.
fn normal_days(climate: &Climate, light: &LightTable, snow_days: &[f64; 12]) -> Vec<DayNormal> {
    let places = places_in_months();
    let lengths: [f64; 12] =
        std::array::from_fn(|month| places.iter().filter(|place| place.month == month).count() as f64);
    let mut outside = [0.0; 12];
    for (day, place) in places.iter().enumerate() {
        outside[place.month] += light.outside_wh_m2(day);
    }
    let at_middles = |of: &dyn Fn(&MonthClimate) -> f64| {
        at_middles(std::array::from_fn(|month| of(&climate.months[month])), &places)
    };
    let air_celsius = at_middles(&|month| month.air_celsius);
    let air_sd_k = at_middles(&|month| month.day_sd_k);
    let swing_k = at_middles(&|month| month.daily_swing_k);
    let normal = |place: &PlaceInMonth| {
        let (month, length) = (place.month, lengths[place.month]);
        let here = &climate.months[month];
        DayNormal {
            month,
            air_celsius: place.between(&air_celsius),
            air_sd_k: place.between(&air_sd_k).max(0.0),
            half_swing_k: 0.5 * place.between(&swing_k).max(0.0),
            mean_clearness: (here.ghi_wh_m2 * length / outside[month].max(1.0)).clamp(0.0, 0.8) as f32,
            snow_below_score: snow_score((snow_days[month] / length).clamp(0.0, 1.0)),
            sun_doubt: here.sun_doubt,
        }
    };
    places.iter().map(normal).collect()
}

/// Where a day stands in its month, January being 0.
struct PlaceInMonth {
    month: usize,
    /// Share of the month from its middle, -0.5 to 0.5.
    past_middle: f64,
}

impl PlaceInMonth {
    /// The value on the straight line from the middle of this month to that of the nearer neighbour.
    fn between(&self, at_middles: &[f64; 12]) -> f64 {
        let neighbour = (self.month + if self.past_middle < 0.0 { 11 } else { 1 }) % 12;
        let here = at_middles[self.month];
        here + self.past_middle.abs() * (at_middles[neighbour] - here)
    }
}

fn places_in_months() -> Vec<PlaceInMonth> {
    let dates: Vec<_> = super::light::nominal_hours().into_iter().step_by(HOURS_PER_DAY).collect();
    let month = dates.chunk_by(|one, next| one.month == next.month);
    let place = |days: usize, day: usize| (day as f64 + 0.5) / days as f64 - 0.5;
    let places = month.enumerate().flat_map(|(month, days)| {
        (0..days.len()).map(move |day| PlaceInMonth { month, past_middle: place(days.len(), day) })
    });
    places.collect()
}

/// Values at the middles of the months between which straight lines keep these means of the months: a coldest month lies
/// wholly on the warm side of its middle, which must then be colder than its mean.
fn at_middles(means: [f64; 12], places: &[PlaceInMonth]) -> [f64; 12] {
    let mut at_middles = means;
    // Each round leaves at most half of the error.
    for _ in 0..60 {
        let mut sums = [(0.0, 0.0); 12];
        for place in places {
            sums[place.month].0 += place.between(&at_middles);
            sums[place.month].1 += 1.0;
        }
        for ((value, mean), (sum, days)) in at_middles.iter_mut().zip(means).zip(sums) {
            *value += mean - sum / days;
        }
    }
    at_middles
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
