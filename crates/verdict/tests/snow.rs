//! Days of snow that are written down as none are none; left out, they are guessed, and that is said.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::node::Design;
use design::quantity::{Angle, Length};
use forecast::life::climate_view::climate_view;
use forecast::sky::climate::Climate;

/// A node in a cold wet valley; `snow` is its line in `[site]`, `climate` a table of its own numbers.
fn node(snow: &str, climate: &str) -> Design {
    common::design(&format!(
        r#"
        schema = 1
        name = "Bench"
        [site]
        latitude = "61 deg"
        longitude = "9 deg"
        elevation = "700 m"
        {snow}
        [promise]
        unattended = "1 year"
        [panel]
        part = "panel-1w"
        tilt = "0 deg"
        azimuth = "180 deg"
        [charger]
        part = "linear-usb-gated"
        [battery]
        part = "lco-pouch"
        [regulator.main]
        kind = "ldo"
        output = "3.0 V"
        quiescent = "1 uA"
        [load.board]
        floor = "100 uA"
        floor_measured = true
        {climate}
        "#
    ))
}

fn built_in() -> Climate {
    let (latitude, longitude) = (Angle::from_degrees(61.0), Angle::from_degrees(9.0));
    Climate::builtin(latitude, longitude, Length::from_metres(700.0)).expect("land")
}

/// January has a mean far below freezing there, so that a guess is never none; twelve zeros are twelve months without.
#[test]
fn twelve_zeros_are_twelve_months_without_snow() {
    let january = |snow: &str| {
        let view = climate_view(&node(snow, ""), &built_in(), 1);
        (view.snow_guessed, view.months[0].snow_days, view.months[0].in_plane_wh_m2)
    };
    let (guessed, days, under_snow) = january("");
    assert!(guessed && days > 1.0, "{days} days");
    let (written, none, free) = january("snow_days = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]");
    assert!(!written && none.abs() < 1e-9, "{none} days");
    assert!(free > under_snow, "snow takes light: {free} against {under_snow}");
}

/// The built-in climate knows the rain; twelve numbers of the sun and the air far at sea do not.
#[test]
fn a_guess_without_known_rain_says_so() {
    let known = climate_view(&node("", ""), &built_in(), 1);
    assert!(known.snow_guessed && !known.rain_guessed);
    let dry = Climate {
        months: built_in().months.map(|mut month| {
            month.precipitation_mm_day = None;
            month
        }),
        ..built_in()
    };
    assert!(climate_view(&node("", ""), &dry, 1).rain_guessed);
}
