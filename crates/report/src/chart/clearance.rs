//! The way of a link through the air: the ground below it, and the room that it leaves.

use forecast::radio::trail::{Trail, TrailPoint};
use maud::{Markup, html};

use super::frame::{Scale, area, left_axis, line, px, tick_label, ticks};
use super::{Chart, LEFT, WIDTH};
use crate::sentences::obstacle::{ENOUGH, finding};

/// A link with the names of its ends; the trail runs from the node to the gateway.
pub struct NamedLink<'a> {
    /// Name of the node.
    pub node: &'a str,
    /// Name of the gateway.
    pub gateway: &'a str,
    /// The way.
    pub trail: &'a Trail,
}

/// Room for the gateway's name and the losses.
const RIGHT: f64 = 150.0;
const TOP: f64 = 30.0;
const BOTTOM: f64 = 300.0;
const HEIGHT: f64 = 340.0;
/// The chart of a link.
pub fn chart(link: &NamedLink) -> Chart {
    let trail = link.trail;
    let title = format!("{} to {}: {}", link.node, link.gateway, finding(trail));
    let obstacle = trail.obstacle().map_or(String::new(), |at| {
        format!(
            " The least room is {:.1} km from the node, at {:.5}, {:.5}, where the ground lies {:.0} m above sea level: \
             {:.0} m ({:.1} Fresnel radii) {} the line of sight.",
            at.distance_km,
            at.place.latitude_deg,
            at.place.longitude_deg,
            at.terrain_m,
            at.room_m().abs(),
            at.room_zones().abs(),
            if at.room_m() < 0.0 { "above" } else { "below" },
        )
    });
    let description = format!(
        "Section of the ground from {} to {}, {:.1} km long, with the bulge of the earth, the line of sight and the first \
         Fresnel zone.{obstacle} The median loss is {:.0} dB, in free space it would be {:.0} dB.",
        link.node,
        link.gateway,
        trail.length.kilometres(),
        trail.loss.decibels(),
        trail.prediction.free_space_db,
    );
    Chart {
        id: format!("link-{}", link.node),
        title,
        description,
        note: Some(
            "Heights are stretched against distances. The ground is drawn with the bulge of an earth of 4/3 of its radius, so \
             that radio waves run straight. The pale shape is the first Fresnel zone; ground above the dashed line, at 0.6 of \
             its radius, costs signal."
                .to_owned(),
        ),
        width: WIDTH,
        height: HEIGHT,
        body: body(link),
    }
}

/// Distance and height of the points of a drawing.
type Points = Vec<(f64, f64)>;

fn body(link: &NamedLink) -> Markup {
    let trail = link.trail;
    let length_km = trail.length.kilometres();
    let x = Scale::new((0.0, length_km), (LEFT, WIDTH - RIGHT));
    let (low_m, high_m) = range_m(trail);
    let y = Scale::new((low_m, high_m), (BOTTOM, TOP));
    let along = |from: f64, value: &dyn Fn(&TrailPoint) -> f64, to: f64| -> Points {
        let between = trail.points.iter().map(|at| (x.at(at.distance_km), y.at(value(at))));
        std::iter::once((x.at(0.0), y.at(from)))
            .chain(between)
            .chain(std::iter::once((x.at(length_km), y.at(to))))
            .collect()
    };
    let ([ground_from, ground_to], [from, to]) = (trail.end_ground_m, trail.end_antenna_m);
    let ground = along(ground_from, &|at| at.terrain_m + at.bulge_m, ground_to);
    let covered = along(ground_from, &|at| at.terrain_m + at.bulge_m + at.clutter_m, ground_to);
    let zone = |share: f64| -> Points {
        zone(trail, share).into_iter().map(|(km, height_m)| (x.at(km), y.at(height_m))).collect()
    };
    let floor: Points = vec![(x.at(0.0), BOTTOM), (x.at(length_km), BOTTOM)];
    html! {
        (left_axis(y, &ticks(low_m, high_m, 5), (LEFT, WIDTH - RIGHT)))
        text.word x=(px(LEFT)) y=(px(TOP - 12.0)) { "m above sea level" }
        path.nine d=(area(&zone(1.0), &zone(-1.0))) {}
        path.limit d=(line(&zone(-ENOUGH))) {}
        @if trail.points.iter().any(|at| at.clutter_m > 0.0) { path.clutter d=(area(&covered, &ground)) {} }
        path.ground d=(area(&ground, &floor)) {}
        path.ink d=(line(&ground)) {}
        path.axis d=(line(&[(x.at(0.0), y.at(from)), (x.at(length_km), y.at(to))])) {}
        path.mast d={ (line(&[(x.at(0.0), y.at(ground_from)), (x.at(0.0), y.at(from))])) (line(&[(x.at(length_km), y.at(ground_to)), (x.at(length_km), y.at(to))])) } {}
        (ruling(trail, x, y))
        @for tick in ticks(0.0, length_km, 8) {
            path.axis d={ "M" (px(x.at(tick))) " " (px(BOTTOM)) "v5" } {}
            text.tick.middle x=(px(x.at(tick))) y=(px(BOTTOM + 18.0)) { (tick_label(tick)) }
        }
        path.axis d={ "M" (px(LEFT)) " " (px(BOTTOM)) "H" (px(WIDTH - RIGHT)) } {}
        text.tick.middle x=(px(f64::midpoint(LEFT, WIDTH - RIGHT))) y=(px(BOTTOM + 36.0)) { "km from " (link.node) }
        (words(link, y))
    }
}

/// The line of sight, and a share of the zone's radius above it, by distance \[km\], closest at the ends where the zone
/// opens. The radius goes with the root of the distances to both ends.
fn zone(trail: &Trail, share: f64) -> Vec<(f64, f64)> {
    let length_km = trail.length.kilometres();
    let Some(middle) = trail.points.get(trail.points.len() / 2) else { return Vec::new() };
    let spread = |km: f64| (km * (length_km - km)).max(0.0).sqrt();
    let per_spread = middle.zone_radius_m / spread(middle.distance_km);
    let [from_m, to_m] = trail.end_antenna_m;
    (0..=90)
        .map(|step| {
            let along = 0.5 - 0.5 * (f64::from(step) * std::f64::consts::PI / 90.0).cos();
            let km = along * length_km;
            (km, from_m + along * (to_m - from_m) + share * per_spread * spread(km))
        })
        .collect()
}

/// Lowest and highest thing drawn \[m\], with some air.
fn range_m(trail: &Trail) -> (f64, f64) {
    let tops = trail
        .points
        .iter()
        .map(|at| (at.terrain_m + at.bulge_m + at.clutter_m).max(at.ray_m + at.zone_radius_m));
    let high_m = tops.chain(trail.end_antenna_m).fold(f64::MIN, f64::max);
    let low_m = trail.points.iter().map(|at| at.terrain_m).chain(trail.end_ground_m).fold(f64::MAX, f64::min);
    let air_m = 0.06 * (high_m - low_m).max(20.0);
    (low_m - air_m, high_m + air_m)
}

/// The obstacle that rules, marked and named.
fn ruling(trail: &Trail, x: Scale, y: Scale) -> Markup {
    let Some(at) = trail.obstacle() else { return html! {} };
    let place = x.at(at.distance_km);
    let top_m = at.terrain_m + at.bulge_m + at.clutter_m;
    let (obstacle, ray) = (y.at(top_m), y.at(at.ray_m));
    let zones = at.room_zones();
    let words = if zones >= ENOUGH {
        format!("least room: {zones:.1} radii")
    } else if zones < 0.0 {
        format!("{:.1} Fresnel radii above the line", -zones)
    } else {
        format!("{zones:.1} of {ENOUGH} radii")
    };
    let end = place > WIDTH - RIGHT - 170.0;
    let beside = if end { place - 8.0 } else { place + 8.0 };
    html! {
        path.ruling d={ "M" (px(place - 5.0)) " " (px(ray)) "h10M" (px(place)) " " (px(ray)) "V" (px(obstacle)) "m-5 0h10" } {}
        text.halo.fails[zones < ENOUGH].end[end] x=(px(beside)) y=(px((obstacle.min(ray) - 6.0).max(TOP + 4.0))) { (words) }
    }
}

/// Names at the right edge.
fn words(link: &NamedLink, y: Scale) -> Markup {
    let left = WIDTH - RIGHT + 10.0;
    let [_, antenna_m] = link.trail.end_antenna_m;
    let loss = format!("{:.0} dB median", link.trail.loss.decibels());
    let free = format!("{:.0} dB in free space", link.trail.prediction.free_space_db);
    let place = y.at(antenna_m).clamp(TOP + 10.0, BOTTOM - 40.0);
    html! {
        text.word x=(px(left)) y=(px(place)) { (link.gateway) }
        text.tick x=(px(left)) y=(px(place + 17.0)) { (loss) }
        text.tick x=(px(left)) y=(px(place + 32.0)) { (free) }
    }
}

#[cfg(test)]
mod tests {
    use super::{NamedLink, chart};
    use crate::sentences::obstacle::finding;
    use design::quantity::{Frequency, Length};
    use design::surroundings::{Around, Clutter};
    use forecast::radio::trail::{End, Trail};
    use forecast::terrain::{Place, Terrain, Tile};

    /// Even ground at 100 m with a ridge of so many metres at 13.05 E.
    fn over_ridge(ridge_m: i16, antenna_m: f64) -> Trail {
        let height = |column: usize| if column.abs_diff(60) <= 1 { 100 + ridge_m } else { 100 };
        let bytes: Vec<u8> = (0..1201 * 1201).flat_map(|post| height(post % 1201).to_be_bytes()).collect();
        let terrain = Terrain::new(vec![Tile::read("N46E013.hgt", &bytes).expect("a tile")]);
        let end = |longitude_deg| End {
            place: Place { latitude_deg: 46.5, longitude_deg },
            antenna: Length::from_metres(antenna_m),
            surroundings: Around::of(Clutter::Open),
        };
        Trail::over(&terrain, &end(13.0), &end(13.1), Frequency::from_megahertz(868.1)).expect("inside")
    }

    /// By hand: 20 m masts, a ridge 3.8 km away of 120 m stands 100.8 m above the line with the bulge; the zone has 25.7 m.
    #[test]
    fn the_title_names_what_rules_and_by_how_much() {
        for (ridge_m, said) in [
            (120, "from the node stands 101 m (3.9 Fresnel radii) above the line of sight"),
            (12, "from the node leaves 0.3 of the 0.6 Fresnel radii that are needed"),
        ] {
            let found = finding(&over_ridge(ridge_m, 20.0));
            // The ridge is two posts wide, 128 m.
            let near = ["a ridge 3.8 km ", "a ridge 3.9 km ", "the ground 3.8 km ", "the ground 3.9 km "];
            assert!(near.iter().any(|near| found == format!("{near}{said}")), "{found}");
        }
        let clear = finding(&over_ridge(0, 90.0));
        assert!(clear.starts_with("the way is clear, with 3."), "{clear}");
    }

    #[test]
    fn the_drawing_stays_in_its_frame_and_stands_alone_as_a_file() {
        let trail = over_ridge(120, 20.0);
        let drawn = chart(&NamedLink { node: "mast", gateway: "roof", trail: &trail });
        let svg = drawn.svg().into_string();
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
        assert!(svg.contains("3.9 Fresnel radii above the line") && svg.contains(">roof</text>"));
        assert!(
            drawn.description.contains("101 m (3.9 Fresnel radii) above the line of sight"),
            "{}",
            drawn.description
        );
        let file = drawn.file();
        assert!(file.starts_with("<?xml") && file.contains("overwinter") && file.contains("<style>"));
        assert!(file.contains(">mast to roof: a ridge 3."), "the title is drawn");
    }
}
