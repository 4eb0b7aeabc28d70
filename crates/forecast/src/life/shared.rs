//! Lives shared by nodes that are the same but for their links: a life hangs on its number and on how its uplinks go, not
//! on which of the nodes it is.

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::account::{HarmCounter, HarmHours};
use super::ensemble::on_threads;
use super::node::NodeTables;
use super::run::{LifeOutcome, Trial, live_side_by_side};
use super::unknowns::SPOT;
use crate::progress::Progress;
use crate::radio::link_state::LinkState;
use crate::radio::spots::Spots;

/// Numbers of lives between two looks at whether to stop.
const BATCH: usize = 16;

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
        let total = wanted.iter().map(|(_, states)| states.len()).sum();
        let done = AtomicUsize::new(0);
        let batches: Vec<&[(usize, Vec<usize>)]> = wanted.chunks(BATCH).collect();
        let lived = on_threads(threads, batches.len(), |batch| {
            if progress.stop() {
                return Vec::new();
            }
            let lives = |(number, states): &(usize, Vec<usize>)| {
                let lives = self.lives_of(*number, states, watched);
                done.fetch_add(lives.len(), Ordering::Relaxed);
                (*number, states.clone(), lives)
            };
            let lived: Vec<_> = batches[batch].iter().map(lives).collect();
            progress.report(done.load(Ordering::Relaxed), total);
            lived
        });
        for (number, states, lives) in lived.into_iter().flatten() {
            for (state, life) in states.into_iter().zip(lives) {
                self.lived[state][number] = Some(life);
            }
        }
    }

    /// Numbers of lives, each with the states in which it is not there yet.
    fn wanted(
        &mut self,
        spots: &[&Spots],
        lives: usize,
        node: impl Fn(&LinkState) -> NodeTables,
    ) -> Vec<(usize, Vec<usize>)> {
        for state in spots.iter().flat_map(|spots| spots.classes()) {
            if !self.states.contains(state) {
                self.states.push(state.clone());
                self.nodes.push(node(state));
            }
        }
        for of_state in &mut self.lived {
            of_state.resize(lives.max(of_state.len()), None);
        }
        self.lived.resize(self.states.len(), vec![None; lives]);
        let by_spots: Vec<Vec<usize>> = spots.iter().map(|spots| self.states_of(spots)).collect();
        let states = |number: usize| {
            let drawn = spots.iter().zip(&by_spots);
            let states = drawn.map(|(spots, states)| states[spots.class(&spots.draw(number as u64))]);
            let missing: BTreeSet<usize> =
                states.filter(|state| self.lived[*state][number].is_none()).collect();
            missing.into_iter().collect()
        };
        let all = (0..lives).map(|number| (number, states(number)));
        all.filter(|(_, states): &(usize, Vec<usize>)| !states.is_empty()).collect()
    }

    /// The place of each class of these spots among the states.
    fn states_of(&self, spots: &Spots) -> Vec<usize> {
        let known = |class: &LinkState| self.states.iter().position(|state| state == class);
        spots.classes().iter().map(|class| known(class).expect("states are added before")).collect()
    }

    /// The life of a number in each of some states.
    fn lives_of(&self, number: usize, states: &[usize], watched: usize) -> Vec<SharedLife> {
        let nodes = states.iter().map(|state| &self.nodes[*state]);
        let trials: Vec<Trial<'_>> =
            nodes.clone().map(|node| Trial { nodes: std::slice::from_ref(node), ..self.common }).collect();
        if number >= watched || !trials.iter().any(Trial::has_sun) {
            let lives = live_side_by_side(&trials, number as u64, &mut vec![(); states.len()]);
            return lives.into_iter().map(|life| (life, HarmHours::default())).collect();
        }
        let mut harm: Vec<HarmCounter<'_>> = nodes.map(HarmCounter::new).collect();
        let lives = live_side_by_side(&trials, number as u64, &mut harm);
        lives.into_iter().zip(harm).map(|(life, harm)| (life, harm.hours)).collect()
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
