//! Light on a plane by hour of the year and clearness of the day, so that a synthetic hour costs one interpolation.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use super::decompose::erbs_daily;
use super::irradiance::{SOLAR_CONSTANT_W_M2, extraterrestrial_normal_w_m2};
use super::monthly;
use super::plane::{InPlane, PlaneTable};
use super::sun::day_of_year;
use super::transpose::SkyModel;
use super::weather::HourStart;

/// Hours of the nominal year.
pub const YEAR_HOURS: usize = 8760;
/// Days of the nominal year.
pub const YEAR_DAYS: usize = 365;
const HOURS_PER_DAY: usize = 24;
/// The nominal year: no leap day.
pub const NOMINAL_YEAR: i32 = 2025;

/// The sky under which the mean hours of drawn days fall on a plane.
///
/// Over three winters of measured diffuse light on 60 degrees Perez' sky makes 1.3 % too much of all days and 8 to 12 % of
/// those below clearness 0.2; Hay and Davies' sky 11 to 20 % of the latter, and 12 % too little of those up to 0.4
/// (`tests/generator.rs`).
pub const MEAN_HOUR_SKY: SkyModel = SkyModel::Perez;

/// Clearnesses tabulated: 0 to 0.9.
const LEVELS: usize = 25;
/// No day is brighter.
pub(super) const LARGEST_CLEARNESS: f64 = 0.9;

/// A clearness as a place in the table: row below and share of the way to the next.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ClearnessPlace {
    row: usize,
    share: f32,
}

impl ClearnessPlace {
    /// The place of a daily clearness; held at the ends.
    #[inline]
    #[must_use]
    pub fn of(clearness: f32) -> Self {
        let place =
            (clearness * ((LEVELS - 1) as f32 / LARGEST_CLEARNESS as f32)).clamp(0.0, (LEVELS - 1) as f32);
        let row = (place as usize).min(LEVELS - 2);
        Self { row, share: place - row as f32 }
    }

    /// Share of the way from the row below to the row above.
    #[inline]
    #[must_use]
    pub fn share(self) -> f32 {
        self.share
    }
}

/// Light on a plane for every hour of the nominal year and every clearness of its day.
///
/// A day of clearness K is split by the *daily* correlation and spread over its hours by the mean profiles of global and
/// diffuse light: smooth hours split by the hourly correlation would lose 9 % of a steep panel's winter (measured hourly
/// diffuse, November to February, 60 degrees).
#[derive(Clone, Debug)]
pub struct LightTable {
    /// After the cover [W/m²]: by day, clearness and hour.
    effective: Vec<[[f32; HOURS_PER_DAY]; LEVELS]>,
    /// Before it, per day [Wh/m²].
    plain_day_wh_m2: Vec<[f32; LEVELS]>,
    /// Global light on the horizontal at clearness 1 [W/m²].
    ghi_at_one_w_m2: Vec<[f32; HOURS_PER_DAY]>,
    outside_wh_m2: Vec<f64>,
}

/// The hours of the nominal year.
#[must_use]
pub fn nominal_hours() -> Vec<HourStart> {
    const DAYS: [u8; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let days = DAYS.iter().zip(1..).flat_map(|(days, month)| (1..=*days).map(move |day| (month, day)));
    days.flat_map(|(month, day)| (0..24).map(move |hour| HourStart { year: NOMINAL_YEAR, month, day, hour }))
        .collect()
}

impl LightTable {
    /// Tabulates a plane whose table was made for [`nominal_hours`] on the mean solar clock of its longitude.
    #[must_use]
    pub fn new(plane: &PlaneTable, latitude_deg: f64) -> Self {
        let hours = nominal_hours();
        let mut table = Self {
            effective: vec![[[0.0; HOURS_PER_DAY]; LEVELS]; YEAR_DAYS],
            plain_day_wh_m2: vec![[0.0; LEVELS]; YEAR_DAYS],
            ghi_at_one_w_m2: vec![[0.0; HOURS_PER_DAY]; YEAR_DAYS],
            outside_wh_m2: Vec::with_capacity(YEAR_DAYS),
        };
        for day in 0..YEAR_DAYS {
            let date = hours[day * HOURS_PER_DAY];
            table.tabulate_day(plane, latitude_deg, day, day_of_year(NOMINAL_YEAR, date.month, date.day));
        }
        table
    }

    fn tabulate_day(&mut self, plane: &PlaneTable, latitude_deg: f64, day: usize, number: u16) {
        let declination_deg = monthly::declination_deg(number);
        let sunset_deg = monthly::sunset_hour_angle_deg(latitude_deg, declination_deg);
        let normal_w_m2 = extraterrestrial_normal_w_m2(number, SOLAR_CONSTANT_W_M2);
        let outside_wh_m2 = monthly::day_outside_wh_m2(latitude_deg, declination_deg, normal_w_m2);
        self.outside_wh_m2.push(outside_wh_m2);
        if outside_wh_m2 < 1.0 {
            return;
        }
        let equation_h = monthly::equation_of_time_min(number) / 60.0;
        let angle_deg = |hour: usize| 15.0 * (hour as f64 + 0.5 + equation_h - 12.0);
        let global = shares(|hour| monthly::global_hour_share(angle_deg(hour), sunset_deg));
        let diffuse = shares(|hour| monthly::diffuse_hour_share(angle_deg(hour), sunset_deg));
        for level in 0..LEVELS {
            let clearness = LARGEST_CLEARNESS * level as f64 / (LEVELS - 1) as f64;
            let day_wh_m2 = clearness * outside_wh_m2;
            let diffuse_wh_m2 = day_wh_m2 * erbs_daily(clearness, sunset_deg);
            for (hour, (global, diffuse)) in global.iter().zip(&diffuse).enumerate() {
                let (ghi_w_m2, dhi_w_m2) = (day_wh_m2 * global, diffuse_wh_m2 * diffuse);
                let index = day * HOURS_PER_DAY + hour;
                let InPlane { plain_w_m2, effective_w_m2 } =
                    plane.of_horizontal(index, ghi_w_m2, dhi_w_m2.min(ghi_w_m2));
                self.effective[day][level][hour] = effective_w_m2 as f32;
                self.plain_day_wh_m2[day][level] += plain_w_m2 as f32;
            }
        }
        self.ghi_at_one_w_m2[day] = global.map(|share| (outside_wh_m2 * share) as f32);
    }

    /// Scales the light of every hour, by what dirt, shade and roofs leave of it.
    pub fn scale(&mut self, kept: impl Fn(usize) -> f32) {
        for (day, levels) in self.effective.iter_mut().enumerate() {
            let kept: [f32; HOURS_PER_DAY] = std::array::from_fn(|hour| kept(day * HOURS_PER_DAY + hour));
            for light in levels {
                light.iter_mut().zip(&kept).for_each(|(light, kept)| *light *= kept);
            }
        }
    }

    /// Light past the cover in the hours of a day of the year [W/m²], at the clearness below the place and at that above.
    #[inline]
    #[must_use]
    pub fn rows(
        &self,
        day: usize,
        clearness: ClearnessPlace,
    ) -> (&[f32; HOURS_PER_DAY], &[f32; HOURS_PER_DAY]) {
        let levels = &self.effective[day];
        (&levels[clearness.row], &levels[clearness.row + 1])
    }

    /// Light falling on the plane in a day of the year [Wh/m²].
    #[must_use]
    pub fn plain_day_wh_m2(&self, day: usize, clearness: ClearnessPlace) -> f32 {
        let (low, high) =
            (self.plain_day_wh_m2[day][clearness.row], self.plain_day_wh_m2[day][clearness.row + 1]);
        low + clearness.share * (high - low)
    }

    /// Global light on the horizontal in the hours of a day of the year, per unit of clearness [W/m²].
    #[inline]
    #[must_use]
    pub fn ghi_at_one_w_m2(&self, day: usize) -> &[f32; HOURS_PER_DAY] {
        &self.ghi_at_one_w_m2[day]
    }

    /// Irradiation outside the air on the horizontal in a day of the year [Wh/m²].
    #[must_use]
    pub fn outside_wh_m2(&self, day: usize) -> f64 {
        self.outside_wh_m2[day]
    }
}

/// The shares of a day's light by hour, scaled to sum to one.
fn shares(of: impl Fn(usize) -> f64) -> [f64; HOURS_PER_DAY] {
    let raw: [f64; HOURS_PER_DAY] = std::array::from_fn(|hour| of(hour).max(0.0));
    let sum: f64 = raw.iter().sum();
    raw.map(|share| if sum > 0.0 { share / sum } else { 0.0 })
}
