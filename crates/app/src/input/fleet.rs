//! A site's file with the design files of its kinds and its terrain.

use std::collections::BTreeMap;
use std::ops::Range;
use std::path::{Path, PathBuf};

use design::diagnostic::Diagnostic;
use design::file::{FleetFile, parse_fleet};
use design::fleet::{Fleet, Placed, resolve};
use design::node::Design;
use forecast::sky::climate::Climate;
use forecast::terrain::Terrain;
use report::problem::{Failure, Problem, Source};
use report::words;

use super::{Checked, climate_at, design, terrain, text};

/// A site without errors.
pub(crate) struct Site {
    /// The site.
    pub(crate) fleet: Fleet,
    /// Its ground, if the file names any.
    pub(crate) terrain: Option<Terrain>,
    /// What was probably not meant, in its own file and in those of its kinds.
    pub(crate) warnings: Vec<Problem>,
    /// The folder its paths count from.
    pub(crate) folder: PathBuf,
    /// Its own file.
    pub(crate) path: PathBuf,
    kinds: BTreeMap<String, Checked>,
    designs: Vec<Design>,
    source: Source,
    file: FleetFile,
}

/// Whether a file places nodes.
pub(crate) fn is_site(path: &Path) -> bool {
    text(path, "").is_ok_and(|text| places_nodes(&text))
}

/// Whether a text is that of a site's file.
pub(super) fn places_nodes(text: &str) -> bool {
    begins(text, "[node.") || (begins(text, "[gateway.") && !begins(text, "[battery]"))
}

fn begins(text: &str, what: &str) -> bool {
    text.lines().any(|line| line.trim_start().starts_with(what))
}

/// Reads a site's file, the design files of its kinds and its terrain.
pub(crate) fn site(path: &Path) -> Result<Site, Failure> {
    let help = "give the file of a site, such as examples/larkmoor/larkmoor.toml";
    let text = text(path, help).map_err(|problem| Failure::of(*problem))?;
    let source = Source::new(&path.to_string_lossy(), &text);
    if begins(&text, "[battery]") && !begins(&text, "[node.") {
        let message = "this is the design file of one node, and a site file is wanted".to_owned();
        let help = "`overwinter check` takes it; a site file places nodes, see examples/commented-site.toml";
        return Err(Failure::of(Problem::of_file("file", &path.to_string_lossy(), message, help)));
    }
    let file = parse_fleet(&text);
    let problem = |found: design::diagnostic::Diagnostic| Problem {
        warning: found.severity == design::diagnostic::Severity::Warning,
        code: found.code,
        source: source.clone(),
        span: Some(found.span),
        message: found.message,
        help: found.help,
    };
    let resolved =
        resolve(&file).map_err(|found| Failure { problems: found.into_iter().map(problem).collect() })?;
    let mut warnings: Vec<Problem> = resolved.warnings.into_iter().map(problem).collect();
    let (fleet, folder) = (resolved.fleet, path.parent().unwrap_or(Path::new("")));
    let (kinds, mut problems) = kinds(&fleet, folder, |node: &Placed| {
        (source.clone(), file.span_of(&format!("node.{}.kind", node.name)))
    });
    warnings.extend(kinds.values().flat_map(|checked| checked.warnings.iter().cloned()));
    let at = |listed: &terrain::Listed, message, help| Problem {
        warning: false,
        code: listed.code,
        source: source.clone(),
        span: Some(file.span_of(listed.key)),
        message,
        help,
    };
    let (designs, misplaced) = placed(&fleet, &kinds, |node: &Placed| {
        (source.clone(), file.span_of(&format!("node.{}", node.name)))
    });
    let (doubtful, misplaced): (Vec<_>, Vec<_>) = misplaced.into_iter().partition(|one| one.warning);
    warnings.extend(doubtful);
    problems.extend(misplaced);
    problems.extend(mixed(&fleet, &designs).map(|message| Problem {
        warning: false,
        code: "mixed-regions",
        source: source.clone(),
        span: Some(file.span_of("gateway")),
        message,
        help: "a gateway listens to one regional plan: write `region` in each [gateway.NAME]".to_owned(),
    }));
    match terrain::terrain(&fleet.surroundings.ground, folder, at) {
        Ok(terrain) if problems.is_empty() => {
            let (folder, path) = (folder.to_owned(), path.to_owned());
            Ok(Site { fleet, terrain, warnings, folder, path, kinds, designs, source, file })
        }
        Ok(_) => Err(Failure { problems }),
        Err(failure) => Err(Failure { problems: problems.into_iter().chain(failure.problems).collect() }),
    }
}

/// The kinds of a site's nodes, and what is wrong with them; `named_at` is where a node names its kind.
fn kinds(
    fleet: &Fleet,
    folder: &Path,
    named_at: impl Fn(&Placed) -> (Source, Range<usize>),
) -> (BTreeMap<String, Checked>, Vec<Problem>) {
    let mut kinds = BTreeMap::new();
    let mut problems = Vec::new();
    for node in &fleet.nodes {
        if kinds.contains_key(&node.kind) {
            continue;
        }
        match design(&folder.join(&node.kind)) {
            Ok(checked) => drop(kinds.insert(node.kind.clone(), checked)),
            Err(failure) => problems.extend(failure.problems.into_iter().map(|found| {
                // A file that is not there was misspelt here.
                if found.code != "file" {
                    return found;
                }
                let (source, span) = named_at(node);
                let is_there = folder.join(&node.kind).is_file();
                let lost = "its path counts from the folder of this file";
                Problem {
                    message: format!("the design file `{}`: {}", node.kind, found.message),
                    help: if is_there { found.help.clone() } else { lost.to_owned() },
                    source,
                    span: Some(span),
                    ..found
                }
            })),
        }
    }
    (kinds, problems)
}

/// The nodes as they stand here, those that cannot, and what is doubtful only here; `at` is where a node stands in the file.
fn placed(
    fleet: &Fleet,
    kinds: &BTreeMap<String, Checked>,
    at: impl Fn(&Placed) -> (Source, Range<usize>),
) -> (Vec<Design>, Vec<Problem>) {
    let (mut designs, mut problems) = (Vec::new(), Vec::new());
    let mut doubtful: Vec<(Diagnostic, Vec<&Placed>)> = Vec::new();
    for node in &fleet.nodes {
        let Some(kind) = kinds.get(&node.kind) else { continue };
        match fleet.placed(node, &kind.design) {
            Ok(resolved) => {
                designs.push(resolved.design);
                for found in resolved.warnings.into_iter().filter(|found| !kind.warns_of(found)) {
                    let same =
                        |known: &Diagnostic| (known.code, &known.message) == (found.code, &found.message);
                    match doubtful.iter_mut().find(|(known, _)| same(known)) {
                        Some((_, nodes)) => nodes.push(node),
                        None => doubtful.push((found, vec![node])),
                    }
                }
            }
            Err(refused) => {
                let (source, span) = at(node);
                problems.push(Problem {
                    warning: false,
                    code: "placement",
                    source,
                    span: Some(span),
                    message: format!("{} can't stand there: {}", node.name, refused.message),
                    help: refused.help,
                });
            }
        }
    }
    problems.extend(doubtful.into_iter().filter_map(|(found, nodes)| {
        let (first, more) = nodes.split_first()?;
        let others = match more {
            [] => String::new(),
            more => format!(" and {}", words::count(more.len(), "other node")),
        };
        let (source, span) = at(first);
        let message = format!("{}{others}: {}", first.name, found.message);
        let (warning, span) = (true, Some(span));
        Some(Problem { warning, code: found.code, source, span, message, help: found.help })
    }));
    (designs, problems)
}

/// What is wrong with nodes of several regional plans around a gateway that does not say which one it listens to.
fn mixed(fleet: &Fleet, designs: &[Design]) -> Option<String> {
    let gateway = fleet.surroundings.gateways.iter().find(|gateway| gateway.region.is_none())?;
    let regions =
        designs.iter().filter_map(|design| Some((design.radio.as_ref()?.region.name.as_str(), design)));
    let mut regions: Vec<(&str, &Design)> = regions.collect();
    regions.sort_by_key(|(region, _)| *region);
    let ((first, one), (last, other)) = (regions.first()?, regions.last()?);
    (first != last).then(|| {
        format!(
            "{} sends by {first} and {} by {last}, around the same gateway {}",
            one.name, other.name, gateway.name
        )
    })
}

impl Site {
    /// The nodes as they stand here, in the order of the file.
    pub(crate) fn designs(&self) -> &[Design] {
        &self.designs
    }

    /// The kinds of its nodes: file and design.
    pub(crate) fn kinds(&self) -> impl Iterator<Item = (&str, &Design)> {
        self.kinds.iter().map(|(file, checked)| (file.as_str(), &checked.design))
    }

    /// The kinds of its nodes: file, design, and the text of the design file.
    pub(crate) fn texts(&self) -> impl Iterator<Item = (&str, &Design, &str)> {
        self.kinds.iter().map(|(file, checked)| (file.as_str(), &checked.design, checked.source.text()))
    }

    /// A kind of its nodes by its file.
    pub(crate) fn kind(&self, file: &str) -> Option<&Checked> {
        self.kinds.get(file)
    }

    /// Something wrong at a key of its file, for a person.
    pub(crate) fn failure(&self, code: &'static str, key: &str, message: String, help: &str) -> Failure {
        let span = self.file.span_of(key);
        Failure::of(Problem {
            warning: false,
            code,
            source: self.source.clone(),
            span: Some(span),
            message,
            help: help.to_owned(),
        })
    }

    /// The text of its own file.
    pub(crate) fn text(&self) -> &str {
        self.source.text()
    }

    /// The climate at the place of a node of this name.
    pub(crate) fn climate(&self, design: &Design) -> Result<Climate, Failure> {
        climate_at(design, &self.source, self.file.span_of(&format!("node.{}.latitude", design.name)))
    }
}
