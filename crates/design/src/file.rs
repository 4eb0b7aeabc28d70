//! The design file as it was written: read, with the place of every key, but not yet resolved.

pub(crate) mod fleet;
pub(crate) mod given;
pub(crate) mod message;
pub(crate) mod node;
pub(crate) mod part;
pub(crate) mod serve;
pub(crate) mod surroundings;
pub(crate) mod value;
pub(crate) mod watch;

use crate::diagnostic::{self, Diagnostic, Diagnostics};
use crate::quantity::shortened;
use crate::section::{At, Field, PartSection, Section, in_order};
use fleet::FleetSection;
use node::RootSection;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Largest text that is taken for a design file or part file, in bytes.
pub const LARGEST_BYTES: usize = 256 << 10;

/// Most syntax errors that are worth showing.
const MOST_SYNTAX_ERRORS: usize = 20;

/// The edition of the format that this program reads.
const SCHEMA: u32 = 1;

/// A design file as it was written. Its problems come out of [`crate::resolve::resolve`], together with those that
/// only show once the parts are known.
#[derive(Clone, Debug)]
pub struct DesignFile {
    pub(crate) root: Option<RootSection>,
    pub(crate) places: Places,
    pub(crate) found: Vec<Diagnostic>,
}

/// A site's file as it was written. Its problems come out of [`crate::fleet::resolve`].
#[derive(Debug)]
pub struct FleetFile {
    pub(crate) root: Option<FleetSection>,
    pub(crate) places: Places,
    pub(crate) found: Vec<Diagnostic>,
}

/// Where every key stands, by its dotted path.
pub(crate) type Places = BTreeMap<String, Range<usize>>;

/// Reads a design file.
pub fn parse(text: &str) -> DesignFile {
    let (root, places, found) = read_root(text, |root: &RootSection| root.schema.as_ref());
    DesignFile { root, places, found }
}

/// Reads a site's file.
pub fn parse_fleet(text: &str) -> FleetFile {
    let (root, places, found) = read_root(text, |root: &FleetSection| root.schema.as_ref());
    FleetFile { root, places, found }
}

/// Reads a whole file: its sections if the text is sound, where each key stands, and what is wrong.
fn read_root<R: Section>(
    text: &str,
    schema: fn(&R) -> Option<&At<u32>>,
) -> (Option<R>, Places, Vec<Diagnostic>) {
    let mut found = Diagnostics::default();
    let mut places = Places::new();
    let Some((document, whole)) = read_toml(text, &mut found) else {
        return (None, places, found.into_sorted());
    };
    collect_places("", &document, &mut places);
    let mut root = R::read_keys(&document, &mut found);
    if let Some(root) = root.as_mut().filter(|_| whole) {
        root.complete(&mut found);
        if let Some(schema) = schema(root).filter(|schema| schema.value != SCHEMA) {
            let message = format!("edition {} of the {} is not known", schema.value, R::DOC.name);
            found.error(
                diagnostic::SCHEMA_VERSION,
                &schema.span,
                message,
                format!("write `schema = {SCHEMA}`"),
            );
        }
    }
    let mut found = found.into_sorted();
    if !whole {
        keep_what_syntax_errors_explain_not(text, &mut found);
    }
    (root.filter(|_| whole), places, found)
}

impl DesignFile {
    /// The part files it refers to, as they are written there; the caller reads them into the catalogue.
    pub fn part_files(&self) -> Vec<&str> {
        let Some(root) = &self.root else { return Vec::new() };
        let sections = [
            root.panel.as_ref().and_then(|section| section.value.label().part),
            root.charger.as_ref().and_then(|section| section.value.label().part),
            root.battery.as_ref().and_then(|section| section.value.label().part),
            root.radio.as_ref().and_then(|section| section.value.label().part),
            root.receiver.as_ref().and_then(|section| section.value.label().part),
        ];
        let loads = root.load.iter().flat_map(|loads| &loads.value.0);
        let activities =
            loads.flat_map(|(_, load)| load.activity.iter().flat_map(|activities| &activities.value.0));
        let sensors =
            activities.flat_map(|(_, activity)| activity.sensors.iter().flat_map(|sensors| &sensors.value));
        let sizes = root.size.iter().map(|size| &size.value);
        let chosen = sizes.flat_map(|size| [&size.panels, &size.batteries, &size.chargers]);
        let chosen = chosen.flatten().flat_map(|names| &names.value);
        let mut paths: Vec<&str> = sections
            .into_iter()
            .flatten()
            .chain(sensors)
            .chain(chosen)
            .map(|part: &At<String>| part.value.as_str())
            .filter(|part| is_path(part))
            .collect();
        paths.sort_unstable();
        paths.dedup();
        paths
    }

    /// Where a key such as `load.mast.activity.report.every` stands, or the table nearest around it.
    pub fn span_of(&self, path: &str) -> Range<usize> {
        place_of(&self.places, path)
    }

    /// Whether a key is written in this file.
    pub(crate) fn writes(&self, path: &str) -> bool {
        self.places.contains_key(path)
    }
}

impl FleetFile {
    /// Where a key such as `node.mast-1.kind` stands, or the table nearest around it.
    pub fn span_of(&self, path: &str) -> Range<usize> {
        place_of(&self.places, path)
    }
}

/// Where a key stands, or the table nearest around it.
fn place_of(places: &Places, path: &str) -> Range<usize> {
    let mut path = path;
    loop {
        if let Some(span) = places.get(path) {
            return span.clone();
        }
        match path.rsplit_once('.') {
            Some((around, _)) => path = around,
            None => return 0..0,
        }
    }
}

/// The table that a text holds, and whether it is whole; `None` if the text is too large.
pub(crate) fn read_toml<'t>(text: &'t str, found: &mut Diagnostics) -> Option<(Spanned<DeValue<'t>>, bool)> {
    if text.len() > LARGEST_BYTES {
        let message = format!("the file has {} kB; a design file has a few", text.len() >> 10);
        found.error(
            diagnostic::TOO_LARGE,
            &(0..0),
            message,
            "is this the design file? a weather file is given with --weather",
        );
        return None;
    }
    let (table, errors) = DeTable::parse_recoverable(text);
    let span = 0..text.lines().next().map_or(0, str::len);
    let document = Spanned::new(span, DeValue::Table(table.into_inner()));
    for error in errors.iter().take(MOST_SYNTAX_ERRORS) {
        let span = error.span().unwrap_or(0..0);
        let twice = text.get(span.clone()).filter(|_| error.message() == "duplicate key");
        if let Some((key, first)) =
            twice.and_then(|key| Some((key, first_place(&document, key, span.start)?)))
        {
            let message =
                format!("`{}` is written twice, first in line {}", shortened(key), line_at(text, first));
            found.error(diagnostic::SYNTAX, &span, message, "keep one of the two");
            continue;
        }
        let help = "texts stand in quotes, keys before `=`, section names in [brackets]";
        found.error(diagnostic::SYNTAX, &span, error.message().to_owned(), help);
    }
    Some((document, errors.is_empty()))
}

/// Where a key that is written again stands first: the nearest of this name before it.
fn first_place(document: &Spanned<DeValue<'_>>, key: &str, again: usize) -> Option<usize> {
    let inside: Vec<&Spanned<DeValue<'_>>> = match document.get_ref() {
        DeValue::Table(table) => table.values().collect(),
        DeValue::Array(list) => list.iter().collect(),
        _ => Vec::new(),
    };
    let here = document.get_ref().as_table().into_iter().flat_map(|table| table.keys());
    let name = key.trim_matches(['"', '\'']);
    let named = here.filter(|known| known.get_ref().as_ref() == name).map(|known| known.span().start);
    let deeper = inside.into_iter().filter_map(|value| first_place(value, key, again));
    named.chain(deeper).filter(|place| *place < again).max()
}

/// Number of the line in which a byte stands, from 1.
fn line_at(text: &str, at: usize) -> usize {
    1 + text.as_bytes().iter().take(at).filter(|byte| **byte == b'\n').count()
}

/// After a syntax error keys go astray: what is missing, or stands on the same line, is not the person's fault.
fn keep_what_syntax_errors_explain_not(text: &str, found: &mut Vec<Diagnostic>) {
    let ends: Vec<usize> = text.match_indices('\n').map(|(at, _)| at).collect();
    let line = |at: usize| ends.partition_point(|end| *end < at);
    let broken: BTreeSet<usize> = found
        .iter()
        .filter(|one| one.code == diagnostic::SYNTAX.name)
        .map(|one| line(one.span.start))
        .collect();
    found.retain(|one| {
        one.code == diagnostic::SYNTAX.name
            || (one.code != diagnostic::MISSING_KEY.name && !broken.contains(&line(one.span.start)))
    });
}

/// Notes where every key stands, under its dotted path.
fn collect_places(prefix: &str, value: &Spanned<DeValue<'_>>, places: &mut Places) {
    let Some(table) = value.get_ref().as_table() else { return };
    for (key, value) in in_order(table) {
        let path =
            if prefix.is_empty() { key.get_ref().to_string() } else { format!("{prefix}.{}", key.get_ref()) };
        collect_places(&path, value, places);
        // A table's own span is that of its header only; a value is pointed at itself.
        places.insert(path, value.span());
    }
}

/// Whether the name of a part is the path of a part file.
pub(crate) fn is_path(part: &str) -> bool {
    std::path::Path::new(part).extension().is_some_and(|ending| ending.eq_ignore_ascii_case("toml"))
}

/// Reads a part file of the kind that the section wants.
pub(crate) fn read_part<S: PartSection + Field>(name: &str, text: &str) -> (Option<S>, Diagnostics) {
    let mut found = Diagnostics::of_file(Some(name));
    let section = read_toml(text, &mut found)
        .filter(|(_, whole)| *whole)
        .and_then(|(document, _)| S::read_keys(&document, &mut found));
    if let Some(section) = &section {
        check_label(section, &mut found);
    }
    (section.filter(|_| !found.has_errors()), found)
}

fn check_label<S: PartSection>(section: &S, found: &mut Diagnostics) {
    let label = section.label();
    if label.title.is_none() || label.source.is_none() {
        let help = "begin the file with `title = \"...\"` and `source = \"data sheet, edition, page\"`";
        found.error(diagnostic::PART_FILE, label.span, "the part file lacks `title` or `source`", help);
    }
    if let Some(part) = label.part {
        found.error(
            diagnostic::PART_FILE,
            &part.span,
            "a part file can't name another part",
            "write the keys themselves",
        );
    }
    let written = section.written();
    for key in label.from_memory.iter().filter(|key| !written.contains(&key.value.as_str())) {
        let message = format!("`from_memory` lists `{}`, which the file does not have", key.value);
        found.error(diagnostic::PART_FILE, &key.span, message, "list only keys of this file");
    }
}
