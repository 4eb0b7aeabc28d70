//! Which module of a crate uses which, and whether they go round in a circle.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use anyhow::{Context, Result};

use crate::source::{code_alone, is_name, rust_files};

/// Below so many lines a crate is read as a whole, circles or not.
const SMALL_CRATE_LINES: usize = 1_000;

/// The modules at the top of a crate and those that each uses, with a file where it does.
pub(crate) type Uses = BTreeMap<String, BTreeMap<String, String>>;

/// A crate whose modules use each other in a circle, named with the uses that close it; none if it is small.
pub(crate) fn circles(root: &Path, name: &str) -> Result<Vec<String>> {
    let (uses, lines) = uses_in(&root.join("crates").join(name).join("src"))?;
    if lines <= SMALL_CRATE_LINES {
        return Ok(Vec::new());
    }
    Ok(knots(&uses).iter().map(|knot| format!("crates/{name}: {}", told(knot, &uses))).collect())
}

/// The modules of a crate, each after those it uses; a circle stands in brackets.
pub(crate) fn order(root: &Path, name: &str) -> Result<String> {
    let (uses, _) = uses_in(&root.join("crates").join(name).join("src"))?;
    let mut left: BTreeSet<&String> = uses.keys().collect();
    let mut said = Vec::new();
    while !left.is_empty() {
        let is_free = |module: &&&String| uses[**module].keys().all(|used| !left.contains(used));
        let free: Vec<&String> = left.iter().filter(is_free).copied().collect();
        if free.is_empty() {
            said.push(format!("({})", left.iter().map(|one| one.as_str()).collect::<Vec<_>>().join(" ")));
            break;
        }
        said.push(free.iter().map(|one| one.as_str()).collect::<Vec<_>>().join(" "));
        left.retain(|module| !free.contains(module));
    }
    Ok(said.join(" < "))
}

fn told(knot: &BTreeSet<String>, uses: &Uses) -> String {
    let edges: Vec<String> = knot
        .iter()
        .flat_map(|from| uses[from].iter().map(move |(to, file)| (from, to, file)))
        .filter(|(_, to, _)| knot.contains(*to))
        .map(|(from, to, file)| format!("{from} uses {to} ({file})"))
        .collect();
    format!("modules go round in a circle: {}", edges.join(", "))
}

/// The uses between the modules under a `src` folder, and the lines of all files.
fn uses_in(folder: &Path) -> Result<(Uses, usize)> {
    let mut sources = Vec::new();
    for path in rust_files(folder)? {
        let text = fs::read_to_string(&path).with_context(|| format!("can't read {}", path.display()))?;
        let place = path.strip_prefix(folder).unwrap_or(&path).with_extension("");
        let place: Vec<String> =
            place.components().map(|part| part.as_os_str().to_string_lossy().into_owned()).collect();
        sources.push((place, text));
    }
    let lines = sources.iter().map(|(_, text)| text.lines().count()).sum();
    Ok((uses_of(&sources), lines))
}

/// The uses between modules of a crate, from place and text of each of its files.
fn uses_of(sources: &[(Vec<String>, String)]) -> Uses {
    let is_root = |place: &[String]| place.len() == 1 && ["lib", "main"].contains(&place[0].as_str());
    let mut uses: Uses = sources
        .iter()
        .filter(|(place, _)| !is_root(place))
        .map(|(place, _)| (place[0].clone(), BTreeMap::new()))
        .collect();
    let modules: BTreeSet<String> = uses.keys().cloned().collect();
    let given_out: BTreeMap<String, String> = sources
        .iter()
        .filter(|(place, _)| is_root(place))
        .flat_map(|(_, text)| given_out_by_root(&shipped(text), &modules))
        .collect();
    for (place, text) in sources.iter().filter(|(place, _)| !is_root(place)) {
        let code = shipped(text);
        for name in names_at_the_top(&code, place.len()) {
            let used = given_out.get(&name).unwrap_or(&name);
            if modules.contains(used) && *used != place[0] {
                let of_module = uses.get_mut(&place[0]).expect("every module has an entry");
                of_module.entry(used.clone()).or_insert_with(|| format!("{}.rs", place.join("/")));
            }
        }
    }
    uses
}

/// The code without comments, texts in quotes, the tests at its end, and spaces that part no words.
fn shipped(source: &str) -> String {
    let before_tests = source.split("#[cfg(test)]\nmod ").next().unwrap_or_default();
    let code: Vec<String> = before_tests.lines().map(code_alone).collect();
    let mut dense = code.join("\n").split_whitespace().collect::<Vec<_>>().join(" ");
    for (spaced, tight) in [(":: ", "::"), (" ::", "::"), ("{ ", "{"), (", ", ",")] {
        dense = dense.replace(spaced, tight);
    }
    dense
}

/// What the root of the crate gives out from its modules, each with its module: `pub use kit::{Kit, OnAir}`.
fn given_out_by_root(code: &str, modules: &BTreeSet<String>) -> Vec<(String, String)> {
    let mut found = Vec::new();
    for statement in code.split("use ").skip(1).filter_map(|rest| rest.split(';').next()) {
        let path = statement.trim_start_matches("crate::").trim_start_matches("self::");
        let Some((module, names)) = path.split_once("::").filter(|(module, _)| modules.contains(*module))
        else {
            continue;
        };
        let words = names.split(|letter: char| !is_name(letter)).filter(|word| !word.is_empty());
        found.extend(words.map(|word| (word.to_owned(), module.to_owned())));
    }
    found
}

/// The first names after `crate::`, and after as many `super::` as lead to the top from a file that lies so deep.
fn names_at_the_top(code: &str, depth: usize) -> BTreeSet<String> {
    let mut names = first_names_after(code, "crate::");
    names.extend(first_names_after(code, &"super::".repeat(depth)));
    names
}

fn first_names_after(code: &str, path: &str) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for (at, _) in code.match_indices(path) {
        // `super::super::x` is not `super::x`, and `some_crate::x` not `crate::x`.
        if code[..at].ends_with(|letter: char| is_name(letter) || letter == ':' || letter == '$') {
            continue;
        }
        let rest = &code[at + path.len()..];
        match rest.strip_prefix('{') {
            Some(group) => names.extend(crate::source::first_names(group)),
            None => drop(names.insert(rest.chars().take_while(|letter| is_name(*letter)).collect())),
        }
    }
    names
}

/// The groups of modules that all reach each other.
fn knots(uses: &Uses) -> Vec<BTreeSet<String>> {
    let reached: BTreeMap<&String, BTreeSet<&String>> =
        uses.keys().map(|module| (module, reached_from(module, uses))).collect();
    let mut knots: Vec<BTreeSet<String>> = uses
        .keys()
        .map(|module| {
            let back = |other: &&&String| reached[**other].contains(module);
            reached[module].iter().filter(back).map(|other| (*other).clone()).collect()
        })
        .filter(|knot: &BTreeSet<String>| knot.len() > 1)
        .collect();
    knots.sort();
    knots.dedup();
    knots
}

fn reached_from<'a>(module: &String, uses: &'a Uses) -> BTreeSet<&'a String> {
    let mut reached = BTreeSet::new();
    let mut next: Vec<&String> = uses[module].keys().collect();
    while let Some(one) = next.pop() {
        if reached.insert(one) {
            next.extend(uses[one].keys());
        }
    }
    reached
}

#[cfg(test)]
mod tests {
    use super::*;

    fn uses_of_texts(texts: &[(&str, &str)]) -> Uses {
        let sources: Vec<_> = texts
            .iter()
            .map(|(place, text)| (place.split('/').map(str::to_owned).collect(), (*text).to_owned()))
            .collect();
        uses_of(&sources)
    }

    fn names(uses: &Uses, of: &str) -> Vec<String> {
        uses[of].keys().cloned().collect()
    }

    #[test]
    fn uses_are_found_however_they_are_written() {
        let uses = uses_of_texts(&[
            ("lib", "mod a;\nmod b;\npub use c::{Thing, d};\n"),
            ("a", "use crate::b::x;\n"),
            ("b", "use crate::{\n    a::{self, y},\n    c,\n};\n"),
            ("c", "fn f() { super::a::g(); }\n"),
            ("d/deep", "use super::super::b;\nuse super::own;\nuse crate::Thing;\n"),
        ]);
        assert_eq!(names(&uses, "a"), ["b"]);
        assert_eq!(names(&uses, "b"), ["a", "c"]);
        assert_eq!(names(&uses, "c"), ["a"]);
        assert_eq!(names(&uses, "d"), ["b", "c"]);
    }

    #[test]
    fn comments_tests_and_other_crates_are_no_uses() {
        let uses = uses_of_texts(&[
            (
                "a",
                "// crate::b\nlet x = \"crate::b\";\nuse other_crate::b;\n#[cfg(test)]\nmod tests { use crate::b; }\n",
            ),
            ("b", ""),
        ]);
        assert_eq!(names(&uses, "a"), Vec::<String>::new());
    }

    #[test]
    fn a_circle_is_found_and_a_ladder_is_none() {
        let ladder = uses_of_texts(&[("a", ""), ("b", "use crate::a;"), ("c", "use crate::{a, b};")]);
        assert_eq!(knots(&ladder), []);
        let circle = uses_of_texts(&[
            ("a", "use crate::c;"),
            ("b", "use crate::a;"),
            ("c", "use crate::b;"),
            ("d", "use crate::a;"),
        ]);
        assert_eq!(knots(&circle), [["a", "b", "c"].map(str::to_owned).into()]);
    }
}
