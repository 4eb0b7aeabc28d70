//! Who is who: names, identities, places and constants of a site's nodes, dated, without secrets.
//!
//! The file is TOML that people may edit. The program adds to its end, and to a row that ends or gets its place; remarks and
//! order stay as they are. A row holds from its date on; when a board, its place or a constant changes, the row is closed with `until` and
//! a new one is added, and what was received in between keeps its meaning.

mod raw;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

pub use design::date::Date;
use design::quantity::{Angle, Length};
use toml_edit::{DocumentMut, Item, TomlError, Value};
use wire::identity::{DevEui, JoinEui};

use crate::bounded;
use crate::whole::{self, Place as FilePlace, Readers};

const BEGINNING: &str = "\
# The nodes of this site: no secrets in here. You may edit and comment; overwinter adds to the end, and sets
# `until` and `place` of a row when somebody says on the page that the node stands elsewhere.
# A row holds from `from` on. When a board, its place or a constant changes, add `until` to its row and write a new one.
# `nan` stands for a constant that was not noted yet. Once a node stands:
#   place = { latitude_deg = 46.99, longitude_deg = 13.00, elevation_m = 640 }
schema = 1
";
/// Longest name of a node \[characters\].
pub const LONGEST_NAME: usize = 40;
/// Seventeen thousand rows, which are read in 130 MB of memory \[bytes\].
pub(crate) const LARGEST_BYTES: u64 = 4 << 20;

/// Why a registry can't be used.
#[derive(Debug, thiserror::Error)]
pub enum RegistryError {
    /// It can't be read.
    #[error("the registry can't be read")]
    Read(#[source] io::Error),
    /// It can't be written. What was there before is still there.
    #[error("the registry can't be written")]
    Write(#[source] io::Error),
    /// It is not what a registry looks like.
    #[error("line {line}: {what}")]
    Syntax {
        /// Line, from 1.
        line: usize,
        /// What is wrong.
        what: String,
    },
    /// A newer program wrote it.
    #[error("the registry has schema {found}; this program knows schema 1")]
    Schema {
        /// What it says.
        found: u32,
    },
    /// A name that can't be the name of a file and of a label.
    #[error("{name:?} can't be the name of a node: 1 to {LONGEST_NAME} letters, digits, `-` and `_`")]
    Name {
        /// The name.
        name: String,
    },
    /// A row that is wrong in itself.
    #[error("node {name}: {what}")]
    Row {
        /// The node.
        name: String,
        /// What is wrong.
        what: String,
    },
    /// Two nodes of one name at one time.
    #[error(
        "two nodes are called {name} at the same time; close one row with `until`, or give it another name"
    )]
    NameTaken {
        /// The name.
        name: String,
    },
    /// No open row of this identity.
    #[error("no open row of the registry has DevEUI {dev_eui}")]
    Nobody {
        /// The identity.
        dev_eui: DevEui,
    },
    /// Two nodes of one identity at one time.
    #[error("DevEUI {dev_eui} is enrolled already, as {name}")]
    DevEuiTaken {
        /// The identity.
        dev_eui: DevEui,
        /// The node that has it.
        name: String,
    },
}

/// A node for as long as nothing about it changes.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// What people call it.
    pub name: String,
    /// Name of its design.
    pub kind: String,
    /// Its identity.
    pub dev_eui: DevEui,
    /// The join server that holds its root key.
    pub join_eui: JoinEui,
    /// Where it stands, once it does.
    pub place: Option<Place>,
    /// Constants by field and name; none where it was not noted yet.
    pub constants: BTreeMap<String, BTreeMap<String, Option<f64>>>,
    /// First day on which the row holds.
    pub from: Date,
    /// First day on which it no longer holds; none while it does.
    pub until: Option<Date>,
}

/// Where a node stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// North positive.
    pub latitude: Angle,
    /// East positive.
    pub longitude: Angle,
    /// Above sea level, if known.
    pub elevation: Option<Length>,
}

/// A day on which keys left the key box.
#[derive(Clone, Debug, PartialEq, Eq)]
struct HandOver {
    on: Date,
    dev_euis: Vec<DevEui>,
}

impl Node {
    /// Whether the row is still open.
    pub const fn open(&self) -> bool {
        self.until.is_none()
    }

    /// Whether the identity was made up and not assigned: bit U/L of the first octet (IEEE 802-2014, clause 8.2, from memory).
    pub const fn locally_administered(&self) -> bool {
        self.dev_eui.to_display_bytes()[0] & 0x02 != 0
    }

    fn meets(&self, other: &Self) -> bool {
        let before = |one: &Self, other: &Self| one.until.is_some_and(|until| until <= other.from);
        !before(self, other) && !before(other, self)
    }

    fn check(&self) -> Result<(), RegistryError> {
        if !is_name(&self.name) {
            return Err(RegistryError::Name { name: self.name.clone() });
        }
        let row = |what: &str| Err(RegistryError::Row { name: self.name.clone(), what: what.to_owned() });
        if self.until.is_some_and(|until| until < self.from) {
            return row("`until` lies before `from`");
        }
        let beyond = |angle: Angle, limit: f64| !(-limit..=limit).contains(&angle.degrees());
        match self.place {
            Some(place) if beyond(place.latitude, 90.0) => row("`latitude_deg` lies beyond -90 to 90"),
            Some(place) if beyond(place.longitude, 180.0) => row("`longitude_deg` lies beyond -180 to 180"),
            _ => Ok(()),
        }
    }
}

/// Whether a text can be the name of a node, of a file and of a label.
pub fn is_name(text: &str) -> bool {
    let count = text.chars().count();
    (1..=LONGEST_NAME).contains(&count)
        && text.chars().all(|letter| letter.is_alphanumeric() || matches!(letter, '-' | '_'))
        && !text.starts_with('-')
}

/// The nodes of a site. Changes are kept by [`Self::save`] alone.
#[derive(Clone, Debug)]
pub struct Registry {
    path: PathBuf,
    text: String,
    nodes: Vec<Node>,
    index: Index,
}

/// Where the rows of an identity or of a name are, so that the cost of a large registry does not grow with its square.
#[derive(Clone, Debug, Default)]
struct Index {
    by_identity: BTreeMap<DevEui, Vec<usize>>,
    /// By the name in small letters: names become names of files, and some systems take A for a.
    by_name: BTreeMap<String, Vec<usize>>,
    /// The last day on which the key left the key box.
    handed_over: BTreeMap<DevEui, Date>,
}

impl Registry {
    /// The registry at `path`, or an empty one to be kept there.
    ///
    /// # Errors
    /// [`RegistryError`] if a file is there and is no sound registry.
    pub fn open(path: &Path) -> Result<Self, RegistryError> {
        let text = match bounded::read(path, LARGEST_BYTES) {
            Err(error) if error.kind() == ErrorKind::NotFound => BEGINNING.to_owned(),
            Err(error) => return Err(RegistryError::Read(error)),
            Ok(bytes) => String::from_utf8(bytes)
                .map_err(|error| RegistryError::Read(io::Error::new(ErrorKind::InvalidData, error)))?,
        };
        Self::from_text(path, text)
    }

    /// The registry with this text, to be kept at `path`.
    ///
    /// # Errors
    /// [`RegistryError`] if it is no sound registry.
    pub fn from_text(path: &Path, text: String) -> Result<Self, RegistryError> {
        let (nodes, hand_overs) = raw::read(&text)?;
        let mut registry = Self {
            path: path.to_owned(),
            text,
            nodes: Vec::with_capacity(nodes.len()),
            index: Index::default(),
        };
        for node in nodes {
            registry.push(node)?;
        }
        for HandOver { on, dev_euis } in &hand_overs {
            registry.index.note_hand_over(*on, dev_euis);
        }
        Ok(registry)
    }

    /// What [`Self::save`] writes.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// All rows, in the order of the file.
    pub fn nodes(&self) -> &[Node] {
        &self.nodes
    }

    /// The open row of a device.
    pub fn device(&self, dev_eui: DevEui) -> Option<&Node> {
        self.rows(self.index.by_identity.get(&dev_eui)).find(|node| node.open())
    }

    /// Whether any row, open or closed, has this identity.
    pub fn knows(&self, dev_eui: DevEui) -> bool {
        self.index.by_identity.contains_key(&dev_eui)
    }

    /// The last day on which the key of a device left the key box.
    pub fn handed_over(&self, dev_eui: DevEui) -> Option<Date> {
        self.index.handed_over.get(&dev_eui).copied()
    }

    /// Adds a row.
    ///
    /// # Errors
    /// [`RegistryError`] if it is wrong in itself, or its name or identity belongs to another at the same time.
    pub fn add(&mut self, node: Node) -> Result<(), RegistryError> {
        let text = row_text(&node);
        self.push(node)?;
        self.append(&text);
        Ok(())
    }

    /// Notes that a device stands at a place from a day on. A row that has no place yet, or begins no earlier, gets it; any
    /// other is closed, and one more is added: what was heard before keeps its place.
    ///
    /// # Errors
    /// [`RegistryError`] if no open row has this identity, or the place is none on earth; nothing was changed then.
    pub fn stand(&mut self, dev_eui: DevEui, place: Place, on: Date) -> Result<(), RegistryError> {
        let mut rows = self.nodes.iter().cloned().enumerate();
        let open = rows.find(|(_, node)| node.open() && node.dev_eui == dev_eui);
        let (row, node) = open.ok_or(RegistryError::Nobody { dev_eui })?;
        let stays = node.place.is_none() || node.from >= on;
        let (key, written) = if stays { ("place", place_text(place)) } else { ("until", on.to_string()) };
        let mut changed = Self::from_text(&self.path, with_key(&self.text, row, key, &written)?)?;
        if !stays {
            changed.add(Node { place: Some(place), from: on, ..node })?;
        }
        *self = changed;
        Ok(())
    }

    /// Closes the open row of a device: from a day on it is no node of the site.
    ///
    /// # Errors
    /// [`RegistryError`] if no open row has this identity, or it begins after that day; nothing was changed then.
    pub fn close(&mut self, dev_eui: DevEui, on: Date) -> Result<(), RegistryError> {
        let mut rows = self.nodes.iter().enumerate();
        let open = rows.find(|(_, node)| node.open() && node.dev_eui == dev_eui);
        let (row, _) = open.ok_or(RegistryError::Nobody { dev_eui })?;
        *self = Self::from_text(&self.path, with_key(&self.text, row, "until", &on.to_string())?)?;
        Ok(())
    }

    /// Notes that the keys of these devices leave the key box.
    pub fn add_hand_over(&mut self, on: Date, dev_euis: &[DevEui]) {
        let mut text = format!("\n[[hand_over]]\non = {on}\ndev_euis = [\n");
        for dev_eui in dev_euis {
            writeln!(text, "    \"{dev_eui}\",").expect("a string takes any text");
        }
        self.append(&(text + "]\n"));
        self.index.note_hand_over(on, dev_euis);
    }

    /// Puts the registry in its place, whole or not at all.
    ///
    /// # Errors
    /// [`RegistryError::Write`]; what was there before is still there.
    pub fn save(&self) -> Result<(), RegistryError> {
        self.check_text()?;
        whole::write(&self.path, self.text.as_bytes(), Readers::Usual, FilePlace::Taken)
            .map_err(RegistryError::Write)
    }

    /// What can't be read back must not replace what can.
    pub(crate) fn check_text(&self) -> Result<(), RegistryError> {
        Self::from_text(&self.path, self.text.clone()).map(|_| ())
    }

    fn append(&mut self, text: &str) {
        if !self.text.ends_with('\n') {
            self.text.push('\n');
        }
        self.text.push_str(text);
    }

    fn push(&mut self, node: Node) -> Result<(), RegistryError> {
        node.check()?;
        let name = node.name.to_lowercase();
        if let Some(other) = self.meeting(self.index.by_identity.get(&node.dev_eui), &node) {
            return Err(RegistryError::DevEuiTaken { dev_eui: node.dev_eui, name: other.name.clone() });
        }
        if self.meeting(self.index.by_name.get(&name), &node).is_some() {
            return Err(RegistryError::NameTaken { name: node.name });
        }
        self.index.by_identity.entry(node.dev_eui).or_default().push(self.nodes.len());
        self.index.by_name.entry(name).or_default().push(self.nodes.len());
        self.nodes.push(node);
        Ok(())
    }

    /// The first of these rows that holds on a day on which the node's does.
    fn meeting<'r>(&'r self, rows: Option<&'r Vec<usize>>, node: &Node) -> Option<&'r Node> {
        self.rows(rows).find(|other| other.meets(node))
    }

    fn rows<'r>(&'r self, rows: Option<&'r Vec<usize>>) -> impl Iterator<Item = &'r Node> {
        rows.into_iter().flatten().filter_map(|row| self.nodes.get(*row))
    }
}

impl Index {
    fn note_hand_over(&mut self, on: Date, dev_euis: &[DevEui]) {
        for dev_eui in dev_euis {
            let last = self.handed_over.entry(*dev_eui).or_insert(on);
            *last = on.max(*last);
        }
    }
}

/// Rows as a registry has them, for the key box.
pub(crate) fn rows_text<'a>(nodes: impl Iterator<Item = &'a Node>) -> String {
    nodes.map(row_text).fold("schema = 1\n".to_owned(), |text, row| text + &row)
}

/// Rows that [`rows_text`] made.
pub(crate) fn read_rows(text: &str) -> Result<Vec<Node>, RegistryError> {
    raw::read(text).map(|(nodes, _)| nodes)
}

fn row_text(node: &Node) -> String {
    let Node { name, kind, dev_eui, join_eui, place, constants, from, until } = node;
    let mut text = format!(
        "\n[[node]]\nname = {}\nkind = {}\ndev_eui = \"{dev_eui}\"\njoin_eui = \"{join_eui}\"\nfrom = {from}\n",
        quoted(name),
        quoted(kind)
    );
    if let Some(until) = until {
        writeln!(text, "until = {until}").expect("a string takes any text");
    }
    if let Some(place) = place {
        writeln!(text, "place = {}", place_text(*place)).expect("a string takes any text");
    }
    for (field, values) in constants {
        let values: Vec<String> = values
            .iter()
            .map(|(name, value)| {
                format!("{} = {:?}", key(name), value.unwrap_or(f64::NAN)).replace("NaN", "nan")
            })
            .collect();
        writeln!(text, "constants.{} = {{ {} }}", key(field), values.join(", "))
            .expect("a string takes any text");
    }
    text
}

fn place_text(place: Place) -> String {
    let elevation = place.elevation.map_or(String::new(), |up| format!(", elevation_m = {:?}", up.metres()));
    let (north, east) = (place.latitude.degrees(), place.longitude.degrees());
    format!("{{ latitude_deg = {north:?}, longitude_deg = {east:?}{elevation} }}")
}

/// The text with a key of a row, counted from 0, set; order and remarks stay.
fn with_key(text: &str, row: usize, key: &str, written: &str) -> Result<String, RegistryError> {
    let syntax = |what: String| RegistryError::Syntax { line: 1, what };
    let mut document: DocumentMut = text.parse().map_err(|error: TomlError| syntax(error.to_string()))?;
    let value: Value = written.parse().map_err(|error: TomlError| syntax(error.to_string()))?;
    let rows = document.get_mut("node").and_then(Item::as_array_of_tables_mut);
    let table = rows.and_then(|rows| rows.get_mut(row));
    let table =
        table.ok_or_else(|| syntax("write each node as a table of its own, `[[node]]`".to_owned()))?;
    table.insert(key, Item::Value(value));
    Ok(document.to_string())
}

/// A key of TOML 1.0: bare where it may be.
fn key(text: &str) -> String {
    let bare = |letter: char| letter.is_ascii_alphanumeric() || matches!(letter, '-' | '_');
    if !text.is_empty() && text.chars().all(bare) { text.to_owned() } else { quoted(text) }
}

/// A basic string of TOML 1.0.
pub(crate) fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for letter in text.chars() {
        match letter {
            '"' | '\\' => quoted.extend(['\\', letter]),
            letter if letter.is_control() => {
                write!(quoted, "\\u{:04X}", u32::from(letter)).expect("a string takes any text");
            }
            letter => quoted.push(letter),
        }
    }
    quoted + "\""
}

/// Makes up an identity for a device that has none: locally administered and individual, all else random.
///
/// The first octet is 02, so that nobody takes it for an assigned one.
///
/// # Errors
/// If the operating system gives no random bytes.
///
/// # References
/// IEEE 802-2014, clause 8.2 (bits U/L and I/G of the first octet; from memory).
pub fn draw_local() -> Result<DevEui, getrandom::Error> {
    let mut octets = [0; 8];
    getrandom::fill(&mut octets)?;
    octets[0] = 0x02;
    Ok(DevEui::from_display_bytes(octets))
}
