//! The battery under pulses, cold and time, against worked figures.
#![expect(clippy::float_cmp, reason = "zeros, ends and held values are exact")]

use design::part::{Ageing, Battery, Chemistry};
use design::quantity::{Charge, Current, Resistance, Share, Temperature, Uncertain, Voltage};
use forecast::power::battery::Pulse;
use forecast::power::battery::{
    charge_at_rest, lowest_charge_for, open_circuit, pulse_resistance_ohm, resistance_ohm,
    self_discharge_per_hour, usable_share,
};
use proptest::prelude::*;

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} for {expected} within {within}");
}

/// Rest voltages of a 2.15 Ah NMC cell from 0 to 100 % in steps of 10 (Ecker and Schmalstieg, facts on energy 5.1; the
/// fifth decimal of the rows at 50 and 60 % from worked case 10), with a constant resistance.
fn nmc(ohms: f64) -> Battery {
    const REST_V: [f64; 11] = [3.331, 3.491, 3.581, 3.627, 3.655, 3.6974, 3.7747, 3.869, 3.965, 4.073, 4.162];
    let rest = REST_V.iter().enumerate();
    let by_celsius = |celsius, factor| (Temperature::from_celsius(celsius), Share::from_fraction(factor));
    Battery {
        name: "nmc".into(),
        title: "NMC cell".into(),
        price: None,
        chemistry: Chemistry::Nmc,
        cells_in_series: 1,
        cells_in_parallel: 1,
        capacity: Uncertain::exact(Charge::from_ampere_hours(2.15)),
        label_to_real: Uncertain::exact(Share::from_fraction(1.0)),
        open_circuit: rest
            .map(|(row, v)| (Share::from_percent(10.0 * row as f64), Voltage::from_volts(*v)))
            .collect(),
        resistance: Uncertain::exact(Resistance::from_ohms(ohms)),
        resistance_by_temperature: vec![by_celsius(-20.0, 4.0), by_celsius(25.0, 1.0)],
        resistance_by_charge: vec![
            (Share::ZERO, Share::from_fraction(2.0)),
            (Share::from_percent(20.0), Share::from_fraction(1.0)),
        ],
        capacity_by_temperature: vec![by_celsius(-20.0, 0.6), by_celsius(0.0, 0.85), by_celsius(25.0, 1.0)],
        self_discharge_per_month: Share::from_percent(2.0),
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
        source: "facts on energy, section 5.1".into(),
    }
}

fn pulse(milliamperes: f64) -> Pulse {
    Pulse { amperes: milliamperes / 1e3, seconds: 0.4 }
}

/// 3.3 V behind a regulator that needs 0.2 V, facts on energy 5.4.
const RAIL: f64 = 3.3 + 0.2;

/// Worked case 10 of the facts on energy: 118 mA through 2 ohm needs 3.736 V at rest and strands 55.0 % of the charge;
/// at +14 dBm, 45 mA, it is 22.0 %.
#[test]
fn a_pulse_through_an_old_cold_cell_strands_half_its_charge() {
    let old = nmc(2.0);
    let stranded = |milliamperes| {
        lowest_charge_for(&old, pulse(milliamperes), Voltage::from_volts(RAIL), None, 25.0)
            .expect("full is enough")
    };
    near(stranded(118.0), 0.5499, 5e-5);
    near(open_circuit(&old, stranded(118.0)).volts(), 3.736, 1e-9);
    near(stranded(45.0), 0.220, 5e-4);
    near(open_circuit(&old, stranded(45.0)).volts(), 3.590, 1e-9);
    assert_eq!(lowest_charge_for(&old, pulse(400.0), Voltage::from_volts(RAIL), None, 25.0), None);
    assert_eq!(lowest_charge_for(&old, pulse(118.0), Voltage::from_volts(2.5), None, 25.0), Some(0.0));
}

/// Facts on energy, 5.4: rest voltage needed at 0.25 and 1 ohm.
#[test]
fn the_rest_voltage_needed_is_the_rail_plus_the_drop() {
    for (ohms, volts) in [(0.25, 3.530), (1.0, 3.618)] {
        let cell = nmc(ohms);
        let lowest =
            lowest_charge_for(&cell, pulse(118.0), Voltage::from_volts(RAIL), None, 25.0).expect("enough");
        let drop_v = 0.118 * resistance_ohm(&cell, lowest, 25.0);
        near(open_circuit(&cell, lowest).volts(), RAIL + drop_v, 1e-9);
        if lowest > 0.2 {
            near(open_circuit(&cell, lowest).volts(), volts, 5e-4);
        } else {
            assert!(drop_v > 0.118 * ohms, "an emptier cell has more resistance");
        }
    }
}

/// By hand: 2 ohm of battery beside 2 ohm and 0.25 F have a time constant of 0.25 x 4 = 1 s. At first both carry half
/// the current (1 ohm); after ln 2 seconds half of what the battery still has to take over is left: 2 - 0.5 = 1.5 ohm.
#[test]
fn a_capacitor_takes_the_first_part_of_a_pulse() {
    near(pulse_resistance_ohm(2.0, 0.0, 0.25, 2.0), 1.0, 1e-12);
    near(pulse_resistance_ohm(2.0, std::f64::consts::LN_2, 0.25, 2.0), 1.5, 1e-12);
    near(pulse_resistance_ohm(2.0, 60.0, 0.25, 2.0), 2.0, 1e-12);
    near(pulse_resistance_ohm(2.0, 1.0, 0.0, 2.0), 2.0, 0.0);
    near(pulse_resistance_ohm(0.0, 1.0, 0.25, 0.0), 0.0, 0.0);
}

/// Arithmetic on the rows above; between them linear, beyond them the last row holds.
#[test]
fn cold_raises_resistance_and_locks_capacity() {
    let cell = nmc(0.1);
    near(resistance_ohm(&cell, 0.5, 25.0), 0.1, 1e-15);
    near(resistance_ohm(&cell, 0.5, 2.5), 0.25, 1e-15);
    near(resistance_ohm(&cell, 0.1, -40.0), 0.1 * 1.5 * 4.0, 1e-15);
    near(usable_share(&cell, -10.0), 0.725, 1e-15);
    near(usable_share(&cell, 60.0), 1.0, 0.0);
    assert_eq!(usable_share(&Battery { capacity_by_temperature: Vec::new(), ..cell }, -40.0), 1.0);
}

/// The file's own words: 2 % lost in 30 days at 25 °C, doubling every 10 K.
#[test]
fn self_discharge_loses_the_stated_share_in_a_month() {
    let cell = nmc(0.1);
    let left = |celsius: f64| (-self_discharge_per_hour(&cell, celsius) * 720.0).exp();
    near(left(25.0), 0.98, 1e-12);
    near(left(35.0), 0.98 * 0.98, 1e-12);
    near(left(15.0), 0.98_f64.sqrt(), 1e-12);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn charge_at_rest_undoes_open_circuit(charge in 0.0..1.0_f64, higher in 0.0..1.0_f64) {
        let cell = nmc(0.1);
        prop_assert!((charge_at_rest(&cell, open_circuit(&cell, charge)) - charge).abs() < 1e-12);
        prop_assert!(open_circuit(&cell, charge.max(higher)) >= open_circuit(&cell, charge.min(higher)));
        prop_assert_eq!(charge_at_rest(&cell, Voltage::from_volts(5.0)), 1.0);
        prop_assert_eq!(charge_at_rest(&cell, Voltage::from_volts(1.0)), 0.0);
    }

    /// The circuit's own differential equation, checked by a difference quotient: C dv/dt is what the capacitor gives.
    #[test]
    fn the_buffered_pulse_obeys_the_circuit(
        battery_ohm in 0.05..5.0_f64, esr_ohm in 0.01..1.0_f64, farads in 0.001..1.0_f64, at in 0.0..3.0_f64,
    ) {
        let tau = farads * (battery_ohm + esr_ohm);
        let (t, dt) = (at * tau, 1e-5 * tau);
        let drop_v = |seconds| pulse_resistance_ohm(battery_ohm, seconds, farads, esr_ohm); // at 1 A
        // Of that ampere the battery gives drop / R, the capacitor the rest; its inner voltage is terminal + rest x ESR.
        let from_capacitor = |seconds: f64| 1.0 - drop_v(seconds) / battery_ohm;
        let inner_v = |seconds: f64| -drop_v(seconds) + from_capacitor(seconds) * esr_ohm;
        let falls = (inner_v(t) - inner_v(t + dt)) / dt * farads;
        prop_assert!((falls - from_capacitor(t + 0.5 * dt)).abs() < 1e-6);
        prop_assert!(inner_v(0.0).abs() < 1e-12, "it starts charged to the battery's rest voltage");
    }
}
