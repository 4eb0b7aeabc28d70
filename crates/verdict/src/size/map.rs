//! Survival over panel and battery at a few intervals, to be looked at.

use design::change::Change;
use design::node::Design;
use design::quantity::Duration;
use forecast::Progress;

use super::axes::Axes;
use super::grid::{Bench, survival};
use super::{Choice, SizeError};
use crate::answer::Environment;
use crate::plan::Effort;
use crate::reach;

/// Lives of each design: a survival is then known to 5 points, which is as fine as a line can be read.
const LIVES: usize = 100;

/// Share of lives without an outage by interval, panel and capacity.
#[derive(Clone, Debug, PartialEq)]
pub struct SurvivalMap {
    /// Shortest first; none where nothing reports.
    pub intervals: Vec<Duration>,
    /// Power of the panels, ascending \[W\].
    pub powers_w: Vec<f64>,
    /// Capacities, ascending \[mAh\].
    pub capacities_mah: Vec<f64>,
    /// 0 to 1, by place of interval, panel and capacity.
    pub survival: Vec<Vec<Vec<f64>>>,
}

/// Survival around a choice, with its battery, charger and tilt, at the shortest, its own and the longest interval.
///
/// # Errors
/// As [`super::size`].
pub fn survival_map(
    design: &Design,
    environment: &Environment<'_>,
    choice: &Choice,
    effort: Effort,
    progress: &dyn Progress,
) -> Result<SurvivalMap, SizeError> {
    let (spots, _) = reach::spots(design, environment.terrain, environment.others, effort.seed);
    let axes = Axes::of(design, &spots)?;
    let own = |changes: &[Change]| changes.iter().all(|change| choice.changes.contains(change));
    let frame = axes.frames.iter().find(|frame| own(&frame.changes)).or(axes.frames.first());
    let nothing = || SizeError::Nothing { key: "size.panels", because: String::new() };
    let frame = frame.ok_or_else(nothing)?;
    let chosen = choice.every.and_then(|every| axes.intervals.iter().position(|one| *one == every));
    let mut places = vec![0, chosen.unwrap_or(0), axes.intervals.len().saturating_sub(1)];
    places.sort_unstable();
    places.dedup();
    let (searching, confirming) = (LIVES, LIVES);
    let bench = Bench { design, environment, spots: &spots, effort, progress, searching, confirming };
    Ok(SurvivalMap {
        intervals: places.iter().filter_map(|place| axes.intervals.get(*place).copied()).collect(),
        powers_w: frame.panels.iter().map(|panel| panel.watts).collect(),
        capacities_mah: frame.capacities_mah.clone(),
        survival: survival(&bench, &axes, frame, &places),
    })
}
