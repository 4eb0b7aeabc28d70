//! Reads of files that may be anything: too large, a folder, a pipe that never ends.

use std::fs::{self, File};
use std::io::{self, ErrorKind, Read as _};
use std::path::Path;

/// Reads a file of at most so many bytes.
///
/// # Errors
/// What the system says; [`ErrorKind::IsADirectory`] of a folder, [`ErrorKind::InvalidInput`] of a pipe or device, and
/// [`ErrorKind::FileTooLarge`] of more bytes. No more than the limit is ever held.
pub fn read(path: &Path, most: u64) -> io::Result<Vec<u8>> {
    let mut file = open(path)?;
    // Enough at once: bytes that may be keys are not left behind by a buffer that grows.
    let known = file.metadata()?.len().min(most);
    let mut bytes = Vec::with_capacity(usize::try_from(known).unwrap_or(0) + 1);
    file.by_ref().take(most + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most { Err(too_large(most)) } else { Ok(bytes) }
}

/// The first bytes of a file, at most so many.
///
/// # Errors
/// As [`read`], whatever the size of the file.
pub fn beginning(path: &Path, most: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    open(path)?.take(most).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Reads a text of at most so many bytes.
///
/// # Errors
/// As [`read`], and [`ErrorKind::InvalidData`] of bytes that are not UTF-8.
pub fn read_text(path: &Path, most: u64) -> io::Result<String> {
    String::from_utf8(read(path, most)?).map_err(|error| io::Error::new(ErrorKind::InvalidData, error))
}

/// Opens a file, and nothing but a file: a pipe would be waited for, a device may never end.
///
/// # Errors
/// As [`read`].
pub fn open(path: &Path) -> io::Result<File> {
    let kind = fs::metadata(path)?.file_type();
    if kind.is_dir() {
        return Err(ErrorKind::IsADirectory.into());
    }
    if !kind.is_file() {
        return Err(io::Error::new(ErrorKind::InvalidInput, "it is a pipe or a device, not a file"));
    }
    File::open(path)
}

fn too_large(most: u64) -> io::Error {
    let limit = if most >= 1 << 20 { format!("{} MB", most >> 20) } else { format!("{} kB", most >> 10) };
    io::Error::new(ErrorKind::FileTooLarge, format!("it is larger than the {limit} that are read"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_at_the_limit_is_read_and_one_byte_more_is_refused() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("list.csv");
        fs::write(&path, vec![b'x'; 2048]).expect("writes");
        assert_eq!(read(&path, 2048).expect("reads").len(), 2048);
        let error = read(&path, 2047).expect_err("too large");
        assert_eq!(error.kind(), ErrorKind::FileTooLarge);
        assert!(error.to_string().contains("1 kB"), "{error}");
    }

    #[test]
    fn the_beginning_of_a_file_is_as_long_as_was_asked_for() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("picture.png");
        fs::write(&path, b"overwinter").expect("writes");
        assert_eq!(beginning(&path, 4).expect("reads"), b"over");
        assert_eq!(beginning(&path, 99).expect("reads"), b"overwinter");
    }

    #[test]
    fn folders_devices_and_missing_files_are_refused() {
        let folder = tempfile::tempdir().expect("a folder");
        assert_eq!(read(folder.path(), 9).expect_err("a folder").kind(), ErrorKind::IsADirectory);
        assert_eq!(read(&folder.path().join("none"), 9).expect_err("none").kind(), ErrorKind::NotFound);
        if cfg!(unix) {
            assert_eq!(read(Path::new("/dev/zero"), 9).expect_err("endless").kind(), ErrorKind::InvalidInput);
        }
    }
}
