//! What the node draws: floor, activities and drains, compiled into one table that the lives look up by the hour.
#![expect(clippy::cast_possible_truncation, reason = "single precision is the point of the tables")]

mod fix;
mod uplink;

pub use fix::FixCost;
pub(crate) use uplink::expected_tries;
pub use uplink::{LARGEST_TRIES, MessageCost, join_cost};

use design::message::bytes_at;
use design::node::{Activity, Condition, Design, Load, Step};
use design::part::Regulator;
use design::quantity::{Charge, Current, Duration, Voltage};
use design::schedule::RISE_MARGIN;
use design::surroundings::Sky;

use crate::diary::{Diary, Situation};
use crate::power::battery::Pulse;
use crate::radio::link_state::LinkState;

/// A current at the battery: one part that flows whatever the voltage, one part of constant power behind a converter.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Draw {
    /// Current that does not depend on the battery voltage \[A\].
    pub amperes: f32,
    /// Power drawn through a switching regulator \[W\].
    pub watts: f32,
}

impl Draw {
    /// The draw at the battery for a current behind a regulator, averaged with weight `duty`.
    fn behind(regulator: &Regulator, current: Current, duty: f64) -> Self {
        match *regulator {
            Regulator::None | Regulator::Ldo { .. } => {
                Self { amperes: (current.amperes() * duty) as f32, watts: 0.0 }
            }
            Regulator::Buck { output, efficiency, .. } => {
                let watts = (output * current).watts() / efficiency.fraction();
                Self { amperes: 0.0, watts: (watts * duty) as f32 }
            }
        }
    }

    /// The current at this battery voltage \[A\].
    #[inline]
    #[must_use]
    pub fn at(self, battery_volts: f32) -> f32 {
        self.amperes + self.watts / battery_volts
    }

    fn plus(self, other: Self) -> Self {
        Self { amperes: self.amperes + other.amperes, watts: self.watts + other.watts }
    }
}

/// What charge is drawn for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// A load at rest.
    Sleeping {
        /// Its name.
        load: String,
    },
    /// A load's regulator, for itself.
    Regulator {
        /// Name of the load.
        load: String,
    },
    /// A phase of an activity.
    Activity {
        /// Its name.
        activity: String,
        /// Which phase.
        phase: Phase,
    },
    /// The positioning receiver's clock and memory between fixes.
    PositioningBackup,
    /// The capacitor across the rail.
    BufferLeakage,
    /// A draw that is given, for whatever.
    Given,
}

/// A phase of an activity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Phase {
    /// A sensor or the processor at work.
    Measuring,
    /// On the air.
    Sending,
    /// Between a message and a receive window.
    WaitingForWindow,
    /// In a receive window.
    Listening,
    /// While satellite signals are recorded for a position that is worked out elsewhere.
    RecordingSatellites,
    /// Until a position is found.
    Fixing,
    /// Until a search without satellites is given up.
    SearchingInVain,
}

/// A share of the mean draw in an hour, with its purpose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contribution {
    /// Index into [`Demand::purposes`].
    pub purpose: usize,
    /// The mean draw over the hour.
    pub draw: Draw,
    /// Only when the air is colder than this [°C].
    pub air_below_celsius: f32,
}

/// What is drawn in one kind of hour at one level of charge.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Row {
    /// The floors: what the board draws asleep.
    pub floor: Draw,
    /// Everything else, whatever the air temperature.
    pub always: Draw,
    /// Whether any of it flows through a converter, so that it hangs on the battery voltage.
    pub by_power: bool,
    /// Air below which there is more, at this or another level [°C].
    pub cold_below_celsius: f32,
    /// On top of it when the air is below each threshold [°C].
    pub when_cold: Vec<(f32, Draw)>,
    /// Reports sent per hour, with the same thresholds.
    pub reports: Vec<(f32, f32)>,
    /// The same, by purpose.
    pub contributions: Vec<Contribution>,
}

impl Row {
    /// Current of the floor and of everything else with the air this cold [°C] and the battery at this voltage.
    #[inline]
    #[must_use]
    pub fn amperes(&self, air_celsius: f32, battery_volts: impl FnOnce() -> f32) -> (f32, f32) {
        let active =
            if air_celsius < self.cold_below_celsius { self.active(air_celsius) } else { self.always };
        if !self.by_power {
            return (self.floor.amperes, active.amperes);
        }
        let battery_volts = battery_volts();
        (self.floor.at(battery_volts), active.at(battery_volts))
    }

    /// The draw above the floor with the air this cold [°C].
    #[must_use]
    pub fn active(&self, air_celsius: f32) -> Draw {
        let cold = self.when_cold.iter().filter(|(threshold, _)| air_celsius < *threshold);
        cold.fold(self.always, |sum, (_, draw)| sum.plus(*draw))
    }

    /// Reports per hour with the air this cold [°C].
    #[must_use]
    pub fn reports_per_hour(&self, air_celsius: f32) -> f32 {
        self.reports.iter().filter(|(threshold, _)| air_celsius < *threshold).map(|(_, count)| count).sum()
    }
}

/// Everything a node draws while it runs, by kind of hour and level of charge.
#[derive(Clone, Debug)]
pub struct Demand {
    /// The purposes, in the order of the file.
    pub purposes: Vec<Purpose>,
    /// Charge levels at which intervals change, ascending, the first 0; a level holds from its charge upwards.
    pub levels: Vec<f32>,
    /// Charge from which a node goes up to each of them.
    rises_at: Vec<f32>,
    /// Kinds of hours that occur.
    kinds: Vec<Situation>,
    /// Row of kind `k` at level `l`: `rows[k * levels + l]`.
    rows: Vec<Row>,
    /// The largest pulse.
    pub pulse: Pulse,
    /// Charge for joining the network once.
    pub join: Charge,
    /// What confirmed messages draw more, in the kind of hour that sends most of them, if none is ever answered.
    pub in_vain: Current,
}

impl Demand {
    /// Compiles the loads of a design for the kinds of hours that its diary brings, its messages going as it states.
    #[must_use]
    pub fn new(design: &Design, diary: &Diary) -> Self {
        Self::on_link(design, &LinkState::as_designed(design), diary)
    }

    /// Compiles the loads of a design for the kinds of hours that its diary brings, its messages going as `link` says.
    #[must_use]
    pub fn on_link(design: &Design, link: &LinkState, diary: &Diary) -> Self {
        let mut demand = Self::compiled(design, link, diary);
        if design.asks_for_answers() {
            demand.in_vain = demand.more_in(&Self::compiled(design, &link.in_vain(), diary), design);
        }
        demand
    }

    /// The most that another demand of the same design draws more at full charge, with the air cold enough for all.
    fn more_in(&self, other: &Self, design: &Design) -> Current {
        let volts = design.cutoff.restarts_above.volts() as f32;
        let at = |demand: &Self, kind: usize| {
            let row = demand.row(kind, demand.levels.len() - 1);
            f64::from(row.active(f32::NEG_INFINITY).plus(row.floor).at(volts))
        };
        let most = (0..self.kinds()).map(|kind| at(other, kind) - at(self, kind)).fold(0.0, f64::max);
        Current::from_amperes(most)
    }

    fn compiled(design: &Design, link: &LinkState, diary: &Diary) -> Self {
        let levels = charge_levels(&design.loads);
        let mut purposes = Vec::new();
        let mut rows: Vec<Row> = Vec::with_capacity(diary.situations().len() * levels.len());
        for situation in diary.situations() {
            for &level in &levels {
                rows.push(row(design, link, *situation, level, &mut purposes));
            }
        }
        for rows in rows.chunks_mut(levels.len()) {
            let warmest = rows.iter().map(|row| row.cold_below_celsius).fold(f32::NEG_INFINITY, f32::max);
            for row in rows {
                row.cold_below_celsius = warmest;
            }
        }
        let join = design.radio.as_ref().map_or(Charge::ZERO, |radio| join_cost(radio, link));
        Self {
            purposes,
            rises_at: levels.iter().map(|level| (level + RISE_MARGIN.fraction() as f32).min(1.0)).collect(),
            levels,
            kinds: diary.situations().to_vec(),
            rows,
            pulse: largest_pulse(design, link),
            join,
            in_vain: Current::ZERO,
        }
    }

    /// A constant draw and nothing else: for stores and walks whose load is given.
    #[must_use]
    pub fn constant(current: Current) -> Self {
        let draw = Draw { amperes: current.amperes() as f32, watts: 0.0 };
        let contributions = vec![Contribution { purpose: 0, draw, air_below_celsius: f32::INFINITY }];
        let row =
            Row { always: draw, cold_below_celsius: f32::NEG_INFINITY, contributions, ..Row::default() };
        Self {
            purposes: vec![Purpose::Given],
            levels: vec![0.0],
            rises_at: vec![0.0],
            kinds: vec![Situation::default()],
            rows: vec![row],
            pulse: Pulse::default(),
            join: Charge::ZERO,
            in_vain: Current::ZERO,
        }
    }

    /// The index of the level that holds at this share of charge.
    #[inline]
    #[must_use]
    pub fn level(&self, charge: f32) -> usize {
        self.levels.iter().skip(1).filter(|level| charge >= **level).count()
    }

    /// Whether intervals depend on the charge.
    #[inline]
    #[must_use]
    pub fn by_charge(&self) -> bool {
        self.levels.len() > 1
    }

    /// Whether a node on this level stays there while it reads this charge, though it may go up.
    #[inline]
    #[must_use]
    pub fn holds(&self, level: usize, charge: f32) -> bool {
        charge >= self.levels[level] && self.rises_at.get(level + 1).is_none_or(|rises| charge < *rises)
    }

    /// What is drawn in this kind of hour at this level.
    #[inline]
    #[must_use]
    pub fn row(&self, kind: usize, level: usize) -> &Row {
        &self.rows[self.place(kind, level)]
    }

    /// Place of that among [`Self::rows`].
    #[inline]
    #[must_use]
    pub fn place(&self, kind: usize, level: usize) -> usize {
        kind * self.levels.len() + level
    }

    /// What is drawn in each kind of hour at each level.
    #[must_use]
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// Current of the floor and of everything else at this level in hours of these kinds with the air no colder than this
    /// [°C], if it is the same in all of them at any battery voltage.
    #[inline]
    #[must_use]
    pub fn steady_amperes(&self, kinds: &[u16], level: usize, coldest_celsius: f32) -> Option<(f32, f32)> {
        let first = *kinds.first()?;
        let row = self.row(usize::from(first), level);
        let alike = kinds.iter().all(|kind| *kind == first);
        let steady = alike && !row.by_power && coldest_celsius >= row.cold_below_celsius;
        steady.then_some((row.floor.amperes, row.always.amperes))
    }

    /// How many kinds of hours there are.
    #[must_use]
    pub fn kinds(&self) -> usize {
        self.kinds.len()
    }

    /// The mean charge drawn per day in this kind of hour at this level and with the air at this temperature.
    #[must_use]
    pub fn per_day(&self, kind: usize, level: usize, battery: Voltage, air_celsius: f32) -> Charge {
        let row = self.row(kind, level);
        let draw = row.active(air_celsius).plus(row.floor);
        Current::from_amperes(f64::from(draw.at(battery.volts() as f32))) * Duration::from_days(1.0)
    }
}

fn charge_levels(loads: &[Load]) -> Vec<f32> {
    let activities = loads.iter().flat_map(|load| &load.activities);
    let shares = activities.flat_map(|activity| activity.every.rows());
    let mut levels: Vec<f32> = shares.map(|(share, _)| share.fraction() as f32).chain([0.0]).collect();
    levels.sort_by(f32::total_cmp);
    levels.dedup();
    levels
}

fn row(
    design: &Design,
    link: &LinkState,
    situation: Situation,
    level: f32,
    purposes: &mut Vec<Purpose>,
) -> Row {
    let mut row = Row::default();
    for load in &design.loads {
        let mut busy_share = 0.0;
        for activity in &load.activities {
            if holds_in(&activity.when, situation) {
                busy_share +=
                    add_activity(&mut row, (design, link), load, activity, situation, level, purposes);
            }
        }
        add_floor(&mut row, load, busy_share, purposes);
    }
    if let Some(backup) = design.receiver.as_ref().and_then(|receiver| receiver.backup) {
        let draw = Draw { amperes: backup.amperes() as f32, watts: 0.0 };
        add(&mut row, purpose(purposes, Purpose::PositioningBackup), draw, f32::INFINITY);
    }
    if let Some(buffer) = &design.buffer {
        let draw = Draw { amperes: buffer.leakage.amperes() as f32, watts: 0.0 };
        add(&mut row, purpose(purposes, Purpose::BufferLeakage), draw, f32::INFINITY);
    }
    let cold = row.when_cold.iter();
    row.cold_below_celsius = cold.fold(f32::NEG_INFINITY, |warmest, (threshold, _)| warmest.max(*threshold));
    let draws = [row.floor, row.always].into_iter().chain(row.when_cold.iter().map(|(_, draw)| *draw));
    row.by_power = draws.into_iter().any(|draw| draw.watts > 0.0);
    row
}

fn holds_in(when: &Condition, situation: Situation) -> bool {
    when.moving.is_none_or(|moving| moving == situation.moving)
        && (when.months.is_empty() || when.months.contains(&situation.month))
        && when.hours.is_none_or(|(from, to)| crate::diary::hour_between(situation.hour, from, to))
}

/// The floor flows while nothing else does: an activity's currents are totals of the board while it is busy.
fn add_floor(row: &mut Row, load: &Load, busy_share: f64, purposes: &mut Vec<Purpose>) {
    let idle = Draw::behind(&load.regulator, load.floor.nominal, (1.0 - busy_share).max(0.0));
    let purpose_asleep = purpose(purposes, Purpose::Sleeping { load: load.name.clone() });
    row.contributions.push(Contribution {
        purpose: purpose_asleep,
        draw: idle,
        air_below_celsius: f32::INFINITY,
    });
    row.floor = row.floor.plus(idle);
    if let Regulator::Ldo { quiescent, .. } | Regulator::Buck { quiescent, .. } = load.regulator {
        let own = Draw { amperes: quiescent.amperes() as f32, watts: 0.0 };
        add(row, purpose(purposes, Purpose::Regulator { load: load.name.clone() }), own, f32::INFINITY);
    }
}

/// Adds one activity and returns the share of time in which it keeps the load awake.
///
/// An activity that waits for cold air is not counted as busy, so that the floor never falls short.
fn add_activity(
    row: &mut Row,
    (design, link): (&Design, &LinkState),
    load: &Load,
    activity: &Activity,
    situation: Situation,
    level: f32,
    purposes: &mut Vec<Purpose>,
) -> f64 {
    let Some(interval) = interval_at(activity, situation.month, level) else { return 0.0 };
    let per_second = 1.0 / interval.seconds();
    let threshold = activity.when.air_below.map_or(f32::INFINITY, |air| air.celsius() as f32);
    let mut busy_seconds = 0.0;
    for step in &activity.steps {
        for (phase, current, seconds) in costs(design, link, step, interval, situation.sky) {
            busy_seconds += seconds;
            let draw = Draw::behind(&load.regulator, current, seconds * per_second);
            let activity = activity.name.clone();
            add(row, purpose(purposes, Purpose::Activity { activity, phase }), draw, threshold);
        }
        if matches!(step, Step::Uplink { .. }) {
            row.reports.push((threshold, (3600.0 * per_second) as f32));
        }
    }
    if threshold.is_finite() { 0.0 } else { busy_seconds * per_second }
}

/// The interval of an activity in a month at a level of charge; `None` if it does not happen there.
fn interval_at(activity: &Activity, month: u8, level: f32) -> Option<Duration> {
    let rows = activity.every.rows();
    let (_, months) = rows.iter().find(|(share, _)| level >= share.fraction() as f32)?;
    months[usize::from(month) - 1]
}

/// What one step costs: phase, current and mean time of each of its phases.
fn costs(
    design: &Design,
    link: &LinkState,
    step: &Step,
    interval: Duration,
    sky: Sky,
) -> Vec<(Phase, Current, f64)> {
    match step {
        Step::Draw { current, time } => vec![(Phase::Measuring, current.nominal, time.seconds())],
        Step::Uplink { message, payload, confirmed, loss } => {
            let Some(radio) = &design.radio else { return Vec::new() };
            let tries = if *confirmed { uplink::expected_tries(link.lost(*loss).fraction()) } else { 1.0 };
            let bytes = |rate| bytes_at(&design.messages, message.as_deref(), *payload, rate);
            let cost = MessageCost::new(radio, link, bytes);
            vec![
                (Phase::Sending, radio.transmit_current.nominal, cost.sending.seconds() * tries),
                (Phase::WaitingForWindow, radio.radio.wait, cost.waiting.seconds() * tries),
                (Phase::Listening, radio.radio.receive, cost.listening.seconds() * tries),
            ]
        }
        Step::Snapshot { time, .. } => {
            let Some(receiver) = &design.receiver else { return Vec::new() };
            vec![(Phase::RecordingSatellites, receiver.acquire.nominal, time.seconds())]
        }
        Step::Fix { give_up_after, failures } => {
            let Some(receiver) = &design.receiver else { return Vec::new() };
            let cost = FixCost::new(receiver, interval, *give_up_after, failures.fraction(), sky);
            vec![
                (Phase::Fixing, receiver.acquire.nominal, cost.fixing.seconds()),
                (Phase::SearchingInVain, receiver.acquire.nominal, cost.searching_in_vain.seconds()),
            ]
        }
    }
}

fn purpose(purposes: &mut Vec<Purpose>, purpose: Purpose) -> usize {
    purposes.iter().position(|known| *known == purpose).unwrap_or_else(|| {
        purposes.push(purpose);
        purposes.len() - 1
    })
}

fn add(row: &mut Row, purpose: usize, draw: Draw, air_below_celsius: f32) {
    if draw == Draw::default() {
        return;
    }
    row.contributions.push(Contribution { purpose, draw, air_below_celsius });
    if air_below_celsius == f32::INFINITY {
        row.always = row.always.plus(draw);
    } else {
        let known =
            row.when_cold.iter_mut().find(|(threshold, _)| threshold.total_cmp(&air_below_celsius).is_eq());
        match known {
            Some((_, sum)) => *sum = sum.plus(draw),
            None => row.when_cold.push((air_below_celsius, draw)),
        }
    }
}

/// The step that draws the largest current at the battery; behind a converter at 3.3 V input or its output, if higher.
fn largest_pulse(design: &Design, link: &LinkState) -> Pulse {
    let mut largest = Pulse::default();
    for load in &design.loads {
        for step in load.activities.iter().flat_map(|activity| &activity.steps) {
            let (current, seconds) = match step {
                Step::Draw { current, time } => (current.nominal, time.seconds()),
                Step::Uplink { message, payload, .. } => {
                    let Some(radio) = &design.radio else { continue };
                    let bytes = |rate| bytes_at(&design.messages, message.as_deref(), *payload, rate);
                    (radio.transmit_current.nominal, MessageCost::longest(radio, link, bytes).seconds())
                }
                Step::Fix { give_up_after: time, .. } | Step::Snapshot { time, .. } => {
                    let Some(receiver) = &design.receiver else { continue };
                    (receiver.acquire.nominal, time.seconds())
                }
            };
            let draw = Draw::behind(&load.regulator, current, 1.0);
            let amperes = f64::from(draw.at(design.cutoff.stops_below.volts() as f32));
            if amperes > largest.amperes {
                largest = Pulse { amperes, seconds };
            }
        }
    }
    largest
}
