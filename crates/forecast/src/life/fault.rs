//! One thing gone wrong: what kills nodes in the field is rarely the design as drawn.
#![expect(clippy::cast_possible_truncation, reason = "the kernel is in single precision")]

use design::node::Design;
use design::part::Regulator;
use design::quantity::{Current, Duration, Share};

use super::ensemble::on_threads;
use super::run::{Darkness, LifeRun, LivedHour, Recorder, Running, Trial};
use super::unknowns::UnknownScores;
use crate::load::Demand;
use crate::sky::light::YEAR_DAYS;

/// A panel under snow, leaves or a fallen branch until somebody comes or it thaws (own choice, no source).
const BURIED_DAYS: usize = 60;
/// No-load current of a three-terminal regulator of the old kind on a board (from memory, common practice).
const OLD_REGULATOR_NO_LOAD: Current = Current::from_milliamperes(5.0);
/// Lives with each fault.
const FAULTED_LIVES: usize = 50;
/// Lives with a fault have weather of their own.
const FIRST_FAULTED: u64 = 1 << 40;
/// The longest a node is followed without sun: long enough for any primary cell \[years\].
const LONGEST_WITHOUT_SUN_YEARS: usize = 40;
/// Draws of weather for the node with its parts as designed.
const NOMINAL_LIVES: usize = 15;

/// What can go wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultKind {
    /// The radio was not sent to sleep.
    RadioInStandby,
    /// No gateway answers, and it tries to join again and again.
    GatewayAway,
    /// No gateway answers, and every confirmed message is sent eight times.
    ConfirmedInVain,
    /// The positioning receiver searches where there are no satellites.
    ReceiverSearching,
    /// Sensors were not switched off.
    SensorsLeftOn,
    /// A regulator of the old kind stands on the board.
    IdlingRegulator,
    /// The panel's plug is out.
    PanelUnplugged,
    /// Snow, leaves or a branch lie on the panel.
    PanelBuried,
}

/// A thing gone wrong: load on top, or no sun.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// Which one.
    pub kind: FaultKind,
    /// Extra load while the node runs.
    pub extra: Current,
    /// Whether a stop clears it, or the end of the event.
    pub clears_by_itself: bool,
    /// What it takes of the sun.
    pub darkness: Darkness,
}

/// How lives fared with a fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Faulted {
    /// The fault.
    pub fault: Fault,
    /// Days until it stopped, ascending, for the lives that did within a year.
    pub days_to_stop: Vec<f64>,
    /// How many of those came back for good within another year.
    pub came_back: usize,
    /// How many lives were lived.
    pub lives: usize,
}

/// Everything that can go wrong with this design, whose joins and messages draw so much.
#[must_use]
pub fn possible(design: &Design, demand: &Demand) -> Vec<Fault> {
    let mut found = Vec::new();
    let mut draws = |kind, extra: Current, clears_by_itself| {
        found.push(Fault { kind, extra, clears_by_itself, darkness: Darkness::None });
    };
    if let Some(radio) = &design.radio {
        draws(FaultKind::RadioInStandby, radio.radio.standby, true);
        draws(FaultKind::GatewayAway, demand.join / radio.join_retry, false);
        if demand.in_vain > Current::ZERO {
            draws(FaultKind::ConfirmedInVain, demand.in_vain, false);
        }
    }
    if let Some(receiver) = &design.receiver {
        draws(FaultKind::ReceiverSearching, receiver.acquire.nominal, true);
    }
    let left_on: Current = design.loads.iter().map(|load| load.sensors_left_on).sum();
    if left_on > Current::ZERO {
        draws(FaultKind::SensorsLeftOn, left_on, true);
    }
    let idles = |regulator: &Regulator| matches!(regulator, Regulator::Ldo { .. } | Regulator::Buck { .. });
    if design.loads.iter().any(|load| idles(&load.regulator)) {
        draws(FaultKind::IdlingRegulator, OLD_REGULATOR_NO_LOAD, false);
    }
    if design.panel.is_some() {
        let dark = |kind, darkness, clears_by_itself| Fault {
            kind,
            extra: Current::ZERO,
            clears_by_itself,
            darkness,
        };
        found.push(dark(FaultKind::PanelUnplugged, Darkness::Forever, false));
        found.push(dark(FaultKind::PanelBuried, Darkness::Days(BURIED_DAYS), true));
    }
    found
}

/// The stages of a fault: when it stopped the node, and since when that has been back for good.
#[derive(Clone, Copy, Debug, Default)]
struct Stages {
    stopped_h: Option<usize>,
    running: Running,
    back_h: Option<usize>,
}

impl Recorder for Stages {
    fn hour(&mut self, hour: &LivedHour<'_>) {
        let out = hour.outcome.out();
        if self.stopped_h.is_none() && out {
            self.stopped_h = Some(hour.index);
        }
        let is_back = self.running.pass(hour.hours, out);
        if self.stopped_h.is_some() && self.back_h.is_none() && is_back {
            self.back_h = Some(hour.index + 1 - self.running.hours);
        }
    }
}

/// Lives lives with a fault that begins on this day with a full battery.
#[must_use]
pub fn with_fault(trial: &Trial<'_>, day: usize, fault: &Fault, threads: usize) -> Faulted {
    let trial = Trial { start_day: Some(day), charge: Share::from_fraction(1.0), ..*trial };
    let ends = on_threads(threads, FAULTED_LIVES, |number| {
        let mut run = LifeRun::new(&trial, FIRST_FAULTED + number as u64, None);
        run.life.extra_amperes = fault.extra.amperes() as f32;
        run.life.extra_clears = fault.clears_by_itself;
        run.darkness = fault.darkness;
        stages(run, YEAR_DAYS)
    });
    let stopped_h = ends.iter().filter_map(|stages| stages.stopped_h);
    let mut days_to_stop: Vec<f64> = stopped_h.map(|hours| hours as f64 / 24.0).collect();
    days_to_stop.sort_by(f64::total_cmp);
    // Without any sun a warm spell may free some charge once more, but that is no return.
    let sunless = fault.darkness == Darkness::Forever || !trial.has_sun();
    let came_back = if sunless { 0 } else { ends.iter().filter(|stages| stages.back_h.is_some()).count() };
    Faulted { fault: *fault, days_to_stop, came_back, lives: FAULTED_LIVES }
}

/// Lives until the node is back, for at most so many days until it stops and another year.
fn stages(mut run: LifeRun<'_>, longest_days: usize) -> Stages {
    let mut stages = Stages::default();
    let mut index = 0;
    let last = |stages: &Stages| stages.stopped_h.map_or(longest_days, |hours| hours / 24 + 1 + YEAR_DAYS);
    while stages.back_h.is_none() && index < last(&stages) {
        run.live_day(index, &mut stages);
        index += 1;
    }
    stages
}

/// How long a node with its parts as designed lasts without sun from this day and charge, median over drawn weather.
#[must_use]
pub fn reserve(nominal: &Trial<'_>, day: usize, charge: Share, threads: usize) -> Duration {
    let trial =
        Trial { start_day: Some(day), charge, days: LONGEST_WITHOUT_SUN_YEARS * YEAR_DAYS, ..*nominal };
    let longest = 24 * trial.days;
    let hours = on_threads(threads, NOMINAL_LIVES, |number| {
        let mut run = LifeRun::new(&trial, FIRST_FAULTED + number as u64, Some(UnknownScores::nominal()));
        run.darkness = Darkness::Forever;
        Some(run.until_stopped().map_or(longest, |hours| hours as usize))
    });
    median(hours.into_iter()).unwrap_or_default()
}

/// After how long a node with its parts as designed is back for good that has stopped on this day, median over drawn
/// weather; `None` if half of the draws are not within a year. Starting and sagging it has drained itself to where its
/// battery rests at the voltage that stops it.
#[must_use]
pub fn comeback(nominal: &Trial<'_>, day: usize, threads: usize) -> Option<Duration> {
    let trial = Trial { start_day: Some(day), charge: Share::from_fraction(1.0), ..*nominal };
    let back = on_threads(threads, NOMINAL_LIVES, |number| {
        let mut run = LifeRun::new(&trial, FIRST_FAULTED + number as u64, Some(UnknownScores::nominal()));
        run.sag();
        let mut stages = Stages { stopped_h: Some(0), ..Stages::default() };
        let mut index = 0;
        while stages.back_h.is_none() && index < YEAR_DAYS {
            run.live_day(index, &mut stages);
            index += 1;
        }
        stages.back_h
    });
    median(back.into_iter()).filter(|_| trial.has_sun())
}

/// Watches for a battery that is half full.
#[derive(Default)]
struct HalfFull(Option<usize>);

impl Recorder for HalfFull {
    fn hour(&mut self, hour: &LivedHour<'_>) {
        if hour.life.charge() >= 0.5 {
            self.0.get_or_insert(hour.index);
        }
    }

    fn is_done(&self) -> bool {
        self.0.is_some()
    }
}

/// How long an empty battery of a stopped node with its parts as designed takes from this day to be half full, median over
/// drawn weather; `None` if half of the draws take more than a year.
#[must_use]
pub fn refill(nominal: &Trial<'_>, day: usize, threads: usize) -> Option<Duration> {
    let trial = Trial { start_day: Some(day), charge: Share::ZERO, days: YEAR_DAYS, ..*nominal };
    median(
        on_threads(threads, NOMINAL_LIVES, |number| {
            let mut run = LifeRun::new(&trial, FIRST_FAULTED + number as u64, Some(UnknownScores::nominal()));
            run.life.running = false;
            let mut half = HalfFull::default();
            run.live(&mut half);
            half.0
        })
        .into_iter(),
    )
}

/// The median of hours, those without coming last; `None` if it falls on one without.
fn median(hours: impl Iterator<Item = Option<usize>>) -> Option<Duration> {
    let mut hours: Vec<usize> = hours.map(|hours| hours.unwrap_or(usize::MAX)).collect();
    hours.sort_unstable();
    let middle = hours.get(hours.len() / 2).copied().filter(|hours| *hours < usize::MAX);
    middle.map(|hours| Duration::from_hours(hours as f64))
}

/// How long lives last if nobody comes, ascending; those that see the end of the trial without an outage are left out.
#[must_use]
pub fn lifetimes(trial: &Trial<'_>, lives: usize, threads: usize) -> Vec<Duration> {
    let first = on_threads(threads, lives, |number| LifeRun::new(trial, number as u64, None).until_stopped());
    let mut hours: Vec<u32> = first.into_iter().flatten().collect();
    hours.sort_unstable();
    hours.into_iter().map(|hours| Duration::from_hours(hours.into())).collect()
}
