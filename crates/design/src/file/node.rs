//! The keys of the design file that are not parts.

use crate::file::given::GivenSection;
use crate::file::message::MessageSection;
use crate::file::part::{BatterySection, ChargerSection, PanelSection, RadioSection, ReceiverSection};
use crate::file::surroundings::{GatewaySection, GroundSection, MayStandSection};
use crate::file::value::{
    Date, Horizon, Hours, IntervalRows, MonthRows, Monthly, Months, Named, Pair, RegulatorWord, SnowDays,
};
use crate::quantity::{
    Angle, Bytes, Capacitance, Charge, Current, Duration, Irradiation, Length, Resistance, Share,
    Temperature, TemperatureDifference, Uncertain, Voltage,
};
use crate::section::rule::{
    AIR_TEMPERATURE, CURRENT, EFFICIENCY, ELEVATION, FRACTION, INTERVAL, LATITUDE, LEAKAGE, LONGITUDE,
    MAY_MOVE, PACK_VOLTAGE, PAYLOAD, PROMISE, STEP_TIME, TILT, UNATTENDED, within,
};
use crate::section::{At, section};
use crate::sizing::Preference;
use crate::surroundings::Sky;

section! {
    /// One kind of node and its place.
    pub(crate) struct RootSection = "design file" {
        /// Edition of this file's format; always the first line.
        schema: u32 = required 1;
        /// What people call the node.
        name: String = required "Frost mast";
        /// A remark shown under the name.
        note: String = optional "Larkmoor: an invented scenario";
        /// Where the node stands.
        site: SiteSection = required {};
        /// What it must keep.
        promise: PromiseSection = required {};
        /// The climate of the place in twelve monthly numbers, used in place of the built-in one.
        climate: ClimateSection = optional {};
        /// The panel and how it is mounted; left out on a primary cell.
        panel: PanelSection = optional {};
        /// The charger; present exactly when there is a panel.
        charger: ChargerSection = optional {};
        /// The battery.
        battery: BatterySection = required {};
        /// A capacitor across the rail that carries the pulses.
        buffer: BufferSection = optional {};
        /// The box around battery and electronics.
        enclosure: EnclosureSection = optional {};
        /// When the node stops and when it comes back; left out, it follows from regulator and battery.
        cutoff: CutoffSection = optional {};
        /// The radio; left out if nothing on this battery transmits.
        radio: RadioSection = optional {};
        /// The positioning receiver, if any.
        receiver: ReceiverSection = optional {};
        /// The messages, each under a name of your choice.
        message: Named<MessageSection> = optional report;
        /// The messages of a bought node, as its maker lays them out.
        given: Named<GivenSection> = optional status;
        /// Regulators between battery and loads, each under a name of your choice.
        regulator: Named<RegulatorSection> = optional main;
        /// Everything that hangs on the battery, each under a name of your choice; at least one.
        load: Named<LoadSection> = required board;
        /// Where the node is over the year, for one that moves; left out: it stays put under the open sky.
        diary: Vec<StaySection> = optional [{}];
        /// What `overwinter size` may choose, and what it is to prefer.
        size: SizeSection = optional {};
        /// The gateways that hear it, each under a name of your choice. Left out: whether it is heard is not known. A site file brings its own.
        gateway: Named<GatewaySection> = optional roof;
        /// Where a gateway more may stand, each under a name of your choice. A site file brings its own.
        may_stand: Named<MayStandSection> = optional silo;
        /// The ground between it and the gateways.
        ground: GroundSection = optional {};
    }
}

section! {
    /// Where the node stands.
    pub(crate) struct SiteSection = "site" {
        /// North positive.
        latitude: Angle = required "46.5 deg" where LATITUDE;
        /// East positive.
        longitude: Angle = required "7.4 deg" where LONGITUDE;
        /// Above sea level.
        elevation: Length = required "640 m" where ELEVATION;
        /// How far from there it may be moved for the sake of being heard: where it is not, `check` and `reach` look for the nearest place that is. Left out: it stays.
        may_move: Length = optional "200 m" where MAY_MOVE;
        /// Height of the skyline by azimuth, clockwise from north, ascending from 0 deg to below 360 deg; `[]` is a free horizon.
        horizon: Horizon = default [];
        /// The same while the leaves are out: trees hide what bare twigs let through. Counts in `months_in_leaf`.
        horizon_in_leaf: Horizon = optional [["90 deg", "4 deg"], ["180 deg", "25 deg"], ["270 deg", "4 deg"]];
        /// Months in which `horizon_in_leaf` holds in place of `horizon`, 1 to 12.
        months_in_leaf: Months = optional [5, 6, 7, 8, 9, 10];
        /// Share of sunlight that the ground throws back.
        albedo: Share = default "20 %" where FRACTION.usually("3 %", "90 %");
        /// Days of each month on which snow lies on a flat panel, January first. Left out: none with a weather file, a guess from cold and rain without one.
        snow_days: SnowDays = optional [14, 12, 5, 0, 0, 0, 0, 0, 0, 0, 3, 10];
    }
}

section! {
    /// The climate of the place in twelve monthly numbers.
    pub(crate) struct ClimateSection = "climate" {
        /// Mean daily sun on level ground by month, January first.
        sun: Monthly<Irradiation> = required ["1.0 kWh/m2", "1.8 kWh/m2", "3.0 kWh/m2", "4.1 kWh/m2", "4.9 kWh/m2", "5.3 kWh/m2", "5.3 kWh/m2", "4.7 kWh/m2", "3.3 kWh/m2", "2.2 kWh/m2", "1.3 kWh/m2", "0.9 kWh/m2"] where within("0 kWh/m2", "14 kWh/m2").usually("0 kWh/m2", "10 kWh/m2");
        /// Mean temperature by month, January first. Left out: that of the built-in climate.
        air: Monthly<Temperature> = optional ["-2 C", "0 C", "4 C", "8 C", "13 C", "17 C", "19 C", "18 C", "14 C", "9 C", "3 C", "-1 C"] where AIR_TEMPERATURE;
    }
}

section! {
    /// What the node must keep.
    pub(crate) struct PromiseSection = "promise" {
        /// How long it must live without a visit.
        unattended: Duration = required "5 years" where UNATTENDED;
        /// Share of such lives that must pass without an outage, below 100 %.
        without_outage: Share = default "95 %" where PROMISE;
        /// Month and day on which it goes out, as `MM-DD`.
        installed: Date = optional "10-15";
        /// State of charge on that day. Left out: 90 %, as somebody would carry it out; of a primary cell 100 %. New cells are sold at about 30 % (lithium-ion for air freight) to 60 %: charge them first.
        charge_at_installation: Share = optional "90 %" where FRACTION.usually("20 %", "100 %");
        /// Share of the reports that must be sent, of those a full battery would send.
        completeness: Share = optional "98 %" where FRACTION.usually("50 %", "100 %");
        /// Longest silence that 95 % of lives may not exceed.
        freshness: Duration = optional "6 h" where within("1 s", "50 years").usually("1 min", "60 d");
        /// Share of the reports sent that a gateway must hear.
        heard: Share = default "90 %" where FRACTION.usually("50 %", "100 %");
        /// Visits a year that the owner is ready for: one for each outage that does not end by itself.
        visits_per_year: f64 = optional 0.2 where within("0", "366").usually("0", "12");
    }
}

section! {
    /// A capacitor across the rail that carries the pulses.
    pub(crate) struct BufferSection = "buffer" {
        /// Its capacitance.
        capacitance: Capacitance = required "470 uF" where within("0.1 uF", "1000 F").usually("10 uF", "20 F");
        /// Its series resistance.
        esr: Resistance = required "80 mohm" where within("0 mohm", "1 kohm").usually("0 mohm", "50 ohm");
        /// What it leaks for ever.
        leakage: Current = default "0 uA" where LEAKAGE;
    }
}

section! {
    /// The box around battery and electronics. The defaults are those of a white box and from memory.
    pub(crate) struct EnclosureSection = "enclosure" {
        /// How far the inside rises above the air at 1000 W/m² on the horizontal.
        sun_gain: TemperatureDifference = default "15 K" where within("0 K", "100 K").usually("0 K", "40 K");
        /// How far the inside falls below the air in a clear night.
        sky_loss: TemperatureDifference = default "4 K" where within("0 K", "30 K").usually("0 K", "10 K");
        /// Time constant of the inside.
        lag: Duration = default "2 h" where within("1 s", "10 d").usually("5 min", "1 d");
    }
}

section! {
    /// When the node stops and when it comes back.
    pub(crate) struct CutoffSection = "cutoff" {
        /// Battery voltage under the largest pulse below which it stops. Left out: regulator output plus dropout, or the battery's `empty_voltage` if that is higher.
        stops_below: Voltage = optional "3.4 V" where PACK_VOLTAGE;
        /// Open-circuit voltage at which it comes back. Left out: that of 10 % more charge than at `stops_below`.
        restarts_above: Voltage = optional "3.7 V" where PACK_VOLTAGE;
        /// What it still draws from the battery while stopped.
        stopped_current: Current = default "2 uA" where within("0 uA", "1 A").usually("0 uA", "5 mA");
    }
}

section! {
    /// A regulator between battery and loads.
    pub(crate) struct RegulatorSection = "regulator" {
        /// `ldo` (linear), `buck` (switching) or `none`.
        kind: RegulatorWord = required "ldo";
        /// Output voltage. Needed for `ldo` and `buck`.
        output: Voltage = shown "3.0 V" where within("0.3 V", "60 V").usually("0.8 V", "30 V");
        /// What it needs above its output.
        dropout: Voltage = default "0.2 V" where within("0 V", "10 V").usually("0 V", "2 V");
        /// What it takes for itself. Needed for `ldo` and `buck`.
        quiescent: Current = shown "1 uA" where within("0 uA", "100 mA").usually("0 uA", "10 mA");
        /// Power out over power in. Needed for `buck`.
        efficiency: Share = depends "90 %" where EFFICIENCY;
    }
}

section! {
    /// One consumer on the battery.
    pub(crate) struct LoadSection = "load" {
        /// Name of its regulator. Needed only where there are several.
        regulator: String = optional "main";
        /// What the whole load draws when nothing happens, after the regulator: the sleeping radio included, sensors named in `sensors` not.
        floor: Uncertain<Current> = required "4 uA +- 50 %" where within("0.001 nA", "20 A").usually("0.1 uA", "100 mA");
        /// Whether the floor was measured on the finished board. If not and no tolerance is written, a spread of 100 % is used.
        floor_measured: bool = default false;
        /// What it does from time to time, each under a name of your choice.
        activity: Named<ActivitySection> = optional report;
    }
}

section! {
    /// Something a load does from time to time.
    pub(crate) struct ActivitySection = "activity" {
        /// How often. Either this, or `every_by_charge`, or `every_by_month_and_charge`.
        every: Duration = shown "10 min" where INTERVAL;
        /// How often by state of charge: rows of charge at or above which the interval holds, highest first, the last at 0 %; `never` is allowed as interval. The node steps down at once, and up by one row only where the charge lies 5 % above it, a day after it last stepped.
        every_by_charge: IntervalRows = depends [["50 %", "10 min"], ["20 %", "1 h"], ["0 %", "never"]];
        /// The same with an interval for each month, January first; none may be shorter than the one above it.
        every_by_month_and_charge: MonthRows = depends [["40 %", ["30 min", "15 min", "10 min", "10 min", "10 min", "10 min", "10 min", "10 min", "10 min", "15 min", "30 min", "1 h"]], ["0 %", ["12 h", "3 h", "1 h", "30 min", "30 min", "30 min", "30 min", "1 h", "3 h", "12 h", "12 h", "12 h"]]];
        /// When it happens at all; every stated part must hold. Left out: always.
        when: WhenSection = optional { air_below = "3 C" };
        /// Sensors that are read first, by catalogue key or part file.
        sensors: Vec<At<String>> = shown ["temperature-humidity"];
        /// What it does, in order; each step has either `current` and `time`, or `uplink`, or `fix`, or `snapshot`.
        steps: Vec<StepSection> = shown [{ current = "6 mA", time = "200 ms" }, { uplink = { payload = "12 bytes" } }];
    }
}

section! {
    /// When an activity happens.
    pub(crate) struct WhenSection = "when" {
        /// Air colder than this.
        air_below: Temperature = optional "3 C" where AIR_TEMPERATURE;
        /// Only while moving (`true`) or only while standing (`false`).
        moving: bool = optional true;
        /// Months, 1 to 12.
        months: Months = optional [11, 12];
        /// First and last hour of the local solar day, the last not included; may wrap over midnight.
        hours: Hours = optional [6, 18];
    }
}

section! {
    /// One step of an activity: `current` and `time`, or `uplink`, or `fix`, or `snapshot`.
    pub(crate) struct StepSection = "steps" {
        /// A constant current, after the regulator.
        current: Uncertain<Current> = depends "6 mA" where CURRENT;
        /// How long it flows.
        time: Duration = depends "200 ms" where STEP_TIME;
        /// One message and its receive windows.
        uplink: UplinkSection = depends { payload = "12 bytes", confirmed = false };
        /// One position fix.
        fix: FixSection = depends { give_up_after = "120 s", failures = "10 %" };
        /// A raw recording of satellite signals; the position is worked out where it arrives. An uplink behind it in the same activity carries it.
        snapshot: SnapshotSection = depends { time = "2 s", satellites = 6, resolution = "30 m" };
    }
}

section! {
    /// One raw recording of satellite signals. It takes its time whether satellites are heard or not, under a roof as well, and is sent all the same.
    pub(crate) struct SnapshotSection = "snapshot" {
        /// How long the receiver is on.
        time: Duration = required "2 s" where within("1 ms", "1 h").usually("10 ms", "30 s");
        /// Satellites whose signals are sent, the strongest first; five are needed for a position without the time.
        satellites: u32 = default 6 where within("4", "32").usually("5", "16");
        /// How fine the distance to a satellite is sent. The recording then has 4 bytes and for each satellite 6 bits and those that tell 300 km into such steps: 19 bytes for 6 satellites and 30 m.
        resolution: Length = default "30 m" where within("10 cm", "10 km").usually("1 m", "1 km");
    }
}

section! {
    /// One message sent: either `message` or `payload`.
    pub(crate) struct UplinkSection = "uplink" {
        /// Name of a message of this file, `message` or `given`.
        message: String = depends "report";
        /// Application bytes, while the message is not designed yet.
        payload: Bytes = depends "12 bytes" where PAYLOAD;
        /// Whether an acknowledgement is asked for.
        confirmed: bool = default false;
        /// Share of confirmed messages that get no acknowledgement at one try, whatever the link; each is repeated, at most 8 tries. What a link to a named gateway loses comes on top.
        loss: Share = default "5 %" where FRACTION.usually("0 %", "60 %");
    }
}

section! {
    /// One position fix.
    pub(crate) struct FixSection = "fix" {
        /// Give up after this time without satellites.
        give_up_after: Duration = required "120 s" where within("1 s", "1 d").usually("5 s", "30 min");
        /// Share of tries under the open sky that fail.
        failures: Share = default "10 %" where FRACTION.usually("0 %", "80 %");
    }
}

section! {
    /// What `overwinter size` may choose, and what it is to prefer. What is left out is chosen from the catalogue and around what is written.
    pub(crate) struct SizeSection = "size" {
        /// Panels, by catalogue key or part file. Left out: those of the catalogue that the charger bears.
        panels: Vec<At<String>> = optional ["panel-0w5", "panel-1w", "panel-2w"];
        /// Batteries, by catalogue key or part file. Left out: the one that is written.
        batteries: Vec<At<String>> = optional ["nmc-18650"];
        /// Smallest and largest capacity of a battery. Left out: from a quarter of the written one to four times as much.
        capacities: Pair<Charge> = optional ["1200 mAh", "10 Ah"] where within("0.1 mAh", "2000 Ah").usually("20 mAh", "60 Ah");
        /// Chargers, by catalogue key or part file. Left out: the one that is written.
        chargers: Vec<At<String>> = optional ["linear-usb-gated", "mppt"];
        /// Tilts of the panel. Left out: the one that is written.
        tilts: Vec<Angle> = optional ["45 deg", "60 deg", "75 deg"] where TILT;
        /// The activity whose interval is chosen. Left out: the one that reports most often all year.
        activity: String = optional "report";
        /// Its shortest and longest interval. Left out: from a quarter of the written one to six times as long.
        intervals: Pair<Duration> = optional ["1 min", "3 h"] where INTERVAL;
        /// Reports a day that are wanted at least. Left out: as many as the design sends as it is written.
        at_least_per_day: f64 = optional 20.0 where within("0", "86400").usually("0.1", "3000");
        /// What is preferred among the designs that keep the promise: `cheapest`, `smallest` or `most-reports`.
        prefer: Preference = default "cheapest";
        /// What parts cost, all in one currency: pairs of a part and its price; it goes before the `price` of the part itself. That of a battery is for the capacity on its label, and grows with it. Left out: a watt of panel counts as much as a watt-hour of battery.
        prices: Vec<(At<String>, f64)> = optional [["panel-1w", 4.2], ["nmc-18650", 3.1]];
    }
}

section! {
    /// A stretch of the year at one kind of place. Days outside every stay: standing under the open sky.
    pub(crate) struct StaySection = "diary" {
        /// First day, as `MM-DD`.
        from: Date = required "11-01";
        /// Last day, included; before `from` it wraps over New Year.
        to: Date = required "02-28";
        /// What is above it while it stands: `open`, `half` or `roof`.
        sky: Sky = required "roof";
        /// Hours of each day on which it moves under the open sky, the last not included.
        moving: Hours = optional [8, 12];
    }
}
