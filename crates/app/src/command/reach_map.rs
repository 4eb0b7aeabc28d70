//! What stands on the maps of a site, and the data rates they tell apart.

use design::node::{Design, RadioUse};
use design::quantity::Decibels;
use design::surroundings::Place as Side;
use forecast::radio::adr;
use forecast::radio::budget::{BorneLoss, borne_losses};
use forecast::radio::link::between;
use forecast::terrain::Place;
use report::chart::coverage::{MapGateway, MapNode, MapPlace, Step};
use verdict::placing::MoreGateways;
use verdict::reach::{self, FARTHEST_KM, Reach};

use crate::input::fleet::Site;

/// The places of all nodes and gateways, and of those where one may stand, but for those [`Stray`].
pub(super) fn map_places(site: &Site) -> Vec<Place> {
    let near = stands(site).filter(|(_, at)| km_to_nodes(site, *at) <= FARTHEST_KM);
    node_places(site).chain(near.map(|(_, at)| at)).collect()
}

/// A gateway, or a place for one, so far from every node that it must be a slip.
pub(super) struct Stray {
    /// Its table in the site's file.
    pub(super) table: String,
    /// To the nearest node \[km\].
    pub(super) km: f64,
}

/// Those that no node lies near, in the order of the file.
pub(super) fn strays(site: &Site) -> Vec<Stray> {
    let stray = |(table, at)| Stray { table, km: km_to_nodes(site, at) };
    stands(site).map(stray).filter(|stray| stray.km > FARTHEST_KM).collect()
}

/// Where gateways stand and may stand, with their tables in the site's file.
fn stands(site: &Site) -> impl Iterator<Item = (String, Place)> {
    let surroundings = &site.fleet.surroundings;
    let gateways = surroundings.gateways.iter().map(|one| ("gateway", one));
    let may_stand = surroundings.may_stand.iter().map(|one| ("may_stand", one));
    gateways.chain(may_stand).map(|(table, one)| {
        (format!("{table}.{}", one.name), place(one.latitude.degrees(), one.longitude.degrees()))
    })
}

fn node_places(site: &Site) -> impl Iterator<Item = Place> {
    site.fleet.nodes.iter().map(|node| place(node.latitude.degrees(), node.longitude.degrees()))
}

/// To the nearest node \[km\]; 0 where there is none to be far from.
fn km_to_nodes(site: &Site, at: Place) -> f64 {
    let each_km = node_places(site).map(|node| between(node, at).distance_m / 1000.0);
    each_km.reduce(f64::min).unwrap_or(0.0)
}

pub(super) fn place(latitude_deg: f64, longitude_deg: f64) -> Place {
    Place { latitude_deg, longitude_deg }
}

pub(super) fn map_nodes(designs: &[Design], reaches: &[Reach]) -> Vec<MapNode> {
    let node = |(design, reach): (&Design, &Reach)| MapNode {
        name: design.name.clone(),
        place: place(design.site.latitude.degrees(), design.site.longitude.degrees()),
        verdict: reach.verdict,
    };
    designs.iter().zip(reaches).map(node).collect()
}

pub(super) fn map_gateways(site: &Site) -> Vec<MapGateway> {
    let gateways = site.fleet.surroundings.gateways.iter();
    let gateway = |gateway: &design::surroundings::Gateway| MapGateway {
        name: gateway.name.clone(),
        place: place(gateway.latitude.degrees(), gateway.longitude.degrees()),
    };
    gateways.map(gateway).collect()
}

/// Where a gateway may stand, with the nodes that the chosen ones bring.
pub(super) fn map_may_stand(site: &Site, more: &MoreGateways) -> Vec<MapPlace> {
    let places = site.fleet.surroundings.may_stand.iter();
    let brings = |name: &str| {
        let chosen = more.chosen.iter().find(|chosen| chosen.place == name);
        let known = chosen.into_iter().flat_map(|chosen| &chosen.brings);
        known.filter_map(|index| Some(site.designs().get(*index)?.name.clone())).collect()
    };
    let place = |known: &design::surroundings::Gateway| MapPlace {
        name: known.name.clone(),
        place: place(known.latitude.degrees(), known.longitude.degrees()),
        brings: brings(&known.name),
    };
    places.map(place).collect()
}

/// The data rates with the margin that adaptation keeps, then the slowest without; and that margin \[dB\].
pub(super) fn steps(design: &Design, radio: &RadioUse) -> (Vec<Step>, f64) {
    let margin_db = radio.adaptation_margin.map_or(adr::USUAL_MARGIN_DB, Decibels::decibels);
    let rates = borne_losses(design, Side::Inside);
    let words = |rate: &BorneLoss| reach::rate_name(rate.data_rate, rate.modulation);
    let kept = rates.iter().map(|rate| Step {
        words: words(rate),
        keeps_margin: true,
        most_loss_db: rate.most.decibels() - margin_db,
    });
    let thin = rates.last().map(|slowest| Step {
        words: words(slowest),
        keeps_margin: false,
        most_loss_db: slowest.most.decibels(),
    });
    (kept.chain(thin).collect(), margin_db)
}
