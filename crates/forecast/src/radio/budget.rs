//! What losses a design bears: the figures with which a map is read.

use design::node::Design;
use design::quantity::{Dbm, Decibels};
use design::region::Modulation;
use design::surroundings::{Around, Gateway, Place as Side};

use super::coverage::Station;
use super::demodulation::weakest;
use super::link::{around_gateway, around_node, place, without_path};
use super::trail::End;

/// A data rate and the loss of the path up to which it is demodulated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BorneLoss {
    /// The data rate.
    pub data_rate: u8,
    /// How it is modulated.
    pub modulation: Modulation,
    /// At the first gateway; leaves, walls and what is near the node's antenna taken off.
    pub most: Decibels,
}

/// What stands around the node, as the map takes it.
#[must_use]
pub fn around_on_map(design: &Design) -> Around {
    around_node(design)
}

/// The data rates a design may use, the fastest first, each with the loss it bears at its first gateway. One that bears no
/// more than a faster one is left out, as one of which no figure is known. None without radio or gateways.
#[must_use]
pub fn borne_losses(design: &Design, unknown: Side) -> Vec<BorneLoss> {
    let (Some(radio), Some(gateway)) = (&design.radio, design.surroundings.gateways.first()) else {
        return Vec::new();
    };
    let arrives = without_path(design, radio, gateway, unknown);
    let mut rates: Vec<BorneLoss> = Vec::new();
    for data_rate in radio.allowed_rates.iter().rev().copied() {
        let Some(modulation) = radio.region.modulation(data_rate) else { continue };
        let Some(weakest) = weakest(modulation, gateway.sensitivity, gateway.noise) else { continue };
        let most = arrives - weakest;
        if rates.last().is_none_or(|faster| most > faster.most) {
            rates.push(BorneLoss { data_rate, modulation, most });
        }
    }
    rates
}

/// The gateways of a design as a map sees them: how much more each bears at the slowest data rate than the first does with
/// what the file leaves open inside.
#[must_use]
pub fn stations(design: &Design) -> Vec<Station> {
    let gateways = &design.surroundings.gateways;
    let slowest = borne_losses(design, Side::Inside).last().map(|rate| rate.modulation);
    let bears = |gateway: &Gateway, unknown| {
        let weakest = slowest.and_then(|slowest| weakest(slowest, gateway.sensitivity, gateway.noise));
        let arrives = design.radio.as_ref().map(|radio| without_path(design, radio, gateway, unknown));
        arrives.map_or(0.0, Dbm::dbm) - weakest.map_or(0.0, Dbm::dbm)
    };
    let first = gateways.first().map_or(0.0, |first| bears(first, Side::Inside));
    gateways
        .iter()
        .map(|gateway| Station {
            end: End {
                place: place(gateway.latitude.degrees(), gateway.longitude.degrees()),
                antenna: gateway.antenna_height,
                surroundings: around_gateway(design, gateway),
            },
            advantage: Decibels::from_decibels(bears(gateway, Side::Inside) - first),
            advantage_outside: Decibels::from_decibels(bears(gateway, Side::Outside) - first),
        })
        .collect()
}
