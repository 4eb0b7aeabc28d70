//! The keys of parts: the same in the design file, in the catalogue and in a person's own part file.

use crate::file::value::{ChargerWord, Curve, DataRate, DataRates, Facing, Months, Pair, Prose};
use crate::part::{Chemistry, Cover};
use crate::quantity::{
    Angle, Capacitance, Charge, Current, Dbm, Decibels, Duration, Frequency, Length, PerKelvin, Power,
    Resistance, Share, Temperature, Uncertain, Voltage,
};
use crate::section::rule::{
    ANTENNA_GAIN, BOX_TEMPERATURE, CABLE_LOSS, CELL_VOLTAGE, CELLS, CLEARING, CURRENT, EFFICIENCY, FACTOR,
    FIX_TIME, FRACTION, IDLE_CURRENT, LEAKAGE, LOSS, PANEL_CURRENT, PANEL_VOLTAGE, PRICE, RADIO_CURRENT,
    RADIO_POWER, SERIES_RESISTANCE, STEP_TIME, SYMBOLS, TILT, within,
};
use crate::section::{part_section, section};
use crate::surroundings::{Building, Clutter, NodeAntenna, Place};

part_section! {
    /// The battery: one pack as it hangs on the charger.
    ///
    /// A supercapacitor is written with `capacitance`, `rated_voltage` and `esr`; every other chemistry with
    /// `capacity`, `open_circuit` and `resistance`.
    pub(crate) struct BatterySection = "battery" ("nmc-18650") {
        /// What it is made of: `lco`, `nmc`, `lfp`, `lto`, `nimh`, `li-socl2`, `li-mno2` or `supercapacitor`.
        chemistry: Chemistry = required "nmc";
        /// What the label of one cell says. Not for a supercapacitor.
        capacity: Uncertain<Charge> = depends "2600 mAh +- 200 mAh" where within("0.1 mAh", "2000 Ah").usually("20 mAh", "60 Ah");
        /// Capacity of a cell of this make against its label.
        label_to_real: Uncertain<Share> = default "100 %" where within("1 %", "150 %").usually("40 %", "110 %");
        /// Open-circuit voltage of one cell by state of charge, from 0 % to 100 %. Not for a supercapacitor.
        open_circuit: Curve<Share, Voltage> = depends [["0 %", "3.0 V"], ["50 %", "3.7 V"], ["100 %", "4.2 V"]] where CELL_VOLTAGE;
        /// Series resistance of one cell at 25 °C and half charge. Not for a supercapacitor.
        resistance: Uncertain<Resistance> = depends "70 mohm +- 30 %" where SERIES_RESISTANCE;
        /// Factor on the resistance by temperature; 100 % is the resistance at 25 °C.
        resistance_by_temperature: Curve<Temperature, Share> = default [["25 C", "100 %"]] where FACTOR;
        /// Factor on the resistance by state of charge; 100 % is the resistance at half charge.
        resistance_by_charge: Curve<Share, Share> = default [["50 %", "100 %"]] where FACTOR;
        /// Usable share of the real capacity by temperature.
        capacity_by_temperature: Curve<Temperature, Share> = default [["25 C", "100 %"]] where within("0.1 %", "150 %").usually("1 %", "110 %");
        /// Share of the charge lost in 30 days at 25 °C; it doubles every 10 K.
        self_discharge_per_month: Share = default "0 %" where FRACTION.usually("0 %", "30 %");
        /// A leak that flows whatever the charge, as in a supercapacitor.
        leakage: Current = default "0 uA" where LEAKAGE;
        /// How far the charge that a node reads from the voltage of the battery at rest may be off, in points of charge: one standard deviation from node to node at 25 °C, growing with the distance from there to twice as much at -25 °C. Only intervals that depend on the charge ask for it. Left out: 10 %, of a chemistry whose voltage is flat (`lfp`, `lto`, `nimh`) 25 % (own estimate).
        gauge_error: Share = optional "10 %" where within("0 %", "50 %").usually("2 %", "30 %");
        /// Highest voltage one cell may be charged to. Needed for everything that can be charged; none for a primary cell.
        charge_limit: Voltage = depends "4.2 V" where within("0.5 V", "200 V");
        /// Coldest and hottest temperature at which it may be charged. Needed for everything that can be charged.
        charge_temperature: Pair<Temperature> = depends ["0 C", "45 C"] where BOX_TEMPERATURE;
        /// Largest charging current at or above each temperature, as share of the capacity in an hour. Left out: what cells of the chemistry bear.
        charge_rate: Curve<Temperature, Share> = optional [["0 C", "20 %"], ["15 C", "50 %"]] where within("0 %", "1000 %").usually("1 %", "200 %");
        /// Voltage of one cell below which its protection or its chemistry ends the discharge. 0 V for a supercapacitor that does not say.
        empty_voltage: Voltage = depends "3.0 V" where CELL_VOLTAGE;
        /// How it loses capacity with time and use.
        ageing: AgeingSection = required { first_year_at_25c = "4 %", at_full_charge = 1.7, doubles_every_k = 10.0, time_exponent = 0.75, per_100_cycles = "3 %" };
        /// Supercapacitor only: its capacitance.
        capacitance: Uncertain<Capacitance> = depends "10 F +- 20 %" where within("1 mF", "10000 F").usually("100 mF", "1000 F");
        /// Supercapacitor only: the voltage on its label, which is also full.
        rated_voltage: Voltage = depends "5.5 V" where within("0.5 V", "200 V").usually("2 V", "60 V");
        /// Supercapacitor only: its series resistance.
        esr: Uncertain<Resistance> = depends "120 mohm" where SERIES_RESISTANCE;
        /// Cells one behind the other: voltages and resistance are multiplied by it.
        cells_in_series: u32 = default 1 where CELLS;
        /// Cells side by side: capacity is multiplied by it, resistance divided.
        cells_in_parallel: u32 = default 1 where CELLS;
        /// What the pack costs, in whatever currency all prices are in: for `overwinter size`. It is for the capacity written here, and grows with it.
        price: f64 = optional 3.1 where PRICE;
    }
}

section! {
    /// How a battery loses capacity with time and use.
    pub(crate) struct AgeingSection = "ageing" {
        /// Share of the capacity lost in the first year at 25 °C and half charge.
        first_year_at_25c: Share = required "4 %" where LOSS;
        /// Factor on that loss while it is kept full.
        at_full_charge: f64 = required 1.7 where within("0.1", "100").usually("1", "10");
        /// Temperature rise in kelvin that doubles the loss.
        doubles_every_k: f64 = required 10.0 where within("1", "100").usually("5", "30");
        /// The loss grows with time to this power, 0.5 to 1.
        time_exponent: f64 = required 0.75 where within("0.5", "1");
        /// Share of the capacity lost after 100 full cycles; it grows with the square root of the throughput.
        per_100_cycles: Share = required "3 %" where LOSS;
    }
}

part_section! {
    /// The charger between panel and battery.
    pub(crate) struct ChargerSection = "charger" ("linear-usb") {
        /// How it takes power from the panel: `direct` (a diode), `linear`, `fixed-fraction` or `mppt`.
        kind: ChargerWord = required "linear";
        /// Share of the panel's open-circuit voltage at which a `fixed-fraction` charger holds the panel.
        fraction: Share = depends "80 %" where within("10 %", "100 %").usually("60 %", "95 %");
        /// Voltage it charges the pack to; leave it out for a bare diode without a limiter.
        voltage: Voltage = depends "4.2 V" where within("0.5 V", "200 V").usually("1 V", "60 V");
        /// Largest charging current.
        current: Current = required "500 mA" where within("10 uA", "50 A").usually("1 mA", "5 A");
        /// Voltage lost between panel and battery: diode drop, or headroom of the pass element.
        drop: Voltage = default "0.3 V" where within("0 V", "10 V").usually("0 V", "1.5 V");
        /// Panel voltage below which it does nothing; a linear charger folds its current back to stay above it.
        input_minimum: Voltage = default "0 V" where within("0 V", "100 V").usually("0 V", "40 V");
        /// Panel voltage that destroys it.
        input_absolute_maximum: Voltage = optional "7 V" where within("0.5 V", "500 V").usually("3 V", "150 V");
        /// What it takes from the panel for itself while charging.
        input_current: Current = default "0 uA" where within("0 uA", "1 A").usually("0 uA", "50 mA");
        /// What it takes from the battery when there is no sun.
        battery_drain: Current = default "0 uA" where IDLE_CURRENT;
        /// Output power over input power of a converter. Needed for `fixed-fraction` and `mppt`.
        efficiency: Share = depends "85 %" where EFFICIENCY;
        /// Panel power below which a converter cannot run.
        start_up: Power = default "0 W" where within("0 W", "10 W").usually("0 W", "1 W");
        /// Pack voltage below which it only trickles.
        precharge_below: Voltage = optional "2.9 V" where within("0.1 V", "200 V").usually("0.5 V", "60 V");
        /// The trickle. Needed with `precharge_below`.
        precharge_current: Current = depends "50 mA" where within("1 uA", "10 A").usually("0.1 mA", "1 A");
        /// Current at which it calls the battery full and stops; zero if it never stops.
        terminate_current: Current = default "0 mA" where within("0 mA", "10 A").usually("0 mA", "1 A");
        /// Pack voltage at which it starts again after that.
        recharge_below: Voltage = optional "4.05 V" where within("0.1 V", "200 V").usually("1 V", "60 V");
        /// What it costs, in whatever currency all prices are in: for `overwinter size`.
        price: f64 = optional 1.2 where PRICE;
        /// Bands of battery temperature and what is allowed in each; outside all bands nothing. `[]` is no gate at all.
        temperature_gate: Vec<GateSection> = default [];
    }
}

section! {
    /// One band of a temperature gate.
    pub(crate) struct GateSection = "temperature_gate" {
        /// From this battery temperature.
        from: Temperature = required "0 C" where BOX_TEMPERATURE;
        /// To below this one.
        to: Temperature = required "10 C" where BOX_TEMPERATURE;
        /// Share of the charging current allowed.
        current: Share = required "20 %" where FRACTION;
        /// How much lower the charge voltage is set.
        voltage_reduction: Voltage = default "0 mV" where within("0 mV", "5 V").usually("0 mV", "1 V");
    }
}

part_section! {
    /// The panel at 1000 W/m² and 25 °C, and how it is mounted.
    ///
    /// A panel may be written with `power` alone: voltages and currents of a generic panel of the 6 V class are then
    /// taken, with a tolerance of 20 %, and the report says so.
    pub(crate) struct PanelSection = "panel" ("panel-1w") {
        /// Power on the label.
        power: Uncertain<Power> = required "1 W +- 5 %" where within("1 mW", "1000 W").usually("20 mW", "60 W");
        /// Open-circuit voltage. This and the next three are written together or left out together.
        open_circuit_voltage: Voltage = depends "7.2 V" where PANEL_VOLTAGE;
        /// Short-circuit current.
        short_circuit_current: Current = depends "180 mA" where PANEL_CURRENT;
        /// Voltage at the best point.
        best_voltage: Voltage = depends "6.0 V" where PANEL_VOLTAGE;
        /// Current at the best point.
        best_current: Current = depends "167 mA" where PANEL_CURRENT;
        /// Cells in series.
        cells: u32 = default 12 where CELLS;
        /// Change of the short-circuit current with temperature.
        current_coefficient: PerKelvin = default "0.05 %/K" where within("-0.5 %/K", "0.5 %/K").usually("0 %/K", "0.15 %/K");
        /// Change of the open-circuit voltage with temperature.
        voltage_coefficient: PerKelvin = default "-0.33 %/K" where within("-1 %/K", "0.5 %/K").usually("-0.5 %/K", "-0.2 %/K");
        /// Shunt resistance at 1000 W/m². It decides what a panel gives in December. Left out: 31 times open-circuit voltage over short-circuit current.
        shunt: Resistance = depends "1 kohm" where within("0.1 ohm", "10000 kohm").usually("20 ohm", "1000 kohm");
        /// Whether the shunt resistance grows as the light falls, as in a good cell.
        shunt_grows_in_low_light: bool = default true;
        /// What lies over the cells: `glass`, `etfe` or `epoxy`.
        cover: Cover = default "epoxy";
        /// Share of its yield it loses a year.
        yearly_loss: Share = default "2 %" where LOSS;
        /// What it costs, in whatever currency all prices are in: for `overwinter size`.
        price: f64 = optional 4.2 where PRICE;
        /// Angle from the horizontal: 0 deg lies flat, 90 deg stands upright. Belongs to the design file, not to a part.
        tilt: Angle = placed "60 deg" where TILT;
        /// Where it faces, clockwise from north (180 deg is south), or `any` on a vehicle.
        azimuth: Facing = placed "180 deg";
        /// Share of the light lost to dirt.
        soiling: Share = default "3 %" where LOSS;
        /// Share of the light taken by near shade: a hail net, leaves.
        shade: Share = default "0 %" where FRACTION;
        /// Months in which the near shade applies, 1 to 12; left out: all.
        shade_months: Months = optional [4, 5, 6, 7, 8, 9, 10];
    }
}

part_section! {
    /// The radio with its processor, and how it is used.
    ///
    /// Its sleep current belongs to the `floor` of the load that carries the radio and must be included there.
    pub(crate) struct RadioSection = "radio" ("radio-mcu-14dbm") {
        /// Current by transmit power, ascending.
        transmit: Curve<Dbm, Current> = required [["7 dBm", "25 mA"], ["14 dBm", "45 mA"]] where within("10 uA", "5 A").usually("1 mA", "1 A");
        /// Current while receiving.
        receive: Current = required "6 mA" where within("10 uA", "1 A").usually("1 mA", "100 mA");
        /// Current while the radio waits for a receive window and the processor sleeps.
        wait: Current = required "1 mA" where RADIO_CURRENT;
        /// Current in the sleep that keeps time.
        sleep: Current = required "2 uA" where IDLE_CURRENT;
        /// Extra current when the radio is forgotten in standby.
        standby: Current = required "1.5 mA" where RADIO_CURRENT;
        /// How long each receive window stays open when nothing comes, in symbols.
        window_symbols: u32 = default 8 where SYMBOLS;
        /// Regional plan it obeys, such as `EU868`. Belongs to the design file.
        region: String = placed "EU868";
        /// Data rate of every uplink. Either this or `data_rates`; without both the network adapts it to the link.
        data_rate: DataRate = shown "DR3";
        /// Share of the uplinks sent at each data rate, together 100 %. Either this or `data_rate`.
        data_rates: DataRates = depends { DR5 = "60 %", DR3 = "40 %" };
        /// Transmit power, within the table `transmit`.
        power: Dbm = placed "14 dBm" where RADIO_POWER;
        /// What a network that adapts the data rate keeps in hand over the weakest signal it could demodulate; with 11 dB one uplink in ten is lost to fading.
        adaptation_margin: Decibels = default "11 dB" where within("0 dB", "60 dB").usually("0 dB", "25 dB");
        /// How long it waits between two tries to join.
        join_retry: Duration = default "10 min" where within("1 s", "30 d").usually("5 s", "1 d");
        /// What the antenna gains over an isotropic one; a half-wave dipole has 2.15 dBi.
        antenna_gain: Decibels = default "2.15 dBi" where ANTENNA_GAIN;
        /// Height of its antenna above the ground.
        antenna_height: Length = default "1.5 m" where within("0 m", "1000 m").usually("0 m", "60 m");
        /// Which side of a wall its antenna is on: `outside`, or `inside`, also behind a window. Left out, both are reckoned.
        place: Place = shown "outside";
        /// How the walls around it are made where it is inside: `traditional` or `insulated`. Left out: seven in ten traditional.
        building: Building = optional "traditional";
        /// What stands around it, as `around_nodes` of `ground`, over which it goes.
        surroundings: Clutter = optional "open";
        /// From its antenna to the first roofs or trees. Left out: about the width of a street, 27 m.
        clearing: Length = optional "27 m" where CLEARING;
        /// What is near its antenna: `on counterpoise` (nothing: it stands outside on one), `in box`, or `on metal` or a body.
        antenna: NodeAntenna = optional "in box";
        /// What cable and plugs lose between radio and antenna.
        cable_loss: Decibels = default "0 dB" where CABLE_LOSS;
        /// Centres of the channels it sends on. Left out: those of the regional plan.
        channels: Vec<Frequency> = optional ["868.1 MHz", "868.3 MHz", "868.5 MHz"] where within("100 MHz", "3000 MHz");
        /// Data rates that the network may ask of it, those in use included. Left out: those that the regional plan has by default.
        allowed_rates: Vec<DataRate> = optional ["DR0", "DR1", "DR2", "DR3", "DR4", "DR5"];
        /// Whether data rates of spreading factor 5 or 6 may be used, which only newer networks hear.
        newer_rates: bool = default false;
        /// Whether the limit of 400 ms on one transmission holds where the network can lift it (AU915, AS923).
        dwell_limit: bool = default true;
        /// On-air time a day that the network grants this node, if it states one.
        airtime_allowance_per_day: Duration = optional "20 s" where within("1 ms", "24 h").usually("1 s", "1 h");
    }
}

part_section! {
    /// A satellite-positioning receiver.
    pub(crate) struct ReceiverSection = "receiver" ("receiver-with-backup") {
        /// Current while it searches and fixes.
        acquire: Uncertain<Current> = required "25 mA +- 10 %" where within("100 uA", "2 A").usually("2 mA", "200 mA");
        /// Time to fix when clock and ephemeris are fresh.
        hot: Duration = required "1 s" where FIX_TIME;
        /// Time to fix when time and almanac are known but the ephemeris is old.
        warm: Duration = required "25 s" where FIX_TIME;
        /// Time to fix from nothing.
        cold: Duration = required "30 s" where FIX_TIME;
        /// Age after which an ephemeris is useless.
        ephemeris_life: Duration = required "2 h" where within("1 min", "30 d").usually("30 min", "1 d");
        /// Current that keeps clock and memory between fixes; left out: every fix is cold.
        backup: Current = optional "15 uA" where IDLE_CURRENT;
    }
}

part_section! {
    /// A sensor. It is named in `sensors` of an activity and has a part file of its own.
    pub(crate) struct SensorSection = "sensor" ("temperature-humidity") {
        /// Current when it waits.
        idle: Current = required "0.2 uA" where IDLE_CURRENT;
        /// Current while it measures.
        measuring: Current = required "0.4 mA" where CURRENT;
        /// How long one measurement takes, warm-up included.
        time: Duration = required "10 ms" where STEP_TIME;
        /// Current when it is left powered by mistake.
        left_on: Current = required "0.3 mA" where within("0 uA", "20 A").usually("0 uA", "2 A");
    }
}
