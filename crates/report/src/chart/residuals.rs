//! The map of a survey: by how much each position was heard better or worse than predicted.

use forecast::terrain::{Grid, Place, Terrain};
use maud::{Markup, html};

use super::coverage::{Frame, MapGateway, north, scale_bar};
use super::frame::px;
use super::relief::{Heights, shade};
use super::signboard::{Built, House, standing};
use super::{Chart, WIDTH};

/// A link of the survey.
pub struct Residual {
    /// Its node, or the position that was walked to.
    pub name: String,
    /// Its gateway.
    pub gateway: String,
    /// Where the node stood.
    pub place: Place,
    /// What was found over the prediction \[dB\].
    pub over_db: f64,
    /// Its standard deviation \[dB\].
    pub sd_db: f64,
    /// Something about the node looks wrong.
    pub is_suspect: bool,
}

/// All that the map shows.
pub struct ResidualMap<'a> {
    /// What people call the site.
    pub site: &'a str,
    /// The ground.
    pub terrain: &'a Terrain,
    /// The places of the map.
    pub grid: Grid,
    /// The links.
    pub residuals: &'a [Residual],
    /// The gateways.
    pub gateways: &'a [MapGateway],
}

/// Places of shade in a row, at most.
const SHADED: usize = 480;
/// Length of a bar for a decibel, the longest, and the room of one beside the next.
const DECIBEL: f64 = 1.6;
const LONGEST: f64 = 48.0;
const BESIDE: f64 = 12.0;
const RING: f64 = 9.0;

/// The map.
pub fn chart(map: &ResidualMap) -> Chart {
    let frame = Frame::new(&map.grid);
    Chart {
        id: "residuals".to_owned(),
        title: title(map),
        description: description(map),
        note: Some(format!(
            "A bar upwards: heard better than predicted, downwards: worse, with the decibels at its end; at each position one bar \
             for each gateway that was asked, in the order {}. A ring: something about the node looks wrong.",
            gateways(map).join(", ")
        )),
        width: WIDTH,
        height: frame.bottom() + 8.0,
        body: body(map, &frame),
    }
}

fn title(map: &ResidualMap) -> String {
    let count = map.residuals.len().max(1) as f64;
    let mean_db = map.residuals.iter().map(|one| one.over_db).sum::<f64>() / count;
    let (word, by_db) = if mean_db < 0.0 { ("worse", -mean_db) } else { ("better", mean_db) };
    format!(
        "{} is heard {by_db:.0} dB {word} than predicted, on the mean of {} links",
        map.site,
        map.residuals.len()
    )
}

fn description(map: &ResidualMap) -> String {
    let said = map.residuals.iter().map(|one| {
        let wrong = if one.is_suspect { ", looks wrong" } else { "" };
        format!("{} at {} {:+.0} dB +- {:.0} dB{wrong}", one.name, one.gateway, one.over_db, one.sd_db)
    });
    format!("Map of what was heard over the prediction: {}.", said.collect::<Vec<_>>().join("; "))
}

/// Gateways that were asked, each once, in the order of the survey.
fn gateways<'a>(map: &ResidualMap<'a>) -> Vec<&'a str> {
    let mut names: Vec<&str> = Vec::new();
    for one in map.residuals {
        if !names.contains(&one.gateway.as_str()) {
            names.push(&one.gateway);
        }
    }
    names
}

fn body(map: &ResidualMap, frame: &Frame) -> Markup {
    let shaded = shade(&Heights::sampled(map.terrain, &map.grid, SHADED)).address();
    let houses: Vec<House> = map
        .gateways
        .iter()
        .filter_map(|one| Some(House { name: &one.name, at: frame.of(one.place)?, built: Built::Stands }))
        .collect();
    let names = gateways(map);
    html! {
        (frame.picture(&shaded))
        (frame.edge())
        (standing(&houses, Vec::new(), frame.right()))
        @for one in map.residuals { (mark(one, frame, &names)) }
        (scale_bar(frame))
        (north(frame))
    }
}

/// A bar from the position, the name below the first, a ring where something looks wrong.
fn mark(one: &Residual, frame: &Frame, gateways: &[&str]) -> Markup {
    let Some((x, y)) = frame.of(one.place) else { return html! {} };
    let number = gateways.iter().position(|name| *name == one.gateway).unwrap_or(0);
    let left = x + BESIDE * number as f64;
    let end = y - (DECIBEL * one.over_db).clamp(-LONGEST, LONGEST);
    let words = if one.over_db < 0.0 { end + 12.0 } else { end - 3.0 };
    html! {
        g.sign {
            title { (one.name) " at " (one.gateway) ": " (format!("{:+.0} dB", one.over_db)) }
            @if number == 0 {
                circle.dot cx=(px(x)) cy=(px(y)) r="3" {}
                @if one.is_suspect { circle.edge cx=(px(x)) cy=(px(y)) r=(px(RING)) {} }
                text.halo.end x=(px(x - 12.0)) y=(px(y + 4.0)) { (one.name) }
            }
            path.measured-bar d={ "M" (px(left)) " " (px(y)) "V" (px(end)) } {}
            text.halo.middle x=(px(left)) y=(px(words)) { (format!("{:+.0}", one.over_db).replace('-', "\u{2212}")) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Residual, ResidualMap, chart};
    use crate::chart::coverage::MapGateway;
    use forecast::terrain::{Grid, Place, Terrain};

    #[test]
    fn every_position_shows_its_decibels_and_what_looks_wrong_has_a_ring() {
        let grid = Grid {
            north_deg: 47.0,
            west_deg: 13.0,
            row_step_deg: 0.001,
            column_step_deg: 0.001,
            rows: 50,
            columns: 50,
        };
        let place = |latitude_deg, longitude_deg| Place { latitude_deg, longitude_deg };
        let link = |name: &str, at, over_db, is_suspect| Residual {
            name: name.to_owned(),
            gateway: "roof".to_owned(),
            place: at,
            over_db,
            sd_db: 3.0,
            is_suspect,
        };
        let residuals =
            [link("near", place(46.98, 13.02), 9.0, false), link("far", place(46.96, 13.03), -30.0, true)];
        let drawn = chart(&ResidualMap {
            site: "Slope",
            terrain: &Terrain::flat(&grid),
            grid,
            residuals: &residuals,
            gateways: &[MapGateway { name: "roof".to_owned(), place: place(46.97, 13.01) }],
        });
        // By hand: (9 - 30) / 2.
        assert!(
            drawn.title.starts_with("Slope is heard 10 dB worse")
                || drawn.title.starts_with("Slope is heard 11 dB worse"),
            "{}",
            drawn.title
        );
        assert!(
            drawn.description.contains("far at roof -30 dB +- 3 dB, looks wrong"),
            "{}",
            drawn.description
        );
        let svg = drawn.svg().into_string();
        for part in [">+9</text>", ">\u{2212}30</text>", "class=\"house\"", "near at roof: +9 dB"] {
            assert!(svg.contains(part), "{part}");
        }
        assert_eq!(svg.matches("<circle class=\"edge\"").count(), 1, "one looks wrong");
        assert!(!svg.contains("NaN"));
    }
}
