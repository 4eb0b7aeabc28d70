//! A weather file lives under its own dates, whatever month it begins with.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use std::fmt::Write;

use forecast::Silent;
use forecast::radio::spots::Spots;
use forecast::sky::weather::{self, HourStart, WeatherHours};
use verdict::plan::{Effort, Weather, plan};

/// Port Angeles as a plain file that begins with this month.
fn port_angeles_from(month: u8) -> WeatherHours {
    let typical = common::port_angeles();
    let first = typical.starts().iter().position(|start| start.month == month).expect("all months");
    let mut text = "# utc_offset_hours = -8\n# latitude = \"48.12 deg\"\n# longitude = \"-123.5 deg\"\n# elevation = \"91 m\"\ntime,ghi_w_m2,dni_w_m2,dhi_w_m2,air_celsius,wind_m_s\n".to_owned();
    let column = |values: &Option<Vec<f32>>, hour: usize| values.as_ref().expect("measured")[hour];
    for hour in (first..8760).chain(0..first) {
        let HourStart { month, day, hour: clock, .. } = typical.starts()[hour];
        let year = if hour < first { 2026 } else { 2025 };
        writeln!(
            text,
            "{year}-{month:02}-{day:02}T{:02}:00,{},{},{},{},{}",
            clock + 1,
            typical.ghi_w_m2[hour],
            column(&typical.dni_w_m2, hour),
            column(&typical.dhi_w_m2, hour),
            typical.air_celsius[hour],
            column(&typical.wind_m_s, hour)
        )
        .expect("memory");
    }
    weather::read(text.as_bytes()).expect("the same year, turned")
}

/// Share of lives without an outage and the darkest day of the year, of a node that draws this current asleep.
fn answer(hours: &WeatherHours, floor_milliamperes: f64) -> (f64, usize) {
    let design = common::solar(
        "panel-1w",
        "linear-usb-gated",
        "part = \"nmc-18650\"",
        &format!("[load.node]\nfloor = \"{floor_milliamperes} mA +- 15 %\""),
    );
    let effort = Effort { lives: Some(120), seed: 1, threads: 2 };
    let plan = plan(&design, Weather::Hours(hours), &Spots::alone(&design), effort, &Silent);
    let chances = plan.chances.expect("lives");
    (chances.without_outage.fraction(), chances.darkest_day)
}

/// The same year as a file from January, April, July and October: only the warmth of the battery in the first hours of the
/// file differs.
#[test]
fn the_first_month_of_a_file_changes_no_answer() {
    let files = [1, 4, 7, 10].map(port_angeles_from);
    let mut on_the_edge = 0;
    for floor_milliamperes in [5.0, 7.0, 8.0] {
        let answers = files.each_ref().map(|hours| answer(hours, floor_milliamperes));
        let (share, darkest) = answers[0];
        on_the_edge += usize::from((0.03..0.97).contains(&share));
        for (other, day) in &answers {
            assert!((other - share).abs() < 0.01 && *day == darkest, "{floor_milliamperes} mA: {answers:?}");
        }
    }
    assert!(on_the_edge > 0, "no load is between life and death");
}
