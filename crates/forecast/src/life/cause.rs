//! What stopped the lives that failed: the first change that would have saved each.

use design::quantity::Share;

use super::ensemble::{live_all, on_threads};
use super::node::NodeTables;
use super::run::{LifeOutcome, Trial, survives};
use super::unknowns::UnknownScores;
use crate::progress::Progress;

/// Failed lives looked into for their cause.
const EXAMINED: usize = 40;

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

/// Shares of the causes among the lives that failed, most frequent first: of pulse, gate, wear, distance and parts the
/// first whose change would have saved a life, else the want of sun.
#[must_use]
pub fn causes(trial: &Trial<'_>, lives: &[LifeOutcome], threads: usize) -> Vec<(Cause, Share)> {
    let failed: Vec<&LifeOutcome> = lives.iter().filter(|life| !life.is_unbroken()).take(EXAMINED).collect();
    let changed = |change: &dyn Fn(&mut NodeTables)| -> Vec<NodeTables> {
        let mut nodes = trial.nodes.to_vec();
        nodes.iter_mut().for_each(change);
        nodes
    };
    let mut saviours = vec![
        (Cause::BrownOut, changed(&|node| node.demand.pulse.amperes = 0.0)),
        (Cause::ChargeGate, changed(&|node| node.charger.open_gate())),
        (Cause::Ageing, changed(&|node| node.ageing = None)),
    ];
    if trial.nodes.len() > 1 {
        saviours.push((Cause::Distance, next_to_a_gateway(trial)));
    }
    let cause = |life: &LifeOutcome| {
        let saved = |nodes: &[NodeTables], parts| survives(&Trial { nodes, ..*trial }, life.life, parts);
        let by_change = saviours.iter().find(|(_, nodes)| saved(nodes, None)).map(|(cause, _)| *cause);
        let by_parts = || saved(trial.nodes, Some(UnknownScores::nominal()));
        by_change.unwrap_or_else(|| if by_parts() { Cause::Parts } else { Cause::Sun })
    };
    let found: Vec<Cause> = on_threads(threads, failed.len(), |index| cause(failed[index]));
    let all = [Cause::Sun, Cause::Distance, Cause::Parts, Cause::ChargeGate, Cause::BrownOut, Cause::Ageing];
    let counted = all.map(|cause| (cause, found.iter().filter(|other| **other == cause).count()));
    let mut counted: Vec<_> = counted.into_iter().filter(|(_, count)| *count > 0).collect();
    counted.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    let share = |count: usize| Share::from_fraction(count as f64 / found.len() as f64);
    counted.into_iter().map(|(cause, count)| (cause, share(count))).collect()
}

/// Share of so many lives without an outage if the node stood next to a gateway, at the fastest data rate.
#[must_use]
pub fn survival_next_to_a_gateway(
    trial: &Trial<'_>,
    lives: usize,
    threads: usize,
    progress: &dyn Progress,
) -> Share {
    let near = next_to_a_gateway(trial);
    survival(&Trial { nodes: &near, ..*trial }, lives, threads, progress)
}

/// Share of so many lives without an outage if the charger kept to a gate that opens from 0 to 45 °C.
#[must_use]
pub fn survival_with_gate(trial: &Trial<'_>, lives: usize, threads: usize, progress: &dyn Progress) -> Share {
    let mut nodes = trial.nodes.to_vec();
    for node in &mut nodes {
        node.charger.gate_frost();
    }
    survival(&Trial { nodes: &nodes, ..*trial }, lives, threads, progress)
}

fn survival(trial: &Trial<'_>, lives: usize, threads: usize, progress: &dyn Progress) -> Share {
    let lives = live_all(trial, lives, threads, progress).outcomes;
    let unbroken = lives.iter().filter(|life| life.is_unbroken()).count();
    Share::from_fraction(unbroken as f64 / lives.len().max(1) as f64)
}

fn next_to_a_gateway(trial: &Trial<'_>) -> Vec<NodeTables> {
    vec![trial.nodes[trial.spots.nearest()].clone(); trial.nodes.len()]
}
