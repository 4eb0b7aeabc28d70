//! Drawings on disk: all of them or none, and nobody else's file is touched.

use std::fs;
use std::io::ErrorKind;
use std::path::Path;

use logbook::bounded;
use report::problem::{Failure, Problem};

use crate::output::{self, reason};

/// A file to be written.
pub(crate) struct Drawing {
    /// Its name in the folder.
    pub(crate) name: String,
    /// What is in it.
    pub(crate) bytes: Vec<u8>,
}

/// Every drawing says this near its beginning.
const MARK: &[u8] = b"overwinter";
/// How near \[bytes\]: a palette comes before it in a picture.
const NEAR: usize = 2048;

/// Writes drawings into a folder, and says what happened to each; what is as it should be is not touched.
pub(crate) fn write(drawings: &[Drawing], folder: &Path) -> Result<String, Failure> {
    // Looked at before anything is written, so that a refusal leaves the folder as it was.
    let words = drawings
        .iter()
        .map(|drawing| outcome(&folder.join(&drawing.name), drawing))
        .collect::<Result<Vec<_>, _>>()?;
    let is_new = !folder.exists();
    fs::create_dir_all(folder).map_err(|error| {
        let message = format!("the folder can't be made: {}", reason(&error));
        failure(folder, message, "name a folder, or make room for one")
    })?;
    let changed = drawings.iter().zip(&words).filter(|(_, word)| **word != UNCHANGED);
    let staged: Result<Vec<_>, _> =
        changed.map(|(drawing, _)| output::stage(&folder.join(&drawing.name), &drawing.bytes)).collect();
    let staged = staged.inspect_err(|_| {
        // Only an empty folder goes, and one that stays does no harm.
        let _left = is_new.then(|| fs::remove_dir(folder));
    })?;
    staged.into_iter().try_for_each(output::Staged::put)?;
    let line =
        |(drawing, word): (&Drawing, &str)| format!("{word:<10}{}\n", folder.join(&drawing.name).display());
    Ok(drawings.iter().zip(words).map(line).collect::<Vec<_>>().concat())
}

const UNCHANGED: &str = "unchanged";

fn outcome(path: &Path, drawing: &Drawing) -> Result<&'static str, Failure> {
    // One byte more than the drawing has tells a longer file from it.
    let most = drawing.bytes.len().max(NEAR) as u64 + 1;
    match bounded::beginning(path, most) {
        Ok(found) if found == drawing.bytes => Ok(UNCHANGED),
        Ok(found)
            if found
                .iter()
                .take(NEAR)
                .copied()
                .collect::<Vec<_>>()
                .windows(MARK.len())
                .any(|at| at == MARK) =>
        {
            Ok("rewrote")
        }
        Ok(_) => {
            let message = "is there already and was not made by overwinter".to_owned();
            Err(failure(path, message, "move it away, or write to another folder with -o"))
        }
        Err(error) if error.kind() == ErrorKind::NotFound => Ok("wrote"),
        Err(error) => {
            let message = format!("can't be read: {}", reason(&error));
            Err(failure(path, message, "name a folder of your own with -o"))
        }
    }
}

fn failure(path: &Path, message: String, help: &str) -> Failure {
    Failure::of(Problem::of_file("output", &path.to_string_lossy(), message, help))
}
