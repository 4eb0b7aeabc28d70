//! The shipped examples (an invented valley), each lived through a real typical year of a cloudy coast at 48 degrees north.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use common::{design, port_angeles};
use design::node::Design;
use forecast::Silent;
use forecast::radio::spots::Spots;
use verdict::plan::{Effort, FaultKind, FaultRow, NodeState, Plan, Verdict, Weather, plan};

const FROST_MAST: &str = include_str!("../../../examples/larkmoor/frost-mast.toml");
const SPRAY_TRAILER: &str = include_str!("../../../examples/larkmoor/spray-trailer.toml");
const SOIL_STATION: &str = include_str!("../../../examples/larkmoor/soil-station.toml");
const TANK_LEVEL: &str = include_str!("../../../examples/larkmoor/tank-level.toml");

fn lived(text: &str) -> Plan {
    planned(&design(text))
}

fn planned(design: &Design) -> Plan {
    let effort = Effort { lives: Some(100), seed: 1, threads: 2 };
    plan(design, Weather::Hours(&port_angeles()), &Spots::alone(design), effort, &Silent)
}

fn fault(plan: &Plan, kind: FaultKind) -> &FaultRow {
    let faults = &plan.chances.as_ref().expect("lives").faults;
    faults.iter().find(|row| row.fault.kind == kind).expect("a fault this node can have")
}

/// Spendings of the ledger are those of the months, in the darkest month and over the year, and every figure is a number.
#[test]
fn ledger_and_months_tell_the_same_story() {
    for text in [FROST_MAST, SPRAY_TRAILER, SOIL_STATION, TANK_LEVEL] {
        let plan = lived(text);
        let spent = |of: &dyn Fn(&verdict::plan::LedgerEntry) -> f64| -> f64 {
            plan.ledger.iter().map(of).filter(|mah| *mah < 0.0).sum()
        };
        let year = spent(&|entry| entry.per_day.milliampere_hours());
        let days = [31.0, 28.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];
        let monthly = plan.months.iter().map(|row| row.spent_per_day.milliampere_hours());
        let by_month: f64 = monthly.zip(days).map(|(mah, days)| mah * days / 365.0).sum();
        assert!((year + by_month).abs() < 0.01 * by_month, "{year} {by_month}");
        assert!(
            plan.hours
                .iter()
                .all(|hour| hour.charge.fraction().is_finite() && hour.battery_voltage.volts() > 0.0)
        );
    }
}

#[test]
fn the_frost_mast_outlives_its_winter_and_says_what_would_kill_it() {
    let plan = lived(FROST_MAST);
    assert_eq!((plan.verdict, plan.life.outage_hours), (Verdict::Holds, 0), "{}", plan.reason);
    assert!(
        plan.life.plating_hours_per_year == 0.0 && plan.life.gated_hours_per_year > 0.0,
        "its gate works"
    );
    assert!(plan.hours.iter().any(|hour| hour.state == NodeState::Gated));
    let unplugged = fault(&plan, FaultKind::PanelUnplugged);
    assert!(unplugged.median_days.is_some_and(|days| (10.0..60.0).contains(&days)), "{unplugged:?}");
    assert_eq!(unplugged.comes_back.map(design::quantity::Share::fraction), Some(0.0));
    assert!(plan.findings.iter().any(|finding| finding.code == "weather-elsewhere"));
}

#[test]
fn the_trailer_lives_under_its_roof_unless_it_searches_for_satellites() {
    let plan = lived(SPRAY_TRAILER);
    assert_eq!(plan.verdict, Verdict::Holds, "{}", plan.reason);
    let december = plan.months.iter().find(|row| row.month == 12).expect("December");
    assert!(december.offered_per_day.coulombs() <= 0.0, "a roof lets no sun through");
    let searching = fault(&plan, FaultKind::ReceiverSearching);
    assert!(searching.median_days.is_some_and(|days| days < 7.0), "{searching:?}");
}

fn unshaded(text: &str) -> String {
    let free = text.lines().map(|line| if line.starts_with("shade = ") { "shade = \"0 %\"" } else { line });
    free.collect::<Vec<_>>().join("\n")
}

#[test]
fn half_a_shade_halves_the_soil_stations_sun() {
    let shaded = lived(SOIL_STATION);
    let free = planned(&design(&unshaded(SOIL_STATION)));
    let july =
        |plan: &Plan| plan.months.iter().find(|row| row.month == 7).map(|row| row.offered_per_day.coulombs());
    assert!(july(&shaded) < july(&free).map(|offered| 0.75 * offered));
    assert_eq!(shaded.verdict, Verdict::Holds, "{}", shaded.reason);
}

#[test]
fn the_tank_needs_no_sun() {
    let plan = lived(TANK_LEVEL);
    assert_eq!(plan.verdict, Verdict::Holds, "{}", plan.reason);
    assert!(plan.months.iter().all(|row| row.offered_per_day.coulombs() <= 0.0));
    assert!(plan.life.without_sun > design(TANK_LEVEL).promise.unattended);
}
