//! Drawn weather: what any generator of days must keep to, and the winter on a steep plane against real hours.
#![expect(clippy::cast_possible_truncation, reason = "the kernel is in single precision")]

mod common;

use common::{port_angeles, solar};
use design::quantity::{Angle, Length};
use forecast::random::Stream;
use forecast::sky::clearness::{DAY_TO_DAY, Persistence};
use forecast::sky::climate::Climate;
use forecast::sky::hours::{LifeWeather, SiteDraw};
use forecast::sky::light::{ClearnessPlace, LightTable, MEAN_HOUR_SKY, YEAR_DAYS, YEAR_HOURS, nominal_hours};
use forecast::sky::monthly::extraterrestrial_day_wh_m2;
use forecast::sky::plane::{Instants, Plane, PlaneTable};
use forecast::sky::skyline::Skyline;
use forecast::sky::sun::Observer;
use forecast::sky::synthetic::{Sky, SyntheticWeather, YEARLY_SPREAD};
use forecast::sky::weather::{self, WeatherHours};

/// Latitude, longitude [°] and elevation in metres of places on land.
const POTSDAM: (f64, f64, f64) = (52.4, 13.1, 80.0);
const LARKMOOR: (f64, f64, f64) = (47.0, 13.0, 640.0);
const HELSINKI: (f64, f64, f64) = (60.2, 24.9, 20.0);
const TROMSO: (f64, f64, f64) = (69.65, 18.96, 10.0);
const CANBERRA: (f64, f64, f64) = (-35.3, 149.1, 580.0);

fn angle(degrees: f64) -> Angle {
    Angle::from_degrees(degrees)
}

fn climate((latitude, longitude, elevation): (f64, f64, f64)) -> Climate {
    Climate::builtin(angle(latitude), angle(longitude), Length::from_metres(elevation)).expect("land")
}

/// Light on a free plane at 60 degrees towards the equator, on the mean solar clock.
fn light_at(latitude_deg: f64, longitude_deg: f64, elevation_m: f64) -> LightTable {
    let azimuth_deg = Some(if latitude_deg < 0.0 { 0.0 } else { 180.0 });
    let plane = Plane { tilt_deg: 60.0, azimuth_deg, albedo: 0.2, skyline: Skyline::new(&[]), in_leaf: None };
    let observer = Observer::new(latitude_deg, longitude_deg, elevation_m).expect("a place on earth");
    let clock_h = longitude_deg / 15.0;
    let table =
        PlaneTable::new(&observer, clock_h, &plane, MEAN_HOUR_SKY, Instants::SixGrena, &nominal_hours());
    LightTable::new(&table, latitude_deg)
}

fn drawn_from(climate: &Climate, (latitude, longitude, elevation): (f64, f64, f64)) -> SyntheticWeather {
    let design = solar(
        "panel-1w",
        "linear-usb-gated",
        "part = \"nmc-18650\"",
        "[load.node]\nfloor = \"1 mA +- 10 %\"",
    );
    let light = light_at(latitude, longitude, elevation);
    SyntheticWeather::new(climate, light, &[0.0; 12], &design.enclosure)
}

fn weather_at(place: (f64, f64, f64)) -> SyntheticWeather {
    drawn_from(&climate(place), place)
}

/// Month of each day of the year, January being 0.
fn months() -> Vec<usize> {
    nominal_hours().iter().step_by(24).map(|hour| usize::from(hour.month) - 1).collect()
}

/// Lives so many years with nominal parts and shows each day to `visit`.
fn draw(weather: &SyntheticWeather, years: usize, seed: u64, mut visit: impl FnMut(usize, &mut Sky)) {
    let (mut random, parts) = (Stream::new(seed, 0), SiteDraw::default());
    let mut sky = weather.start(&mut random);
    for day in (0..years).flat_map(|_| 0..YEAR_DAYS) {
        weather.next_day(day, &parts, &mut sky, &mut random);
        visit(day, &mut sky);
    }
}

/// Light on the ground, day after day [Wh/m²].
fn ground_days(weather: &SyntheticWeather, years: usize) -> Vec<f64> {
    let mut days = Vec::with_capacity(years * YEAR_DAYS);
    draw(weather, years, 3, |day, sky| days.push(weather.ground_day_wh_m2(day, sky)));
    days
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn sd(values: &[f64]) -> f64 {
    let middle = mean(values);
    (values.iter().map(|value| (value - middle).powi(2)).sum::<f64>() / values.len() as f64).sqrt()
}

fn correlation(one: &[f64], other: &[f64]) -> f64 {
    let product: Vec<f64> = one.iter().zip(other).map(|(a, b)| a * b).collect();
    (mean(&product) - mean(one) * mean(other)) / (sd(one) * sd(other))
}

/// One month of every year: `values` has a value per day of every year.
fn by_year(values: &[f64], month: usize) -> Vec<Vec<f64>> {
    let months = months();
    let own =
        |year: &[f64]| year.iter().zip(&months).filter(|(_, m)| **m == month).map(|(v, _)| *v).collect();
    values.chunks_exact(YEAR_DAYS).map(own).collect()
}

/// Correlation from one day to the next within a month, about the mean of each date.
fn lag_1(years: &[Vec<f64>]) -> f64 {
    let dates = years[0].len();
    let usual: Vec<f64> =
        (0..dates).map(|date| mean(&years.iter().map(|year| year[date]).collect::<Vec<_>>())).collect();
    let off = |year: &Vec<f64>| year.iter().zip(&usual).map(|(v, u)| v - u).collect::<Vec<_>>();
    let pairs: Vec<(f64, f64)> = years
        .iter()
        .map(off)
        .flat_map(|year| year.windows(2).map(|w| (w[0], w[1])).collect::<Vec<_>>())
        .collect();
    let (today, tomorrow): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
    correlation(&today, &tomorrow)
}

fn assert_means_kept(climate: &Climate, place: (f64, f64, f64), years: usize) {
    let days = ground_days(&drawn_from(climate, place), years);
    for (month, asked) in climate.months.iter().enumerate() {
        let found = mean(&by_year(&days, month).concat());
        // A watt-hour is nothing to any panel: months of polar night.
        assert!(
            (found - asked.ghi_wh_m2).abs() < 0.01 * asked.ghi_wh_m2 + 1.0,
            "{place:?} month {}",
            month + 1
        );
    }
}

/// Of the ensemble, never of a drawn month.
#[test]
fn monthly_means_of_all_years_are_those_of_the_climate() {
    for place in [POTSDAM, LARKMOOR, HELSINKI, TROMSO, CANBERRA] {
        assert_means_kept(&climate(place), place, 6000);
    }
}

/// Twelve numbers of a dark and of a very clear place: clearness 0.08 and 0.78, beyond the fit of the distribution.
#[test]
fn monthly_means_are_kept_beyond_the_published_fit() {
    for clearness in [0.08, 0.3, 0.78] {
        let (latitude, longitude, elevation) = (angle(-23.0), angle(-68.0), Length::from_metres(2400.0));
        let ghi_wh_m2 = std::array::from_fn(|month| {
            clearness * forecast::sky::climate::month_outside_wh_m2(latitude, month)
        });
        let climate = Climate::from_monthly(latitude, longitude, elevation, &ghi_wh_m2, Some(&[10.0; 12]))
            .expect("numbers that can be");
        assert_means_kept(&climate, (-23.0, -68.0, 2400.0), 6000);
    }
}

/// A year of real hours, as a climate.
#[test]
fn monthly_means_of_a_weather_file_are_kept() {
    for (hours, place) in [(port_angeles(), (48.12, -123.5, 91.0)), (sand_point(), (55.32, -160.52, 7.0))] {
        assert_means_kept(&Climate::from_hours(&hours, angle(place.0)), place, 6000);
    }
}

/// 17 % over 24 measured years of December in the cloudy temperate zone, of which days alone make 13 to 15 %.
#[test]
fn december_means_spread_over_the_years_as_measured() {
    for place in [POTSDAM, LARKMOOR, (48.12, -123.5, 91.0)] {
        let climate = climate(place);
        let days = ground_days(&drawn_from(&climate, place), 8000);
        let darkest =
            (0..12).min_by(|a, b| climate.months[*a].ghi_wh_m2.total_cmp(&climate.months[*b].ghi_wh_m2));
        let month = darkest.expect("twelve months");
        let means: Vec<f64> = by_year(&days, month).iter().map(|days| mean(days)).collect();
        let spread = sd(&means) / mean(&means);
        assert!((spread - YEARLY_SPREAD).abs() < 0.015, "{place:?} {spread}");
    }
}

/// Lag-1 of daily clearness is 0.2 to 0.35 (Graham, Hollands & Unny 1988; Aguiar's matrices 0.2 to 0.39) without the
/// term between years.
#[test]
fn dark_days_follow_dark_days() {
    for place in [POTSDAM, LARKMOOR, CANBERRA] {
        let weather = weather_at(place).with_persistence(Persistence::of_days(DAY_TO_DAY));
        let days = ground_days(&weather, 4000);
        for month in [0, 6, 10, 11] {
            let found = lag_1(&by_year(&days, month));
            assert!((0.2..0.35).contains(&found), "{place:?} month {} {found}", month + 1);
        }
    }
}

/// Days below clearness 0.2 in a month of mean clearness 0.4: 21 % by the published distribution (its table), in runs of
/// 1.5 to 1.65 days by Aguiar's matrices for 0.35 to 0.45; independent days would make runs of 1.26.
#[test]
fn dark_runs_are_as_long_as_in_another_generator() {
    const DARK: f64 = 0.2;
    let latitude = angle(43.0);
    let ghi_wh_m2 =
        std::array::from_fn(|month| 0.4 * forecast::sky::climate::month_outside_wh_m2(latitude, month));
    let place = (43.0, -89.4, 270.0);
    let climate =
        Climate::from_monthly(latitude, angle(place.1), Length::from_metres(place.2), &ghi_wh_m2, None)
            .expect("numbers that can be");
    let weather = drawn_from(&climate, place).with_persistence(Persistence::of_days(DAY_TO_DAY));
    let outside: Vec<f64> = outside_days(latitude);
    let (mut dark_days, mut runs, mut run, mut longest, mut days) = (0, 0, 0, 0, 0);
    draw(&weather, 4000, 5, |day, sky| {
        let dark = weather.ground_day_wh_m2(day, sky) < DARK * outside[day];
        runs += i32::from(dark && run == 0);
        run = if dark { run + 1 } else { 0 };
        longest = longest.max(run);
        dark_days += i32::from(dark);
        days += 1;
    });
    let (share, mean_run) = (f64::from(dark_days) / f64::from(days), f64::from(dark_days) / f64::from(runs));
    assert!((share - 0.2083).abs() < 0.006, "{share}");
    // Aguiar's matrices gave 9 days at most in 40,000 Novembers of mean 0.43.
    assert!((7..20).contains(&longest), "{longest}");
    assert!((1.4..1.7).contains(&mean_run), "{mean_run}");
}

fn outside_days(latitude: Angle) -> Vec<f64> {
    let days = nominal_hours().into_iter().step_by(24);
    days.map(|hour| extraterrestrial_day_wh_m2(latitude, hour.month, hour.day)).collect()
}

#[test]
fn no_day_is_brighter_than_the_sky_lets_through() {
    for place in [POTSDAM, TROMSO, CANBERRA] {
        let weather = weather_at(place);
        let outside = outside_days(angle(place.0));
        draw(&weather, 500, 1, |day, sky| {
            let ground = weather.ground_day_wh_m2(day, sky);
            assert!((0.0..=0.9 * outside[day] + 1e-6).contains(&ground), "{place:?} day {day}: {ground}");
        });
    }
}

/// A few watt-hours at the edge of polar night lie between two mid-hours and are lost.
#[test]
fn the_hours_of_a_day_add_up_to_it() {
    for (latitude, longitude, elevation) in [POTSDAM, TROMSO, CANBERRA] {
        let light = light_at(latitude, longitude, elevation);
        for day in 0..YEAR_DAYS {
            let sum: f64 = light.ghi_at_one_w_m2(day).iter().map(|hour| f64::from(*hour)).sum();
            let whole = light.outside_wh_m2(day);
            assert!((sum - whole).abs() < 1e-4 * whole + 5.0, "{latitude} day {day}: {sum} of {whole}");
        }
    }
}

/// The hours of one life.
fn hours(weather: &SyntheticWeather, seed: u64) -> Vec<f32> {
    let mut hours = Vec::new();
    draw(weather, 2, seed, |day, sky| {
        for now in weather.hours(day, sky).iter() {
            hours.extend([now.in_plane_w_m2, now.cell_celsius, now.air_celsius, now.battery_celsius]);
        }
    });
    hours
}

#[test]
fn a_seed_gives_one_weather() {
    let weather = weather_at(LARKMOOR);
    let first = hours(&weather, 1);
    assert_eq!(first.len(), 2 * YEAR_HOURS * 4);
    assert_eq!(first, hours(&weather, 1));
    assert_ne!(first, hours(&weather, 2));
    assert!(first.iter().all(|value| value.is_finite()));
}

type Matrix = [[f64; 3]; 3];

fn times(one: &Matrix, other: &Matrix) -> Matrix {
    std::array::from_fn(|row| {
        std::array::from_fn(|column| (0..3).map(|k| one[row][k] * other[k][column]).sum())
    })
}

fn transposed(one: &Matrix) -> Matrix {
    std::array::from_fn(|row| std::array::from_fn(|column| one[column][row]))
}

/// Highest, lowest, sun: Richardson & Wright 1984, ARS-8, after Richardson 1981, *Water Resources Research* 17, 182-190.
const A: Matrix = [[0.567, 0.086, -0.002], [0.253, 0.504, -0.050], [-0.006, -0.039, 0.244]];
const B: Matrix = [[0.781, 0.0, 0.0], [0.328, 0.637, 0.0], [0.238, -0.341, 0.873]];

/// Correlations of one day, the fixed point of `M0 = A M0 A' + B B'`.
fn same_day() -> Matrix {
    let noise = times(&B, &transposed(&B));
    (0..200).fold(noise, |now, _| {
        let carried = times(&times(&A, &now), &transposed(&A));
        std::array::from_fn(|row| std::array::from_fn(|column| carried[row][column] + noise[row][column]))
    })
}

/// The published matrices are consistent (every variance is 1), and the drawn warmth lies between the persistence of
/// their highest and lowest temperatures.
#[test]
fn warmth_hangs_on_from_day_to_day_as_published() {
    let together = same_day();
    (0..3).for_each(|k| assert!((together[k][k] - 1.0).abs() < 0.002, "{together:?}"));
    let next_day = times(&A, &together);
    let (highest, lowest) = (next_day[0][0], next_day[1][1]);
    assert!((highest - 0.621).abs() < 0.001 && (lowest - 0.674).abs() < 0.001, "{highest} {lowest}");
    let weather = weather_at(LARKMOOR);
    let climate = climate(LARKMOOR);
    let days = daily(&weather, 3000, mean);
    for month in [0, 6] {
        let years = by_year(&days, month);
        let found = lag_1(&years);
        assert!((highest..lowest).contains(&found), "{found}");
        let middle: Vec<f64> = years.iter().map(|year| year[15]).collect();
        assert!((sd(&middle) / climate.months[month].day_sd_k - 1.0).abs() < 0.05);
    }
}

/// A figure of the air's 24 hours of each day.
fn daily(weather: &SyntheticWeather, years: usize, of: impl Fn(&[f64]) -> f64) -> Vec<f64> {
    let mut days = Vec::with_capacity(years * YEAR_DAYS);
    draw(weather, years, 9, |day, sky| {
        let air: Vec<f64> = weather.hours(day, sky).air_celsius.map(f64::from).to_vec();
        days.push(of(&air));
    });
    days
}

/// Difference of the highest and lowest of the air's hours.
fn swing(air: &[f64]) -> f64 {
    let highest = air.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    highest - air.iter().copied().fold(f64::INFINITY, f64::min)
}

/// A month's mean air temperature over all drawn years is the climate's, also where the year turns. Drawing leaves 0.03 K
/// (sd of days 4 K, 3,000 years of 30 days that hang together by 0.65); straight lines between the months' own means would
/// be 0.4 K off in January.
#[test]
fn months_are_as_warm_as_the_climate_says() {
    for place in [POTSDAM, LARKMOOR, HELSINKI, CANBERRA] {
        let (climate, days) = (climate(place), daily(&weather_at(place), 3000, mean));
        for (month, asked) in climate.months.iter().enumerate() {
            let found = mean(&by_year(&days, month).concat());
            assert!((found - asked.air_celsius).abs() < 0.12, "{place:?} month {}: {found}", month + 1);
        }
    }
}

#[test]
fn days_swing_as_much_as_the_climate_says() {
    for place in [POTSDAM, LARKMOOR, CANBERRA] {
        let (climate, swings) = (climate(place), daily(&weather_at(place), 500, swing));
        for (month, asked) in climate.months.iter().enumerate() {
            let found = mean(&by_year(&swings, month).concat());
            assert!(
                (found - asked.daily_swing_k).abs() < 0.05 * asked.daily_swing_k + 0.2,
                "{place:?} {month}"
            );
        }
    }
}

/// Clear days are warmer at their height and colder at their depth: the published matrices correlate sun with the highest
/// temperature by +0.19, with the lowest by -0.19 and so with their difference by 0.44. Here it follows the sun alone.
#[test]
fn sun_goes_with_a_warm_noon_and_a_cold_night() {
    let together = same_day();
    assert!((together[0][2] - 0.186).abs() < 0.001 && (together[1][2] + 0.193).abs() < 0.001, "{together:?}");
    let weather = weather_at(LARKMOOR);
    let mut days = Vec::new();
    draw(&weather, 1000, 9, |day, sky| days.push(weather.ground_day_wh_m2(day, sky)));
    let sun = by_year(&days, 6).concat();
    let highest = daily(&weather, 1000, |air| air.iter().copied().fold(f64::NEG_INFINITY, f64::max));
    let lowest = daily(&weather, 1000, |air| air.iter().copied().fold(f64::INFINITY, f64::min));
    let with_highest = correlation(&sun, &by_year(&highest, 6).concat());
    let with_lowest = correlation(&sun, &by_year(&lowest, 6).concat());
    assert!((0.1..0.7).contains(&with_highest), "{with_highest}");
    assert!((-0.7..-0.1).contains(&with_lowest), "{with_lowest}");
}

fn sand_point() -> WeatherHours {
    weather::read(include_bytes!("../../../examples/weather/sand-point-ak.csv"))
        .expect("the shipped file reads")
}

/// A measured winter day: light on the ground, and on 60 degrees by its hours [Wh/m²].
struct WinterDay {
    place: (f64, f64, f64),
    month: u8,
    day: u8,
    ground: f64,
    in_plane: f64,
}

fn winter_days() -> Vec<WinterDay> {
    let mut rows = csv::Reader::from_reader(&include_bytes!("data/solar/winter_days.csv")[..]);
    let day = |row: csv::StringRecord| {
        let number = |column: usize| row[column].parse::<f64>().expect("a number");
        WinterDay {
            place: (number(1), number(2), number(3)),
            month: row[4].parse().expect("a month"),
            day: row[5].parse().expect("a day"),
            ground: number(6),
            in_plane: number(7),
        }
    };
    rows.records().map(|row| day(row.expect("a row"))).collect()
}

/// The split decides the winter: November to February on 60 degrees, smooth hours of days split by the daily correlation
/// against hours with measured diffuse (Aachen 2021 and 2023, Duesseldorf 2024), transposed by pvlib 0.16.1.
#[test]
fn a_winter_on_a_steep_plane_is_that_of_its_measured_hours() {
    let days = winter_days();
    let (mut by_day, mut by_hour) = (0.0, 0.0);
    for winter in days.chunk_by(|one, next| one.place == next.place) {
        let (latitude, longitude, elevation) = winter[0].place;
        let light = light_at(latitude, longitude, elevation);
        let dates: Vec<_> =
            nominal_hours().into_iter().step_by(24).map(|hour| (hour.month, hour.day)).collect();
        for day in winter {
            let Some(number) = dates.iter().position(|date| *date == (day.month, day.day)) else { continue };
            let clearness = ClearnessPlace::of((day.ground / light.outside_wh_m2(number)) as f32);
            by_day += f64::from(light.plain_day_wh_m2(number, clearness));
            by_hour += day.in_plane;
        }
    }
    let ratio = by_day / by_hour;
    assert!((ratio - 1.0).abs() < 0.03, "{ratio}");
}
