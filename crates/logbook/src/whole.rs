//! Files that are whole or not there.

use std::fs::{self, File, Permissions};
use std::io::{self, ErrorKind, Write as _};
use std::path::Path;

/// Beginning of the name of a file that is not yet in its place.
pub(crate) const DRAFT: &str = ".overwinter-";

/// Who may read a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Readers {
    /// Who could read the one that is replaced; for a new one whoever the person's mask allows.
    Usual,
    /// Its owner alone.
    Owner,
}

/// Whether a file may be there already.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Place {
    /// There must be none.
    Free,
    /// What is there is replaced, unless it is a link to a file elsewhere.
    Taken,
}

/// Writes beside the place, to the disk, and moves it there.
pub(crate) fn write(path: &Path, bytes: &[u8], readers: Readers, place: Place) -> io::Result<()> {
    let before = before(path)?;
    let folder = folder(path);
    let mut builder = tempfile::Builder::new();
    builder.prefix(DRAFT);
    if let Some(permissions) = permissions(readers, before) {
        builder.permissions(permissions);
    }
    let mut file = builder.tempfile_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    match place {
        Place::Free => file.persist_noclobber(path),
        Place::Taken => file.persist(path),
    }
    .map_err(|error| error.error)?;
    settle(folder)
}

/// Moves a file that is whole to the place of another.
pub(crate) fn replace(from: &Path, path: &Path) -> io::Result<()> {
    if let Some(permissions) = before(path)? {
        fs::set_permissions(from, permissions)?;
    }
    fs::rename(from, path)?;
    settle(folder(path))
}

/// Permissions of the file that is there; a link would be replaced, and the file behind it grow old unnoticed.
fn before(path: &Path) -> io::Result<Option<Permissions>> {
    match fs::symlink_metadata(path) {
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
        Ok(found) if found.is_symlink() => Err(io::Error::other("it is a link to a file elsewhere")),
        Ok(found) => Ok(Some(found.permissions())),
    }
}

fn folder(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// The move of a file to its place must survive a power cut too.
pub(crate) fn settle_beside(path: &Path) -> io::Result<()> {
    settle(folder(path))
}

/// The move itself must survive a power cut too.
pub(crate) fn settle(folder: &Path) -> io::Result<()> {
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}

#[cfg(unix)]
fn permissions(readers: Readers, before: Option<Permissions>) -> Option<Permissions> {
    let mode = |mode| std::os::unix::fs::PermissionsExt::from_mode(mode);
    match readers {
        Readers::Usual => before.or_else(|| Some(mode(0o666))),
        Readers::Owner => Some(mode(0o600)),
    }
}

#[cfg(not(unix))]
fn permissions(_: Readers, _: Option<Permissions>) -> Option<Permissions> {
    None
}
