//! Laws that every life must obey, and three that only a full model shows.
#![expect(clippy::cast_possible_truncation, reason = "the kernel is in single precision")]

mod common;
mod walk;

use std::ops::ControlFlow::{Break, Continue};

use common::{primary, solar};
use design::panel::PanelModel;
use design::quantity::{Charge, Current};
use forecast::diary::Diary;
use forecast::life::kernel::{Flows, HourOutcome, Life, QUARTER_H, step, step_quiet_quarter};
use forecast::life::node::{Harvest, NodeTables};
use forecast::load::Demand;
use forecast::power::charge_table::ChargeTable;
use forecast::sky::hours::{DayHours, HourWeather};
use proptest::prelude::*;
use walk::{Record, Walk};

const REPORTING: &str = r#"
    [load.node]
    floor = "80 uA +- 1 %"
    floor_measured = true
    [load.node.activity.work]
    every = "10 min"
    steps = [{ current = "20 mA", time = "2 s" }]
"#;

fn tables(design: &design::node::Design) -> NodeTables {
    let demand = Demand::new(design, &Diary::new(design));
    let harvest = match (&design.panel, &design.charger) {
        (Some(mounted), Some(charger)) => {
            let model = PanelModel::new(&mounted.panel).expect("a panel that can be");
            Harvest::Table(std::sync::Arc::new(ChargeTable::new(&model, charger, &design.battery)))
        }
        _ => Harvest::None,
    };
    NodeTables::new(design, harvest, demand)
}

/// A year of invented weather: a sine of sun by day and season, cold nights.
fn invented_year() -> Record {
    let hour = |index: usize| {
        let season = (std::f64::consts::TAU * index as f64 / 8760.0).cos();
        let noon = (std::f64::consts::TAU * ((index % 24) as f64 - 6.0) / 24.0).sin();
        let cloud = if (index / 24) % 7 < 3 { 0.1 } else { 0.8 };
        let sun = (1000.0 * cloud * (noon - 0.3 - 0.5 * season)).max(0.0);
        let air = 8.0 - 14.0 * season + 4.0 * noon;
        HourWeather {
            in_plane_w_m2: sun as f32,
            cell_celsius: (air + sun / 30.0) as f32,
            air_celsius: air as f32,
            battery_celsius: air as f32,
        }
    };
    Record { hours: (0..8760).map(hour).collect(), kinds: vec![0; 8760], yield_kept_per_pass: 0.99 }
}

fn outflow(flows: &Flows) -> f64 {
    flows.load + flows.stopped + flows.joins + flows.charger + flows.self_discharge + flows.fade - flows.unmet
}

fn day_of(hours: &[HourWeather]) -> DayHours {
    let column = |of: fn(&HourWeather) -> f32| std::array::from_fn(|hour| of(&hours[hour]));
    DayHours {
        in_plane_w_m2: column(|hour| hour.in_plane_w_m2),
        cell_celsius: column(|hour| hour.cell_celsius),
        air_celsius: column(|hour| hour.air_celsius),
        battery_celsius: column(|hour| hour.battery_celsius),
    }
}

/// Lives a year twice, hour by hour and with quiet quarters at once: how many quarters were quiet, how many were not, and
/// in how many hours the node was out.
fn assert_quarters_are_their_hours(node: &NodeTables, start: f64) -> (usize, usize, usize) {
    let record = invented_year();
    let mut hourly = Life::new(node, start);
    hourly.counts_offers = false;
    let mut quartered = hourly.clone();
    let (mut quiet, mut busy, mut out) = (0, 0, 0);
    for day in record.hours.chunks_exact(24).map(day_of) {
        for from in (0..24).step_by(QUARTER_H) {
            let by_hour: Vec<_> =
                (from..from + QUARTER_H).map(|hour| step(node, 0, &day.hour(hour), &mut hourly)).collect();
            out += by_hour.iter().filter(|hour| hour.out()).count();
            if let Some(last) = step_quiet_quarter(node, &[0; QUARTER_H], &day, from, &mut quartered) {
                quiet += 1;
                assert!(by_hour.iter().all(|hour| !hour.out() && hour.taken == 0.0 && !hour.stopped_now));
                let whole = &by_hour[QUARTER_H - 1];
                assert!((last.spent - whole.spent).abs() <= 1e-6 * whole.spent);
                assert_eq!(HourOutcome { spent: whole.spent, ..last }, *whole);
            } else {
                busy += 1;
                for hour in from..from + QUARTER_H {
                    step(node, 0, &day.hour(hour), &mut quartered);
                }
            }
            // Ampere-hours: the sums are in double precision, their order differs.
            assert!((hourly.stored_ah - quartered.stored_ah).abs() < 1e-9);
            assert_eq!((hourly.running, hourly.level()), (quartered.running, quartered.level()));
        }
    }
    let off = outflow(&hourly.flows) - outflow(&quartered.flows);
    assert!(off.abs() < 1e-8 && (hourly.capacity_left() - quartered.capacity_left()).abs() < 1e-9, "{off}");
    (quiet, busy, out)
}

/// Of a strong node, of one that stops and restarts, and of one that watches out for cold air.
#[test]
fn a_quiet_quarter_of_a_day_is_its_hours() {
    let watching = r#"
        [load.node]
        floor = "1 mA +- 1 %"
        [load.node.activity.watch]
        every = "2 min"
        when = { air_below = "3 C" }
        steps = [{ current = "6 mA", time = "2 s" }]
    "#;
    let by_charge = r#"
        [load.node]
        floor = "80 uA +- 1 %"
        [load.node.activity.work]
        every_by_charge = [["90 %", "2 min"], ["70 %", "5 min"], ["40 %", "20 min"], ["0 %", "3 h"]]
        steps = [{ current = "20 mA", time = "2 s" }]
    "#;
    let part = "part = \"nmc-18650\"\ncapacity =";
    for (panel, capacity, load, stops) in [
        ("panel-1w", "2600 mAh", REPORTING, false),
        ("panel-0w3", "60 mAh", REPORTING, true),
        ("panel-0w5", "600 mAh", watching, true),
        ("panel-0w3", "200 mAh", by_charge, true),
        ("panel-0w3", "2600 mAh", by_charge, false),
    ] {
        let design = solar(panel, "linear-usb-gated", &format!("{part} \"{capacity}\""), load);
        let (quiet, busy, out) = assert_quarters_are_their_hours(&tables(&design), 0.6);
        assert!(quiet > 100 && busy > 50 && (out > 0) == stops, "{capacity}: {quiet} {busy} {out}");
    }
}

/// Every ampere-hour is accounted for: over each hour and, summed separately, over ten years with wear.
#[test]
fn the_charge_balance_closes() {
    let design =
        solar("panel-0w3", "linear-usb-gated", "part = \"nmc-18650\"\ncapacity = \"150 mAh\"", REPORTING);
    let (node, record) = (tables(&design), invented_year());
    let start = Life::new(&node, 0.5);
    let (mut stored, mut before) = (start.stored_ah, Flows::default());
    let (mut taken, mut given) = (0.0, 0.0);
    let (mut stops, mut fulls) = (0, 0);
    let end = Walk::new(start.clone(), 0, 10 * 8760).go(&node, &record, |_, life, outcome| {
        let flows = life.flows;
        let (in_hour, out_hour) = (flows.taken - before.taken, outflow(&flows) - outflow(&before));
        taken += in_hour;
        given += out_hour;
        let gain = life.stored_ah - stored;
        assert!((gain - (in_hour - out_hour)).abs() < 1e-10, "{gain} {in_hour} {out_hour}");
        stored = life.stored_ah;
        before = flows;
        stops += u32::from(outcome.stopped_now);
        fulls += u32::from(outcome.full);
        Continue(())
    });
    let gain = end.stored_ah - start.stored_ah;
    let throughput = end.flows.taken + outflow(&end.flows);
    assert!((gain - (taken - given)).abs() < 1e-9 * throughput);
    assert!((gain - (end.flows.taken - outflow(&end.flows))).abs() < 1e-9 * throughput);
    let flows = &end.flows;
    assert!(stops > 0 && fulls > 0, "the life sees both ends: {stops} stops, {fulls} full hours");
    for flow in [flows.load, flows.stopped, flows.joins, flows.charger, flows.self_discharge, flows.fade] {
        assert!(flow >= 0.0);
    }
    assert!(flows.fade > 0.0 && flows.charger > 0.0 && flows.stopped > 0.0);
}

fn levels(capacity_ah: f64, load_a: f64, harvest_a: &[f32], factor: f32, start_ah: f64) -> Vec<f64> {
    let node = NodeTables::ideal_store(
        Charge::from_ampere_hours(capacity_ah),
        Demand::constant(Current::from_amperes(load_a)),
    );
    let record = Record::of_currents(harvest_a.iter().map(|a| a * factor));
    let mut levels = Vec::with_capacity(harvest_a.len());
    Walk::new(Life::new(&node, start_ah / capacity_ah), 0, harvest_a.len()).go(
        &node,
        &record,
        |_, life, _| {
            levels.push(life.stored_ah);
            Continue(())
        },
    );
    levels
}

proptest! {
    /// With an ideal store, more panel, more store and less load never lower the charge in any hour.
    #[test]
    fn more_of_anything_never_lowers_an_ideal_store(
        harvest in proptest::collection::vec(0.0_f32..0.2, 200),
        capacity in 0.5_f64..5.0,
        load in 0.01_f64..0.15,
        more in 1.0_f64..3.0,
    ) {
        let start = 0.5 * capacity;
        let base = levels(capacity, load, &harvest, 1.0, start);
        let panel = levels(capacity, load, &harvest, more as f32, start);
        let store = levels(capacity * more, load, &harvest, 1.0, start);
        let interval = levels(capacity, load / more, &harvest, 1.0, start);
        for hour in 0..base.len() {
            for better in [&panel, &store, &interval] {
                prop_assert!(better[hour] >= base[hour] - 1e-9, "hour {hour}");
            }
        }
    }
}

/// Counter-law: a battery held fuller loses more capacity.
#[test]
fn a_fuller_battery_ages_faster() {
    let node = tables(&solar("panel-1w", "linear-usb-gated", "part = \"nmc-18650\"", REPORTING));
    let warm =
        HourWeather { air_celsius: 25.0, battery_celsius: 25.0, cell_celsius: 25.0, in_plane_w_m2: 0.0 };
    let record = Record { hours: vec![warm; 24], kinds: vec![0; 24], yield_kept_per_pass: 1.0 };
    let lost = |charge| {
        let end = Walk::new(Life::new(&node, charge), 0, 60 * 24).go(&node, &record, |_, _, _| Continue(()));
        1.0 - end.capacity_left()
    };
    assert!(lost(1.0) > 1.3 * lost(0.5), "{} {}", lost(1.0), lost(0.5));
}

/// Counter-law: a supercapacitor twice as large takes longer to come back from empty.
#[test]
fn a_larger_supercapacitor_restarts_later() {
    let hours_to_restart = |farads: u32| {
        let design = solar(
            "panel-0w3",
            "direct-diode-limited",
            &format!("part = \"supercapacitor-10f\"\ncapacitance = \"{farads} F\""),
            REPORTING,
        );
        let node = tables(&design);
        let mut empty = Life::new(&node, 0.0);
        empty.running = false;
        let dull =
            HourWeather { in_plane_w_m2: 20.0, cell_celsius: 5.0, air_celsius: 5.0, battery_celsius: 5.0 };
        let record = Record { hours: vec![dull; 24], kinds: vec![0; 24], yield_kept_per_pass: 1.0 };
        let mut back = None;
        Walk::new(empty, 0, 8760).go(&node, &record, |index, _, outcome| {
            if outcome.running {
                back = Some(index);
                return Break(());
            }
            Continue(())
        });
        back.expect("it comes back")
    };
    assert!(hours_to_restart(50) > hours_to_restart(25));
}

/// Without a panel the hour step is the arithmetic of a primary cell: charge over load and leak.
#[test]
fn polar_night_without_a_panel_is_primary_cell_arithmetic() {
    let design = primary(
        r#"
        [load.node]
        floor = "1 mA +- 1 %"
        floor_measured = true
        "#,
    );
    let node = tables(&design);
    let room =
        HourWeather { air_celsius: 25.0, battery_celsius: 25.0, cell_celsius: 25.0, in_plane_w_m2: 0.0 };
    let record = Record { hours: vec![room; 24], kinds: vec![0; 24], yield_kept_per_pass: 1.0 };
    let mut hours = 0.0;
    let end = Walk::new(Life::new(&node, 1.0), 0, 20 * 8766).go(&node, &record, |_, _, outcome| {
        if !outcome.running || outcome.ran_dry {
            return Break(());
        }
        hours += 1.0;
        Continue(())
    });
    let used_ah = node.capacity_ah - end.stored_ah;
    let flows = &end.flows;
    let expected_h = (used_ah - flows.self_discharge - flows.fade) / 1e-3;
    assert!((hours - expected_h).abs() <= 1.0, "{hours} h for {expected_h}");
    assert!(hours > 0.9 * node.capacity_ah / 1e-3 * 0.9);
}
