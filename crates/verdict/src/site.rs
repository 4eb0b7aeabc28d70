//! The nodes of a site: every verdict on each, with what they have in common worked out once.

use std::collections::BTreeMap;

use design::node::Design;
use design::surroundings::Place as Side;
use forecast::Progress;
use forecast::life::ensemble::on_threads;
use forecast::radio::collisions::Sender;
use forecast::radio::link::links;
use forecast::radio::spots::{Spots, senders};
use forecast::terrain::Terrain;

use crate::answer::Question;
use crate::finding::{Finding, Verdict};
use crate::law::{self, LawPlan};
use crate::message;
use crate::plan::{Effort, LifeInBrief, Sky, Weather};
use crate::reach::{self, Reach};

/// A node of a site.
#[derive(Clone, Copy, Debug)]
pub struct SiteNode<'a> {
    /// As it stands there.
    pub design: &'a Design,
    /// Place in the list of the node under whose sky it lives: its own, or that of one of its kind nearby
    /// ([`design::fleet::Fleet::skies`]).
    pub sky_of: usize,
    /// The weather there.
    pub weather: Weather<'a>,
}

/// All verdicts on a node of a site.
#[derive(Clone, Debug)]
pub struct SiteAnswer {
    /// Will it live?
    pub life: LifeInBrief,
    /// Is it lawful?
    pub law: LawPlan,
    /// Will it be heard?
    pub reach: Reach,
}

/// Answers every question about each node, in the order of the list. They all send to the same gateways.
///
/// Asked to stop, it gives the answers so far, in which fewer lives were lived than wanted.
#[must_use]
pub fn answer(
    nodes: &[SiteNode<'_>],
    terrain: Option<&Terrain>,
    effort: Effort,
    progress: &dyn Progress,
) -> Vec<SiteAnswer> {
    let designs: Vec<&Design> = nodes.iter().map(|node| node.design).collect();
    let reaches = reaches(&designs, terrain, effort.seed, effort.threads);
    let mut skies: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (index, node) in nodes.iter().enumerate() {
        skies.entry(node.sky_of).or_default().push(index);
    }
    let mut lives: Vec<Option<LifeInBrief>> = vec![None; nodes.len()];
    for (sky_of, members) in skies {
        let sky = Sky::new(designs[sky_of], nodes[sky_of].weather, effort);
        let under_it: Vec<(&Design, &Spots)> =
            members.iter().map(|index| (designs[*index], &reaches[*index].spots)).collect();
        for (index, life) in members.iter().zip(sky.judge(&under_it, progress)) {
            lives[*index] = Some(life);
        }
    }
    let lives = lives.into_iter().map(|life| life.expect("every node is under one sky"));
    let answer = |((life, reach), design): ((LifeInBrief, Reach), &&Design)| {
        let law = law::judge(design, reach.spots.middle_state());
        SiteAnswer { life, law, reach }
    };
    lives.zip(reaches).zip(&designs).map(answer).collect()
}

/// Whether each node is heard among the others, which all send to the same gateways.
#[must_use]
pub fn reaches(designs: &[&Design], terrain: Option<&Terrain>, seed: u64, threads: usize) -> Vec<Reach> {
    let crowds = crowds(designs, terrain, seed, threads);
    on_threads(threads, designs.len(), |index| reach::judge(designs[index], terrain, &crowds[index], seed))
}

/// What each node hears of the others.
#[must_use]
pub fn crowds(designs: &[&Design], terrain: Option<&Terrain>, seed: u64, threads: usize) -> Vec<Vec<Sender>> {
    let alone: Vec<Vec<Sender>> = on_threads(threads, designs.len(), |index| {
        // Antennas of unknown place are inside, as in the worse of two answers.
        let links = links(designs[index], terrain, Side::Inside);
        senders(designs[index], &Spots::new(designs[index], links, &[], seed))
    });
    let others = |index: usize| {
        let others = alone.iter().enumerate().filter(move |(other, _)| *other != index);
        others.flat_map(|(_, senders)| senders.iter().copied()).collect()
    };
    (0..designs.len()).map(others).collect()
}

impl SiteAnswer {
    /// Each question with its verdict.
    #[must_use]
    pub fn verdicts(&self) -> [(Question, Verdict); 4] {
        [
            (Question::Life, self.life.verdict),
            (Question::Law, self.law.verdict),
            (Question::Reach, self.reach.verdict),
            (Question::Message, message::verdict(&self.law)),
        ]
    }

    /// The worst of them.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        Verdict::worst(self.verdicts().map(|(_, verdict)| verdict)).unwrap_or(Verdict::NotKnown)
    }

    /// What wants attention, of all questions.
    pub fn findings(&self) -> impl Iterator<Item = &Finding> {
        self.life.findings.iter().chain(&self.law.findings).chain(&self.reach.findings)
    }
}
