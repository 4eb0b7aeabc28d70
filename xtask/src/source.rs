//! Sources as text: files, code without what is in quotes, names.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};

/// A line without the texts in quotes and the comment at its end.
pub(crate) fn code_alone(line: &str) -> String {
    let unquoted: String = line.split('"').step_by(2).collect();
    unquoted.split_once("//").map_or(unquoted.as_str(), |(code, _)| code).to_owned()
}

/// The first name of every entry of a group whose opening brace is behind us.
pub(crate) fn first_names(group: &str) -> Vec<String> {
    let mut depth = 1_usize;
    let mut entries = String::new();
    for c in group.chars() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ if depth == 1 => entries.push(c),
            _ => {}
        }
        if depth == 0 {
            break;
        }
    }
    entries.split(',').map(|entry| entry.chars().take_while(|c| is_name(*c)).collect()).collect()
}

pub(crate) fn is_name(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// The sources under a folder, sorted.
pub(crate) fn rust_files(folder: &Path) -> Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for path in sorted_entries(folder)? {
        if path.is_dir() {
            files.extend(rust_files(&path)?);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            files.push(path);
        }
    }
    Ok(files)
}

/// What lies in a folder, sorted.
pub(crate) fn sorted_entries(folder: &Path) -> Result<Vec<PathBuf>> {
    let entries = fs::read_dir(folder).with_context(|| format!("can't read {}", folder.display()))?;
    let mut paths = entries.map(|entry| Ok(entry?.path())).collect::<Result<Vec<_>>>()?;
    paths.sort();
    Ok(paths)
}

/// The last part of a path.
pub(crate) fn file_name(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}
