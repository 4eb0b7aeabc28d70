//! `overwinter check SITE.toml`: every node of a site, worst first.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use forecast::sky::climate::Climate;
use report::problem::{Failure, Problem};
use report::site::{NodeRow, SiteReport};
use verdict::Verdict;
use verdict::plan::Weather;
use verdict::site::{self, SiteNode};

use super::check::{Check, effort};
use crate::input::{self, fleet};
use crate::output;
use crate::progress::Counter;

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
    drop(counter);
    let name = |index: usize| site.designs()[index].name.clone();
    let row = |((index, answer), sky_of): ((usize, _), usize)| {
        let sky_of = (sky_of != index).then(|| name(sky_of));
        NodeRow { name: name(index), sky_of, answer }
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
