//! Promises beside survival: how complete, how fresh, how many visits. Expected values follow from intervals and from
//! cells that are counted by hand.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use forecast::Silent;
use forecast::life::run::Silence;
use forecast::radio::spots::Spots;
use forecast::sky::climate::Climate;
use verdict::plan::{Effort, Plan, Promised, Survival, Verdict, Weather, plan};

/// A bench node at 47 N on a rechargeable cell, or on a primary one if `power` says so.
fn node(promise: &str, power: &str, load: &str) -> String {
    format!(
        r#"
        schema = 1
        name = "Bench"
        [site]
        latitude = "47 deg"
        longitude = "8 deg"
        elevation = "400 m"
        [promise]
        {promise}
        {power}
        [radio]
        part = "radio-mcu-14dbm"
        region = "EU868"
        data_rate = "DR5"
        power = "14 dBm"
        {load}
        "#
    )
}

const SUNNY: &str = r#"
    [panel]
    part = "panel-1w"
    tilt = "60 deg"
    azimuth = "180 deg"
    [charger]
    part = "linear-usb-gated"
    [battery]
    part = "nmc-18650"
    [regulator.main]
    kind = "ldo"
    output = "3.0 V"
    quiescent = "1 uA"
"#;

fn reporting(every: &str, floor: &str) -> String {
    format!(
        r#"
        [load.board]
        floor = "{floor}"
        floor_measured = true
        [load.board.activity.report]
        {every}
        steps = [{{ current = "6 mA", time = "200 ms" }}, {{ uplink = {{ payload = "12 bytes" }} }}]
        "#
    )
}

fn planned(text: &str, lives: usize) -> Plan {
    let design = common::design(text);
    let site = &design.site;
    let climate = Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land");
    let effort = Effort { lives: Some(lives), seed: 1, threads: 2 };
    plan(&design, Weather::Climate(&climate), &Spots::alone(&design), effort, &Silent)
}

fn verdict(chances: &Survival, name: &str) -> Verdict {
    chances.kept.iter().find(|kept| kept.promised.name() == name).expect("it was promised").verdict
}

fn chances(plan: &Plan) -> &Survival {
    plan.chances.as_ref().expect("lives")
}

fn hours(silence: Option<design::quantity::Duration>) -> f64 {
    silence.expect("it reports").hours()
}

fn sent(chances: &Survival) -> f64 {
    chances.completeness.expect("it reports").fraction()
}

#[test]
fn silence_is_the_time_between_reports() {
    let longest = |reports: &[f32]| {
        let mut silence = Silence::default();
        for hour in reports {
            silence.pass_hour(*hour);
        }
        silence.longest_h
    };
    let near =
        |found: f32, expected: f32| assert!((found - expected).abs() < 1e-3, "{found} h, not {expected}");
    near(longest(&[6.0; 48]), 1.0 / 6.0);
    near(longest(&[1.0 / 6.0; 48]), 6.0);
    // Ten-minute reports, five hours out.
    near(longest(&[[6.0; 10].as_slice(), &[0.0; 5], &[6.0; 10]].concat()), 5.0 + 1.0 / 6.0);
}

/// A node that saves its charge lives, and says less than was promised: every hour while half full, and below that every
/// twelve hours, in the dark of the year, under a load that keeps it there.
#[test]
fn a_node_that_spares_itself_lives_and_is_not_fresh() {
    let every = r#"every_by_charge = [["90 %", "1 h"], ["0 %", "12 h"]]"#;
    let promised = |freshness: &str| {
        let promise = format!(
            "unattended = \"2 years\"\ninstalled = \"09-01\"\ncharge_at_installation = \"95 %\"\nfreshness = \"{freshness}\""
        );
        planned(&node(&promise, SUNNY, &reporting(every, "1.5 mA")), 200)
    };
    let strict = promised("6 h");
    let found = chances(&strict);
    assert_eq!((verdict(found, "survival"), verdict(found, "freshness")), (Verdict::Holds, Verdict::Fails));
    assert_eq!(strict.verdict, Verdict::Fails);
    assert!(strict.reason.ends_with("; misses the promised freshness"), "{}", strict.reason);
    // The interval that it falls back to, and at most the rest of the one before.
    assert!((12.0..=13.0).contains(&hours(found.longest_silence)), "{} h", hours(found.longest_silence));
    let lenient = promised("14 h");
    assert_eq!((verdict(chances(&lenient), "freshness"), lenient.verdict), (Verdict::Holds, Verdict::Holds));
}

/// No battery helps an interval that is longer than the promise.
#[test]
fn an_interval_longer_than_the_promise_is_not_fresh() {
    let fresh = |every: &str| {
        let promise = "unattended = \"1 year\"\nfreshness = \"3 h\"";
        let plan = planned(&node(promise, SUNNY, &reporting(&format!("every = \"{every}\""), "10 uA")), 100);
        verdict(chances(&plan), "freshness")
    };
    assert_eq!((fresh("1 h"), fresh("3 h"), fresh("4 h")), (Verdict::Holds, Verdict::Holds, Verdict::Fails));
}

/// Half the reports are left out by a node that reports half as often whenever it is not brim-full.
#[test]
fn completeness_counts_reports_that_were_spared() {
    let every = r#"every_by_charge = [["100 %", "10 min"], ["0 %", "20 min"]]"#;
    let promise = "unattended = \"1 year\"\ncompleteness = \"90 %\"";
    // With a gauge that is right: one that reads high takes 95 % for full.
    let right = SUNNY.replace("part = \"nmc-18650\"", "part = \"nmc-18650\"\n    gauge_error = \"0 %\"");
    let plan = planned(&node(promise, &right, &reporting(every, "10 uA")), 100);
    let found = chances(&plan);
    assert!((sent(found) - 0.5).abs() < 0.01, "{}", sent(found));
    assert_eq!(
        (verdict(found, "survival"), verdict(found, "completeness")),
        (Verdict::Holds, Verdict::Fails)
    );
}

/// A primary cell of known content under a known load must be changed as often as it runs empty.
#[test]
fn a_primary_cell_is_visited_as_often_as_it_runs_empty() {
    let cell = r#"
        [battery]
        part = "li-socl2-d"
        [regulator.main]
        kind = "none"
    "#;
    let visits = |floor: &str, asked: f64| {
        let promise = format!("unattended = \"5 years\"\nvisits_per_year = {asked}");
        let plan = planned(&node(&promise, cell, &reporting("every = \"1 h\"", floor)), 100);
        (chances(&plan).visits_per_year, verdict(chances(&plan), "visits"), plan.verdict)
    };
    let (none, holds, _) = visits("20 uA", 0.0);
    assert_eq!((none, holds), (0.0, Verdict::Holds));
    let design =
        common::design(&node("unattended = \"5 years\"", cell, &reporting("every = \"1 h\"", "3 mA")));
    let capacity_mah = forecast::life::node::real_capacity(&design.battery).milliampere_hours();
    let (found, kept, all) = visits("3 mA", 1.0);
    // 3 mA is 26.3 Ah a year; leaks, cold and pulses take some of a cell, and the last one is not empty yet.
    let least = 3.0 * 8766.0 / capacity_mah - 0.2;
    assert!((least..1.6 * least + 0.2).contains(&found), "{found} a year, at least {least}");
    assert_eq!((kept, all), (Verdict::Fails, Verdict::Fails));
    // The cell alone, over its floor: a little longer than its outages are apart, and nine lives in ten last less long.
    let (median, most) =
        planned(&node("unattended = \"5 years\"", cell, &reporting("every = \"1 h\"", "3 mA")), 20)
            .life
            .lasts
            .expect("nothing charges it");
    let alone_years = capacity_mah / 3.0 / 8766.0;
    assert!(
        (0.55..1.05).contains(&(median.years() / alone_years)),
        "{} of {alone_years} years",
        median.years()
    );
    assert!(most < median && most.years() > 0.5 * median.years());
}

/// A stopped node that draws more than its panel can give stays down: each outage needs a hand, one a winter at least. One
/// that draws next to nothing while stopped comes back alone.
#[test]
fn an_outage_that_does_not_end_by_itself_is_a_visit() {
    let plan = |stopped: &str| {
        let power = format!("{SUNNY}\n[cutoff]\nstopped_current = \"{stopped}\"\n");
        let promise = "unattended = \"3 years\"\ninstalled = \"09-01\"\nvisits_per_year = 0.5";
        planned(&node(promise, &power, &reporting("every = \"1 h\"", "14 mA")), 60)
    };
    let (alone, stuck) = (plan("2 uA"), plan("200 mA"));
    let (alone, stuck) = (chances(&alone), chances(&stuck));
    assert!(alone.without_outage.fraction() < 0.2 && stuck.without_outage.fraction() < 0.2);
    assert_eq!((alone.visits_per_year, verdict(alone, "visits")), (0.0, Verdict::Holds));
    assert!(stuck.visits_per_year >= 1.0, "{} a year", stuck.visits_per_year);
    assert_eq!(verdict(stuck, "visits"), Verdict::Fails);
    assert!(matches!(stuck.kept[0].promised, Promised::WithoutOutage { .. }));
}
