//! What nodes are to be told: checked against their design, kept, and told by the network with one of their next uplinks.

use std::collections::BTreeMap;

use design::message::{Direction, Field, Form, Kind, Message, SetInterval};
use design::node::Design;
use design::quantity::Duration;
use forecast::life::prepared::Prepared;
use kit::effect::Effect;
use logbook::store::people::People;
use logbook::store::settings;
use logbook::store::writer::Arrival;
use logbook::store::{StoreError, sqlite};
use report::page::act::Follows;
use serde_json::Value;
use verdict::plan::Weather;
use verdict::setting::told;
use verdict::{BeforeLife, Verdict};
use wire::payload::{Codec, EncodeError, Sample, State};

use super::House;
use super::promises::SEED;
use super::typing;
use super::who::Doer;

/// What nodes are to be told.
pub(super) struct Wish<'a> {
    pub(super) nodes: &'a [String],
    pub(super) message: &'a str,
    pub(super) values: &'a BTreeMap<String, Value>,
}

/// Why they are not told.
#[derive(Debug, thiserror::Error)]
pub(super) enum Refused {
    #[error("no node is called {name:?}")]
    Nobody { name: String },
    #[error("say which nodes are to be told")]
    NoNodes,
    #[error("nodes of several kinds can't be told the same")]
    Kinds,
    #[error("the design `{kind}` has no message {message:?} to the node")]
    Message { kind: String, message: String },
    #[error("the message has no field {field:?}")]
    Field { field: String },
    #[error("say at least one value")]
    NoValues,
    #[error("`{field}` is {wanted}")]
    Value { field: String, wanted: String },
    #[error("{0}")]
    Encode(#[from] EncodeError),
    #[error("`answers` of [serve.gateways] is not \"all\": nodes are told nothing")]
    NoAnswers,
    #[error(
        "the key of {name} is not here: another network hears it; write `outlet` into its source, and wait until it is heard"
    )]
    NotOurs { name: String },
    #[error("{why}")]
    Climate { why: String },
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Keeps what is wanted and has it told; the numbers of the rows, and what follows once it is heard.
pub(super) fn want(house: &House, wish: &Wish<'_>, doer: &Doer) -> Result<(Vec<i64>, Vec<String>), Refused> {
    let (boards, kind) = boards(house, wish.nodes)?;
    let (design, message) = of_kind(house, &kind, wish.message)?;
    let (payload, effects) = composed(design, message, wish.values)?;
    let effects = effects.iter().map(Effect::within).collect();
    let values = Value::Object(wish.values.clone().into_iter().collect());
    let wishes: Vec<settings::Wish<'_>> = boards
        .iter()
        .map(|dev_eui| settings::Wish {
            dev_eui,
            message: wish.message,
            values: &values,
            port: message.port,
            payload: &payload,
        })
        .collect();
    let ids = People::of(&house.log)?.want(&wishes, doer.by())?;
    let ids = ids.ok_or_else(|| Refused::Nobody { name: wish.nodes.join(", ") })?;
    // The rows are there: what does not get through now is told a minute later.
    let _later = house.door.offer(Arrival::Wanted, None);
    Ok((ids, effects))
}

/// What follows from values that somebody considers, at the node that is named first; nothing is told.
pub(super) fn follows(house: &House, wish: &Wish<'_>) -> Result<Follows, Refused> {
    let (_, kind) = boards(house, wish.nodes)?;
    let (design, message) = of_kind(house, &kind, wish.message)?;
    let (_, effects) = composed(design, message, wish.values)?;
    let stands = |placed: &&Design| wish.nodes.first().is_some_and(|name| *name == placed.name);
    let design = house.site.designs().iter().find(stands).unwrap_or(design);
    let effects = effects.iter().map(|effect| (effect.field.clone(), effect.within())).collect();
    let follows = Follows { effects, ..Follows::default() };
    let sets = message.fields.iter().filter_map(|field| {
        let (sets, value) = (field.sets.as_ref()?, wish.values.get(&field.name)?.as_f64()?);
        Some((sets, Duration::from_seconds(value * f64::from(sets.unit_s))))
    });
    let sets: Vec<(&SetInterval, Duration)> = sets.collect();
    if sets.is_empty() {
        return Ok(follows);
    }
    match told(design, &sets) {
        Err(refused) => {
            Ok(Follows { refused: Some(format!("{}; {}", refused.message, refused.help)), ..follows })
        }
        Ok(changed) => judged(house, &changed, follows),
    }
}

/// With what law, reach, message and the first lives say of the changed design.
fn judged(house: &House, changed: &Design, follows: Follows) -> Result<Follows, Refused> {
    let before = BeforeLife::of(changed, house.site.terrain.as_ref(), &[], SEED);
    let climate =
        house.site.climate(changed).map_err(|failure| Refused::Climate { why: failure.in_a_line() })?;
    let weather = Weather::Climate(&climate);
    let prepared = Prepared::new(changed, weather, &before.reach.spots, SEED);
    let life = typing::first_lives(&prepared, weather, &house.typing.question(""));
    let verdict = Verdict::worst([before.verdict(), life.verdict]).unwrap_or(Verdict::NotKnown);
    let verdicts = report::html::first_verdict_rows(&before, Some(&life), &changed.promise);
    Ok(Follows { verdict: Some(report::words::verdict(verdict)), verdicts, ..follows })
}

/// A kind of node and one of its messages to it.
fn of_kind<'a>(house: &'a House, kind: &str, message: &str) -> Result<(&'a Design, &'a Message), Refused> {
    let unknown = || Refused::Message { kind: kind.to_owned(), message: message.to_owned() };
    let design = house.site.kinds().find(|(_, design)| design.name == *kind).map(|(_, design)| design);
    let design = design.ok_or_else(unknown)?;
    let message = to_node(design).find(|known| known.name == *message).ok_or_else(unknown)?;
    Ok((design, message))
}

/// Messages of a design to its node.
pub(super) fn to_node(design: &Design) -> impl Iterator<Item = &Message> {
    design.messages.iter().filter(|message| message.direction == Direction::Down)
}

/// The boards of nodes, and the one kind that they are of.
fn boards(house: &House, nodes: &[String]) -> Result<(Vec<String>, String), Refused> {
    let mut kinds = Vec::new();
    let mut boards = Vec::new();
    for name in nodes {
        let open = house.known.rows.iter().find(|row| row.name == *name && row.open());
        let row = open.ok_or_else(|| Refused::Nobody { name: name.clone() })?;
        // Who heard it last tells it: its key lies here in either case.
        match (house.known.own.contains(&row.dev_eui), house.known.answers_all) {
            _ if can_be_asked(house, &row.dev_eui.to_string())? => {}
            (true, true) => {}
            (true, false) => return Err(Refused::NoAnswers),
            (false, _) => return Err(Refused::NotOurs { name: name.clone() }),
        }
        boards.push(row.dev_eui.to_string());
        kinds.push(row.kind.clone());
    }
    boards.sort_unstable();
    boards.dedup();
    kinds.dedup();
    match kinds.as_slice() {
        [] => Err(Refused::NoNodes),
        [kind] => Ok((boards, kind.clone())),
        _ => Err(Refused::Kinds),
    }
}

/// Whether the network that heard a node last can be asked to tell it something.
pub(super) fn can_be_asked(house: &House, dev_eui: &str) -> Result<bool, StoreError> {
    if house.known.outlets.is_empty() {
        return Ok(false);
    }
    let source = settings::heard_by(&sqlite::reader(&house.log)?, dev_eui)?;
    Ok(source.is_some_and(|source| house.known.outlets.contains(&source)))
}

/// The bytes of a message, and what follows once a node has heard it.
fn composed(
    design: &Design,
    message: &Message,
    values: &BTreeMap<String, Value>,
) -> Result<(Vec<u8>, Vec<Effect>), Refused> {
    if values.is_empty() {
        return Err(Refused::NoValues);
    }
    let known = |field: &&String| message.fields.iter().any(|known| known.name == **field);
    if let Some(field) = values.keys().find(|field| !known(field)) {
        return Err(Refused::Field { field: field.clone() });
    }
    let codec = Codec::new(message);
    let slots = &message.layout(Form::Full).slots;
    let sample = |(place, slot): (usize, &design::message::Slot)| {
        let field = &message.fields[slot.field];
        let Some(value) = values.get(&field.name) else { return Ok(Sample::Absent) };
        let number = number(field, value).ok_or_else(|| wrong(field))?;
        Ok(codec.sample(Form::Full, place, number)?)
    };
    let samples: Vec<Sample<'static>> =
        slots.iter().enumerate().map(sample).collect::<Result<_, Refused>>()?;
    let encoded = codec.encode(Form::Full, &samples)?;
    let mut readings = Vec::new();
    let decoded = codec.decode(message.port, &encoded.bytes, &mut readings);
    decoded
        .map_err(|_unread| Refused::Message { kind: design.name.clone(), message: message.name.clone() })?;
    // What the node would read must be what is wanted: nothing is set to the end of a range.
    for (slot, reading) in slots.iter().zip(&readings) {
        let field = &message.fields[slot.field];
        if values.contains_key(&field.name) && reading.state() != State::Inside {
            return Err(wrong(field));
        }
    }
    Ok((encoded.bytes, kit::effect::effects(design, message, &readings)))
}

/// A value as the codec takes it: flags and choices by their code.
fn number(field: &Field, value: &Value) -> Option<f64> {
    match &field.kind {
        Kind::Number { .. } | Kind::Counter { .. } | Kind::Time { .. } => value.as_f64(),
        Kind::Flag => value.as_bool().map(f64::from),
        Kind::Choice { words } => {
            let place = words.iter().position(|word| Some(word.as_str()) == value.as_str())?;
            u32::try_from(place).ok().map(f64::from)
        }
        Kind::Position { .. } | Kind::Bytes { .. } => None,
    }
}

fn wrong(field: &Field) -> Refused {
    Refused::Value { field: field.name.clone(), wanted: wanted(field) }
}

/// What a field takes, for a person.
pub(super) fn wanted(field: &Field) -> String {
    match &field.kind {
        Kind::Number { scale, last, .. } | Kind::Time { scale, last, .. } => {
            let unit = if field.unit == "1" {
                String::new()
            } else {
                format!(" {}", report::words::unit(&field.unit))
            };
            format!("a number from {} to {}{unit}", scale.value(0), scale.value(*last))
        }
        Kind::Counter { .. } => "a count".to_owned(),
        Kind::Flag => "true or false".to_owned(),
        Kind::Choice { words } => format!("one of {}", words.join(", ")),
        Kind::Position { .. } | Kind::Bytes { .. } => "not set from here".to_owned(),
    }
}
