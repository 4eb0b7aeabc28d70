//! The shipped batteries against computed and published tables.

use design::catalog::{Catalog, SHIPPED};
use design::file::parse;
use design::part::Battery;
use design::quantity::Share;
use design::resolve::resolve;

const FAR_V: f64 = 0.060;

fn battery(key: &str) -> Battery {
    let text = format!(
        r#"schema = 1
name = "bench"
site = {{ latitude = "0 deg", longitude = "0 deg", elevation = "0 m" }}
promise = {{ unattended = "1 year" }}
battery = {{ part = "{key}" }}
load = {{ board = {{ floor = "10 uA", floor_measured = true }} }}
"#
    );
    match resolve(&Catalog::builtin(), &parse(&text)) {
        Ok(resolved) => resolved.design.battery.clone(),
        Err(found) => panic!("{key}: {found:#?}"),
    }
}

fn batteries() -> Vec<Battery> {
    SHIPPED.iter().filter(|part| part.section == "battery").map(|part| battery(part.key)).collect()
}

/// Rows (quantity, set, at, value) computed by `PyBaMM`; `oracles/battery.py` made the file.
fn oracle() -> Vec<(String, String, f64, f64)> {
    let text = include_str!("data/battery_oracle.csv");
    let rows = text.lines().skip(1).map(|line| {
        let fields: Vec<&str> = line.split(',').collect();
        let [quantity, set, _, at, value] = fields[..] else { panic!("five fields: {line}") };
        let number = |text: &str| text.parse().expect("a number");
        (quantity.to_owned(), set.to_owned(), number(at), number(value))
    });
    rows.collect()
}

fn open_circuit_v(battery: &Battery, charge: f64) -> f64 {
    let rows = &battery.open_circuit;
    let above =
        rows.iter().position(|(at, _)| at.fraction() >= charge).expect("the curve reaches full").max(1);
    let ((low, low_v), (high, high_v)) = (rows[above - 1], rows[above]);
    let share = (charge - low.fraction()) / (high.fraction() - low.fraction());
    low_v.volts() + share * (high_v.volts() - low_v.volts())
}

/// Largest distance from a named table between 20 % and 95 % of charge, in volts.
fn distance_v(battery: &Battery, set: &str) -> f64 {
    let rows = oracle();
    let wanted = rows.iter().filter(|(quantity, name, at, _)| {
        quantity == "open_circuit_volts" && name == set && (20.0..=95.0).contains(at)
    });
    wanted.map(|(.., at, volts)| (open_circuit_v(battery, at / 100.0) - volts).abs()).fold(f64::NAN, f64::max)
}

#[test]
fn open_circuit_voltage_rises_with_charge_from_empty_to_full() {
    for battery in batteries() {
        let rows = &battery.open_circuit;
        assert_eq!(rows.first().map(|row| row.0), Some(Share::ZERO), "{}", battery.name);
        assert_eq!(rows.last().map(|row| row.0.fraction()), Some(1.0), "{}", battery.name);
        assert!(
            rows.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 < pair[1].1),
            "{}",
            battery.name
        );
    }
}

/// The NMC curve is Ecker's measured table (Schmalstieg et al. 2014), so this compares two independent sources.
/// The other two are the tables themselves: there it guards the typing.
#[test]
fn open_circuit_voltage_lies_within_60_mv_of_the_named_table() {
    for (key, set) in [
        ("nmc-18650", "Mohtat2020"),
        ("lco-pouch", "Ai2020"),
        ("lfp-18650", "Prada2013"),
        ("lfp-10440", "Prada2013"),
    ] {
        let far = distance_v(&battery(key), set);
        assert!(far <= FAR_V, "{key} is {:.1} mV from {set}", far * 1e3);
    }
}

/// Bounds: the sets of `PyBaMM`, whose 2 s pulses at half charge give 1.49 (Ai2020) to 4.00 (`OKane2022`).
#[test]
fn resistance_in_the_cold_lies_within_what_the_computed_pulses_give() {
    let pulse = |set: &str, celsius: f64| {
        let row = oracle().into_iter().find(|(quantity, name, at, _)| {
            quantity == "pulse_ohms" && name == set && (at - celsius).abs() < 0.5
        });
        row.expect("the set is in the oracle").3
    };
    let ratio = |set| pulse(set, -20.0) / pulse(set, 25.0);
    let (least, most) = (ratio("Ai2020"), ratio("OKane2022"));
    for key in ["nmc-18650", "lco-pouch", "lfp-18650", "lfp-10440"] {
        let rows = battery(key).resistance_by_temperature;
        let at = |celsius: f64| {
            rows.iter().find(|row| (row.0.celsius() - celsius).abs() < 1e-9).expect("the row is there").1
        };
        let found = at(-20.0) / at(25.0);
        assert!((least..=most).contains(&found), "{key}: {found:.2} outside {least:.2} to {most:.2}");
    }
}

/// Schmalstieg et al. 2014, J. Power Sources 257, 325, calendar loss alpha t^0.75 (t in days): one year at half charge
/// (3.6974 V), full (4.162 V), 25 °C and 40 °C.
#[test]
fn nmc_ages_as_schmalstieg_measured() {
    let ageing = battery("nmc-18650").ageing;
    let alpha =
        |volts: f64, celsius: f64| (7.543 * volts - 23.75) * 1e6 * (-6976.0 / (celsius + 273.15)).exp();
    let year = |volts, celsius| alpha(volts, celsius) * 365.0_f64.powf(0.75);
    let close =
        |found: f64, wanted: f64| assert!((found / wanted - 1.0).abs() < 0.02, "{found} against {wanted}");
    close(ageing.time_exponent, 0.75);
    close(ageing.first_year_at_25c.fraction(), year(3.6974, 25.0));
    close(ageing.at_full_charge, alpha(4.162, 25.0) / alpha(3.6974, 25.0));
    close(2.0_f64.powf(15.0 / ageing.doubles_every_k), alpha(3.6974, 40.0) / alpha(3.6974, 25.0));
}
