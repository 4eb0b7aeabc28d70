//! Every file of data has its origin, how it was made and its licence in a README beside it.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, ensure};

/// Folders of data, wherever they stand.
const FOLDERS: [&str; 4] = ["data", "fonts", "weather", "terrain"];
/// Kept beside data and not data themselves.
const BESIDE: [&str; 3] = ["README.md", "LICENSE", "OFL-"];
/// Endings of data files; program text beside them is no data.
const NOT_DATA: [&str; 4] = ["rs", "py", "js", "h"];

/// Fails with every file of data that no README accounts for.
pub(crate) fn check(root: &Path) -> Result<()> {
    let mut faults = Vec::new();
    for path in data_files(root)? {
        if let Some(fault) = fault(root, &path)? {
            let shown = path.strip_prefix(root).unwrap_or(&path);
            faults.push(format!("{}: {fault}", shown.display()));
        }
    }
    ensure!(faults.is_empty(), "data without provenance\n  {}", faults.join("\n  "));
    Ok(())
}

/// Files of data below the workspace, build products apart.
fn data_files(root: &Path) -> Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    let mut open = vec![root.to_owned()];
    while let Some(folder) = open.pop() {
        let entries = fs::read_dir(&folder).with_context(|| format!("can't read {}", folder.display()))?;
        for entry in entries.flatten() {
            let (path, name) = (entry.path(), entry.file_name().to_string_lossy().into_owned());
            if path.is_dir() {
                let skipped = name.starts_with('.')
                    || ["target", "src", "snapshots", "node_modules"].contains(&name.as_str());
                open.extend((!skipped).then_some(path));
            } else if is_data(root, &path, &name) {
                found.push(path);
            }
        }
    }
    found.sort();
    Ok(found)
}

fn is_data(root: &Path, path: &Path, name: &str) -> bool {
    let inside = path.strip_prefix(root).unwrap_or(path).parent().unwrap_or(Path::new(""));
    let in_folder = inside.components().any(|part| FOLDERS.contains(&&*part.as_os_str().to_string_lossy()));
    let ending = path.extension().unwrap_or_default().to_string_lossy();
    in_folder && !BESIDE.iter().any(|begin| name.starts_with(begin)) && !NOT_DATA.contains(&&*ending)
}

/// What is missing of a file's account; none if nothing is.
fn fault(root: &Path, path: &Path) -> Result<Option<String>> {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let mut above = path.parent();
    while let Some(folder) = above.filter(|folder| folder.starts_with(root)) {
        if let Ok(readme) = fs::read_to_string(folder.join("README.md")) {
            let inside = path.strip_prefix(folder).unwrap_or(path).to_string_lossy().replace('\\', "/");
            return account(&readme, &name, &inside, path);
        }
        above = folder.parent();
    }
    Ok(Some("there is no README.md beside it".to_owned()))
}

fn account(readme: &str, name: &str, inside: &str, path: &Path) -> Result<Option<String>> {
    let rows = rows(readme);
    let row = rows.iter().find(|row| row.names.contains(name) || row.names.contains(inside));
    Ok(match row {
        Some(row) if row.origin.is_empty() => Some("its row in README.md says no origin".to_owned()),
        Some(row) if row.licence.is_empty() => Some("its row in README.md says no licence".to_owned()),
        Some(_) => None,
        // A part of the catalogue says its source itself; the licence of all of them stands in the README.
        None if path.extension().is_some_and(|ending| ending == "toml") && readme.contains("Licence:") => {
            let text = fs::read_to_string(path).with_context(|| format!("can't read {}", path.display()))?;
            (!["source = ", "spec = ", "text = "].iter().any(|key| text.contains(key)))
                .then(|| "it has no `source`".to_owned())
        }
        None => Some("no row of README.md names it".to_owned()),
    })
}

/// What a table of a README says of some files.
struct Row {
    names: BTreeSet<String>,
    origin: String,
    licence: String,
}

/// Rows of the tables that have the columns `file`, `origin` and `licence`; one column may be two of them.
fn rows(readme: &str) -> Vec<Row> {
    let mut rows = Vec::new();
    let mut columns: Option<[usize; 3]> = None;
    for line in readme.lines() {
        let Some(cells) = cells(line) else {
            columns = None;
            continue;
        };
        let place = |title: &str| cells.iter().position(|cell| cell.to_lowercase().contains(title));
        match columns {
            None => {
                columns =
                    place("file").zip(place("origin")).zip(place("licence")).map(|((a, b), c)| [a, b, c]);
            }
            Some([file, origin, licence]) => {
                let cell =
                    |at: usize| cells.get(at).copied().unwrap_or_default().trim_matches('-').to_owned();
                let names = cell(file)
                    .split([',', ' ', '`'])
                    .map(str::to_owned)
                    .filter(|name| !name.is_empty())
                    .collect();
                rows.push(Row { names, origin: cell(origin), licence: cell(licence) });
            }
        }
    }
    rows
}

fn cells(line: &str) -> Option<Vec<&str>> {
    let inside = line.trim().strip_prefix('|')?.strip_suffix('|')?;
    Some(inside.split('|').map(str::trim).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_of_data_in_the_repository_has_its_provenance() {
        check(crate::root()).expect("write where it comes from into the README beside it");
        let found = data_files(crate::root()).expect("it can be read");
        assert!(found.len() > 80, "only {} files of data were found", found.len());
        for name in
            ["modem_snr_sensitivity.csv", "battery_oracle.csv", "land.bin", "sand-point-ak.csv", "EU868.toml"]
        {
            assert!(found.iter().any(|path| path.ends_with(name)), "{name} counts as data");
        }
    }

    #[test]
    fn a_file_without_row_origin_or_licence_is_named() {
        let readme = "| file | what | origin | licence |\n| --- | --- | --- | --- |\n| `a.csv`, `b.csv` | x | tabulated | MIT |\n\
                      | `c.csv` | x | | MIT |\n| `d.csv` | x | tabulated | |\n\n| file | what |\n| --- | --- |\n| `e.csv` | x |\n";
        let said = |name: &str| account(readme, name, name, Path::new(name)).expect("nothing is read");
        assert_eq!([said("a.csv"), said("b.csv")], [None, None]);
        assert!(said("c.csv").is_some_and(|said| said.contains("origin")));
        assert!(said("d.csv").is_some_and(|said| said.contains("licence")));
        for name in ["e.csv", "f.csv", ".csv"] {
            assert!(said(name).is_some_and(|said| said.contains("no row")), "{name}");
        }
    }
}
