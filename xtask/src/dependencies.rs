//! The crates that go into the program: under which licences, from where, how often; and the two lists that a distributor
//! asks for. All of it from `cargo metadata` and the lock file, so that it can't say anything else.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::{Context, Result, bail, ensure};
use serde_json::{Value, json};

/// Licences under which everything may be shipped in one program, by their SPDX names.
const ALLOWED: [&str; 9] =
    ["0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "ISC", "MIT", "Unicode-3.0", "Unlicense", "Zlib"];

/// Crates that are in the lock file in two versions, and why that is borne.
const TWICE: [(&str, &str); 11] = [
    ("base64", "the websocket and the maker of certificates ask for different ones"),
    ("block-buffer", "the digest of the websocket's handshake is of an older family than ours"),
    ("cpufeatures", "the digest of the websocket's handshake is of an older family than ours"),
    ("crypto-common", "the digest of the websocket's handshake is of an older family than ours"),
    ("digest", "the digest of the websocket's handshake is of an older family than ours"),
    ("getrandom", "TLS and the websocket ask for older ones than our keys"),
    ("rand", "the websocket and the tests of properties ask for different ones"),
    ("rand_core", "the websocket and the tests of properties ask for different ones"),
    ("miniz_oxide", "two readers of compressed pictures ask for different ones"),
    ("nom", "mail and the reader of certificates ask for different ones"),
    ("syn", "two derive macros ask for different ones; neither is in the program"),
];

/// Where what is checked and listed runs; on other systems other crates may be in it.
pub(crate) const PLATFORM: &str = "x86_64-unknown-linux-musl";

/// The program, whose crates are listed.
const PROGRAM: &str = "overwinter";

/// One crate, as cargo resolved it.
#[derive(Debug)]
pub(crate) struct Crate {
    name: String,
    version: String,
    licence: String,
    authors: String,
    source: Option<String>,
    folder: PathBuf,
    uses: Vec<String>,
    shipped: bool,
}

impl Crate {
    fn is_ours(&self) -> bool {
        self.source.is_none()
    }

    /// Package URL.
    ///
    /// # References
    /// ECMA-427, Package-URL specification, type `cargo` (from memory).
    fn url(&self) -> String {
        format!("pkg:cargo/{}@{}", self.name, self.version)
    }
}

/// Fails with every crate whose licence, source or second version nobody has agreed to.
pub(crate) fn check(root: &Path) -> Result<()> {
    let crates = resolved(root, PLATFORM)?;
    let faults = faults(crates.values());
    ensure!(faults.is_empty(), "the dependencies are not as agreed\n  {}", faults.join("\n  "));
    Ok(())
}

fn faults<'a>(crates: impl Iterator<Item = &'a Crate>) -> Vec<String> {
    let mut faults = Vec::new();
    let mut versions: BTreeMap<&str, usize> = BTreeMap::new();
    let mut registries = BTreeSet::new();
    for one in crates {
        let Crate { name, version, licence, source, .. } = one;
        if !allowed(licence) {
            faults.push(format!("{name} {version} is under {licence:?}"));
        }
        match source {
            Some(source) if source.starts_with("registry+") => drop(registries.insert(source.as_str())),
            Some(source) => faults.push(format!("{name} {version} comes from {source}, not from a registry")),
            None => {}
        }
        *versions.entry(name).or_default() += 1;
    }
    if registries.len() > 1 {
        faults.push(format!("crates come from {} registries: {registries:?}", registries.len()));
    }
    let agreed = |name: &str| TWICE.iter().any(|(known, _)| *known == name);
    let twice = versions.iter().filter(|(name, count)| **count > 1 && !agreed(name));
    faults.extend(twice.map(|(name, count)| format!("{name} is there in {count} versions")));
    faults
}

/// Whether an SPDX expression leaves a choice of allowed licences; `/` is the older form of `OR`.
///
/// # References
/// SPDX specification 2.3, annex D: `AND` binds closer than `OR`.
fn allowed(expression: &str) -> bool {
    let spaced = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut rest = words.as_slice();
    !words.is_empty() && any(&mut rest) && rest.is_empty()
}

fn any(rest: &mut &[&str]) -> bool {
    let mut found = all(rest);
    while let [first, behind @ ..] = *rest
        && *first == "OR"
    {
        *rest = behind;
        found |= all(rest);
    }
    found
}

fn all(rest: &mut &[&str]) -> bool {
    let mut found = one(rest);
    while let [first, behind @ ..] = *rest
        && *first == "AND"
    {
        *rest = behind;
        found &= one(rest);
    }
    found
}

fn one(rest: &mut &[&str]) -> bool {
    match **rest {
        ["(", ref behind @ ..] => {
            *rest = behind;
            let found = any(rest);
            let closed = rest.first() == Some(&")");
            *rest = rest.get(1..).unwrap_or_default();
            found && closed
        }
        // An exception only ever allows more.
        [name, "WITH", _, ref behind @ ..] | [name, ref behind @ ..] => {
            *rest = behind;
            ALLOWED.contains(&name)
        }
        [] => false,
    }
}

/// Every crate that is built for a platform, by its package identity.
pub(crate) fn resolved(root: &Path, platform: &str) -> Result<BTreeMap<String, Crate>> {
    let program = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let mut command = Command::new(program);
    command.args(["metadata", "--locked", "--format-version", "1", "--filter-platform", platform]);
    command.current_dir(root);
    let output = command.output().context("can't start cargo")?;
    ensure!(output.status.success(), "`cargo metadata` failed: {}", String::from_utf8_lossy(&output.stderr));
    let metadata = serde_json::from_slice(&output.stdout).context("`cargo metadata` is no JSON")?;
    read(&metadata)
}

fn read(metadata: &Value) -> Result<BTreeMap<String, Crate>> {
    let nodes = metadata["resolve"]["nodes"].as_array().context("it resolves nothing")?;
    let uses: BTreeMap<&str, Vec<String>> =
        nodes.iter().map(|node| (text(&node["id"]), used(node))).collect();
    let packages = metadata["packages"].as_array().context("it names no packages")?;
    let start =
        packages.iter().find(|package| package["name"] == PROGRAM).context("the program is not in it")?;
    let shipped = reached(text(&start["id"]), &uses);
    let crates = packages.iter().filter(|package| uses.contains_key(text(&package["id"]))).map(|package| {
        let id = text(&package["id"]);
        let authors = package["authors"].as_array().into_iter().flatten().map(text).collect::<Vec<_>>();
        let one = Crate {
            name: text(&package["name"]).to_owned(),
            version: text(&package["version"]).to_owned(),
            licence: text(&package["license"]).to_owned(),
            authors: authors.join(", "),
            source: package["source"].as_str().map(str::to_owned),
            folder: Path::new(text(&package["manifest_path"])).parent().unwrap_or(Path::new("")).to_owned(),
            uses: uses[id].clone(),
            shipped: shipped.contains(id),
        };
        (id.to_owned(), one)
    });
    Ok(crates.collect())
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}

/// Identities of what a package needs to run; tests and build scripts are left out.
fn used(node: &Value) -> Vec<String> {
    let kinds = |one: &Value| {
        one["dep_kinds"].as_array().is_some_and(|kinds| kinds.iter().any(|kind| kind["kind"].is_null()))
    };
    let dependencies = node["deps"].as_array().into_iter().flatten();
    dependencies.filter(|one| kinds(one)).map(|one| text(&one["pkg"]).to_owned()).collect()
}

fn reached(start: &str, uses: &BTreeMap<&str, Vec<String>>) -> BTreeSet<String> {
    let mut reached = BTreeSet::new();
    let mut open = vec![start.to_owned()];
    while let Some(id) = open.pop() {
        if reached.insert(id.clone()) {
            open.extend(uses.get(id.as_str()).into_iter().flatten().cloned());
        }
    }
    reached
}

/// The licences of everything in the program, with their texts: what is shipped beside it.
pub(crate) fn third_party(root: &Path, platform: &str) -> Result<String> {
    let crates = resolved(root, platform)?;
    let mut by_text: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut list = String::new();
    for one in crates.values().filter(|one| one.shipped && !one.is_ours()) {
        let Crate { name, version, licence, .. } = one;
        writeln!(list, "  {name} {version}: {licence}")?;
        for text in texts(root, one)? {
            by_text.entry(text).or_default().push(format!("{name} {version}"));
        }
    }
    let mut all = format!(
        "The program contains these crates by others, under the licences named; their texts follow.\n\n{list}\n\
         Typefaces and the map library in its pages, and what its propagation rests on:\n\n"
    );
    for path in [
        "crates/report/fonts/OFL-literata.txt",
        "crates/report/fonts/OFL-source-sans-3.txt",
        "crates/app/page/vendor/openlayers-LICENCES.txt",
        "crates/path/NOTICE.md",
        "crates/forecast/data/climate/README.md",
    ] {
        let text = fs::read_to_string(root.join(path)).with_context(|| format!("{path} is not there"))?;
        writeln!(all, "{}\n{path}\n\n{text}", "-".repeat(79))?;
    }
    for (text, names) in by_text {
        writeln!(all, "{}\n{}\n\n{text}", "-".repeat(79), names.join(", "))?;
    }
    Ok(all)
}

/// Texts of a crate's licences; where the package holds none, the usual text of one that its manifest allows.
fn texts(root: &Path, one: &Crate) -> Result<Vec<String>> {
    let begins = ["LICENSE", "LICENCE", "COPYING", "NOTICE", "UNLICENSE", "COPYRIGHT"];
    let entries = fs::read_dir(&one.folder).with_context(|| format!("{} is not fetched", one.name))?;
    let mut files: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
    files.sort();
    let is_text = |path: &PathBuf| {
        let name = path.file_name().unwrap_or_default().to_string_lossy().to_uppercase();
        path.is_file() && begins.iter().any(|begin| name.starts_with(begin))
    };
    let found: Vec<String> = files
        .iter()
        .filter(|path| is_text(path))
        .map(|path| Ok(fs::read_to_string(path)?))
        .collect::<Result<_>>()?;
    if !found.is_empty() {
        return Ok(found);
    }
    let read =
        |name: &str| fs::read_to_string(root.join(name)).with_context(|| format!("{name} is not there"));
    match one.licence.as_str() {
        licence if licence.contains("MIT") => {
            let who = if one.authors.is_empty() {
                format!("the authors of {}", one.name)
            } else {
                one.authors.clone()
            };
            let lines = read("LICENSE-MIT")?;
            let lines = lines.lines().map(|line| {
                if line.starts_with("Copyright") { format!("Copyright (c) {who}") } else { line.to_owned() }
            });
            Ok(vec![lines.collect::<Vec<_>>().join("\n") + "\n"])
        }
        licence if licence.contains("Apache-2.0") => Ok(vec![read("LICENSE-APACHE")?]),
        licence => bail!("{} has no text of its licence {licence}", one.name),
    }
}

/// The bill of materials: every crate in the program, its licence, its checksum, and who uses whom.
///
/// # References
/// ECMA-424, `CycloneDX` 1.6; its JSON schema, as the Python package `cyclonedx-python-lib` 11.12.0 carries it, takes the bill
/// (tried by hand on 2026-11-29).
pub(crate) fn bill(root: &Path, platform: &str) -> Result<String> {
    let crates = resolved(root, platform)?;
    let sums = checksums(root)?;
    let shipped = || crates.values().filter(|one| one.shipped);
    let (program, parts): (Vec<&Crate>, Vec<&Crate>) = shipped().partition(|one| one.name == PROGRAM);
    let program = program.first().context("the program is not in it")?;
    let dependencies: Vec<Value> = shipped()
        .map(|one| {
            let uses: BTreeSet<String> =
                one.uses.iter().filter_map(|id| crates.get(id)).map(Crate::url).collect();
            json!({ "ref": one.url(), "dependsOn": uses })
        })
        .collect();
    let bill = json!({
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": { "component": component(program, "application", &sums) },
        "components": parts.iter().map(|one| component(one, "library", &sums)).collect::<Vec<_>>(),
        "dependencies": dependencies,
    });
    Ok(serde_json::to_string_pretty(&bill)? + "\n")
}

fn component(one: &Crate, kind: &str, sums: &BTreeMap<(String, String), String>) -> Value {
    let licence = one.licence.replace('/', " OR ");
    let mut component = json!({
        "type": kind,
        "bom-ref": one.url(),
        "name": one.name,
        "version": one.version,
        "licenses": [{ "expression": licence }],
        "purl": one.url(),
    });
    if let Some(sum) = sums.get(&(one.name.clone(), one.version.clone())) {
        component["hashes"] = json!([{ "alg": "SHA-256", "content": sum }]);
    }
    component
}

/// What the lock file says of each package that comes from elsewhere.
fn checksums(root: &Path) -> Result<BTreeMap<(String, String), String>> {
    let lock = fs::read_to_string(root.join("Cargo.lock")).context("there is no Cargo.lock")?;
    let lock: toml::Table = lock.parse().context("Cargo.lock is no TOML")?;
    let packages = lock.get("package").and_then(toml::Value::as_array).context("it locks nothing")?;
    let of = |package: &toml::Value, key: &str| Some(package.get(key)?.as_str()?.to_owned());
    let sums = packages.iter().filter_map(|package| {
        Some(((of(package, "name")?, of(package, "version")?), of(package, "checksum")?))
    });
    Ok(sums.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(name: &str, version: &str, licence: &str, source: Option<&str>) -> Crate {
        Crate {
            name: name.to_owned(),
            version: version.to_owned(),
            licence: licence.to_owned(),
            authors: String::new(),
            source: source.map(str::to_owned),
            folder: PathBuf::new(),
            uses: Vec::new(),
            shipped: true,
        }
    }

    #[test]
    fn a_licence_is_allowed_if_a_choice_of_it_is() {
        for good in [
            "MIT",
            "MIT/Apache-2.0",
            "GPL-3.0-only OR MIT",
            "(MIT OR GPL-2.0-only) AND ISC",
            "MIT OR GPL-2.0-only AND GPL-3.0-only",
            "Apache-2.0 WITH LLVM-exception",
        ] {
            assert!(allowed(good), "{good}");
        }
        for bad in [
            "",
            "GPL-3.0-only",
            "MIT AND GPL-2.0-only",
            "(MIT OR ISC) AND GPL-2.0-only",
            "(MIT",
            "MIT MIT",
            "mit",
        ] {
            assert!(!allowed(bad), "{bad}");
        }
    }

    #[test]
    fn every_fault_of_a_dependency_is_named() {
        let registry = Some("registry+x");
        let crates = [
            one("a", "1.0.0", "MIT", registry),
            one("b", "1.0.0", "GPL-3.0-only", registry),
            one("c", "1.0.0", "MIT", Some("git+y")),
            one("d", "1.0.0", "MIT", registry),
            one("d", "2.0.0", "MIT", registry),
            one("e", "1.0.0", "MIT", Some("registry+z")),
            one("syn", "1.0.0", "MIT", registry),
            one("syn", "2.0.0", "MIT", registry),
        ];
        let said = faults(crates.iter()).join("\n");
        for words in ["b 1.0.0 is under", "c 1.0.0 comes from git+y", "d is there in 2", "2 registries"] {
            assert!(said.contains(words), "{words}: {said}");
        }
        assert_eq!(said.lines().count(), 4, "{said}");
    }

    #[test]
    fn the_dependencies_of_this_workspace_are_as_agreed() {
        check(crate::root()).expect("ask before you add one");
        for (name, why) in TWICE {
            assert!(why.len() > 20, "{name} has its reason");
        }
    }

    #[test]
    fn every_crate_of_the_lock_file_that_is_shipped_stands_in_both_lists() {
        let root = crate::root();
        let crates = resolved(root, PLATFORM).expect("cargo resolves it");
        let bill: Value =
            serde_json::from_str(&bill(root, PLATFORM).expect("it is made")).expect("it is JSON");
        let listed: BTreeSet<&str> =
            bill["components"].as_array().expect("a list").iter().map(|one| text(&one["purl"])).collect();
        let licences = third_party(root, PLATFORM).expect("every licence has its text");
        let mut count = 0;
        for one in crates.values().filter(|one| one.shipped && !one.is_ours()) {
            assert!(licences.contains(&format!("  {} {}: ", one.name, one.version)), "{}", one.name);
            assert!(listed.contains(one.url().as_str()), "{}", one.name);
            count += 1;
        }
        assert!(count > 50, "only {count} crates are shipped?");
        let sums =
            bill["components"].as_array().expect("a list").iter().filter(|one| one["hashes"].is_array());
        assert_eq!(sums.count(), count, "every one from elsewhere has its checksum");
        assert!(!licences.contains(&root.display().to_string()), "no place of this machine");
    }
}
