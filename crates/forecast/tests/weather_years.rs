//! Measured years among drawn ones: each with its own monthly means, its unevenness and its spread from the table of the land.

mod common;

use common::{port_angeles, solar};
use design::quantity::Angle;
use forecast::random::Stream;
use forecast::sky::climate::{Climate, MONTH_DAYS};
use forecast::sky::hours::{LifeWeather, SiteDraw};
use forecast::sky::light::{LightTable, MEAN_HOUR_SKY, YEAR_DAYS, nominal_hours};
use forecast::sky::monthly::extraterrestrial_day_wh_m2;
use forecast::sky::plane::{Instants, Plane, PlaneTable};
use forecast::sky::skyline::Skyline;
use forecast::sky::synthetic::SyntheticWeather;
use forecast::sky::weather::{self, WeatherHours};
use forecast::stats::quantile;

const YEARS: u64 = 600;
/// November to February by day of the year that begins on 1 July.
const WINTER: std::ops::Range<usize> = 123..243;
const JULY: usize = 181;

/// Clearness and mean temperature [°C].
type Day = (f64, f64);
/// From July on.
type Year = Vec<Day>;

/// What is counted of the days of a year.
type Statistic = fn(&[Day]) -> f64;

/// What a node dies of, of one year; all of November to February but the run.
const STATISTICS: [(&str, Statistic); 6] = [
    ("share of days below clearness 0.2", |year| {
        let dark = year[WINTER].iter().filter(|(clearness, _)| *clearness < 0.2).count();
        dark as f64 / WINTER.len() as f64
    }),
    ("darkest week over the mean", |year| {
        let mean = year[WINTER].iter().map(|day| day.0).sum::<f64>() / WINTER.len() as f64;
        let weeks = year[WINTER].windows(7).map(|week| week.iter().map(|day| day.0).sum::<f64>() / 7.0);
        weeks.fold(f64::INFINITY, f64::min) / mean
    }),
    ("lag of clearness over a day", |year| {
        let days: Vec<f64> = year[WINTER].iter().map(|day| day.0).collect();
        let mean = days.iter().sum::<f64>() / days.len() as f64;
        let product: f64 = days.windows(2).map(|pair| (pair[0] - mean) * (pair[1] - mean)).sum();
        product / days.iter().map(|day| (day - mean).powi(2)).sum::<f64>()
    }),
    ("1 % of temperatures", |year| cold(year, 0.01)),
    ("5 % of temperatures", |year| cold(year, 0.05)),
    ("longest run below 0 C", |year| {
        let mut longest = 0_u32;
        let mut run = 0;
        for (_, celsius) in year {
            run = if *celsius < 0.0 { run + 1 } else { 0 };
            longest = longest.max(run);
        }
        f64::from(longest)
    }),
];

fn cold(year: &[Day], share: f64) -> f64 {
    let mut air: Vec<f64> = year[WINTER].iter().map(|day| day.1).collect();
    air.sort_by(f64::total_cmp);
    quantile(&air, share)
}

fn outside(latitude: Angle) -> Vec<f64> {
    let days = nominal_hours().into_iter().step_by(24);
    days.map(|day| extraterrestrial_day_wh_m2(latitude, day.month, day.day)).collect()
}

/// Daily sun [Wh/m²] and temperature of a file that begins on 1 January.
fn days(hours: &WeatherHours) -> Vec<(f64, f64)> {
    let sum = |values: &[f32]| values.iter().map(|value| f64::from(*value)).sum::<f64>();
    let air = hours.air_celsius.chunks_exact(24).map(|day| sum(day) / 24.0);
    hours.ghi_w_m2.chunks_exact(24).map(sum).zip(air).collect()
}

fn monthly(days: &[(f64, f64)], of: impl Fn(&(f64, f64)) -> f64) -> [f64; 12] {
    let mut first = 0;
    MONTH_DAYS.map(|length| {
        let own = &days[first..first + usize::from(length)];
        first += usize::from(length);
        own.iter().map(&of).sum::<f64>() / f64::from(length)
    })
}

fn drawn(climate: &Climate, hours: &WeatherHours) -> Vec<Year> {
    let observer = hours.observer().expect("the file names its place");
    let latitude_deg = climate.latitude.degrees();
    let plane = Plane {
        tilt_deg: 0.0,
        azimuth_deg: Some(180.0),
        albedo: 0.2,
        skyline: Skyline::new(&[]),
        in_leaf: None,
    };
    let place = hours.place.expect("as above");
    let clock_h = place.longitude.degrees() / 15.0;
    let table =
        PlaneTable::new(&observer, clock_h, &plane, MEAN_HOUR_SKY, Instants::SixGrena, &nominal_hours());
    let design =
        solar("panel-1w", "linear-usb-gated", "part = \"nmc-18650\"", "[load.node]\nfloor = \"1 mA\"");
    let light = LightTable::new(&table, latitude_deg);
    let weather = SyntheticWeather::new(climate, light, &[0.0; 12], &design.enclosure);
    let outside = outside(climate.latitude);
    let year = |life| {
        let mut random = Stream::new(11, life);
        let mut sky = weather.start(&mut random);
        let day = |index: usize| {
            let day = (JULY + index) % YEAR_DAYS;
            weather.next_day(day, &SiteDraw::default(), &mut sky, &mut random);
            (weather.ground_day_wh_m2(day, &sky) / outside[day], weather.air_day_celsius(&sky))
        };
        (0..YEAR_DAYS).map(day).collect()
    };
    (0..YEARS).map(year).collect()
}

/// The typical years of Port Angeles (48 N) and Sand Point (55 N), TMY3: of twelve statistics each year's own lies among the
/// middle 95 % of drawn years, but for one that may stray by chance (0.6 are expected to).
#[test]
fn measured_years_are_among_the_drawn_ones() {
    let sand_point =
        weather::read(include_bytes!("../../../examples/weather/sand-point-ak.csv")).expect("it reads");
    let mut strayed = Vec::new();
    for hours in [port_angeles(), sand_point] {
        let place = hours.place.expect("the file names its place");
        let days = days(&hours);
        let (sun, air) = (monthly(&days, |day| day.0), monthly(&days, |day| day.1));
        let climate =
            Climate::from_monthly(place.latitude, place.longitude, place.elevation, &sun, Some(&air))
                .expect("numbers that can be");
        let outside = outside(place.latitude);
        let measured: Year = (0..YEAR_DAYS)
            .map(|index| (JULY + index) % YEAR_DAYS)
            .map(|day| (days[day].0 / outside[day], days[day].1))
            .collect();
        let years = drawn(&climate, &hours);
        for (name, statistic) in STATISTICS {
            let mut all: Vec<f64> = years.iter().map(|year| statistic(year)).collect();
            all.sort_by(f64::total_cmp);
            let (low, high) = (quantile(&all, 0.025), quantile(&all, 0.975));
            let own = statistic(&measured);
            if !(low..=high).contains(&own) {
                strayed.push(format!("{}: {name} {own:.3}, drawn {low:.3} to {high:.3}", hours.title));
            }
        }
    }
    assert!(strayed.len() <= 1, "{strayed:#?}");
}
