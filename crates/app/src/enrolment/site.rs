//! The folder of a site: key box, registry, and what is printed.

use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use logbook::folder::{self, Disagreement, FolderError, KEYS, LOCK, LeftOver, Lock, REGISTRY};
use logbook::keys::{KeyBox, KeyBoxError, Passphrase};
use logbook::registry::{Registry, RegistryError};
use report::problem::{Failure, Problem};
use report::words;

use super::passphrase;
use crate::output::{self, Staged, reason};

/// Names that a message shows before it counts the rest.
const MOST_NAMED: usize = 5;

/// A folder that this run has for itself.
pub(crate) struct Site {
    folder: PathBuf,
    made_now: bool,
    lock: Lock,
}

impl Site {
    /// Takes a folder; it is made if it is not there, and refused if it holds something else.
    ///
    /// What an interrupted run left in it is completed or removed, and said.
    pub(crate) fn take(folder: &Path) -> Result<Self, Failure> {
        let made_now = match fs::read_dir(folder) {
            Ok(entries) => {
                let names: Vec<String> =
                    entries.flatten().map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
                if names.iter().any(|name| !is_of_a_run(name)) && !names.iter().any(|name| is_of_a_site(name))
                {
                    let message = "the folder holds other things and no site".to_owned();
                    return Err(about(folder, message, "name a new folder, or that of a site"));
                }
                false
            }
            Err(error) if error.kind() == ErrorKind::NotFound => {
                fs::create_dir(folder).map_err(|error| {
                    let message = format!("the folder can't be made: {}", reason(&error));
                    about(folder, message, "create the folder above it first, or name another")
                })?;
                true
            }
            Err(error) => {
                let message = format!("the folder can't be read: {}", reason(&error));
                return Err(about(folder, message, "name a folder of your own"));
            }
        };
        let lock = folder::lock(folder).map_err(|error| folder_failure(&error))?;
        let left_over = folder::settle(folder, &lock).map_err(|error| {
            let message = format!("what an interrupted run left can't be removed: {}", reason(&error));
            about(
                folder,
                message,
                "remove what begins with `.overwinter-`, and unfinished hand-overs, by hand",
            )
        })?;
        left_over.iter().for_each(say);
        Ok(Self { folder: folder.to_owned(), made_now, lock })
    }

    /// Takes the folder of a site that is there.
    pub(crate) fn take_old(folder: &Path) -> Result<Self, Failure> {
        let is_there = |name: &&str| folder.join(name).is_file();
        if [REGISTRY, KEYS].iter().any(is_there) {
            return Self::take(folder);
        }
        Err(no_site(folder))
    }

    /// Gives the folder back; one that was made by a run that failed before it held a key goes.
    pub(crate) fn leave<T>(self, result: Result<T, Failure>) -> Result<T, Failure> {
        let Self { folder, made_now, lock } = self;
        if result.is_err() && made_now && !folder.join(KEYS).exists() {
            // What can't be removed is empty and does no harm. Held to the end, so that no run takes a file that goes.
            let _left = fs::remove_file(folder.join(LOCK)).and_then(|()| fs::remove_dir(&folder));
        }
        drop(lock);
        result
    }

    /// Who is who.
    pub(crate) fn registry(&self) -> Result<Registry, Failure> {
        registry(&self.folder)
    }

    /// The key box and what opens it. A new one is made where there is none.
    pub(crate) fn keys(&self, file: Option<&Path>) -> Result<(KeyBox, Passphrase), Failure> {
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

    /// Keeps new rows and their keys, both or neither.
    pub(crate) fn keep(
        &self,
        keys: &mut KeyBox,
        registry: &Registry,
        passphrase: &Passphrase,
    ) -> Result<(), Failure> {
        folder::keep(&self.folder, keys, registry, passphrase).map_err(|error| folder_failure(&error))
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

/// Who is who in the folder of a site that is there.
pub(crate) fn old_registry(folder: &Path) -> Result<Registry, Failure> {
    if !folder.join(REGISTRY).is_file() {
        return Err(no_site(folder));
    }
    settle_for_a_reader(folder);
    registry(folder)
}

/// Settles what an interrupted run left. One who only reads goes on where that can't be done, but keys in plain are said.
fn settle_for_a_reader(folder: &Path) {
    if !matches!(folder::has_left_over(folder), Ok(true)) {
        return;
    }
    let settled = match folder::lock(folder) {
        Ok(lock) => folder::settle(folder, &lock).map_err(FolderError::Write),
        Err(FolderError::Busy) => return,
        Err(error) => Err(error),
    };
    match settled {
        Ok(left_over) => left_over.iter().for_each(say),
        Err(_) => output::complain(&format!(
            "An interrupted run left files in {}, maybe keys in plain, and they can't be removed here.\n",
            folder.display()
        )),
    }
}

fn no_site(folder: &Path) -> Failure {
    let message = "there is no site in this folder".to_owned();
    let help = "name the folder that `overwinter enrol NODE.toml --count N -o DIR` made";
    Failure::of(Problem::of_file("folder", &folder.to_string_lossy(), message, help))
}

/// The key box of a folder, and what opens it.
pub(crate) fn keys(folder: &Path, file: Option<&Path>) -> Result<(KeyBox, Passphrase), Failure> {
    let path = folder.join(KEYS);
    let passphrase = passphrase::obtain(file, passphrase::Box::Old)?;
    let opened = KeyBox::open(&path, &passphrase).map_err(|error| named(keys_failure(&error), &path))?;
    Ok((opened, passphrase))
}

/// Whether a run of the program alone makes files of this name, and no site yet.
fn is_of_a_run(name: &str) -> bool {
    name == LOCK || folder::is_left_over(name)
}

fn is_of_a_site(name: &str) -> bool {
    [REGISTRY, KEYS].contains(&name)
}

/// What was found of a run that ended in the middle, on standard error.
fn say(left_over: &LeftOver) {
    output::complain(&match left_over {
        LeftOver::PlainKeys { place } => format!(
            "An interrupted hand-over had left keys in plain in {}: they were removed.\n",
            place.display()
        ),
        LeftOver::Rows => {
            "An interrupted run had made keys: their rows were added to the registry.\n".to_owned()
        }
        LeftOver::Drafts { count } => {
            format!("An interrupted run had left {}: removed.\n", words::count(*count, "unfinished file"))
        }
    });
}

/// Fails unless every key has its row and every row its key.
pub(crate) fn agree(keys: &KeyBox, registry: &Registry) -> Result<(), Failure> {
    let Some(Disagreement { without_row, without_key }) = folder::disagreement(keys, registry) else {
        return Ok(());
    };
    let mut problems = Vec::new();
    if !without_row.is_empty() {
        let names = without_row.iter().map(|dev_eui| match keys.enrolled(*dev_eui) {
            Some(node) => format!("{dev_eui} ({})", node.name),
            None => dev_eui.to_string(),
        });
        let message = format!(
            "the key box has {} that no row of the registry has: {}",
            words::count(without_row.len(), "key"),
            first_of(names.collect())
        );
        let help = "an older registry was put back, or rows were deleted: take the newest registry.toml from a backup, or run \
            `overwinter enrol --recover`; rows are never deleted, only closed with `until`";
        problems.push(Problem::of_file("key-box", REGISTRY, message, help));
    }
    if !without_key.is_empty() {
        let names = without_key.iter().map(|node| format!("{} ({})", node.name, node.dev_eui));
        let message = format!(
            "the registry has {} for which the key box has no key: {}",
            words::count(without_key.len(), "open row"),
            first_of(names.collect())
        );
        let help = "put the newest keys.age back from its backup: new keys would be strange to the nodes; where the node is gone, \
            close its row with `until`";
        problems.push(Problem::of_file("key-box", KEYS, message, help));
    }
    Err(Failure { problems })
}

/// The first of them, and how many more there are.
pub(crate) fn first_of(names: Vec<String>) -> String {
    let more = names.len().saturating_sub(MOST_NAMED);
    let shown = names.into_iter().take(MOST_NAMED).collect::<Vec<_>>().join(", ");
    if more > 0 { format!("{shown} and {more} more") } else { shown }
}

fn about(folder: &Path, message: String, help: &str) -> Failure {
    Failure::of(Problem::of_file("folder", &folder.to_string_lossy(), message, help))
}

fn named(mut failure: Failure, path: &Path) -> Failure {
    for problem in &mut failure.problems {
        problem.source = report::problem::Source::new(&path.to_string_lossy(), "");
    }
    failure
}

/// A trouble with the folder, for a person.
pub(crate) fn folder_failure(error: &FolderError) -> Failure {
    let (why, help) = match error {
        FolderError::Keys(error) => return keys_failure(error),
        FolderError::Registry(error) => return registry_failure(error),
        FolderError::Busy => (String::new(), "wait until it has ended"),
        FolderError::Link { .. } => {
            (String::new(), "put the file itself here, or name the folder in which it lies")
        }
        FolderError::Write(why) => (reason(why), "free some space, or see who may write there"),
    };
    trouble("folder", "folder", &error.to_string(), &why, help)
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
        RegistryError::Nobody { .. } => (String::new(), "see which rows are open"),
        RegistryError::NameTaken { .. } => (String::new(), "every node has a name of its own"),
        RegistryError::DevEuiTaken { .. } => {
            (String::new(), "close its row with `until` first, if the board moved on")
        }
    };
    trouble("registry", REGISTRY, &error.to_string(), &why, help)
}

fn trouble(code: &'static str, place: &str, what: &str, why: &str, help: &str) -> Failure {
    let message = if why.is_empty() { what.to_owned() } else { format!("{what}: {why}") };
    Failure::of(Problem::of_file(code, place, message, help))
}
