//! The files that are made from the structs of `design` and `api`, so that they can't say anything else.

use std::fs;
use std::path::Path;

use anyhow::{Context, Result, ensure};

/// Path under the workspace and the text that belongs there.
type Generated = (&'static str, String);

/// Writes every generated file that is not yet as it should be.
pub(crate) fn write(root: &Path) -> Result<()> {
    let files = generated();
    for (path, text) in stale(&files, |path| on_disk(root, path)) {
        let target = root.join(path);
        if let Some(folder) = target.parent() {
            fs::create_dir_all(folder).with_context(|| format!("can't make the folder of {path}"))?;
        }
        fs::write(&target, text).with_context(|| format!("can't write {path}"))?;
        println!("wrote {path}");
    }
    Ok(())
}

/// Fails with the names of the generated files that differ from what the code says.
pub(crate) fn check(root: &Path) -> Result<()> {
    let files = generated();
    let differing: Vec<&str> =
        stale(&files, |path| on_disk(root, path)).into_iter().map(|(path, _)| path).collect();
    ensure!(
        differing.is_empty(),
        "not as generated: {}; run `cargo xtask generate` and commit the result",
        differing.join(", ")
    );
    Ok(())
}

fn generated() -> [Generated; 6] {
    [
        ("docs/api.json", api::openapi::text()),
        ("docs/design-file.md", design::manual::markdown()),
        ("docs/design-file.schema.json", design::manual::json_schema()),
        ("docs/site-file.schema.json", design::manual::site_json_schema()),
        ("examples/commented-site.toml", design::manual::commented_site()),
        ("examples/commented.toml", design::manual::commented_example()),
    ]
}

fn stale(files: &[Generated], on_disk: impl Fn(&str) -> Option<String>) -> Vec<(&'static str, &str)> {
    files
        .iter()
        .filter(|(path, text)| on_disk(path).as_ref() != Some(text))
        .map(|(path, text)| (*path, text.as_str()))
        .collect()
}

/// What lies there; a file that can't be read as text is as good as none.
fn on_disk(root: &Path, path: &str) -> Option<String> {
    fs::read_to_string(root.join(path)).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn changed_and_missing_files_are_stale_and_equal_ones_are_not() {
        let files = [("same", "a".to_owned()), ("changed", "b".to_owned()), ("missing", "c".to_owned())];
        let disk = |path: &str| match path {
            "same" => Some("a".to_owned()),
            "changed" => Some("older".to_owned()),
            _ => None,
        };
        assert_eq!(stale(&files, disk), [("changed", "b"), ("missing", "c")]);
    }

    #[test]
    fn what_is_committed_is_what_the_code_generates() {
        check(crate::root()).expect("run `cargo xtask generate`");
    }
}
