//! The folder of a site: one run of the program at a time, two files that are kept together, and what a run that was
//! ended in the middle left behind.
//!
//! Key box and registry can't be replaced in one step. So the new registry is written beside its place first, under a
//! name that carries the digest of the key box it belongs with; then the key box is replaced, then the registry. A run
//! that finds such a file completes it if that key box is there, and removes it if it is not.

use std::fmt::Write as _;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};
use wire::identity::DevEui;

use crate::bounded;
use crate::keys::{self, KeyBox, KeyBoxError, Passphrase};
use crate::registry::{self, Node, Registry, RegistryError};
use crate::whole::{self, DRAFT, Place, Readers};

/// Name of the registry in the folder.
pub const REGISTRY: &str = "registry.toml";
/// Name of the key box in the folder.
pub const KEYS: &str = "keys.age";
/// Name of the file that a run holds locked.
pub const LOCK: &str = ".overwinter.lock";
/// Beginning of the name of a folder in which keys stand in plain.
pub const HAND_OVER: &str = "hand-over-";
/// A file in such a folder for as long as it is being written; whoever finds it removes the folder.
pub const UNFINISHED: &str = "UNFINISHED.txt";
const NEXT_REGISTRY: &str = ".overwinter-next-";

/// Why the folder of a site can't be used, or its files can't be kept.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// Another run of the program is at work in it.
    #[error("another run of overwinter is at work in this folder")]
    Busy,
    /// One of its files lies elsewhere.
    #[error("{name} is a link to a file elsewhere; the files of a site must lie in its folder")]
    Link {
        /// Which file.
        name: &'static str,
    },
    /// It can't be read or written.
    #[error("the folder can't be written")]
    Write(#[source] io::Error),
    /// The key box can't be kept.
    #[error(transparent)]
    Keys(#[from] KeyBoxError),
    /// The registry can't be kept.
    #[error(transparent)]
    Registry(#[from] RegistryError),
}

/// Holds a folder for one run of the program, until it is dropped.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

/// Takes a folder for this run alone.
///
/// # Errors
/// [`FolderError`] if another run has it, no file can be made in it, or one of its files is a link.
pub fn lock(folder: &Path) -> Result<Lock, FolderError> {
    let path = folder.join(LOCK);
    let file = OpenOptions::new().create(true).append(true).open(&path).map_err(FolderError::Write)?;
    match file.try_lock() {
        // The run that made the folder and gave it up may have removed the file in between.
        Ok(()) if !is_at(&file, &path) => return Err(FolderError::Busy),
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => return Err(FolderError::Busy),
        Err(TryLockError::Error(error)) => return Err(FolderError::Write(error)),
    }
    match [REGISTRY, KEYS].into_iter().find(|name| folder.join(name).is_symlink()) {
        Some(name) => Err(FolderError::Link { name }),
        None => Ok(Lock { _file: file }),
    }
}

#[cfg(unix)]
fn is_at(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt as _;
    let identity = |found: fs::Metadata| (found.dev(), found.ino());
    let (held, there) = (file.metadata().map(identity), fs::metadata(path).map(identity));
    matches!((held, there), (Ok(held), Ok(there)) if held == there)
}

#[cfg(not(unix))]
fn is_at(_: &File, _: &Path) -> bool {
    true
}

/// What an interrupted run had left in the folder of a site.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LeftOver {
    /// Keys in plain, which are gone now.
    PlainKeys {
        /// Where they stood.
        place: PathBuf,
    },
    /// Rows whose keys are in the box already; the registry has them now.
    Rows,
    /// Files that no longer mean anything, and are gone now.
    Drafts {
        /// How many.
        count: usize,
    },
}

/// Whether a name is one that only an interrupted run leaves.
pub fn is_left_over(name: &str) -> bool {
    name.starts_with(DRAFT)
}

/// Whether an interrupted run left anything in a folder; a run that is at work may have put it there as well.
///
/// # Errors
/// What the system says when the folder can't be listed.
pub fn has_left_over(folder: &Path) -> io::Result<bool> {
    Ok(entries(folder)?.iter().any(|place| {
        let name = place.file_name().unwrap_or_default().to_string_lossy();
        is_left_over(&name) && name != LOCK || is_unfinished(&name, place)
    }))
}

/// Completes or removes what an interrupted run left in a folder that this run holds.
///
/// # Errors
/// What the system says when something can't be removed or completed.
pub fn settle(folder: &Path, _held: &Lock) -> io::Result<Vec<LeftOver>> {
    let mut found = Vec::new();
    let mut drafts = 0;
    for place in entries(folder)? {
        let name = place.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let is_folder = fs::symlink_metadata(&place)?.is_dir();
        if is_folder && (is_left_over(&name) || is_unfinished(&name, &place)) {
            fs::remove_dir_all(&place)?;
            found.push(LeftOver::PlainKeys { place });
        } else if name.starts_with(NEXT_REGISTRY) && belongs(folder, &place, &name) {
            fs::rename(&place, folder.join(REGISTRY))?;
            found.push(LeftOver::Rows);
        } else if is_left_over(&name) {
            fs::remove_file(&place)?;
            drafts += 1;
        }
    }
    if drafts > 0 {
        found.push(LeftOver::Drafts { count: drafts });
    }
    if !found.is_empty() {
        whole::settle(folder)?;
    }
    Ok(found)
}

fn entries(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut places = fs::read_dir(folder)?
        .map(|entry| entry.map(|entry| entry.path()))
        .collect::<io::Result<Vec<PathBuf>>>()?;
    places.sort();
    Ok(places)
}

fn is_unfinished(name: &str, place: &Path) -> bool {
    name.starts_with(HAND_OVER) && fs::symlink_metadata(place.join(UNFINISHED)).is_ok()
}

/// Whether a registry that was to come belongs with the key box that is there, and loses no line of the one that is.
fn belongs(folder: &Path, place: &Path, name: &str) -> bool {
    let unless_missing = |read: io::Result<Vec<u8>>| match read {
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(Vec::new()),
        read => read,
    };
    let sealed = unless_missing(bounded::read(&folder.join(KEYS), keys::LARGEST_BYTES));
    let now = unless_missing(bounded::read(&folder.join(REGISTRY), registry::LARGEST_BYTES));
    let next = bounded::read(place, registry::LARGEST_BYTES);
    matches!((sealed, now, next), (Ok(sealed), Ok(now), Ok(next))
        if name == next_name(&sealed) && next.starts_with(&now))
}

fn next_name(sealed: &[u8]) -> String {
    let mut name = NEXT_REGISTRY.to_owned();
    for octet in Sha256::digest(sealed) {
        write!(name, "{octet:02x}").expect("a string takes any text");
    }
    name + ".toml"
}

/// Puts a key box and a registry with new rows in their places, both or neither.
///
/// If the run is ended in between, [`settle`] of the next run brings it to its end.
///
/// # Errors
/// [`FolderError`]; what was there before is still there, or [`settle`] completes what is new.
pub fn keep(
    folder: &Path,
    keys: &mut KeyBox,
    registry: &Registry,
    passphrase: &Passphrase,
) -> Result<(), FolderError> {
    registry.check_text()?;
    keys.note(registry.nodes());
    let sealed = keys.seal(passphrase)?;
    let next = folder.join(next_name(&sealed));
    whole::write(&next, registry.text().as_bytes(), Readers::Usual, Place::Free)
        .map_err(RegistryError::Write)?;
    if let Err(error) = keys.put(&sealed) {
        // What can't be removed belongs to no key box, and the next run removes it.
        let _left = fs::remove_file(&next);
        return Err(error.into());
    }
    let moved = whole::replace(&next, &folder.join(REGISTRY));
    Ok(moved.map_err(RegistryError::Write)?)
}

/// What one of the two files knows and the other does not.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Disagreement {
    /// Identities whose keys are in the box and that no row of the registry has.
    pub without_row: Vec<DevEui>,
    /// Open rows of the registry for which the box has no key.
    pub without_key: Vec<Node>,
}

/// What keeps a key box and a registry from belonging together; none if they do.
///
/// An identity that the registry has forgotten would be given to a second node, with the key that the first one has.
pub fn disagreement(keys: &KeyBox, registry: &Registry) -> Option<Disagreement> {
    let without_row =
        keys.keys().map(|(dev_eui, _)| dev_eui).filter(|dev_eui| !registry.knows(*dev_eui)).collect();
    let without_key = registry
        .nodes()
        .iter()
        .filter(|node| node.open() && keys.key(node.dev_eui).is_none())
        .cloned()
        .collect();
    let found = Disagreement { without_row, without_key };
    (found != Disagreement::default()).then_some(found)
}
