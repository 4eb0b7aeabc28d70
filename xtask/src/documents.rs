//! What the documents promise, held against the files.

use std::fs;
use std::path::{Path, PathBuf};

#[test]
fn every_link_leads_to_a_file() {
    let broken: Vec<String> = documents()
        .iter()
        .flat_map(|document| {
            let folder = document.parent().expect("a document lies in a folder");
            links(&read(document))
                .into_iter()
                .filter(|link| !folder.join(link).exists())
                .map(|link| format!("{}: {link}", document.display()))
                .collect::<Vec<_>>()
        })
        .collect();
    assert!(broken.is_empty(), "links that lead nowhere:\n{}", broken.join("\n"));
}

#[test]
fn every_example_file_of_the_readme_exists() {
    let readme = read(&crate::root().join("README.md"));
    let named: Vec<&str> =
        readme.split([' ', '\n', '(', ')', '`']).filter(|word| word.starts_with("examples/")).collect();
    assert!(named.len() >= 2, "the README runs the frost mast through a weather file: {named:?}");
    for file in named {
        assert!(crate::root().join(file).exists(), "README.md names {file}");
    }
}

#[test]
fn the_server_runs_what_the_readme_says() {
    let command = "cargo xtask ci\n";
    for document in ["README.md", ".ci/run"] {
        assert!(read(&crate::root().join(document)).contains(command), "{document}");
    }
}

#[test]
fn links_are_found_without_anchors_and_addresses() {
    let text = "[a](docs/a.md) and [b](b.md#part), [c](https://example.org) [d](#here)";
    assert_eq!(links(text), ["docs/a.md", "b.md"]);
}

fn documents() -> Vec<PathBuf> {
    ["", "docs", "changelog"]
        .iter()
        .flat_map(|folder| fs::read_dir(crate::root().join(folder)).expect("the folder is there"))
        .map(|entry| entry.expect("the folder can be read").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "md"))
        .collect()
}

/// Targets of the links in a document, without those to other machines and within the page.
fn links(text: &str) -> Vec<&str> {
    text.split("](")
        .skip(1)
        .filter_map(|rest| rest.split(')').next())
        .filter_map(|target| target.split('#').next())
        .filter(|target| !target.is_empty() && !target.contains("://"))
        .collect()
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}
