//! Who may use whom, and what the pure crates may not touch.

use std::fs;
use std::path::Path;

use anyhow::{Context, Result, ensure};
use toml::Table;

use crate::modules;
use crate::source::{code_alone, file_name, first_names, is_name, rust_files, sorted_entries};

/// Every crate of ours and the crates of ours it may use, tests and build scripts included.
const LAYERS: &[(&str, &[&str])] = &[
    ("design", &[]),
    ("path", &[]),
    ("api", &[]),
    ("wire", &["design"]),
    ("kit", &["design", "wire"]),
    ("forecast", &["design", "path"]),
    ("verdict", &["design", "forecast", "path"]),
    ("report", &["design", "forecast", "path", "verdict"]),
    ("logbook", &["design", "forecast", "wire"]),
    ("laws", &["design", "forecast", "logbook", "wire"]),
    ("app", &["api", "design", "forecast", "kit", "logbook", "path", "report", "verdict", "wire"]),
];

/// Where people read the rules.
const PICTURED: &str = "ARCHITECTURE.md";

/// The crates without input, output, clock, environment and unseeded randomness.
const PURE: &[&str] = &["api", "design", "forecast", "kit", "path", "report", "verdict", "wire"];

/// What their sources may not name, below `std::`.
const IMPURE_MODULES: [&str; 5] = ["env", "fs", "net", "os", "process"];

/// What their sources may not name, wherever it comes from.
const IMPURE_WORDS: [&str; 5] = ["Instant", "OsRng", "RandomState", "SystemTime", "thread_local"];

/// Without these, the `clippy.toml` of a pure crate is not what it should be.
const BANS: [&str; 7] = [
    "std::env::var",
    "std::fs::read",
    "std::fs::write",
    "std::process::Command::new",
    "std::thread::sleep",
    "std::time::Instant::now",
    "std::time::SystemTime::now",
];

/// Fails with every breach of the rules.
pub(crate) fn check(root: &Path) -> Result<()> {
    let breaches: Vec<String> = [
        forbidden_uses(root)?,
        missing_bans(root)?,
        impure_sources(root)?,
        circles(root)?,
        wrong_picture(&fs::read_to_string(root.join(PICTURED)).context("can't read ARCHITECTURE.md")?),
    ]
    .into_iter()
    .flatten()
    .collect();
    ensure!(breaches.is_empty(), "the rules between crates are broken\n  {}", breaches.join("\n  "));
    Ok(())
}

/// Says the order of the modules of each crate, each after those it uses.
pub(crate) fn draw(root: &Path) -> Result<()> {
    for (name, used) in LAYERS.iter().copied() {
        println!("{}\n         {}", row_of_picture(name, used), modules::order(root, name)?);
    }
    Ok(())
}

/// Crates whose modules use each other in a circle.
fn circles(root: &Path) -> Result<Vec<String>> {
    let mut found = Vec::new();
    for (name, _) in LAYERS {
        found.extend(modules::circles(root, name)?);
    }
    Ok(found)
}

/// Rows of the picture in ARCHITECTURE.md that are missing.
fn wrong_picture(text: &str) -> Vec<String> {
    let rows = LAYERS.iter().map(|(name, used)| row_of_picture(name, used));
    rows.filter(|row| !text.contains(&format!("\n{row}\n")))
        .map(|row| format!("{PICTURED}: the picture lacks the row `{row}`"))
        .collect()
}

fn row_of_picture(name: &str, used: &[&str]) -> String {
    let used = if used.is_empty() { "none of ours".to_owned() } else { used.join(", ") };
    format!("{name:<8} uses  {used}")
}

/// Manifests that name a crate they may not use, have no rule here, or do not take the workspace's lints.
fn forbidden_uses(root: &Path) -> Result<Vec<String>> {
    let workspace = manifest(&root.join("Cargo.toml"))?;
    let mut breaches = Vec::new();
    for folder in sorted_entries(&root.join("crates"))? {
        let name = file_name(&folder);
        let Some((_, allowed)) = LAYERS.iter().find(|(known, _)| *known == name) else {
            breaches.push(format!("crates/{name}: no rule for this crate in xtask/src/layers.rs"));
            continue;
        };
        let manifest = manifest(&folder.join("Cargo.toml"))?;
        for used in ours(&manifest, &workspace) {
            if !allowed.contains(&used.as_str()) {
                breaches.push(format!("crates/{name}/Cargo.toml: {name} may not use {used}"));
            }
        }
        if !takes_workspace_lints(&manifest) {
            breaches.push(format!("crates/{name}/Cargo.toml: write `lints.workspace = true`"));
        }
    }
    Ok(breaches)
}

/// The folders under `crates/` that a manifest points to, in any dependency table.
fn ours(manifest: &Table, workspace: &Table) -> Vec<String> {
    let shared = workspace.get("workspace").and_then(|table| table.get("dependencies"));
    dependency_tables(manifest)
        .into_iter()
        .flatten()
        .filter_map(|(key, value)| {
            let stated = if value.get("workspace").is_some() { shared?.get(key)? } else { value };
            let folder = stated.get("path")?.as_str()?;
            Some(file_name(Path::new(folder)))
        })
        .collect()
}

fn dependency_tables(manifest: &Table) -> Vec<&Table> {
    const KINDS: [&str; 3] = ["dependencies", "dev-dependencies", "build-dependencies"];
    let targets = manifest.get("target").and_then(toml::Value::as_table);
    let per_target = targets.into_iter().flat_map(Table::values).filter_map(toml::Value::as_table);
    std::iter::once(manifest)
        .chain(per_target)
        .flat_map(|table| KINDS.iter().filter_map(|kind| table.get(*kind)?.as_table()))
        .collect()
}

fn takes_workspace_lints(manifest: &Table) -> bool {
    manifest.get("lints").and_then(|lints| lints.get("workspace")).and_then(toml::Value::as_bool)
        == Some(true)
}

/// Pure crates whose `clippy.toml` lacks a ban or differs from that of the first.
fn missing_bans(root: &Path) -> Result<Vec<String>> {
    let mut breaches = Vec::new();
    let mut first: Option<String> = None;
    for name in PURE {
        let path = format!("crates/{name}/clippy.toml");
        let text = fs::read_to_string(root.join(&path)).with_context(|| format!("can't read {path}"))?;
        let bans = banned_paths(&text).with_context(|| format!("can't understand {path}"))?;
        breaches.extend(
            BANS.iter()
                .filter(|ban| !bans.iter().any(|path| path == *ban))
                .map(|ban| format!("{path}: ban `{ban}`")),
        );
        let expected = first.get_or_insert_with(|| text.clone());
        if *expected != text {
            breaches.push(format!("{path}: differs from crates/{}/clippy.toml", PURE[0]));
        }
    }
    Ok(breaches)
}

fn banned_paths(clippy_toml: &str) -> Result<Vec<String>> {
    let table: Table = clippy_toml.parse()?;
    let entries = table.get("disallowed-methods").and_then(toml::Value::as_array);
    Ok(entries
        .into_iter()
        .flatten()
        .filter_map(|entry| Some(entry.get("path")?.as_str()?.to_owned()))
        .collect())
}

/// Sources of pure crates that name something impure.
fn impure_sources(root: &Path) -> Result<Vec<String>> {
    let mut breaches = Vec::new();
    for name in PURE {
        for path in rust_files(&root.join("crates").join(name).join("src"))? {
            let shown = path.strip_prefix(root).unwrap_or(&path).display().to_string();
            let source = fs::read_to_string(&path).with_context(|| format!("can't read {shown}"))?;
            breaches.extend(
                impurities(&source).into_iter().map(|word| format!("{shown}: pure, but names {word}")),
            );
        }
    }
    Ok(breaches)
}

/// What a source names of [`IMPURE_MODULES`] and [`IMPURE_WORDS`]; comments and texts in quotes do not count.
///
/// A quick look at the text, so that a tired `#[expect]` does not open the door; the lints look at the meaning.
fn impurities(source: &str) -> Vec<String> {
    let code: String = source.lines().map(code_alone).collect::<Vec<_>>().join("\n");
    let modules = IMPURE_MODULES
        .iter()
        .filter(|module| names_of_std(&code).iter().any(|name| name == *module))
        .map(|module| format!("std::{module}"));
    let words = IMPURE_WORDS
        .iter()
        .filter(|word| code.split(|c: char| !is_name(c)).any(|name| name == **word))
        .map(|word| (*word).to_owned());
    modules.chain(words).collect()
}

/// The first name after every `std::`, also inside `std::{..}`.
fn names_of_std(code: &str) -> Vec<String> {
    let dense: String = code.chars().filter(|c| !c.is_whitespace()).collect();
    let mut names = Vec::new();
    for rest in dense.split("std::").skip(1) {
        match rest.strip_prefix('{') {
            Some(group) => names.extend(first_names(group)),
            None => names.push(rest.chars().take_while(|c| is_name(*c)).collect()),
        }
    }
    names
}

fn manifest(path: &Path) -> Result<Table> {
    let text = fs::read_to_string(path).with_context(|| format!("can't read {}", path.display()))?;
    text.parse().with_context(|| format!("can't understand {}", path.display()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn this_workspace_keeps_the_rules() {
        check(crate::root()).expect("the rules between crates hold");
    }

    #[test]
    fn every_crate_of_the_rules_exists() {
        for (name, _) in LAYERS {
            assert!(crate::root().join("crates").join(name).join("Cargo.toml").is_file(), "{name}");
        }
    }

    #[test]
    fn a_crate_of_ours_is_found_in_every_dependency_table() {
        let workspace = "
            [workspace.dependencies]
            wire = { path = 'crates/wire', package = 'overwinter-wire' }
            serde = '1'"
            .parse()
            .expect("valid TOML");
        let manifest = "
            [dependencies]
            serde.workspace = true
            wire.workspace = true
            [dev-dependencies]
            app = { path = '../app' }
            [build-dependencies]
            path = { path = '../path' }
            [target.'cfg(unix)'.dependencies]
            design = { path = '../design' }"
            .parse()
            .expect("valid TOML");
        assert_eq!(ours(&manifest, &workspace), ["wire", "app", "path", "design"]);
    }

    #[test]
    fn impure_names_are_found_however_they_are_imported() {
        for (source, found) in [
            ("let text = std::fs::read(path);", "std::fs"),
            ("use std::{collections::{BTreeMap, BTreeSet}, env};", "std::env"),
            ("use std::{\n    fmt,\n    net::TcpStream,\n};", "std::net"),
            ("use std::time::{Duration, Instant};", "Instant"),
            ("fn at(now: SystemTime) {}", "SystemTime"),
            ("thread_local! { static SEEN: u8 = 0; }", "thread_local"),
        ] {
            assert_eq!(impurities(source), [found], "{source}");
        }
    }

    #[test]
    fn pure_code_and_comments_are_left_in_peace() {
        let source = "
            //! Reads nothing: no std::fs here.
            use std::{fmt, collections::BTreeMap};
            let data = include_str!(\"env.toml\"); // SystemTime is not for us
            let path = env!(\"CARGO_MANIFEST_DIR\");
            fn instantly(fs: f64) -> f64 { fs }";
        assert_eq!(impurities(source), Vec::<String>::new());
    }

    #[test]
    fn bans_are_read_from_a_clippy_file() {
        let text = "disallowed-methods = [{ path = 'std::fs::read', reason = 'pure' }]";
        assert_eq!(banned_paths(text).expect("valid TOML"), ["std::fs::read"]);
    }
}
