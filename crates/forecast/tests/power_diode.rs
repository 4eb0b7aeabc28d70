//! The single-diode equation against curves solved elsewhere.
#![expect(clippy::float_cmp, reason = "zeros, ends and held values are exact")]
#![expect(clippy::disallowed_methods, reason = "the test reads its data files")]

use std::io::Read;

use design::panel::diode::Diode;
use proptest::prelude::*;
use serde_json::Value;

const DATA: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/power/");

fn number(value: &Value) -> f64 {
    value.as_str().and_then(|text| text.parse().ok()).or(value.as_f64()).expect("a number, maybe as text")
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(number).collect()
}

fn precise_curves() -> Vec<(Diode, Value)> {
    let bytes = std::fs::read(format!("{DATA}precise_iv_curves1.json.gz")).expect("data file");
    let mut text = String::new();
    flate2::read::GzDecoder::new(&bytes[..]).read_to_string(&mut text).expect("gzip of text");
    let curves: Value = serde_json::from_str(&text).expect("JSON");
    let mut sets =
        csv::Reader::from_path(format!("{DATA}precise_iv_curves_parameter_sets1.csv")).expect("data file");
    let sets = sets.deserialize::<[f64; 7]>().map(|row| row.expect("seven numbers"));
    let curves = curves["IV Curves"].as_array().expect("a list").iter();
    sets.zip(curves).map(|(set, curve)| (diode(set), curve.clone())).collect()
}

fn diode([_, photocurrent_a, saturation_a, series_ohm, shunt_ohm, ideality, cells]: [f64; 7]) -> Diode {
    // CODATA 2018, both exact; 298.15 K as the data say.
    let thermal_v = 1.380649e-23 / 1.602176634e-19 * 298.15;
    Diode { photocurrent_a, saturation_a, series_ohm, shunt_ohm, scale_v: ideality * cells * thermal_v }
}

/// Worst relative error found so far, with where.
#[derive(Default)]
struct Worst(f64, String);

impl Worst {
    fn see(&mut self, what: &str, found: f64, expected: f64, floor: f64) {
        let error = (found - expected).abs() / expected.abs().max(floor);
        if error > self.0 {
            *self = Self(error, format!("{what}: {found} for {expected}"));
        }
    }
}

/// 32 curves of the pvlib source package, solved to about 20 digits.
#[test]
fn the_precise_curves_are_met_to_1e_6() {
    let curves = precise_curves();
    assert_eq!(curves.len(), 32);
    let (mut current, mut voltage, mut points) = (Worst::default(), Worst::default(), Worst::default());
    for (diode, curve) in &curves {
        let short_a = number(&curve["i_sc"]);
        let (volts, amperes) = (numbers(&curve["Voltages"]), numbers(&curve["Currents"]));
        assert_eq!((volts.len(), amperes.len()), (100, 100));
        for (v, i) in volts.into_iter().zip(amperes) {
            // The ends of a curve have a current or a voltage of 0: there a millionth of the other end counts.
            current.see("I(V)", diode.current(v), i, 1e-6 * short_a);
            voltage.see("V(I)", diode.voltage(i), v, 1e-6 * number(&curve["v_oc"]));
        }
        let best = diode.best_point();
        points.see("Voc", diode.open_circuit_v(), number(&curve["v_oc"]), 0.0);
        points.see("Isc", diode.short_circuit_a(), short_a, 0.0);
        points.see("Pmp", best.watts(), number(&curve["p_mp"]), 0.0);
        points.see("Vmp", best.volts, number(&curve["v_mp"]), 0.0);
        points.see("Imp", best.amperes, number(&curve["i_mp"]), 0.0);
        points.see("Ix", diode.current(0.5 * diode.open_circuit_v()), number(&curve["i_x"]), 0.0);
        let xx = 0.5 * (diode.open_circuit_v() + best.volts);
        points.see("Ixx", diode.current(xx), number(&curve["i_xx"]), 0.0);
    }
    for Worst(error, at) in [current, voltage, points] {
        assert!(error < 1e-6, "{error:.1e} at {at}");
    }
}

/// pvlib 0.16.1 `singlediode` on a 12-cell string.
#[test]
fn the_string_of_12_cells_is_met_to_ten_digits() {
    let text = std::fs::read_to_string(format!("{DATA}pvlib_single_diode.json")).expect("data file");
    let all: Value = serde_json::from_str(&text).expect("JSON");
    let toy = &all["string_of_12_cells"];
    let diode = Diode {
        photocurrent_a: number(&toy["IL"]),
        saturation_a: number(&toy["I0"]),
        series_ohm: number(&toy["Rs"]),
        shunt_ohm: number(&toy["Rsh"]),
        scale_v: number(&toy["nNsVth"]),
    };
    let mut worst = Worst::default();
    let best = diode.best_point();
    worst.see("Isc", diode.short_circuit_a(), number(&toy["i_sc"]), 0.0);
    worst.see("Voc", diode.open_circuit_v(), number(&toy["v_oc"]), 0.0);
    worst.see("Pmp", best.watts(), number(&toy["p_mp"]), 0.0);
    for (v, i) in numbers(&toy["V"]).into_iter().zip(numbers(&toy["I"])) {
        worst.see("I(V)", diode.current(v), i, 0.0);
    }
    assert!(worst.0 < 1e-10, "{:.1e} at {}", worst.0, worst.1);
    // pvlib finds the best point by golden section, to about eight digits.
    assert!((best.volts - number(&toy["v_mp"])).abs() < 1e-7, "{}", best.volts);
    assert!((best.amperes - number(&toy["i_mp"])).abs() < 1e-8, "{}", best.amperes);
}

#[test]
fn in_the_dark_nothing_flows() {
    let dark =
        Diode { photocurrent_a: 0.0, saturation_a: 1e-9, series_ohm: 0.35, shunt_ohm: 600.0, scale_v: 0.35 };
    assert_eq!(dark.open_circuit_v(), 0.0);
    assert_eq!(dark.best_point().watts(), 0.0);
    assert!(dark.current(3.0) < 0.0, "a battery drives current backwards through a dark panel");
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// The equation itself is the judge: its two sides change order within a trillionth of what is found, as far as a
    /// trillionth of what is given allows.
    #[test]
    fn every_solution_satisfies_the_equation_and_its_inverse(
        light in -6.0..1.0_f64, // powers of ten [A]
        saturation in -14.0..-7.0_f64,
        series_ohm in 0.0..5.0_f64,
        shunt in 1.0..6.0_f64,
        scale_v in 0.1..2.0_f64,
        place in 0.0..1.2_f64,
    ) {
        let diode = Diode {
            photocurrent_a: 10_f64.powf(light),
            saturation_a: 10_f64.powf(saturation),
            series_ohm,
            shunt_ohm: 10_f64.powf(shunt),
            scale_v,
        };
        let volts = place * diode.open_circuit_v();
        let amperes = diode.current(volts);
        let error_a = TRILLIONTH * sensitivity(&diode, volts, amperes).of_current_a;
        prop_assert!(too_much(&diode, volts, amperes - error_a) > 0.0, "{amperes} A is too little");
        prop_assert!(too_much(&diode, volts, amperes + error_a) < 0.0, "{amperes} A is too much");
        let again_v = diode.voltage(amperes);
        let error_v = TRILLIONTH * sensitivity(&diode, again_v, amperes).of_voltage_v;
        prop_assert!(too_much(&diode, again_v - error_v, amperes) > 0.0, "{again_v} V is too little");
        prop_assert!(too_much(&diode, again_v + error_v, amperes) < 0.0, "{again_v} V is too much");
    }

    /// No point of a curve gives more than its best point, and the curve falls.
    #[test]
    fn no_point_beats_the_best_point(light in -5.0..1.0_f64, series_ohm in 0.0..3.0_f64, place in 0.0..1.0_f64) {
        let diode = Diode {
            photocurrent_a: 10_f64.powf(light),
            saturation_a: 2e-12,
            series_ohm,
            shunt_ohm: 1000.0,
            scale_v: 0.286,
        };
        let open_v = diode.open_circuit_v();
        let best = diode.best_point().watts();
        prop_assert!(place * open_v * diode.current(place * open_v) <= best * (1.0 + 1e-12));
        prop_assert!(diode.current(place * open_v) > diode.current(place * open_v + 0.01));
        let half = diode.point_at_power(0.5 * best);
        prop_assert!((half.watts() - 0.5 * best).abs() < 1e-6 * best && half.volts > diode.best_point().volts);
    }
}

const TRILLIONTH: f64 = 1e-12;

/// How much more the string drives than flows at a point; falls with both voltage and current, and is 0 on the curve.
fn too_much(diode: &Diode, volts: f64, amperes: f64) -> f64 {
    let x = volts + amperes * diode.series_ohm;
    diode.photocurrent_a - diode.saturation_a * (x / diode.scale_v).exp_m1() - x / diode.shunt_ohm - amperes
}

/// What the solutions move by if what is given moves by as much as itself, to first order.
struct Sensitivity {
    of_current_a: f64,
    of_voltage_v: f64,
}

/// With the slope `g` of the junction, `dI/dV = -g / (1 + g Rs)`; a relative change of the exponent is one of the junction's
/// voltage `x`, and one of the currents moves `I` by at most as much, `V` by that over `g`.
fn sensitivity(diode: &Diode, volts: f64, amperes: f64) -> Sensitivity {
    let drop_v = (amperes * diode.series_ohm).abs();
    let x = volts + amperes * diode.series_ohm;
    let slope = diode.saturation_a / diode.scale_v * (x / diode.scale_v).exp() + 1.0 / diode.shunt_ohm;
    let (given_v, given_a) = (volts.abs() + drop_v, diode.photocurrent_a + amperes.abs());
    Sensitivity {
        of_current_a: given_a + given_v * slope / (1.0 + slope * diode.series_ohm),
        of_voltage_v: given_v + given_a / slope,
    }
}
