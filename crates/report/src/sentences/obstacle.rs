//! What stands in the way of a link.

use design::quantity::Length;
use forecast::radio::trail::{Trail, TrailPoint};

/// Room in Fresnel radii from which the ground costs next to nothing (P.526).
pub const ENOUGH: f64 = 0.6;
/// So near to an end a hindrance is the ground about it and no ridge \[km\].
const ABOUT_AN_END_KM: f64 = 0.15;

/// What rules a link, in words: "a ridge 3.2 km from the node stands 12 m (0.4 Fresnel radii) above the line of sight".
pub fn finding(trail: &Trail) -> String {
    let Some(at) = trail.obstacle() else { return "nothing is known".to_owned() };
    let zones = at.room_zones();
    if zones >= ENOUGH {
        return format!("the way is clear, with {zones:.1} Fresnel radii of room or more");
    }
    let what = thing(at, trail.length);
    if zones < 0.0 && at.room_m() > -0.5 {
        format!("{what} just reaches the line of sight")
    } else if zones < 0.0 {
        format!("{what} stands {:.0} m ({:.1} Fresnel radii) above the line of sight", -at.room_m(), -zones)
    } else {
        format!("{what} leaves {zones:.1} of the {ENOUGH} Fresnel radii that are needed")
    }
}

/// What stands at a point, and where.
fn thing(at: &TrailPoint, length: Length) -> String {
    let to_gateway_km = length.kilometres() - at.distance_km;
    let metres = |kilometres: f64| (kilometres * 100.0).round() * 10.0;
    let what = match (at.clutter_m > 0.0, at.room_m() < 0.0) {
        (true, _) => "a roof or tree",
        (false, true) => "a ridge",
        (false, false) => "the ground",
    };
    if at.distance_km <= ABOUT_AN_END_KM {
        format!(
            "{} {:.0} m from the node",
            if at.clutter_m > 0.0 { what } else { "the ground" },
            metres(at.distance_km)
        )
    } else if to_gateway_km <= ABOUT_AN_END_KM {
        format!(
            "{} {:.0} m from the gateway",
            if at.clutter_m > 0.0 { what } else { "the ground" },
            metres(to_gateway_km)
        )
    } else {
        format!("{what} {:.1} km from the node", at.distance_km)
    }
}
