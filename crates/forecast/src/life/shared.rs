//! Lives shared by nodes that are the same but for their links: a life hangs on its number and on how its uplinks go, not
//! on which of the nodes it is.

use std::sync::atomic::{AtomicUsize, Ordering};

use super::account::{HarmCounter, HarmHours};
use super::ensemble::on_threads;
use super::node::NodeTables;
use super::run::{LifeOutcome, Trial, live};
use super::unknowns::SPOT;
use crate::progress::Progress;
use crate::radio::link_state::LinkState;
use crate::radio::spots::Spots;

/// Lives between two looks at whether to stop.
const BATCH: usize = 64;

/// Lives of one kind of node under one sky, by how its uplinks go.
#[derive(Clone, Debug)]
pub struct SharedLives<'a> {
    /// What all of them have in common: weather, unknowns and length. Its node and its spots are not looked at.
    common: Trial<'a>,
    states: Vec<LinkState>,
    nodes: Vec<NodeTables>,
    /// By state, then by number.
    lived: Vec<Vec<Option<SharedLife>>>,
}

/// How a life went, and the hours in which charging harmed its battery, if anybody watched.
type SharedLife = (LifeOutcome, HarmHours);

impl<'a> SharedLives<'a> {
    /// None yet.
    #[must_use]
    pub fn new(common: Trial<'a>) -> Self {
        Self { common, states: Vec::new(), nodes: Vec::new(), lived: Vec::new() }
    }

    /// Lives what nodes on these spots need and nobody has lived yet: so many lives each, of the first `watched` of
    /// which it is counted how long charging harmed their batteries. `node` makes the tables of a state.
    pub fn live(
        &mut self,
        spots: &[&Spots],
        (lives, watched): (usize, usize),
        node: impl Fn(&LinkState) -> NodeTables,
        threads: usize,
        progress: &dyn Progress,
    ) {
        let wanted = self.wanted(spots, lives, node);
        let (done, total) = (AtomicUsize::new(0), wanted.len());
        let batches: Vec<&[(usize, usize)]> = wanted.chunks(BATCH).collect();
        let lived = on_threads(threads, batches.len(), |batch| {
            if progress.stop() {
                return Vec::new();
            }
            let batch = batches[batch];
            let lived: Vec<_> = batch.iter().map(|one| (*one, self.one(*one, watched))).collect();
            progress.report(done.fetch_add(batch.len(), Ordering::Relaxed) + batch.len(), total);
            lived
        });
        for ((state, number), life) in lived.into_iter().flatten() {
            self.lived[state][number] = Some(life);
        }
    }

    /// States and numbers of the lives that are not there yet.
    fn wanted(
        &mut self,
        spots: &[&Spots],
        lives: usize,
        node: impl Fn(&LinkState) -> NodeTables,
    ) -> Vec<(usize, usize)> {
        for state in spots.iter().flat_map(|spots| spots.classes()) {
            if !self.states.contains(state) {
                self.states.push(state.clone());
                self.nodes.push(node(state));
            }
        }
        let mut wanted = vec![vec![false; lives]; self.states.len()];
        for spots in spots {
            let states = self.states_of(spots);
            for number in 0..lives {
                wanted[states[spots.class(&spots.draw(number as u64))]][number] = true;
            }
        }
        self.lived.resize(self.states.len(), Vec::new());
        let mut missing = Vec::new();
        for (state, numbers) in wanted.iter().enumerate() {
            let longest = lives.max(self.lived[state].len());
            self.lived[state].resize(longest, None);
            let of_state = numbers.iter().enumerate().filter(|(_, wanted)| **wanted);
            missing.extend(
                of_state
                    .map(|(number, _)| (state, number))
                    .filter(|(state, number)| self.lived[*state][*number].is_none()),
            );
        }
        missing
    }

    /// The place of each class of these spots among the states.
    fn states_of(&self, spots: &Spots) -> Vec<usize> {
        let known = |class: &LinkState| self.states.iter().position(|state| state == class);
        spots.classes().iter().map(|class| known(class).expect("states are added before")).collect()
    }

    fn one(&self, (state, number): (usize, usize), watched: usize) -> SharedLife {
        let nodes = std::slice::from_ref(&self.nodes[state]);
        let trial = Trial { nodes, ..self.common };
        if number >= watched || !trial.has_sun() {
            return (live(&trial, number as u64, None, &mut ()), HarmHours::default());
        }
        let mut harm = HarmCounter::new(&self.nodes[state]);
        (live(&trial, number as u64, None, &mut harm), harm.hours)
    }

    /// The tables of a node by the class of its spot.
    #[must_use]
    pub fn nodes(&self, spots: &Spots) -> Vec<NodeTables> {
        self.states_of(spots).into_iter().map(|state| self.nodes[state].clone()).collect()
    }

    /// The lives of a node on these spots, and the hours in which charging harmed the battery in each of the first `watched`.
    #[must_use]
    pub fn of(&self, spots: &Spots, lives: usize, watched: usize) -> (Vec<LifeOutcome>, Vec<HarmHours>) {
        let states = self.states_of(spots);
        let (mut outcomes, mut harm) = (Vec::with_capacity(lives), Vec::with_capacity(watched));
        for number in 0..lives {
            let spot = spots.draw(number as u64);
            let class = spots.class(&spot);
            let state = states[class];
            let Some((mut outcome, hours)) = self.lived[state][number] else { continue };
            outcome.class = class;
            outcome.drawn.scores[SPOT] = spots.score(&spot);
            outcomes.push(outcome);
            if number < watched {
                harm.push(hours);
            }
        }
        (outcomes, harm)
    }
}
