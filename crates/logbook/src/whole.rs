//! Files that are whole or not there.

use std::fs::{File, Permissions};
use std::io::{self, Write as _};
use std::path::Path;

/// Who may read a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Readers {
    /// Whoever the person's mask allows.
    Usual,
    /// Its owner alone.
    Owner,
}

/// Whether a file may be there already.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Place {
    /// There must be none.
    Free,
    /// What is there is replaced.
    Taken,
}

/// Writes beside the place, to the disk, and moves it there.
pub(crate) fn write(path: &Path, bytes: &[u8], readers: Readers, place: Place) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".overwinter-");
    if let Some(permissions) = permissions(readers) {
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

/// The move itself must survive a power cut too.
fn settle(folder: &Path) -> io::Result<()> {
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}

#[cfg(unix)]
#[expect(clippy::unnecessary_wraps, reason = "other systems have no such thing")]
fn permissions(readers: Readers) -> Option<Permissions> {
    let mode = match readers {
        Readers::Usual => 0o666,
        Readers::Owner => 0o600,
    };
    Some(std::os::unix::fs::PermissionsExt::from_mode(mode))
}

#[cfg(not(unix))]
fn permissions(_: Readers) -> Option<Permissions> {
    None
}
