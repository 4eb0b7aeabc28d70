//! Many nodes of one kind: identities, keys, labels, sheets, and the one way by which keys leave the key box.

pub(crate) mod bench;
pub(crate) mod block;
pub(crate) mod columns;
pub(crate) mod expected;
pub(crate) mod hand_over;
pub(crate) mod import;
pub(crate) mod labels;
pub(crate) mod names;
pub(crate) mod paper;
pub(crate) mod passphrase;
pub(crate) mod qr;
pub(crate) mod recover;
pub(crate) mod sheets;
pub(crate) mod site;

use std::collections::BTreeMap;

use design::node::Design;
use logbook::keys::KeyBox;
use logbook::registry::{Date, Node, Registry};
use report::problem::{Failure, Problem};
use wire::identity::{DevEui, JoinEui};

use block::Block;
use names::Pattern;

/// Most nodes of one run; more in one folder is no site of a practitioner.
pub(crate) const MOST_NODES: usize = 10_000;

/// Where identities come from.
pub(crate) enum Identities {
    /// The person's own block.
    Block(Block),
    /// Made up, and marked so.
    Local,
}

/// What nodes of one kind have in common on the day they are enrolled.
pub(crate) struct Batch<'a> {
    /// Their design.
    pub(crate) design: &'a Design,
    /// Their names.
    pub(crate) names: &'a Pattern,
    /// Today.
    pub(crate) today: Date,
}

impl Batch<'_> {
    /// A row for a node of this kind.
    pub(crate) fn node(&self, name: String, dev_eui: DevEui, join_eui: JoinEui) -> Node {
        Node {
            name,
            kind: self.design.name.clone(),
            dev_eui,
            join_eui,
            place: None,
            constants: constants(self.design),
            from: self.today,
            until: None,
        }
    }
}

/// Open nodes of a kind, in the order of the file.
pub(crate) fn of_kind<'a>(registry: &'a Registry, kind: &'a str) -> impl Iterator<Item = &'a Node> {
    registry.nodes().iter().filter(move |node| node.open() && node.kind == kind)
}

/// Adds so many nodes to the registry and draws their keys; nothing is written yet.
pub(crate) fn add(
    registry: &mut Registry,
    keys: &mut KeyBox,
    batch: &Batch<'_>,
    identities: &Identities,
    join_eui: JoinEui,
    count: usize,
) -> Result<(), Failure> {
    let dev_euis = match identities {
        Identities::Block(block) => block.free(registry, count)?,
        Identities::Local => local(registry, keys, count)?,
    };
    let names = batch.names.free(registry, count)?;
    for (name, dev_eui) in names.into_iter().zip(dev_euis) {
        let drawn = keys.draw(dev_eui).map_err(|error| site::keys_failure(&error))?;
        debug_assert!(drawn, "the box has no key without a row");
        registry.add(batch.node(name, dev_eui, join_eui)).map_err(|error| site::registry_failure(&error))?;
    }
    Ok(())
}

fn local(registry: &Registry, keys: &KeyBox, count: usize) -> Result<Vec<DevEui>, Failure> {
    let mut found: Vec<DevEui> = Vec::new();
    while found.len() < count {
        let drawn = logbook::registry::draw_local().map_err(|error| {
            let message = format!("the operating system's random source failed: {error}");
            Failure::of(Problem::of_file("identity", "--local", message, "try again, or give --eui-block"))
        })?;
        // The chance is one in 72 thousand million million, and free to rule out.
        if !registry.knows(drawn) && !found.contains(&drawn) && keys.key(drawn).is_none() {
            found.push(drawn);
        }
    }
    Ok(found)
}

/// The constants that each device of a design has of its own, none noted yet.
fn constants(design: &Design) -> BTreeMap<String, BTreeMap<String, Option<f64>>> {
    let mut constants: BTreeMap<String, BTreeMap<String, Option<f64>>> = BTreeMap::new();
    for field in design.messages.iter().flat_map(|message| &message.fields) {
        for name in &field.per_device {
            constants.entry(field.name.clone()).or_default().insert(name.clone(), None);
        }
    }
    constants
}
