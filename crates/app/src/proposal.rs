//! The lines of a source, proposed from messages that a person shows: on the command line, and on the page.

use std::collections::BTreeMap;

use logbook::clock::now;
use logbook::mapping::propose::{self, Candidate, Layouts, Pasted, Proposal};
use logbook::mapping::{Devices, Incoming, Meaning, Read, Reported, Unmapped};
use logbook::readings::Kind;
use wire::identity::DevEui;

use crate::known::Known;

/// Messages that are read to show what comes of them.
const READ: usize = 3;

/// Messages that were shown, and what is proposed.
pub(crate) struct Shown<'a> {
    known: &'a Known,
    devices: Devices,
    pasted: Vec<Pasted<'a>>,
    /// What is proposed.
    pub(crate) proposal: Proposal,
}

impl Layouts for Known {
    fn decodes(&self, dev_eui: DevEui, port: u8, payload: &[u8]) -> bool {
        kind(self, dev_eui).is_some_and(|(_, kind)| kind.read(port, payload).is_ok())
    }
}

/// What people call a device now, and its kind.
fn kind(known: &Known, dev_eui: DevEui) -> Option<(&str, &Kind)> {
    let row = known.rows.iter().find(|row| row.dev_eui == dev_eui && row.open())?;
    Some((&row.name, known.kinds.iter().find(|kind| kind.name == row.kind)?))
}

impl<'a> Shown<'a> {
    /// Messages of a text: one JSON a line, with its topic before it if it has one; or one JSON alone.
    pub(crate) fn new(known: &'a Known, text: &'a str) -> Self {
        let alone = serde_json::from_str::<serde_json::Value>(text).is_ok();
        let messages: Vec<(Option<&str>, &str)> = if alone {
            vec![(None, text)]
        } else {
            text.lines().map(str::trim).filter(|line| !line.is_empty()).map(split).collect()
        };
        let arrived_at = now();
        let pasted: Vec<Pasted<'a>> = messages
            .into_iter()
            .map(|(topic, body)| Pasted {
                incoming: Incoming { topic, path: None, body: body.as_bytes() },
                arrived_at,
            })
            .collect();
        let open = known.rows.iter().filter(|row| row.open());
        let devices = Devices { by_name: open.map(|row| (row.name.clone(), row.dev_eui)).collect() };
        let proposal = propose::propose(&pasted, &devices, known);
        Self { known, devices, pasted, proposal }
    }

    /// Messages that were looked at.
    pub(crate) fn looked_at(&self) -> usize {
        self.pasted.len().min(propose::MOST_SAMPLES) - self.proposal.unreadable
    }

    /// What is to be said beside the places.
    pub(crate) fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if self.proposal.unreadable > 0 {
            notes.push(format!("{} are no JSON", self.proposal.unreadable));
        }
        notes.extend(self.proposal.reversed.map(|dev_eui| {
            format!("{dev_eui} stands there the other way round: its sender writes the octets in the order of the air")
        }));
        notes
    }

    /// Why nothing can be proposed, and what to do.
    pub(crate) fn why_not(&self) -> (&'static str, &'static str) {
        let found = |meaning| self.proposal.candidates.get(&meaning).is_some_and(|found| !found.is_empty());
        let why = if found(Meaning::Device) {
            "no bytes in them are a message of a node of this site"
        } else {
            "no text in them is the identity of a node"
        };
        (why, "enrol the nodes first; messages are looked at by the designs of the site")
    }

    /// The lines of a source by the places that a person has chosen, those that are proposed where nothing was chosen; and
    /// what comes of the first messages.
    pub(crate) fn lines(
        &self,
        chosen: &BTreeMap<Meaning, Option<Candidate>>,
    ) -> Option<(String, Vec<String>)> {
        let mapping = propose::chosen(&self.pasted, &self.proposal, chosen)?;
        let read = |one: &Pasted<'_>| match logbook::mapping::read(&mapping, one.incoming, &self.devices) {
            Ok(Read::Uplinks(uplinks)) => {
                uplinks.iter().map(|uplink| self.said(uplink)).collect::<Vec<_>>().join("; ")
            }
            Ok(Read::Skipped) => "left out".to_owned(),
            Err(why) => format!("refused: {why}"),
        };
        let said = self.pasted.iter().take(READ).map(read).collect();
        Some((propose::toml(&mapping), said))
    }

    fn said(&self, uplink: &Result<Reported, Unmapped>) -> String {
        let uplink = match uplink {
            Ok(uplink) => uplink,
            Err(why) => return format!("refused: {why}"),
        };
        let Some((name, kind)) = kind(self.known, uplink.dev_eui) else {
            return format!("{}: its kind has no design here", uplink.dev_eui);
        };
        match kind.read_carried(uplink.content.port(), uplink.content.bytes(), 0) {
            Ok(said) => {
                let named = said.message.columns.iter().zip(&said.values);
                let values: Vec<String> =
                    named.map(|(column, value)| format!("{} {value}", column.name)).collect();
                format!("{name}: {}: {}", said.message.name, values.join(", "))
            }
            Err(why) => format!("{name}: {why}"),
        }
    }
}

/// A line's topic, if something stands before its JSON.
fn split(line: &str) -> (Option<&str>, &str) {
    match line.split_once(' ') {
        Some((topic, body)) if !line.starts_with(['{', '[']) => (Some(topic), body.trim_start()),
        _ => (None, line),
    }
}
