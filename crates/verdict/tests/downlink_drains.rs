//! An interval that a message to the node may set, and at which its battery does not last.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::change::Change;
use design::node::Design;
use design::quantity::Duration;
use forecast::Silent;
use forecast::radio::spots::Spots;
use forecast::sky::climate::Climate;
use verdict::plan::{Effort, Finding, Plan, Survival, Weather, plan};

/// A primary cell of 19 Ah for a year; each report draws 20 mA for 50 s, by hand 1000 mA s = 0.2778 mAh.
fn node(range: &str) -> Design {
    common::primary(&format!(
        r#"
        [radio]
        part = "radio-mcu-14dbm"
        region = "EU868"
        data_rate = "DR5"
        power = "14 dBm"
        place = "outside"
        [regulator.main]
        kind = "ldo"
        output = "2.5 V"
        quiescent = "1 uA"
        [load.board]
        floor = "10 uA"
        floor_measured = true
        [load.board.activity.report]
        every = "60 min"
        steps = [{{ current = "20 mA", time = "50 s" }}]
        [message.order]
        port = 9
        direction = "down"
        [message.order.field.interval]
        unit = "min"
        range = {range}
        resolution = 1
        sets = "report"
        "#
    ))
}

fn planned(design: &Design) -> Plan {
    let site = &design.site;
    let climate = Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land");
    let effort = Effort { lives: Some(200), seed: 1, threads: 2 };
    plan(design, Weather::Climate(&climate), &Spots::alone(design), effort, &Silent)
}

fn found(plan: &Plan) -> Option<&Finding> {
    plan.findings.iter().find(|finding| finding.code == "downlink-drains")
}

fn survival_percent(design: &Design, minutes: u32) -> f64 {
    let (load, activity) = ("board".to_owned(), "report".to_owned());
    let every = Duration::from_minutes(minutes.into());
    let changed = design.with(Change::Interval { load, activity, every }).expect("an interval");
    planned(&changed).chances.map_or(0.0, |chances: Survival| chances.without_outage.percent())
}

/// By hand: a report a minute draws 525,600 times 0.2778 mAh, 146 Ah in the year, of a cell of 19 Ah; the cell is drawn
/// empty at one every 7.7 minutes if it holds its label, and at one every 15 if it holds half of it.
#[test]
fn an_interval_that_empties_the_cell_is_named_with_the_one_that_does_not() {
    let design = node("[1, 120]");
    let plan = planned(&design);
    let said = found(&plan).expect("it is said");
    for word in ["`order`", "`report`", "every 1 min", "0.0 % of its lives", "promised 95 %"] {
        assert!(said.message.contains(word), "{}", said.message);
    }
    assert_eq!(said.field, "message.order.field.interval");
    let minutes = (2..60).find(|minutes| said.help.contains(&format!("begin at {minutes} min,")));
    let minutes = minutes.unwrap_or_else(|| panic!("no minutes in {}", said.help));
    assert!((8..=15).contains(&minutes), "{}", said.help);
    assert!(survival_percent(&design, minutes) >= 95.0 && survival_percent(&design, minutes - 1) < 95.0);
}

#[test]
fn a_range_that_the_cell_bears_is_not_named() {
    assert_eq!(found(&planned(&node("[30, 120]"))), None);
    assert_eq!(found(&planned(&node("[60, 120]"))), None, "never faster than written");
}
