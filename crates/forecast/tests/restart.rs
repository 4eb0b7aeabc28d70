//! A node that comes back must bear the pulse of its join: against an hourly reckoning in another language.

mod common;

use design::quantity::Share;
use forecast::diary::Diary;
use forecast::life::node::{Harvest, NodeTables};
use forecast::life::run::{LifeOutcome, Trial, live};
use forecast::life::unknowns::{UnknownScores, Unknowns};
use forecast::life::weather::NodeWeather;
use forecast::load::Demand;
use forecast::power::battery::Pulse;
use forecast::radio::spots::Spots;
use forecast::sky::hours::HourWeather;

const DAYS: usize = 60;
/// Restart voltage, joins and hours out as printed by `oracles/restart.py`.
const EXPECTED: [(f32, u32, u32); 2] = [(3.7, 50, 816), (3.95, 17, 825)];

/// Sixty days at -10 C with three milliamperes for eight hours of every day from the eleventh on, for a node that draws 2 mA
/// from a cell of 300 mAh and 1.5 ohm, with pulses of 100 mA.
fn lived(restarts_above: f32) -> LifeOutcome {
    let design = common::solar(
        "panel-0w3",
        "linear-usb",
        "part = \"nmc-18650\"\ncapacity = \"300 mAh\"\nresistance = \"1.5 ohm +- 1 %\"",
        "[load.node]\nfloor = \"2 mA +- 1 %\"\nfloor_measured = true\n",
    );
    let diary = Diary::new(&design);
    let mut node = NodeTables::new(&design, Harvest::Given, Demand::new(&design, &diary));
    node.demand.pulse = Pulse { amperes: 0.1, seconds: 0.1 };
    (node.stops_below_volts, node.restarts_above_volts) = (3.4, restarts_above);
    (node.stopped_amperes, node.join_ah) = (10e-6, 50e-6);
    node.charger.drain_amperes = 0.0;
    node.ageing = None;
    let cold = |hour: usize| HourWeather {
        in_plane_w_m2: if hour >= 240 && (8..16).contains(&(hour % 24)) { 0.003 } else { 0.0 },
        cell_celsius: -10.0,
        air_celsius: -10.0,
        battery_celsius: -10.0,
    };
    let trial = Trial {
        nodes: std::slice::from_ref(&node),
        spots: &Spots::alone(&design),
        weather: &NodeWeather::replayed((0..24 * DAYS).map(cold).collect(), &diary),
        unknowns: &Unknowns::new(&design, false),
        days: DAYS,
        start_day: Some(0),
        charge: Share::from_percent(90.0),
        yield_kept_per_year: 1.0,
        seed: 1,
    };
    live(&trial, 0, Some(UnknownScores::nominal()), &mut ())
}

/// Stops are joins, and one more if it ends stopped. Without the rule a restart at 3.7 V joins 602 times on the way up, and
/// each of those hours would count as running.
#[test]
fn a_weak_cold_cell_joins_as_often_as_reckoned() {
    for (restarts_above, joins, out_h) in EXPECTED {
        let life = lived(restarts_above);
        assert!(
            life.outages.abs_diff(joins) <= 1,
            "{restarts_above} V: {} stops, {joins} joins",
            life.outages
        );
        assert!(
            life.outage_hours().abs_diff(out_h) <= 2,
            "{restarts_above} V: {} h out",
            life.outage_hours()
        );
    }
}
