//! What charges a battery beyond what it bears is a danger, with the figure that is borne.
//!
//! Limits: data sheet of a 2.6 Ah lithium-ion pack (0 to 5 °C a tenth of the capacity in an hour, to 15 °C a fifth,
//! above half), as the facts on energy, 5.2, cite it; currents worked out by hand.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::node::Design;
use forecast::Silent;
use forecast::radio::spots::Spots;
use verdict::plan::{Effort, Finding, Plan, Severity, Weather, plan};

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
