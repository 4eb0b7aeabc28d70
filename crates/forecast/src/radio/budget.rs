//! What losses a design bears: the figures with which a map is read.

use design::node::Design;
use design::quantity::{Dbm, Decibels};
use design::region::Modulation;
use design::surroundings::Gateway;

use super::coverage::Station;
use super::demodulation::weakest;
use super::link::{gateway_gain, place, radiated_gain};
use super::loss::surroundings;
use super::trail::End;

/// A data rate and the loss of the path up to which it is demodulated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BorneLoss {
    /// The data rate.
    pub data_rate: u8,
    /// How it is modulated.
    pub modulation: Modulation,
    /// At the first gateway, vegetation and mounting taken off.
    pub most: Decibels,
}

/// The data rates a design may use, the fastest first, each with the loss it bears at its first gateway. One that bears no
/// more than a faster one is left out, as one of which no figure is known. None without radio or gateways.
#[must_use]
pub fn borne_losses(design: &Design) -> Vec<BorneLoss> {
    let (Some(radio), Some(gateway)) = (&design.radio, design.surroundings.gateways.first()) else {
        return Vec::new();
    };
    let ground = &design.surroundings.ground;
    let sent = radio.power + radiated_gain(radio) - ground.vegetation - ground.mounting;
    let mut rates: Vec<BorneLoss> = Vec::new();
    for data_rate in radio.allowed_rates.iter().rev().copied() {
        let Some(modulation) = radio.region.modulation(data_rate) else { continue };
        let Some(weakest) = weakest(modulation, gateway.sensitivity, gateway.noise) else { continue };
        let most = sent + gateway_gain(gateway) - weakest;
        if rates.last().is_none_or(|faster| most > faster.most) {
            rates.push(BorneLoss { data_rate, modulation, most });
        }
    }
    rates
}

/// The gateways of a design as a map sees them: how much more each bears than the first, at the slowest data rate.
#[must_use]
pub fn stations(design: &Design) -> Vec<Station> {
    let gateways = &design.surroundings.gateways;
    let slowest = borne_losses(design).last().map(|rate| rate.modulation);
    let bears = |gateway: &Gateway| {
        let weakest = slowest.and_then(|slowest| weakest(slowest, gateway.sensitivity, gateway.noise));
        gateway_gain(gateway).decibels() - weakest.map_or(0.0, Dbm::dbm)
    };
    let first = gateways.first().map_or(0.0, bears);
    gateways
        .iter()
        .map(|gateway| Station {
            end: End {
                place: place(gateway.latitude.degrees(), gateway.longitude.degrees()),
                antenna: gateway.antenna_height,
                surroundings: surroundings(design.surroundings.ground.around_gateways),
            },
            advantage: Decibels::from_decibels(bears(gateway) - first),
        })
        .collect()
}
