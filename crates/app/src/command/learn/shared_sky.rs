//! The nodes of a site, learned together from a folder of logs: they stand under one sky.

use std::fs;
use std::path::{Path, PathBuf};

use design::node::Design;
use forecast::learn::log::Log;
use forecast::learn::{Past, learn_site};
use forecast::sky::climate::Climate;
use report::problem::{Failure, Problem};
use report::sentences::truth::Told;
use verdict::Verdict;

use super::{LearnOf, answers, as_of, effort, judged, read_log, read_sun, tolerated};
use crate::input::fleet;
use crate::learning::counter_modulus;
use crate::output::{self, reason};
use crate::progress::Counter;

/// A node of the site with its log.
struct Node<'a> {
    design: &'a Design,
    climate: Climate,
    path: PathBuf,
    log: Log,
    as_of_s: i64,
}

/// What was learned of all, and the worst verdict.
pub(super) fn told(arguments: &LearnOf) -> Result<(String, Verdict), Failure> {
    if let Some(report) = &arguments.report {
        let message = "a report is of one node".to_owned();
        let help = "leave it out, or learn one node: `overwinter learn NODE.toml LOG.csv --report FILE.html`";
        return Err(Failure::of(Problem::of_file("option", &report.to_string_lossy(), message, help)));
    }
    let site = fleet::site(&arguments.design)?;
    let (nodes, left_out) = nodes(&site, arguments)?;
    let sun = arguments.sun.as_deref().map(read_sun).transpose()?;
    let asked: Vec<(Past<'_>, &Climate)> = nodes
        .iter()
        .map(|node| {
            let past = Past {
                design: node.design,
                readings: &node.log.readings,
                as_of_s: node.as_of_s,
                counter_modulus: counter_modulus(node.design),
                sun: sun.as_ref(),
            };
            (past, &node.climate)
        })
        .collect();
    let counter = Counter::begin();
    let learned = learn_site(&asked, &effort(arguments.seed), &counter);
    drop(counter);
    let told: Vec<Told> = nodes
        .iter()
        .zip(learned)
        .map(|(node, (learned, _))| Told {
            tolerated: tolerated(&node.log, sun.as_ref()),
            ..judged(node.design, learned, (&arguments.design, &node.path))
        })
        .collect();
    if let Some(path) = &arguments.answers {
        output::write(path, &answers(&told))?;
    }
    let fails = told.iter().any(|told| told.truth.verdict == Verdict::Fails);
    let page = if arguments.json {
        format!("{:#}\n", report::json::truth::site(&told, &left_out))
    } else {
        report::text::truth::site(&told, &left_out)
    };
    Ok((page, if fails { Verdict::Fails } else { Verdict::Holds }))
}

/// The nodes that have a log, and what of the folder is of none.
fn nodes<'a>(site: &'a fleet::Site, arguments: &LearnOf) -> Result<(Vec<Node<'a>>, Vec<String>), Failure> {
    let folder = &arguments.log;
    let logs = logs(folder)?;
    let (mut nodes, mut left_out) = (Vec::new(), Vec::new());
    for (name, path) in logs {
        let Some(design) = site.designs().iter().find(|design| design.name == name) else {
            left_out.push(format!("{name}.csv is of no node of the site"));
            continue;
        };
        let log = read_log(&path, counter_modulus(design))?;
        let as_of_s = as_of(arguments, &log)?;
        nodes.push(Node { design, climate: site.climate(design)?, path, log, as_of_s });
    }
    let without =
        site.designs().iter().filter(|design| nodes.iter().all(|node| node.design.name != design.name));
    left_out.extend(without.map(|design| format!("{} has no {}.csv there", design.name, design.name)));
    if nodes.is_empty() {
        let message = "no file of it is of a node of the site".to_owned();
        let help = "call each log as its node: NAME.csv of [node.NAME]";
        return Err(Failure::of(Problem::of_file("readings", &folder.to_string_lossy(), message, help)));
    }
    Ok((nodes, left_out))
}

/// The logs of a folder by the names of their nodes, in order.
fn logs(folder: &Path) -> Result<Vec<(String, PathBuf)>, Failure> {
    let wrong = |error: &std::io::Error| {
        let message = format!("the folder can't be read: {}", reason(error));
        let help = "give the folder that holds a NAME.csv for each node";
        Failure::of(Problem::of_file("file", &folder.to_string_lossy(), message, help))
    };
    let mut logs = Vec::new();
    for entry in fs::read_dir(folder).map_err(|error| wrong(&error))? {
        let path = entry.map_err(|error| wrong(&error))?.path();
        let is_csv = path.extension().is_some_and(|extension| extension == "csv");
        if let Some(name) = path.file_stem().and_then(|name| name.to_str()).filter(|_| is_csv) {
            logs.push((name.to_owned(), path.clone()));
        }
    }
    logs.sort();
    Ok(logs)
}
