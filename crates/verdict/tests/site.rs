//! A site's nodes share lives; what is said of each is what would be said of it alone.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::change::Change;
use design::node::Design;
use forecast::Silent;
use forecast::life::prepared::Prepared;
use forecast::radio::spots::senders;
use forecast::sky::climate::Climate;
use verdict::plan::{Effort, LifeInBrief, Verdict, Weather, plan};
use verdict::reach;
use verdict::site::{SiteNode, answer, reaches};

const EFFORT: Effort = Effort { lives: Some(40), seed: 3, threads: 2 };

/// A small panel on the level that reports every four minutes, so far south of its gateway.
fn post(km: f64, confirmed: bool) -> Design {
    let latitude = 57.0 - km / 111.24;
    common::design(&format!(
        r#"
        schema = 1
        name = "Fence post at {km} km"
        [site]
        latitude = "{latitude} deg"
        longitude = "14 deg"
        elevation = "60 m"
        [promise]
        unattended = "1 year"
        completeness = "90 %"
        freshness = "5 d"
        visits_per_year = 0.2
        [panel]
        part = "panel-0w3"
        tilt = "10 deg"
        azimuth = "180 deg"
        [charger]
        part = "linear-low-drain"
        [battery]
        part = "lco-pouch"
        capacity = "200 mAh"
        [radio]
        part = "radio-mcu-14dbm"
        region = "EU868"
        power = "14 dBm"
        place = "outside"
        [regulator.main]
        kind = "none"
        [load.board]
        floor = "12 uA +- 30 %"
        floor_measured = true
        [load.board.activity.report]
        every = "4 min"
        steps = [{{ uplink = {{ payload = "20 bytes", confirmed = {confirmed} }} }}]
        [gateway.roof]
        latitude = "57 deg"
        longitude = "14 deg"
        antenna_height = "12 m"
        place = "outside"
        [ground]
        around_nodes = "open"
        around_gateways = "open"
        "#
    ))
}

fn climate(design: &Design) -> Climate {
    let site = &design.site;
    Climate::builtin(site.latitude, site.longitude, site.elevation).expect("on land")
}

/// What `plan` says of a node among the others.
fn alone(designs: &[Design], index: usize) -> LifeInBrief {
    let crowd: Vec<_> = designs
        .iter()
        .enumerate()
        .filter(|(other, _)| *other != index)
        .flat_map(|(_, other)| senders(other, &reach::judge(other, None, &[], EFFORT.seed).spots))
        .collect();
    let design = &designs[index];
    let spots = reach::judge(design, None, &crowd, EFFORT.seed).spots;
    let plan = plan(design, Weather::Climate(&climate(design)), &spots, EFFORT, &Silent);
    let chances = plan.chances.expect("lives were lived");
    LifeInBrief {
        verdict: plan.verdict,
        reason: plan.reason,
        lives: chances.lives,
        without_outage: Some(chances.without_outage),
        kept: chances.kept,
        findings: plan.findings,
    }
}

fn lives(designs: &[Design], sky_of: &[usize]) -> Vec<LifeInBrief> {
    let climates: Vec<Climate> = designs.iter().map(climate).collect();
    let node = |(design, sky_of): (_, &usize)| SiteNode {
        design,
        sky_of: *sky_of,
        weather: Weather::Climate(&climates[*sky_of]),
    };
    let nodes: Vec<SiteNode<'_>> = designs.iter().zip(sky_of).map(node).collect();
    answer(&nodes, None, EFFORT, &Silent).into_iter().map(|answer| answer.life).collect()
}

/// Near, far and very far; one is charged below freezing. Not a bit of verdict, sentence, share, promise or finding differs.
#[test]
fn a_row_says_what_the_node_would_be_told_alone() {
    let open = |design: Design| design.with(Change::TemperatureGate(Vec::new())).expect("it may go");
    let designs = [open(post(0.5, false)), post(12.0, true), post(25.0, false)];
    let rows = lives(&designs, &[0, 1, 2]);
    for (index, row) in rows.iter().enumerate() {
        assert_eq!(row, &alone(&designs, index), "{}", designs[index].name);
    }
    assert!(
        rows.iter().any(|row| row.findings.iter().any(|one| one.code == "dies-by-distance")),
        "{rows:#?}"
    );
    assert!(rows.iter().any(|row| row.verdict == Verdict::Fails), "{rows:#?}");
    let plated = |row: &LifeInBrief| row.findings.iter().any(|one| one.code == "charging-below-freezing");
    assert!(rows.iter().any(plated), "{rows:#?}");
}

/// Without the lives that look for causes: verdict, sentence and promises are those of the whole plan of as many lives.
#[test]
fn a_design_whose_tables_are_made_is_judged_as_by_its_plan() {
    for design in [post(0.5, false), post(12.0, true)] {
        let climate = climate(&design);
        let spots = reach::judge(&design, None, &[], EFFORT.seed).spots;
        let prepared = Prepared::new(&design, Weather::Climate(&climate), &spots, EFFORT.seed);
        let first = LifeInBrief::of_prepared(&prepared, Weather::Climate(&climate), EFFORT, &Silent);
        let whole = alone(std::slice::from_ref(&design), 0);
        assert_eq!((first.verdict, &first.reason, first.lives), (whole.verdict, &whole.reason, whole.lives));
        assert_eq!((&first.kept, first.without_outage), (&whole.kept, whole.without_outage));
    }
}

/// Under one sky: what is said of a node does not hang on who lived its lives before it.
#[test]
fn nodes_that_share_lives_fare_as_without_the_others() {
    let designs = [post(0.5, false), post(12.0, false), post(25.0, false)];
    let together = lives(&designs, &[0, 0, 0]);
    for index in [1, 2] {
        let apart = lives(&[designs[0].clone(), designs[index].clone()], &[0, 0]);
        assert_eq!(together[index], apart[1], "{}", designs[index].name);
    }
    assert_ne!(together[1].without_outage, together[2].without_outage);
}

/// A node alone on a site meets nobody. Beside one that sends every four minutes, the one that sends as often at the same
/// place loses what pure ALOHA takes from it, and no more: each message meets another in twice its time on air.
#[test]
fn a_node_hears_the_others_of_its_site_and_not_itself() {
    let design = post(0.5, false);
    let [alone] = &reaches(&[&design], None, 1, 1)[..] else { panic!("one node") };
    let apart = reach::judge(&design, None, &[], 1);
    assert_eq!(alone.middle, apart.middle, "it meets itself");
    let two = reaches(&[&design, &design], None, 1, 2);
    // By hand: 20 bytes at SF7 are 33 in the frame and 71.936 ms on air, on one of three channels of the region.
    let met = 2.0 * 0.071_936 / 240.0 / 3.0;
    for reach in &two {
        let lost = 1.0 - reach.middle.fraction() / apart.middle.fraction();
        assert!(lost > 0.0 && lost <= met * 1.001, "{lost} of at most {met}");
    }
}
