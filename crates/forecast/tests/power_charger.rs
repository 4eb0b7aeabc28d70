//! Chargers against tabulated shares of the best point, and the inner loop's table against the equations.
#![expect(clippy::float_cmp, reason = "zeros, ends and held values are exact")]

mod power_parts;

use design::panel::PanelModel;
use design::part::{Ageing, Battery, Charger, ChargerKind, Chemistry, GateBand, Panel};
use design::quantity::{Charge, Current, Power, Resistance, Share, Temperature, Uncertain, Voltage};
use forecast::power::charge_table::ChargeTable;
use forecast::power::charger::{charging_current, gate, offered};
use power_parts::six_volt_panel;

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} for {expected} within {within}");
}

fn model() -> PanelModel {
    PanelModel::new(&six_volt_panel()).expect("a sound data sheet")
}

/// A linear charger with 0.1 V of drop and nothing else.
fn linear() -> Charger {
    Charger {
        name: "linear".into(),
        title: "linear".into(),
        price: None,
        kind: ChargerKind::Linear,
        voltage: Some(Voltage::from_volts(4.2)),
        current: Current::from_amperes(1.0),
        drop: Voltage::from_volts(0.1),
        input_minimum: Voltage::ZERO,
        input_absolute_maximum: None,
        input_current: Current::ZERO,
        battery_drain: Current::ZERO,
        efficiency: Share::from_fraction(1.0),
        start_up: Power::ZERO,
        precharge_below: None,
        precharge_current: Current::ZERO,
        terminate_current: Current::ZERO,
        recharge_below: None,
        temperature_gate: Vec::new(),
        source: "worked figures, facts on energy section 4".into(),
    }
}

fn converter(kind: ChargerKind) -> Charger {
    Charger { kind, efficiency: Share::from_percent(85.0), drop: Voltage::ZERO, ..linear() }
}

fn cell() -> Battery {
    let volts = |share: f64, volts: f64| (Share::from_fraction(share), Voltage::from_volts(volts));
    Battery {
        name: "cell".into(),
        title: "lithium-ion".into(),
        price: None,
        chemistry: Chemistry::Nmc,
        cells_in_series: 1,
        cells_in_parallel: 1,
        capacity: Uncertain::exact(Charge::from_milliampere_hours(2600.0)),
        label_to_real: Uncertain::exact(Share::from_fraction(1.0)),
        open_circuit: vec![volts(0.0, 3.0), volts(1.0, 4.2)],
        resistance: Uncertain::exact(Resistance::from_milliohms(100.0)),
        resistance_by_temperature: Vec::new(),
        resistance_by_charge: Vec::new(),
        capacity_by_temperature: Vec::new(),
        self_discharge_per_month: Share::ZERO,
        leakage: Current::ZERO,
        gauge_error: Share::from_percent(10.0),
        charge_limit: Some(Voltage::from_volts(4.2)),
        charge_temperature: None,
        charge_rate: Vec::new(),
        empty_voltage: Voltage::from_volts(2.5),
        ageing: Ageing {
            first_year_at_25c: Share::ZERO,
            at_full_charge: 1.0,
            doubles_every_k: 10.0,
            time_exponent: 0.5,
            per_100_cycles: Share::ZERO,
        },
        source: "own".into(),
    }
}

/// Worked case 8 of the facts on energy: 6 V, 1 W panel, 25 °C, 1000 W/m², 3.7 V cell.
#[test]
fn a_linear_charger_delivers_two_thirds_of_the_best_point() {
    let curve = model().at(1000.0, 25.0);
    let pinned = offered(&curve, &linear(), 3.7);
    near(pinned.charging_a, 0.1769, 5e-5);
    near(pinned.charging_a * 3.7, 0.6545, 5e-5 * 3.7); // printed as the product of the rounded current
    near(pinned.charging_a * 3.7 / curve.best_point().watts(), 0.653, 5e-4);
    let tracked = offered(&curve, &converter(ChargerKind::Mppt), 3.7);
    near(tracked.charging_a * 3.7, 0.8517, 5e-5);
    near(tracked.charging_a / pinned.charging_a - 1.0, 0.301, 5e-4);
}

/// Facts on energy, table 4.2, last column: share of the best point into batteries of 3.3, 3.7 and 4.2 V.
#[test]
fn the_pinned_share_rises_as_the_light_falls() {
    let table = [
        (1000.0, [0.584, 0.653, 0.740]),
        (500.0, [0.587, 0.657, 0.744]),
        (200.0, [0.603, 0.675, 0.765]),
        (100.0, [0.621, 0.695, 0.786]),
        (50.0, [0.641, 0.717, 0.812]),
        (20.0, [0.671, 0.751, 0.849]),
        (10.0, [0.696, 0.779, 0.879]),
    ];
    for (irradiance, shares) in table {
        let curve = model().at(irradiance, 25.0);
        for (battery_v, share) in [3.3, 3.7, 4.2].into_iter().zip(shares) {
            let found =
                offered(&curve, &linear(), battery_v).charging_a * battery_v / curve.best_point().watts();
            near(found, share, 6e-4);
        }
    }
}

/// Facts on energy, table 4.3: the same at 3.7 V and 1000 W/m², by cell temperature.
#[test]
fn the_pinned_share_rises_with_heat() {
    for (celsius, share) in [(-20.0, 0.546), (0.0, 0.589), (25.0, 0.653), (45.0, 0.715), (60.0, 0.770)] {
        let curve = model().at(1000.0, celsius);
        near(offered(&curve, &linear(), 3.7).charging_a * 3.7 / curve.best_point().watts(), share, 6e-4);
    }
}

/// Facts on energy, 4.4: share left after an input current of 0.5 and 1 mA at six irradiances.
#[test]
fn the_chargers_own_current_eats_the_low_light() {
    let table = [(0.5, [100.0, 97.0, 94.0, 86.0, 72.0, 44.0]), (1.0, [99.0, 94.0, 89.0, 72.0, 44.0, 0.0])];
    for (input_ma, shares) in table {
        let hungry = Charger { input_current: Current::from_milliamperes(input_ma), ..linear() };
        for (irradiance, percent) in [1000.0, 100.0, 50.0, 20.0, 10.0, 5.0].into_iter().zip(shares) {
            let curve = model().at(irradiance, 25.0);
            let share = offered(&curve, &hungry, 3.7).charging_a / offered(&curve, &linear(), 3.7).charging_a;
            near(share * 100.0, percent, 1.0);
        }
    }
}

#[test]
fn a_linear_charger_folds_back_to_keep_its_input_up() {
    let curve = model().at(1000.0, 60.0);
    let picky = Charger { input_minimum: Voltage::from_volts(5.5), ..linear() };
    let folded = offered(&curve, &picky, 3.7);
    near(folded.panel.volts, 5.5, 0.0);
    near(folded.charging_a, curve.current(5.5), 0.0);
    assert!(folded.charging_a < offered(&curve, &linear(), 3.7).charging_a);
    let asleep = offered(&model().at(5.0, 60.0), &picky, 3.7);
    assert_eq!(asleep.charging_a, 0.0);
    near(asleep.panel.volts, model().at(5.0, 60.0).open_circuit_v(), 0.0);
}

#[test]
fn a_converter_stands_still_below_its_start_up_power_and_feeds_itself_first() {
    let curve = model().at(10.0, 25.0); // 8.4 mW, facts on energy, table 4.2
    let starts_at =
        |milliwatts| Charger { start_up: Power::from_milliwatts(milliwatts), ..converter(ChargerKind::Mppt) };
    assert_eq!(offered(&curve, &starts_at(9.0), 3.7).charging_a, 0.0);
    let running = offered(&curve, &starts_at(8.0), 3.7);
    near(running.charging_a, running.panel.watts() * 0.85 / 3.7, 1e-15);
    let own = Current::from_milliamperes(1.0);
    let hungry = offered(&curve, &Charger { input_current: own, ..starts_at(8.0) }, 3.7);
    near(running.charging_a - hungry.charging_a, 0.001 * running.panel.volts * 0.85 / 3.7, 1e-12);
}

/// A converter at 80 % of open circuit misses little of the best point of this panel (0.8 x 7.2 V = 5.76 V).
#[test]
fn a_fixed_fraction_holds_the_panel_there() {
    let curve = model().at(1000.0, 25.0);
    let held =
        offered(&curve, &converter(ChargerKind::FixedFraction { fraction: Share::from_percent(80.0) }), 3.7);
    near(held.panel.volts, 5.76, 1e-9);
    near(held.charging_a, 5.76 * curve.current(5.76) * 0.85 / 3.7, 1e-12);
    assert!(held.panel.watts() < curve.best_point().watts());
}

#[test]
fn a_limited_charger_lets_the_panel_drift_towards_open_circuit() {
    let curve = model().at(1000.0, 25.0);
    for charger in [linear(), converter(ChargerKind::Mppt)] {
        let free = offered(&curve, &charger, 3.7);
        let limited = charging_current(&curve, &charger, 3.7, 0.05);
        near(limited.charging_a, 0.05, 0.0);
        assert!(limited.panel.volts > free.panel.volts);
        near(limited.panel.amperes, curve.current(limited.panel.volts), 1e-9);
        let power_w = limited.panel.watts() * charger.efficiency.fraction();
        let expected_w = if charger.kind == ChargerKind::Mppt { 0.05 * 3.7 } else { power_w };
        near(power_w, expected_w, 1e-8);
        assert_eq!(charging_current(&curve, &charger, 3.7, 0.0).panel.amperes, 0.0);
    }
}

/// The bands of a charger register map, facts on energy, 4.4: 0-10 °C 20 %, 45-60 °C 0.1 V lower, else suspended.
#[test]
fn the_gate_allows_what_its_band_says() {
    let band = |from, to, percent, reduction_v| GateBand {
        from: Temperature::from_celsius(from),
        to: Temperature::from_celsius(to),
        current: Share::from_percent(percent),
        voltage_reduction: Voltage::from_volts(reduction_v),
    };
    let bands = vec![band(0.0, 10.0, 20.0, 0.0), band(10.0, 45.0, 100.0, 0.0), band(45.0, 60.0, 100.0, 0.1)];
    let gated = Charger { temperature_gate: bands, ..linear() };
    for (celsius, share, reduction_v) in [
        (-0.1, 0.0, 0.0),
        (0.0, 0.2, 0.0),
        (9.9, 0.2, 0.0),
        (10.0, 1.0, 0.0),
        (50.0, 1.0, 0.1),
        (60.0, 0.0, 0.0),
    ] {
        let (found, reduction) = gate(&gated, celsius);
        assert_eq!((found, reduction.volts()), (share, reduction_v), "at {celsius}");
    }
    assert_eq!(gate(&linear(), -30.0), (1.0, Voltage::ZERO));
}

/// Worst error of the table off its nodes, over the share that it may be off: 1 % of the short-circuit current in that
/// light, or 2 uA.
fn worst_of_table(panel: &Panel, charger: &Charger) -> f64 {
    let model = PanelModel::new(panel).expect("a sound data sheet");
    let table = ChargeTable::new(&model, charger, &cell());
    let mut worst = (0.0, String::new());
    for irradiance in [5.0_f32, 7.3, 11.0, 17.0, 29.0, 47.0, 83.0, 131.0, 240.0, 410.0, 690.0, 990.0, 1230.0]
    {
        for celsius in (-38..=78).step_by(3) {
            let celsius = celsius as f32 + 0.5;
            // Air of 50 °C and 0.04 K per W/m² (Faiman without wind): hotter cells don't occur.
            if celsius > 50.0 + 0.04 * irradiance {
                continue;
            }
            for step in 0..30 {
                let battery_v = 2.52 + 0.057 * step as f32;
                let curve = model.at(f64::from(irradiance), f64::from(celsius));
                let exact = offered(&curve, charger, f64::from(battery_v)).charging_a;
                let found = f64::from(table.current_a(irradiance, celsius, battery_v));
                let error = (found - exact).abs() / (0.01 * curve.short_circuit_a()).max(2e-6);
                if error > worst.0 {
                    worst = (
                        error,
                        format!("{irradiance} W/m2 {celsius} C {battery_v} V: {found:.6} for {exact:.6}"),
                    );
                }
            }
        }
    }
    worst.0
}

#[test]
fn the_table_is_within_a_hundredth_of_the_equations() {
    let five_volt = Panel {
        open_circuit_voltage: Voltage::from_volts(6.0),
        best_voltage: Voltage::from_volts(5.0),
        ..six_volt_panel()
    };
    let nano = Charger {
        start_up: Power::from_microwatts(15.0),
        input_current: Current::from_microamperes(0.5),
        ..converter(ChargerKind::FixedFraction { fraction: Share::from_percent(80.0) })
    };
    let usb = Charger {
        input_minimum: Voltage::from_volts(4.35),
        input_current: Current::from_milliamperes(0.5),
        title: "usb".into(),
        price: None,
        ..linear()
    };
    let direct = Charger {
        kind: ChargerKind::Direct,
        drop: Voltage::from_volts(0.35),
        title: "direct".into(),
        price: None,
        ..linear()
    };
    let hungry = Charger {
        input_current: Current::from_milliamperes(3.0),
        input_minimum: Voltage::from_volts(4.0),
        title: "tracker".into(),
        price: None,
        ..converter(ChargerKind::Mppt)
    };
    for panel in [six_volt_panel(), five_volt] {
        for charger in [&linear(), &nano, &usb, &direct, &hungry] {
            let worst = worst_of_table(&panel, charger);
            assert!(worst < 1.0, "{} on {}: {worst}", charger.title, panel.open_circuit_voltage.volts());
        }
    }
}

#[test]
fn the_table_gives_nothing_in_the_dark_and_never_less_than_nothing() {
    let hungry = Charger { input_current: Current::from_milliamperes(1.0), ..linear() };
    for charger in [linear(), hungry, converter(ChargerKind::Mppt)] {
        let table = ChargeTable::new(&model(), &charger, &cell());
        for celsius in [-60.0_f32, -10.0, 25.0, 110.0] {
            assert_eq!(table.current_a(0.0, celsius, 3.7), 0.0);
            assert_eq!(table.current_a(-1.0, celsius, 3.7), 0.0);
            for irradiance in [0.1_f32, 1.0, 3.0] {
                assert!(table.current_a(irradiance, celsius, 3.7) >= 0.0);
            }
            assert!(table.current_a(1500.0, celsius, 3.7) > 0.15);
        }
    }
}
