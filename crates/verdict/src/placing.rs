//! What ways out would do to a site: how nodes would then be heard and live, and where a gateway more brings most.

use design::change::Change;
use design::node::Design;
use design::quantity::Share;
use forecast::Progress;
use forecast::life::ensemble::on_threads;
use forecast::radio::collisions::Sender;
use forecast::radio::spots::Spots;
use forecast::terrain::Terrain;

use crate::finding::Verdict;
use crate::plan::{Effort, Sky, Weather};
use crate::reach::{self, Reach, Remedy};

/// A way out, simulated.
#[derive(Clone, Debug, PartialEq)]
pub struct WayLived {
    /// What changes.
    pub remedy: Remedy,
    /// At which data rate most is then sent from the median position: "SF10".
    pub rate: String,
    /// Share of lives without an outage; `None` if none was lived.
    pub without_outage: Option<Share>,
    /// Whether it then lives as promised.
    pub life: Verdict,
}

/// How a node would be heard and live after each of the ways out of its answer; those without a change of the file are left
/// out. All live under one sky.
#[must_use]
pub fn ways_lived(
    design: &Design,
    reach: &Reach,
    (terrain, others): (Option<&Terrain>, &[Sender]),
    weather: Weather<'_>,
    effort: Effort,
    progress: &dyn Progress,
) -> Vec<WayLived> {
    let Some(best) = reach.links.first() else { return Vec::new() };
    let changed = |remedy: &Remedy| {
        let changed = remedy.made_to(design, best.index)?;
        let (spots, _) = reach::spots(&changed, terrain, others, effort.seed);
        Some((remedy.clone(), changed, spots))
    };
    let ways: Vec<(Remedy, Design, Spots)> = reach.remedies.iter().filter_map(changed).collect();
    if ways.is_empty() {
        return Vec::new();
    }
    let variants: Vec<(&Design, &Spots)> = ways.iter().map(|(_, design, spots)| (design, spots)).collect();
    let lives = Sky::new(design, weather, effort).judge(&variants, progress);
    let way =
        |((remedy, design, spots), life): (&(Remedy, Design, Spots), crate::plan::LifeInBrief)| WayLived {
            remedy: remedy.clone(),
            rate: reach::usual_rate(design, spots).unwrap_or_default(),
            without_outage: life.without_outage,
            life: life.verdict,
        };
    ways.iter().zip(lives).map(way).collect()
}

/// A gateway more, and what it brings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MoreGateway {
    /// The place where it would stand.
    pub place: String,
    /// Nodes that hold with it and did not before, by their place in the list.
    pub brings: Vec<usize>,
}

/// Gateways more at places where one may stand, each where it makes most nodes hold that do not yet, until all hold or no place
/// brings another: greedy, so that fewer might do together. Collisions are not looked at.
#[must_use]
pub fn more_gateways(
    designs: &[&Design],
    reaches: &[Reach],
    terrain: Option<&Terrain>,
    seed: u64,
    threads: usize,
) -> Vec<MoreGateway> {
    let is_unheard = |index: &usize| matches!(reaches[*index].verdict, Verdict::Fails | Verdict::Tight);
    let mut unheard: Vec<(usize, Design)> =
        (0..designs.len()).filter(is_unheard).map(|index| (index, designs[index].clone())).collect();
    let mut places: Vec<String> = designs.first().map_or_else(Vec::new, |design| {
        design.surroundings.may_stand.iter().map(|place| place.name.clone()).collect()
    });
    let mut chosen = Vec::new();
    while !unheard.is_empty() && !places.is_empty() {
        let brought = |place: &String| {
            let holds = on_threads(threads, unheard.len(), |at| {
                let changed = unheard[at].1.with(Change::AnotherGateway(place.clone()));
                changed.is_ok_and(|changed| reach::spots(&changed, terrain, &[], seed).1 == Verdict::Holds)
            });
            let brings = unheard.iter().zip(holds).filter(|(_, holds)| *holds).map(|((index, _), _)| *index);
            brings.collect::<Vec<usize>>()
        };
        let all: Vec<Vec<usize>> = places.iter().map(brought).collect();
        // Of equals the first of the file.
        let most = all.iter().map(Vec::len).max().filter(|most| *most > 0);
        let Some(at) = most.and_then(|most| all.iter().position(|brings| brings.len() == most)) else {
            break;
        };
        let (place, brings) = (places.remove(at), all[at].clone());
        unheard.retain(|(index, _)| !brings.contains(index));
        let with = |(index, design): (usize, Design)| {
            // What can't take it was not brought by it either, and stays as it is.
            let changed = design.with(Change::AnotherGateway(place.clone())).unwrap_or(design);
            (index, changed)
        };
        unheard = unheard.into_iter().map(with).collect();
        chosen.push(MoreGateway { place, brings });
    }
    chosen
}
