//! Gateways and ground, of a node's file or of a site's.

use crate::diagnostic::{self, Diagnostics};
use crate::file::part::RadioSection;
use crate::file::surroundings::{
    GatewaySection, GroundSection, MayStandSection, NodeCorrections, SurveySection,
};
use crate::file::value::Named;
use crate::quantity::{Decibels, Length, Uncertain};
use crate::section::At;
use crate::surroundings::{
    Around, Clutter, Gateway, GatewaySurvey, Ground, Leaves, NodeAntenna, Spot, Surroundings,
};

/// What hears a node of this name, if there is one; `None` only after an error was noted.
pub(crate) fn resolve(
    gateways: Option<&Named<GatewaySection>>,
    may_stand: Option<&Named<MayStandSection>>,
    ground: Option<&GroundSection>,
    radio: Option<(&str, &RadioSection)>,
    found: &mut Diagnostics,
) -> Option<Surroundings> {
    let named = gateways.map_or(&[][..], |named| &named.0);
    let leaves = ground.and_then(|ground| value(ground.leaves.as_ref())).unwrap_or_default();
    let around = (ground.and_then(|ground| value(ground.around_gateways.as_ref())), leaves);
    let sound = named.iter().map(|(_, section)| survey_is_sound(section, radio, found));
    let all_sound = sound.filter(|one| !one).count() == 0;
    let gateways = named.iter().map(|(name, section)| gateway(&name.value, section, around));
    let gateways = gateways.collect::<Option<_>>().filter(|_| all_sound)?;
    let may_stand = self::may_stand(named, may_stand.map_or(&[][..], |named| &named.0), around, found)?;
    let around = (ground.and_then(|ground| value(ground.around_nodes.as_ref())), leaves);
    let node = radio.map_or_else(Spot::default, |(_, radio)| Spot {
        place: value(radio.place.as_ref()),
        building: value(radio.building.as_ref()),
        around: standing(value(radio.surroundings.as_ref()), around, radio.clearing.as_ref()),
        antenna: value(radio.antenna.as_ref()).unwrap_or(NodeAntenna::Counterpoise),
    });
    Some(Surroundings { gateways, may_stand, ground: ground.map(self::ground).unwrap_or_default(), node })
}

fn gateway(name: &str, section: &GatewaySection, around: OfGround) -> Option<Gateway> {
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
            around: standing(value(section.surroundings.as_ref()), around, section.clearing.as_ref()),
            ..Spot::default()
        },
        survey: match &section.survey {
            Some(survey) => Some(self::survey(&survey.value)?),
            None => None,
        },
    })
}

/// Where a gateway may stand. A place that has the name of a gateway could not be told from it.
fn may_stand(
    gateways: &[(At<String>, GatewaySection)],
    places: &[(At<String>, MayStandSection)],
    around: OfGround,
    found: &mut Diagnostics,
) -> Option<Vec<Gateway>> {
    for (name, _) in
        places.iter().filter(|(name, _)| gateways.iter().any(|(known, _)| known.value == name.value))
    {
        let message = format!("`{}` is the name of a gateway too", name.value);
        found.error(diagnostic::MAY_STAND, &name.span, message, "give the place a name of its own");
    }
    let planned = |(name, section): &(At<String>, MayStandSection)| {
        self::gateway(&name.value, &section.gateway(&name.span), around)
    };
    places.iter().map(planned).collect()
}

fn survey(section: &SurveySection) -> Option<GatewaySurvey> {
    Some(GatewaySurvey {
        correction: section.correction.as_ref()?.value,
        spots: section.spots.as_ref()?.value,
        packets: section.packets.as_ref()?.value,
        until: section.until.as_ref()?.value.0,
        nodes: nodes(section).map(|(name, found)| (name.value.clone(), *found)).collect(),
    })
}

/// The nodes that a survey names, with what was found there.
pub(crate) fn nodes(section: &SurveySection) -> impl Iterator<Item = &(At<String>, Uncertain<Decibels>)> {
    section.nodes.iter().flat_map(|At { value: NodeCorrections(rows), .. }| rows)
}

/// Whether what a survey says can be used: with a doubt, and over a prediction of which is known for which side of a wall.
fn survey_is_sound(
    gateway: &GatewaySection,
    radio: Option<(&str, &RadioSection)>,
    found: &mut Diagnostics,
) -> bool {
    let Some(At { value: survey, span }) = &gateway.survey else { return true };
    let mut refuse = |span: &std::ops::Range<usize>, message: String, help: &str| {
        found.error(diagnostic::SURVEY, span, message, help);
    };
    let sure = survey.correction.as_ref().filter(|at| at.value.spread_si <= 0.0);
    let sure = sure.map(|at| &at.span).into_iter();
    let sure_nodes = nodes(survey).filter(|(_, found)| found.spread_si <= 0.0).map(|(name, _)| &name.span);
    let mut sound = true;
    for span in sure.chain(sure_nodes) {
        let message = "nothing that was surveyed is known without a doubt".to_owned();
        refuse(span, message, "write its standard deviation too, as \"-9 dB +- 3 dB\"");
        sound = false;
    }
    if gateway.place.is_none() {
        let message = "it is not said on which side of a wall the gateway is: the prediction that the survey is over \
                       hangs on it";
        refuse(
            span,
            message.to_owned(),
            "write `place = \"outside\"` or `place = \"inside\"` for the gateway",
        );
        sound = false;
    }
    let unplaced = radio.filter(|(_, radio)| radio.place.is_none());
    for (name, _) in nodes(survey).filter(|(name, _)| unplaced.is_some_and(|(node, _)| node == name.value)) {
        let message = format!(
            "it is not said on which side of a wall {} is: the prediction that the survey is over hangs on it",
            name.value
        );
        refuse(&name.span, message, "write `place = \"outside\"` or `place = \"inside\"` for the node");
        sound = false;
    }
    sound
}

/// What stands around an antenna: by its own key, else by that of the ground, else assumed.
fn standing(own: Option<Clutter>, (of_ground, leaves): OfGround, clearing: Option<&At<Length>>) -> Around {
    let around = own.or(of_ground).map_or(Around::ASSUMED, Around::of);
    Around { clearing: value(clearing), own: own.is_some(), leaves, ..around }
}

/// What the ground says of surroundings, and whether trees bear leaves.
type OfGround = (Option<Clutter>, Leaves);

fn ground(section: &GroundSection) -> Ground {
    let tiles = section.terrain.as_ref().map_or(&[][..], |at| &at.value);
    let maps = section.land_cover.as_ref().map_or(&[][..], |at| &at.value);
    Ground {
        terrain: tiles.iter().map(|tile| tile.value.clone()).collect(),
        land_cover: maps.iter().map(|map| map.value.clone()).collect(),
        leaves: value(section.leaves.as_ref()).unwrap_or_default(),
        roofs_in_terrain: value(section.roofs_in_terrain.as_ref()).unwrap_or_default(),
        vegetation: value(section.vegetation.as_ref()),
        mounting: value(section.mounting.as_ref()),
        spread: value(section.spread.as_ref()),
    }
}

fn value<T: Copy>(written: Option<&At<T>>) -> Option<T> {
    written.map(|at| at.value)
}
