//! Parts: what a data sheet says about a battery, charger, panel, radio, receiver or sensor.
//!
//! The shipped catalogue, a person's own part file and a part written inline in the design file all use these types.

use crate::quantity::{
    Charge, Current, Dbm, Duration, PerKelvin, Power, Resistance, Share, Temperature, Uncertain, Voltage,
};

/// What a cell is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chemistry {
    /// Lithium cobalt oxide.
    Lco,
    /// Lithium nickel manganese cobalt oxide.
    Nmc,
    /// Lithium iron phosphate.
    Lfp,
    /// Lithium titanate.
    Lto,
    /// Nickel metal hydride.
    Nimh,
    /// Lithium thionyl chloride, a primary cell.
    LiSocl2,
    /// Lithium manganese dioxide, a primary cell.
    LiMno2,
    /// Electric double-layer capacitor.
    Supercapacitor,
}

impl Chemistry {
    /// Whether it may be charged at all.
    pub fn rechargeable(self) -> bool {
        !matches!(self, Self::LiSocl2 | Self::LiMno2)
    }
    /// Whether its voltage hardly tells the charge.
    pub fn has_flat_voltage(self) -> bool {
        matches!(self, Self::Lfp | Self::Lto | Self::Nimh | Self::LiSocl2 | Self::LiMno2)
    }
    /// Whether it is a lithium cell that charging below 0 °C can plate (titanate can't).
    pub fn plates_below_freezing(self) -> bool {
        matches!(self, Self::Lco | Self::Nmc | Self::Lfp)
    }
}

/// A battery: one pack as it hangs on the charger.
#[derive(Clone, Debug)]
pub struct Battery {
    /// Catalogue key or file it came from.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// What it costs; `None` where nobody said.
    pub price: Option<f64>,
    /// What it is made of.
    pub chemistry: Chemistry,
    /// Cells one behind the other.
    pub cells_in_series: u32,
    /// Cells side by side.
    pub cells_in_parallel: u32,
    /// What the labels of all cells side by side say.
    pub capacity: Uncertain<Charge>,
    /// Capacity of a cell of this make against its label.
    pub label_to_real: Uncertain<Share>,
    /// Open-circuit voltage of the pack by state of charge, ascending, first at 0 and last at 1.
    pub open_circuit: Vec<(Share, Voltage)>,
    /// Series resistance of the pack at 25 °C and half charge.
    pub resistance: Uncertain<Resistance>,
    /// Factor on the resistance by temperature, ascending.
    pub resistance_by_temperature: Vec<(Temperature, Share)>,
    /// Factor on the resistance by state of charge, ascending.
    pub resistance_by_charge: Vec<(Share, Share)>,
    /// Usable share of the real capacity by temperature, ascending.
    pub capacity_by_temperature: Vec<(Temperature, Share)>,
    /// Share of the charge lost in 30 days at 25 °C; doubles every 10 K.
    pub self_discharge_per_month: Share,
    /// A leak that flows whatever the charge (a supercapacitor's).
    pub leakage: Current,
    /// How far the charge that a node reads from its voltage may be off: one standard deviation at 25 °C.
    pub gauge_error: Share,
    /// Highest voltage it may be charged to; none for a primary cell.
    pub charge_limit: Option<Voltage>,
    /// Coldest and hottest it may be charged at; none for a primary cell.
    pub charge_temperature: Option<(Temperature, Temperature)>,
    /// Largest charging current at or above a temperature, as share of the capacity in an hour; ascending, empty for what
    /// bears any current or none.
    pub charge_rate: Vec<(Temperature, Share)>,
    /// Terminal voltage below which its protection or its chemistry ends the discharge.
    pub empty_voltage: Voltage,
    /// How it wears.
    pub ageing: Ageing,
    /// Where the figures come from.
    pub source: String,
}

impl Battery {
    /// Voltage of the pack at rest at a state of charge: linear between the rows of its table.
    #[must_use]
    pub fn resting_at(&self, charge: Share) -> Voltage {
        let above = self.open_circuit.partition_point(|(share, _)| *share < charge);
        let below = above.checked_sub(1).and_then(|index| self.open_circuit.get(index));
        match (below, self.open_circuit.get(above)) {
            (None, None) => Voltage::ZERO,
            (Some((_, volts)), None) | (None, Some((_, volts))) => *volts,
            (Some((x0, y0)), Some((x1, y1))) => {
                let share = (charge.fraction() - x0.fraction()) / (x1.fraction() - x0.fraction());
                Voltage::from_volts(y0.volts() + share * (y1.volts() - y0.volts()))
            }
        }
    }
}

/// How a battery loses capacity.
#[derive(Clone, Debug, PartialEq)]
pub struct Ageing {
    /// Share of capacity lost in the first year at 25 °C and half charge.
    pub first_year_at_25c: Share,
    /// Factor on that loss at full charge.
    pub at_full_charge: f64,
    /// Temperature rise that doubles the loss \[K\].
    pub doubles_every_k: f64,
    /// Loss grows with time to this power (0.5 to 1).
    pub time_exponent: f64,
    /// Share of capacity lost after 100 full cycles; grows with the square root of the throughput.
    pub per_100_cycles: Share,
}

/// How a charger takes power from the panel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ChargerKind {
    /// A diode: the panel sits at battery voltage plus the drop.
    Direct,
    /// A linear regulator: current in is current out, the panel is pinned near the battery.
    Linear,
    /// A converter that holds the panel at a fixed share of its open-circuit voltage.
    FixedFraction {
        /// That share.
        fraction: Share,
    },
    /// A converter that finds the panel's best point.
    Mppt,
}

/// A charger.
#[derive(Clone, Debug, PartialEq)]
pub struct Charger {
    /// Catalogue key or file it came from.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// What it costs; `None` where nobody said.
    pub price: Option<f64>,
    /// How it takes power from the panel.
    pub kind: ChargerKind,
    /// Voltage it charges to; none for a bare diode without a limiter.
    pub voltage: Option<Voltage>,
    /// Largest charging current.
    pub current: Current,
    /// Voltage lost between panel and battery (diode drop, or pass-element headroom).
    pub drop: Voltage,
    /// Panel voltage below which it does nothing; a linear charger folds its current back to stay above it.
    pub input_minimum: Voltage,
    /// Panel voltage that destroys it.
    pub input_absolute_maximum: Option<Voltage>,
    /// What it takes from the panel for itself while charging.
    pub input_current: Current,
    /// What it takes from the battery when there is no sun.
    pub battery_drain: Current,
    /// Output power over input power of a converter; 1 for a diode or a linear charger.
    pub efficiency: Share,
    /// Panel power below which a converter can't run.
    pub start_up: Power,
    /// Below this battery voltage it only trickles.
    pub precharge_below: Option<Voltage>,
    /// The trickle.
    pub precharge_current: Current,
    /// Current at which it calls the battery full and stops; zero if it floats.
    pub terminate_current: Current,
    /// Battery voltage at which it starts again after that.
    pub recharge_below: Option<Voltage>,
    /// Bands of battery temperature and what is allowed there; outside all of them nothing. Empty: no gate.
    pub temperature_gate: Vec<GateBand>,
    /// Where the figures come from.
    pub source: String,
}

/// What a charger allows between two temperatures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GateBand {
    /// From this battery temperature.
    pub from: Temperature,
    /// Below this one.
    pub to: Temperature,
    /// Share of the charging current allowed.
    pub current: Share,
    /// How much lower the charge voltage is set.
    pub voltage_reduction: Voltage,
}

/// What lies over the cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cover {
    /// Glass.
    Glass,
    /// Fluoropolymer film.
    Etfe,
    /// Cast resin or PET.
    Epoxy,
}

/// A panel at 1000 W/m², 25 °C.
#[derive(Clone, Debug, PartialEq)]
pub struct Panel {
    /// Catalogue key or file it came from.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// What it costs; `None` where nobody said.
    pub price: Option<f64>,
    /// Power on the label.
    pub power: Uncertain<Power>,
    /// Open-circuit voltage.
    pub open_circuit_voltage: Voltage,
    /// Short-circuit current.
    pub short_circuit_current: Current,
    /// Voltage at the best point.
    pub best_voltage: Voltage,
    /// Current at the best point.
    pub best_current: Current,
    /// Cells in series.
    pub cells: u32,
    /// Of the short-circuit current.
    pub current_coefficient: PerKelvin,
    /// Of the open-circuit voltage.
    pub voltage_coefficient: PerKelvin,
    /// Shunt resistance at 1000 W/m².
    pub shunt: Resistance,
    /// Whether the shunt resistance grows as the light falls (a good cell) or stays (a leaky one).
    pub shunt_grows_in_low_light: bool,
    /// What lies over the cells.
    pub cover: Cover,
    /// Share of its yield it loses a year.
    pub yearly_loss: Share,
    /// Whether only the power was known and the points are a generic guess.
    pub from_label_only: bool,
    /// Where the figures come from.
    pub source: String,
}

/// A radio with its microcontroller.
#[derive(Clone, Debug)]
pub struct Radio {
    /// Catalogue key or file it came from.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// Current by transmit power, ascending.
    pub transmit: Vec<(Dbm, Current)>,
    /// Current while receiving.
    pub receive: Current,
    /// Current while the radio waits for a window and the processor sleeps.
    pub wait: Current,
    /// Current in the sleep that keeps time.
    pub sleep: Current,
    /// Extra current when the radio is forgotten in standby.
    pub standby: Current,
    /// How long each receive window stays open when nothing comes, in symbols.
    pub window_symbols: u32,
    /// Where the figures come from.
    pub source: String,
}

/// A satellite-positioning receiver.
#[derive(Clone, Debug)]
pub struct Receiver {
    /// Catalogue key or file it came from.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// Current while it searches and fixes.
    pub acquire: Uncertain<Current>,
    /// Time to fix when clock and ephemeris are fresh.
    pub hot: Duration,
    /// Time to fix when time and almanac are known but the ephemeris is old.
    pub warm: Duration,
    /// Time to fix from nothing.
    pub cold: Duration,
    /// Age after which an ephemeris is useless.
    pub ephemeris_life: Duration,
    /// Current that keeps clock and memory between fixes; none: every fix is cold.
    pub backup: Option<Current>,
    /// Where the figures come from.
    pub source: String,
}

/// The regulator between battery and load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Regulator {
    /// None: the load hangs on the battery.
    None,
    /// A linear regulator: its output current comes from the battery as it is.
    Ldo {
        /// Output.
        output: Voltage,
        /// What it needs above its output.
        dropout: Voltage,
        /// What it takes for itself.
        quiescent: Current,
    },
    /// A switching regulator: power out over efficiency comes from the battery.
    Buck {
        /// Output.
        output: Voltage,
        /// What it needs above its output.
        dropout: Voltage,
        /// What it takes for itself.
        quiescent: Current,
        /// Power out over power in.
        efficiency: Share,
    },
}

/// A sensor.
#[derive(Clone, Debug)]
pub struct Sensor {
    /// Catalogue key or file it came from.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// Current when it waits.
    pub idle: Current,
    /// Current while it measures.
    pub measuring: Current,
    /// How long one measurement takes, warm-up included.
    pub time: Duration,
    /// Current when it is left powered by mistake.
    pub left_on: Current,
    /// Where the figures come from.
    pub source: String,
}
