//! The proofs in their full size, each by its name; what they found stands in `docs/proofs.md`.

use std::fs;
use std::path::Path;
use std::time::{Instant, SystemTime, UNIX_EPOCH};

use anyhow::{Context, Result, bail};

use crate::cargo::cargo;
use crate::source::{file_name, sorted_entries};

/// A claim that the tests hold in a small size in every run, and that is tried at length before it is called proven.
struct Proof {
    name: &'static str,
    what: &'static str,
    /// Tries it and says what was done.
    full: fn(&Path) -> Result<String>,
}

const PROOFS: [Proof; 15] = [
    Proof { name: "random", what: "every property test, with fresh seeds", full: random },
    Proof { name: "fuzz", what: "the law of every reader, 10,000,000 changed inputs each", full: fuzz },
    Proof {
        name: "kills",
        what: "enrolment ended at 1,000 moments: no row lost, no key doubled",
        full: kills,
    },
    Proof {
        name: "kills-log",
        what: "the log's server killed at 1,000 moments: nothing that was told is lost or doubled",
        full: kills_of_the_log,
    },
    Proof {
        name: "power-cuts",
        what: "the power fails at 200 moments: nothing that the log's server told is lost or doubled",
        full: power_cuts,
    },
    Proof {
        name: "answers",
        what: "200 nodes on a disk whose syncs take 30 ms longer: 99 answers of 100 within 500 ms",
        full: answers,
    },
    Proof {
        name: "forgeries",
        what: "10,000,000 frames that no device sent: none is accepted",
        full: forgeries,
    },
    Proof {
        name: "flat",
        what: "10,000,000 frames kept: the process needs no more memory at the end than when it was warm",
        full: flat,
    },
    Proof {
        name: "network",
        what: "50,000 worlds of losses, delays, copies, forgeries and restarts around the network",
        full: network,
    },
    Proof {
        name: "search",
        what: "100 sizings: what each chooses keeps its promise on 20,000 lives that it never saw",
        full: search,
    },
    Proof {
        name: "learn",
        what: "200 nodes drawn from what is believed: intervals of 90 % hold them as often as they say",
        full: learn,
    },
    Proof {
        name: "sky",
        what: "10 sites of six nodes under one sky: their yields are known better together than alone",
        full: sky,
    },
    Proof {
        name: "watch",
        what: "50 nodes that do what they should for a year: at most 0.2 alarms a node-year",
        full: watch,
    },
    Proof {
        name: "reach",
        what: "predicted levels against links that were measured; the folder of the data sets follows",
        full: |_| bail!("name the folder of the data sets: cargo xtask prove reach FOLDER"),
    },
    Proof {
        name: "mutants",
        what: "a tenth of the changes to the code that a test must notice",
        full: mutants,
    },
];

/// Seeds that `random` tries.
const SEEDS: u64 = 20;
/// Inputs that `fuzz` gives to each reader.
const EXECUTIONS: &str = "10000000";
/// Moments at which `kills` ends a run.
const KILLS: &str = "1000";
/// Moments at which `power-cuts` ends all, and frames that `forgeries` makes.
const CUTS: &str = "200";
const FORGERIES: &str = "10000000";
/// Frames that `flat` has kept.
const FRAMES: &str = "10000000";
/// Nodes that `answers` answers.
const ANSWERED: &str = "200";
/// Worlds in which `network` puts the network.
const WORLDS: &str = "50000";
/// Sizings that `search` makes, and lives that each choice lives.
const SEARCHES: &str = "100";
const LIVES: &str = "20000";
/// Nodes that `learn` draws and learns.
const LOGS: &str = "200";
/// Members of each swarm: as many as the command `learn` has.
const MEMBERS: &str = "6000";
/// Sites that `sky` learns.
const SITES: &str = "10";
/// Nodes that `watch` watches, and for how many days.
const WATCHED: (&str, &str) = ("50", "365");
/// Crates whose code `mutants` changes.
const MUTATED: [&str; 2] = ["overwinter-kit", "overwinter-wire"];

/// Says what there is to prove.
pub(crate) fn list() {
    println!("cargo xtask prove NAME\n");
    for Proof { name, what, .. } in &PROOFS {
        println!("  {name:<10} {what}");
    }
}

/// Proves one claim in its full size and says how long it took.
pub(crate) fn run(root: &Path, name: &str) -> Result<()> {
    let Some(proof) = PROOFS.iter().find(|proof| proof.name == name) else {
        let names: Vec<&str> = PROOFS.iter().map(|proof| proof.name).collect();
        bail!("no proof is called {name}; there are {}", names.join(", "));
    };
    let start = Instant::now();
    let done = (proof.full)(root).with_context(|| format!("{name} is not proven"))?;
    println!("\nproven: {name}: {done}, in {} s", start.elapsed().as_secs());
    Ok(())
}

/// Prints how far predicted levels are off measured ones. The data are not ours to keep, so their folder is named.
pub(crate) fn reach(root: &Path, folder: &str) -> Result<()> {
    let folder = fs::canonicalize(folder).with_context(|| format!("there is no folder {folder}"))?;
    let folder = folder.to_str().context("the folder's name is no text")?;
    let example = ["run", "--locked", "--package", "overwinter-forecast", "--example", "prove_reach"];
    cargo(root, &[&example[..], &["--", folder]].concat(), &[])
}

fn random(root: &Path) -> Result<String> {
    let tests = property_tests(root)?;
    let first = SystemTime::now().duration_since(UNIX_EPOCH).context("the clock is before 1970")?.as_nanos();
    for number in 0..SEEDS {
        // Any numbers do, as long as they are new and can be told.
        let seed = (u64::try_from(first & u128::from(u64::MAX)).unwrap_or_default()).wrapping_add(number);
        println!("\n== PROPTEST_RNG_SEED={seed}");
        for (package, names) in &tests {
            let mut arguments = vec!["test", "--quiet", "--locked", "--package", package.as_str()];
            for name in names {
                arguments.extend(["--test", name.as_str()]);
            }
            cargo(root, &arguments, &[("PROPTEST_RNG_SEED", &seed.to_string())])?;
        }
    }
    let count: usize = tests.iter().map(|(_, names)| names.len()).sum();
    Ok(format!("{count} test programs with {SEEDS} seeds each"))
}

/// The test programs of each package that draw numbers.
fn property_tests(root: &Path) -> Result<Vec<(String, Vec<String>)>> {
    let mut found = Vec::new();
    for folder in sorted_entries(&root.join("crates"))? {
        let tests = folder.join("tests");
        let files = if tests.is_dir() { sorted_entries(&tests)? } else { Vec::new() };
        let mut names = Vec::new();
        for file in files.iter().filter(|file| file.is_file()) {
            let text = fs::read_to_string(file).unwrap_or_default();
            if text.contains("proptest!") || text.contains("::seed(") {
                names.push(file_name(&file.with_extension("")));
            }
        }
        if !names.is_empty() {
            found.push((format!("overwinter-{}", file_name(&folder)), names));
        }
    }
    Ok(found)
}

fn fuzz(root: &Path) -> Result<String> {
    let arguments = ["test", "--release", "--locked", "--package", "overwinter-laws", "--test", "laws"];
    cargo(root, &arguments, &[("OVERWINTER_EXECUTIONS", EXECUTIONS)])?;
    Ok(format!("{EXECUTIONS} executions of each law"))
}

fn kills(root: &Path) -> Result<String> {
    let arguments = ["test", "--locked", "--package", "overwinter", "--test", "enrol", "killed"];
    cargo(root, &arguments, &[("OVERWINTER_KILLS", KILLS)])?;
    Ok(format!("{KILLS} moments"))
}

fn kills_of_the_log(root: &Path) -> Result<String> {
    let arguments = ["test", "--locked", "--package", "overwinter", "--test", "serve", "killed"];
    cargo(root, &arguments, &[("OVERWINTER_KILLS", KILLS)])?;
    Ok(format!("{KILLS} moments"))
}

fn power_cuts(root: &Path) -> Result<String> {
    let arguments = ["test", "--locked", "--package", "overwinter", "--test", "serve", "power_fails"];
    cargo(root, &arguments, &[("OVERWINTER_CUTS", CUTS)])?;
    Ok(format!("{CUTS} cuts"))
}

fn answers(root: &Path) -> Result<String> {
    let arguments = ["test", "--locked", "--package", "overwinter", "--test", "serve", "answered_in_time"];
    cargo(root, &arguments, &[("OVERWINTER_NODES", ANSWERED)])?;
    Ok(format!("{ANSWERED} nodes"))
}

fn forgeries(root: &Path) -> Result<String> {
    let arguments =
        ["test", "--release", "--locked", "--package", "overwinter-logbook", "--test", "forgeries"];
    cargo(root, &arguments, &[("OVERWINTER_FORGERIES", FORGERIES)])?;
    Ok(format!("{FORGERIES} frames"))
}

fn flat(root: &Path) -> Result<String> {
    let arguments = ["test", "--release", "--locked", "--package", "overwinter-logbook", "--test", "flat"];
    cargo(root, &arguments, &[("OVERWINTER_FRAMES", FRAMES)])?;
    Ok(format!("{FRAMES} frames"))
}

fn network(root: &Path) -> Result<String> {
    let arguments =
        ["test", "--release", "--locked", "--package", "overwinter-logbook", "--test", "simulation"];
    cargo(root, &arguments, &[("OVERWINTER_SEEDS", WORLDS)])?;
    Ok(format!("{WORLDS} worlds"))
}

fn search(root: &Path) -> Result<String> {
    let arguments = ["test", "--release", "--locked", "--package", "overwinter-verdict", "--test", "size"];
    cargo(root, &arguments, &[("OVERWINTER_SEARCHES", SEARCHES), ("OVERWINTER_LIVES", LIVES)])?;
    Ok(format!("{SEARCHES} searches, {LIVES} lives each"))
}

fn learn(root: &Path) -> Result<String> {
    let package = ["--package", "overwinter-forecast", "--test", "learn_calibration"];
    let arguments = [&["test", "--release", "--locked"], &package[..]].concat();
    cargo(root, &arguments, &[("OVERWINTER_LOGS", LOGS), ("OVERWINTER_MEMBERS", MEMBERS)])?;
    Ok(format!("{LOGS} logs, 4 swarms of {MEMBERS}"))
}

fn sky(root: &Path) -> Result<String> {
    let package = ["--package", "overwinter-forecast", "--test", "learn_site", "--", "--nocapture"];
    let arguments = [&["test", "--release", "--locked"], &package[..]].concat();
    cargo(root, &arguments, &[("OVERWINTER_SITES", SITES), ("OVERWINTER_MEMBERS", MEMBERS)])?;
    Ok(format!("{SITES} sites of each kind"))
}

fn watch(root: &Path) -> Result<String> {
    let package = ["--package", "overwinter-logbook", "--test", "watch_nominal", "--", "--nocapture"];
    let arguments = [&["test", "--release", "--locked"], &package[..]].concat();
    let (nodes, days) = WATCHED;
    cargo(root, &arguments, &[("OVERWINTER_NODES", nodes), ("OVERWINTER_DAYS", days)])?;
    Ok(format!("{nodes} nodes, {days} days"))
}

/// Needs `cargo install cargo-mutants`.
fn mutants(root: &Path) -> Result<String> {
    for package in MUTATED {
        let arguments =
            ["mutants", "--package", package, "--shard", "1/10", "--no-shuffle", "--cap-lints", "true"];
        cargo(root, &arguments, &[])?;
    }
    Ok(format!("one tenth of the changes to {}", MUTATED.join(", ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_tests_are_found_in_every_crate_that_has_some() {
        let found = property_tests(crate::root()).expect("the crates can be read");
        let of = |package: &str| found.iter().find(|(name, _)| name == package).map(|(_, tests)| tests);
        assert!(of("overwinter-wire").is_some_and(|tests| tests.contains(&"laws".to_owned())), "{found:?}");
        assert!(of("overwinter-laws").is_some_and(|tests| tests.contains(&"laws".to_owned())), "{found:?}");
    }

    #[test]
    fn every_proof_has_its_row_in_the_document() {
        let document = fs::read_to_string(crate::root().join("docs/proofs.md")).expect("it is there");
        for proof in &PROOFS {
            assert!(
                document.contains(&format!("| `{}` |", proof.name)),
                "docs/proofs.md lacks {}",
                proof.name
            );
        }
    }
}
