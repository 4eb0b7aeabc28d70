//! The resolved design: every name replaced by values, every range checked.
//!
//! Only `resolve` makes a [`Design`], so what reads one needs no further checks. A variant of it is made by
//! [`Design::with`], which says which one key changed and resolves it again.

use std::fmt;
use std::ops::Deref;
use std::sync::Arc;

use crate::catalog::Catalog;
use crate::file::DesignFile;
use crate::message::given::{Given, GivenKind};
use crate::message::{Ceiling, Direction, Kind, Meaning, Message};
use crate::part::{Battery, Charger, Panel, Radio, Receiver, Regulator};
use crate::quantity::{
    Angle, Bytes, Capacitance, Current, Dbm, Decibels, Duration, Frequency, Irradiation, Length, Resistance,
    Share, Temperature, Uncertain, Voltage,
};
use crate::schedule::Schedule;
use crate::sizing::Sizing;
use crate::snapshot::SnapshotLayout;
use crate::surroundings::{Sky, Surroundings};

/// A node as it is meant to be, complete and checked: reads as its [`Intent`]. A copy costs nothing.
#[derive(Clone)]
pub struct Design {
    intent: Arc<Intent>,
    pub(crate) written: Arc<Written>,
}

impl Design {
    /// The field of a message that carries a recording of satellites, and how that is laid out; `None` if no activity records
    /// before it sends the message.
    #[must_use]
    pub fn recording_in(&self, message: &Message) -> Option<(usize, SnapshotLayout)> {
        let layout = self.loads.iter().flat_map(|load| &load.activities).find_map(|activity| {
            let sends = |step: &Step| matches!(step, Step::Uplink { message: Some(name), .. } if *name == message.name);
            let sent = activity.steps.iter().position(sends)?;
            activity.steps.iter().take(sent).rev().find_map(|step| match step {
                Step::Snapshot { layout, .. } => Some(*layout),
                _ => None,
            })
        })?;
        let bytes = layout.size().bytes();
        let holds = |kind: &Kind| matches!(kind, Kind::Bytes { length } if f64::from(*length) >= bytes);
        let place = message.fields.iter().position(|field| holds(&field.kind))?;
        Some((place, layout))
    }
}

/// A value that the messages from a node tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told<'a> {
    /// The message.
    pub message: &'a str,
    /// The field.
    pub field: &'a str,
    /// What it is, in words; may be empty.
    pub title: &'a str,
    /// UCUM unit; `1` where there is none.
    pub unit: &'a str,
    /// What it tells about the node itself.
    pub meaning: Option<Meaning>,
    /// Whether it is a figure that can be drawn over time.
    pub is_figure: bool,
}

impl Told<'_> {
    /// Volts in one of its unit, if it is a voltage.
    #[must_use]
    pub fn volts(&self) -> f64 {
        if self.unit == "mV" { 1e-3 } else { 1.0 }
    }
}

/// How the messages of a node say where it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placing<'a> {
    /// The message that carries its position.
    pub message: &'a str,
    /// The field of that message.
    pub field: &'a str,
    /// Distance of two latitudes that it can tell apart \[°\].
    pub step_deg: f64,
}

impl Design {
    /// How the node says where it is, if it does: by the first position in its messages, then in those of a bought node.
    #[must_use]
    pub fn placing(&self) -> Option<Placing<'_>> {
        let up = self.messages.iter().filter(|message| message.direction == Direction::Up);
        let own = up.flat_map(|message| message.fields.iter().map(move |field| (message, field)));
        let mut own = own.filter_map(|(message, field)| match &field.kind {
            Kind::Position { latitude, .. } => {
                let step_deg = latitude.value(1) - latitude.value(0);
                Some(Placing { message: &message.name, field: &field.name, step_deg })
            }
            _ => None,
        });
        let bought =
            self.givens.iter().flat_map(|given| given.fields.iter().map(move |field| (given, field)));
        let mut bought = bought.filter_map(|(given, field)| match field.kind {
            GivenKind::Position { numerator, denominator, .. } => {
                let step_deg = (numerator as f64 / denominator as f64).abs();
                Some(Placing { message: &given.name, field: &field.name, step_deg })
            }
            _ => None,
        });
        own.next().or_else(|| bought.next())
    }

    /// What the node's messages tell, field by field: those of its own, then those of a bought node.
    pub fn told(&self) -> impl Iterator<Item = Told<'_>> {
        let up = self.messages.iter().filter(|message| message.direction == Direction::Up);
        let own = up.flat_map(|message| {
            message.fields.iter().map(|field| Told {
                message: &message.name,
                field: &field.name,
                title: &field.title,
                unit: &field.unit,
                meaning: field.meaning(),
                is_figure: matches!(field.kind, Kind::Number { .. } | Kind::Counter { .. } | Kind::Flag),
            })
        });
        let bought = self.givens.iter().flat_map(|given| {
            given.fields.iter().map(|field| Told {
                message: &given.name,
                field: &field.name,
                title: &field.title,
                unit: &field.unit,
                meaning: field.means,
                is_figure: matches!(
                    field.kind,
                    GivenKind::Number { .. } | GivenKind::Float | GivenKind::Counter { .. } | GivenKind::Flag
                ),
            })
        });
        own.chain(bought)
    }
}

/// What a design was resolved from, so that a variant of it can be resolved in the same way.
pub(crate) struct Written {
    pub(crate) file: DesignFile,
    pub(crate) catalog: Catalog,
}

impl Design {
    pub(crate) fn new(intent: Intent, file: DesignFile, catalog: Catalog) -> Self {
        Self { intent: Arc::new(intent), written: Arc::new(Written { file, catalog }) }
    }
}

impl Deref for Design {
    type Target = Intent;

    fn deref(&self) -> &Intent {
        &self.intent
    }
}

impl fmt::Debug for Design {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.intent.fmt(f)
    }
}

/// What a design says. Nothing outside this crate can turn one back into a [`Design`].
#[derive(Debug)]
#[non_exhaustive]
pub struct Intent {
    /// What people call it.
    pub name: String,
    /// A remark shown under the name, such as that the scenario is invented.
    pub note: Option<String>,
    /// Where it stands.
    pub site: Site,
    /// What it must keep.
    pub promise: Promise,
    /// The climate of the place, if the file gives it.
    pub climate: Option<MonthlyClimate>,
    /// The panel with its mounting; none on a primary cell.
    pub panel: Option<MountedPanel>,
    /// The charger; present exactly when there is a panel.
    pub charger: Option<Charger>,
    /// The battery.
    pub battery: Battery,
    /// A capacitor across the rail that carries the pulses.
    pub buffer: Option<Buffer>,
    /// The box around battery and electronics.
    pub enclosure: Enclosure,
    /// When the node stops and when it comes back.
    pub cutoff: Cutoff,
    /// The radio and how it joins; none if nothing on this battery transmits.
    pub radio: Option<RadioUse>,
    /// The positioning receiver, if any.
    pub receiver: Option<Receiver>,
    /// The messages from and to the node, in the order of the file.
    pub messages: Vec<Message>,
    /// The messages of a bought node, as its maker lays them out, in the order of the file.
    pub givens: Vec<Given>,
    /// Everything that hangs on the battery, in the order of the file.
    pub loads: Vec<Load>,
    /// Where the node is over the year; empty for one that stays put under the open sky.
    pub diary: Vec<Stay>,
    /// What may be chosen about it when it is sized.
    pub sizing: Sizing,
    /// What hears it.
    pub surroundings: Surroundings,
    /// Figures that were taken from memory or assumed, for the report: the place in the file or part, and the remark.
    pub doubts: Vec<Doubt>,
}

/// A figure the person should not trust blindly.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// Path of the field in the design file, such as `battery.self_discharge_per_month`.
    pub field: String,
    /// Why: "from memory, not from a data sheet", "not measured on this board".
    pub remark: String,
}

/// Where a node stands.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Site {
    /// North positive, -90 to 90.
    pub latitude: Angle,
    /// East positive, -180 to 180.
    pub longitude: Angle,
    /// Above sea level.
    pub elevation: Length,
    /// How far from there it may be moved for the sake of being heard; `None`: it stays.
    pub may_move: Option<Length>,
    /// Height of the skyline by azimuth, ascending azimuths in [0, 360); empty for a free horizon.
    pub horizon: Vec<(Angle, Angle)>,
    /// The skyline while leaves are out, where that is another.
    pub in_leaf: Option<InLeaf>,
    /// Share of sunlight that the ground throws back.
    pub albedo: Share,
    /// Days of each month on which snow lies on a flat panel, January first; `None`: not stated.
    pub snow_days: Option<[f64; 12]>,
}

/// The skyline while the leaves are out.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct InLeaf {
    /// Height of the skyline by azimuth, as [`Site::horizon`].
    pub horizon: Vec<(Angle, Angle)>,
    /// Months (January first) in which it holds.
    pub months: [bool; 12],
}

/// What the node must keep.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Promise {
    /// How long it must live without a visit.
    pub unattended: Duration,
    /// The share of lives that must pass without an outage.
    pub without_outage: Share,
    /// Month (1-12) and day it goes out, if known.
    pub installed: Option<(u8, u8)>,
    /// State of charge on that day.
    pub charge_at_installation: Share,
    /// Share of the reports that must be sent, of those a full battery would send.
    pub completeness: Option<Share>,
    /// Share of the reports sent that a gateway must hear.
    pub heard: Share,
    /// Longest silence that 95 % of lives may not exceed.
    pub freshness: Option<Duration>,
    /// Visits a year that the owner is ready for.
    pub visits_per_year: Option<f64>,
}

/// The climate of a place in twelve monthly numbers, January first.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct MonthlyClimate {
    /// Mean daily sun on level ground.
    pub sun_per_day: [Irradiation; 12],
    /// Mean temperature, if known.
    pub air: Option<[Temperature; 12]>,
}

/// A panel and how it is mounted.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct MountedPanel {
    /// The panel itself.
    pub panel: Panel,
    /// From the horizontal, 0 to 90.
    pub tilt: Angle,
    /// Clockwise from north, [0, 360); `None` when it may face anywhere (a vehicle).
    pub azimuth: Option<Angle>,
    /// Share of the light lost to dirt.
    pub soiling: Share,
    /// Share of the *diffuse and direct* light taken by near shade (a hail net, leaves).
    pub shade: Share,
    /// Months (January first) in which the near shade applies.
    pub shade_months: [bool; 12],
}

/// A capacitor across the rail.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub struct Buffer {
    /// Its capacitance.
    pub capacitance: Capacitance,
    /// Its series resistance.
    pub esr: Resistance,
    /// What it leaks for ever.
    pub leakage: Current,
}

/// The box around battery and electronics.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct Enclosure {
    /// Temperature rise of the inside over the air at 1000 W/m² on the horizontal \[K\].
    pub sun_gain_k: f64,
    /// How far the inside falls below the air in a clear night \[K\].
    pub sky_loss_k: f64,
    /// Time constant of the inside.
    pub lag: Duration,
}

/// When a node stops and when it comes back.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub struct Cutoff {
    /// Terminal voltage under the largest pulse below which it stops.
    pub stops_below: Voltage,
    /// Open-circuit voltage at which it comes back.
    pub restarts_above: Voltage,
    /// What it still draws from the battery while stopped.
    pub stopped_current: Current,
}

/// How the radio is used.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct RadioUse {
    /// The radio.
    pub radio: Radio,
    /// Regional parameters it obeys.
    pub region: crate::region::Region,
    /// Share of uplinks sent at each data rate; sums to 1. Where the network adapts the rate: all at the slowest that it
    /// may ask for, until a link says more.
    pub data_rates: Vec<(u8, Share)>,
    /// Battery current while transmitting at the chosen power, before the rail.
    pub transmit_current: Uncertain<Current>,
    /// How long it waits between two tries to join.
    pub join_retry: Duration,
    /// Transmit power at the radio's output.
    pub power: Dbm,
    /// What the network keeps in hand when it adapts the data rate; `None` where the rate is fixed.
    pub adaptation_margin: Option<Decibels>,
    /// Of the antenna above the ground.
    pub antenna_height: Length,
    /// What the antenna gains over an isotropic one.
    pub antenna_gain: Decibels,
    /// What is lost between radio and antenna.
    pub cable_loss: Decibels,
    /// Centres of the channels it sends on; at least one.
    pub channels: Vec<Frequency>,
    /// Data rates that the network may ask of it and that carry anything here, ascending; those of `data_rates` are
    /// among them.
    pub allowed_rates: Vec<u8>,
    /// Whether the limit of 400 ms on one transmission holds where the network can lift it.
    pub dwell_limit: bool,
    /// On-air time a day that the network grants, if it states one.
    pub airtime_allowance_per_day: Option<Duration>,
}

impl Intent {
    /// Whether any message asks for an acknowledgement.
    #[must_use]
    pub fn asks_for_answers(&self) -> bool {
        let steps = self.loads.iter().flat_map(|load| &load.activities).flat_map(|activity| &activity.steps);
        steps.into_iter().any(|step| matches!(step, Step::Uplink { confirmed: true, .. }))
    }
}

impl RadioUse {
    /// The longest message at an uplink data rate; nothing where the 400 ms limit leaves no room.
    #[must_use]
    pub fn ceiling(&self, data_rate: u8) -> Ceiling {
        Ceiling::up(&self.region, data_rate, self.dwell_limit)
    }
}

/// One consumer on the battery.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Load {
    /// Its key in the file.
    pub name: String,
    /// The regulator between battery and load.
    pub regulator: Regulator,
    /// What it draws when nothing happens, after the regulator.
    pub floor: Uncertain<Current>,
    /// Whether the floor was measured on the finished board.
    pub floor_measured: bool,
    /// What it draws if its sensors are left powered, on top of the floor; zero if it has none.
    pub sensors_left_on: Current,
    /// What it does from time to time, in the order of the file.
    pub activities: Vec<Activity>,
}

/// Something a load does from time to time.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Activity {
    /// Its key in the file.
    pub name: String,
    /// How often, by month and state of charge.
    pub every: Schedule,
    /// When it happens at all.
    pub when: Condition,
    /// What it does, in order.
    pub steps: Vec<Step>,
}

impl Activity {
    /// Whether it sends anything.
    pub fn sends(&self) -> bool {
        self.steps.iter().any(|step| matches!(step, Step::Uplink { .. }))
    }

    /// How often it happens at this charge, in the month in which that is most often; `None`: not at all.
    pub fn interval_at(&self, charge: Share) -> Option<Duration> {
        self.every.shortest_at(charge)
    }
}

/// One step of an activity.
#[derive(Clone, Debug)]
pub enum Step {
    /// A constant current for a time, after the regulator.
    Draw {
        /// The current.
        current: Uncertain<Current>,
        /// How long.
        time: Duration,
    },
    /// One message sent and its receive windows.
    Uplink {
        /// The message, if it is designed: its name among [`Intent::messages`].
        message: Option<String>,
        /// Application bytes; of a message with a short form, of the longest form in use.
        payload: Bytes,
        /// Whether an acknowledgement is asked for.
        confirmed: bool,
        /// Share of confirmed messages that get no acknowledgement at one try, whatever the link; each is repeated, at
        /// most 8 tries.
        loss: Share,
    },
    /// A raw recording of satellite signals, from which a position is worked out elsewhere; an uplink carries it there.
    Snapshot {
        /// How long the receiver listens, whether it hears satellites or not.
        time: Duration,
        /// What must be sent of it.
        size: Bytes,
        /// How that is laid out.
        layout: SnapshotLayout,
    },
    /// One position fix.
    Fix {
        /// Give up after this time without satellites.
        give_up_after: Duration,
        /// Share of tries under the open sky that fail.
        failures: Share,
    },
}

/// When an activity happens; every stated part must hold.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct Condition {
    /// Air colder than this.
    pub air_below: Option<Temperature>,
    /// Only while moving (true) or only while standing (false).
    pub moving: Option<bool>,
    /// Months, 1 to 12; empty for all.
    pub months: Vec<u8>,
    /// First and last hour of the local solar day, [from, to) wrapping over midnight.
    pub hours: Option<(u8, u8)>,
}

/// A stretch of the year at one kind of place.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Stay {
    /// First day, (month, day).
    pub from: (u8, u8),
    /// Last day, inclusive; before `from` wraps over New Year.
    pub to: (u8, u8),
    /// What is above it while it stands.
    pub sky: Sky,
    /// Hours of each day on which it moves under the open sky, [from, to).
    pub moving: Option<(u8, u8)>,
}
