//! A weather file turned into what this node feels: sun on its panel, its cells, its battery.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use design::node::{Design, Enclosure, MountedPanel};
use design::surroundings::Sky;

use crate::diary::Diary;
use crate::life::walk::Record;
use crate::random::Stream;
use crate::sky::climate::{Climate, snow_guess_days};
use crate::sky::hours::{HourWeather, LifeWeather, SiteDraw};
use crate::sky::irradiance::faiman_celsius;
use crate::sky::light::{self, LightTable, MEAN_HOUR_SKY};
use crate::sky::monthly;
use crate::sky::plane::{self, Instants, OnPlane, Plane, PlaneTable};
use crate::sky::skyline::Skyline;
use crate::sky::snow;
use crate::sky::synthetic::SyntheticWeather;
use crate::sky::weather::{Place, WeatherHours};

/// Daily clearness of a cloudless sky; the share of it that a day reaches is how freely the box radiates at night.
const CLEAR_SKY_CLEARNESS: f64 = 0.7;
/// Wind where the file has none [m/s]: what test reports of cell temperature use.
pub const DEFAULT_WIND_M_S: f32 = 1.0;
const HOURS_PER_DAY: usize = 24;
/// Hours in a mean year.
pub const YEAR_H: usize = 8766;
const EARTH_RADIUS_KM: f64 = 6371.0;

/// What a weather file is to one node.
#[derive(Debug)]
pub struct Felt {
    /// Its hours.
    pub record: Record,
    /// Sun on the plane before reflection at the cover, dirt and shade [W/m²].
    pub plain_in_plane_w_m2: Vec<f32>,
    /// Month, day and hour of each hour.
    pub dates: Vec<(u8, u8, u8)>,
    /// First hour of the month with the least sun on the plane (on the ground, for a node without a panel).
    pub dark_month_from: usize,
}

/// Builds the record of a design from a weather file.
pub fn build(design: &Design, weather: &WeatherHours, diary: &Diary) -> Felt {
    let dates: Vec<(u8, u8, u8)> = weather.dates().collect();
    let sun = design.panel.as_ref().map(|mounted| plane::on_plane(design, mounted, weather));
    let plain = sun.as_ref().map_or_else(|| weather.ghi_w_m2.clone(), |sun| sun.plain_w_m2.clone());
    let effective = effective_sun(design, weather, &dates, diary, sun.as_ref());
    let battery_celsius = battery_temperature(weather, &dates, design);
    let hours = (0..dates.len())
        .map(|index| {
            let air_celsius = weather.air_celsius[index];
            let wind_m_s = weather.wind_m_s.as_ref().map_or(DEFAULT_WIND_M_S, |wind| wind[index]);
            let cell =
                faiman_celsius(f64::from(effective[index]), f64::from(air_celsius), f64::from(wind_m_s));
            HourWeather {
                in_plane_w_m2: effective[index],
                cell_celsius: cell as f32,
                air_celsius,
                battery_celsius: battery_celsius[index],
            }
        })
        .collect();
    let kinds = dates.iter().map(|(month, day, hour)| diary.kind(*month, *day, *hour) as u16).collect();
    Felt {
        record: Record { hours, kinds, yield_kept_per_pass: kept_per_pass(design, dates.len()) },
        dark_month_from: darkest_month(&dates, &plain),
        plain_in_plane_w_m2: plain,
        dates,
    }
}

/// Years of drawn weather that stand for a climate where one life is shown.
pub const SHOWN_YEARS: usize = 5;

/// The weather of a climate for this node: its light past dirt, shade, roofs and snow.
pub fn synthetic(design: &Design, climate: &Climate, diary: &Diary) -> SyntheticWeather {
    let latitude_deg = design.site.latitude.degrees();
    let flat = Plane {
        tilt_deg: 0.0,
        azimuth_deg: Some(180.0),
        albedo: 0.2,
        skyline: Skyline::default(),
        in_leaf: None,
    };
    let plane = design.panel.as_ref().map_or(flat, |mounted| plane::facing(design, mounted));
    let observer = plane::site_observer(design);
    // The mean solar clock of the place, since nobody's wall clock matters to a node.
    let utc_offset_h = design.site.longitude.degrees() / 15.0;
    let table = PlaneTable::new(
        &observer,
        utc_offset_h,
        &plane,
        MEAN_HOUR_SKY,
        Instants::SixGrena,
        &light::nominal_hours(),
    );
    let mut light = LightTable::new(&table, latitude_deg);
    let hours = light::nominal_hours();
    let kept: Vec<f32> = hours
        .iter()
        .map(|hour| {
            let mounted = design.panel.as_ref().map_or(0.0, |mounted| kept_share(mounted, hour.month));
            (mounted * under(diary.sky(hour.month, hour.day, hour.hour))) as f32
        })
        .collect();
    light.scale(|hour| kept[hour]);
    let on_flat = snow_on_flat(design, climate);
    let snow_days = on_flat
        .map(|days| design.panel.as_ref().map_or(0.0, |mounted| snow::days_on_tilted(days, mounted.tilt)));
    SyntheticWeather::new(climate, light, &snow_days, &design.enclosure)
}

/// Days of snow on a flat panel by month: the person's, or a guess where none were given.
pub fn snow_on_flat(design: &Design, climate: &Climate) -> [f64; 12] {
    let given = design.site.snow_days;
    if given.iter().any(|days| *days > 0.0) { given } else { snow_guess_days(climate) }
}

/// A few drawn years of a climate, the parts as designed: the life that is shown.
pub fn drawn(design: &Design, weather: &SyntheticWeather, diary: &Diary, seed: u64) -> Felt {
    let nominal = light::nominal_hours();
    let mut random = Stream::new(seed, SHOWN_LIFE);
    let mut sky = weather.start(&mut random);
    let parts = SiteDraw::default();
    let mut felt = Felt {
        record: Record { yield_kept_per_pass: 1.0, ..Record::default() },
        plain_in_plane_w_m2: Vec::new(),
        dates: Vec::new(),
        dark_month_from: 0,
    };
    for day in (0..SHOWN_YEARS).flat_map(|_| 0..light::YEAR_DAYS) {
        weather.next_day(day, &parts, &mut sky, &mut random);
        let plain_w_m2 = weather.plain_day_wh_m2(day, &sky) / HOURS_PER_DAY as f32;
        felt.record.hours.extend(weather.hours(day, &mut sky).iter());
        for date in &nominal[day * HOURS_PER_DAY..][..HOURS_PER_DAY] {
            felt.record.kinds.push(diary.kind(date.month, date.day, date.hour) as u16);
            felt.plain_in_plane_w_m2.push(plain_w_m2);
            felt.dates.push((date.month, date.day, date.hour));
        }
    }
    felt.dark_month_from = darkest_month(&felt.dates, &felt.plain_in_plane_w_m2);
    felt.record.yield_kept_per_pass = kept_per_pass(design, felt.dates.len());
    felt
}

/// The life that is shown has a weather of its own.
const SHOWN_LIFE: u64 = 1 << 41;

fn kept_per_pass(design: &Design, hours: usize) -> f32 {
    let kept = design.panel.as_ref().map_or(1.0, |mounted| 1.0 - mounted.panel.yearly_loss.fraction());
    kept.powf(hours as f64 / YEAR_H as f64) as f32
}

/// What a diary's sky leaves of the light.
fn under(sky: Sky) -> f64 {
    match sky {
        Sky::Open => 1.0,
        Sky::Half => 0.5,
        Sky::Roof => 0.0,
    }
}

/// Sun that reaches the cells: after reflection, dirt, near shade, snow and the diary's roofs.
fn effective_sun(
    design: &Design,
    weather: &WeatherHours,
    dates: &[(u8, u8, u8)],
    diary: &Diary,
    sun: Option<&OnPlane>,
) -> Vec<f32> {
    let (Some(mounted), Some(sun)) = (&design.panel, sun) else { return vec![0.0; dates.len()] };
    let snowed = snow_hours(design, mounted, weather, dates);
    let share = |index: usize, (month, day, hour): (u8, u8, u8)| {
        if snowed[index] { 0.0 } else { under(diary.sky(month, day, hour)) * kept_share(mounted, month) }
    };
    let kept = dates.iter().enumerate().map(|(index, date)| share(index, *date) as f32);
    kept.zip(&sun.effective_w_m2).map(|(share, w_m2)| share * w_m2).collect()
}

fn kept_share(mounted: &MountedPanel, month: u8) -> f64 {
    let shaded = mounted.shade_months.get(usize::from(month) - 1).copied().unwrap_or(true);
    let shade = if shaded { mounted.shade.fraction() } else { 0.0 };
    (1.0 - mounted.soiling.fraction()) * (1.0 - shade)
}

/// Snow lies on the panel on the coldest days of each month, as many as stick at its tilt.
fn snow_hours(
    design: &Design,
    mounted: &MountedPanel,
    weather: &WeatherHours,
    dates: &[(u8, u8, u8)],
) -> Vec<bool> {
    let mut snowed = vec![false; dates.len()];
    for month in 1..=12_u8 {
        let days = design.site.snow_days[usize::from(month) - 1];
        let covered = snow::days_on_tilted(days, mounted.tilt).round() as usize;
        let mut cold: Vec<(f32, usize)> = (0..dates.len() / HOURS_PER_DAY)
            .map(|day| day * HOURS_PER_DAY)
            .filter(|first| dates[*first].0 == month)
            .map(|first| (weather.air_celsius[first..first + HOURS_PER_DAY].iter().sum(), first))
            .collect();
        cold.sort_by(|one, other| one.0.total_cmp(&other.0));
        for (_, first) in cold.into_iter().take(covered) {
            snowed[first..first + HOURS_PER_DAY].fill(true);
        }
    }
    snowed
}

/// Battery temperature [°C]: the box is warmed by the sun, cooled by a clear night sky, and follows with its lag.
fn battery_temperature(weather: &WeatherHours, dates: &[(u8, u8, u8)], design: &Design) -> Vec<f32> {
    let Enclosure { sun_gain_k, sky_loss_k, lag, .. } = design.enclosure;
    let follow = 1.0 - (-1.0 / lag.hours().max(1e-6)).exp();
    let latitude = weather.place.as_ref().map_or(design.site.latitude, |place| place.latitude);
    let mut celsius = f64::from(weather.air_celsius.first().copied().unwrap_or(0.0));
    let mut clear_share = 0.5;
    let mut day_wh_m2 = 0.0;
    let mut battery = Vec::with_capacity(dates.len());
    for (index, &(month, day, hour)) in dates.iter().enumerate() {
        let ghi_w_m2 = f64::from(weather.ghi_w_m2[index]);
        day_wh_m2 += ghi_w_m2;
        if hour == 23 {
            let outside_wh_m2 = monthly::extraterrestrial_day_wh_m2(latitude, month, day);
            clear_share = (day_wh_m2 / outside_wh_m2.max(1.0) / CLEAR_SKY_CLEARNESS).clamp(0.0, 1.0);
            day_wh_m2 = 0.0;
        }
        let night_k = if ghi_w_m2 > 0.0 { 0.0 } else { sky_loss_k * clear_share };
        let inside = f64::from(weather.air_celsius[index]) + sun_gain_k * ghi_w_m2 / 1000.0 - night_k;
        celsius += follow * (inside - celsius);
        battery.push(celsius as f32);
    }
    battery
}

/// First hour of the month with the least sun per day.
fn darkest_month(dates: &[(u8, u8, u8)], sun_w_m2: &[f32]) -> usize {
    let mut sums = [(0.0_f64, 0_u32); 12];
    for ((month, ..), w_m2) in dates.iter().zip(sun_w_m2) {
        let (sum, hours) = &mut sums[usize::from(*month) - 1];
        *sum += f64::from(*w_m2);
        *hours += 1;
    }
    let mean = |month: usize| sums[month].0 / f64::from(sums[month].1);
    let dark =
        (0..12).filter(|month| sums[*month].1 > 0).min_by(|one, other| mean(*one).total_cmp(&mean(*other)));
    dates.iter().position(|(month, ..)| Some(usize::from(*month) - 1) == dark).unwrap_or(0)
}

/// Great-circle distance between the site and the weather \[km\].
pub fn distance_km(design: &Design, place: &Place) -> f64 {
    let (lat1, lat2) = (design.site.latitude.degrees().to_radians(), place.latitude.degrees().to_radians());
    let east = (place.longitude.degrees() - design.site.longitude.degrees()).to_radians();
    let chord = ((lat2 - lat1) / 2.0).sin().powi(2) + lat1.cos() * lat2.cos() * (east / 2.0).sin().powi(2);
    2.0 * EARTH_RADIUS_KM * chord.sqrt().min(1.0).asin()
}
