//! `overwinter check SITE.toml`: every node of a site, worst first.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use forecast::sky::climate::Climate;
use forecast::terrain::Terrain;
use report::problem::{Failure, Problem};
use report::site::{NodeRow, SiteReport};
use verdict::plan::{Weather, plan};
use verdict::remedy::remedies;
use verdict::site::{self, SiteAnswer, SiteNode};
use verdict::{Answer, Environment, Verdict};

use super::check::{Check, effort};
use crate::input::{self, fleet};
use crate::output;
use crate::progress::Counter;

/// Nodes that die for which a way out is sought: each takes some seconds.
const MOST_SOUGHT: usize = 4;

/// The page, and whether a verdict fails.
pub(super) fn check(arguments: &Check) -> Result<(String, Verdict), Failure> {
    refuse_what_one_node_needs(arguments)?;
    output::refuse_to_overwrite(&[arguments.report.as_deref()], &[&arguments.design])?;
    let site = fleet::site(&arguments.design)?;
    let weather = arguments.weather.as_deref().map(|path| input::weather(path, None)).transpose()?;
    let skies = site.fleet.skies();
    let climates = climates(&site, &skies, weather.is_some())?;
    let node = |(design, sky_of): (_, &usize)| {
        let climate = climates.get(sky_of).map(Weather::Climate);
        let weather = weather.as_ref().map(Weather::Hours).or(climate)?;
        Some(SiteNode { design, sky_of: *sky_of, weather })
    };
    let nodes: Vec<SiteNode<'_>> = site.designs().iter().zip(&skies).filter_map(node).collect();
    let counter = Counter::begin();
    let answers = site::answer(&nodes, site.terrain.as_ref(), effort(arguments), &counter);
    let remedies = remedies_of_dying(&nodes, &answers, site.terrain.as_ref(), arguments, &counter);
    drop(counter);
    let name = |index: usize| site.designs()[index].name.clone();
    let row = |((index, answer), sky_of): ((usize, _), usize)| {
        let sky_of = (sky_of != index).then(|| name(sky_of));
        let remedy = remedies.get(&index).cloned();
        NodeRow { name: name(index), sky_of, answer, remedy }
    };
    let rows = answers.into_iter().enumerate().zip(skies).map(row).collect();
    let answer =
        SiteReport::new(&site.fleet, &arguments.design.to_string_lossy(), rows, site.warnings.clone());
    if let Some(path) = &arguments.report {
        output::write(path, &report::html::site::page(&answer))?;
    }
    let page = if arguments.json { format!("{:#}\n", answer.json()) } else { answer.text(arguments.all) };
    Ok((page, answer.verdict()))
}

/// What would make nodes live that do not, by place in the list; of many the first few.
fn remedies_of_dying(
    nodes: &[SiteNode<'_>],
    answers: &[SiteAnswer],
    terrain: Option<&Terrain>,
    arguments: &Check,
    counter: &Counter,
) -> BTreeMap<usize, String> {
    if arguments.no_remedies {
        return BTreeMap::new();
    }
    let dying = answers.iter().enumerate().filter(|(_, answer)| answer.life.verdict == Verdict::Fails);
    let sought = |(index, answer): (usize, &SiteAnswer)| {
        let node = nodes.get(index)?;
        let effort = effort(arguments);
        let life = plan(node.design, node.weather, &answer.reach.spots, effort, counter);
        let (law, reach) = (answer.law.clone(), answer.reach.clone());
        let whole = Answer { life, law, reach, messages: Vec::new(), learnable: None };
        let environment = Environment { weather: node.weather, terrain, others: &[] };
        let found = remedies(node.design, &environment, &whole, effort, counter);
        Some((index, report::sentences::remedy::sentence(&found, &whole.life)?))
    };
    dying.take(MOST_SOUGHT).filter_map(sought).collect()
}

/// The climates of the nodes whose sky others share, where no weather is given.
fn climates(
    site: &fleet::Site,
    skies: &[usize],
    is_given: bool,
) -> Result<BTreeMap<usize, Climate>, Failure> {
    let wanted: BTreeSet<usize> = if is_given { BTreeSet::new() } else { skies.iter().copied().collect() };
    wanted.into_iter().map(|index| Ok((index, site.climate(&site.designs()[index])?))).collect()
}

/// The hours are those of one node.
fn refuse_what_one_node_needs(arguments: &Check) -> Result<(), Failure> {
    if arguments.hours.is_none() {
        return Ok(());
    }
    let message = "--hours is the answer for one node, and this file places several".to_owned();
    let help = "check the design file of one node, or leave the option out";
    Err(Failure::of(Problem::of_file("option", &name(&arguments.design), message, help)))
}

fn name(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}
