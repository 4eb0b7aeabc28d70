//! What of the panel's power reaches the battery.

use design::part::{Charger, ChargerKind, GateBand};
use design::quantity::Voltage;

use design::panel::diode::{Diode, Point};

/// An empty supercapacitor takes power at no voltage; below this the current limit is what counts \[V\].
pub(super) const LEAST_BATTERY_V: f32 = 0.05;

/// What a charger makes of a panel in one moment.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Harvest {
    /// Current into the battery \[A\].
    pub charging_a: f64,
    /// Where the panel works.
    pub panel: Point,
}

/// What a charger can put into a battery at a terminal voltage \[V\] if nothing limits it: no current limit, no
/// temperature gate, no charge voltage.
///
/// A direct or linear charger passes the panel's current at battery voltage plus `drop`, a linear one at
/// `input_minimum` if that is higher: it folds its current back so that the panel isn't pulled below. A converter
/// passes power: panel power less its own input current, times efficiency, over battery voltage; it doesn't pull the
/// panel below `input_minimum` either, and stands still below `start_up`. `input_current` comes from the panel.
pub fn offered(panel: &Diode, charger: &Charger, battery_v: f64) -> Harvest {
    let point = operating_point(panel, charger, battery_v);
    let charging_a = match charger.kind {
        ChargerKind::Direct | ChargerKind::Linear => point.amperes - charger.input_current.amperes(),
        ChargerKind::FixedFraction { .. } | ChargerKind::Mppt => converter_a(point, charger, battery_v),
    };
    if charging_a > 0.0 { Harvest { charging_a, panel: point } } else { idle(panel) }
}

/// What reaches a battery at a terminal voltage \[V\] if at most `limit_a` \[A\] may; where the limit binds, the panel
/// drifts towards open circuit.
pub fn charging_current(panel: &Diode, charger: &Charger, battery_v: f64, limit_a: f64) -> Harvest {
    let free = offered(panel, charger, battery_v);
    if limit_a <= 0.0 {
        return idle(panel);
    }
    if free.charging_a <= limit_a {
        return free;
    }
    let input_a = charger.input_current.amperes();
    let point = match charger.kind {
        ChargerKind::Direct | ChargerKind::Linear => {
            let amperes = limit_a + input_a;
            Point { volts: panel.voltage(amperes), amperes }
        }
        ChargerKind::FixedFraction { .. } | ChargerKind::Mppt => {
            let output_w = limit_a * battery_v / charger.efficiency.fraction();
            panel.point_at_power(output_w + input_a * free.panel.volts)
        }
    };
    Harvest { charging_a: limit_a, panel: point }
}

fn idle(panel: &Diode) -> Harvest {
    Harvest { charging_a: 0.0, panel: Point { volts: panel.open_circuit_v(), amperes: 0.0 } }
}

/// Where the charger holds the panel; beyond open circuit the current is negative.
pub(super) fn operating_point(panel: &Diode, charger: &Charger, battery_v: f64) -> Point {
    let pinned = |volts| Point { volts, amperes: panel.current(volts) };
    match charger.kind {
        ChargerKind::Direct => pinned(battery_v + charger.drop.volts()),
        ChargerKind::Linear => pinned((battery_v + charger.drop.volts()).max(charger.input_minimum.volts())),
        ChargerKind::FixedFraction { fraction } => {
            pinned((fraction.fraction() * panel.open_circuit_v()).max(charger.input_minimum.volts()))
        }
        ChargerKind::Mppt => {
            let best = panel.best_point();
            if best.volts < charger.input_minimum.volts() {
                pinned(charger.input_minimum.volts())
            } else {
                best
            }
        }
    }
}

/// Whether a converter runs with its panel at this point.
pub(super) fn converter_runs(point: Point, charger: &Charger) -> bool {
    point.watts() > 0.0 && point.watts() >= charger.start_up.watts()
}

fn converter_a(point: Point, charger: &Charger, battery_v: f64) -> f64 {
    if converter_runs(point, charger) {
        converted_w(point, charger) / battery_v.max(LEAST_BATTERY_V.into())
    } else {
        0.0
    }
}

/// Output of a running converter \[W\], negative where it can't feed itself.
pub(super) fn converted_w(point: Point, charger: &Charger) -> f64 {
    point.volts * (point.amperes - charger.input_current.amperes()) * charger.efficiency.fraction()
}

/// What the temperature gate allows at a battery temperature [°C]: the share of the charging current, and by how much
/// the charge voltage is lowered. Nothing outside all bands; everything if there is no gate.
pub fn gate(charger: &Charger, battery_celsius: f64) -> (f64, Voltage) {
    if charger.temperature_gate.is_empty() {
        return (1.0, Voltage::ZERO);
    }
    let inside =
        |band: &&GateBand| battery_celsius >= band.from.celsius() && battery_celsius < band.to.celsius();
    let band = charger.temperature_gate.iter().find(inside);
    band.map_or((0.0, Voltage::ZERO), |band| (band.current.fraction(), band.voltage_reduction))
}
