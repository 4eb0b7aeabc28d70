//! Climates from twelve numbers and from hours.
#![expect(clippy::disallowed_methods, reason = "the test reads its data files")]

use design::quantity::{Angle, Length};
use forecast::sky::clearness::Clearness;
use forecast::sky::climate::{Climate, ClimateError, month_outside_wh_m2, snow_guess_days};
use forecast::sky::weather;

const NORTH: f64 = 47.0;
const SUN: [f64; 12] =
    [1000.0, 1800.0, 3000.0, 4100.0, 5000.0, 5500.0, 5600.0, 4800.0, 3500.0, 2100.0, 1150.0, 800.0];
const AIR: [f64; 12] = [-1.0, 0.0, 4.0, 8.0, 13.0, 16.0, 18.0, 18.0, 14.0, 9.0, 4.0, 0.0];

fn given(latitude_deg: f64, sun: &[f64; 12], air: Option<&[f64; 12]>) -> Result<Climate, ClimateError> {
    let (latitude, longitude) = (Angle::from_degrees(latitude_deg), Angle::from_degrees(8.0));
    Climate::from_monthly(latitude, longitude, Length::from_metres(500.0), sun, air)
}

#[test]
fn twelve_numbers_are_taken_as_they_are() {
    let climate = given(NORTH, &SUN, Some(&AIR)).expect("the numbers are sound");
    for (index, month) in climate.months.iter().enumerate() {
        assert_eq!((month.ghi_wh_m2, month.air_celsius), (SUN[index], AIR[index]));
        assert!((0.04..0.47).contains(&month.unevenness.share) && month.sun_doubt > 0.0);
    }
    assert!(climate.source.contains("twelve monthly numbers"), "{}", climate.source);
    assert!(snow_guess_days(&climate)[0] >= 1.0);
}

#[test]
fn without_temperatures_the_built_in_ones_stand_in() {
    let climate = given(NORTH, &SUN, None).expect("there is land at 47 N 8 E");
    assert!((-5.0..5.0).contains(&climate.months[0].air_celsius));
    assert!((12.0..22.0).contains(&climate.months[6].air_celsius));
    assert!(climate.source.contains("air from the built-in climatology"), "{}", climate.source);
    let err = given(80.0, &[0.0; 12], None).expect_err("no built-in temperature at 80 N");
    assert!(matches!(err, ClimateError::BeyondGrid { .. }));
    assert!(given(80.0, &[0.0; 12], Some(&AIR)).is_ok(), "its own numbers are enough");
}

#[test]
fn impossible_numbers_are_refused_with_their_month() {
    for (value, month) in [(-1.0, 3), (f64::NAN, 7), (f64::INFINITY, 1), (8000.0, 12)] {
        let mut sun = SUN;
        sun[month - 1] = value;
        let refused = given(NORTH, &sun, Some(&AIR)).expect_err("no such sun");
        assert!(matches!(refused, ClimateError::Sun { month: said, .. } if said == month), "{refused}");
        assert!(refused.to_string().starts_with(&format!("month {month}: ")), "{refused}");
    }
    let mut air = AIR;
    air[4] = 273.0;
    let refused = given(NORTH, &SUN, Some(&air)).expect_err("kelvin taken for degrees");
    assert_eq!(refused, ClimateError::Air { month: 5, value_celsius: 273.0 });
}

/// All of what reaches the top of the air is the most that is allowed, and in polar night nothing is.
#[test]
fn sun_may_not_exceed_what_reaches_the_air() {
    for latitude_deg in [0.0, 47.0, 69.0, -33.0] {
        let latitude = Angle::from_degrees(latitude_deg);
        let outside: [f64; 12] = std::array::from_fn(|month| month_outside_wh_m2(latitude, month));
        assert!(given(latitude_deg, &outside, Some(&AIR)).is_ok());
        assert!(given(latitude_deg, &outside.map(|most| most + 50.0), Some(&AIR)).is_err());
    }
}

/// Duffie & Beckman, 4th edition, example 2.19.1: irradiation outside the air at 43 N on the mean day of each month
/// [MJ/m²] (solar constant 1367 W/m²); the mean of the days is within 2 % of the mean day's.
#[test]
fn irradiation_outside_the_air_is_that_of_the_book() {
    let book = [13.37, 18.81, 26.03, 33.78, 39.42, 41.78, 40.56, 35.92, 28.80, 20.90, 14.62, 11.91];
    for (month, megajoules) in book.into_iter().enumerate() {
        let outside = month_outside_wh_m2(Angle::from_degrees(43.0), month);
        assert!((outside * 3600e-6 / megajoules - 1.0).abs() < 0.02, "{month}: {outside}");
    }
}

/// The monthly means that `oracles/climatology_years.py` took from the same year (TMY3, Sand Point, Alaska).
#[test]
fn hours_give_the_months_that_another_program_found() {
    let bytes = std::fs::read("../../examples/weather/sand-point-ak.csv").expect("the example is there");
    let hours = weather::read(&bytes).expect("the example reads");
    let climate = Climate::from_hours(&hours, Angle::from_degrees(55.317));
    let mut reader =
        csv::Reader::from_path("tests/data/climate/weather_years.csv").expect("the file is there");
    let names = reader.headers().expect("it has a head").clone();
    let row = reader.records().map(|row| row.expect("rows are whole")).find(|row| &row[0] == "Sand Point");
    let row = row.expect("Sand Point is among the years");
    for (index, month) in climate.months.iter().enumerate() {
        let theirs = |name: &str| -> f64 {
            let wanted = format!("{name}_{}", index + 1);
            row[names.iter().position(|other| other == wanted).expect(name)].parse().expect("a number")
        };
        // The file rounds to 1 Wh/m², 0.01 K and 0.001; they divide the sum of squares by two less.
        assert!((month.ghi_wh_m2 - theirs("ghi_wh_m2")).abs() < 0.51, "{month:?}");
        assert!((month.air_celsius - theirs("air_celsius")).abs() < 0.006, "{month:?}");
        assert!((month.daily_swing_k - theirs("swing_k")).abs() < 0.006, "{month:?}");
        // About the climate a day strays by more than within its own year's month: by 1/0.80.
        assert!((0.80 * month.day_sd_k / theirs("day_sd_k") - 1.0).abs() < 0.05, "{month:?}");
        let outside = month_outside_wh_m2(climate.latitude, index);
        let spread = Clearness::of_days(month.ghi_wh_m2 / outside, &month.unevenness).sd_of_mean(1, |_| 1.0);
        let cv = spread * outside / month.ghi_wh_m2;
        // Five months are averaged here, one is there.
        assert!((cv / theirs("clearness_cv")).ln().abs() < 0.3, "{index}: {cv}");
        // One year: the days it happened to have and the year it happened to be; 12 to 20 % in a dark month.
        assert!((0.06..0.25).contains(&month.sun_doubt), "{month:?}");
    }
}
