//! The folder of a site: key box, registry, and what is printed.

use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use logbook::keys::{KeyBox, KeyBoxError};
use logbook::registry::{self, Lock, Registry, RegistryError};
use report::problem::{Failure, Problem};

use super::passphrase;
use crate::output::{self, Staged, reason};

const REGISTRY: &str = "registry.toml";
const KEYS: &str = "keys.age";
const LOCK: &str = ".overwinter.lock";

/// A folder that this run has for itself.
pub(crate) struct Site {
    folder: PathBuf,
    made_now: bool,
    lock: Lock,
}

impl Site {
    /// Takes a folder; it is made if it is not there, and refused if it holds something else.
    pub(crate) fn take(folder: &Path) -> Result<Self, Failure> {
        let refuse = |message: String, help: &str| {
            Err(Failure::of(Problem::of_file("folder", &folder.to_string_lossy(), message, help)))
        };
        let made_now = match fs::read_dir(folder) {
            Ok(entries) => {
                let entries = entries.flatten().map(|entry| entry.file_name());
                let names: Vec<String> = entries.map(|name| name.to_string_lossy().into_owned()).collect();
                let ours = |name: &String| [REGISTRY, KEYS].contains(&name.as_str());
                if names.iter().any(|name| name != LOCK) && !names.iter().any(ours) {
                    let message = "the folder holds other things and no site".to_owned();
                    return refuse(message, "name a new folder, or that of a site");
                }
                false
            }
            Err(error) if error.kind() == ErrorKind::NotFound => {
                if let Err(error) = fs::create_dir(folder) {
                    let help = "create the folder above it first, or name another";
                    return refuse(format!("the folder can't be made: {}", reason(&error)), help);
                }
                true
            }
            Err(error) => {
                return refuse(
                    format!("the folder can't be read: {}", reason(&error)),
                    "name a folder of your own",
                );
            }
        };
        match registry::lock(folder) {
            Ok(lock) => Ok(Self { folder: folder.to_owned(), made_now, lock }),
            Err(error) => Err(registry_failure(&error)),
        }
    }

    /// Takes the folder of a site that is there.
    pub(crate) fn take_old(folder: &Path) -> Result<Self, Failure> {
        if folder.join(REGISTRY).is_file() {
            return Self::take(folder);
        }
        let message = "there is no site in this folder".to_owned();
        let help = "name the folder that `overwinter enrol NODE.toml --count N -o DIR` made";
        Err(Failure::of(Problem::of_file("folder", &folder.to_string_lossy(), message, help)))
    }

    /// Gives the folder back; one that was made by a run that failed before it held a key goes.
    pub(crate) fn leave<T>(self, result: Result<T, Failure>) -> Result<T, Failure> {
        let Self { folder, made_now, lock } = self;
        if result.is_err() && made_now && !folder.join(KEYS).exists() {
            drop(lock);
            // What can't be removed is empty and does no harm.
            let _left = fs::remove_file(folder.join(LOCK)).and_then(|()| fs::remove_dir(&folder));
        }
        result
    }

    /// Who is who.
    pub(crate) fn registry(&self) -> Result<Registry, Failure> {
        registry(&self.folder)
    }

    /// The key box and what opens it. A new one is made where there is none.
    pub(crate) fn keys(&self, file: Option<&Path>) -> Result<(KeyBox, logbook::keys::Passphrase), Failure> {
        let path = self.folder.join(KEYS);
        if KeyBox::exists(&path).map_err(|error| keys_failure(&error))? {
            return keys(&self.folder, file);
        }
        let registry = self.registry()?;
        if !registry.nodes().is_empty() {
            let message = "the registry knows nodes, but their key box is missing".to_owned();
            let help = "put keys.age back from its backup: new keys would be strange to the nodes";
            return Err(Failure::of(Problem::of_file("key-box", &path.to_string_lossy(), message, help)));
        }
        Ok((KeyBox::new(&path), passphrase::obtain(file, passphrase::Box::New)?))
    }

    /// Writes something to print beside its place.
    pub(crate) fn stage(&self, name: &str, text: &str) -> Result<Staged, Failure> {
        output::stage(&self.folder.join(name), text.as_bytes())
    }

    /// The path of the folder.
    pub(crate) fn folder(&self) -> &Path {
        &self.folder
    }
}

/// Who is who in a folder.
pub(crate) fn registry(folder: &Path) -> Result<Registry, Failure> {
    let path = folder.join(REGISTRY);
    Registry::open(&path).map_err(|error| named(registry_failure(&error), &path))
}

/// The key box of a folder, and what opens it.
pub(crate) fn keys(
    folder: &Path,
    file: Option<&Path>,
) -> Result<(KeyBox, logbook::keys::Passphrase), Failure> {
    let path = folder.join(KEYS);
    let passphrase = passphrase::obtain(file, passphrase::Box::Old)?;
    let opened = KeyBox::open(&path, &passphrase).map_err(|error| named(keys_failure(&error), &path))?;
    Ok((opened, passphrase))
}

fn named(mut failure: Failure, path: &Path) -> Failure {
    for problem in &mut failure.problems {
        problem.source = report::problem::Source::new(&path.to_string_lossy(), "");
    }
    failure
}

/// A trouble with the key box, for a person.
pub(crate) fn keys_failure(error: &KeyBoxError) -> Failure {
    let (why, help) = match error {
        KeyBoxError::Read(why) => (reason(why), "name the folder of the site"),
        KeyBoxError::Write(why) => {
            (reason(why), "free some space, or see who may write there; nothing was changed")
        }
        KeyBoxError::WrongPassphrase => {
            (String::new(), "type it again; without it the keys are lost, nobody can open the box")
        }
        KeyBoxError::NotAKeyBox { .. } => (String::new(), "name the folder of the site"),
        KeyBoxError::Damaged => (String::new(), "take keys.age from its backup"),
        KeyBoxError::Taken { .. } => {
            (String::new(), "a key is never replaced; give the device another DevEUI")
        }
        KeyBoxError::Shared { .. } => (String::new(), "have a new key made for one of them"),
        KeyBoxError::Random(_) => (String::new(), "try again"),
    };
    trouble("key-box", KEYS, &error.to_string(), &why, help)
}

/// A trouble with the registry, for a person.
pub(crate) fn registry_failure(error: &RegistryError) -> Failure {
    let (why, help) = match error {
        RegistryError::Read(why) => (reason(why), "see whether the file is what you think it is"),
        RegistryError::Write(why) => {
            (reason(why), "free some space, or see who may write there; nothing was changed")
        }
        RegistryError::Syntax { .. } | RegistryError::Row { .. } => {
            (String::new(), "mend the line; nothing was changed")
        }
        RegistryError::Schema { .. } => (String::new(), "use the newer program"),
        RegistryError::Name { .. } => (String::new(), "give it another name"),
        RegistryError::NameTaken { .. } => (String::new(), "every node has a name of its own"),
        RegistryError::DevEuiTaken { .. } => {
            (String::new(), "close its row with `until` first, if the board moved on")
        }
        RegistryError::Busy => (String::new(), "wait until it has ended"),
    };
    trouble("registry", REGISTRY, &error.to_string(), &why, help)
}

fn trouble(code: &'static str, place: &str, what: &str, why: &str, help: &str) -> Failure {
    let message = if why.is_empty() { what.to_owned() } else { format!("{what}: {why}") };
    Failure::of(Problem::of_file(code, place, message, help))
}
