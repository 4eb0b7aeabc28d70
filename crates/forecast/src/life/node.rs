//! What is the same in every life of a node: lookup tables of battery, charger, cut-off and demand.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use std::sync::Arc;

use design::node::{Buffer, Design};
use design::part::{Ageing, Battery, Charger};
use design::quantity::{Charge, Voltage};

use crate::load::Demand;
use crate::power::ageing;
use crate::power::battery::{self, FREEZING_CELSIUS};
use crate::power::charge_table::{ChargeTable, split};
use crate::power::charger;

/// Where the charging current comes from.
#[derive(Clone, Debug)]
pub enum Harvest {
    /// Panel and charger.
    Table(Arc<ChargeTable>),
    /// The record states the charging current itself.
    Given,
    /// No panel.
    None,
}

/// `K` quantities over one evenly spaced argument, looked up together and interpolated linearly.
#[derive(Clone, Debug)]
pub(super) struct Rows<const K: usize, const N: usize> {
    start: f32,
    per_unit: f32,
    points: Box<[[f32; K]; N]>,
}

impl<const K: usize, const N: usize> Rows<K, N> {
    /// Just before the last point, so that there is always a next one.
    const LAST_PLACE: f32 = (N - 1) as f32 - 1e-3;

    /// Tabulates `values` at `N` points from `start` to `end`.
    fn new(start: f32, end: f32, values: impl Fn(f64) -> [f64; K]) -> Self {
        let width = (end - start) / (N - 1) as f32;
        let row = |index: usize| values(f64::from(start + index as f32 * width)).map(|value| value as f32);
        Self { start, per_unit: 1.0 / width, points: Box::new(std::array::from_fn(row)) }
    }

    /// The quantities at an argument; held at the ends outside the range.
    #[inline]
    fn at(&self, argument: f32) -> [f32; K] {
        let (index, share) = split(((argument - self.start) * self.per_unit).max(0.0).min(Self::LAST_PLACE));
        let index = index.min(N - 2);
        let (low, high) = (&self.points[index], &self.points[index + 1]);
        std::array::from_fn(|k| low[k] + share * (high[k] - low[k]))
    }
}

/// What changes slowly, at a charge and a temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Slow {
    /// Share of the stored charge that leaks away per hour.
    pub(super) self_discharge_per_h: f32,
    /// Calendar wear per hour.
    pub(super) wear_per_h: f32,
}

/// What a charger allows at one battery temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChargeLimits {
    /// Largest current \[A\].
    pub amperes: f32,
    /// Voltage it charges to \[V\].
    pub volts: f32,
    /// State of charge at which the battery rests at that voltage.
    pub full_charge: f32,
}

/// The charger as the hour step sees it.
#[derive(Clone, Debug)]
pub struct ChargerTables {
    by_whole_degree: Box<[ChargeLimits; WHOLE_DEGREES]>,
    /// Voltage to which it charges where no band lowers it \[V\].
    highest_volts: f32,
    /// What it takes from the battery in the dark \[A\].
    pub drain_amperes: f32,
    /// Below this resting voltage it only trickles \[V\].
    precharge_below_volts: f32,
    /// The trickle \[A\].
    precharge_amperes: f32,
    /// Whether it stops once the battery is full.
    pub stops_when_full: bool,
    /// State of charge below which it starts again.
    pub recharges_below: f32,
}

/// Most lithium cells may be charged up to here (common practice, no source) [°C].
const HOTTEST_GATED_CELSIUS: f32 = 45.0;
const COLDEST_CELSIUS: f32 = -60.0;
const HOTTEST_CELSIUS: f32 = 100.0;
/// Every half degree.
const TEMPERATURES: usize = 321;
/// Every half percent.
const CHARGES: usize = 201;
const WHOLE_DEGREES: usize = 161;

impl ChargerTables {
    /// What it allows with the battery at this temperature [°C]; bands are resolved to whole degrees.
    #[inline]
    #[must_use]
    pub fn limits(&self, battery_celsius: f32) -> ChargeLimits {
        let degree =
            (battery_celsius - COLDEST_CELSIUS).clamp(0.0, HOTTEST_CELSIUS - COLDEST_CELSIUS) as i32 as usize;
        self.by_whole_degree[degree.min(WHOLE_DEGREES - 1)]
    }

    /// Whether it charges to less than its full voltage with the battery at this temperature [°C].
    #[inline]
    fn lowers_voltage(&self, battery_celsius: f32) -> bool {
        self.limits(battery_celsius).volts < self.highest_volts
    }

    /// The largest current into a battery at this resting voltage: all, or the trickle \[A\].
    #[inline]
    pub(super) fn trickle(&self, rest_volts: f32) -> f32 {
        if rest_volts < self.precharge_below_volts { self.precharge_amperes } else { f32::INFINITY }
    }

    fn new(charger: &Charger, battery: &Battery) -> Self {
        let highest = charger.voltage.unwrap_or_else(|| battery::open_circuit(battery, 1.0));
        let allowed = |celsius: f64| {
            let (share, reduction) = charger::gate(charger, celsius);
            let voltage = highest - reduction;
            ChargeLimits {
                amperes: (charger.current.amperes() * share) as f32,
                volts: voltage.volts() as f32,
                full_charge: battery::charge_at_rest(battery, voltage) as f32,
            }
        };
        let none = f64::NEG_INFINITY;
        Self {
            by_whole_degree: Box::new(std::array::from_fn(|row| {
                allowed(f64::from(COLDEST_CELSIUS) + row as f64)
            })),
            highest_volts: highest.volts() as f32,
            drain_amperes: charger.battery_drain.amperes() as f32,
            precharge_below_volts: charger.precharge_below.map_or(none, Voltage::volts) as f32,
            precharge_amperes: charger.precharge_current.amperes() as f32,
            stops_when_full: charger.terminate_current.amperes() > 0.0 && charger.recharge_below.is_some(),
            recharges_below: charger.recharge_below.map_or(0.0, |rest| battery::charge_at_rest(battery, rest))
                as f32,
        }
    }

    /// The same charger, taking nothing below 0 or above 45 °C.
    pub fn gate_frost(&mut self) {
        for (row, limits) in self.by_whole_degree.iter_mut().enumerate() {
            let celsius = COLDEST_CELSIUS + row as f32;
            if !(FREEZING_CELSIUS..HOTTEST_GATED_CELSIUS).contains(&celsius) {
                limits.amperes = 0.0;
            }
        }
    }

    /// The same charger without its temperature gate.
    pub fn open_gate(&mut self) {
        let widest =
            self.by_whole_degree.iter().copied().max_by(|one, other| one.amperes.total_cmp(&other.amperes));
        if let Some(widest) = widest {
            self.by_whole_degree.fill(widest);
        }
    }

    /// A charger that takes everything up to full and costs nothing.
    fn ideal() -> Self {
        let all = ChargeLimits { amperes: f32::INFINITY, volts: f32::INFINITY, full_charge: 1.0 };
        Self {
            by_whole_degree: Box::new([all; WHOLE_DEGREES]),
            highest_volts: f32::INFINITY,
            drain_amperes: 0.0,
            precharge_below_volts: f32::NEG_INFINITY,
            precharge_amperes: 0.0,
            stops_when_full: false,
            recharges_below: 0.0,
        }
    }
}

/// All that is the same in every life of a node.
#[derive(Clone, Debug)]
pub struct NodeTables {
    /// Where the charging current comes from.
    pub harvest: Harvest,
    /// By state of charge: resting voltage \[V\].
    rest: Rows<1, CHARGES>,
    /// By state of charge: resistance at 25 °C \[ohm\].
    warm_ohm: Rows<1, CHARGES>,
    /// By battery temperature [°C]: factor on resistance, share of charge locked by cold.
    by_temperature: Rows<2, TEMPERATURES>,
    /// By state of charge: factor on wear.
    wear_by_charge: Rows<1, CHARGES>,
    /// By battery temperature [°C]: self-discharge [1/h], wear [1/h].
    slow_by_temperature: Rows<2, TEMPERATURES>,
    /// The charger.
    pub charger: ChargerTables,
    /// The loads.
    pub demand: Demand,
    /// Real capacity when new \[Ah\].
    pub capacity_ah: f64,
    /// Whether an empty store leaves the node running, its load unmet.
    pub never_stops: bool,
    /// Terminal voltage under the pulse below which it stops \[V\].
    pub stops_below_volts: f32,
    /// Resting voltage at which it is back \[V\].
    pub restarts_above_volts: f32,
    /// Draw while stopped \[A\].
    pub stopped_amperes: f32,
    /// Leak that flows whatever the charge \[A\].
    pub leakage_amperes: f32,
    /// Charge for one join \[Ah\].
    pub join_ah: f64,
    /// How wear adds up; none for a store that keeps its capacity.
    pub ageing: Option<Ageing>,
    /// Whether charging below freezing damages the battery.
    plates: bool,
    /// The hottest it may be charged [°C].
    hottest_charged_celsius: f32,
    buffer: Option<Buffer>,
}

impl NodeTables {
    /// The tables of a design with its nominal parts, for a demand; none of its sun is taken where the panel's data-sheet
    /// points fit no solar cell.
    #[must_use]
    pub fn of_design(design: &Design, demand: Demand) -> Self {
        let model = design.panel.as_ref().map(|mounted| mounted.panel.curve());
        let harvest = match (model, &design.charger) {
            (Some(model), Some(charger)) => {
                Harvest::Table(Arc::new(ChargeTable::new(&model, charger, &design.battery)))
            }
            _ => Harvest::None,
        };
        Self::new(design, harvest, demand)
    }

    /// The tables of a design with its nominal parts.
    #[must_use]
    pub fn new(design: &Design, harvest: Harvest, demand: Demand) -> Self {
        let battery = &design.battery;
        let nominal_ohm = battery.resistance.nominal.ohms();
        let charger = design.charger.as_ref();
        Self {
            harvest,
            rest: Rows::new(0.0, 1.0, |charge| [battery::open_circuit(battery, charge).volts()]),
            warm_ohm: Rows::new(0.0, 1.0, |charge| {
                [nominal_ohm * battery::resistance_by_charge(battery, charge)]
            }),
            by_temperature: Rows::new(COLDEST_CELSIUS, HOTTEST_CELSIUS, |celsius| {
                let factor = battery::resistance_by_temperature(battery, celsius);
                [factor, 1.0 - battery::usable_share(battery, celsius)]
            }),
            wear_by_charge: Rows::new(0.0, 1.0, |charge| [ageing::charge_factor(&battery.ageing, charge)]),
            slow_by_temperature: Rows::new(COLDEST_CELSIUS, HOTTEST_CELSIUS, |celsius| {
                let leaks = battery::self_discharge_per_hour(battery, celsius);
                [leaks, ageing::hourly_wear(&battery.ageing, celsius)]
            }),
            charger: charger
                .map_or_else(ChargerTables::ideal, |charger| ChargerTables::new(charger, battery)),
            capacity_ah: real_capacity(battery).ampere_hours(),
            never_stops: false,
            stops_below_volts: design.cutoff.stops_below.volts() as f32,
            restarts_above_volts: design.cutoff.restarts_above.volts() as f32,
            stopped_amperes: design.cutoff.stopped_current.amperes() as f32,
            leakage_amperes: battery.leakage.amperes() as f32,
            join_ah: demand.join.ampere_hours(),
            demand,
            ageing: Some(battery.ageing.clone()),
            plates: battery.chemistry.plates_below_freezing(),
            hottest_charged_celsius: battery
                .charge_temperature
                .map_or(f32::INFINITY, |(_, hottest)| hottest.celsius() as f32),
            buffer: design.buffer,
        }
    }

    /// The same node with another demand.
    #[must_use]
    pub fn with_demand(&self, demand: Demand) -> Self {
        Self { join_ah: demand.join.ampere_hours(), demand, ..self.clone() }
    }

    /// A store without voltage, resistance, leak, wear or cut-off, fed by a stated current; an empty one leaves the load
    /// unmet. For reference tables that are made with such a store.
    #[must_use]
    pub fn ideal_store(capacity: Charge, demand: Demand) -> Self {
        Self {
            harvest: Harvest::Given,
            rest: Rows::new(0.0, 1.0, |_| [1.0]),
            warm_ohm: Rows::new(0.0, 1.0, |_| [0.0]),
            by_temperature: Rows::new(COLDEST_CELSIUS, HOTTEST_CELSIUS, |_| [0.0; 2]),
            wear_by_charge: Rows::new(0.0, 1.0, |_| [0.0]),
            slow_by_temperature: Rows::new(COLDEST_CELSIUS, HOTTEST_CELSIUS, |_| [0.0; 2]),
            charger: ChargerTables::ideal(),
            demand,
            capacity_ah: capacity.ampere_hours(),
            never_stops: true,
            stops_below_volts: f32::NEG_INFINITY,
            restarts_above_volts: f32::NEG_INFINITY,
            stopped_amperes: 0.0,
            leakage_amperes: 0.0,
            join_ah: 0.0,
            ageing: None,
            plates: false,
            hottest_charged_celsius: f32::INFINITY,
            buffer: None,
        }
    }

    /// Whether charging harms a battery this cold [°C].
    #[inline]
    #[must_use]
    pub fn plates_at(&self, battery_celsius: f32) -> bool {
        self.plates && battery_celsius < FREEZING_CELSIUS
    }

    /// Whether charging harms a battery this hot [°C]: above what it bears, unless the charger lowers its voltage there.
    #[inline]
    #[must_use]
    pub fn is_charged_hot_at(&self, battery_celsius: f32) -> bool {
        battery_celsius > self.hottest_charged_celsius && !self.charger.lowers_voltage(battery_celsius)
    }

    /// Current that panel and charger offer before any limit \[A\].
    #[inline]
    #[must_use]
    pub fn from_panel(&self, sun_w_m2: f32, cell_celsius: f32, battery_volts: f32) -> f32 {
        match &self.harvest {
            Harvest::Table(table) if sun_w_m2 > 0.0 => table.current_a(sun_w_m2, cell_celsius, battery_volts),
            Harvest::Given => sun_w_m2,
            Harvest::Table(_) | Harvest::None => 0.0,
        }
    }

    /// Voltage at rest at this state of charge \[V\].
    #[inline]
    #[must_use]
    pub fn rest_volts(&self, charge: f32) -> f32 {
        let [volts] = self.rest.at(charge);
        volts
    }

    /// State of charge at which the battery rests at this voltage, to half a percent; 1 above its table.
    #[must_use]
    pub fn charge_resting_at(&self, volts: f32) -> f32 {
        let mut steps = (0..CHARGES).map(|step| step as f32 / (CHARGES - 1) as f32);
        steps.find(|charge| self.rest_volts(*charge) >= volts).unwrap_or(1.0)
    }

    /// Voltage at the terminals with this current into the battery \[A\].
    #[must_use]
    pub fn terminal_volts(&self, charge: f32, battery_celsius: f32, amperes: f32) -> f32 {
        self.rest_volts(charge) + amperes * self.resistance_ohm(charge, battery_celsius)
    }

    /// How far the largest pulse pulls the voltage down at this charge and battery temperature \[V\].
    #[must_use]
    pub fn pulse_drop_at(&self, charge: f32, battery_celsius: f32) -> f32 {
        self.pulse_drop_volts(self.resistance_ohm(charge, battery_celsius))
    }

    /// Resistance of the nominal battery \[ohm\].
    pub(crate) fn resistance_ohm(&self, charge: f32, battery_celsius: f32) -> f32 {
        self.warm_ohm.at(charge)[0] * self.by_temperature.at(battery_celsius)[0]
    }

    /// Share of the charge that cold locks up.
    pub(super) fn locked_share(&self, battery_celsius: f32) -> f32 {
        self.by_temperature.at(battery_celsius)[1]
    }

    pub(super) fn slow(&self, charge: f32, battery_celsius: f32) -> Slow {
        let [wear_share] = self.wear_by_charge.at(charge);
        let [self_discharge_per_h, wear_per_h] = self.slow_by_temperature.at(battery_celsius);
        Slow { self_discharge_per_h, wear_per_h: wear_per_h * wear_share }
    }

    /// The largest resistance of the nominal battery \[ohm\].
    pub(crate) fn largest_ohm(&self) -> f32 {
        let largest = |rows: &mut dyn Iterator<Item = f32>| rows.fold(0.0, f32::max);
        let by_charge = largest(&mut self.warm_ohm.points.iter().map(|[ohm]| *ohm));
        by_charge * largest(&mut self.by_temperature.points.iter().map(|[factor, _]| *factor))
    }

    /// Charge above which a battery of so many times the resistance can't stop the node at any tabulated temperature.
    pub(crate) fn calm_above(&self, resistance_factor: f32) -> f32 {
        if self.never_stops {
            return f32::NEG_INFINITY;
        }
        let locked = self.by_temperature.points.iter().map(|[_, locked]| *locked).fold(0.0, f32::max);
        let coldest = self.by_temperature.points.iter().map(|[factor, _]| *factor).fold(0.0, f32::max);
        self.bears_above(coldest * resistance_factor, locked)
    }

    /// Charge above which a battery of so many times the resistance doesn't stop the node at this temperature [°C].
    pub(super) fn runs_above(&self, battery_celsius: f32, resistance_factor: f32) -> f32 {
        if self.never_stops {
            return 0.0;
        }
        let [factor, locked] = self.by_temperature.at(battery_celsius);
        self.bears_above(factor * resistance_factor, locked)
    }

    /// Charge above which the largest pulse is borne at so many times the resistance, with so much of the charge locked.
    fn bears_above(&self, resistance_factor: f32, locked: f32) -> f32 {
        let holds = |charge: f32| {
            let ohm = self.warm_ohm.at(charge)[0] * resistance_factor;
            charge > locked && self.rest_volts(charge) >= self.stops_below_volts + self.pulse_drop_volts(ohm)
        };
        let steps = (0..=100).map(|percent| percent as f32 / 100.0);
        steps.rev().take_while(|charge| holds(*charge)).last().unwrap_or(f32::INFINITY)
    }

    /// How far the largest pulse pulls the voltage down at this battery resistance \[ohm\].
    #[inline]
    #[must_use]
    pub fn pulse_drop_volts(&self, resistance_ohm: f32) -> f32 {
        match &self.buffer {
            None => self.demand.pulse.amperes as f32 * resistance_ohm,
            Some(buffer) => battery::pulse_drop(self.demand.pulse, f64::from(resistance_ohm), buffer) as f32,
        }
    }
}

/// What a new battery of this label really holds.
#[must_use]
pub fn real_capacity(battery: &Battery) -> Charge {
    battery.capacity.nominal * battery.label_to_real.nominal.fraction()
}
