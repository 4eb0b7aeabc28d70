//! What opens the key box.

use std::fmt;
use std::fs;
use std::io::{self, Read as _};
use std::path::Path;

use zeroize::Zeroizing;

/// A shorter passphrase is refused for a new box or person: it would be guessed (own choice).
pub const LEAST_LETTERS: usize = 10;
/// No passphrase is longer \[bytes\].
const LARGEST_BYTES: u64 = 4096;

/// A passphrase: wiped when it is dropped, and never shown.
pub struct Passphrase(Zeroizing<String>);

/// Text that is no passphrase, or a file that is no place for one.
#[derive(Debug, thiserror::Error)]
pub enum PassphraseError {
    /// Nothing at all.
    #[error("the passphrase is empty")]
    Empty,
    /// Too short for a new one.
    #[error("the passphrase has {found} characters; a new one needs at least {LEAST_LETTERS}")]
    Short {
        /// Characters it has.
        found: usize,
    },
    /// Others can read the file.
    #[error("others can read the passphrase file (mode {mode:03o})")]
    OpenToOthers {
        /// Its permissions.
        mode: u32,
    },
    /// More than a line.
    #[error("the passphrase file must hold one line of at most {LARGEST_BYTES} bytes")]
    NotOneLine,
    /// A mark that some editors put before the text would be part of the passphrase.
    #[error("the passphrase file begins with a byte-order mark")]
    ByteOrderMark,
    /// A line end of another system would be part of the passphrase, or not, depending on who reads the file.
    #[error("the passphrase ends in a carriage return")]
    CarriageReturn,
    /// The passphrase may stand further below.
    #[error("the first line of the passphrase file is empty")]
    EmptyFirstLine,
    /// The file can't be read.
    #[error("the passphrase file can't be read")]
    Read(#[source] io::Error),
}

impl Passphrase {
    /// The text as it was typed.
    ///
    /// # Errors
    /// [`PassphraseError::Empty`].
    pub fn new(text: Zeroizing<String>) -> Result<Self, PassphraseError> {
        if text.is_empty() { Err(PassphraseError::Empty) } else { Ok(Self(text)) }
    }

    /// The one line of a file that nobody else can read.
    ///
    /// # Errors
    /// [`PassphraseError`] if others can read it, or it holds anything but one line.
    pub fn from_file(path: &Path) -> Result<Self, PassphraseError> {
        let file = fs::File::open(path).map_err(PassphraseError::Read)?;
        closed_to_others(&file)?;
        let mut text = Zeroizing::new(String::with_capacity(4096 + 1));
        file.take(LARGEST_BYTES + 1).read_to_string(&mut text).map_err(PassphraseError::Read)?;
        let line = text.strip_suffix('\n').unwrap_or(&text);
        let (first, more) = line.split_once('\n').map_or((line, None), |(first, more)| (first, Some(more)));
        match () {
            () if text.len() as u64 > LARGEST_BYTES => Err(PassphraseError::NotOneLine),
            () if line.starts_with('\u{feff}') => Err(PassphraseError::ByteOrderMark),
            () if matches!(first, "" | "\r") && more.is_some() => Err(PassphraseError::EmptyFirstLine),
            () if more.is_some() => Err(PassphraseError::NotOneLine),
            () if line.ends_with('\r') => Err(PassphraseError::CarriageReturn),
            () => Self::new(Zeroizing::new(line.to_owned())),
        }
    }

    /// Whether it is long enough for a new box or person.
    ///
    /// # Errors
    /// [`PassphraseError::Short`].
    pub fn check_length(&self) -> Result<(), PassphraseError> {
        let found = self.0.chars().count();
        if found < LEAST_LETTERS { Err(PassphraseError::Short { found }) } else { Ok(()) }
    }

    /// Whether both are the same text; for what a person typed twice.
    pub fn is(&self, other: &Self) -> bool {
        *self.0 == *other.0
    }

    /// Its digest, where that alone is to be held.
    pub(crate) fn digest(&self) -> [u8; 32] {
        use sha2::Digest as _;
        sha2::Sha256::digest(self.0.as_bytes()).into()
    }

    pub(crate) fn bytes(&self) -> &[u8] {
        self.0.as_bytes()
    }
}

impl fmt::Debug for Passphrase {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Passphrase(redacted)")
    }
}

/// Name and password: the two lines of a file that nobody else can read.
///
/// # Errors
/// [`PassphraseError`] if others can read it, or it holds anything but two lines.
pub fn two_lines(path: &Path) -> Result<(String, Zeroizing<String>), PassphraseError> {
    let file = fs::File::open(path).map_err(PassphraseError::Read)?;
    closed_to_others(&file)?;
    let mut text = Zeroizing::new(String::with_capacity(4096 + 1));
    file.take(LARGEST_BYTES + 1).read_to_string(&mut text).map_err(PassphraseError::Read)?;
    let mut lines = text.lines();
    match (lines.next(), lines.next(), lines.next()) {
        (Some(name), Some(password), None) if !name.is_empty() && text.len() as u64 <= LARGEST_BYTES => {
            Ok((name.to_owned(), Zeroizing::new(password.to_owned())))
        }
        _ => Err(PassphraseError::NotOneLine),
    }
}

#[cfg(unix)]
fn closed_to_others(file: &fs::File) -> Result<(), PassphraseError> {
    use std::os::unix::fs::PermissionsExt as _;
    let found = file.metadata().map_err(PassphraseError::Read)?;
    let mode = found.permissions().mode() & 0o777;
    // A pipe has no readers but this one.
    if found.is_file() && mode & 0o077 != 0 { Err(PassphraseError::OpenToOthers { mode }) } else { Ok(()) }
}

#[cfg(not(unix))]
fn closed_to_others(_: &fs::File) -> Result<(), PassphraseError> {
    Ok(())
}
