//! The promised time is lived as it is, from a week to 50 years.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::catalog::Catalog;
use design::diagnostic::Diagnostic;
use design::node::Design;
use forecast::Silent;
use forecast::radio::spots::Spots;
use forecast::sky::climate::Climate;
use verdict::plan::{Effort, Survival, Weather, plan};

/// A primary cell of 19 Ah that draws 10 mA: its label lasts 79 days, the nine tenths that such a cell holds 71.
fn text(unattended: &str) -> String {
    format!(
        r#"
        schema = 1
        name = "Bench"
        [site]
        latitude = "47 deg"
        longitude = "8 deg"
        elevation = "400 m"
        [promise]
        unattended = "{unattended}"
        [battery]
        part = "li-socl2-d"
        [regulator.main]
        kind = "ldo"
        output = "2.5 V"
        quiescent = "1 uA"
        [load.board]
        floor = "10 mA"
        floor_measured = true
        "#
    )
}

fn lived(design: &Design) -> Survival {
    let site = &design.site;
    let climate = Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land");
    let effort = Effort { lives: Some(100), seed: 1, threads: 2 };
    let plan = plan(design, Weather::Climate(&climate), &Spots::alone(design), effort, &Silent);
    plan.chances.expect("lives")
}

/// A month is a month: the cell bears 30 days and not 120. Cold takes a tenth or two of it, spread 6 %.
#[test]
fn thirty_days_are_lived_as_thirty_days() {
    for (unattended, days, percent) in [("7 d", 7.0, 100.0), ("30 d", 30.0, 100.0), ("120 d", 120.0, 0.0)] {
        let chances = lived(&common::design(&text(unattended)));
        assert!((chances.years * 365.0 - days).abs() < 1e-6, "{unattended}: {} years", chances.years);
        assert!((chances.without_outage.percent() - percent).abs() < 1e-9, "{unattended}: {chances:?}");
    }
}

#[test]
fn spans_outside_a_week_and_fifty_years_are_refused_with_both_limits() {
    for unattended in ["6 d", "51 years"] {
        let refused = design::resolve::resolve(&Catalog::builtin(), &design::file::parse(&text(unattended)));
        let problems = refused.expect_err(unattended);
        let said = |one: &Diagnostic| {
            one.code == "unattended" && one.message.contains("7 d") && one.message.contains("50 years")
        };
        assert!(problems.iter().any(said), "{unattended}: {problems:#?}");
    }
    assert!((lived(&common::design(&text("50 years"))).years - 50.0).abs() < 1e-9);
}
