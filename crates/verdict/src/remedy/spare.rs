//! What could be left out of a design that holds with room to spare.

use design::change::Change;

use super::ladder::{Ladder, capacities, panels, shorter_interval};
use super::search::Search;
use super::{Lever, Proof, Remedy};
use crate::finding::Verdict;

/// Smaller batteries are tried down to a tenth.
const SHARES: [f64; 13] = [0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.5, 0.6, 0.7, 0.75, 0.8, 0.9];

/// Changes for less with which it would still hold: no panel or a smaller one, a smaller battery, more reports. Each was
/// confirmed on fresh lives.
pub(super) fn spare(search: &Search<'_>) -> Vec<Remedy> {
    let design = search.design();
    let bare = design.panel.as_ref().map(|mounted| {
        let now = mounted.panel.name.clone();
        let none = [(Change::NoPanel, "none".to_owned())];
        Ladder::new(design, Lever::LeavePanelOut, now, true, none)
    });
    let mut found: Vec<Remedy> = bare.iter().filter_map(|ladder| least(search, ladder)).collect();
    if found.is_empty() {
        found.extend(panels(design, false).and_then(|ladder| least(search, &ladder)));
    }
    found.extend(least(search, &capacities(design, SHARES.into_iter())));
    let lawful = shorter_interval(design).map(|mut ladder| {
        let link = search.answer.reach.spots.middle_state();
        let allowed = search.answer.law.verdict.badness();
        ladder.rungs.retain(|rung| crate::law::judge(&rung.design, link).verdict.badness() <= allowed);
        ladder
    });
    found.extend(lawful.and_then(|ladder| least(search, &ladder)));
    found
}

/// The least of a lever with which it holds, if that is firm.
fn least(search: &Search<'_>, ladder: &Ladder) -> Option<Remedy> {
    let place = search.first_passing(ladder, 0).ok()?;
    let remedy = search.confirmed(ladder, place)?;
    let firm = matches!(&remedy.proof, Proof::Fresh(judged) if judged.verdict == Verdict::Holds);
    firm.then_some(remedy)
}
