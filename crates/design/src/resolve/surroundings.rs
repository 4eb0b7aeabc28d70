//! Gateways and ground, of a node's file or of a site's.

use crate::file::surroundings::{GatewaySection, GroundSection};
use crate::file::value::Named;
use crate::surroundings::{Gateway, Ground, Surroundings};

/// What hears a node; `None` only after an error was noted.
pub(crate) fn resolve(
    gateways: Option<&Named<GatewaySection>>,
    ground: Option<&GroundSection>,
) -> Option<Surroundings> {
    let named = gateways.map_or(&[][..], |named| &named.0);
    let gateways =
        named.iter().map(|(name, section)| gateway(&name.value, section)).collect::<Option<_>>()?;
    Some(Surroundings { gateways, ground: ground.map_or_else(|| Some(Ground::default()), self::ground)? })
}

fn gateway(name: &str, section: &GatewaySection) -> Option<Gateway> {
    Some(Gateway {
        name: name.to_owned(),
        latitude: section.latitude.as_ref()?.value,
        longitude: section.longitude.as_ref()?.value,
        antenna_height: section.antenna_height.as_ref()?.value,
        antenna_gain: section.antenna_gain.as_ref()?.value,
        cable_loss: section.cable_loss.as_ref()?.value,
        sensitivity: section.sensitivity.as_ref()?.value,
        noise: section.noise.as_ref().map(|at| at.value),
        region: section.region.as_ref().map(|at| at.value.0.clone()),
        power: section.power.as_ref()?.value,
    })
}

fn ground(section: &GroundSection) -> Option<Ground> {
    let tiles = section.terrain.as_ref().map_or(&[][..], |at| &at.value);
    Some(Ground {
        terrain: tiles.iter().map(|tile| tile.value.clone()).collect(),
        around_nodes: section.around_nodes.as_ref()?.value,
        around_gateways: section.around_gateways.as_ref()?.value,
        vegetation: section.vegetation.as_ref()?.value,
        mounting: section.mounting.as_ref()?.value,
        spread: section.spread.as_ref().map(|at| at.value),
    })
}
