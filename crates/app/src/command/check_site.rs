//! `overwinter check SITE.toml`: every node of a site, worst first.

use std::path::Path;

use design::node::Design;
use forecast::radio::collisions::Sender;
use forecast::radio::spots::senders;
use report::problem::{Failure, Problem};
use report::site::{NodeRow, SiteReport};
use verdict::plan::Weather;
use verdict::{Environment, Verdict, answer, reach};

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
    let designs = site.designs();
    let crowds = crowds(designs, &site, arguments.seed);
    let mut counter = Counter::begin();
    let mut rows = Vec::new();
    for (index, (design, crowd)) in designs.iter().zip(&crowds).enumerate() {
        counter.at(format!("{} ({} of {} nodes)", design.name, index + 1, designs.len()));
        let climate = weather.is_none().then(|| site.climate(design)).transpose()?;
        let Some(under) = weather.as_ref().map(Weather::Hours).or(climate.as_ref().map(Weather::Climate))
        else {
            continue;
        };
        let environment = Environment { weather: under, terrain: site.terrain.as_ref(), others: crowd };
        let answer = answer(design, &environment, effort(arguments), &counter);
        rows.push(NodeRow { name: design.name.clone(), answer });
    }
    drop(counter);
    let answer =
        SiteReport::new(&site.fleet, &arguments.design.to_string_lossy(), rows, site.warnings.clone());
    if let Some(path) = &arguments.report {
        output::write(path, &report::html::site::page(&answer))?;
    }
    let page = if arguments.json { format!("{:#}\n", answer.json()) } else { answer.text(arguments.all) };
    Ok((page, answer.verdict()))
}

/// What each node hears of the others: they all send to the same gateways.
pub(super) fn crowds(designs: &[Design], site: &fleet::Site, seed: u64) -> Vec<Vec<Sender>> {
    let alone: Vec<Vec<Sender>> = designs
        .iter()
        .map(|design| senders(design, &reach::judge(design, site.terrain.as_ref(), &[], seed).spots))
        .collect();
    let others = |index: usize| {
        let others = alone.iter().enumerate().filter(move |(other, _)| *other != index);
        others.flat_map(|(_, senders)| senders.iter().copied()).collect()
    };
    (0..designs.len()).map(others).collect()
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
