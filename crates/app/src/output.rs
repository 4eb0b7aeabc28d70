//! Where results go: standard output, and files that appear whole or not at all.

use std::fs::{self, OpenOptions};
use std::io::{self, ErrorKind, Write as _};
use std::path::{Path, PathBuf};

use report::problem::{Failure, Problem};

/// Prints to standard output. A reader that has gone away is a failure without words: nobody is left to read them.
pub(crate) fn print(text: &str) -> Result<(), Failure> {
    let mut out = anstream::AutoStream::auto(io::stdout().lock());
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(()),
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Err(Failure { problems: Vec::new() }),
        Err(error) => {
            let message = format!("the result could not be printed: {}", reason(&error));
            let help = "send the output elsewhere; files that were to be written are there";
            Err(Failure::of(Problem::of_file("output", "standard output", message, help)))
        }
    }
}

/// Prints to standard error; when that is closed too there is nobody to tell.
pub(crate) fn complain(text: &str) {
    let mut out = anstream::AutoStream::auto(io::stderr().lock());
    let _closed = out.write_all(text.as_bytes());
}

/// Refuses outputs that are the same file as another output or an input.
pub(crate) fn refuse_to_overwrite(outputs: &[Option<&Path>], inputs: &[&Path]) -> Result<(), Failure> {
    let place = |path: &Path| fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let mut taken: Vec<PathBuf> = inputs.iter().map(|path| place(path)).collect();
    for path in outputs.iter().flatten() {
        if taken.contains(&place(path)) {
            let message = "would overwrite another file of this command".to_owned();
            let help = "name another file to write to";
            return Err(Failure::of(Problem::of_file("output", &path.to_string_lossy(), message, help)));
        }
        taken.push(place(path));
    }
    Ok(())
}

/// Writes a file that is whole or not there: it is written beside its place and then moved.
pub(crate) fn write(path: &Path, text: &str) -> Result<(), Failure> {
    stage(path, text.as_bytes())?.put()
}

/// A file that is written beside its place, and not seen until it is put there.
#[must_use]
pub(crate) struct Staged {
    path: PathBuf,
    beside: Option<(tempfile::NamedTempFile, PathBuf)>,
}

/// Writes a file beside its place, so that several appear together or none does.
pub(crate) fn stage(path: &Path, contents: &[u8]) -> Result<Staged, Failure> {
    // A link is followed; a device or pipe can't be replaced and is written to at once.
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let written = match fs::metadata(&target) {
        Ok(found) if found.is_dir() => Err(io::Error::from(ErrorKind::IsADirectory)),
        Ok(found) if !found.is_file() => write_through(&target, contents).map(|()| None),
        Ok(found) => beside(&target, contents, Some(found.permissions())).map(Some),
        Err(_) => beside(&target, contents, None).map(Some),
    };
    match written {
        Ok(file) => Ok(Staged { path: path.to_owned(), beside: file.map(|file| (file, target)) }),
        Err(error) => Err(not_written(path, &error)),
    }
}

impl Staged {
    /// Moves it to its place.
    pub(crate) fn put(self) -> Result<(), Failure> {
        let Some((file, target)) = self.beside else { return Ok(()) };
        file.persist(target).map(|_| ()).map_err(|error| not_written(&self.path, &error.error))
    }
}

fn not_written(path: &Path, error: &io::Error) -> Failure {
    let message = format!("the file could not be written: {}", reason(error));
    Failure::of(Problem::of_file("output", &path.to_string_lossy(), message, advice(error)))
}

fn write_through(path: &Path, contents: &[u8]) -> io::Result<()> {
    OpenOptions::new().write(true).open(path)?.write_all(contents)
}

fn beside(
    path: &Path,
    contents: &[u8],
    permissions: Option<fs::Permissions>,
) -> io::Result<tempfile::NamedTempFile> {
    if permissions.as_ref().is_some_and(fs::Permissions::readonly) {
        return Err(ErrorKind::PermissionDenied.into());
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".overwinter-");
    if let Some(permissions) = permissions.or_else(usual_permissions) {
        builder.permissions(permissions);
    }
    let mut file = builder.tempfile_in(folder)?;
    file.write_all(contents)?;
    file.as_file().sync_all()?;
    Ok(file)
}

/// What a new file may be used for: all that the person's mask allows.
#[cfg(unix)]
#[expect(clippy::unnecessary_wraps, reason = "other systems have no such thing")]
fn usual_permissions() -> Option<fs::Permissions> {
    Some(std::os::unix::fs::PermissionsExt::from_mode(0o666))
}

#[cfg(not(unix))]
fn usual_permissions() -> Option<fs::Permissions> {
    None
}

/// What the system says, without its number.
pub(crate) fn reason(error: &io::Error) -> String {
    match error.kind() {
        ErrorKind::NotFound => "there is no such file or folder".to_owned(),
        ErrorKind::PermissionDenied => "you may not".to_owned(),
        ErrorKind::InvalidData => "it is not text in UTF-8".to_owned(),
        ErrorKind::IsADirectory => "it is a folder".to_owned(),
        ErrorKind::NotADirectory => "part of its path is a file".to_owned(),
        ErrorKind::StorageFull => "the disk is full".to_owned(),
        ErrorKind::ReadOnlyFilesystem => "the disk is read-only".to_owned(),
        _ => {
            let text = error.to_string();
            text.split(" (os error").next().unwrap_or("unknown").to_lowercase()
        }
    }
}

fn advice(error: &io::Error) -> &'static str {
    match error.kind() {
        ErrorKind::NotFound => "create the folder first, or name another",
        ErrorKind::IsADirectory => "add the name of a file to it",
        ErrorKind::StorageFull => "free some space, or write elsewhere",
        _ => "write to a folder of your own",
    }
}
