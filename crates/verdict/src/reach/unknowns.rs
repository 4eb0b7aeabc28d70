//! What is not known of how a node is heard, what knowing it would be worth, and the cheapest thing that settles it.

use design::node::Design;
use forecast::radio::level::Cause;
use forecast::radio::link::Link;
use forecast::terrain::Terrain;

use super::Sides;
use super::findings::{LEAST_SAID_DB, assumed, cause};

/// What has to be done to know something, the cheapest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Errand {
    /// Look, and write a line into the file.
    Look,
    /// Put the finished node 10 m from the gateway, or read the gateway's own figures.
    Bench,
    /// Walk out and send packets from its position.
    WalkOut,
}

/// Something that is not known.
#[derive(Clone, Debug, PartialEq)]
pub struct Unknown {
    /// What it is.
    pub what: String,
    /// By how much the level may lie off because of it \[dB\]: one standard deviation where there are plausible values, else from
    /// one answer to the other.
    pub off_db: f64,
    /// What knowing it is worth \[dB\]: between the two answers where there are two, at most where it is assumed, else what the level
    /// that can be counted on in nineteen lives of twenty rises by.
    pub worth_db: f64,
    /// What has to be done.
    pub errand: Errand,
    /// The same in words.
    pub settled_by: String,
}

/// The share of lives that can be counted on has its level so many standard deviations below the middle: 19 in 20.
const COUNTED_ON_SD: f64 = 1.645;
/// What is left once packets were sent from a position \[dB\] (the page of the method: ten packets leave 1.2 to 3.7 dB).
const AFTER_PACKETS_DB: f64 = 4.0;
/// Scatter of what traditional walls lose, which is left once it is known that they are \[dB\] (Rec. ITU-R P.2109-2 at 868 MHz).
const TRADITIONAL_ENTRY_DB: f64 = 7.5;
/// Open ground against a village over 1 km, and hills of 60 m that nobody looked at over 2 km \[dB\] (measured with P.1812 for the
/// method: 30 and 45).
const ASSUMED_DB: f64 = 30.0;
const HILLS_DB: f64 = 45.0;
/// Worth less than this, nobody goes anywhere \[dB\] (own choice).
const WORTHWHILE_DB: f64 = 3.0;

/// All that is not known of a node over its best link, what is worth most first.
pub(super) fn unknowns(
    design: &Design,
    terrain: Option<&Terrain>,
    best: &Link,
    sides: Option<&Sides>,
) -> Vec<Unknown> {
    let mut all: Vec<Unknown> = sides.map(side).into_iter().collect();
    all.extend(surroundings(design, terrain, best));
    all.extend(hills(terrain, best));
    all.extend(parts(design, best));
    all.sort_by(|one, other| other.worth_db.total_cmp(&one.worth_db));
    all
}

/// The cheapest thing that settles what is worth it: of the cheapest errand that which is worth most.
#[must_use]
pub fn cheapest(unknowns: &[Unknown]) -> Option<&Unknown> {
    let worthwhile = unknowns.iter().filter(|one| one.worth_db >= WORTHWHILE_DB);
    worthwhile
        .min_by(|one, other| one.errand.cmp(&other.errand).then(other.worth_db.total_cmp(&one.worth_db)))
}

fn side(sides: &Sides) -> Unknown {
    Unknown {
        what: format!("whether {} outside or inside", sides.whose),
        off_db: sides.worth.decibels(),
        worth_db: sides.worth.decibels(),
        errand: Errand::Look,
        settled_by: "look, and write `place = \"outside\"` or `place = \"inside\"`".to_owned(),
    }
}

fn surroundings(design: &Design, terrain: Option<&Terrain>, best: &Link) -> Option<Unknown> {
    let (whom, key) = match assumed(design, terrain, best) {
        [true, true] => ("the node and the gateway", "around_nodes` and `around_gateways"),
        [true, false] => ("the node", "around_nodes"),
        [false, true] => ("the gateway", "around_gateways"),
        [false, false] => return None,
    };
    Some(Unknown {
        what: format!("what stands around {whom}, a village being assumed"),
        off_db: ASSUMED_DB,
        worth_db: ASSUMED_DB,
        errand: Errand::Look,
        settled_by: format!("look, and write `{key}` in [ground], or name a land-cover map"),
    })
}

fn hills(terrain: Option<&Terrain>, best: &Link) -> Option<Unknown> {
    let is_known = terrain.is_some() && best.path.problem.is_none();
    (!is_known).then(|| Unknown {
        what: "the ground on the way".to_owned(),
        off_db: HILLS_DB,
        worth_db: HILLS_DB,
        errand: Errand::Look,
        settled_by: "fetch an open elevation tile that holds the way, and name it in [ground] terrain"
            .to_owned(),
    })
}

/// The parts of the doubt, and what sending packets from the position would settle at once.
fn parts(design: &Design, best: &Link) -> Vec<Unknown> {
    let all_db = best.level.spread().sd_db;
    let without = |part_db: f64| (all_db * all_db - part_db * part_db).max(0.0).sqrt();
    let parts = best.level.parts();
    let known = parts.iter().filter(|part| part.sd_db() >= LEAST_SAID_DB);
    known
        .map(|part| {
            let (errand, settled_by) = settled_by(part.cause, design, best);
            // Packets from the position tell all parts at once.
            let left_db = match errand {
                Errand::WalkOut => AFTER_PACKETS_DB.min(all_db),
                Errand::Look if is_entry(part.cause) => without(part.sd_db()).hypot(TRADITIONAL_ENTRY_DB),
                Errand::Look | Errand::Bench => without(part.sd_db()),
            };
            Unknown {
                what: cause(part, best).to_owned(),
                off_db: part.sd_db(),
                worth_db: (COUNTED_ON_SD * (all_db - left_db)).max(0.0),
                errand,
                settled_by,
            }
        })
        .collect()
}

fn is_entry(cause: Cause) -> bool {
    matches!(cause, Cause::NodeEntry | Cause::GatewayEntry)
}

/// Whether the file says how the walls are made that a cause is about.
fn is_built_as_said(cause: Cause, design: &Design, best: &Link) -> bool {
    let gateway = design.surroundings.gateways.get(best.index);
    match cause {
        Cause::NodeEntry => design.surroundings.node.building.is_some(),
        Cause::GatewayEntry => gateway.is_some_and(|gateway| gateway.spot.building.is_some()),
        _ => false,
    }
}

fn settled_by(cause: Cause, design: &Design, best: &Link) -> (Errand, String) {
    let gateway = &best.gateway;
    match cause {
        Cause::NodeEntry | Cause::GatewayEntry if !is_built_as_said(cause, design, best) => {
            let whose =
                if cause == Cause::NodeEntry { "the node".to_owned() } else { format!("gateway {gateway}") };
            let words = format!(
                "say how the walls around {whose} are made (`building`); better, put that antenna outside"
            );
            (Errand::Look, words)
        }
        Cause::NodeClearing => (
            Errand::Look,
            "pace out how far the first roofs or trees are from the node, and write `clearing`".to_owned(),
        ),
        Cause::GatewayClearing => (
            Errand::Look,
            format!(
                "pace out how far the first roofs or trees are from gateway {gateway}, and write `clearing`"
            ),
        ),
        Cause::NodeAntenna => (
            Errand::Bench,
            format!("put the finished node 10 m from gateway {gateway} and compare with the bench value"),
        ),
        Cause::Noise => (
            Errand::Bench,
            format!("read the noise that gateway {gateway} reports in 125 kHz, and write `noise`"),
        ),
        Cause::NodeEntry
        | Cause::GatewayEntry
        | Cause::Site
        | Cause::Air
        | Cause::Spot
        | Cause::NodeClutter
        | Cause::GatewayClutter
        | Cause::GatewayAntenna => (
            Errand::WalkOut,
            format!(
                "walk out with a node and send 20 packets from its position at fixed power: that leaves {AFTER_PACKETS_DB:.0} dB"
            ),
        ),
    }
}
