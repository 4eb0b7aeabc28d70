//! Pointers by example: what stands where in messages that a person pasted into a file.

use std::path::Path;

use logbook::clock::now;
use logbook::mapping::propose::{self, Layouts, Pasted};
use logbook::mapping::{Incoming, Meaning, Read};
use logbook::store::setup::Site;
use report::problem::{Failure, Problem};
use wire::identity::DevEui;

use super::{Settings, settings, sources};
use crate::input::fleet;
use crate::output;

/// Candidates of each meaning that are shown.
const SHOWN: usize = 3;

struct Designs<'a>(&'a Site);

impl Layouts for Designs<'_> {
    fn decodes(&self, dev_eui: DevEui, port: u8, payload: &[u8]) -> bool {
        let kind = self.0.row_at(dev_eui, now()).and_then(|row| self.0.kind(&row.kind));
        kind.and_then(|kind| self.0.kinds.get(kind)).is_some_and(|(kind, _)| kind.read(port, payload).is_ok())
    }
}

/// Proposes a mapping for the messages of a file, by the nodes and designs of a site.
pub(crate) fn propose_source(
    site: &fleet::Site,
    passphrase_file: Option<&Path>,
    file: &Path,
) -> Result<(), Failure> {
    let settings = Settings::of(site, passphrase_file)?;
    propose(&settings::setup(site, &settings)?, file)
}

/// Proposes a mapping for the messages of a file: one JSON a line, with its topic before it if it has one; or one JSON alone.
fn propose(setup: &Site, file: &Path) -> Result<(), Failure> {
    let wrong =
        |why: String, help: &str| Failure::of(Problem::of_file("source", &file.to_string_lossy(), why, help));
    let text = std::fs::read_to_string(file)
        .map_err(|error| wrong(output::reason(&error), "give a file with messages, one a line"))?;
    let arrived_at = now();
    let messages: Vec<(Option<&str>, &str)> = if serde_json::from_str::<serde_json::Value>(&text).is_ok() {
        vec![(None, text.as_str())]
    } else {
        text.lines().map(str::trim).filter(|line| !line.is_empty()).map(split).collect()
    };
    let pasted: Vec<Pasted<'_>> = messages
        .iter()
        .map(|&(topic, body)| Pasted {
            incoming: Incoming { topic, path: None, body: body.as_bytes() },
            arrived_at,
        })
        .collect();
    let devices = sources::devices(setup);
    let proposal = propose::propose(&pasted, &devices, &Designs(setup));
    let mut lines =
        vec![format!("{} messages looked at", pasted.len().min(propose::MOST_SAMPLES) - proposal.unreadable)];
    if proposal.unreadable > 0 {
        lines.push(format!("{} are no JSON", proposal.unreadable));
    }
    if let Some(dev_eui) = proposal.reversed {
        lines.push(format!(
            "{dev_eui} stands there the other way round: its sender writes the octets in the order of the air"
        ));
    }
    for (meaning, candidates) in &proposal.candidates {
        let shown: Vec<String> =
            candidates.iter().take(SHOWN).map(|one| format!("{} ({})", one.at, one.score)).collect();
        let shown = if shown.is_empty() { "not found".to_owned() } else { shown.join(", ") };
        lines.push(format!("  {:<8} {shown}", meaning.key()));
    }
    let Some(mapping) = &proposal.mapping else {
        let found = |meaning| proposal.candidates.get(&meaning).is_some_and(|found| !found.is_empty());
        output::print(&(lines.join("\n") + "\n"))?;
        let why = if found(Meaning::Device) {
            "no bytes in them are a message of a node of this site"
        } else {
            "no text in them is the identity of a node"
        };
        return Err(wrong(
            why.to_owned(),
            "enrol the nodes first; messages are looked at by the designs of the site",
        ));
    };
    lines.push(
        "\nTo be looked at and copied into the site file, with `mqtt`, `http` or `csv` added:\n".to_owned(),
    );
    lines.push(format!("[source.NAME]\n{}", propose::toml(mapping)));
    for one in pasted.iter().take(SHOWN) {
        let said = match logbook::mapping::read(mapping, one.incoming, &devices) {
            Ok(Read::Uplinks(uplinks)) => {
                uplinks.iter().map(|uplink| decoded(setup, uplink)).collect::<Vec<_>>().join("; ")
            }
            Ok(Read::Skipped) => "left out".to_owned(),
            Err(why) => format!("refused: {why}"),
        };
        lines.push(format!("# {said}"));
    }
    output::print(&(lines.join("\n") + "\n"))
}

/// A line's topic, if something stands before its JSON.
fn split(line: &str) -> (Option<&str>, &str) {
    match line.split_once(' ') {
        Some((topic, body)) if !line.starts_with(['{', '[']) => (Some(topic), body.trim_start()),
        _ => (None, line),
    }
}

fn decoded(setup: &Site, uplink: &Result<logbook::mapping::Reported, logbook::mapping::Unmapped>) -> String {
    let uplink = match uplink {
        Ok(uplink) => uplink,
        Err(why) => return format!("refused: {why}"),
    };
    let row = setup.row_at(uplink.dev_eui, now());
    let name = row.map_or_else(|| uplink.dev_eui.to_string(), |row| row.name.clone());
    let kind = row.and_then(|row| setup.kinds.get(setup.kind(&row.kind)?));
    let Some((kind, _)) = kind else { return format!("{name}: its kind has no design here") };
    match kind.read(uplink.port, &uplink.payload) {
        Ok(said) => {
            let named = said.message.columns.iter().zip(&said.values);
            let values: Vec<String> =
                named.map(|(column, value)| format!("{} {value}", column.name)).collect();
            format!("{name}: {}: {}", said.message.name, values.join(", "))
        }
        Err(why) => format!("{name}: {why}"),
    }
}
