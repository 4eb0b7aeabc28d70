//! Many lives: the same answer from the same seed, and the order of answers that anybody would expect.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use forecast::Silent;
use forecast::radio::spots::Spots;
use forecast::sky::climate::Climate;
use verdict::plan::{Effort, Plan, Survival, Verdict, Weather, plan};

const FROST_MAST: &str = include_str!("../../../examples/larkmoor/frost-mast.toml");

fn planned(text: &str, lives: usize, threads: usize) -> Plan {
    let design = common::design(text);
    let site = &design.site;
    let climate = Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land");
    plan(
        &design,
        Weather::Climate(&climate),
        &Spots::alone(&design),
        Effort { lives: Some(lives), seed: 1, threads },
        &Silent,
    )
}

/// The frost mast with one thing changed.
fn changed(from: &str, to: &str) -> String {
    let text = FROST_MAST.replace(from, to);
    assert_ne!(text, FROST_MAST, "the example still says {from}");
    text
}

fn chances(text: &str) -> Survival {
    planned(text, 400, 2).chances.expect("lives")
}

/// Same seed, same bytes, whatever the number of threads.
#[test]
fn threads_do_not_change_the_answer() {
    let (one, two) = (planned(FROST_MAST, 64, 1), planned(FROST_MAST, 64, 2));
    assert_eq!(format!("{one:?}"), format!("{two:?}"));
}

/// Halving what the panel gets, laying it flat, doubling the load and moving north each cost lives and charge.
#[test]
fn every_change_for_the_worse_costs_lives() {
    let base = chances(FROST_MAST);
    let worse = [
        ("soiling = \"4 %\"", "soiling = \"52 %\""),
        ("tilt = \"60 deg\"", "tilt = \"0 deg\""),
        ("floor = \"1.3 mA", "floor = \"2.6 mA"),
        (
            "latitude = \"46.99 deg\"\nlongitude = \"13.00 deg\"",
            "latitude = \"60.0 deg\"\nlongitude = \"13.00 deg\"",
        ),
    ];
    for (from, to) in worse {
        let other = chances(&changed(from, to));
        assert!(other.without_outage.fraction() < base.without_outage.fraction() - 0.05, "{to}");
        assert!(other.outage_hours_per_year > base.outage_hours_per_year, "{to}");
        let dark = other.darkest_day;
        assert!(!(75..320).contains(&dark), "the darkest date lies in winter: day {dark}, {to}");
    }
}

/// The worst fifth of the unknowns fares no better than all, the best no worse; the interval holds the share.
#[test]
fn doubt_about_the_parts_stands_apart_from_simulation_noise() {
    let found = chances(FROST_MAST);
    assert!(found.worst_fifth.fraction() <= found.without_outage.fraction());
    assert!(found.best_fifth.fraction() >= found.without_outage.fraction());
    let (low, high) = found.interval;
    assert!(low < found.without_outage && found.without_outage < high);
    let order = |band: &verdict::plan::DayBand| band.charge.windows(2).all(|pair| pair[0] <= pair[1]);
    assert!(found.bands.len() == 365 && found.bands.iter().all(order));
}

/// What kills is named, and what hangs on what has the sign that it must have.
#[test]
fn the_reason_is_the_one_that_was_built_in() {
    let hungry = chances(&changed("floor = \"1.3 mA +- 15 %\"", "floor = \"2.0 mA +- 60 %\""));
    let weight =
        |name: &str| hungry.drivers.iter().find(|driver| driver.name == name).expect("it varies").weight;
    assert_eq!(hungry.drivers[0].name, "sleep current");
    assert!(weight("sleep current") < -0.4 && weight("sunshine of the site") > 0.05);
    assert!(weight("battery capacity against its label") > 0.0);
    let total: f64 = hungry.causes.iter().map(|(_, share)| share.fraction()).sum();
    assert!((total - 1.0).abs() < 1e-9, "every life that failed failed of something");
}

/// Half the lives fail for a promise of 95 %.
#[test]
fn a_promise_far_from_kept_fails() {
    let plan = planned(&changed("floor = \"1.3 mA", "floor = \"2.6 mA"), 200, 2);
    assert_eq!(plan.verdict, Verdict::Fails);
}

/// The fifth of the lives with the worst parts and site fares worse than the best, whichever part it is that strays.
#[test]
fn the_unluckiest_fifth_is_the_one_with_the_worst_parts() {
    for (floor, report, panel) in [
        ("7 mA +- 40 %", "1 mA", "1 W +- 1 %"),
        ("1 mA", "72 mA +- 40 %", "1 W +- 1 %"),
        ("9 mA", "1 mA", "1 W +- 30 %"),
    ] {
        let more = format!(
            "[load.node]\nfloor = \"{floor}\"\nfloor_measured = true\n\
             [load.node.activity.work]\nevery = \"1 min\"\nsteps = [{{ current = \"{report}\", time = \"5 s\" }}]\n\
             [regulator.main]\nkind = \"none\"\n"
        );
        let design = common::solar(
            &format!("panel-1w\"\npower = \"{panel}"),
            "linear-usb-gated",
            "part = \"nmc-18650\"",
            &more,
        );
        let weather = common::port_angeles();
        let effort = Effort { lives: Some(60), seed: 1, threads: 2 };
        let plan = plan(&design, Weather::Hours(&weather), &Spots::alone(&design), effort, &Silent);
        let chances = plan.chances.expect("lives");
        let (worst, best) = (chances.worst_fifth.percent(), chances.best_fifth.percent());
        assert!(worst + 30.0 < best, "{floor}, {report}, {panel}: {worst} {best}");
    }
}
