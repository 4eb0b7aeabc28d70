//! What arrived, by way and verdict; and the lines of a source, proposed from messages that somebody has pasted.

use std::collections::BTreeMap;

use logbook::mapping::Meaning;
use logbook::mapping::propose::Candidate;
use logbook::store::StoreError;
use logbook::store::query::heard::{Wanted, arrived, newest};
use report::page::intake::{Arrived, Choice, Connection, Intake, Proposed};

use super::shown::Look;
use super::{gateways, heard};
use crate::proposal::Shown;

const HOUR_US: i64 = 3_600_000_000;
/// Refused ones on a page.
const SHOWN: u32 = 20;
/// What a source must have.
const NEEDED: [Meaning; 3] = [Meaning::Device, Meaning::Payload, Meaning::Port];

/// What arrived in the last hour.
pub(super) fn state(look: &Look<'_>) -> Result<Option<Intake>, StoreError> {
    let rows = arrived(look.log, look.now - HOUR_US)?;
    let wanted = Wanted { verdict: Some("refused"), ..Wanted::default() };
    let refused = newest(look.log, &wanted, SHOWN)?;
    let connections = look.house.pulse.counted().connections.into_iter();
    Ok(Some(Intake {
        arrived: rows
            .into_iter()
            .map(|(source, verdict, frames)| Arrived { source, verdict, frames })
            .collect(),
        connections: connections.map(|(name, state)| Connection { name, broken: state.err() }).collect(),
        refused: refused.into_iter().map(|row| heard::frame(look, row)).collect::<Result<_, _>>()?,
        knocking: gateways::knocking(look)?,
        pasted: None,
    }))
}

/// The same with what is proposed for messages that were pasted; nothing of them is kept.
pub(super) fn proposed(
    look: &Look<'_>,
    fields: &BTreeMap<String, String>,
) -> Result<Option<Intake>, StoreError> {
    let page = state(look)?;
    let field = |key: &str| fields.get(key).map_or("", String::as_str);
    let text = field("text").replace("\r\n", "\n");
    let shown = Shown::new(&look.house.known, &text);
    let chosen = chosen(&shown, fields);
    let choices = choices(&shown, &chosen);
    let (name, way) = (name(field("name")), field("way").to_owned());
    let outcome = shown.lines(&chosen);
    let why = outcome.is_none().then(|| {
        let (why, help) = shown.why_not();
        format!("{why}: {help}")
    });
    let (mapping, said) = outcome.unzip();
    let pasted = Proposed {
        lines: mapping.map(|mapping| format!("[source.{name}]\n{}\n{mapping}", transport(&way, &name))),
        looked_at: shown.looked_at(),
        notes: shown.notes(),
        said: said.unwrap_or_default(),
        text: text.clone(),
        name,
        way,
        choices,
        why,
    };
    Ok(page.map(|page| Intake { pasted: Some(pasted), ..page }))
}

/// What was chosen among the candidates; a place that is none of them any more counts as not chosen.
fn chosen(shown: &Shown<'_>, fields: &BTreeMap<String, String>) -> BTreeMap<Meaning, Option<Candidate>> {
    let mut all = BTreeMap::new();
    for (meaning, candidates) in &shown.proposal.candidates {
        let Some(label) = fields.get(&format!("at:{}", meaning.key())) else { continue };
        let found = candidates.iter().find(|one| one.label() == *label);
        if found.is_some() || label.is_empty() && !NEEDED.contains(meaning) {
            all.insert(*meaning, found.cloned());
        }
    }
    all
}

fn choices(shown: &Shown<'_>, chosen: &BTreeMap<Meaning, Option<Candidate>>) -> Vec<Choice> {
    let choice = |(meaning, candidates): (&Meaning, &Vec<Candidate>)| {
        let proposed = candidates.first();
        let taken = chosen.get(meaning).map_or(proposed, Option::as_ref);
        Choice {
            meaning: meaning.key().to_owned(),
            places: candidates.iter().map(Candidate::label).collect(),
            chosen: taken.map(Candidate::label),
            needed: NEEDED.contains(meaning),
        }
    };
    shown.proposal.candidates.iter().map(choice).collect()
}

/// A name that a source can have.
fn name(typed: &str) -> String {
    let fits = |letter: char| letter.is_ascii_alphanumeric() || letter == '-' || letter == '_';
    if !typed.is_empty() && typed.len() <= 64 && typed.chars().all(fits) {
        typed.to_owned()
    } else {
        "fields".to_owned()
    }
}

/// The line of the way, to be filled in.
fn transport(way: &str, name: &str) -> String {
    match way {
        "mqtt" => format!(
            "mqtt = {{ broker = \"mqtts://HOST:8883\", topics = [\"{name}/#\"], login_file = \"{name}.login\" }}   # as your broker is"
        ),
        "csv" => format!("csv = {{ file = \"{name}.csv\" }}"),
        _ => format!(
            "http = {{ path = \"/in/{name}\", token_file = \"{name}.token\" }}   # one line that nobody guesses in that file"
        ),
    }
}
