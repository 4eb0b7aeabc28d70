//! A weather file turned into what this node feels: sun on its panel, its cells, its battery.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use design::node::{Design, Enclosure, MountedPanel};
use design::quantity::Angle;
use design::surroundings::Sky;

use super::node::NodeTables;
use super::run::Silence;
use crate::diary::Diary;
use crate::random::Stream;
use crate::sky::climate::{Climate, snow_guess_days};
use crate::sky::hours::{DayHours, HourWeather, LifeWeather, SiteDraw};
use crate::sky::irradiance::faiman_celsius;
use crate::sky::light::{self, LightTable, MEAN_HOUR_SKY};
use crate::sky::monthly;
use crate::sky::plane::{self, Instants, OnPlane, Plane, PlaneTable};
use crate::sky::recorded::{MEASURED_SUN_DOUBT, RecordedWeather, Winter};
use crate::sky::skyline::Skyline;
use crate::sky::snow;
use crate::sky::synthetic::{self, SyntheticWeather};
use crate::sky::weather::{HourStart, Place, WeatherHours};

/// Daily clearness of a cloudless sky; the share of it that a day reaches is how freely the box radiates at night.
const CLEAR_SKY_CLEARNESS: f64 = 0.7;
/// Wind where the file has none [m/s]: what test reports of cell temperature use.
const DEFAULT_WIND_M_S: f32 = 1.0;
const HOURS_PER_DAY: usize = 24;
/// Hours in a mean year.
pub const YEAR_H: usize = 8766;
const EARTH_RADIUS_KM: f64 = 6371.0;

/// The weather of one node: what its lives draw from, and some of its years to look at.
#[derive(Clone, Debug)]
pub struct NodeWeather {
    source: Source,
    kinds: Vec<u16>,
    months: Vec<usize>,
    sample: SampleYears,
    sun_doubt: f64,
}

#[derive(Clone, Debug)]
enum Source {
    Drawn(Box<SyntheticWeather>),
    Recorded(RecordedWeather),
    Replayed(Vec<HourWeather>),
}

/// One life's place in it.
#[derive(Clone, Debug)]
pub enum NodeSky {
    /// In a climate.
    Drawn(synthetic::Sky),
    /// In recorded years.
    Recorded(Option<Winter>),
    /// So many days into hours that are lived as they are.
    Replayed(usize),
}

/// Some years as this node feels them, its site and parts as designed.
#[derive(Clone, Debug, Default)]
pub struct SampleYears {
    /// Hour by hour.
    pub hours: Vec<HourWeather>,
    /// Kind of each hour, as the demand table counts them.
    pub kinds: Vec<u16>,
    /// Sun on the plane before reflection at the cover, dirt and shade [W/m²].
    pub plain_in_plane_w_m2: Vec<f32>,
    /// Month, day and hour of each hour.
    pub dates: Vec<(u8, u8, u8)>,
    /// First hour of the month with the least sun on the plane (on the ground, for a node without a panel).
    pub dark_month_from: usize,
}

impl NodeWeather {
    /// The weather of a climate at a design.
    #[must_use]
    pub fn of_climate(design: &Design, climate: &Climate, diary: &Diary, seed: u64) -> Self {
        let weather = synthetic(design, climate, diary);
        let sample = drawn(&weather, diary, seed);
        let sun_doubt = climate.months[usize::from(sample.dark_month()) - 1].sun_doubt;
        Self::new(Source::Drawn(Box::new(weather)), sample, diary, sun_doubt)
    }

    /// The weather of measured hours at a design.
    #[must_use]
    pub fn of_hours(design: &Design, weather: &WeatherHours, diary: &Diary) -> Self {
        let sample = measured(design, weather, diary);
        let latitude = latitude_of(design, weather);
        let spread = Climate::from_hours(weather, latitude).darkest_month_spread();
        let recorded =
            RecordedWeather::new(&sample.hours, weather.starts(), latitude.degrees() < 0.0, spread);
        Self::new(Source::Recorded(recorded), sample, diary, MEASURED_SUN_DOUBT)
    }

    /// Whole days of hours from the first of January, lived as they are, again and again.
    #[must_use]
    pub fn replayed(hours: Vec<HourWeather>, diary: &Diary) -> Self {
        Self::new(Source::Replayed(hours), SampleYears::default(), diary, 0.0)
    }

    fn new(source: Source, sample: SampleYears, diary: &Diary, sun_doubt: f64) -> Self {
        let nominal = light::nominal_hours();
        let kind = |hour: &HourStart| diary.kind(hour.month, hour.day, hour.hour) as u16;
        Self {
            kinds: nominal.iter().map(kind).collect(),
            months: nominal.iter().step_by(HOURS_PER_DAY).map(|hour| usize::from(hour.month) - 1).collect(),
            source,
            sample,
            sun_doubt,
        }
    }

    /// Kind of each hour of the year, as the demand table counts them.
    #[must_use]
    pub fn kinds(&self) -> &[u16] {
        &self.kinds
    }

    /// Kinds of the hours of a day of the year.
    #[inline]
    pub(super) fn kinds_of(&self, day: usize) -> &[u16] {
        &self.kinds[day * HOURS_PER_DAY..][..HOURS_PER_DAY]
    }

    /// Month of a day of the year, January being 0.
    #[inline]
    #[must_use]
    pub fn month_of(&self, day: usize) -> usize {
        self.months[day]
    }

    /// Some of its years.
    #[must_use]
    pub fn sample(&self) -> &SampleYears {
        &self.sample
    }

    /// How far the sun of its darkest month may be off, relative standard deviation.
    #[must_use]
    pub fn sun_doubt(&self) -> f64 {
        self.sun_doubt
    }
}

impl LifeWeather for NodeWeather {
    type Sky = NodeSky;

    fn start(&self, random: &mut Stream) -> NodeSky {
        match &self.source {
            Source::Drawn(weather) => NodeSky::Drawn(weather.start(random)),
            Source::Recorded(weather) => NodeSky::Recorded(weather.start(random)),
            Source::Replayed(_) => NodeSky::Replayed(0),
        }
    }

    #[inline]
    fn next_day(&self, day: usize, site: &SiteDraw, sky: &mut NodeSky, random: &mut Stream) {
        match (&self.source, sky) {
            (Source::Drawn(weather), NodeSky::Drawn(sky)) => weather.next_day(day, site, sky, random),
            (Source::Recorded(weather), NodeSky::Recorded(sky)) => weather.next_day(day, site, sky, random),
            _ => {}
        }
    }

    #[inline]
    fn hours(&self, day: usize, sky: &mut NodeSky) -> DayHours {
        match (&self.source, sky) {
            (Source::Drawn(weather), NodeSky::Drawn(sky)) => weather.hours(day, sky),
            (Source::Recorded(weather), NodeSky::Recorded(sky)) => weather.hours(day, sky),
            (Source::Replayed(hours), NodeSky::Replayed(days)) => {
                let from = *days % (hours.len() / HOURS_PER_DAY).max(1) * HOURS_PER_DAY;
                *days += 1;
                DayHours::of(hours.get(from..from + HOURS_PER_DAY).unwrap_or_default())
            }
            _ => DayHours::default(),
        }
    }
}

impl SampleYears {
    /// The month with the least sun, 1 to 12.
    #[must_use]
    pub fn dark_month(&self) -> u8 {
        self.dates.get(self.dark_month_from).map_or(1, |(month, ..)| *month)
    }

    /// Hours with their kinds.
    fn with_kinds(&self) -> impl Iterator<Item = (&HourWeather, usize)> + Clone {
        self.hours.iter().zip(self.kinds.iter().map(|kind| usize::from(*kind)))
    }

    /// Reports per year of a node whose battery is always full.
    #[must_use]
    pub fn wanted_reports_per_year(&self, node: &NodeTables) -> f64 {
        let level = node.demand.levels.len() - 1;
        let hourly = |(hour, kind): (&HourWeather, usize)| {
            f64::from(node.demand.row(kind, level).reports_per_hour(hour.air_celsius))
        };
        self.with_kinds().map(hourly).sum::<f64>() * YEAR_H as f64 / self.hours.len().max(1) as f64
    }

    /// The longest time between two reports of a node whose battery is always full \[h\]: the years are gone through twice,
    /// so that a silence over their end is seen whole; `None` of a node that reports nothing.
    #[must_use]
    pub fn usual_silence_h(&self, node: &NodeTables) -> Option<f64> {
        let level = node.demand.levels.len() - 1;
        let mut silence = Silence::default();
        for (hour, kind) in self.with_kinds().chain(self.with_kinds()) {
            silence.pass_hour(node.demand.row(kind, level).reports_per_hour(hour.air_celsius));
        }
        (self.wanted_reports_per_year(node) > 0.0).then(|| f64::from(silence.longest_h))
    }

    /// What a day of the darkest month brings and costs a nominal node at mid charge.
    #[must_use]
    pub fn dark_month_balance(&self, node: &NodeTables) -> Balance {
        let volts = node.rest_volts(MIDDLE_CHARGE);
        let mut sum = Balance::default();
        let mut hours = 0_u32;
        let dark = self.dates.iter().map(|(month, ..)| *month == self.dark_month());
        for ((hour, kind), _) in self.with_kinds().zip(dark).filter(|(_, dark)| *dark) {
            let row = node.demand.row(kind, node.demand.levels.len() - 1);
            let (floor, active) = row.amperes(hour.air_celsius, || volts);
            sum.offered_ah += f64::from(node.from_panel(hour.in_plane_w_m2, hour.cell_celsius, volts));
            sum.floor_ah += f64::from(floor);
            sum.active_ah += f64::from(active);
            hours += 1;
        }
        let per_day = 24.0 / f64::from(hours.max(1));
        Balance {
            offered_ah: sum.offered_ah * per_day,
            floor_ah: sum.floor_ah * per_day,
            active_ah: sum.active_ah * per_day,
        }
    }

    /// What a nominal node draws on a day of each month with a full battery's intervals, at mid charge.
    #[must_use]
    pub fn monthly_draw(&self, node: &NodeTables) -> MonthlyDraw {
        let volts = node.rest_volts(MIDDLE_CHARGE);
        let level = node.demand.levels.len() - 1;
        let mut draw = MonthlyDraw::default();
        let mut hours = [0_u32; 12];
        for ((hour, kind), (month, ..)) in self.with_kinds().zip(&self.dates) {
            let month = usize::from(*month) - 1;
            let (floor, active) = node.demand.row(kind, level).amperes(hour.air_celsius, || volts);
            draw.floor_ah[month] += f64::from(floor);
            draw.active_ah[month] += f64::from(active);
            hours[month] += 1;
        }
        for (month, hours) in hours.into_iter().enumerate() {
            let per_day = 24.0 / f64::from(hours.max(1));
            draw.floor_ah[month] *= per_day;
            draw.active_ah[month] *= per_day;
        }
        draw
    }

    /// Mean sun on the plane by month before reflection at the cover, dirt and shade [Wh/m² a day].
    #[must_use]
    pub fn plain_wh_m2_by_month(&self) -> [f64; 12] {
        let mut sums = [(0.0, 0_u32); 12];
        for ((month, ..), w_m2) in self.dates.iter().zip(&self.plain_in_plane_w_m2) {
            let (sum, hours) = &mut sums[usize::from(*month) - 1];
            *sum += f64::from(*w_m2);
            *hours += 1;
        }
        sums.map(|(sum, hours)| 24.0 * sum / f64::from(hours.max(1)))
    }
}

/// Where the battery stands when draws are compared.
const MIDDLE_CHARGE: f32 = 0.6;

/// Charge per day by month \[Ah\], January first.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct MonthlyDraw {
    /// What the board draws asleep.
    pub floor_ah: [f64; 12],
    /// What it draws awake.
    pub active_ah: [f64; 12],
}

/// Charge per day \[Ah\].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Balance {
    /// What panel and charger offer.
    pub offered_ah: f64,
    /// What the board draws asleep.
    pub floor_ah: f64,
    /// What it draws awake.
    pub active_ah: f64,
}

/// Whether it is winter in July where the hours were taken.
#[must_use]
pub fn is_south(design: &Design, weather: &WeatherHours) -> bool {
    latitude_of(design, weather).degrees() < 0.0
}

/// Where the weather was taken; at the site if its file does not say.
fn latitude_of(design: &Design, weather: &WeatherHours) -> Angle {
    weather.place.as_ref().map_or(design.site.latitude, |place| place.latitude)
}

/// A weather file as the node feels it.
fn measured(design: &Design, weather: &WeatherHours, diary: &Diary) -> SampleYears {
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
    SampleYears {
        hours,
        kinds,
        dark_month_from: darkest_month(&dates, &plain),
        plain_in_plane_w_m2: plain,
        dates,
    }
}

/// Years of drawn weather that stand for a climate where it is looked at.
const SAMPLE_YEARS: usize = 5;

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
    design.site.snow_days.unwrap_or_else(|| snow_guess_days(climate))
}

/// A few drawn years of a climate, site and parts as designed.
fn drawn(weather: &SyntheticWeather, diary: &Diary, seed: u64) -> SampleYears {
    let nominal = light::nominal_hours();
    let mut random = Stream::new(seed, SAMPLE);
    let mut sky = weather.start(&mut random);
    let site = SiteDraw::default();
    let mut sample = SampleYears::default();
    for day in (0..SAMPLE_YEARS).flat_map(|_| 0..light::YEAR_DAYS) {
        weather.next_day(day, &site, &mut sky, &mut random);
        let plain_w_m2 = weather.plain_day_wh_m2(day, &sky) / HOURS_PER_DAY as f32;
        sample.hours.extend(weather.hours(day, &mut sky).iter());
        for date in &nominal[day * HOURS_PER_DAY..][..HOURS_PER_DAY] {
            sample.kinds.push(diary.kind(date.month, date.day, date.hour) as u16);
            sample.plain_in_plane_w_m2.push(plain_w_m2);
            sample.dates.push((date.month, date.day, date.hour));
        }
    }
    sample.dark_month_from = darkest_month(&sample.dates, &sample.plain_in_plane_w_m2);
    sample
}

/// The years that are looked at have a weather of their own.
const SAMPLE: u64 = 1 << 41;

/// What a diary's sky leaves of the light.
pub(crate) fn under(sky: Sky) -> f64 {
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

pub(crate) fn kept_share(mounted: &MountedPanel, month: u8) -> f64 {
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
    for (month, days) in (1..=12_u8).zip(design.site.snow_days.unwrap_or_default()) {
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
