//! The shipped examples (an invented valley), each lived through a real typical year of a cloudy coast at 48 degrees north.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use common::{design, port_angeles};
use verdict::plan::{NodeState, Plan, Restart, Verdict, plan_once};

const FROST_MAST: &str = include_str!("../../../examples/larkmoor/frost-mast.toml");
const SPRAY_TRAILER: &str = include_str!("../../../examples/larkmoor/spray-trailer.toml");
const SOIL_STATION: &str = include_str!("../../../examples/larkmoor/soil-station.toml");
const TANK_LEVEL: &str = include_str!("../../../examples/larkmoor/tank-level.toml");

fn lived(text: &str) -> Plan {
    plan_once(&design(text), &port_angeles())
}

fn defect<'a>(plan: &'a Plan, words: &str) -> &'a verdict::plan::DefectRow {
    plan.defects.iter().find(|row| row.name.contains(words)).expect("the defect is listed")
}

/// Earnings less spendings of the ledger are those of the months, and every figure is a number.
#[test]
fn ledger_and_months_tell_the_same_story() {
    for text in [FROST_MAST, SPRAY_TRAILER, SOIL_STATION, TANK_LEVEL] {
        let plan = lived(text);
        let (days, spent) = plan.months.iter().fold((0.0, 0.0), |sum, row| {
            let days = [31.0, 28.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0]
                [usize::from(row.month) - 1];
            (sum.0 + days, sum.1 + days * row.spent_per_day.milliampere_hours())
        });
        let ledger: f64 =
            plan.ledger.iter().map(|entry| entry.per_day.milliampere_hours()).filter(|mah| *mah < 0.0).sum();
        assert!((ledger + spent / days).abs() < 0.01 * spent / days, "{ledger} {}", spent / days);
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
    let unplugged = defect(&plan, "unplugged");
    assert!(unplugged.days_to_death.is_some_and(|days| (10.0..60.0).contains(&days)), "{unplugged:?}");
    assert_eq!(unplugged.restart, Some(Restart::Never));
    assert!(plan.findings.iter().any(|finding| finding.code == "weather-elsewhere"));
}

#[test]
fn the_trailer_lives_under_its_roof_unless_it_searches_for_satellites() {
    let plan = lived(SPRAY_TRAILER);
    assert_eq!(plan.verdict, Verdict::Holds, "{}", plan.reason);
    let december = plan.months.iter().find(|row| row.month == 12).expect("December");
    assert!(december.offered_per_day.coulombs() <= 0.0, "a roof lets no sun through");
    let searching = defect(&plan, "searching");
    assert!(searching.days_to_death.is_some_and(|days| days < 7.0), "{searching:?}");
}

fn unshaded(text: &str) -> String {
    let free = text.lines().map(|line| if line.starts_with("shade = ") { "shade = \"0 %\"" } else { line });
    free.collect::<Vec<_>>().join("\n")
}

#[test]
fn half_a_shade_halves_the_soil_stations_sun() {
    let shaded = lived(SOIL_STATION);
    let free = design(&unshaded(SOIL_STATION));
    let free = plan_once(&free, &port_angeles());
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
