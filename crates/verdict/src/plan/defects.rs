//! The same node with one thing gone wrong: what kills nodes in the field is rarely the design as drawn.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "hours are whole and not negative, and the kernel is in single precision"
)]

use design::node::Design;
use design::part::Regulator;
use design::quantity::{Charge, Current, Duration};

use super::lives::{Lived, Stage};
use crate::plan::DefectRow;
use forecast::life::kernel::Life;

/// A panel under snow, leaves or a fallen branch until somebody comes or it thaws (own choice, no source).
const BURIED_DAYS: usize = 60;
/// No-load current of a three-terminal regulator of the old kind on a board (from memory, common practice).
const OLD_REGULATOR_NO_LOAD: Current = Current::from_milliamperes(5.0);

/// One thing that can go wrong.
pub(super) struct Defect {
    pub(super) name: &'static str,
    pub(super) effect: String,
    pub(super) extra: Current,
    pub(super) dark_hours: usize,
    pub(super) clears_by_itself: bool,
}

/// Every defect that this design can have, worst first.
pub(super) fn defects(stage: &Stage<'_>, design: &Design, nominal: &Lived, from: usize) -> Vec<DefectRow> {
    let mut rows: Vec<DefectRow> = possible(design, stage.node.demand.join)
        .into_iter()
        .map(|defect| row(stage, &nominal.before_dark, from, defect))
        .collect();
    let days = |row: &DefectRow| row.days_to_death.unwrap_or(f64::INFINITY);
    rows.sort_by(|one, other| days(one).total_cmp(&days(other)));
    rows
}

fn row(stage: &Stage<'_>, before: &Life, from: usize, defect: Defect) -> DefectRow {
    let mut life = before.clone();
    life.extra_amperes = defect.extra.amperes() as f32;
    life.extra_clears = defect.clears_by_itself;
    let (lasted, stopped) = stage.until_stopped(life, from, defect.dark_hours);
    let hours = lasted.hours() as usize;
    let died = !stopped.running;
    let restart = died.then(|| {
        let for_ever = defect.dark_hours == usize::MAX;
        let still_dark = if for_ever { usize::MAX } else { defect.dark_hours.saturating_sub(hours) };
        stage.until_running(stopped, from + hours, still_dark)
    });
    DefectRow {
        name: defect.name.to_owned(),
        effect: defect.effect,
        extra_per_day: defect.extra * Duration::from_days(1.0),
        from: stage.moment(from, 0),
        days_to_death: died.then(|| lasted.days()),
        restart,
        clears_by_itself: defect.clears_by_itself,
    }
}

/// What can go wrong with this design, one join of which costs so much.
pub(super) fn possible(design: &Design, join: Charge) -> Vec<Defect> {
    let mut found = Vec::new();
    let mut draws = |name, extra: Current, clears_by_itself| {
        let effect = format!("{:.2} mA more", extra.milliamperes());
        found.push(Defect { name, effect, extra, dark_hours: 0, clears_by_itself });
    };
    if let Some(radio) = &design.radio {
        draws("radio left in standby", radio.radio.standby, true);
        draws("gateway away, node keeps joining", join / radio.join_retry, false);
    }
    if let Some(receiver) = &design.receiver {
        draws("positioning receiver searching under a roof", receiver.acquire.nominal, true);
    }
    let left_on: Current = design.loads.iter().map(|load| load.sensors_left_on).sum();
    if left_on > Current::ZERO {
        draws("sensors left powered", left_on, true);
    }
    if design
        .loads
        .iter()
        .any(|load| matches!(load.regulator, Regulator::Ldo { .. } | Regulator::Buck { .. }))
    {
        draws("regulator that idles at 5 mA", OLD_REGULATOR_NO_LOAD, false);
    }
    if design.panel.is_some() {
        let dark = |name, effect: String, dark_hours, clears_by_itself| Defect {
            name,
            effect,
            extra: Current::ZERO,
            dark_hours,
            clears_by_itself,
        };
        found.push(dark("panel unplugged", "no sun for ever".into(), usize::MAX, false));
        let buried = format!("no sun for {BURIED_DAYS} days");
        found.push(dark("panel buried", buried, BURIED_DAYS * 24, true));
    }
    found
}
