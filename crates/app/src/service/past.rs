//! Files of the past: each row becomes a message of its source, kept as one that came. A file that was read before changes
//! nothing: its rows are copies.

use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use design::serve::{Mapping, SourceTransport};
use logbook::clock::now;
use logbook::mapping::{Devices, Incoming, Message};
use logbook::store::keeper::KeptFrame;
use logbook::store::writer::{Arrival, Inbox};
use report::problem::Failure;
use serde_json::{Map, Value};

use super::sources;
use crate::input::fleet;
use crate::output;

/// Rows that wait to be kept.
const ON_THE_WAY: usize = 2000;

/// A file of the past.
pub(super) struct Past {
    name: String,
    file: std::path::PathBuf,
    mapping: Mapping,
    devices: Arc<Devices>,
}

/// What came of a file.
#[derive(Debug, Default)]
struct Tally {
    new: u64,
    copies: u64,
    refused: u64,
    skipped: u64,
}

/// Those that the site file names.
pub(super) fn all(site: &fleet::Site, setup: &logbook::store::setup::Site) -> Vec<Past> {
    let devices = sources::devices(setup);
    let of = |source: &design::serve::Source| {
        let SourceTransport::Csv { file } = &source.transport else { return None };
        let (file, mapping) = (site.folder.join(file), source.mapping.clone());
        Some(Past { name: source.name.clone(), file, mapping, devices: Arc::clone(&devices) })
    };
    site.fleet.sources.iter().filter_map(of).collect()
}

/// Reads them all, and says what came of each.
pub(super) fn read(all: &[Past], inbox: &Inbox) -> Result<(), Failure> {
    for past in all {
        let tally = past.read(inbox).map_err(|why| wrong(&past.file, why))?;
        let Tally { new, copies, refused, skipped } = tally;
        output::print(&format!(
            "{}: {new} new, {copies} kept before, {refused} refused, {skipped} left out\n",
            past.name
        ))?;
    }
    Ok(())
}

fn wrong(file: &Path, why: String) -> Failure {
    let help = "rows that were read before it are kept; mend the file and read it again";
    Failure::of(report::problem::Problem::of_file("past", &file.to_string_lossy(), why, help))
}

impl Past {
    fn read(&self, inbox: &Inbox) -> Result<Tally, String> {
        let mut reader = csv::Reader::from_path(&self.file).map_err(|error| said(&error))?;
        let titles = reader.headers().map_err(|error| said(&error))?.clone();
        let once: std::collections::BTreeSet<&str> = titles.iter().collect();
        if once.len() != titles.len() {
            return Err("two columns have one title".to_owned());
        }
        let (told, kept) = sync_channel(ON_THE_WAY);
        let (mut tally, mut waiting) = (Tally::default(), 0_usize);
        for row in reader.records() {
            let row = row.map_err(|error| said(&error))?;
            let members = titles.iter().zip(&row).map(|(title, cell)| (title.to_owned(), cell.into()));
            let body = Value::Object(members.collect::<Map<String, Value>>()).to_string();
            let incoming = Incoming { topic: None, path: None, body: body.as_bytes() };
            match Message::of(&self.name, &self.mapping, incoming, &self.devices, now()) {
                None => tally.skipped += 1,
                Some(message) => {
                    offer(inbox, message, &told)?;
                    waiting += 1;
                }
            }
            if waiting >= ON_THE_WAY {
                count(&kept, &mut tally)?;
                waiting -= 1;
            }
        }
        for _ in 0..waiting {
            count(&kept, &mut tally)?;
        }
        Ok(tally)
    }
}

fn said(error: &csv::Error) -> String {
    let line = error.position().map_or_else(String::new, |position| format!("line {}: ", position.line()));
    match error.kind() {
        csv::ErrorKind::Io(error) => output::reason(error),
        csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
            format!("{line}{len} cells, and there are {expected_len} titles")
        }
        csv::ErrorKind::Utf8 { .. } => format!("{line}it is not text in UTF-8"),
        _ => format!("{line}it is no row of CSV"),
    }
}

fn offer(inbox: &Inbox, message: Message, told: &SyncSender<&'static str>) -> Result<(), String> {
    let told = told.clone();
    let done = Box::new(move |kept: Option<&KeptFrame>| {
        let verdict = kept.map_or("", |kept| kept.verdict);
        // There is room for all that wait.
        let _room = told.try_send(verdict);
    });
    inbox.offer(Arrival::Message(message), Some(done)).map_err(|error| error.to_string())
}

/// Counts what became of the next row that is kept.
fn count(kept: &Receiver<&'static str>, tally: &mut Tally) -> Result<(), String> {
    let verdict = kept.recv().map_err(|error| format!("the log was closed: {error}"))?;
    match verdict {
        "copy" => tally.copies += 1,
        "new" | "late" => tally.new += 1,
        _ => tally.refused += 1,
    }
    Ok(())
}
