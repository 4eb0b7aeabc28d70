//! What charges a battery beyond what it bears is a danger, with the figure that is borne.
//!
//! Limits: data sheet of a 2.6 Ah lithium-ion pack (0 to 5 °C a tenth of the capacity in an hour, to 15 °C a fifth,
//! above half), as the facts on energy, 5.2, cite it; currents worked out by hand.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use std::fmt::Write as _;

use design::node::Design;
use forecast::Silent;
use forecast::radio::spots::Spots;
use forecast::sky::weather::{self, WeatherHours};
use verdict::plan::{Effort, Finding, Plan, Severity, Verdict, Weather, plan};

const QUIET: &str = "[regulator.main]\nkind = \"ldo\"\noutput = \"3.0 V\"\nquiescent = \"1 uA\"\n[load.board]\nfloor = \"20 uA\"\nfloor_measured = true\n";

fn node(panel: &str, charger: &str, battery: &str, more: &str) -> Design {
    common::solar(panel, charger, &format!("part = \"nmc-18650\"\n{battery}"), &format!("{QUIET}{more}"))
}

fn planned(design: &Design) -> Plan {
    let (weather, effort) = (common::port_angeles(), Effort { lives: Some(1), seed: 1, threads: 1 });
    plan(design, Weather::Hours(&weather), &Spots::alone(design), effort, &Silent)
}

fn found(plan: &Plan, code: &str) -> Option<Finding> {
    plan.findings.iter().find(|one| one.code == code).cloned()
}

fn danger(plan: &Plan, code: &str) -> Option<Finding> {
    found(plan, code).filter(|one| one.severity == Severity::Danger)
}

#[track_caller]
fn says(plan: &Plan, code: &str, words: &[&str]) {
    let found = danger(plan, code).unwrap_or_else(|| panic!("no {code} in {:#?}", plan.findings));
    for word in words {
        assert!(found.message.contains(word), "`{}` says nothing of `{word}`", found.message);
    }
}

#[test]
fn half_an_ampere_into_a_small_cell_is_a_danger_with_what_it_bears() {
    let plan = planned(&node("panel-6w", "linear-usb\"\ncurrent = \"500 mA", "capacity = \"150 mAh\"", ""));
    says(&plan, "charged-too-fast", &["500 mA", "from 0 C", "15 mA", "10 %", "2.6 Ah"]);
}

#[test]
fn a_panel_that_gives_less_than_the_cell_bears_is_none() {
    // 180 mA of short-circuit current against 260 mA, a tenth of 2.6 Ah.
    let plan = planned(&node("panel-1w", "linear-usb\"\ncurrent = \"500 mA", "", ""));
    assert_eq!(found(&plan, "charged-too-fast"), None);
}

#[test]
fn a_gate_that_slows_the_charger_in_the_cold_counts() {
    // 6 W at 87 % into 3.7 V are 1.4 A, more than the charger's 1 A; a fifth of that is 0.2 A below 10 C, but from 10 C on
    // it gives all where the cell bears 0.2 * 2.6 A = 0.52 A. Less than twice of what is borne is no danger yet.
    let plan = planned(&node("panel-6w", "mppt", "", ""));
    let fast = found(&plan, "charged-too-fast").expect("is said");
    assert_eq!(fast.severity, Severity::Warning);
    for word in ["1 A", "from 5 C", "520 mA"] {
        assert!(fast.message.contains(word), "{}", fast.message);
    }
    let faster = planned(&node("panel-6w", "mppt", "capacity = \"2400 mAh\"", ""));
    says(&faster, "charged-too-fast", &["1 A", "480 mA"]);
    let slow = planned(&node("panel-6w", "mppt\"\ncurrent = \"500 mA", "", ""));
    assert_eq!(found(&slow, "charged-too-fast"), None);
    let stated = "charge_rate = [[\"0 C\", \"50 %\"]]";
    assert_eq!(found(&planned(&node("panel-6w", "mppt", stated, "")), "charged-too-fast"), None);
}

#[test]
fn a_raised_limit_and_a_widened_range_are_dangers() {
    let raised = planned(&node("panel-1w", "linear-usb", "charge_limit = \"4.3 V\"", ""));
    says(&raised, "charge-limit-raised", &["4.3 V", "4.2 V"]);
    let two = planned(&node("panel-6w-12v", "linear-usb\"\nvoltage = \"8.4 V", "cells_in_series = 2", ""));
    assert_eq!(danger(&two, "charge-limit-raised"), None, "8.4 V for two cells");
    let cold = planned(&node("panel-1w", "linear-usb", "charge_temperature = [\"-20 C\", \"45 C\"]", ""));
    says(&cold, "charge-temperature-widened", &["-20 C", "0 C"]);
}

#[test]
fn a_gate_wider_than_the_battery_is_a_danger_and_a_lowered_voltage_in_the_heat_is_not() {
    let gate = |from: &str, to: &str, lower: &str| {
        format!(
            "linear-usb\"\ntemperature_gate = [{{ from = \"{from}\", to = \"{to}\", current = \"100 %\", voltage_reduction = \"{lower}\" }}]\n# \""
        )
    };
    let found =
        |charger: &str| danger(&planned(&node("panel-1w", charger, "", "")), "gate-too-wide").is_some();
    assert!(found(&gate("-10 C", "45 C", "0 mV")));
    assert!(found(&gate("0 C", "60 C", "0 mV")));
    assert!(!found(&gate("0 C", "60 C", "200 mV")));
    assert!(!found(&gate("0 C", "55 C", "0 mV")), "the cell's own range");
}

/// A year on the equator that is 50 °C hot until the end of June and 40 °C from July on, with six hours of sun each day.
fn hot_half_year() -> WeatherHours {
    let mut text = "# utc_offset_hours = 0\n# latitude = \"0 deg\"\n# longitude = \"0 deg\"\n# elevation = \"10 m\"\ntime,ghi_w_m2,air_celsius\n".to_owned();
    for (month, days) in (1..=12).zip([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) {
        let celsius = if month <= 6 { 50 } else { 40 };
        for (day, hour) in (1..=days).flat_map(|day| (1..=24).map(move |hour| (day, hour))) {
            let sun = if (10..=15).contains(&hour) { 400 } else { 0 };
            writeln!(text, "2025-{month:02}-{day:02}T{hour:02}:00,{sun},{celsius}").expect("memory");
        }
    }
    weather::read(text.as_bytes()).expect("sound")
}

/// A battery as warm as the air; a floor of 100 mA is far more than the panel gives, so that it is never full.
fn in_the_heat(charger: &str, hottest: &str, floor: &str) -> Plan {
    let design = common::design(&format!(
        r#"
        schema = 1
        name = "Bench"
        [site]
        latitude = "0 deg"
        longitude = "0 deg"
        elevation = "10 m"
        [promise]
        unattended = "1 year"
        installed = "01-01"
        [panel]
        part = "panel-1w"
        tilt = "0 deg"
        azimuth = "180 deg"
        [charger]
        part = "{charger}"
        [enclosure]
        sun_gain = "0 K"
        sky_loss = "0 K"
        lag = "1 h"
        [battery]
        part = "nmc-18650"
        charge_temperature = ["0 C", "{hottest}"]
        [regulator.main]
        kind = "ldo"
        output = "3.0 V"
        quiescent = "1 uA"
        [load.board]
        floor = "{floor}"
        floor_measured = true
        "#
    ));
    let (weather, effort) = (hot_half_year(), Effort { lives: Some(100), seed: 1, threads: 1 });
    plan(&design, Weather::Hours(&weather), &Spots::alone(&design), effort, &Silent)
}

/// By hand: 181 days from January to June with six hours of sun are 1,086 hours; a site strays by 1 K from its climate, so
/// that 45 °C parts 50 from 40 at five standard deviations.
#[test]
fn charging_above_what_the_cell_bears_is_counted_and_a_danger() {
    let hot = in_the_heat("linear-usb", "45 C", "100 mA");
    assert!((hot.life.hot_hours_per_year - 1086.0).abs() < 12.0, "{} h", hot.life.hot_hours_per_year);
    let hours = format!("{:.0} hours a year", hot.life.hot_hours_per_year);
    says(
        &hot,
        "charged-hot",
        &["100 % of lives", "above the 45 C", &hours, "bear 60 C at most", "2.6 Ah lithium-ion pack"],
    );
    for (charger, hottest) in [("linear-usb", "55 C"), ("linear-usb-gated", "45 C")] {
        let sound = in_the_heat(charger, hottest, "100 mA");
        assert!(
            sound.life.hot_hours_per_year < 1e-9,
            "{charger} {hottest}: {}",
            sound.life.hot_hours_per_year
        );
        assert_eq!(found(&sound, "charged-hot"), None);
    }
}

/// Charging in the heat keeps a node that lives from holding, as charging in frost does.
#[test]
fn a_node_that_lives_and_is_charged_hot_is_tight_at_best() {
    let verdict = |hottest: &str| {
        let plan = in_the_heat("linear-usb", hottest, "50 uA");
        assert_eq!(plan.chances.map(|chances| chances.without_outage.percent().round()), Some(100.0));
        plan.verdict
    };
    assert_eq!((verdict("55 C"), verdict("45 C")), (Verdict::Holds, Verdict::Tight));
}
