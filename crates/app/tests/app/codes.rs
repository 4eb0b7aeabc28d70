//! Every code that a message may carry is explained in the documentation.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// What stands before the code where one is made.
const MADE_BY: [&str; 5] = ["code: ", "of_file(", "finding(", "refuse(", "danger("];

fn sources(folder: &Path, found: &mut Vec<String>) {
    for entry in fs::read_dir(folder).expect("a folder").filter_map(Result::ok) {
        let path = entry.path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(fs::read_to_string(&path).expect("a source"));
        }
    }
}

/// The codes that a source makes: the first text behind a maker, if it looks like a code.
fn codes_in(source: &str) -> Vec<String> {
    let makers = MADE_BY.iter().flat_map(|maker| source.match_indices(maker).map(|(at, _)| at + maker.len()));
    let texts = makers.filter_map(|at| {
        let (code, _) = source.get(at..)?.trim_start().strip_prefix('"')?.split_once('"')?;
        let is_code = !code.is_empty() && code.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'-');
        is_code.then(|| code.to_owned())
    });
    texts.collect()
}

#[test]
fn every_code_stands_in_the_documentation() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let pages = ["docs/codes.md", "docs/design-file.md"];
    let pages: String = pages.map(|page| fs::read_to_string(root.join(page)).expect("a page")).concat();
    let explained: BTreeSet<&str> = pages.lines().filter_map(|line| line.strip_prefix("### ")).collect();
    let mut texts = Vec::new();
    for folder in fs::read_dir(root.join("crates")).expect("crates").filter_map(Result::ok) {
        sources(&folder.path().join("src"), &mut texts);
    }
    let made: BTreeSet<String> = texts.iter().flat_map(|text| codes_in(text)).collect();
    assert!(made.len() > 40, "the search finds the codes: {made:?}");
    let silent: Vec<&String> = made.iter().filter(|code| !explained.contains(code.as_str())).collect();
    assert!(silent.is_empty(), "explain in docs/codes.md: {silent:?}");
}
