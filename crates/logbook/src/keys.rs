//! The root keys of a site, in one file sealed with a passphrase.
//!
//! Keys are drawn from the operating system's random source and from nothing else, each on its own: none follows from
//! a `DevEUI` or from another key. A key that the box holds is never replaced.
//!
//! Beside the keys the box holds the row of the registry with which each device was enrolled, as a witness: if the registry
//! is lost, or an older one is put back, the box knows which identities exist and what they were called.
//!
//! The file is in the age format, version 1, with one passphrase recipient, so that a person can open it without this
//! program. The `age` crate itself brings 140 packages, more than the rest of this workspace (translations, elliptic
//! curves and post-quantum keys among them), for a format that is four published primitives and a page of text: those
//! come from the crates `scrypt`, `hkdf`, `hmac` and `chacha20poly1305`, and tests open files that the `age` crate
//! wrote.

mod passphrase;
mod seal;

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};
use wire::identity::DevEui;
use wire::key::{AppKey, KEY_LEN};
use zeroize::Zeroizing;

pub use passphrase::{LEAST_LETTERS, Passphrase, PassphraseError, two_lines};

use crate::bounded;
use crate::registry::{Node, read_rows, rows_text};
use crate::whole::{self, Place, Readers};

/// First line of what is sealed; schema 1 had no rows.
const TITLE: &str = "overwinter keys, schema ";
const SCHEMA: &str = "2";
/// Keys and rows of as many nodes as a registry holds \[bytes\].
pub(crate) const LARGEST_BYTES: u64 = 8 << 20;

/// Why a key box can't be used.
#[derive(Debug, thiserror::Error)]
pub enum KeyBoxError {
    /// It can't be read.
    #[error("the key box can't be read")]
    Read(#[source] io::Error),
    /// It can't be written. What was there before is still there.
    #[error("the key box can't be written")]
    Write(#[source] io::Error),
    /// Nothing opens it with this passphrase.
    #[error("this is not the passphrase of the key box")]
    WrongPassphrase,
    /// The file is none of ours.
    #[error("the file is not a key box: {why}")]
    NotAKeyBox {
        /// What is wrong.
        why: &'static str,
    },
    /// It was changed or cut off after it was sealed.
    #[error("the key box is damaged: it was changed or cut off after it was sealed; take it from a backup")]
    Damaged,
    /// A key for a device that has another one.
    #[error("the key box holds another key for DevEUI {dev_eui}")]
    Taken {
        /// The device.
        dev_eui: DevEui,
    },
    /// One key for two devices: whoever opens one opens both.
    #[error("DevEUI {dev_eui} would have the key of DevEUI {other}; every device has a key of its own")]
    Shared {
        /// The device.
        dev_eui: DevEui,
        /// The one that has the key.
        other: DevEui,
    },
    /// The operating system gives no random bytes.
    #[error("the operating system's random source failed: {0}")]
    Random(getrandom::Error),
}

/// The root keys of a site by device. Changes are kept by [`Self::save`] alone.
#[derive(Debug)]
pub struct KeyBox {
    path: PathBuf,
    place: Place,
    keys: BTreeMap<DevEui, AppKey>,
    enrolled: BTreeMap<DevEui, Node>,
}

impl KeyBox {
    /// An empty box to be kept at `path`, where there is none yet.
    pub fn new(path: &Path) -> Self {
        Self { path: path.to_owned(), place: Place::Free, keys: BTreeMap::new(), enrolled: BTreeMap::new() }
    }

    /// Opens a box. Takes about half a second on purpose, so that guessing is slow.
    ///
    /// # Errors
    /// [`KeyBoxError`] if there is none, or it does not open.
    pub fn open(path: &Path, passphrase: &Passphrase) -> Result<Self, KeyBoxError> {
        let sealed = bounded::read(path, LARGEST_BYTES).map_err(|error| match error.kind() {
            ErrorKind::FileTooLarge => KeyBoxError::NotAKeyBox { why: "it is too large" },
            _ => KeyBoxError::Read(error),
        })?;
        Self::from_sealed(path, &sealed, passphrase)
    }

    /// The box that was sealed as these bytes, to be kept at `path`.
    ///
    /// # Errors
    /// [`KeyBoxError`] if it does not open.
    pub fn from_sealed(path: &Path, sealed: &[u8], passphrase: &Passphrase) -> Result<Self, KeyBoxError> {
        let text = seal::open(sealed, passphrase)?;
        let (keys, enrolled) = read(&text)?;
        Ok(Self { path: path.to_owned(), place: Place::Taken, keys, enrolled })
    }

    /// Whether there is a file at `path`.
    ///
    /// # Errors
    /// What the system says if it can't tell.
    pub fn exists(path: &Path) -> Result<bool, KeyBoxError> {
        match fs::symlink_metadata(path) {
            Ok(_) => Ok(true),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(false),
            Err(error) => Err(KeyBoxError::Read(error)),
        }
    }

    /// The key of a device.
    pub fn key(&self, dev_eui: DevEui) -> Option<&AppKey> {
        self.keys.get(&dev_eui)
    }

    /// Devices and their keys, in the order of their identities.
    pub fn keys(&self) -> impl Iterator<Item = (DevEui, &AppKey)> {
        self.keys.iter().map(|(dev_eui, key)| (*dev_eui, key))
    }

    /// The row with which a device was enrolled; none in a box of schema 1.
    pub fn enrolled(&self, dev_eui: DevEui) -> Option<&Node> {
        self.enrolled.get(&dev_eui)
    }

    /// Notes the rows of the devices that it has keys for.
    pub(crate) fn note<'a>(&mut self, nodes: impl IntoIterator<Item = &'a Node>) {
        let known = nodes.into_iter().filter(|node| self.keys.contains_key(&node.dev_eui)).cloned();
        self.enrolled.extend(known.map(|node| (node.dev_eui, node)).collect::<Vec<_>>());
    }

    /// Draws a key for a device, unless it has one; says whether it was drawn.
    ///
    /// # Errors
    /// [`KeyBoxError::Random`] if there are no random bytes.
    pub fn draw(&mut self, dev_eui: DevEui) -> Result<bool, KeyBoxError> {
        if self.keys.contains_key(&dev_eui) {
            return Ok(false);
        }
        let mut octets = Zeroizing::new([0; KEY_LEN]);
        getrandom::fill(octets.as_mut_slice()).map_err(KeyBoxError::Random)?;
        self.keys.insert(dev_eui, AppKey::from_bytes(*octets));
        Ok(true)
    }

    /// Takes a key that came from elsewhere; the same once more changes nothing.
    ///
    /// # Errors
    /// [`KeyBoxError::Taken`] if the device has another key, [`KeyBoxError::Shared`] if another device has this one.
    pub fn import(&mut self, dev_eui: DevEui, key: AppKey) -> Result<(), KeyBoxError> {
        match self.keys.get(&dev_eui) {
            Some(held) if *held == key => return Ok(()),
            Some(_) => return Err(KeyBoxError::Taken { dev_eui }),
            None => {}
        }
        if let Some((other, _)) = self.keys.iter().find(|(_, held)| **held == key) {
            return Err(KeyBoxError::Shared { dev_eui, other: *other });
        }
        self.keys.insert(dev_eui, key);
        Ok(())
    }

    /// Forgets the key of a device for good; whether it had one.
    pub fn revoke(&mut self, dev_eui: DevEui) -> bool {
        self.enrolled.remove(&dev_eui);
        self.keys.remove(&dev_eui).is_some()
    }

    /// Seals the box and puts it in its place, whole or not at all, readable to its owner alone.
    ///
    /// # Errors
    /// [`KeyBoxError::Write`]; what was there before is still there. A new box never replaces a file.
    pub fn save(&mut self, passphrase: &Passphrase) -> Result<(), KeyBoxError> {
        let sealed = self.seal(passphrase)?;
        self.put(&sealed)
    }

    pub(crate) fn seal(&self, passphrase: &Passphrase) -> Result<Vec<u8>, KeyBoxError> {
        seal::seal(self.text().as_bytes(), passphrase)
    }

    pub(crate) fn put(&mut self, sealed: &[u8]) -> Result<(), KeyBoxError> {
        whole::write(&self.path, sealed, Readers::Owner, self.place).map_err(KeyBoxError::Write)?;
        self.place = Place::Taken;
        Ok(())
    }

    fn text(&self) -> Zeroizing<String> {
        const LINE: usize = 16 + 1 + 2 * KEY_LEN + 1;
        let rows = rows_text(self.enrolled.values());
        // Large enough from the start: a string that moves leaves keys behind.
        let length = TITLE.len() + SCHEMA.len() + 2 + LINE * self.keys.len() + rows.len();
        let mut text = Zeroizing::new(String::with_capacity(length));
        text.extend([TITLE, SCHEMA, "\n"]);
        for (dev_eui, key) in &self.keys {
            text.push_str(&dev_eui.to_string());
            text.push(' ');
            push_hex(&mut text, key);
            text.push('\n');
        }
        text.push('\n');
        text.push_str(&rows);
        text
    }
}

/// Appends the digits of a key, for the key box and the hand-over.
pub fn push_hex(text: &mut String, key: &AppKey) {
    for octet in key.expose() {
        for digit in [octet >> 4, octet & 0xf] {
            text.push(char::from_digit(u32::from(digit), 16).unwrap_or('0').to_ascii_uppercase());
        }
    }
}

type Contents = (BTreeMap<DevEui, AppKey>, BTreeMap<DevEui, Node>);

fn read(text: &[u8]) -> Result<Contents, KeyBoxError> {
    let not_ours = |why| KeyBoxError::NotAKeyBox { why };
    let text = str::from_utf8(text).ok().and_then(|text| text.strip_prefix(TITLE)?.split_once('\n'));
    let (keys, rows) = match text {
        None => return Err(not_ours("it opens, but holds something else")),
        Some(("1", keys)) => (keys, ""),
        Some((SCHEMA, text)) => text
            .split_once("\n\n")
            .or(text.strip_prefix('\n').map(|rows| ("", rows)))
            .ok_or(KeyBoxError::Damaged)?,
        Some(_) => return Err(not_ours("a newer program sealed it")),
    };
    let rows = if rows.is_empty() { Vec::new() } else { read_rows(rows).ok().ok_or(KeyBoxError::Damaged)? };
    Ok((read_keys(keys)?, rows.into_iter().map(|node| (node.dev_eui, node)).collect()))
}

fn read_keys(text: &str) -> Result<BTreeMap<DevEui, AppKey>, KeyBoxError> {
    let mut keys = BTreeMap::new();
    // Keys themselves are compared in constant time alone; their digests may be sorted.
    let mut owners: BTreeMap<[u8; 32], DevEui> = BTreeMap::new();
    for line in text.lines() {
        let (dev_eui, key) = line.split_once(' ').ok_or(KeyBoxError::Damaged)?;
        let dev_eui = DevEui::from_display(dev_eui).ok().ok_or(KeyBoxError::Damaged)?;
        let key = AppKey::from_hex(key).ok().ok_or(KeyBoxError::Damaged)?;
        if let Some(other) = owners.insert(Sha256::digest(key.expose()).into(), dev_eui) {
            return Err(KeyBoxError::Shared { dev_eui, other });
        }
        if keys.insert(dev_eui, key).is_some() {
            return Err(KeyBoxError::Damaged);
        }
    }
    Ok(keys)
}
