//! Rows that the registry has lost, rebuilt from what the key box proves.

use logbook::folder;
use logbook::keys::KeyBox;
use logbook::registry::{Date, Node, Registry};
use report::problem::{Failure, Found, Problem};
use report::words;
use wire::identity::{DevEui, JoinEui};

use super::Batch;
use super::site::{self, first_of};

/// What a box of an older version does not say: kind, names and join server.
pub(crate) struct Otherwise<'a> {
    /// The kind.
    pub(crate) batch: Batch<'a>,
    /// The join server.
    pub(crate) join_eui: JoinEui,
}

/// Adds a row for each key that has none, and notes it as handed over: nobody can prove that it was not.
///
/// Nothing is written yet. Gives the names of the new rows.
pub(crate) fn recover(
    registry: &mut Registry,
    keys: &KeyBox,
    otherwise: Option<&Otherwise<'_>>,
    today: Date,
) -> Result<Vec<String>, Failure> {
    let Some(disagreement) = folder::disagreement(keys, registry) else { return Ok(Vec::new()) };
    let lost = disagreement.without_row;
    let (proven, unnamed): (Vec<DevEui>, Vec<DevEui>) =
        lost.iter().partition(|dev_eui| keys.enrolled(**dev_eui).is_some());
    let mut found = Found::default();
    let mut names = Vec::new();
    for node in proven.iter().filter_map(|dev_eui| keys.enrolled(*dev_eui)) {
        names.push(node.name.clone());
        found.take(registry.add(node.clone()).map_err(|error| site::registry_failure(&error)));
    }
    let rows = match otherwise {
        _ if unnamed.is_empty() => Ok(Vec::new()),
        None => Err(nameless(&unnamed)),
        Some(otherwise) => named(registry, &unnamed, otherwise),
    };
    for node in found.take(rows).unwrap_or_default() {
        names.push(node.name.clone());
        found.take(registry.add(node).map_err(|error| site::registry_failure(&error)));
    }
    if !lost.is_empty() {
        registry.add_hand_over(today, &lost);
    }
    found.take(site::agree(keys, registry));
    found.refuse().map(|()| names)
}

fn named(registry: &Registry, unnamed: &[DevEui], otherwise: &Otherwise<'_>) -> Result<Vec<Node>, Failure> {
    let Otherwise { batch, join_eui } = otherwise;
    let names = batch.names.free(registry, unnamed.len())?;
    let rows = names.into_iter().zip(unnamed).map(|(name, dev_eui)| batch.node(name, *dev_eui, *join_eui));
    Ok(rows.collect())
}

fn nameless(unnamed: &[DevEui]) -> Failure {
    let message = format!(
        "the key box is of an older version and does not say what {} called: {}",
        if unnamed.len() == 1 {
            "1 device was".to_owned()
        } else {
            format!("{} were", words::count(unnamed.len(), "device"))
        },
        first_of(unnamed.iter().map(ToString::to_string).collect())
    );
    let help = "give the design file and --join-eui too, and --names if they had names of your own";
    Failure::of(Problem::of_file("recover", folder::KEYS, message, help))
}
