//! Where the passphrase comes from: a person, or a file; never an argument or the environment, which others can read.

use std::io::{self, IsTerminal as _};
use std::path::Path;

use logbook::keys::{LEAST_LETTERS, Passphrase, PassphraseError};
use report::problem::{Failure, Problem};
use zeroize::Zeroizing;

use crate::output::reason;

/// Whether the box is made now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Box {
    /// It will be: the passphrase must be long enough, and is asked for twice.
    New,
    /// It is there.
    Old,
}

/// The passphrase from a file, or from the person.
pub(crate) fn obtain(file: Option<&Path>, key_box: Box) -> Result<Passphrase, Failure> {
    let passphrase = match file {
        Some(path) => {
            Passphrase::from_file(path).map_err(|error| failure(&path.to_string_lossy(), &error))?
        }
        None => ask(key_box)?,
    };
    if key_box == Box::New {
        let place = file.map_or("passphrase".into(), Path::to_string_lossy);
        passphrase.check_length().map_err(|error| failure(&place, &error))?;
    }
    Ok(passphrase)
}

/// The passphrase of a person who is added, from a file or typed twice.
pub(crate) fn of_person(name: &str, file: Option<&Path>) -> Result<Passphrase, Failure> {
    let passphrase = match file {
        Some(path) => {
            Passphrase::from_file(path).map_err(|error| failure(&path.to_string_lossy(), &error))?
        }
        None => twice(&format!("A passphrase for {name}, at least {LEAST_LETTERS} characters: "))?,
    };
    passphrase.check_length().map_err(|error| failure("passphrase", &error))?;
    Ok(passphrase)
}

/// Whether there is anybody to ask.
pub(crate) fn can_ask() -> bool {
    io::stdin().is_terminal()
}

fn ask(key_box: Box) -> Result<Passphrase, Failure> {
    if key_box == Box::Old {
        return read("Passphrase of the key box: ");
    }
    twice(&format!("A passphrase for the new key box, at least {LEAST_LETTERS} characters: "))
}

fn twice(prompt: &str) -> Result<Passphrase, Failure> {
    let first = read(prompt)?;
    first.check_length().map_err(|error| failure("passphrase", &error))?;
    let second = read("The same once more: ")?;
    if first.is(&second) {
        return Ok(first);
    }
    let message = "the two passphrases differ".to_owned();
    Err(Failure::of(Problem::of_file(
        "passphrase",
        "passphrase",
        message,
        "run the command again; nothing was made",
    )))
}

fn read(prompt: &str) -> Result<Passphrase, Failure> {
    let typed = rpassword::prompt_password(prompt).map_err(|error| {
        let message = format!("there is no terminal to ask for the passphrase: {}", reason(&error));
        let help = "give --passphrase-file, a file that only you can read";
        Failure::of(Problem::of_file("passphrase", "passphrase", message, help))
    })?;
    Passphrase::new(Zeroizing::new(typed)).map_err(|error| failure("passphrase", &error))
}

fn failure(place: &str, error: &PassphraseError) -> Failure {
    let (why, help) = match error {
        PassphraseError::Empty => ("", "write the passphrase into it"),
        PassphraseError::Short { .. } => ("", "take a few words that belong together for you alone"),
        PassphraseError::OpenToOthers { .. } => ("", "take the right away with `chmod 600`"),
        PassphraseError::NotOneLine => ("", "write the passphrase alone, in one line"),
        PassphraseError::ByteOrderMark => {
            ("", "save it as UTF-8 without the mark; it is no part of the passphrase")
        }
        PassphraseError::CarriageReturn => {
            ("", "save it with line ends of one character (LF); the mark is no part of the passphrase")
        }
        PassphraseError::EmptyFirstLine => ("", "write the passphrase into the first line, alone"),
        PassphraseError::Read(error) => (&*format!(": {}", reason(error)), "give a file that you can read"),
    };
    Failure::of(Problem::of_file("passphrase", place, format!("{error}{why}"), help))
}
