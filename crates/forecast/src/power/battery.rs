//! What a battery is at a charge and a temperature. The life's tables are made from these.

use design::node::Buffer;
use design::part::Battery;
use design::quantity::{Share, Temperature, Voltage};

/// Below this a lithium cell may plate when it is charged [°C].
pub const FREEZING_CELSIUS: f32 = 0.0;

/// [`Battery::self_discharge_per_month`] speaks of 30 days,
const MONTH_H: f64 = 30.0 * 24.0;
/// and doubles every so many kelvin.
const SELF_DISCHARGE_DOUBLES_K: f64 = 10.0;

/// The largest pulse a node draws.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pulse {
    /// Current at the battery \[A\].
    pub amperes: f64,
    /// How long it lasts.
    pub seconds: f64,
}

/// Open-circuit voltage at a state of charge, 0 to 1 of the real capacity.
pub fn open_circuit(battery: &Battery, charge: f64) -> Voltage {
    battery.resting_at(Share::from_fraction(charge))
}

/// State of charge, 0 to 1, at which the battery rests at a voltage; 0 below and 1 above its table.
pub fn charge_at_rest(battery: &Battery, rest: Voltage) -> f64 {
    interpolate_by(&battery.open_circuit, rest.volts(), |row| (row.1.volts(), row.0.fraction()))
}

/// Factor on the resistance at a state of charge.
pub fn resistance_by_charge(battery: &Battery, charge: f64) -> f64 {
    interpolate(&battery.resistance_by_charge, charge, Share::fraction, Share::fraction)
}

/// Factor on the resistance at a temperature [°C].
pub fn resistance_by_temperature(battery: &Battery, celsius: f64) -> f64 {
    interpolate(&battery.resistance_by_temperature, celsius, Temperature::celsius, Share::fraction)
}

/// Series resistance of the nominal battery at a state of charge and a temperature [°C], in ohms.
pub fn resistance_ohm(battery: &Battery, charge: f64, celsius: f64) -> f64 {
    battery.resistance.nominal.ohms()
        * resistance_by_charge(battery, charge)
        * resistance_by_temperature(battery, celsius)
}

/// Share of the real capacity that can be used at a temperature [°C].
pub fn usable_share(battery: &Battery, celsius: f64) -> f64 {
    interpolate(&battery.capacity_by_temperature, celsius, Temperature::celsius, Share::fraction)
}

/// Share of the present charge lost per hour at a temperature [°C], without [`Battery::leakage`].
pub fn self_discharge_per_hour(battery: &Battery, celsius: f64) -> f64 {
    let at_25 = -(-battery.self_discharge_per_month.fraction()).ln_1p() / MONTH_H;
    at_25 * ((celsius - 25.0) / SELF_DISCHARGE_DOUBLES_K).exp2()
}

/// What a pulse of so many seconds sees at its end as resistance \[ohm\] of a battery with a capacitor across it.
///
/// At first both share the current by their resistances; then the capacitor runs down to what the battery alone would
/// hold: `R - R² / (R + ESR) exp(-t / (C (R + ESR)))`, the solution of the first-order circuit.
pub fn pulse_resistance_ohm(battery_ohm: f64, seconds: f64, farads: f64, esr_ohm: f64) -> f64 {
    let both_ohm = battery_ohm + esr_ohm;
    if both_ohm <= 0.0 || farads <= 0.0 {
        return battery_ohm;
    }
    battery_ohm - battery_ohm.powi(2) / both_ohm * (-seconds / (farads * both_ohm)).exp()
}

/// How far a pulse pulls the voltage of a battery of this resistance \[ohm\] with a buffer across it \[V\].
pub fn pulse_drop(pulse: Pulse, battery_ohm: f64, buffer: &Buffer) -> f64 {
    let (farads, esr_ohm) = (buffer.capacitance.farads(), buffer.esr.ohms());
    pulse.amperes * pulse_resistance_ohm(battery_ohm, pulse.seconds, farads, esr_ohm)
}

/// Lowest state of charge at which at least `lowest` (regulator output plus dropout, or the protection's cut-off)
/// remains under a pulse at a temperature [°C]; `None` if not even at full charge. All charge below it is stranded
/// while such pulses are sent.
pub fn lowest_charge_for(
    battery: &Battery,
    pulse: Pulse,
    lowest: Voltage,
    buffer: Option<&Buffer>,
    celsius: f64,
) -> Option<f64> {
    let holds = |charge: f64| {
        let ohm = resistance_ohm(battery, charge, celsius);
        let drop_v = buffer.map_or(pulse.amperes * ohm, |buffer| pulse_drop(pulse, ohm, buffer));
        open_circuit(battery, charge) >= lowest + Voltage::from_volts(drop_v)
    };
    if !holds(1.0) {
        return None;
    }
    if holds(0.0) {
        return Some(0.0);
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        *(if holds(middle) { &mut high } else { &mut low }) = middle;
    }
    Some(high)
}

fn interpolate<X: Copy, Y: Copy>(
    rows: &[(X, Y)],
    x: f64,
    argument: impl Fn(X) -> f64,
    value: impl Fn(Y) -> f64,
) -> f64 {
    interpolate_by(rows, x, |row| (argument(row.0), value(row.1)))
}

/// Linear between rows of ascending argument, held at the end rows beyond them, 1 without rows.
fn interpolate_by<Row>(rows: &[Row], x: f64, figures: impl Fn(&Row) -> (f64, f64)) -> f64 {
    let above = rows.partition_point(|row| figures(row).0 < x);
    let below = above.checked_sub(1).and_then(|index| rows.get(index));
    match (below.map(&figures), rows.get(above).map(&figures)) {
        (None, None) => 1.0,
        (Some((_, y)), None) | (None, Some((_, y))) => y,
        (Some((x0, y0)), Some((x1, y1))) => y0 + (x - x0) / (x1 - x0) * (y1 - y0),
    }
}
