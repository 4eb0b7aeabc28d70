//! Charging current by light, cell temperature and battery voltage, tabulated for the inner loop.

use design::part::{Battery, Charger, ChargerKind};
use design::quantity::{Share, Voltage};

use super::charger::{LEAST_BATTERY_V, converted_w, converter_runs, operating_point};
use design::panel::diode::Diode;
use design::panel::{PanelModel, REFERENCE_W_M2};

/// Nodes over light and battery voltage. The power out of a converter depends on light alone, and bends more.
const PINNED: (usize, usize) = (32, 13);
const CONVERTED: (usize, usize) = (208, 2);
const TEMPERATURES: usize = 19;
const COLDEST_CELSIUS: f64 = -40.0;
const HOTTEST_CELSIUS: f64 = 85.0;
/// Fourth roots of the darkest and brightest irradiance tabulated [W/m²]: 1 and 1400.
const DARKEST_ROOT: f64 = 1.0;
const BRIGHTEST_ROOT: f64 = 6.117;

/// What a panel and charger offer a battery \[A\], before current limit, temperature gate and charge voltage.
///
/// Trilinear over the fourth root of the irradiance, cell temperature and battery voltage, which comes last: it alone
/// hangs on the life, and the rest need not wait for it. The fourth root spaces the
/// light almost by ratio at the cost of two square roots. What is tabulated is the sixteenth root of the share that the
/// output falls short of all the light can drive: beyond the knee of a panel this shortfall grows exponentially, its
/// root almost linearly, and four products undo it. 32 kB: it fits the first-level cache.
#[derive(Clone, Debug)]
pub struct ChargeTable {
    roots: Box<[f32]>,
    light: Axis,
    warmth: Axis,
    voltage: Axis,
    /// Irradiance below which a converter stands still, by cell temperature [W/m²].
    starts_w_m2: [f32; TEMPERATURES],
    /// What the light can drive at the coldest row [A or W, per W/m²], and its change from row to row.
    driven: f32,
    driven_per_row: f32,
    /// What the charger takes from the panel current for itself \[A\]; 0 for a converter, whose share is in the table.
    input_a: f32,
    /// Whether the output is power.
    by_power: bool,
}

impl ChargeTable {
    /// The table of a panel and a charger on a battery, for voltages between empty and its charge limit; outside, the
    /// nearer end holds.
    pub fn new(panel: &PanelModel, charger: &Charger, battery: &Battery) -> Self {
        let (lights, voltages) = if converts(charger) { CONVERTED } else { PINNED };
        let (lowest_v, highest_v) = voltage_range(battery);
        let light = Axis::new(DARKEST_ROOT, BRIGHTEST_ROOT, lights);
        let voltage = Axis::new(lowest_v, highest_v, voltages);
        let roots = (0..TEMPERATURES * lights * voltages).map(|cell| {
            let battery_v = voltage.node(cell % voltages);
            let irradiance = light.node(cell / voltages % lights).powi(4);
            let celsius = warmth().node(cell / voltages / lights);
            let output = output(&panel.at(irradiance, celsius), charger, battery_v);
            let shortfall = 1.0 - output / (irradiance * driven(panel, charger, celsius));
            single(shortfall.max(0.0).powf(1.0 / 16.0))
        });
        let driven = |row| driven(panel, charger, warmth().node(row));
        let starts = |row| start_up_w_m2(panel, charger, warmth().node(row));
        Self {
            roots: roots.collect(),
            light,
            warmth: warmth(),
            voltage,
            starts_w_m2: std::array::from_fn(|row| single(starts(row))),
            driven: single(driven(0)),
            driven_per_row: single(driven(1) - driven(0)),
            input_a: single(if converts(charger) { 0.0 } else { charger.input_current.amperes() }),
            by_power: converts(charger),
        }
    }

    /// Current offered to the battery \[A\] at an effective irradiance [W/m²], a cell temperature [°C] and a battery
    /// voltage \[V\]; 0 in the dark, never negative. Not limited.
    #[inline]
    pub fn current_a(&self, irradiance_w_m2: f32, cell_celsius: f32, battery_v: f32) -> f32 {
        let irradiance_w_m2 = irradiance_w_m2.max(0.0);
        let row = self.warmth.place(cell_celsius);
        let (i, x) = split(self.light.place(irradiance_w_m2.sqrt().sqrt()));
        let (j, y) = split(row);
        let (k, z) = split(self.voltage.place(battery_v));
        let (brighter, warmer) = (self.voltage.nodes, self.voltage.nodes * self.light.nodes);
        let at = j * warmer + i * brighter + k;
        let [lower, higher] = mix(
            mix(self.pair(at), self.pair(at + brighter), x),
            mix(self.pair(at + warmer), self.pair(at + warmer + brighter), x),
            y,
        );
        let root = lower + z * (higher - lower);
        let fourth = root * root * root * root;
        let driven = (self.driven + row * self.driven_per_row) * irradiance_w_m2;
        let output = driven * (1.0 - fourth * fourth * fourth * fourth) - self.input_a;
        if !self.by_power {
            return output.max(0.0);
        }
        let starts = self.starts_w_m2[j] + y * (self.starts_w_m2[j + 1] - self.starts_w_m2[j]);
        if irradiance_w_m2 >= starts { output.max(0.0) / battery_v.max(LEAST_BATTERY_V) } else { 0.0 }
    }

    /// The roots at two neighbouring voltages.
    #[inline]
    fn pair(&self, at: usize) -> [f32; 2] {
        let pair = &self.roots[at..at + 2];
        [pair[0], pair[1]]
    }
}

/// So far on the way from one pair to the other.
#[inline]
fn mix(one: [f32; 2], other: [f32; 2], share: f32) -> [f32; 2] {
    [one[0] + share * (other[0] - one[0]), one[1] + share * (other[1] - one[1])]
}

/// Evenly spaced nodes, at least 2 and less than 1024.
#[derive(Clone, Copy, Debug)]
struct Axis {
    first: f64,
    step: f64,
    nodes: usize,
    start: f32,
    per_unit: f32,
    last_place: f32,
}

impl Axis {
    fn new(first: f64, last: f64, nodes: usize) -> Self {
        let step = (last - first) / (nodes - 1) as f64;
        let last_place = (nodes - 1) as f32 - 1e-3;
        Self { first, step, nodes, start: single(first), per_unit: single(1.0 / step), last_place }
    }

    fn node(&self, index: usize) -> f64 {
        self.first + self.step * index as f64
    }

    /// Place on the axis in steps, held within it.
    #[inline]
    fn place(&self, value: f32) -> f32 {
        let place = ((value - self.start) * self.per_unit).max(0.0);
        // One instruction, where `min` would look for what is no number.
        if place < self.last_place { place } else { self.last_place }
    }
}

/// Node below a place, and how far above it the place is. Adding 1.5 x 2^23 leaves the rounded number in the low bits
/// of a float, which is quicker than a checked conversion.
#[inline]
pub(crate) fn split(place: f32) -> (usize, f32) {
    const ROUNDER: f32 = 12_582_912.0;
    let rounded = (place - 0.5) + ROUNDER;
    ((rounded.to_bits() & 0x3ff) as usize, place - (rounded - ROUNDER))
}

fn warmth() -> Axis {
    Axis::new(COLDEST_CELSIUS, HOTTEST_CELSIUS, TEMPERATURES)
}

/// Current of a pinned panel \[A\], power out of a converter \[W\].
fn output(curve: &Diode, charger: &Charger, battery_v: f64) -> f64 {
    let point = operating_point(curve, charger, battery_v);
    if converts(charger) { converted_w(point, charger) } else { point.amperes }
}

/// More than any output per irradiance: the photocurrent [A per W/m²], or twice its product with the open-circuit
/// voltage [W per W/m²], which even a frozen panel doesn't reach.
fn driven(panel: &PanelModel, charger: &Charger, celsius: f64) -> f64 {
    if converts(charger) {
        let reference = panel.reference();
        2.0 * reference.photocurrent_a * reference.open_circuit_v() / REFERENCE_W_M2
    } else {
        panel.at(REFERENCE_W_M2, celsius).photocurrent_a / REFERENCE_W_M2
    }
}

/// Lowest and highest voltage that a battery may have \[V\].
pub(crate) fn voltage_range(battery: &Battery) -> (f64, f64) {
    let end = |end: Option<&(Share, Voltage)>| end.map_or(0.0, |(_, volts)| volts.volts());
    let lowest_v = end(battery.open_circuit.first()).min(battery.empty_voltage.volts());
    let full_v = end(battery.open_circuit.last());
    let highest_v = battery.charge_limit.map_or(full_v, Voltage::volts).max(full_v);
    (lowest_v, highest_v.max(lowest_v + 0.1))
}

fn converts(charger: &Charger) -> bool {
    matches!(charger.kind, ChargerKind::FixedFraction { .. } | ChargerKind::Mppt)
}

/// Power of a panel rises with light, so that one irradiance tells whether a converter runs.
fn start_up_w_m2(panel: &PanelModel, charger: &Charger, celsius: f64) -> f64 {
    let runs = |irradiance: f64| {
        let curve = panel.at(irradiance, celsius);
        converter_runs(operating_point(&curve, charger, 0.0), charger)
    };
    let (mut low, mut high) = (0.0, BRIGHTEST_ROOT.powi(4));
    if !converts(charger) || runs(1e-6) {
        return 0.0;
    }
    if !runs(high) {
        return f64::INFINITY;
    }
    while high - low > 1e-6 * high {
        let middle = 0.5 * (low + high);
        *(if runs(middle) { &mut high } else { &mut low }) = middle;
    }
    high
}

#[expect(clippy::cast_possible_truncation, reason = "single precision is the point")]
fn single(value: f64) -> f32 {
    value as f32
}
