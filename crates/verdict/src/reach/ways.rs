//! What would make a node heard: the smallest single change of each kind.

use design::change::Change;
use design::node::Design;
use design::quantity::{Angle, Decibels, Length, Quantity};
use design::surroundings::Place as Side;
use forecast::radio::collisions::Sender;
use forecast::radio::link::{Link, links};
use forecast::radio::spots::Spots;
use forecast::terrain::{Place, Terrain};
use path::geodesic::Line;

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
    /// The node at another place, no farther away than the file allows.
    MovedNode {
        /// How far from where it stands.
        by: Length,
        /// In which direction, clockwise from north.
        azimuth: Angle,
        /// North positive.
        latitude: Angle,
        /// East positive.
        longitude: Angle,
        /// Of the ground there above the sea.
        elevation: Length,
    },
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
            Self::MovedNode { latitude, longitude, elevation, .. } => {
                vec![Change::Position(*latitude, *longitude, *elevation)]
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
            Self::MovedNode { by, azimuth, latitude, longitude, .. } => format!(
                "the node {:.0} m away in direction {:.0} deg, at {:.5}, {:.5}",
                by.metres(),
                azimuth.degrees(),
                latitude.degrees(),
                longitude.degrees()
            ),
            Self::SecondGateway(place) => format!("a second gateway at {place}"),
            Self::AnotherGateway => "a second gateway, or another place for the node".to_owned(),
        }
    }
}

/// What would make a node heard, and what could not be tried, each with why.
pub(super) struct Ways {
    pub(super) found: Vec<Remedy>,
    pub(super) untried: Vec<String>,
}

/// The smallest change of each kind that makes it hold: first by how much the best link must get better, then what brings
/// as much. Heights and places are tried one by one: more height can cost decibels.
pub(super) fn remedies(
    design: &Design,
    terrain: Option<&Terrain>,
    crowd: &[Sender],
    seed: u64,
    unknown: Side,
) -> Ways {
    let nothing = Ways { found: Vec::new(), untried: Vec::new() };
    let Some(best) = links(design, terrain, unknown).first().cloned() else { return nothing };
    let Some(gateway) = design.surroundings.gateways.get(best.index) else { return nothing };
    let inside = gateway.spot.place.unwrap_or(unknown) == Side::Inside;
    let trial = Trial { design, terrain, crowd, seed, unknown, best };
    let better = |by: u32| Remedy::BetterAntenna(Decibels::from_decibels(by.into()));
    // A better antenna never costs signal: where the best is not enough, no lesser one need be tried.
    let antenna = trial
        .holds(&better(BETTER_ANTENNA_DB))
        .then(|| (1..=BETTER_ANTENNA_DB).find(|by| trial.holds(&better(*by))))
        .flatten();
    // What brings less than an antenna that is not enough need not be simulated.
    let needed_db = f64::from(antenna.unwrap_or(BETTER_ANTENNA_DB));
    let outside = inside.then_some(Remedy::GatewayOutside).filter(|change| trial.holds(change));
    let (second, untried) = trial.second_gateway();
    let found = outside
        .into_iter()
        .chain(trial.taller(needed_db))
        .chain(antenna.map(better))
        .chain(trial.moved_node(needed_db))
        .chain(second);
    let found: Vec<Remedy> = found.collect();
    Ways { found: if found.is_empty() { vec![Remedy::AnotherGateway] } else { found }, untried }
}

/// A node that is not heard, on which changes are tried.
struct Trial<'a> {
    design: &'a Design,
    terrain: Option<&'a Terrain>,
    crowd: &'a [Sender],
    seed: u64,
    unknown: Side,
    best: Link,
}

impl Trial<'_> {
    /// The design after a change with its links, best first; `None` beyond the range of the key.
    fn changed(&self, change: &Remedy) -> Option<(Design, Vec<Link>)> {
        let changed = change.made_to(self.design, self.best.index)?;
        let links = links(&changed, self.terrain, self.unknown);
        Some((changed, links))
    }

    fn holds(&self, change: &Remedy) -> bool {
        self.changed(change).is_some_and(|(changed, links)| {
            holds(&changed, &Spots::new(&changed, links, self.crowd, self.seed))
        })
    }

    /// Whether it makes some link better by as much as is needed, and it then holds.
    fn brings_enough(&self, change: &Remedy, needed_db: f64) -> bool {
        let Some((_, links)) = self.changed(change) else { return false };
        let margin = links.iter().map(Link::slowest_margin).fold(f64::NEG_INFINITY, f64::max);
        margin >= self.best.slowest_margin() + needed_db && self.holds(change)
    }

    /// Taller masts: at either end, or where neither is enough at both.
    fn taller(&self, needed_db: f64) -> Vec<Remedy> {
        let metres = |by: u32| Length::from_metres(by.into());
        let enough = |change: &Remedy| self.brings_enough(change, needed_db);
        let node = (1..=TALLER_NODE_M).map(|by| Remedy::TallerNode(metres(by))).find(enough);
        let mast = (1..=TALLER_GATEWAY_M).map(|by| Remedy::TallerGateway(metres(by))).find(enough);
        let alone: Vec<Remedy> = node.into_iter().chain(mast).collect();
        if !alone.is_empty() {
            return alone;
        }
        let mut both = both_taller().into_iter().map(|[a, b]| Remedy::TallerBoth(metres(a), metres(b)));
        both.find(enough).into_iter().collect()
    }

    /// The nearest place within reach of the node from which it is heard, of those on rings around it whose height is known.
    fn moved_node(&self, needed_db: f64) -> Option<Remedy> {
        let site = &self.design.site;
        let most_m = site.may_move?.metres();
        let stands = Place { latitude_deg: site.latitude.degrees(), longitude_deg: site.longitude.degrees() };
        let lines = (0..DIRECTIONS).map(|at| 360.0 * f64::from(at) / f64::from(DIRECTIONS));
        let lines: Vec<(f64, Line)> = lines.map(|azimuth| (azimuth, Line::new(stands, azimuth))).collect();
        let rings = (1..=RINGS).map(|ring| most_m * f64::from(ring) / f64::from(RINGS));
        let mut places = rings.flat_map(|by_m| lines.iter().map(move |line| (by_m, line)));
        places.find_map(|(by_m, (azimuth_deg, line))| {
            let at = line.at(by_m);
            let elevation = match self.terrain {
                Some(terrain) => Length::from_metres(terrain.height_m(at)?),
                None => site.elevation,
            };
            let change = Remedy::MovedNode {
                by: Length::from_metres(by_m),
                azimuth: Angle::from_degrees(*azimuth_deg),
                latitude: Angle::from_degrees(at.latitude_deg),
                longitude: Angle::from_degrees(at.longitude_deg),
                elevation,
            };
            self.brings_enough(&change, needed_db).then_some(change)
        })
    }

    /// Of the places where a gateway may stand, the one that hears the node best and makes it hold; and those that could not
    /// be tried.
    fn second_gateway(&self) -> (Option<Remedy>, Vec<String>) {
        let (mut places, mut untried): (Vec<(f64, &str)>, _) = (Vec::new(), Vec::new());
        for place in &self.design.surroundings.may_stand {
            match self.design.with(Change::AnotherGateway(place.name.clone())) {
                Ok(changed) => {
                    let links = links(&changed, self.terrain, self.unknown);
                    let heard = links.iter().find(|link| link.gateway == place.name);
                    places.extend(heard.map(|link| (link.slowest_margin(), place.name.as_str())));
                }
                Err(refused) => untried.push(format!("a gateway at {}: {}", place.name, refused.message)),
            }
        }
        places.sort_by(|one, other| other.0.total_cmp(&one.0));
        let mut second = places.into_iter().map(|(_, name)| Remedy::SecondGateway(name.to_owned()));
        (second.find(|change| self.holds(change)), untried)
    }
}

/// Places around a node that are tried: so many rings, and so many directions on each (own choice).
const RINGS: u32 = 8;
const DIRECTIONS: u32 = 16;

/// Taller masts at both ends, in steps of a pole, the least of both together first \[m\].
fn both_taller() -> Vec<[u32; 2]> {
    let steps = |most: u32, step: usize| (1..=most).rev().step_by(step);
    let mut pairs: Vec<[u32; 2]> = steps(TALLER_NODE_M, 2)
        .flat_map(|node| steps(TALLER_GATEWAY_M, 5).map(move |gateway| [node, gateway]))
        .collect();
    pairs.sort_by_key(|[node, gateway]| (node + gateway, *node));
    pairs
}
