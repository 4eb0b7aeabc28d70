//! Drawn weather: one day after another for one life, from a climate and its doubts.
#![expect(
    clippy::cast_possible_truncation,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use design::node::Enclosure;

use super::clearness::Clearness;
use super::climate::{Climate, MonthClimate, noon_sine};
use super::hours::{DayHours, LifeWeather, SiteDraw};
use super::irradiance::faiman_celsius;
use super::light::{ClearnessPlace, LARGEST_CLEARNESS, LightTable, YEAR_DAYS};
use super::persistence::{Persistence, Scores, next_month};
use super::warmth::{MonthOfAir, Warmth, alone, together, winter};
use crate::random::Stream;

/// Below this the sun is too low for a clearness: its month takes that of the nearest month with sun [Wh/m²].
const LEAST_OUTSIDE_WH_M2: f64 = 150.0;
/// The course of clearness is held within these shares of a month's mean, and below the last, the most of any month.
const COURSE_WITHIN: (f64, f64) = (0.3, 1.7);
const MOST_CLEARNESS: f64 = 0.8;
/// Rounds in which the lines meet their months: low sun at the edge of a polar night takes most.
const ROUNDS: usize = 200;
/// Hour of the day at which it is warmest.
const WARMEST_HOUR: f64 = 15.0;
/// Daily clearness of a cloudless sky.
const CLEAR_SKY_CLEARNESS: f32 = 0.7;
/// No wind is known; calm air makes warm cells and a careful answer [m/s].
const WIND_M_S: f64 = 1.0;
const HOURS_PER_DAY: usize = 24;
/// Figures by which a sky goes on elsewhere.
pub(crate) const SKY_FIGURES: usize = 9;
/// A temperature that was measured is taken for no farther off, in standard deviations: beyond, the sensor is warm.
const FARTHEST_SCORE: f64 = 3.5;

/// All that a day of drawn weather needs and no life changes.
#[derive(Clone, Debug)]
pub struct SyntheticWeather {
    light: LightTable,
    months: Vec<MonthNormal>,
    days: Vec<DayNormal>,
    warmth_by_hour: [f32; HOURS_PER_DAY],
    cell_k_per_w_m2: f32,
    sky_loss_k: f32,
    in_box: InBox,
    /// Standard deviation of the logarithm of the life's own factor on the spread of temperatures.
    air_sd_doubt: f64,
}

/// What the days of a month have in common.
#[derive(Clone, Debug)]
struct MonthNormal {
    clearness: Clearness,
    persistence: Persistence,
    warmth: Warmth,
    sun_doubt: f64,
    /// Snow lies when the day's warmth score is below this.
    snow_below_score: f64,
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
    /// Its mean, and the same over that of its month.
    mean_clearness: f32,
    course: f32,
}

/// One life's place in its weather.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sky {
    scores: Scores,
    /// Scores of the day's warmth and of the season's.
    warmth: f64,
    slow_warmth: f64,
    /// The life's own factor on the spread of temperatures.
    air_spread: f64,
    day: Day,
    battery_celsius: f32,
    /// The month that is being drawn, and the life's own factor on its sun.
    month: Option<usize>,
    sun_factor: f32,
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

impl Sky {
    /// What it remembers from one day to the next, for [`Self::take_figures`].
    pub(crate) fn figures(&self) -> [f64; SKY_FIGURES] {
        let [fast, news, slow] = self.scores.figures();
        let month = self.month.map_or(-1.0, |month| month as f64);
        let (battery, sun) = (f64::from(self.battery_celsius), f64::from(self.sun_factor));
        [fast, news, slow, self.warmth, self.slow_warmth, self.air_spread, battery, month, sun]
    }

    /// Goes on where another sky of this climate stood.
    #[expect(clippy::cast_sign_loss, reason = "a month from 0 to 11")]
    pub(crate) fn take_figures(&mut self, figures: &[f64; SKY_FIGURES]) {
        let [fast, news, slow, warmth, slow_warmth, air_spread, battery, month, sun] = *figures;
        self.scores = Scores::of_figures([fast, news, slow]);
        (self.warmth, self.slow_warmth, self.air_spread) = (warmth, slow_warmth, air_spread);
        (self.battery_celsius, self.sun_factor) = (battery as f32, sun as f32);
        self.month = (0.0..12.0).contains(&month).then_some(month as usize);
    }

    /// Score of the day that was drawn, its season apart.
    pub(crate) fn score(&self) -> f64 {
        self.scores.fast()
    }

    /// The battery was really this warm at the end of the last day \[°C\].
    pub(crate) fn warm_battery(&mut self, celsius: f32) {
        self.battery_celsius = celsius;
    }
}

impl SyntheticWeather {
    /// The weather of a climate on a plane whose light is tabulated, for a battery in this box; `snow_days` lie on the
    /// tilted panel in each month.
    #[must_use]
    pub fn new(climate: &Climate, light: LightTable, snow_days: &[f64; 12], enclosure: &Enclosure) -> Self {
        let days = normal_days(climate, &light);
        let months = (0..12).map(|month| MonthNormal::new(climate, &days, month, snow_days[month])).collect();
        let warmth =
            |hour: usize| (std::f64::consts::TAU * (hour as f64 + 0.5 - WARMEST_HOUR) / 24.0).cos() as f32;
        let warmth_by_hour = std::array::from_fn(warmth);
        Self {
            months,
            in_box: InBox::new(enclosure, &light, &warmth_by_hour),
            light,
            days,
            warmth_by_hour,
            cell_k_per_w_m2: faiman_celsius(1.0, 0.0, WIND_M_S) as f32,
            sky_loss_k: enclosure.sky_loss_k as f32,
            air_sd_doubt: climate.day_sd_doubt,
        }
    }

    /// The same weather with another persistence: for reference tables that are made with one.
    #[must_use]
    pub fn with_persistence(mut self, persistence: Persistence) -> Self {
        self.months.iter_mut().for_each(|month| month.persistence = persistence);
        self
    }

    /// Light falling on the plane in the day that was drawn [Wh/m²].
    #[must_use]
    pub fn plain_day_wh_m2(&self, day: usize, sky: &Sky) -> f32 {
        self.light.plain_day_wh_m2(day, sky.day.place) * sky.day.sun_factor
    }

    /// Mean temperature of the air in the day that was drawn [°C].
    #[must_use]
    pub fn air_day_celsius(&self, sky: &Sky) -> f64 {
        f64::from(sky.day.air_celsius)
    }

    /// The day that was drawn was really this warm \[°C\]: its memory is brought in line.
    pub(crate) fn see_air(&self, day: usize, site: &SiteDraw, sky: &mut Sky, celsius: f64) {
        let normal = &self.days[day];
        let spread_k = normal.air_sd_k * sky.air_spread;
        if spread_k > 0.0 {
            let score = (celsius - normal.air_celsius - site.warmer_k) / spread_k;
            sky.warmth = alone(score.clamp(-FARTHEST_SCORE, FARTHEST_SCORE), sky.slow_warmth);
        }
        sky.day.air_celsius = celsius as f32;
    }

    /// Light of the day that was drawn over what is usual on this day of the year.
    pub(crate) fn over_usual(&self, day: usize, sky: &Sky) -> f64 {
        f64::from(sky.day.clearness * sky.day.sun_factor / self.days[day].mean_clearness.max(0.01))
    }

    /// The day that was drawn really had so many times the light that is usual.
    pub(crate) fn see_light(&self, day: usize, sky: &mut Sky, over_usual: f64) {
        let clearness = self.days[day].mean_clearness * over_usual as f32;
        let clearness = clearness.clamp(0.0, LARGEST_CLEARNESS as f32);
        (sky.day.place, sky.day.clearness, sky.day.sun_factor) =
            (ClearnessPlace::of(clearness), clearness, 1.0);
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
        Sky {
            slow_warmth: random.normal(),
            air_spread: (self.air_sd_doubt * random.normal()).exp(),
            battery_celsius: self.days.first().map_or(0.0, |day| day.air_celsius as f32),
            ..Sky::default()
        }
    }

    fn next_day(&self, day: usize, site: &SiteDraw, sky: &mut Self::Sky, random: &mut Stream) {
        let normal = &self.days[day];
        let month = &self.months[normal.month];
        if sky.month != Some(normal.month) {
            month.turn(sky, site, random);
            sky.month = Some(normal.month);
        }
        let score = sky.scores.next(&month.persistence, random);
        sky.warmth = month.warmth.next(sky.warmth, sky.scores.fast(), random.normal());
        let warmth = together(sky.warmth, sky.slow_warmth);
        let strays_k = month.warmth.deviation(warmth) * normal.air_sd_k * sky.air_spread;
        let clearness = (month.clearness.at(score) * normal.course).min(LARGEST_CLEARNESS as f32);
        let clear_share = (clearness / CLEAR_SKY_CLEARNESS).min(1.0);
        // A clear day warms and cools more, in proportion: so the month keeps its mean swing.
        let swing = (clearness / normal.mean_clearness.max(0.05)).clamp(0.2, 2.5);
        let snowed = warmth < month.snow_below_score;
        sky.day = Day {
            place: ClearnessPlace::of(clearness),
            clearness,
            air_celsius: (normal.air_celsius + site.warmer_k + strays_k) as f32,
            half_swing_k: normal.half_swing_k as f32 * swing,
            sun_factor: if snowed { 0.0 } else { sky.sun_factor },
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

impl MonthNormal {
    fn new(climate: &Climate, days: &[DayNormal], month: usize, snow_days: f64) -> Self {
        let known = &climate.months[month];
        let own = || days.iter().filter(|day| day.month == month);
        let lit = own().find(|day| day.course > 0.0);
        let mean = lit.map_or(0.0, |day| f64::from(day.mean_clearness / day.course));
        let noon_sine = noon_sine(climate.latitude, month);
        let persistence = Persistence::of_sky(noon_sine);
        let air = MonthOfAir {
            latitude_deg: climate.latitude.degrees(),
            winter: winter(climate.latitude.degrees(), month),
            noon_sine,
            clearness: mean,
            celsius: known.air_celsius,
        };
        Self {
            clearness: Clearness::of_days(mean, &known.unevenness),
            warmth: Warmth::new(&air, &persistence),
            persistence,
            sun_doubt: known.sun_doubt,
            snow_below_score: snow_score((snow_days / own().count() as f64).clamp(0.0, 1.0)),
        }
    }

    /// A life comes into this month, or begins in it.
    fn turn(&self, sky: &mut Sky, site: &SiteDraw, random: &mut Stream) {
        if sky.month.is_none() {
            sky.scores = Scores::start(&self.persistence, random);
            sky.warmth = self.warmth.start(sky.scores.fast(), random.normal());
        }
        sky.scores.turn_month(random);
        sky.slow_warmth = next_month(sky.slow_warmth, random);
        sky.sun_factor = site.sun(self.sun_doubt) as f32;
    }
}

/// Months drawn out into days: air, swing and clearness run straight from mid-month to mid-month.
fn normal_days(climate: &Climate, light: &LightTable) -> Vec<DayNormal> {
    let places = places_in_months();
    let at_middles = |of: &dyn Fn(&MonthClimate) -> f64| {
        at_middles(std::array::from_fn(|month| of(&climate.months[month])), &places)
    };
    let air_celsius = at_middles(&|month| month.air_celsius);
    let air_sd_k = at_middles(&|month| month.day_sd_k);
    let swing_k = at_middles(&|month| month.daily_swing_k);
    let outside: Vec<f64> = (0..places.len()).map(|day| light.outside_wh_m2(day)).collect();
    let clearness =
        ClearnessCourse::new(&climate.months.each_ref().map(|month| month.ghi_wh_m2), &outside, &places);
    let normal = |(day, place): (usize, &PlaceInMonth)| {
        let mean = clearness.months[place.month];
        DayNormal {
            month: place.month,
            air_celsius: place.between(&air_celsius),
            air_sd_k: place.between(&air_sd_k).max(0.0),
            half_swing_k: 0.5 * place.between(&swing_k).max(0.0),
            mean_clearness: clearness.days[day] as f32,
            course: if mean > 0.0 { (clearness.days[day] / mean) as f32 } else { 0.0 },
        }
    };
    places.iter().enumerate().map(normal).collect()
}

/// Mean clearness day by day: straight lines that keep the months' sun.
///
/// # References
/// Sheng & Zwiers 1998, *Climate Dynamics* 14, 609-613, weighted by the irradiation outside the air.
struct ClearnessCourse {
    months: [f64; 12],
    days: Vec<f64>,
}

impl ClearnessCourse {
    /// From the months' daily means on the horizontal and the days' irradiation outside the air [Wh/m²].
    fn new(ghi_wh_m2: &[f64; 12], outside_wh_m2: &[f64], places: &[PlaceInMonth]) -> Self {
        let outside = summed(places, outside_wh_m2);
        let lengths = summed(places, &vec![1.0; places.len()]);
        let months: [f64; 12] = std::array::from_fn(|month| {
            (ghi_wh_m2[month] * lengths[month] / outside[month].max(1.0)).clamp(0.0, MOST_CLEARNESS)
        });
        let lit: [bool; 12] =
            std::array::from_fn(|month| outside[month] > LEAST_OUTSIDE_WH_M2 * lengths[month]);
        let means: [f64; 12] = std::array::from_fn(|month| months[nearest(&lit, month)]);
        let mut middles = means;
        for _ in 0..ROUNDS {
            let lines: Vec<f64> =
                places.iter().zip(outside_wh_m2).map(|(place, wh)| wh * place.between(&middles)).collect();
            let found = summed(places, &lines);
            for month in (0..12).filter(|month| lit[*month]) {
                let (low, high) = COURSE_WITHIN;
                let moved = middles[month] + means[month] - found[month] / outside[month];
                middles[month] = moved.clamp(low * means[month], high * means[month]);
            }
        }
        let mut days: Vec<f64> = places.iter().map(|place| place.between(&middles)).collect();
        // What the bounds took is given back, below the most that there is.
        for _ in 0..ROUNDS {
            let sun: Vec<f64> = days.iter().zip(outside_wh_m2).map(|(day, wh)| day * wh).collect();
            let found = summed(places, &sun);
            for (day, PlaceInMonth { month, .. }) in days.iter_mut().zip(places) {
                let factor = months[*month] * outside[*month] / found[*month];
                *day = if found[*month] > 0.0 { (*day * factor).clamp(0.0, MOST_CLEARNESS) } else { 0.0 };
            }
        }
        Self { months, days }
    }
}

/// Sums of a value per day by month.
fn summed(places: &[PlaceInMonth], values: &[f64]) -> [f64; 12] {
    let mut sums = [0.0; 12];
    places.iter().zip(values).for_each(|(place, value)| sums[place.month] += value);
    sums
}

/// The month itself if it has sun, else the nearest that has; itself if none has.
fn nearest(lit: &[bool; 12], month: usize) -> usize {
    (0..=6)
        .flat_map(|away| [(month + away) % 12, (month + 12 - away) % 12])
        .find(|month| lit[*month])
        .unwrap_or(month)
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

#[cfg(test)]
mod tests {
    use design::quantity::{Angle, Length};

    use super::*;
    use crate::sky::climate::Climate;
    use crate::sky::monthly::extraterrestrial_day_wh_m2;

    /// Every cell of the land: what falls outside the air, weighed by the lines, is the month's sun.
    #[test]
    fn lines_of_clearness_keep_the_sun_of_every_month_of_every_cell() {
        let places = places_in_months();
        let dates: Vec<_> = crate::sky::light::nominal_hours().into_iter().step_by(HOURS_PER_DAY).collect();
        let mut cells = 0;
        for latitude in (-57..=72).step_by(3) {
            let angle = Angle::from_degrees(f64::from(latitude));
            let outside: Vec<f64> =
                dates.iter().map(|date| extraterrestrial_day_wh_m2(angle, date.month, date.day)).collect();
            let whole = summed(&places, &outside);
            for longitude in (-180..180).step_by(3) {
                let longitude = Angle::from_degrees(f64::from(longitude));
                let Ok(climate) = Climate::builtin(angle, longitude, Length::ZERO) else { continue };
                cells += 1;
                let ghi = climate.months.each_ref().map(|month| month.ghi_wh_m2);
                let course = ClearnessCourse::new(&ghi, &outside, &places);
                assert!(course.days.iter().all(|day| (0.0..=MOST_CLEARNESS).contains(day)));
                let sun: Vec<f64> = course.days.iter().zip(&outside).map(|(day, wh)| day * wh).collect();
                let found = summed(&places, &sun);
                for month in (0..12).filter(|month| whole[*month] > 1.0) {
                    let wanted = course.months[month] * whole[month];
                    assert!((found[month] / wanted - 1.0).abs() < 1e-6, "{latitude} {longitude:?} {month}");
                }
            }
        }
        assert!(cells > 2000, "{cells}");
    }
}
