//! The plan: everything that can be said about a design under given weather.

mod affordable;
mod brief;
mod chances;
mod course;
mod dangers;
mod findings;
mod judged;
mod kept;
mod ledger;
mod make;
mod settings;

pub use affordable::affordable;
pub use brief::LifeInBrief;
pub(crate) use brief::Sky;
pub use chances::{DayBand, Driver, Effort, FaultRow, Survival, WorstLife};
pub use course::{Course, course};
pub use forecast::life::cause::Cause;
pub use forecast::life::fault::{Fault, FaultKind};
pub use forecast::life::prepared::Weather;
pub use forecast::life::shown::{FortnightHour, Hour, Moment, NodeState};
pub use judged::{JudgedVariant, dangers, judged, worst_first};
pub use kept::{JudgedPromise, Promised};
pub(crate) use make::month_ahead;
pub use make::{of_prepared, plan};

pub use crate::finding::{Finding, Severity, Verdict};

use design::quantity::{Angle, Charge, Duration, Share, Temperature};
use forecast::load::Purpose;
use forecast::sky::recorded::Winters;

/// The forecast for one design under one weather.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Will it live?
    pub verdict: Verdict,
    /// The reason in one sentence, without the verdict's word.
    pub reason: String,
    /// The weather it was played through.
    pub weather: WeatherUsed,
    /// The life that is shown, and what is usual over all.
    pub life: Life,
    /// Charge per day by purpose, earnings first.
    pub ledger: Vec<LedgerEntry>,
    /// January first.
    pub months: Vec<MonthRow>,
    /// Share of lives without an outage if the charger took nothing below 0 or above 45 °C, where many lives are charged
    /// below freezing.
    pub with_gate: Option<Share>,
    /// What is wrong only in this weather.
    pub findings: Vec<Finding>,
    /// Every hour of the year around the lowest charge of the life that is shown.
    pub hours: Vec<Hour>,
    /// Length of a life \[years of 365 days\].
    pub years: f64,
    /// What many lives show; none if none was lived to be counted.
    pub chances: Option<Survival>,
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
    /// The winters that lives are made of; none where weather is drawn.
    pub winters: Option<Winters>,
    /// How often the file was lived through.
    pub passes: u16,
    /// Whether beam and diffuse came from the file (else from the Erbs split of the global).
    pub diffuse_measured: bool,
    /// Share of the sunny hours in which global, direct and diffuse light of the file contradict each other.
    pub doubtful: Option<Share>,
    /// Whether wind was in the file (else 1 m/s).
    pub wind_measured: bool,
}

/// The life that is shown, the one with the median lowest charge; and what is usual over all lives.
#[derive(Clone, Debug, PartialEq)]
pub struct Life {
    /// Its number among the lives.
    pub number: u64,
    /// Hours in which it was stopped.
    pub outage_hours: u32,
    /// Times it stopped.
    pub outages: u32,
    /// When it stopped first.
    pub first_outage: Option<Moment>,
    /// Its lowest state of charge.
    pub lowest_charge: Share,
    /// When that was.
    pub lowest_at: Moment,
    /// Capacity left at its end, of what it had when new.
    pub capacity_left: Share,
    /// Reports a node with a full battery sends in a year.
    pub wanted_reports_per_year: f64,
    /// Reports missed of those in a year, mean over all lives.
    pub missed_reports_per_year: f64,
    /// How long a full battery with its parts as designed lasts without sun from the darkest month, median.
    pub without_sun: Duration,
    /// Of a node that nothing charges: for how long half of the lives last, and nine in ten; `None` if they outlast forty
    /// years, or with a panel.
    pub lasts: Option<(Duration, Duration)>,
    /// When the battery of the life that is shown has 80 % of its new capacity left, the usual end of a cell's rated life;
    /// `None` if it has more to the end.
    pub worn_after: Option<Duration>,
    /// From empty to half full in the darkest month, parts as designed, median; `None` if never within a year.
    pub days_to_half: Option<f64>,
    /// What was offered and not taken, mean per day of the year.
    pub spilled_per_day: Charge,
    /// Hours per year in which sun was refused because the battery was too cold or too hot, mean.
    pub gated_hours_per_year: f64,
    /// Hours per year in which a battery that plates was charged below freezing, mean.
    pub plating_hours_per_year: f64,
    /// Share of lives in which that happens.
    pub plates: Share,
    /// Hours per year in which a battery was charged hotter than it bears, mean.
    pub hot_hours_per_year: f64,
    /// Lives that went into means of months and ledger.
    pub lives_in_means: usize,
}

/// Whether a stopped node comes back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Restart {
    /// It comes back then, after so many days.
    At(Moment, f64),
    /// Not within a year of weather.
    Never,
}

/// What charge comes from and goes to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LedgerPurpose {
    /// What panel and charger offer.
    Sun,
    /// What the running node draws.
    Load(Purpose),
    /// Joining the network after a stop.
    Joining,
    /// The charger, in the dark.
    ChargerInTheDark,
    /// What leaks inside the battery.
    SelfDischarge,
}

/// One line of the ledger: means over many lives. What the running node draws is per day of running.
#[derive(Clone, Debug, PartialEq)]
pub struct LedgerEntry {
    /// What for.
    pub purpose: LedgerPurpose,
    /// Per day over the year; earnings positive, spendings negative.
    pub per_day: Charge,
    /// Per day in the darkest month.
    pub per_dark_day: Charge,
}

/// One month of the year: means over many lives.
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
    /// What the node spent per day in which it ran, all drains included.
    pub spent_per_day: Charge,
    /// Mean air temperature.
    pub air: Temperature,
    /// Lowest state of charge at the end of a day, of all these lives.
    pub lowest_charge: Share,
    /// Hours stopped in a year, mean over all lives.
    pub outage_hours: f64,
}
