//! Tables of intervals by month and charge: a slower table harms no life, none beats the sun, and where it gives nothing
//! that is said.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;
#[path = "starved/mod.rs"]
mod shared;

use design::change::Change;
use design::node::Design;
use design::quantity::{Charge, Duration, Share};
use design::schedule::Months;
use forecast::Silent;
use forecast::life::ensemble::on_threads;
use forecast::life::node::NodeTables;
use forecast::life::prepared::Prepared;
use forecast::life::run::{Trial, survives};
use forecast::sky::climate::Climate;
use verdict::adaptive::{Adapted, Aim, NoTable, adaptive};
use verdict::plan::{Effort, Verdict, Weather};
use verdict::{Environment, answer};

const EFFORT: Effort = Effort { lives: Some(400), seed: 1, threads: 2 };
/// Full size: 10,000.
const HARMLESS_LIVES: usize = 1000;

/// For two years, and nine lives in ten.
fn starved(shade: &str, every: &str) -> Design {
    shared::starved(["2 years", "90 %"], shade, every)
}

fn climate(design: &Design) -> Climate {
    let site = &design.site;
    Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land")
}

fn sought(design: &Design, aim: Aim) -> Result<Adapted, NoTable> {
    let climate = climate(design);
    let environment = Environment { weather: Weather::Climate(&climate), terrain: None, others: &[] };
    let known = answer(design, &environment, EFFORT, &Silent);
    adaptive(design, &environment, &known, aim, EFFORT, &Silent)
}

/// A fixed interval fails; the table holds on fresh lives, never reports more often, and sends no more than the sun pays.
#[test]
fn a_table_that_spares_saves_a_starved_node() {
    let design = starved("93 %", "2 min");
    let climate = climate(&design);
    let environment = Environment { weather: Weather::Climate(&climate), terrain: None, others: &[] };
    assert_eq!(answer(&design, &environment, EFFORT, &Silent).life.verdict, Verdict::Fails);
    let adapted = sought(&design, Aim::Spare).expect("a table");
    assert!(adapted.judged.without_outage.percent() >= 90.0, "{}", adapted.judged.without_outage.percent());
    let intervals = adapted.rows.iter().flat_map(|(_, months)| months.iter().flatten());
    assert!(intervals.into_iter().all(|every| *every >= Duration::from_minutes(2.0)));
    assert!(adapted.course.per_year < adapted.written_per_year);
    assert!(adapted.course.per_year < adapted.energy_neutral_per_year, "{adapted:#?}");
    assert!(adapted.best_fixed.is_none_or(|(_, per_year)| per_year < adapted.course.per_year));
    assert!(adapted.course.poorest.1 <= adapted.course.per_year / 365.0);
}

/// Speeding up where there is charge never sends more than the sun pays for, and more than the best fixed interval does.
#[test]
fn a_table_that_spends_stays_below_the_energy_bound() {
    let adapted = sought(&starved("93 %", "2 min"), Aim::Spend).expect("a table");
    assert!(adapted.course.per_year < adapted.energy_neutral_per_year, "{adapted:#?}");
    assert!(
        adapted.best_fixed.is_none_or(|(_, per_year)| per_year < adapted.course.per_year),
        "{adapted:#?}"
    );
}

#[test]
fn where_a_table_gives_nothing_that_is_said() {
    assert_eq!(
        sought(&starved("20 %", "20 min"), Aim::Spare).err(),
        Some(NoTable::KeptAnyway(Duration::from_minutes(20.0)))
    );
    let primary = common::primary(
        "[load.node]\nfloor = \"10 uA\"\n[load.node.activity.work]\nevery = \"1 h\"\nsteps = [{ current = \"6 mA\", time = \"1 s\" }]",
    );
    assert_eq!(sought(&primary, Aim::Spare).err(), Some(NoTable::NothingCharges));
}

/// Lives that a node passes and with a slower table does not.
fn harmed(design: &Design, store: impl Fn(&NodeTables) -> NodeTables) -> (usize, usize, usize) {
    let months = |minutes: f64| -> Months { [Some(Duration::from_minutes(minutes)); 12] };
    let rows = vec![
        (Share::from_percent(80.0), months(2.0)),
        (Share::from_percent(50.0), months(10.0)),
        (Share::ZERO, months(180.0)),
    ];
    let change =
        Change::IntervalByMonthAndCharge { load: "node".to_owned(), activity: "report".to_owned(), rows };
    let slower = design.with(change).expect("a table");
    let climate = climate(design);
    let spots = forecast::radio::spots::Spots::alone(design);
    let prepared = Prepared::new(design, Weather::Climate(&climate), &spots, 1);
    let spared = prepared.of_variant(&slower, Weather::Climate(&climate), None);
    let (one, other) = (prepared.trial(), spared.trial());
    let nodes = |trial: &Trial<'_>| trial.nodes.iter().map(&store).collect::<Vec<_>>();
    let (fixed, table) = (nodes(&one), nodes(&other));
    let (one, other) = (Trial { nodes: &fixed, ..one }, Trial { nodes: &table, ..other });
    let lived = on_threads(2, HARMLESS_LIVES, |life| {
        (survives(&one, life as u64, None), survives(&other, life as u64, None))
    });
    let count = |pair| lived.iter().filter(|found| **found == pair).count();
    (count((true, false)), count((false, true)), count((true, true)))
}

/// A slower table leaves every later charge at least as high, life by life, where the store keeps that order; the latch of
/// a charger that calls a battery full bends it a little.
#[test]
fn a_slower_table_harms_no_life() {
    let design = starved("93 %", "2 min");
    let ideal = |node: &NodeTables| {
        let mut store =
            NodeTables::ideal_store(Charge::from_ampere_hours(node.capacity_ah), node.demand.clone());
        store.harvest = node.harvest.clone();
        store
    };
    let (harmed_ideal, saved, passing) = harmed(&design, ideal);
    assert_eq!(harmed_ideal, 0);
    assert!(saved > 0 && passing > 0, "{saved} saved, {passing} pass both");
    let (harmed_latching, saved, passing) = harmed(&design, NodeTables::clone);
    assert!(harmed_latching * 1000 <= HARMLESS_LIVES, "{harmed_latching} of {HARMLESS_LIVES}");
    assert!(saved > 0 && passing > 0, "{saved} saved, {passing} pass both");
}
