//! What the voltage of a node's battery says of its charge, and what the node should draw from it.

use design::node::Design;
use forecast::diary::Diary;
use forecast::load::Demand;
use forecast::power::battery::open_circuit;

/// Voltages at rest are read off a curve of so many steps.
const STEPS: u32 = 100;
/// Where the curve is flatter than 3 mV per per cent of charge a voltage tells no charge: what meters and warmth do to it is more
/// (own choice) \[V of the whole charge\].
const FLATTEST_VOLTS: f64 = 0.3;
/// The slope is taken over so much to both sides \[V\].
const BESIDE_VOLTS: f64 = 0.01;
/// Days of each month; the 28th is in all of them.
const DAYS: u8 = 28;
/// Air at which the draw is taken: in cold air activities come on top that a mild night does not have [°C].
const AIR_CELSIUS: [f32; 3] = [-10.0, 0.0, 15.0];

/// A battery that is charged outside.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// Voltage at rest by charge, from empty to full in even steps \[V\].
    curve: Vec<f64>,
    /// Voltage at rest below which a charger that waits with a full battery begins anew \[V\].
    pub recharges_below: f64,
    /// Share of the real capacity that the node draws in an hour, by month, at most.
    drawn_per_hour: [f64; 12],
}

impl Cell {
    /// Of a design; none of one that nothing charges.
    pub fn of(design: &Design) -> Option<Self> {
        let charger = design.charger.as_ref()?;
        let battery = &design.battery;
        let at = |step: u32| open_circuit(battery, f64::from(step) / f64::from(STEPS)).volts();
        let capacity_ah = battery.capacity.nominal.ampere_hours() * battery.label_to_real.nominal.fraction();
        Some(Self {
            curve: (0..=STEPS).map(at).collect(),
            recharges_below: charger.recharge_below.map_or(f64::INFINITY, design::quantity::Voltage::volts),
            drawn_per_hour: drawn_amperes(design).map(|amperes| amperes / capacity_ah),
        })
    }

    /// Charge at a voltage at rest, 0 to 1; none where the voltage hardly tells it.
    pub(super) fn share(&self, volts: f64) -> Option<f64> {
        let (below, above) = (self.read(volts - BESIDE_VOLTS), self.read(volts + BESIDE_VOLTS));
        let is_steep = (above - below) * FLATTEST_VOLTS <= 2.0 * BESIDE_VOLTS && above > below;
        is_steep.then(|| self.read(volts))
    }

    fn read(&self, volts: f64) -> f64 {
        let above = self.curve.partition_point(|at| *at < volts);
        let (Some(high), Some(low)) =
            (self.curve.get(above), above.checked_sub(1).and_then(|below| self.curve.get(below)))
        else {
            return if above == 0 { 0.0 } else { 1.0 };
        };
        (above as f64 - (high - volts) / (high - low)) / f64::from(STEPS)
    }

    /// Share of the capacity that the node draws in an hour of a month, January being 0.
    pub(super) fn drawn_per_hour(&self, month: usize) -> f64 {
        self.drawn_per_hour.get(month).copied().unwrap_or(0.0)
    }
}

/// The most that the node draws for long in each month, as often as it sends with a full battery \[A\].
#[expect(clippy::cast_possible_truncation, reason = "the tables of the load are in single precision")]
fn drawn_amperes(design: &Design) -> [f64; 12] {
    let diary = Diary::new(design);
    let demand = Demand::new(design, &diary);
    let level = demand.level(1.0);
    let volts = open_circuit(&design.battery, 0.5).volts() as f32;
    std::array::from_fn(|month| {
        let days = (1..=DAYS).flat_map(|day| (0..24).map(move |hour| (day, hour)));
        let kinds = days.map(|(day, hour)| diary.kind(month as u8 + 1, day, hour));
        let drawn = |kind: usize| {
            let of_air = AIR_CELSIUS.map(|celsius| {
                let (floor, active) = demand.row(kind, level).amperes(celsius, || volts);
                f64::from(floor + active)
            });
            of_air.into_iter().fold(0.0, f64::max)
        };
        kinds.map(drawn).fold(0.0, f64::max)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mast() -> Design {
        let file = design::file::parse(include_str!("../../../../examples/larkmoor/frost-mast.toml"));
        design::resolve::resolve(&design::catalog::Catalog::builtin(), &file).expect("resolves").design
    }

    /// The mast's own curve, read back at a quarter, a half and nine tenths.
    #[test]
    fn a_voltage_at_rest_gives_back_its_charge() {
        let mast = mast();
        let cell = Cell::of(&mast).expect("it is charged");
        for share in [0.25, 0.5, 0.9] {
            let read = cell.read(open_circuit(&mast.battery, share).volts());
            assert!((read - share).abs() < 0.01, "{share}: {read}");
        }
        assert_eq!((cell.read(1.0), cell.read(9.0)), (0.0, 1.0));
    }

    /// By hand: 1.3 mA asleep and 1.6 uA of its regulator, in 2 Ah, are 0.07 % an hour at least; reports cost less than that again.
    #[test]
    fn what_is_drawn_in_an_hour_is_a_share_of_what_the_battery_holds() {
        let mast = mast();
        let cell = Cell::of(&mast).expect("it is charged");
        let january = cell.drawn_per_hour(0);
        let least = 1.3016e-3 / (2.0 * mast.battery.label_to_real.nominal.fraction());
        assert!((least..2.0 * least).contains(&january), "{january} {least}");
    }

    #[test]
    fn a_flat_stretch_of_the_curve_tells_no_charge() {
        let flat = Cell {
            curve: (0..=STEPS).map(|step| 3.2 + 1e-3 * f64::from(step)).collect(),
            recharges_below: f64::INFINITY,
            drawn_per_hour: [0.0; 12],
        };
        assert_eq!(flat.share(3.25), None, "1 mV per per cent");
        let steep = Cell { curve: (0..=STEPS).map(|step| 3.2 + 1e-2 * f64::from(step)).collect(), ..flat };
        assert!(steep.share(3.7).is_some_and(|share| (share - 0.5).abs() < 1e-9));
    }
}
