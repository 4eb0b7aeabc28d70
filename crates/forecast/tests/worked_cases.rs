//! Worked cases with full arithmetic, through the compiled loads and the production hour step.

mod common;
mod walk;

use std::ops::ControlFlow::{Break, Continue};

use common::primary;
use design::change::Change;
use design::node::Design;
use design::quantity::{Charge, Current, Duration, Voltage};
use forecast::diary::Diary;
use forecast::life::kernel::Life;
use forecast::life::node::NodeTables;
use forecast::load::Demand;
use walk::{Record, Walk};

fn milliampere_hours_per_day(design: &Design) -> f64 {
    let demand = Demand::new(design, &Diary::new(design));
    demand.per_day(0, demand.levels.len() - 1, Voltage::from_volts(3.6), 20.0).milliampere_hours()
}

/// A weather node: 96 reports a day of 33 bytes on air, at this data rate and with this sleep current.
fn weather_node(data_rate: &str, sleep: &str) -> Design {
    primary(&format!(
        r#"
        [radio]
        region = "EU868"
        data_rate = "{data_rate}"
        power = "14 dBm"
        transmit = [["14 dBm", "45 mA"]]
        receive = "{sleep}"
        wait = "{sleep}"
        sleep = "{sleep}"
        standby = "1.6 mA"
        window_symbols = 8
        [load.node]
        floor = "{sleep} +- 1 %"
        floor_measured = true
        [load.node.activity.report]
        every = "15 min"
        steps = [
            {{ current = "6 mA", time = "200 ms" }},
            {{ uplink = {{ payload = "20 bytes" }} }},
            {{ current = "5.5 mA", time = "60 ms" }},
        ]
        "#
    ))
}

/// Case 1 of the energy facts: 6 mA for 200 ms, 45 mA on air, two windows of 30 ms at 5.5 mA, 12 uA asleep.
#[test]
fn a_weather_node_draws_what_the_arithmetic_says() {
    for (data_rate, sleep, expected) in [
        ("DR2", "12 uA", 0.871702),
        ("DR5", "12 uA", 0.415017),
        ("DR0", "12 uA", 2.500656),
        ("DR2", "90 uA", 2.742219),
    ] {
        let found = milliampere_hours_per_day(&weather_node(data_rate, sleep));
        assert!((found - expected).abs() < 1.5e-6, "{data_rate} {sleep}: {found} mAh for {expected}");
    }
}

fn tracker(interval: &str, backup: &str) -> Design {
    primary(&format!(
        r#"
        [receiver]
        acquire = "25 mA"
        hot = "6 s"
        warm = "35 s"
        cold = "35 s"
        ephemeris_life = "4 h"
        {backup}
        [load.node]
        floor = "0.1 nA"
        floor_measured = true
        [load.node.activity.locate]
        every = "{interval}"
        steps = [{{ fix = {{ give_up_after = "120 s", failures = "0 %" }} }}]
        "#
    ))
}

/// Case 2: 24 fixes a day, 25 mA, 6 s hot or 35 s cold; four fixes a day lie past the ephemeris' four hours.
#[test]
fn position_fixes_cost_what_the_arithmetic_says() {
    let kept = r#"backup = "1 nA""#;
    for (interval, backup, expected) in [("1 h", kept, 1.0), ("1 h", "", 5.8333), ("6 h", kept, 0.9722)] {
        let found = milliampere_hours_per_day(&tracker(interval, backup));
        assert!((found - expected).abs() < 1e-4, "{interval}: {found} mAh for {expected}");
    }
}

/// 25 mA for 2 s each hour are 24 * 50 mC = 1200 mC a day; the 19 bytes (32 bits and six times 6 + 14, since 299,792 m in
/// steps of 30 m need 14 bits) cost what a message of 19 bytes costs, under a roof as under the sky.
#[test]
fn a_recording_of_satellites_costs_its_time_and_its_bytes() {
    let sender = |step: &str, sky: &str| {
        primary(&format!(
            r#"
            [radio]
            part = "radio-mcu-14dbm"
            region = "EU868"
            data_rate = "DR5"
            power = "14 dBm"
            [receiver]
            part = "receiver-without-backup"
            acquire = "25 mA"
            [load.node]
            floor = "0.1 nA"
            floor_measured = true
            [load.node.activity.locate]
            every = "1 h"
            steps = [{step}{{ uplink = {{ payload = "19 bytes" }} }}]
            [[diary]]
            from = "01-01"
            to = "12-31"
            sky = "{sky}"
            "#
        ))
    };
    for sky in ["open", "roof"] {
        let sent = milliampere_hours_per_day(&sender("", sky));
        let located = milliampere_hours_per_day(&sender(r#"{ snapshot = { time = "2 s" } }, "#, sky));
        assert!((located - sent - 1.2 / 3.6).abs() < 1e-4, "{sky}: {located} and {sent} mAh a day");
    }
}

/// Counter-law: past the ephemeris' age a *longer* interval raises the charge per day (6 short fixes against 4.8 long).
#[test]
fn a_longer_fix_interval_can_cost_more() {
    let kept = r#"backup = "1 nA""#;
    let four_hours = milliampere_hours_per_day(&tracker("4 h", kept));
    let five_hours = milliampere_hours_per_day(&tracker("5 h", kept));
    assert!(five_hours > 2.0 * four_hours, "{four_hours} {five_hours}");
}

/// Years until a store of 2400 mAh is empty.
fn years(design: &Design) -> f64 {
    let demand = Demand::new(design, &Diary::new(design));
    let node = NodeTables::ideal_store(Charge::from_milliampere_hours(2400.0), demand);
    let record = Record::of_currents([0.0; 24]);
    let mut hours = 0;
    let end = Walk::new(Life::new(&node, 1.0), 0, 10 * 8766).go(&node, &record, |index, life, _| {
        hours = index + 1;
        if life.stored_ah > 0.0 { Continue(()) } else { Break(()) }
    });
    assert!(end.flows.unmet > 0.0, "the store runs empty");
    hours as f64 / 8766.0
}

/// The measured states of Casals et al. 2017 (*Sensors* 17(10), 2364; tables through two public codes), one byte at
/// SF7: 12 symbols in the first window, (2^SF + 32) / BW in the second, which stands at SF12.
fn casals(interval: &str) -> Design {
    primary(&format!(
        r#"
        [radio]
        region = "EU868"
        data_rate = "DR5"
        power = "14 dBm"
        transmit = [["14 dBm", "83 mA"]]
        receive = "45 uA"
        wait = "45 uA"
        sleep = "45 uA"
        standby = "1.6 mA"
        window_symbols = 1
        [load.node]
        floor = "45 uA +- 1 %"
        floor_measured = true
        [load.node.activity.report]
        every = "{interval}"
        steps = [
            {{ current = "22.1 mA", time = "168.2 ms" }},
            {{ current = "13.3 mA", time = "83.8 ms" }},
            {{ uplink = {{ payload = "1 bytes" }} }},
            {{ current = "27.0 mA", time = "983.3 ms" }},
            {{ current = "38.1 mA", time = "12.29 ms" }},
            {{ current = "27.1 mA", time = "987.71 ms" }},
            {{ current = "35.0 mA", time = "33.02 ms" }},
            {{ current = "13.2 mA", time = "147.4 ms" }},
            {{ current = "21.0 mA", time = "268.0 ms" }},
            {{ current = "13.3 mA", time = "38.6 ms" }},
        ]
        "#
    ))
}

/// Published: 2400 mAh last one year at a message every five minutes and six years at most. Recomputed: 0.97 and 6.09.
#[test]
fn a_published_node_lives_as_long_as_published() {
    let busy = years(&casals("5 min"));
    let asymptote = years(&casals("365 d"));
    assert!((busy - 0.97).abs() < 0.005, "{busy} years");
    assert!((asymptote - 6.09).abs() < 0.01, "{asymptote} years");
}

/// Hours until an ideal store that nothing fills stands empty, at so many mAh a day.
fn hours_in_hand(store_mah: f64, mah_a_day: f64) -> usize {
    let demand = Demand::constant(Current::from_amperes(mah_a_day / 24.0 * 1e-3));
    let node = NodeTables::ideal_store(Charge::from_milliampere_hours(store_mah), demand);
    let record = Record::of_currents([0.0; 24]);
    let mut hours = 0;
    let _ = Walk::new(Life::new(&node, 1.0), 0, 10_000).go(&node, &record, |index, life, _| {
        hours = index + 1;
        if life.stored_ah > 0.0 { Continue(()) } else { Break(()) }
    });
    hours
}

/// Case 5 of the energy facts: 1000 mAh x 0.8 in the cold x 0.8 to the cut-off x 0.8 of age are 512 mAh, or 25.6 days of 20 mAh;
/// a cheap cell of a fifth of its label has 105.5 mAh, or 5.27 days.
#[test]
fn days_in_hand_are_what_the_arithmetic_says() {
    // 25.6 and 5.275 days are 614.4 and 126.6 hours: the hour in which the last is spent counts.
    for (store_mah, hours) in [(512.0, 615), (105.5, 127)] {
        assert_eq!(hours_in_hand(store_mah, 20.0), hours, "{store_mah} mAh");
    }
}

/// Case 4: 20 mAh a day, 3.15556 hours of full sun, 0.95 of the charger, 0.8 of dirt and shade: 10.841 mA bring 1.3 times the
/// load, 167 mA bring 20.03 times.
#[test]
fn the_array_to_load_ratio_is_what_the_arithmetic_says() {
    let demand = Demand::constant(Current::from_amperes(20e-3 / 24.0));
    let node = NodeTables::ideal_store(Charge::from_ampere_hours(10.0), demand);
    for (milliamperes, ratio) in [(10.841, 1.3), (167.0, 20.03)] {
        let full = milliamperes * 1e-3 * 0.95 * 0.8;
        let mut day = [0.0; 24];
        day[10..14].copy_from_slice(&[full, full, full, 0.15556 * full]);
        let record = Record::of_currents(day);
        let end = Walk::new(Life::new(&node, 0.0), 0, 240).go(&node, &record, |_, _, _| Continue(()));
        let found = end.flows.offered / end.flows.load;
        assert!((found / ratio - 1.0).abs() < 5e-4, "{milliamperes} mA: {found} for {ratio}");
    }
}

/// Case 9: 100 mAh for 30 days are 3.3333 mAh a day; less 0.288 of sleep, at 0.0060826 a report, 500.66 reports a day.
#[test]
fn reports_that_a_store_affords_are_what_the_arithmetic_says() {
    let change = Change::Interval {
        load: "node".into(),
        activity: "report".into(),
        every: Duration::from_seconds(86_400.0 / 500.66),
    };
    let design = weather_node("DR2", "12 uA").with(change).expect("a lawful range");
    let a_day = milliampere_hours_per_day(&design);
    assert!((a_day * 30.0 / 100.0 - 1.0).abs() < 1e-3, "{a_day} mAh a day");
}
