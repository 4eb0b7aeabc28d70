//! What ways out would do to a site: how nodes would then be heard and live, and where a gateway more brings most.

use design::change::{Change, Refused};
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
use crate::site::crowds;

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

/// Gateways more, in the order in which they were chosen, and places that could not be tried, each with why.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MoreGateways {
    /// Where they would stand.
    pub chosen: Vec<MoreGateway>,
    /// What was not tried.
    pub untried: Vec<String>,
}

/// Gateways more at places where one may stand, each where it makes most nodes hold that do not yet, until all hold or no place
/// brings another: greedy, so that fewer might do together. With each place all nodes of the site send among each other, at
/// the rates that they then have, so that what is lost to collisions counts.
#[must_use]
pub fn more_gateways(
    designs: &[&Design],
    reaches: &[Reach],
    terrain: Option<&Terrain>,
    seed: u64,
    threads: usize,
) -> MoreGateways {
    let is_unheard = |index: &usize| matches!(reaches[*index].verdict, Verdict::Fails | Verdict::Tight);
    let mut unheard: Vec<usize> = (0..designs.len()).filter(is_unheard).collect();
    let mut more = MoreGateways::default();
    let mut stand: Vec<Design> = designs.iter().map(|design| (*design).clone()).collect();
    let mut places: Vec<String> = designs.first().map_or_else(Vec::new, |design| {
        design.surroundings.may_stand.iter().map(|place| place.name.clone()).collect()
    });
    while !unheard.is_empty() && !places.is_empty() {
        let mut tried: Vec<(String, Vec<Design>, Vec<usize>)> = Vec::new();
        for place in &places {
            match with_gateway(&stand, place) {
                Ok(changed) => {
                    let brings = held(&changed, &unheard, terrain, seed, threads);
                    tried.push((place.clone(), changed, brings));
                }
                Err(why) => more.untried.push(why),
            }
        }
        places = tried.iter().map(|(place, ..)| place.clone()).collect();
        // Of equals the first of the file.
        let most = tried.iter().map(|(.., brings)| brings.len()).max().filter(|most| *most > 0);
        let Some((place, changed, brings)) =
            most.and_then(|most| tried.into_iter().find(|(.., brings)| brings.len() == most))
        else {
            break;
        };
        places.retain(|known| *known != place);
        unheard.retain(|index| !brings.contains(index));
        stand = changed;
        more.chosen.push(MoreGateway { place, brings });
    }
    more
}

/// All nodes with a gateway more at this place.
fn with_gateway(designs: &[Design], place: &str) -> Result<Vec<Design>, String> {
    let changed = |design: &Design| {
        let refused = |why: Refused| format!("{place}, for {}: {}", design.name, why.message);
        design.with(Change::AnotherGateway(place.to_owned())).map_err(refused)
    };
    designs.iter().map(changed).collect()
}

/// Which of the asked nodes hold, among all.
fn held(
    designs: &[Design],
    asked: &[usize],
    terrain: Option<&Terrain>,
    seed: u64,
    threads: usize,
) -> Vec<usize> {
    let all: Vec<&Design> = designs.iter().collect();
    let crowds = crowds(&all, terrain, seed, threads);
    let holds = on_threads(threads, asked.len(), |at| {
        let index = asked[at];
        reach::spots(&designs[index], terrain, &crowds[index], seed).1 == Verdict::Holds
    });
    asked.iter().zip(holds).filter(|(_, holds)| *holds).map(|(index, _)| *index).collect()
}
