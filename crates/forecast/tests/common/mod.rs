//! Designs written as a person would, for tests that need one.
#![allow(dead_code, reason = "each test file uses the part it needs, so an expectation would fail in some")]

use design::catalog::Catalog;
use design::node::Design;
use forecast::sky::weather::{self, WeatherHours};

/// The design this text means.
pub(crate) fn design(text: &str) -> Design {
    let file = design::file::parse(text);
    match design::resolve::resolve(&Catalog::builtin(), &file) {
        Ok(resolved) => resolved.design,
        Err(problems) => panic!("{problems:#?}"),
    }
}

/// A node on a primary cell that does nothing but what `load` says.
pub(crate) fn primary(load: &str) -> Design {
    design(&format!(
        r#"
        schema = 1
        name = "Bench"
        [site]
        latitude = "47 deg"
        longitude = "8 deg"
        elevation = "400 m"
        [promise]
        unattended = "1 year"
        [battery]
        part = "li-socl2-d"
        {load}
        "#
    ))
}

/// A solar node with a generic radio; `more` adds or completes tables.
pub(crate) fn solar(panel: &str, charger: &str, battery: &str, more: &str) -> Design {
    design(&format!(
        r#"
        schema = 1
        name = "Bench"
        [site]
        latitude = "48.12 deg"
        longitude = "-123.5 deg"
        elevation = "88 m"
        [promise]
        unattended = "1 year"
        [panel]
        part = "{panel}"
        tilt = "60 deg"
        azimuth = "180 deg"
        [charger]
        part = "{charger}"
        [battery]
        {battery}
        {more}
        "#
    ))
}

/// Port Angeles, a cloudy coast at 48 degrees north: a typical year (TMY3, US government).
pub(crate) fn port_angeles() -> WeatherHours {
    weather::read(include_bytes!("../../../../examples/weather/port-angeles-wa.csv"))
        .expect("the shipped file reads")
}
