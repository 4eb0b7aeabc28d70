//! What would make a node heard: the smallest single change of each kind.

use design::change::Change;
use design::node::Design;
use design::quantity::{Decibels, Length, Quantity};
use design::surroundings::Place as Side;
use forecast::radio::collisions::Sender;
use forecast::radio::link::{Link, links};
use forecast::radio::spots::Spots;
use forecast::terrain::Terrain;

use super::holds;

/// Most that a mast at the node, a mast at the gateway and an antenna there can be made better.
const TALLER_NODE_M: u32 = 10;
const TALLER_GATEWAY_M: u32 = 30;
const BETTER_ANTENNA_DB: u32 = 12;

/// A single change that makes the node heard.
#[derive(Clone, Debug, PartialEq)]
pub enum Remedy {
    /// A taller mast at the node.
    TallerNode(Length),
    /// A taller mast at the gateway that hears it best.
    TallerGateway(Length),
    /// Both, where neither alone is enough: at the node, then at the gateway.
    TallerBoth(Length, Length),
    /// That gateway's antenna outside the walls behind which it is.
    GatewayOutside,
    /// A better antenna there; receiving is not limited by the law.
    BetterAntenna(Decibels),
    /// A second gateway where the file says that one may stand: the name of that place.
    SecondGateway(String),
    /// None of these: another gateway.
    AnotherGateway,
}

impl Remedy {
    /// What changes in a design, for the gateway at this place in the file; nothing where the file has no key for it.
    pub(crate) fn changes(&self, design: &Design, gateway: usize) -> Vec<Change> {
        let (Some(known), Some(radio)) = (design.surroundings.gateways.get(gateway), &design.radio) else {
            return Vec::new();
        };
        let gateway = || known.name.clone();
        let taller_node = |by| Change::AntennaHeight(radio.antenna_height + by);
        let taller_gateway =
            |by| Change::GatewayHeight { gateway: gateway(), height: known.antenna_height + by };
        match self {
            Self::TallerNode(by) => vec![taller_node(*by)],
            Self::TallerGateway(by) => vec![taller_gateway(*by)],
            Self::TallerBoth(at_node, at_gateway) => vec![taller_node(*at_node), taller_gateway(*at_gateway)],
            Self::GatewayOutside => {
                vec![Change::GatewayPlace { gateway: gateway(), place: Side::Outside }]
            }
            Self::BetterAntenna(by) => {
                vec![Change::GatewayGain { gateway: gateway(), gain: known.antenna_gain + *by }]
            }
            Self::SecondGateway(place) => vec![Change::AnotherGateway(place.clone())],
            Self::AnotherGateway => Vec::new(),
        }
    }

    /// The design after it, for the gateway at this place in the file; `None` if it is out of range.
    pub(crate) fn made_to(&self, design: &Design, gateway: usize) -> Option<Design> {
        let changes = self.changes(design, gateway);
        let (first, rest) = changes.split_first()?;
        let changed = design.with(first.clone()).ok()?;
        rest.iter().try_fold(changed, |design, change| design.with(change.clone()).ok())
    }

    /// In words.
    #[must_use]
    pub fn text(&self, gateway: &str) -> String {
        match self {
            Self::TallerNode(by) => format!("{} more mast at the node", by.text()),
            Self::TallerGateway(by) => format!("{} more mast at gateway {gateway}", by.text()),
            Self::TallerBoth(at_node, at_gateway) => format!(
                "{} more mast at the node together with {} more at gateway {gateway}",
                at_node.text(),
                at_gateway.text()
            ),
            Self::GatewayOutside => format!("the antenna of gateway {gateway} outside the building"),
            Self::BetterAntenna(by) => format!("{:.0} dB more antenna at gateway {gateway}", by.decibels()),
            Self::SecondGateway(place) => format!("a second gateway at {place}"),
            Self::AnotherGateway => "a second gateway, or another place for the node".to_owned(),
        }
    }
}

/// The smallest change of each kind that makes it hold: first by how much the best link must get better, then what brings
/// as much. Heights are tried one by one: more height can cost decibels.
pub(super) fn remedies(
    design: &Design,
    terrain: Option<&Terrain>,
    crowd: &[Sender],
    seed: u64,
    unknown: Side,
) -> Vec<Remedy> {
    let Some(best) = links(design, terrain, unknown).first().cloned() else { return Vec::new() };
    let Some(gateway) = design.surroundings.gateways.get(best.index) else { return Vec::new() };
    let changed_links = |change: &Remedy| {
        let changed = change.made_to(design, best.index)?;
        Some((links(&changed, terrain, unknown), changed))
    };
    let holds = |change: &Remedy| {
        changed_links(change)
            .is_some_and(|(links, changed)| holds(&changed, &Spots::new(&changed, links, crowd, seed)))
    };
    let better = |by: u32| Remedy::BetterAntenna(Decibels::from_decibels(by.into()));
    // A better antenna never costs signal: where the best is not enough, no lesser one need be tried.
    let antenna = holds(&better(BETTER_ANTENNA_DB))
        .then(|| (1..=BETTER_ANTENNA_DB).find(|by| holds(&better(*by))))
        .flatten();
    // What brings less than an antenna that is not enough need not be simulated.
    let needed_db = f64::from(antenna.unwrap_or(BETTER_ANTENNA_DB));
    let brings_enough = |change: &Remedy| {
        let Some((links, _)) = changed_links(change) else { return false };
        let margin = links.iter().find(|link| link.index == best.index).map(Link::slowest_margin);
        margin.is_some_and(|margin| margin >= best.slowest_margin() + needed_db) && holds(change)
    };
    let metres = |by: u32| Length::from_metres(by.into());
    let inside = gateway.spot.place.unwrap_or(unknown) == Side::Inside;
    let outside = inside.then_some(Remedy::GatewayOutside).filter(&holds);
    let node = (1..=TALLER_NODE_M).map(|by| Remedy::TallerNode(metres(by))).find(brings_enough);
    let mast = (1..=TALLER_GATEWAY_M).map(|by| Remedy::TallerGateway(metres(by))).find(brings_enough);
    let both = (node.is_none() && mast.is_none())
        .then(|| {
            both_taller()
                .into_iter()
                .map(|[a, b]| Remedy::TallerBoth(metres(a), metres(b)))
                .find(brings_enough)
        })
        .flatten();
    let second = second_gateway(design, terrain, unknown, holds);
    let found = [outside, node, mast, both, antenna.map(better), second];
    let found: Vec<Remedy> = found.into_iter().flatten().collect();
    if found.is_empty() { vec![Remedy::AnotherGateway] } else { found }
}

/// Of the places where a gateway may stand, the one that hears the node best and makes it hold.
fn second_gateway(
    design: &Design,
    terrain: Option<&Terrain>,
    unknown: Side,
    holds: impl Fn(&Remedy) -> bool,
) -> Option<Remedy> {
    let margin = |name: &String| {
        let changed = design.with(Change::AnotherGateway(name.clone())).ok()?;
        let links = links(&changed, terrain, unknown);
        links.iter().find(|link| link.gateway == *name).map(Link::slowest_margin)
    };
    let places = design.surroundings.may_stand.iter().map(|place| place.name.clone());
    let mut places: Vec<(f64, String)> = places.filter_map(|name| Some((margin(&name)?, name))).collect();
    places.sort_by(|one, other| other.0.total_cmp(&one.0));
    places.into_iter().map(|(_, name)| Remedy::SecondGateway(name)).find(holds)
}

/// Taller masts at both ends, in steps of a pole, the least of both together first \[m\].
fn both_taller() -> Vec<[u32; 2]> {
    let steps = |most: u32, step: usize| (1..=most).rev().step_by(step);
    let mut pairs: Vec<[u32; 2]> = steps(TALLER_NODE_M, 2)
        .flat_map(|node| steps(TALLER_GATEWAY_M, 5).map(move |gateway| [node, gateway]))
        .collect();
    pairs.sort_by_key(|[node, gateway]| (node + gateway, *node));
    pairs
}
