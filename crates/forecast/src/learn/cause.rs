//! What explains best why a node differs from its design, and what can't be known yet.

use design::node::Design;

use super::particle::{Particle, Regime};
use super::parts::{AFTERNOON, CAPACITY, MORNING, YIELD};
use super::swarm::{Learned, Swarm, present_load, present_yield};
use super::{Band, DAY_S, Past};
use crate::stats::normal::share_below;

/// What may explain it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum CauseKind {
    /// Less than the design says, all day.
    PanelLow,
    /// Less in the morning or in the afternoon.
    ShadeByHour,
    /// Nothing comes; the panel is dark.
    PanelBuried,
    /// Nothing comes; the panel has no voltage by day.
    PanelUnplugged,
    /// Nothing comes though the panel stands in light.
    ChargerIdle,
    /// Nothing comes, and the voltage of the panel is not sent.
    PanelOrCharger,
    /// It draws more.
    LoadUp,
    /// It starts again and again.
    RebootLoop,
    /// The battery holds less.
    BatteryWorn,
    /// Less sun than usual.
    WeatherWorse,
    /// Nothing is heard, and it runs.
    GatewayAway,
}

/// A cause with how likely it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cause {
    /// Which.
    pub kind: CauseKind,
    /// How likely.
    pub chance: f64,
    /// The figure that tells: yield, factor on the load, capacity over the label, restarts or days.
    pub figure: f64,
    /// The day since which it holds, counted since 1970 on the place's mean solar clock, if it began within the log.
    pub since_day: Option<i64>,
}

/// A quantity that is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// What the panel gives.
    Yield,
    /// What the node draws.
    Load,
    /// What the battery holds.
    Capacity,
}

/// Of what the log says almost nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NotKnown {
    /// Which.
    pub what: Quantity,
    /// Whether the battery was nearly always full: then no more than a least yield can show.
    pub always_full: bool,
}

const LOW_YIELD: (f64, f64) = (0.85, 0.75);
const SHADED: (f64, f64) = (0.7, 0.7);
const MORE_LOAD: (f64, f64) = (1.25, 0.75);
const WORN: (f64, f64) = (0.75, 0.70);
const NOTHING_FROM_PANEL: f64 = 0.5;
const REBOOTS_PER_DAY: f64 = 3.0;
const SILENT_DAYS: f64 = 1.0;
const SILENT_INTERVALS: f64 = 6.0;
const RUNS: f64 = 0.6;
/// Share of the open-circuit voltage from which a panel stands in light, and volts below which it is not there.
const LIT_SHARE: f64 = 0.92;
const UNPLUGGED_VOLTS: f32 = 0.5;
/// The least doubt of a quantity that is not known, as share of that before.
const WIDE: f64 = 0.7;
const FULL_FROM: f64 = 0.93;
/// A change is dated where it is likelier than a part that was so from the start.
const CHANGED: f64 = 0.5;
/// Skies so far below what is usual are worth a word, in standard deviations of their mean.
const DARK_SKY: f64 = -1.3;

/// What explains it, the likeliest first.
pub(super) fn causes(past: &Past<'_>, swarm: &Swarm, light: &[f64; 3], not_known: &[NotKnown]) -> Vec<Cause> {
    // Nobody is accused by what was believed before.
    let yield_is_known = not_known.iter().all(|one| one.what != Quantity::Yield);
    let mut found = Vec::new();
    let mut say = |kind, chance: f64, above: f64, figure: f64| {
        if chance > above {
            let since_day = since(kind, swarm);
            found.push(Cause { kind, chance, figure, since_day });
        }
    };
    let dead = swarm.chance(|one| one.regime.panel() <= 0.0);
    say(dark_kind(past.design, swarm), dead, NOTHING_FROM_PANEL, 0.0);
    if dead <= NOTHING_FROM_PANEL {
        let shade = |one: &Particle| one.parts[MORNING].min(one.parts[AFTERNOON]).exp();
        let low = |one: &Particle| one.parts[YIELD].exp() * f64::from(one.regime.panel());
        let median = |figure: &dyn Fn(&Particle) -> f64| swarm.median(figure);
        if yield_is_known {
            say(
                CauseKind::PanelLow,
                swarm.chance(|one| low(one) < LOW_YIELD.0),
                LOW_YIELD.1,
                median(&|one| present_yield(one, light)),
            );
        }
        say(CauseKind::ShadeByHour, swarm.chance(|one| shade(one) < SHADED.0), SHADED.1, median(&shade));
    }
    let load = swarm.chance(|one| present_load(one) > MORE_LOAD.0);
    say(CauseKind::LoadUp, load, MORE_LOAD.1, swarm.median(present_load));
    let capacity = |one: &Particle| one.parts[CAPACITY].exp();
    say(CauseKind::BatteryWorn, swarm.chance(|one| capacity(one) < WORN.0), WORN.1, swarm.median(capacity));
    let restarts = swarm.restarts_per_day();
    say(CauseKind::RebootLoop, restarts, REBOOTS_PER_DAY, restarts);
    let silent_days = silent_days(past);
    if silent_days > SILENT_DAYS.max(SILENT_INTERVALS * interval_days(past)) {
        say(CauseKind::GatewayAway, swarm.chance(|one| one.life.running), RUNS, silent_days);
    }
    let sky = swarm.sky_of_late();
    if found.is_empty() && sky < DARK_SKY {
        let chance = 1.0 - share_below(sky);
        found.push(Cause { kind: CauseKind::WeatherWorse, chance, figure: sky, since_day: None });
    }
    found
}

/// Since when a cause holds that began within the log.
fn since(kind: CauseKind, swarm: &Swarm) -> Option<i64> {
    match kind {
        CauseKind::PanelBuried
        | CauseKind::PanelUnplugged
        | CauseKind::ChargerIdle
        | CauseKind::PanelOrCharger => swarm.since(|regime| matches!(regime, Regime::NoPanel)),
        CauseKind::LoadUp if swarm.chance(|one| matches!(one.regime, Regime::Load(_))) > CHANGED => {
            swarm.since(|regime| matches!(regime, Regime::Load(_)))
        }
        CauseKind::PanelLow if swarm.chance(|one| matches!(one.regime, Regime::Panel(_))) > CHANGED => {
            swarm.since(|regime| matches!(regime, Regime::Panel(_)))
        }
        _ => None,
    }
}

/// What is dark: told apart by the highest voltage of the panel within three days.
fn dark_kind(design: &Design, swarm: &Swarm) -> CauseKind {
    let open =
        design.panel.as_ref().map_or(f64::INFINITY, |mounted| mounted.panel.open_circuit_voltage.volts());
    match swarm.highest_panel_volts() {
        None => CauseKind::PanelOrCharger,
        Some(volts) if volts < UNPLUGGED_VOLTS => CauseKind::PanelUnplugged,
        Some(volts) if f64::from(volts) < LIT_SHARE * open => CauseKind::PanelBuried,
        Some(_) => CauseKind::ChargerIdle,
    }
}

fn silent_days(past: &Past<'_>) -> f64 {
    past.readings.last().map_or(0.0, |last| (past.as_of_s - last.at_s) as f64 / DAY_S as f64)
}

/// The usual time between two messages.
fn interval_days(past: &Past<'_>) -> f64 {
    let mut gaps: Vec<f64> =
        past.readings.windows(2).map(|pair| (pair[1].at_s - pair[0].at_s) as f64 / DAY_S as f64).collect();
    gaps.sort_by(f64::total_cmp);
    gaps.get(gaps.len() / 2).copied().unwrap_or(0.0)
}

/// Of what the log says almost nothing.
pub(super) fn not_known(swarm: &Swarm, learned: &Learned) -> Vec<NotKnown> {
    let before = &learned.before;
    let always_full = swarm.median(|one| one.life.charge()) > FULL_FROM;
    let asked: [(Quantity, &Band, &Band); 3] = [
        (Quantity::Yield, &learned.yields, &before.yields),
        (Quantity::Load, &learned.load_mah_per_day, &before.load_mah_per_day),
        (Quantity::Capacity, &learned.capacity, &before.capacity),
    ];
    asked
        .into_iter()
        .filter(|(_, now, before)| now.log_width() > WIDE * before.log_width())
        .map(|(what, ..)| NotKnown { what, always_full: always_full && what == Quantity::Yield })
        .collect()
}
