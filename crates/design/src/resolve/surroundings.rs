//! Gateways and ground, of a node's file or of a site's.

use crate::file::part::RadioSection;
use crate::file::surroundings::{GatewaySection, GroundSection};
use crate::file::value::Named;
use crate::quantity::Length;
use crate::section::At;
use crate::surroundings::{Around, Clutter, Gateway, Ground, NodeAntenna, Spot, Surroundings};

/// What hears a node; `None` only after an error was noted.
pub(crate) fn resolve(
    gateways: Option<&Named<GatewaySection>>,
    ground: Option<&GroundSection>,
    radio: Option<&RadioSection>,
) -> Option<Surroundings> {
    let named = gateways.map_or(&[][..], |named| &named.0);
    let around = ground.and_then(|ground| value(ground.around_gateways.as_ref()));
    let gateways =
        named.iter().map(|(name, section)| gateway(&name.value, section, around)).collect::<Option<_>>()?;
    let around = ground.and_then(|ground| value(ground.around_nodes.as_ref()));
    let node = radio.map_or_else(Spot::default, |radio| Spot {
        place: value(radio.place.as_ref()),
        building: value(radio.building.as_ref()),
        around: standing(value(radio.surroundings.as_ref()).or(around), radio.clearing.as_ref()),
        antenna: value(radio.antenna.as_ref()).unwrap_or(NodeAntenna::Counterpoise),
    });
    Some(Surroundings { gateways, ground: ground.map(self::ground).unwrap_or_default(), node })
}

fn gateway(name: &str, section: &GatewaySection, around: Option<Clutter>) -> Option<Gateway> {
    Some(Gateway {
        name: name.to_owned(),
        latitude: section.latitude.as_ref()?.value,
        longitude: section.longitude.as_ref()?.value,
        antenna_height: section.antenna_height.as_ref()?.value,
        antenna_gain: section.antenna_gain.as_ref()?.value,
        cable_loss: section.cable_loss.as_ref()?.value,
        sensitivity: section.sensitivity.as_ref()?.value,
        noise: value(section.noise.as_ref()),
        eui: section.eui.as_ref().map(|at| at.value.0),
        region: section.region.as_ref().map(|at| at.value.0.clone()),
        power: section.power.as_ref()?.value,
        spot: Spot {
            place: value(section.place.as_ref()),
            building: value(section.building.as_ref()),
            around: standing(value(section.surroundings.as_ref()).or(around), section.clearing.as_ref()),
            ..Spot::default()
        },
    })
}

fn standing(clutter: Option<Clutter>, clearing: Option<&At<Length>>) -> Around {
    let around = clutter.map_or(Around::ASSUMED, Around::of);
    Around { clearing: value(clearing), ..around }
}

fn ground(section: &GroundSection) -> Ground {
    let tiles = section.terrain.as_ref().map_or(&[][..], |at| &at.value);
    Ground {
        terrain: tiles.iter().map(|tile| tile.value.clone()).collect(),
        vegetation: value(section.vegetation.as_ref()),
        mounting: value(section.mounting.as_ref()),
        spread: value(section.spread.as_ref()),
    }
}

fn value<T: Copy>(written: Option<&At<T>>) -> Option<T> {
    written.map(|at| at.value)
}
