//! One life to look at, hour by hour.
#![expect(clippy::cast_possible_truncation, reason = "lives have few years")]

use design::node::Design;
use design::panel::PanelModel;
use design::quantity::{Current, Duration, Irradiance, Share, Temperature, Voltage};

use super::kernel::{HourOutcome, Life};
use super::node::NodeTables;
use super::run::{HOURS_PER_DAY, LifeOutcome, LivedHour, Recorder, Trial, live};
use crate::power::charger::charging_current;
use crate::sky::hours::HourWeather;
use crate::sky::light::{YEAR_DAYS, YEAR_HOURS, nominal_hours};
use design::panel::diode::Point;

/// An hour of a life, as a date: `pass` counts the years lived, from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Moment {
    /// Years lived before this one.
    pub pass: u16,
    /// 1 to 12.
    pub month: u8,
    /// 1 to 31.
    pub day: u8,
    /// Hour of the day in mean solar time or local standard time, 0 to 23.
    pub hour: u8,
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

/// One hour as it was lived.
#[derive(Clone, Copy, Debug)]
struct KeptHour {
    index: usize,
    place: usize,
    weather: HourWeather,
    yield_factor: f32,
    charge: f32,
    outcome: HourOutcome,
}

/// Keeps hours of a life.
struct HourByHour {
    from: usize,
    to: usize,
    kept: Vec<KeptHour>,
}

impl Recorder for HourByHour {
    const HOURLY: bool = true;

    fn hour(&mut self, hour: &LivedHour<'_>) {
        if (self.from..self.to).contains(&hour.index) {
            self.kept.push(KeptHour {
                index: hour.index,
                place: hour.place,
                weather: *hour.weather,
                yield_factor: hour.life.yield_factor,
                charge: hour.life.charge() as f32,
                outcome: *hour.outcome,
            });
        }
    }
}

/// The life with the median lowest charge.
#[must_use]
pub fn median_life(lives: &[LifeOutcome]) -> Option<&LifeOutcome> {
    let mut sorted: Vec<&LifeOutcome> = lives.iter().collect();
    sorted.sort_by(|one, other| {
        one.lowest_charge.total_cmp(&other.lowest_charge).then(one.life.cmp(&other.life))
    });
    sorted.get(sorted.len() / 2).copied()
}

/// Waits until a battery has this share of its new capacity left.
struct Wear {
    left: f64,
    days: usize,
    worn: bool,
}

impl Recorder for Wear {
    fn day(&mut self, _day: usize, life: &Life, _counts: bool) {
        self.days += 1;
        self.worn = life.capacity_left() <= self.left;
    }

    fn is_done(&self) -> bool {
        self.worn
    }
}

/// After how long the battery of a life has this share of its new capacity left; `None` if it has more to the end.
#[must_use]
pub fn worn_to(trial: &Trial<'_>, life: &LifeOutcome, left: Share) -> Option<Duration> {
    let mut wear = Wear { left: left.fraction(), days: 0, worn: false };
    live(trial, life.life, None, &mut wear);
    wear.worn.then(|| Duration::from_days(wear.days as f64))
}

/// The hours of the year around the lowest charge of a life.
#[must_use]
pub fn year_around_the_lowest(design: &Design, trial: &Trial<'_>, life: &LifeOutcome) -> Vec<Hour> {
    let all = trial.days * HOURS_PER_DAY;
    let lowest = life.first_outage.unwrap_or(life.lowest_hour) as usize;
    let from = lowest.saturating_sub(YEAR_HOURS / 2).min(all.saturating_sub(YEAR_HOURS));
    let mut recorder = HourByHour { from, to: from + YEAR_HOURS, kept: Vec::with_capacity(YEAR_HOURS) };
    live(trial, life.life, None, &mut recorder);
    let panel = design.panel.as_ref().map(|mounted| mounted.panel.curve());
    let node = &trial.nodes[life.class];
    recorder.kept.iter().map(|kept| hour(design, panel.as_ref(), node, kept)).collect()
}

/// An hour of a life as a date.
#[must_use]
pub fn moment(index: usize, place: usize) -> Moment {
    let start = nominal_hours()[place];
    Moment { pass: (index / YEAR_HOURS) as u16, month: start.month, day: start.day, hour: start.hour }
}

fn hour(design: &Design, panel: Option<&PanelModel>, node: &NodeTables, kept: &KeptHour) -> Hour {
    let (weather, outcome) = (&kept.weather, &kept.outcome);
    let net = outcome.taken - outcome.spent;
    let volts = f64::from(node.terminal_volts(kept.charge, weather.battery_celsius, net));
    let (sun, cell) = (f64::from(weather.in_plane_w_m2 * kept.yield_factor), f64::from(weather.cell_celsius));
    let point = match (panel, &design.charger) {
        (Some(panel), Some(charger)) if sun > 0.0 => {
            charging_current(&panel.at(sun, cell), charger, volts, f64::from(outcome.taken)).panel
        }
        _ => Point::default(),
    };
    Hour {
        at: moment(kept.index, kept.place),
        in_plane: Irradiance::from_watts_per_square_metre(sun),
        air: Temperature::from_celsius(f64::from(weather.air_celsius)),
        cell: Temperature::from_celsius(cell),
        battery: Temperature::from_celsius(f64::from(weather.battery_celsius)),
        panel_current: Current::from_amperes(point.amperes),
        panel_voltage: Voltage::from_volts(point.volts),
        battery_current: Current::from_amperes(f64::from(net)),
        battery_voltage: Voltage::from_volts(volts),
        charge: Share::from_fraction(f64::from(kept.charge)),
        state: state(outcome),
    }
}

fn state(outcome: &HourOutcome) -> NodeState {
    match outcome {
        outcome if outcome.out() => NodeState::Stopped,
        outcome if outcome.gated => NodeState::Gated,
        outcome if outcome.full => NodeState::Full,
        _ => NodeState::Running,
    }
}

/// A life to look at in the year around its lowest point: each day, and a fortnight hour by hour.
#[derive(Clone, Debug, PartialEq)]
pub struct YearInBrief {
    /// State of charge at the end of each day, by day of the year.
    pub charge_by_day: Vec<Share>,
    /// Day of the year on which that year begins.
    pub first_day: usize,
    /// Its fortnight around the lowest point, hour by hour.
    pub fortnight: Vec<FortnightHour>,
}

/// One hour of a fortnight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FortnightHour {
    /// Hour of the year.
    pub place: usize,
    /// Sun on the plane past the cover [W/m²].
    pub in_plane_w_m2: f32,
    /// Air [°C].
    pub air_celsius: f32,
    /// Battery [°C].
    pub battery_celsius: f32,
    /// Net current into the battery \[A\].
    pub amperes: f32,
    /// State of charge at its end.
    pub charge: f32,
    /// Whether the node ran.
    pub running: bool,
}

/// Keeps the year around an hour in brief.
struct Brief {
    first: usize,
    middle: usize,
    year: YearInBrief,
}

impl Recorder for Brief {
    const HOURLY: bool = true;

    fn hour(&mut self, hour: &LivedHour<'_>) {
        const WEEK_H: usize = 7 * HOURS_PER_DAY;
        if hour.index == self.first * HOURS_PER_DAY {
            self.year.first_day = hour.place / HOURS_PER_DAY;
        }
        let day = hour.index / HOURS_PER_DAY;
        if hour.place % HOURS_PER_DAY == 23 && (self.first..self.first + YEAR_DAYS).contains(&day) {
            self.year.charge_by_day[hour.place / HOURS_PER_DAY] = Share::from_fraction(hour.life.charge());
        }
        if hour.index.abs_diff(self.middle) < WEEK_H {
            self.year.fortnight.push(FortnightHour {
                place: hour.place,
                in_plane_w_m2: hour.weather.in_plane_w_m2 * hour.life.yield_factor,
                air_celsius: hour.weather.air_celsius,
                battery_celsius: hour.weather.battery_celsius,
                amperes: hour.outcome.taken - hour.outcome.spent,
                charge: hour.life.charge() as f32,
                running: !hour.outcome.out(),
            });
        }
    }
}

/// The year of a life around its first outage, or else its lowest charge, in brief.
#[must_use]
pub fn year_in_brief(trial: &Trial<'_>, life: &LifeOutcome) -> YearInBrief {
    let middle = life.first_outage.unwrap_or(life.lowest_hour) as usize;
    let first =
        (middle / HOURS_PER_DAY).saturating_sub(YEAR_DAYS / 2).min(trial.days.saturating_sub(YEAR_DAYS));
    let year =
        YearInBrief { charge_by_day: vec![Share::ZERO; YEAR_DAYS], first_day: 0, fortnight: Vec::new() };
    let mut brief = Brief { first, middle, year };
    live(trial, life.life, None, &mut brief);
    brief.year
}
