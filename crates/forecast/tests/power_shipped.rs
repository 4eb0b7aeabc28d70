//! Every shipped panel and charger: the curves exist, and the inner loop's table follows them.
#![expect(clippy::cast_possible_truncation, reason = "voltages go to the table in single precision")]

use design::catalog::{Catalog, SHIPPED};
use design::file::parse;
use design::node::Design;
use design::panel::PanelModel;
use design::quantity::{Share, Voltage};
use design::resolve::resolve;
use forecast::power::charge_table::ChargeTable;
use forecast::power::charger::offered;

/// A bench node; 100 Ah, so that no panel is too large for a charger without a limit.
fn node(panel: &str, charger: &str, battery: &str) -> Design {
    let text = format!(
        r#"schema = 1
name = "bench"
site = {{ latitude = "0 deg", longitude = "0 deg", elevation = "0 m" }}
promise = {{ unattended = "1 year" }}
panel = {{ part = "{panel}", tilt = "60 deg", azimuth = "180 deg" }}
charger = {{ part = "{charger}" }}
battery = {{ part = "{battery}", capacity = "100 Ah" }}
load = {{ board = {{ floor = "10 uA", floor_measured = true }} }}
"#
    );
    match resolve(&Catalog::builtin(), &parse(&text)) {
        Ok(resolved) => resolved.design,
        Err(found) => panic!("{panel}, {charger}, {battery}: {found:#?}"),
    }
}

fn shipped(section: &str) -> Vec<&'static str> {
    SHIPPED.iter().filter(|part| part.section == section).map(|part| part.key).collect()
}

fn battery_for(charger: &str) -> &'static str {
    match charger {
        "linear-lfp" => "lfp-18650",
        "direct-diode" => "nimh-aa",
        _ => "nmc-18650",
    }
}

/// The data sheet's own points, and the label within its stated tolerance.
#[test]
fn every_shipped_panel_has_a_curve_through_its_points() {
    for key in shipped("panel") {
        let panel = node(key, "linear-usb-gated", "nmc-18650").panel.clone().expect("a panel").panel;
        let model = PanelModel::new(&panel).unwrap_or_else(|error| panic!("{key}: {error}"));
        let curve = model.at(1000.0, 25.0);
        let best = curve.best_point();
        assert!((curve.open_circuit_v() - panel.open_circuit_voltage.volts()).abs() < 1e-6, "{key}");
        assert!((curve.short_circuit_a() - panel.short_circuit_current.amperes()).abs() < 1e-6, "{key}");
        assert!((best.volts - panel.best_voltage.volts()).abs() < 1e-3, "{key}: {best:?}");
        assert!((best.amperes - panel.best_current.amperes()).abs() < 1e-4, "{key}: {best:?}");
        let label_w = panel.power.nominal.watts();
        assert!(
            (best.watts() - label_w).abs() <= panel.power.spread_si.max(0.01 * label_w),
            "{key}: {best:?}"
        );
        // Silicon within what a fitted ideality leaves open (De Soto 2006: 1.121 eV at an ideality of 1).
        assert!((0.7..1.5).contains(&model.gap_ev()), "{key}: {} eV", model.gap_ev());
    }
}

/// The equations are the judge: 1 % of the short-circuit current in that light, or 2 uA.
#[test]
fn the_table_follows_every_shipped_panel_on_every_shipped_charger() {
    for panel in shipped("panel") {
        for charger in shipped("charger") {
            let design = node(panel, charger, battery_for(charger));
            let (worst, at) = worst_error(&design);
            assert!(worst < 1.0, "{panel} on {charger}: {worst:.2} of what is allowed at {at}");
        }
    }
}

fn worst_error(design: &Design) -> (f64, String) {
    let (panel, charger) =
        (design.panel.as_ref().expect("a panel"), design.charger.as_ref().expect("a charger"));
    let model = PanelModel::new(&panel.panel).expect("a sound data sheet");
    let table = ChargeTable::new(&model, charger, &design.battery);
    let rows = &design.battery.open_circuit;
    let rest_v = |row: Option<&(Share, Voltage)>| row.expect("rows").1.volts() as f32;
    let (empty_v, full_v) = (rest_v(rows.first()), rest_v(rows.last()));
    let mut worst = (0.0, String::new());
    for irradiance in [5.0_f32, 8.0, 15.0, 33.0, 71.0, 160.0, 400.0, 950.0] {
        // Air from -30 to 45 °C and 0.04 K per W/m² (Faiman without wind).
        for air in (-30..=45).step_by(5) {
            let celsius = air as f32 + 0.04 * irradiance;
            for share in [0.03_f32, 0.3, 0.55, 0.8, 0.97] {
                let battery_v = empty_v + share * (full_v - empty_v);
                let curve = model.at(f64::from(irradiance), f64::from(celsius));
                let exact = offered(&curve, charger, f64::from(battery_v)).charging_a;
                let found = f64::from(table.current_a(irradiance, celsius, battery_v));
                let error = (found - exact).abs() / (0.01 * curve.short_circuit_a()).max(2e-6);
                if error > worst.0 {
                    worst = (
                        error,
                        format!("{irradiance} W/m2 {celsius} C {battery_v} V: {found:.6} for {exact:.6} A"),
                    );
                }
            }
        }
    }
    worst
}
