//! The map: where a node would be heard, over the shape of the ground.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "opacities are shares of 255, and steps are few"
)]

mod extent;
pub(crate) mod plate;
mod zone;

use forecast::radio::coverage::Coverage;
use forecast::terrain::{Grid, Place, Terrain};
use maud::{Markup, html};
use verdict::plan::Verdict;

pub use extent::around;
pub use plate::Plate;
pub use zone::Zone;

use super::frame::{line, px, tick_label};
use super::picture::Picture;
use super::relief::{Heights, shade};
use super::signboard::{Built, House, Sign, standing};
use super::{Chart, RIGHT, WIDTH, contour, wrapped};

/// A step of the map: a data rate, and the loss up to which it holds with its margin.
pub struct Step {
    /// Short: "SF7".
    pub words: String,
    /// Whether it keeps the margin; one without is heard at luckier positions.
    pub keeps_margin: bool,
    /// Up to this loss it holds \[dB\].
    pub most_loss_db: f64,
}

/// A node on the map.
pub struct MapNode {
    /// Its name.
    pub name: String,
    /// Where it stands.
    pub place: Place,
    /// Whether it will be heard.
    pub verdict: Verdict,
}

/// A gateway on the map.
pub struct MapGateway {
    /// Its name.
    pub name: String,
    /// Where it stands.
    pub place: Place,
}

/// A place on the map where a gateway may stand.
pub struct MapPlace {
    /// Its name.
    pub name: String,
    /// Where it is.
    pub place: Place,
    /// Nodes that a gateway there brings, by name; empty if it was not chosen.
    pub brings: Vec<String>,
}

impl MapPlace {
    fn built(&self) -> Built {
        if self.brings.is_empty() { Built::MayStand } else { Built::Chosen }
    }

    /// What it is, in words.
    pub(crate) fn said(&self) -> String {
        match self.brings.as_slice() {
            [] => "a gateway may stand here".to_owned(),
            brings => format!("a gateway here brings {}", brings.join(", ")),
        }
    }
}

/// All that a map shows.
pub struct CoverageMap<'a> {
    /// The ground.
    pub terrain: &'a Terrain,
    /// Nobody has named a terrain: the ground was taken for flat.
    pub is_flat: bool,
    /// Losses over it.
    pub coverage: &'a Coverage,
    /// Data rates, the fastest first.
    pub steps: &'a [Step],
    /// What the file does not say to be outside, with the verb: "gateway barn is"; empty where it says all.
    pub left_open: String,
    /// For whom: "A node like mast, 2 m up,".
    pub who: String,
    /// What the steps keep in hand \[dB\].
    pub margin_db: f64,
    /// The nodes.
    pub nodes: &'a [MapNode],
    /// The gateways.
    pub gateways: &'a [MapGateway],
    /// Where a gateway more may stand.
    pub may_stand: &'a [MapPlace],
}

const TOP: f64 = 8.0;
const LEFT: f64 = 1.0;
const TALLEST: f64 = 820.0;
/// Places of shade and of contours in a row, at most.
const SHADED: usize = 480;
const CONTOURED: usize = 240;
/// Opacity of the fastest and of the slowest data rate.
const DARKEST: f64 = 0.78;
const PALEST: f64 = 0.16;

impl CoverageMap<'_> {
    /// Shares of the known places where each step is the fastest that holds.
    pub fn shares(&self) -> Vec<f64> {
        let mut shares = self.zone_shares();
        shares.truncate(self.steps.len());
        shares
    }

    fn places(&self) -> impl Iterator<Item = (usize, usize)> + use<> {
        let Grid { rows, columns, .. } = self.coverage.grid;
        (0..rows).flat_map(move |row| (0..columns).map(move |column| (row, column)))
    }

    /// How dark a step is drawn: those that keep the margin from the fastest to the slowest.
    fn opacity(&self, step: usize) -> f64 {
        let kept = self.steps.iter().filter(|step| step.keeps_margin).count();
        let last = kept.saturating_sub(1).max(1) as f64;
        DARKEST + (PALEST - DARKEST) * (step as f64 / last).min(1.0)
    }

    /// The same as a byte.
    pub(crate) fn opacity_byte(&self, step: usize) -> u8 {
        (255.0 * self.opacity(step)).round() as u8
    }

    /// Where some things are said as a picture, each as opaque as asked for and the rest clear; its colour is white, so that a
    /// drawing can lay its own under it.
    fn mask(&self, opacity: impl Fn(Zone) -> Option<f64>) -> Picture {
        let zones: Vec<(Zone, f64)> =
            self.zones().into_iter().filter_map(|zone| Some((zone, opacity(zone)?))).collect();
        let byte = |(row, column): (usize, usize)| {
            let zone = self.zone(row, column);
            let place = zones.iter().position(|(known, _)| *known == zone);
            place.map_or(0, |place| u8::try_from(place + 1).unwrap_or(u8::MAX))
        };
        let white = |(_, opacity): &(Zone, f64)| [255, 255, 255, (255.0 * opacity).round() as u8];
        Picture {
            columns: self.coverage.grid.columns,
            places: self.places().map(byte).collect(),
            palette: std::iter::once([0; 4]).chain(zones.iter().map(white)).collect(),
        }
    }

    fn is_kept(&self, step: usize) -> bool {
        self.steps.get(step).is_some_and(|step| step.keeps_margin)
    }

    /// How a zone is told from the others without colour.
    fn texture(&self, zone: Zone) -> Texture {
        match zone {
            Zone::Heard(step) if self.is_kept(step) => Texture::Even,
            Zone::Heard(_) => Texture::Lines,
            Zone::IfOutside => Texture::Hatched,
            Zone::NotHeard => Texture::Bare,
            Zone::HeightUnknown => Texture::Dotted,
        }
    }
}

/// How ground is filled, so that it is told apart in light, dark and print, and without colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Texture {
    /// The darker the faster.
    Even,
    /// Level lines.
    Lines,
    /// Slanting lines.
    Hatched,
    /// Dots.
    Dotted,
    /// Nothing.
    Bare,
}

impl Texture {
    /// The pattern that fills it, by its name in the drawing; `None` of an even fill and of nothing.
    fn pattern(self) -> Option<&'static str> {
        match self {
            Self::Lines => Some("lines"),
            Self::Hatched => Some("hatched"),
            Self::Dotted => Some("dotted"),
            Self::Even | Self::Bare => None,
        }
    }
}

/// The map.
pub fn chart(map: &CoverageMap) -> Chart {
    let frame = Frame::new(&map.coverage.grid);
    let shares = map.shares();
    let key = key(map, &frame);
    let kept = map.steps.iter().zip(&shares).filter(|(step, _)| step.keeps_margin);
    let heard: f64 = kept.map(|(_, share)| share).sum();
    let fastest = map.steps.first().map_or("", |step| step.words.as_str());
    let title = format!(
        "{} is heard on {:.0} % of this map with {:.0} dB in hand, on {:.0} % of it at {fastest}",
        map.who,
        100.0 * heard,
        map.margin_db,
        100.0 * shares.first().copied().unwrap_or(0.0),
    );
    let heights = Heights::sampled(map.terrain, &map.coverage.grid, CONTOURED);
    let (low_m, high_m) = heights.range_m().unwrap_or((0.0, 0.0));
    let every_m = contour::step_m(low_m, high_m);
    let ground = if map.is_flat {
        "The ground was taken for flat, since no terrain is named: ridges and hills are not in this map."
            .to_owned()
    } else {
        format!(
            "The ground lies between {low_m:.0} and {high_m:.0} m, with a line every {every_m:.0} m. Where there is no \
             shade the ground is not known."
        )
    };
    Chart {
        id: "coverage".to_owned(),
        title,
        description: description(map),
        note: Some(format!("{} {ground}", read_so(map))),
        width: WIDTH,
        height: frame.bottom().max(key.bottom) + 8.0,
        body: body(map, &frame, &key, &heights, every_m),
    }
}

/// How the map is read.
fn read_so(map: &CoverageMap) -> String {
    let mut said = format!(
        "Each shade of blue is the fastest data rate that holds there with {:.0} dB in hand, at half of the positions in half \
         of the time; between level lines the slowest is heard without that reserve, in some places and not in others.",
        map.margin_db,
    );
    if map.coverage.outside_db.is_some() {
        said = format!(
            "{said} Slanting lines: heard with that reserve only if {} outside, which the file does not say.",
            map.left_open
        );
    }
    let zones = map.zones();
    let unknown = zones.iter().zip(map.zone_shares()).find(|(zone, _)| **zone == Zone::HeightUnknown);
    if let Some((_, share)) = unknown {
        said = format!(
            "{said} Dots, on {:.0} % of the map: the height of the ground is not known there or on the way, so nothing is said; the \
             other shares are of the rest.",
            (100.0 * share).max(1.0)
        );
    }
    said
}

fn description(map: &CoverageMap) -> String {
    let zones: Vec<String> = map
        .zones()
        .into_iter()
        .zip(map.zone_shares())
        .map(|(zone, share)| format!("{} on {:.0} %", map.zone_words(zone), 100.0 * share))
        .collect();
    let stands = |name: &str, place: &Place| {
        format!("{name} at {:.4}, {:.4}", place.latitude_deg, place.longitude_deg)
    };
    let gateways: Vec<String> = map.gateways.iter().map(|at| stands(&at.name, &at.place)).collect();
    let may_stand: Vec<String> =
        map.may_stand.iter().map(|at| format!("; {}: {}", stands(&at.name, &at.place), at.said())).collect();
    let nodes: Vec<String> = map
        .nodes
        .iter()
        .map(|at| format!("{} ({})", stands(&at.name, &at.place), crate::words::verdict(at.verdict)))
        .collect();
    format!(
        "Map of where it is heard: {}. Gateways: {}{}. Nodes: {}.",
        zones.join(", "),
        gateways.join(", "),
        may_stand.concat(),
        if nodes.is_empty() { "none".to_owned() } else { nodes.join(", ") }
    )
}

/// Where the map lies in the drawing: north up, as wide as long at its middle latitude.
pub(super) struct Frame {
    grid: Grid,
    width: f64,
    height: f64,
    pub(super) pixels_per_m: f64,
}

impl Frame {
    pub(super) fn new(grid: &Grid) -> Self {
        Self::within(grid, TALLEST)
    }

    /// At most so tall.
    pub(super) fn within(grid: &Grid, tallest: f64) -> Self {
        let (row_m, column_m) = grid.steps_m();
        let (high_m, wide_m) = (row_m * grid.rows as f64, column_m * grid.columns as f64);
        let pixels_per_m = ((WIDTH - RIGHT - LEFT) / wide_m).min(tallest / high_m);
        Self { grid: *grid, width: wide_m * pixels_per_m, height: high_m * pixels_per_m, pixels_per_m }
    }

    pub(super) fn right(&self) -> f64 {
        LEFT + self.width
    }

    pub(super) fn bottom(&self) -> f64 {
        TOP + self.height
    }

    /// Where a row and column lie, their fractions counted between the middles of places.
    fn at(&self, (row, column): (f64, f64), grid: &Grid) -> (f64, f64) {
        let (rows, columns) = (grid.rows as f64, grid.columns as f64);
        (LEFT + self.width * (column + 0.5) / columns, TOP + self.height * (row + 0.5) / rows)
    }

    /// A picture of the whole map.
    pub(super) fn picture(&self, address: &str) -> Markup {
        let (width, height) = (px(self.width), px(self.height));
        html! {
            image x=(px(LEFT)) y=(px(TOP)) width=(width) height=(height) preserveAspectRatio="none" href=(address) {}
        }
    }

    /// Ground filled where a mask is opaque: with the colour of what is heard, or with a pattern.
    fn filled(&self, id: &str, mask: &Picture, pattern: Option<&str>) -> Markup {
        let (x, y, width, height) = (px(LEFT), px(TOP), px(self.width), px(self.height));
        html! {
            mask id=(id) maskUnits="userSpaceOnUse" x=(x) y=(y) width=(width) height=(height) { (self.picture(&mask.address())) }
            @if let Some(pattern) = pattern {
                rect x=(x) y=(y) width=(width) height=(height) mask={ "url(#" (id) ")" } fill={ "url(#" (pattern) ")" } {}
            } @else {
                rect.reach x=(x) y=(y) width=(width) height=(height) mask={ "url(#" (id) ")" } {}
            }
        }
    }

    /// The line around it.
    pub(super) fn edge(&self) -> Markup {
        html! { rect.edge x=(px(LEFT)) y=(px(TOP)) width=(px(self.width)) height=(px(self.height)) {} }
    }

    /// Where a place lies; `None` outside the map.
    pub(super) fn of(&self, place: Place) -> Option<(f64, f64)> {
        let (x, y) = self.at(self.grid.position(place), &self.grid);
        ((LEFT..=self.right()).contains(&x) && (TOP..=self.bottom()).contains(&y)).then_some((x, y))
    }
}

fn body(map: &CoverageMap, frame: &Frame, key: &Key, heights: &Heights, every_m: f64) -> Markup {
    let shaded = shade(&Heights::sampled(map.terrain, &map.coverage.grid, SHADED)).address();
    let signs: Vec<Sign> = map
        .nodes
        .iter()
        .filter_map(|node| {
            Some(Sign { name: &node.name, at: frame.of(node.place)?, verdict: node.verdict, page: None })
        })
        .collect();
    let gateways = map.gateways.iter().map(|one| (&one.name, one.place, Built::Stands));
    let planned = map.may_stand.iter().map(|one| (&one.name, one.place, one.built()));
    let houses = gateways
        .chain(planned)
        .filter_map(|(name, place, built)| Some(House { name, at: frame.of(place)?, built }));
    let houses: Vec<House> = houses.collect();
    html! {
        (patterns())
        (frame.filled("heard", &map.mask(|zone| match zone {
            Zone::Heard(step) if map.is_kept(step) => Some(map.opacity(step)),
            _ => None,
        }), None))
        (frame.picture(&shaded))
        @for texture in [Texture::Lines, Texture::Hatched, Texture::Dotted] {
            @if let (Some(name), true) = (texture.pattern(), map.zones().iter().any(|zone| map.texture(*zone) == texture)) {
                (frame.filled(&format!("where-{name}"), &map.mask(|zone| (map.texture(zone) == texture).then_some(1.0)), Some(name)))
            }
        }
        @for level in levels(heights, every_m) { path.contour d=(level_path(heights, frame, level)) {} }
        (frame.edge())
        (standing(&houses, signs, frame.right()))
        (scale_bar(frame))
        (north(frame))
        (key.drawn)
        (ground_key(map, frame, key, every_m))
    }
}

/// The patterns that fill what is not even.
fn patterns() -> Markup {
    html! {
        defs {
            pattern id="lines" width="4" height="4" patternUnits="userSpaceOnUse" { path.lines d="M0 1h4" {} }
            pattern id="hatched" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                path.hatched d="M1 0v7" {}
            }
            pattern id="dotted" width="6" height="6" patternUnits="userSpaceOnUse" { circle.dotted-ground cx="2" cy="2" r="1" {} }
        }
    }
}

pub(super) fn levels(heights: &Heights, every_m: f64) -> Vec<f64> {
    let Some((low_m, high_m)) = heights.range_m() else { return Vec::new() };
    let first = (low_m / every_m).ceil() * every_m;
    let all = (0..64).map(|index| first + f64::from(index) * every_m);
    all.take_while(|level| *level < high_m).collect()
}

pub(super) fn level_path(heights: &Heights, frame: &Frame, level_m: f64) -> String {
    contour::lines(heights, level_m)
        .iter()
        .map(|places| places.iter().map(|at| frame.at(*at, &heights.grid)).collect::<Vec<_>>())
        .map(|points| contour::simpler(&points, 0.35))
        .filter(|points| points.len() > 2)
        .map(|points| line(&points))
        .collect()
}

/// A length of 1, 2 or 5 times a power of ten, at most a quarter of a map so wide \[m\], and its words.
fn measure(wide_m: f64) -> (f64, String) {
    let most_m = wide_m / 4.0;
    let power = 10_f64.powf(most_m.log10().floor());
    let length_m = [5.0, 2.0, 1.0].iter().map(|factor| factor * power).find(|length| *length <= most_m);
    let length_m = length_m.unwrap_or(power);
    let words = if length_m < 1000.0 {
        format!("{} m", tick_label(length_m))
    } else {
        format!("{} km", tick_label(length_m / 1000.0))
    };
    (length_m, words)
}

pub(super) fn scale_bar(frame: &Frame) -> Markup {
    let (length_m, words) = measure(frame.width / frame.pixels_per_m);
    let (x, y) = (LEFT + 14.0, frame.bottom() - 14.0);
    html! {
        path.measure d={ "M" (px(x)) " " (px(y - 6.0)) "v6h" (px(length_m * frame.pixels_per_m)) "v-6" } {}
        text.halo x=(px(x + 6.0)) y=(px(y - 6.0)) { (words) }
    }
}

pub(super) fn north(frame: &Frame) -> Markup {
    let (x, y) = (frame.right() - 16.0, TOP + 40.0);
    html! {
        path.measure d={ "M" (px(x)) " " (px(y)) "v-22m-4 7l4 -7l4 7" } {}
        text.halo.middle x=(px(x)) y=(px(y + 13.0)) { "N" }
    }
}

/// What the fills mean, beside the map.
struct Key {
    drawn: Markup,
    bottom: f64,
}

/// Room for a line of words, and letters that it has room for.
const KEY_LINE: f64 = 15.0;
const KEY_LETTERS: usize = 14;

/// What is told apart with its words and its share, the fastest on top.
fn key(map: &CoverageMap, frame: &Frame) -> Key {
    let left = frame.right() + 14.0;
    let mut top = TOP + 18.0;
    let rows: Vec<(f64, Zone, Vec<String>)> = map
        .zones()
        .into_iter()
        .zip(map.zone_shares())
        .map(|(zone, share)| {
            let words = format!("{}, {:.0} %", map.zone_words(zone), 100.0 * share);
            let lines = wrapped(&words, KEY_LETTERS);
            let begins = top;
            top += (KEY_LINE * lines.len() as f64).max(16.0) + 6.0;
            (begins, zone, lines)
        })
        .collect();
    let (planned, below) = planned(map, (left, top));
    let drawn = html! {
        (planned)
        text.tick x=(px(left)) y=(px(TOP + 10.0)) { "% of known ground" }
        @for (top, zone, lines) in &rows {
            (swatch(map, *zone, (left, *top)))
            @for (at, line) in lines.iter().enumerate() {
                text x=(px(left + 23.0)) y=(px(top + 13.0 + KEY_LINE * at as f64)) { (line) }
            }
        }
    };
    Key { drawn, bottom: below + KEY_LINE }
}

/// A sample of how ground is filled.
fn swatch(map: &CoverageMap, zone: Zone, (left, top): (f64, f64)) -> Markup {
    let (x, y) = (px(left), px(top));
    let step = match zone {
        Zone::Heard(step) => step,
        _ => 0,
    };
    html! {
        @match (map.texture(zone), map.texture(zone).pattern()) {
            (Texture::Even, _) => {
                rect.reach x=(x) y=(y) width="16" height="16" fill-opacity=(format!("{:.2}", map.opacity(step))) {}
            }
            (_, Some(pattern)) => {
                rect x=(x) y=(y) width="16" height="16" fill={ "url(#" (pattern) ")" } {}
                rect.edge x=(x) y=(y) width="16" height="16" {}
            }
            (_, None) => rect.edge x=(x) y=(y) width="16" height="16" {},
        }
    }
}

/// What houses without a filling mean, of those that the map has.
fn planned(map: &CoverageMap, (left, mut top): (f64, f64)) -> (Markup, f64) {
    let kinds = [(Built::Chosen, "gateway here brings nodes"), (Built::MayStand, "gateway may stand here")];
    let mut drawn = Vec::new();
    for (built, words) in kinds {
        if map.may_stand.iter().any(|one| one.built() == built) {
            let lines = wrapped(words, KEY_LETTERS);
            let begins = top;
            top += KEY_LINE * lines.len() as f64 + 6.0;
            drawn.push((begins, built, lines));
        }
    }
    let drawn = html! {
        @for (top, built, lines) in &drawn {
            (built.drawn((left + 8.0, top + 15.0)))
            @for (at, line) in lines.iter().enumerate() {
                text x=(px(left + 23.0)) y=(px(top + 13.0 + KEY_LINE * at as f64)) { (line) }
            }
        }
    };
    (drawn, top)
}

/// What the lines of the ground mean, below the rest.
fn ground_key(map: &CoverageMap, frame: &Frame, key: &Key, every_m: f64) -> Markup {
    let (left, line) = (frame.right() + 14.0, key.bottom);
    html! {
        @if map.is_flat {
            text.tick x=(px(left)) y=(px(line)) { "flat ground assumed" }
        } @else {
            path.contour d={ "M" (px(left)) " " (px(line - 4.0)) "h16" } {}
            text.tick x=(px(left + 23.0)) y=(px(line)) { (format!("every {every_m:.0} m")) }
        }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::{CoverageMap, MapGateway, MapNode, MapPlace, Plate, Step, Texture, Zone, around, chart};
    use forecast::radio::coverage::Coverage;
    use forecast::terrain::{Grid, Place, Terrain, Tile};
    use verdict::plan::Verdict;

    fn place(latitude_deg: f64, longitude_deg: f64) -> Place {
        Place { latitude_deg, longitude_deg }
    }

    fn terrain() -> Terrain {
        let bytes = include_bytes!("../../../../examples/larkmoor/terrain/larkmoor.tif");
        Terrain::new(vec![Tile::read("larkmoor.tif", bytes).expect("a tile")])
    }

    /// A map of 20 rows and 10 columns whose loss rises by 2 dB a row from 120 dB; its last column is not known.
    pub(crate) fn with_map<T>(look: impl FnOnce(&CoverageMap) -> T) -> T {
        let terrain = terrain();
        let grid = Grid {
            north_deg: 47.05,
            west_deg: 12.95,
            row_step_deg: 0.005,
            column_step_deg: 0.01,
            rows: 20,
            columns: 10,
        };
        let loss = |at: usize| if at % 10 == 9 { f32::NAN } else { 120.0 + 2.0 * (at / 10) as f32 };
        let coverage = Coverage {
            grid,
            loss_db: (0..200).map(loss).collect(),
            best: vec![0; 200],
            outside_db: Some((0..200).map(|at| loss(at) - 16.0).collect()),
        };
        let planned = |name: &str, place, brings: &[&str]| MapPlace {
            name: name.to_owned(),
            place,
            brings: brings.iter().map(|name| (*name).to_owned()).collect(),
        };
        let step = |words: &str, most_loss_db, keeps_margin| Step {
            words: words.to_owned(),
            keeps_margin,
            most_loss_db,
        };
        look(&CoverageMap {
            terrain: &terrain,
            is_flat: false,
            coverage: &coverage,
            steps: &[step("SF7", 125.0, true), step("SF12", 135.0, true), step("SF12", 145.0, false)],
            left_open: "gateway roof is".to_owned(),
            who: "A node like mast, 2.0 m up,".to_owned(),
            margin_db: 10.0,
            nodes: &[MapNode { name: "mast".to_owned(), place: place(46.99, 13.0), verdict: Verdict::Fails }],
            gateways: &[MapGateway { name: "roof".to_owned(), place: place(47.005, 13.03) }],
            may_stand: &[
                planned("silo", place(46.975, 13.01), &["mast"]),
                planned("barn", place(46.965, 12.97), &[]),
            ],
        })
    }

    /// By hand, losses of 120, 122 .. 158 dB by row: the first 3 rows of 20 are below 125 dB, 5 more below 135; outside, with 16
    /// dB less, all up to 151 dB are below 135, which are 8 rows more; the last 4 are not heard, and the last column of ten is
    /// not known.
    #[test]
    fn shares_count_the_known_places_and_the_title_those_with_the_margin() {
        with_map(|map| {
            assert_eq!(map.zone_shares(), [0.15, 0.25, 0.0, 0.4, 0.2, 0.1]);
            assert_eq!(map.shares(), [0.15, 0.25, 0.0]);
            let zones = [(2, 0), (3, 0), (8, 0), (19, 0), (0, 9)].map(|(row, column)| map.zone(row, column));
            assert_eq!(
                zones,
                [Zone::Heard(0), Zone::Heard(1), Zone::IfOutside, Zone::NotHeard, Zone::HeightUnknown]
            );
            let title = chart(map).title;
            assert_eq!(
                title,
                "A node like mast, 2.0 m up, is heard on 40 % of this map with 10 dB in hand, on 15 % of it at SF7"
            );
        });
    }

    #[test]
    fn every_zone_says_in_words_what_it_is_and_no_two_look_alike() {
        with_map(|map| {
            let words: Vec<String> = map.zones().into_iter().map(|zone| map.zone_words(zone)).collect();
            assert_eq!(
                words,
                [
                    "heard at SF7",
                    "only at SF12",
                    "at SF12 in places",
                    "heard if gateway roof is outside",
                    "not heard",
                    "height unknown"
                ]
            );
            let looks: Vec<(Texture, Option<usize>)> = map
                .zones()
                .into_iter()
                .map(|zone| match (map.texture(zone), zone) {
                    (Texture::Even, Zone::Heard(step)) => (Texture::Even, Some(step)),
                    (texture, _) => (texture, None),
                })
                .collect();
            for (at, look) in looks.iter().enumerate() {
                assert!(!looks[..at].contains(look), "{look:?}");
            }
        });
    }

    #[test]
    fn the_map_says_in_words_what_it_shows_and_draws_every_node_and_gateway() {
        with_map(|map| {
            let drawn = chart(map);
            assert!(
                drawn.description.contains("heard at SF7 on 15 %, only at SF12 on 25 %"),
                "{}",
                drawn.description
            );
            assert!(drawn.description.contains("mast at 46.9900, 13.0000 (fails)"));
            let note = drawn.note.clone().expect("a note");
            assert!(
                note.contains("only if gateway roof is outside") && note.contains("on 10 % of the map"),
                "{note}"
            );
            let svg = drawn.svg().into_string();
            for part in [
                "class=\"house\"",
                "class=\"house chosen\"",
                "class=\"house may-stand\"",
                ">silo</text>",
                ">barn</text>",
                "class=\"board\"",
                "gateway roof",
                ">1 km</text>",
                ">N</text>",
                "every ",
                "url(#hatched)",
                "url(#dotted)",
                ">height</text>",
            ] {
                assert!(svg.contains(part), "{part}");
            }
            assert!(!svg.contains("NaN"));
            assert!(drawn.file().contains("@font-face"), "the file brings its typefaces");
        });
    }

    /// Each zone of the picture is told from the others without its colour: by its lightness or by the figure of its points.
    #[test]
    fn the_picture_is_darker_where_a_faster_rate_holds_and_tells_the_rest_by_its_figure() {
        with_map(|map| {
            let Plate { picture, zoom } = map.plate();
            assert!(picture.palette.len() <= 256 && picture.columns == 10 * zoom && picture.columns >= 360);
            let light = |x: usize, y: usize| {
                let [red, green, blue, _] =
                    picture.palette[usize::from(picture.places[y * picture.columns + x])];
                u32::from(red) + u32::from(green) + u32::from(blue)
            };
            // A square in the middle of a place, which no shade changes much: its mean light, and how much it varies.
            let square = |row: usize, column: usize| {
                let points = (0..14).flat_map(|y| (0..14).map(move |x| (x, y)));
                let all: Vec<u32> = points.map(|(x, y)| light(column * zoom + x, row * zoom + y)).collect();
                (
                    all.iter().sum::<u32>() / 196,
                    all.iter().max().unwrap_or(&0) - all.iter().min().unwrap_or(&0),
                )
            };
            let [fast, slow, open, not_heard, unknown] =
                [(1, 4), (5, 4), (12, 4), (18, 4), (5, 9)].map(|(row, column)| square(row, column));
            assert!(fast.0 < slow.0 && slow.0 < not_heard.0, "{fast:?} {slow:?} {not_heard:?}");
            assert!(fast.1 == 0 && slow.1 == 0 && not_heard.1 == 0, "{fast:?} {slow:?} {not_heard:?}");
            assert!(open.1 > 150 && unknown.1 > 150 && open.0 < unknown.0, "{open:?} {unknown:?}");
        });
    }

    #[test]
    fn a_map_goes_beyond_the_outermost_places_but_not_beyond_the_terrain() {
        let terrain = terrain();
        let tile = *terrain.tiles()[0].grid();
        let inner =
            around(&[place(46.99, 13.0), place(47.0, 13.02)], Some(&terrain), 300).expect("on the terrain");
        assert!(inner.rows.max(inner.columns) == 300 && inner.rows.min(inner.columns) > 200);
        let (row_m, column_m) = inner.steps_m();
        assert!((row_m / column_m - 1.0).abs() < 0.02, "square on the ground: {row_m} {column_m}");
        assert!(inner.north_deg > 47.015 && inner.south_deg() < 46.975 && inner.north_deg < tile.north_deg);
        let all = around(
            &[place(tile.north_deg, tile.west_deg), place(tile.south_deg(), tile.east_deg())],
            Some(&terrain),
            100,
        );
        let all = all.expect("on the terrain");
        assert!(
            all.north_deg < tile.north_deg
                && all.west_deg > tile.west_deg
                && all.east_deg() < tile.east_deg()
        );
        assert_eq!(around(&[place(10.0, 10.0)], Some(&terrain), 100), None);
        // By hand: 2 km beyond a place on each side, 111.195 km to a degree; and the flat ground below holds every corner.
        let alone = around(&[place(10.0, 10.0)], None, 100).expect("ground without end");
        assert!((alone.rows as f64 * alone.row_step_deg - 4.0 / 111.195).abs() < 1e-9);
        let flat = Terrain::flat(&alone);
        for (row, column) in [(0, 0), (99, 0), (0, 99), (99, 99)] {
            assert_eq!(flat.height_m(alone.place(row, column)), Some(0.0), "{row} {column}");
        }
    }
}
