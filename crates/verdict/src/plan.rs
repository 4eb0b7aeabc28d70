//! The plan: everything that can be said about a design under given weather.

mod affordable;
mod chances;
mod defects;
mod findings;
mod kept;
mod ledger;
mod lives;
mod make;

pub use affordable::affordable;
pub use chances::{Chances, DayBand, Driver, Effort, FaultRow, FortnightHour, WorstLife};
pub use kept::{Kept, Promised};
pub use make::{Weather, plan, plan_once};

pub use crate::finding::{Finding, Severity, Verdict};

use design::quantity::{Angle, Charge, Current, Duration, Irradiance, Share, Temperature, Voltage};

/// An hour of a life, as a date: `pass` counts the years lived, from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Moment {
    /// Years lived before this one.
    pub pass: u16,
    /// 1 to 12.
    pub month: u8,
    /// 1 to 31.
    pub day: u8,
    /// Hour of the day in local standard time, 0 to 23.
    pub hour: u8,
}

/// The forecast for one design under one weather.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Will it live?
    pub verdict: Verdict,
    /// The reason in one sentence, without the verdict's word.
    pub reason: String,
    /// The weather it was played through.
    pub weather: WeatherUsed,
    /// The life as designed.
    pub life: Life,
    /// Charge per day by purpose, earnings first.
    pub ledger: Vec<LedgerEntry>,
    /// January first.
    pub months: Vec<MonthRow>,
    /// The same node with one thing gone wrong, worst first.
    pub defects: Vec<DefectRow>,
    /// The same node with a temperature gate, where it has none and charges below freezing.
    pub with_gate: Option<Variant>,
    /// What is wrong only in this weather.
    pub findings: Vec<Finding>,
    /// Every hour of the year around the lowest charge of the life's last pass.
    pub hours: Vec<Hour>,
    /// What many lives show; none if only one was lived.
    pub chances: Option<Chances>,
}

/// The weather a plan was made with.
#[expect(clippy::struct_excessive_bools, reason = "they are independent facts about a file")]
#[derive(Clone, Debug)]
pub struct WeatherUsed {
    /// Name of the station or file as the file says it, or of the climate.
    pub title: String,
    /// Whether weather was drawn from a climate instead of recorded.
    pub drawn: bool,
    /// Whether it is winter in July.
    pub south: bool,
    /// Where it was taken, if the file says so: latitude and longitude.
    pub place: Option<(Angle, Angle)>,
    /// Distance from there to the design's site \[km\].
    pub distance_km: Option<f64>,
    /// Hours in the file.
    pub hours: usize,
    /// How often the file was lived through.
    pub passes: u16,
    /// Whether beam and diffuse came from the file (else from the Erbs split of the global).
    pub diffuse_measured: bool,
    /// Whether wind was in the file (else 1 m/s).
    pub wind_measured: bool,
}

/// What happened in one life.
#[derive(Clone, Debug, PartialEq)]
pub struct Life {
    /// Hours in which the node was stopped.
    pub outage_hours: u32,
    /// Times it stopped.
    pub outages: u32,
    /// When it stopped first.
    pub first_outage: Option<Moment>,
    /// What stopped it first.
    pub cause: Option<Cause>,
    /// Reports it should have sent and did not, per year.
    pub missed_reports_per_year: f64,
    /// Reports it sent, per year.
    pub reports_per_year: f64,
    /// Lowest state of charge.
    pub lowest_charge: Share,
    /// When that was.
    pub lowest_at: Moment,
    /// How long it would last from there without any sun.
    pub in_hand: Duration,
    /// How long a full battery lasts without any sun at the temperature of the darkest month, down to where it still restarts.
    pub without_sun: Duration,
    /// If it stopped on the darkest date, when it would be back.
    pub restart: Restart,
    /// From empty to half full in the worst month; `None` if never within a year.
    pub days_to_half: Option<f64>,
    /// What was offered and not taken, per day over the year.
    pub spilled_per_day: Charge,
    /// Capacity left at the end, of what it had when new.
    pub capacity_left: Share,
    /// Hours per year in which sun was refused because the battery was too cold or too hot.
    pub gated_hours_per_year: f64,
    /// Hours per year in which it charged below freezing without a gate.
    pub plating_hours_per_year: f64,
}

/// Whether a stopped node comes back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Restart {
    /// It comes back then, after so many days.
    At(Moment, f64),
    /// Not within a year of weather.
    Never,
}

/// What stopped a node.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// The charge was used up for want of sun.
    Sun,
    /// The charger refused the sun because the battery was too cold or hot.
    ChargeGate,
    /// Charge was left, but a pulse pulled the voltage under the limit.
    BrownOut,
    /// It would have lived with the battery it had when new.
    Ageing,
    /// It would have lived next to a gateway, at the fastest data rate.
    Distance,
    /// It would have lived with the parts as designed.
    Parts,
}

/// One line of the ledger.
#[derive(Clone, Debug, PartialEq)]
pub struct LedgerEntry {
    /// What for: "sun", "sleeping", "report: sending", "charger at night", "self-discharge".
    pub purpose: String,
    /// Per day over the year; earnings positive, spendings negative.
    pub per_day: Charge,
    /// Per day in the darkest month.
    pub per_dark_day: Charge,
}

/// One month of the last year.
#[derive(Clone, Debug, PartialEq)]
pub struct MonthRow {
    /// 1 to 12.
    pub month: u8,
    /// Sun on the plane of the panel per day [Wh/m²].
    pub sun_on_plane_wh_m2: f64,
    /// What the charger could have put into a battery that is never full, per day.
    pub offered_per_day: Charge,
    /// What the battery took, per day.
    pub taken_per_day: Charge,
    /// What the node spent, per day, all drains included.
    pub spent_per_day: Charge,
    /// Mean air temperature.
    pub air: Temperature,
    /// Lowest state of charge.
    pub lowest_charge: Share,
    /// Hours stopped.
    pub outage_hours: u32,
}

/// One thing gone wrong.
#[derive(Clone, Debug, PartialEq)]
pub struct DefectRow {
    /// In words: "radio left in standby".
    pub name: String,
    /// What it adds to the load, or takes from the sun.
    pub effect: String,
    /// Extra charge per day; zero for a defect of the harvest.
    pub extra_per_day: Charge,
    /// When it starts.
    pub from: Moment,
    /// Days until the node stops; `None` if it lives through a year.
    pub days_to_death: Option<f64>,
    /// When it is back for good after that.
    pub restart: Option<Restart>,
    /// Whether a restart or the end of the event clears it.
    pub clears_by_itself: bool,
}

/// A variant of the design beside the design.
#[derive(Clone, Debug, PartialEq)]
pub struct Variant {
    /// What was changed, in words.
    pub name: String,
    /// Its verdict.
    pub verdict: Verdict,
    /// Its life.
    pub life: Life,
}

/// One hour of a life.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hour {
    /// When.
    pub at: Moment,
    /// Sun on the plane of the panel after shade, dirt and reflection.
    pub in_plane: Irradiance,
    /// Air.
    pub air: Temperature,
    /// Panel cells.
    pub cell: Temperature,
    /// Battery.
    pub battery: Temperature,
    /// Current out of the panel.
    pub panel_current: Current,
    /// Voltage at the panel.
    pub panel_voltage: Voltage,
    /// Net current into the battery.
    pub battery_current: Current,
    /// Voltage at its terminals at rest plus the drop of that current.
    pub battery_voltage: Voltage,
    /// State of charge at the end of the hour.
    pub charge: Share,
    /// What it was doing.
    pub state: NodeState,
}

/// What a node is doing in an hour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NodeState {
    /// Running.
    Running,
    /// Running, sun refused because of the battery's temperature.
    Gated,
    /// Running, battery full, sun refused.
    Full,
    /// Stopped.
    Stopped,
}
