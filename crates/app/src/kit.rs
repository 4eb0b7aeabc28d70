//! The firmware kit on disk: what is written, what is left alone, and what must not be overwritten.

use std::fs;
use std::io::{self, ErrorKind, Write as _};
use std::path::{Path, PathBuf};

use design::node::Design;
use forecast::radio::link_state::LinkState;
use kit::{File, Kit, NOT_SET, OnAir, is_generated};
use logbook::bounded;
use report::problem::{Failure, Problem};

use crate::output::{self, Staged, reason};

/// What happened to a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// It was not there.
    Written,
    /// It said something else.
    Replaced,
    /// It is as it should be.
    Unchanged,
    /// It is a node's own.
    Kept,
}

/// A file of the kit and what happened to it.
pub(crate) struct KitFile {
    /// Its name in the folder.
    pub(crate) name: String,
    /// What happened.
    pub(crate) outcome: Outcome,
}

const IGNORED: &str = ".gitignore";

/// Writes the kit of a design into a folder; what is already as it should be is not touched.
pub(crate) fn write(design: &Design, folder: &Path, with_identity: bool) -> Result<Vec<KitFile>, Failure> {
    let kit = Kit { on_air: on_air(design), ..Kit::of(design) };
    let files = kit.files();
    let identity = with_identity.then(|| kit.identity());
    // Looked at before anything is written, so that a refusal leaves the folder as it was.
    refuse_namesake(&kit, folder)?;
    let mut planned = Vec::new();
    for file in &files {
        planned.push((file, outcome(&folder.join(&file.name), &file.text)?));
    }
    let identity_outcome =
        identity.as_ref().map(|file| identity_outcome(&folder.join(&file.name), file)).transpose()?;
    let is_new = !folder.exists();
    fs::create_dir_all(folder).map_err(|error| {
        let message = format!("the folder can't be made: {}", reason(&error));
        failure(folder, message, "name a folder, or make room for one")
    })?;
    let staged = match stage(folder, &planned) {
        Ok(staged) => staged,
        Err(failure) => {
            // Only an empty folder goes, and one that stays does no harm.
            let _left = is_new.then(|| fs::remove_dir(folder));
            return Err(failure);
        }
    };
    let mut rows = Vec::new();
    if let (Some(file), Some(outcome)) = (&identity, identity_outcome) {
        rows.push(ignore(folder, &file.name)?);
        if outcome != Outcome::Kept {
            write_private(&folder.join(&file.name), &file.text)?;
        }
        rows.push(KitFile { name: file.name.clone(), outcome });
    }
    for file in staged {
        file.put()?;
    }
    rows.extend(planned.into_iter().map(|(file, outcome)| KitFile { name: file.name.clone(), outcome }));
    Ok(rows)
}

/// Writes what has changed beside its place: a kit is new as a whole or not at all.
fn stage(folder: &Path, planned: &[(&File, Outcome)]) -> Result<Vec<Staged>, Failure> {
    let changed = planned.iter().filter(|(_, outcome)| *outcome != Outcome::Unchanged);
    changed.map(|(file, _)| output::stage(&folder.join(&file.name), file.text.as_bytes())).collect()
}

/// What each form costs at each data rate, for the table of fields.
fn on_air(design: &Design) -> Vec<OnAir> {
    let mut rows = Vec::new();
    for message in verdict::message::view(design, &LinkState::as_designed(design)) {
        for form in message.forms {
            rows.extend(form.rates.iter().map(|rate| OnAir {
                message: message.name.clone(),
                form: form.form,
                data_rate: rate.data_rate,
                sent: rate.sent,
                airtime_ms: rate.cost.airtime.milliseconds(),
                most_bytes: rate.ceiling.bytes,
                cliff: rate.cliff.map(|cliff| (cliff.bytes, cliff.airtime.milliseconds())),
                room: rate.room,
            }));
        }
    }
    rows
}

fn failure(path: &Path, message: String, help: &str) -> Failure {
    Failure::of(Problem::of_file("kit", &path.to_string_lossy(), message, help))
}

/// What will happen to a file; somebody else's is refused.
fn outcome(path: &Path, text: &str) -> Result<Outcome, Failure> {
    match existing(path)? {
        None => Ok(Outcome::Written),
        Some(found) if found == text => Ok(Outcome::Unchanged),
        Some(found) if is_generated(&found) => Ok(Outcome::Replaced),
        Some(_) => {
            let message = "is there already and was not made by overwinter".to_owned();
            Err(failure(path, message, "move it away, or write the kit to another folder with -o"))
        }
    }
}

/// Two nodes whose titles give the same file names must not overwrite each other's kit.
fn refuse_namesake(kit: &Kit, folder: &Path) -> Result<(), Failure> {
    let header = folder.join(format!("{}.h", kit.stem()));
    match existing(&header)? {
        Some(found) if kit.is_of_another(&found) => {
            let message = "belongs to the kit of another node".to_owned();
            let help =
                "write this kit to another folder with -o; if you renamed the node, remove its old kit first";
            Err(failure(&header, message, help))
        }
        _ => Ok(()),
    }
}

fn identity_outcome(path: &Path, file: &File) -> Result<Outcome, Failure> {
    match outcome(path, &file.text) {
        Ok(Outcome::Replaced) => Ok(Outcome::Kept),
        // A file without the mark may be full of keys.
        Err(_) if existing(path)?.is_some_and(|found| !found.contains(NOT_SET)) => Ok(Outcome::Kept),
        other => other,
    }
}

/// No file of a kit is nearly as large \[bytes\].
const LARGEST_BYTES: u64 = 16 << 20;

fn existing(path: &Path) -> Result<Option<String>, Failure> {
    match bounded::read(path, LARGEST_BYTES) {
        Ok(bytes) => Ok(Some(String::from_utf8_lossy(&bytes).into_owned())),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
        Err(error) => {
            let message = format!("can't be read: {}", reason(&error));
            Err(failure(path, message, "name a folder of your own with -o"))
        }
    }
}

/// Keeps the identity out of version control, whatever else the list says.
fn ignore(folder: &Path, name: &str) -> Result<KitFile, Failure> {
    let path: PathBuf = folder.join(IGNORED);
    let found = existing(&path)?;
    let outcome = match &found {
        Some(list) if list.lines().any(|line| line.trim() == name) => Outcome::Unchanged,
        Some(_) => Outcome::Replaced,
        None => Outcome::Written,
    };
    if outcome != Outcome::Unchanged {
        let list = found.unwrap_or_default();
        let separator = if list.is_empty() || list.ends_with('\n') { "" } else { "\n" };
        output::write(&path, &format!("{list}{separator}{name}\n"))?;
    }
    Ok(KitFile { name: IGNORED.to_owned(), outcome })
}

/// Writes a file that only its owner may read, whole or not at all.
fn write_private(path: &Path, text: &str) -> Result<(), Failure> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let write = || -> io::Result<()> {
        // A new file of this kind is for its owner alone (mode 0600).
        let mut file = tempfile::Builder::new().prefix(".overwinter-").tempfile_in(folder)?;
        file.write_all(text.as_bytes())?;
        file.as_file().sync_all()?;
        file.persist(path).map(|_| ()).map_err(|error| error.error)
    };
    write().map_err(|error| {
        let message = format!("the file could not be written: {}", reason(&error));
        failure(path, message, "write to a folder of your own")
    })
}
