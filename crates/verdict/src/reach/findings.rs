//! What of a link wants attention.

use design::node::Design;
use design::quantity::Angle;
use design::surroundings::Around;
use forecast::radio::level::{Cause, DoubtPart};
use forecast::radio::link::Link;
use forecast::radio::spots::Spots;
use forecast::terrain::{Place, Terrain};

use super::Sides;
use crate::finding::{Finding, Severity};

/// Stated and mapped height of a place may differ by so much: a mesh of 90 m in the hills (own choice) \[m\].
const ELEVATION_SLIP_M: f64 = 40.0;
/// Nobody places a node farther from its gateway on purpose (own choice) \[km\].
pub const FARTHEST_KM: f64 = 100.0;
/// Under this margin an answer is not to be relied on: fading takes one in three (Rayleigh) \[dB\].
const LEAST_ANSWER_DB: f64 = 4.0;

pub(super) fn findings(design: &Design, terrain: Option<&Terrain>, spots: &Spots) -> Vec<Finding> {
    let Some(best) = spots.links().first() else { return other_region(design).into_iter().collect() };
    let found = [
        other_region(design),
        far_away(best),
        terrain_unusable(best),
        flat_ground(terrain, best),
        low_antenna(best),
        elevation_differs(design, terrain),
        spread_of_level(best),
        surroundings_assumed(design, terrain, best),
        adapts_while_moving(design),
        answers_unheard(best),
    ];
    found.into_iter().flatten().collect()
}

fn finding(code: &'static str, severity: Severity, field: &str, message: String, help: &str) -> Finding {
    Finding { code, severity, field: field.to_owned(), message, help: help.to_owned() }
}

/// A gateway that listens to another regional plan hears nothing of it.
pub(super) fn other_region(design: &Design) -> Option<Finding> {
    let region = &design.radio.as_ref()?.region.name;
    let gateways = &design.surroundings.gateways;
    let deaf = gateways.iter().find(|gateway| !gateway.listens_to(region))?;
    let listens = deaf.region.as_deref().unwrap_or_default();
    let message = format!("gateway {} listens to {listens}, the node sends by {region}", deaf.name);
    let none_hears = gateways.iter().all(|gateway| !gateway.listens_to(region));
    let severity = if none_hears { Severity::Danger } else { Severity::Warning };
    let help = "set both to the regional plan of the country";
    Some(finding("reach-other-region", severity, "radio.region", message, help))
}

/// A way to be heard that could not be tried.
pub(super) fn way_untried(why: &String) -> Finding {
    let message = format!("one way to be heard was not tried: {why}");
    finding("reach-untried", Severity::Note, "may_stand", message, "mend that place, or take it out")
}

fn far_away(best: &Link) -> Option<Finding> {
    let km = best.distance.kilometres();
    let message = format!("the nearest gateway, {}, is {km:.0} km away", best.gateway);
    let help = "look whether latitude and longitude are swapped, in the file of the node or of the gateway";
    (km > FARTHEST_KM).then(|| finding("reach-far-away", Severity::Danger, "gateway", message, help))
}

fn terrain_unusable(best: &Link) -> Option<Finding> {
    let problem = best.path.problem.as_ref()?;
    let (km, gateway) = (best.distance.kilometres(), &best.gateway);
    let message = format!("the {km:.1} km to {gateway} are taken for flat ground: {problem}");
    let help = "until that is mended, expect ridges that nobody has looked at";
    Some(finding("reach-terrain-unusable", Severity::Warning, "ground.terrain", message, help))
}

fn flat_ground(terrain: Option<&Terrain>, best: &Link) -> Option<Finding> {
    if terrain.is_some() {
        return None;
    }
    let (km, gateway) = (best.distance.kilometres(), &best.gateway);
    let message = format!("the {km:.1} km to {gateway} are taken for flat ground");
    let help = "name a terrain tile in [ground] to see ridges";
    Some(finding("reach-flat-ground", Severity::Note, "ground.terrain", message, help))
}

fn low_antenna(best: &Link) -> Option<Finding> {
    let low_db = best.path.low_antenna.decibels();
    let message = format!(
        "the antenna is lower than the model of paths over terrain goes, 1 m; {low_db:.1} dB were added for it"
    );
    let help = "survey the spot, or raise the antenna to 1 m";
    (low_db > 0.0)
        .then(|| finding("reach-low-antenna", Severity::Note, "radio.antenna_height", message, help))
}

fn elevation_differs(design: &Design, terrain: Option<&Terrain>) -> Option<Finding> {
    let (latitude_deg, longitude_deg) = (design.site.latitude.degrees(), design.site.longitude.degrees());
    let ground_m = terrain?.height_m(Place { latitude_deg, longitude_deg })?;
    let stated_m = design.site.elevation.metres();
    let message = format!("the file says {stated_m:.0} m, the terrain there {ground_m:.0} m");
    let help = "look whether the place is right; antennas are counted from the terrain's ground";
    ((ground_m - stated_m).abs() > ELEVATION_SLIP_M)
        .then(|| finding("reach-elevation-differs", Severity::Warning, "site.elevation", message, help))
}

/// What is not known of the level, by parts, and what would settle the greatest.
fn spread_of_level(best: &Link) -> Option<Finding> {
    let parts = best.level.parts();
    let greatest = parts.first()?;
    let said = parts
        .iter()
        .filter(|part| part.sd_db() >= LEAST_SAID_DB)
        .map(|part| format!("{} {:.0} dB", cause(part, best), part.sd_db()));
    let message = format!(
        "the level at {} may lie {:.0} dB off either way (one standard deviation): {}",
        best.gateway,
        best.level.spread().sd_db,
        said.collect::<Vec<_>>().join(", ")
    );
    let help = match greatest.cause {
        _ if best.surveyed.is_some_and(|found| found.is_here) => {
            "send packets on other days too: a day may lie 3 dB off the next"
        }
        Cause::NodeEntry | Cause::GatewayEntry => {
            "walls cost most: put that antenna outside, or survey it: send 20 packets from its position at fixed power"
        }
        _ => "walk out with a node and send 20 packets from its position at fixed power: that leaves 4 dB",
    };
    Some(finding("reach-spread", Severity::Note, "ground.spread", message, help))
}

/// Parts below this say nothing \[dB\].
pub(super) const LEAST_SAID_DB: f64 = 1.5;

pub(super) fn cause(part: &DoubtPart, link: &Link) -> &'static str {
    match part.cause {
        Cause::Site if link.surveyed.is_some() => "what its survey left open",
        Cause::Site => "how well the model suits the place",
        Cause::Air => "the air on so long a path",
        Cause::Spot => "the position itself",
        Cause::Noise => "noise at the gateway",
        Cause::NodeAntenna => "the node's antenna",
        Cause::NodeClutter => "how high things stand around the node",
        Cause::NodeClearing => "how far they are from it",
        Cause::NodeEntry => "the walls around the node",
        Cause::GatewayAntenna => "the gateway's antenna",
        Cause::GatewayClutter => "how high things stand around the gateway",
        Cause::GatewayClearing => "how far they are from that",
        Cause::GatewayEntry => "the walls around the gateway",
    }
}

/// Whether what stands around the node, and around the gateway of a link, is neither said nor mapped.
pub(super) fn assumed(design: &Design, terrain: Option<&Terrain>, best: &Link) -> [bool; 2] {
    let place = |latitude: Angle, longitude: Angle| Place {
        latitude_deg: latitude.degrees(),
        longitude_deg: longitude.degrees(),
    };
    let is_assumed =
        |at: Place, around: Around| !terrain.map_or(around, |terrain| terrain.around(at, around)).stated;
    let gateway = design.surroundings.gateways.get(best.index);
    [
        is_assumed(place(design.site.latitude, design.site.longitude), design.surroundings.node.around),
        gateway.is_some_and(|one| is_assumed(place(one.latitude, one.longitude), one.spot.around)),
    ]
}

fn surroundings_assumed(design: &Design, terrain: Option<&Terrain>, best: &Link) -> Option<Finding> {
    let [node, gateway] = assumed(design, terrain, best);
    let (whom, field) = match (node, gateway) {
        (true, true) => ("the node and the gateways", "ground.around_nodes"),
        (true, false) => ("the node", "ground.around_nodes"),
        (false, true) => ("the gateways", "ground.around_gateways"),
        (false, false) => return None,
    };
    let message = format!("what stands around {whom} is not said, and a village is assumed");
    let help = "write `around_nodes` and `around_gateways` in [ground]: open ground against a village is worth up to 30 dB";
    Some(finding("reach-surroundings-assumed", Severity::Warning, field, message, help))
}

fn adapts_while_moving(design: &Design) -> Option<Finding> {
    design.radio.as_ref()?.adaptation_margin?;
    let message = "it moves, and the network adapts its data rate to where it was".to_owned();
    let help = "write a fixed `data_rate` that reaches everywhere, and switch adaptation off while it moves";
    let moves = design.diary.iter().any(|stay| stay.moving.is_some());
    moves.then(|| finding("reach-adapts-while-moving", Severity::Warning, "radio.data_rate", message, help))
}

/// Answers that fade away although messages get through: nothing that needs one can be relied on.
fn answers_unheard(best: &Link) -> Option<Finding> {
    let margin = best.answers.iter().flatten().map(|answer| answer.margin.decibels()).reduce(f64::max)?;
    let message = format!(
        "answers of {} arrive {margin:.1} dB over what the node can demodulate, its messages {:.1} dB",
        best.gateway,
        best.slowest_margin()
    );
    let help = "do not make it wait for a join, a setting or an acknowledgement; let the gateway answer with more power where the law allows it";
    (margin < LEAST_ANSWER_DB && best.slowest_margin() > LEAST_ANSWER_DB)
        .then(|| finding("reach-answers-weak", Severity::Warning, "gateway", message, help))
}

pub(super) fn side_unknown(design: &Design, sides: &Sides) -> Finding {
    let field = match design.surroundings.gateways.iter().find(|gateway| gateway.spot.place.is_none()) {
        Some(gateway) => format!("gateway.{}", gateway.name),
        None => "radio".to_owned(),
    };
    let message = format!(
        "it is not said whether {} outside or inside: knowing is worth {:.0} dB; life and law are reckoned for inside",
        sides.whose,
        sides.worth.decibels()
    );
    let help =
        "write `place = \"outside\"` or `place = \"inside\"` for the gateway and in `[radio]` for the node";
    finding("reach-place-unknown", Severity::Warning, &field, message, help)
}
