//! The leaves of pasted messages: every text and number, with its place.

use std::collections::BTreeMap;

use design::serve::{Levels, Pointer};

use crate::mapping::json::{self, Json};
use crate::mapping::{Found, Incoming, LARGEST_BYTES};
use crate::received::Moment;

/// Deepest place that is looked at.
const DEEPEST: usize = 32;
/// Most places of one message that are looked at.
pub const MOST_LEAVES: usize = 5_000;
/// Of a longer list, the first entries are looked at: what holds of them holds of the others.
const MOST_ENTRIES: usize = 4;

/// A message that a person pasted, or that was captured.
#[derive(Clone, Copy, Debug)]
pub struct Pasted<'a> {
    /// The message.
    pub incoming: Incoming<'a>,
    /// When it arrived.
    pub arrived_at: Moment,
}

/// A text or number.
#[derive(Clone, Debug)]
pub(super) enum Leaf {
    Json(Json),
    Level(String),
}

impl Leaf {
    pub(super) fn found(&self) -> Found<'_> {
        match self {
            Self::Json(json) => Found::Json(json),
            Self::Level(level) => Found::Level(level),
        }
    }
}

/// A message by its leaves.
#[derive(Debug)]
pub(super) struct Sample {
    pub(super) leaves: BTreeMap<Pointer, Leaf>,
    pub(super) arrived_at: Moment,
    whole: Json,
}

/// `None` if it is no JSON.
pub(super) fn read(pasted: &Pasted<'_>) -> Option<Sample> {
    let Incoming { topic, path, body } = pasted.incoming;
    let body = Some(body).filter(|body| body.len() <= LARGEST_BYTES)?;
    let whole = json::read(body).ok()?;
    let mut leaves = BTreeMap::new();
    collect(&whole, &mut Vec::new(), &mut leaves);
    for (levels, name) in
        [(Levels::Topic, topic), (Levels::Path, path.map(|path| path.trim_start_matches('/')))]
    {
        for (place, level) in name.into_iter().flat_map(|name| name.split('/')).enumerate() {
            leaves.insert(Pointer::Level(levels, place + 1), Leaf::Level(level.to_owned()));
        }
    }
    Some(Sample { leaves, arrived_at: pasted.arrived_at, whole })
}

fn collect(json: &Json, tokens: &mut Vec<String>, leaves: &mut BTreeMap<Pointer, Leaf>) {
    if tokens.len() > DEEPEST || leaves.len() >= MOST_LEAVES {
        return;
    }
    let mut inside = |token: String, json: &Json| {
        tokens.push(token);
        collect(json, tokens, leaves);
        tokens.pop();
    };
    match json {
        Json::Object(members) => members.iter().for_each(|(key, value)| inside(key.clone(), value)),
        Json::List(entries) => {
            let entries = entries.iter().take(MOST_ENTRIES).enumerate();
            entries.for_each(|(place, value)| inside(place.to_string(), value));
        }
        Json::Text(_) | Json::Number(_) => {
            leaves.insert(Pointer::Json(tokens.clone()), Leaf::Json(json.clone()));
        }
        Json::Null | Json::Bool(_) => {}
    }
}

/// The list in whose first entry all these places stand, if there is one in every message.
pub(super) fn shared_list(samples: &[Sample], places: &[&Pointer]) -> Option<Pointer> {
    let Some((Pointer::Json(first), _)) = places.split_first() else { return None };
    let mut lists = (0..first.len()).filter(|length| {
        let (around, rest) = first.split_at(*length);
        let inside = |place: &&Pointer| match place {
            Pointer::Json(tokens) => tokens.get(..=*length) == first.get(..=*length),
            Pointer::Level(..) => false,
        };
        rest.first().is_some_and(|index| index == "0")
            && places.iter().all(inside)
            && samples.iter().all(|sample| matches!(sample.whole.find(around), Some(Json::List(_))))
    });
    lists.next_back().and_then(|length| first.get(..length)).map(|list| Pointer::Json(list.to_vec()))
}
