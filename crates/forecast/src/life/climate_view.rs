//! What a climate means for one panel: month by month, the darkest fortnight, and how long the dark lasts.

use design::node::Design;

use super::weather as record;
use crate::diary::Diary;
use crate::random::Stream;
use crate::sky::climate::Climate;
use crate::sky::hours::{LifeWeather, SiteDraw};
use crate::sky::light::{YEAR_DAYS, nominal_hours};
use crate::stats::quantile;

/// Years drawn: the tenth darkest of a hundred is then known to about 2 % of its rank.
const YEARS: usize = 300;
const FORTNIGHT_DAYS: usize = 14;
/// A day is dark with less than this share of what a day of the darkest month brings on average.
const DARK_SHARE: f64 = 0.5;
/// Without any sun at all, as in polar night, every day is dark [Wh/m²].
const NO_SUN_WH_M2: f64 = 1.0;
/// Drawn years have a weather of their own.
const DRAWN_YEARS: u64 = 1 << 42;

/// What is assumed of the weather at a node.
#[derive(Clone, Debug, PartialEq)]
pub struct ClimateView {
    /// Where the numbers come from, in words.
    pub source: String,
    /// January first.
    pub months: [ClimateMonth; 12],
    /// Standard deviation of the logarithm of what the months' `day_sd_k` may really be.
    pub day_sd_doubt: f64,
    /// Whether the days of snow are a guess, because the design file names none.
    pub snow_guessed: bool,
    /// Whether rain was not known for that guess, so that 2 mm a day were assumed.
    pub rain_guessed: bool,
    /// The fourteen days with the least sun on the panel's plane.
    pub fortnight: DarkFortnight,
    /// Days with less sun on the plane than this count as dark: half of a mean day of the darkest month [Wh/m²].
    pub dark_below_wh_m2: f64,
    /// Longest run of dark days of each drawn year, ascending.
    pub dark_runs_days: Vec<u16>,
    /// Years that were drawn.
    pub years: usize,
}

/// One month of it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ClimateMonth {
    /// 1 to 12.
    pub month: u8,
    /// Mean sun on the ground per day [Wh/m²].
    pub ghi_wh_m2: f64,
    /// What holds its true value with 90 % [Wh/m²].
    pub ghi_interval_wh_m2: (f64, f64),
    /// Mean sun on the panel's plane per day, days under snow at nought [Wh/m²].
    pub in_plane_wh_m2: f64,
    /// The same of the month that one year in ten stays below, and of the one that one in ten exceeds [Wh/m²].
    pub in_plane_years_wh_m2: (f64, f64),
    /// Mean temperature [°C].
    pub air_celsius: f64,
    /// The day's highest less its lowest temperature, mean \[K\].
    pub daily_swing_k: f64,
    /// Standard deviation of daily means about the climate \[K\].
    pub day_sd_k: f64,
    /// Share of its days that are overcast.
    pub overcast_share: f64,
    /// Whether the skyline is the one in leaf.
    pub in_leaf: bool,
    /// Days on which snow lies on a flat panel.
    pub snow_days: f64,
}

/// The fourteen days with the least sun.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DarkFortnight {
    /// Its first day in the mean of all years, by day of the year from 0.
    pub from_day: usize,
    /// Mean sun on the plane per day in the darkest fortnight of a usual year [Wh/m²].
    pub usual_wh_m2: f64,
    /// And of one year in ten [Wh/m²].
    pub one_in_ten_wh_m2: f64,
}

impl ClimateView {
    /// The darkest month (1 to 12) on the panel's plane.
    #[must_use]
    pub fn darkest(&self) -> &ClimateMonth {
        let darkest =
            |one: &&ClimateMonth, other: &&ClimateMonth| one.in_plane_wh_m2.total_cmp(&other.in_plane_wh_m2);
        self.months.iter().min_by(darkest).unwrap_or(&self.months[0])
    }

    /// The longest dark run \[days\] that this share of years stays at or below.
    #[must_use]
    pub fn dark_run_days(&self, share: f64) -> f64 {
        let runs: Vec<f64> = self.dark_runs_days.iter().map(|days| f64::from(*days)).collect();
        if runs.is_empty() { 0.0 } else { quantile(&runs, share) }
    }
}

/// What is assumed of the weather at a node: the climate brought to the plane of its panel, over a few hundred drawn
/// years. What the climate itself may be off is not drawn here; it stands in `ghi_interval_wh_m2`.
#[must_use]
pub fn climate_view(design: &Design, climate: &Climate, seed: u64) -> ClimateView {
    let years = drawn_years(design, climate, seed);
    let months = months(design, climate, &years);
    let least = months.iter().map(|month| month.in_plane_wh_m2).fold(f64::INFINITY, f64::min);
    let dark_below_wh_m2 = (DARK_SHARE * least).max(NO_SUN_WH_M2);
    let mut runs: Vec<u16> = years.iter().map(|year| longest_run(year, dark_below_wh_m2)).collect();
    runs.sort_unstable();
    ClimateView {
        source: climate.source.clone(),
        months,
        day_sd_doubt: climate.day_sd_doubt,
        snow_guessed: design.site.snow_days.is_none(),
        rain_guessed: climate.months.iter().any(|month| month.precipitation_mm_day.is_none()),
        fortnight: fortnight(&years, first_day(climate)),
        dark_below_wh_m2,
        dark_runs_days: runs,
        years: years.len(),
    }
}

/// The day of the year on which a year of this hemisphere begins, so that its winter is whole.
fn first_day(climate: &Climate) -> usize {
    if climate.latitude.degrees() < 0.0 { 0 } else { 181 }
}

/// Sun on the plane [Wh/m²] by day, each year from midsummer to midsummer.
fn drawn_years(design: &Design, climate: &Climate, seed: u64) -> Vec<Vec<f64>> {
    let weather = record::synthetic(design, climate, &Diary::new(design));
    let parts = SiteDraw::default();
    let mut random = Stream::new(seed, DRAWN_YEARS);
    let mut sky = weather.start(&mut random);
    let first = first_day(climate);
    let mut year = || {
        (0..YEAR_DAYS)
            .map(|index| {
                let day = (first + index) % YEAR_DAYS;
                weather.next_day(day, &parts, &mut sky, &mut random);
                f64::from(weather.plain_day_wh_m2(day, &sky))
            })
            .collect()
    };
    (0..YEARS).map(|_| year()).collect()
}

fn months(design: &Design, climate: &Climate, years: &[Vec<f64>]) -> [ClimateMonth; 12] {
    let dates = nominal_hours();
    let first = first_day(climate);
    let month_of = |index: usize| usize::from(dates[(first + index) % YEAR_DAYS * 24].month) - 1;
    let snow_days = record::snow_on_flat(design, climate);
    std::array::from_fn(|month| {
        let days: Vec<usize> = (0..YEAR_DAYS).filter(|index| month_of(*index) == month).collect();
        let mean = |year: &Vec<f64>| days.iter().map(|day| year[*day]).sum::<f64>() / days.len() as f64;
        let mut means: Vec<f64> = years.iter().map(mean).collect();
        means.sort_by(f64::total_cmp);
        let known = &climate.months[month];
        ClimateMonth {
            month: dates[(first + days[0]) % YEAR_DAYS * 24].month,
            ghi_wh_m2: known.ghi_wh_m2,
            ghi_interval_wh_m2: known.sun_interval_wh_m2(),
            in_plane_wh_m2: means.iter().sum::<f64>() / means.len() as f64,
            in_plane_years_wh_m2: (quantile(&means, 0.1), quantile(&means, 0.9)),
            air_celsius: known.air_celsius,
            daily_swing_k: known.daily_swing_k,
            day_sd_k: known.day_sd_k,
            overcast_share: climate.overcast_share(month),
            in_leaf: design.site.in_leaf.as_ref().is_some_and(|leaf| leaf.months[month]),
            snow_days: snow_days[month],
        }
    })
}

/// The least mean of fourteen days in a row, and the place of their first.
fn least_fortnight(year: &[f64]) -> (usize, f64) {
    let means = year.windows(FORTNIGHT_DAYS).map(|days| days.iter().sum::<f64>() / FORTNIGHT_DAYS as f64);
    means.enumerate().min_by(|one, other| one.1.total_cmp(&other.1)).unwrap_or((0, 0.0))
}

fn fortnight(years: &[Vec<f64>], first_day: usize) -> DarkFortnight {
    let mean_year: Vec<f64> = (0..YEAR_DAYS)
        .map(|day| years.iter().map(|year| year[day]).sum::<f64>() / years.len() as f64)
        .collect();
    let mut least: Vec<f64> = years.iter().map(|year| least_fortnight(year).1).collect();
    least.sort_by(f64::total_cmp);
    DarkFortnight {
        from_day: (first_day + least_fortnight(&mean_year).0) % YEAR_DAYS,
        usual_wh_m2: quantile(&least, 0.5),
        one_in_ten_wh_m2: quantile(&least, 0.1),
    }
}

fn longest_run(year: &[f64], below_wh_m2: f64) -> u16 {
    let mut longest = 0;
    let mut run = 0;
    for wh_m2 in year {
        run = if *wh_m2 < below_wh_m2 { run + 1 } else { 0 };
        longest = longest.max(run);
    }
    longest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_and_fortnights_are_counted_by_hand() {
        let mut year = vec![100.0; YEAR_DAYS];
        year[40..45].fill(10.0);
        year[200] = 10.0;
        assert_eq!((longest_run(&year, 50.0), longest_run(&year, 5.0)), (5, 0));
        let (from, mean) = least_fortnight(&year);
        assert!((31..=40).contains(&from), "the fortnight holds all five dark days: {from}");
        assert!((mean - (9.0 * 100.0 + 5.0 * 10.0) / 14.0).abs() < 1e-9);
    }
}
