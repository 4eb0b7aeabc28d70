//! The map: where a node would be heard, over the shape of the ground.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "opacities are shares of 255, and steps are few"
)]

use forecast::radio::coverage::Coverage;
use forecast::terrain::{Grid, Place, Terrain, Tile};
use maud::{Markup, html};
use verdict::plan::Verdict;

use super::frame::{line, px, tick_label};
use super::picture::{Colour, Picture, over};
use super::relief::{Heights, shade};
use super::signboard::{Sign, standing};
use super::{Chart, RIGHT, WIDTH, contour};

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
    /// For whom: "A node like mast, 2 m up,".
    pub who: String,
    /// What the steps keep in hand \[dB\].
    pub margin_db: f64,
    /// The nodes.
    pub nodes: &'a [MapNode],
    /// The gateways.
    pub gateways: &'a [MapGateway],
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
/// The hue of the map in pictures that no page colours, and the paper below.
const BLUE: [u8; 3] = [0x1f, 0x76, 0xc0];
const PAPER: Colour = [0xfb, 0xfa, 0xf5, 255];

impl CoverageMap<'_> {
    /// The step that holds at a place, counted from 0 as the fastest: `None` where none does or nothing is known.
    pub fn step(&self, row: usize, column: usize) -> Option<usize> {
        let loss_db = f64::from(self.coverage.loss_db(row, column)?);
        self.steps.iter().position(|step| loss_db <= step.most_loss_db)
    }

    /// Share of the known places where each step is the fastest that holds.
    pub fn shares(&self) -> Vec<f64> {
        let known = self.coverage.loss_db.iter().filter(|loss_db| !loss_db.is_nan()).count().max(1);
        let mut counts = vec![0_usize; self.steps.len()];
        for (row, column) in self.places() {
            if let Some(count) = self.step(row, column).and_then(|step| counts.get_mut(step)) {
                *count += 1;
            }
        }
        counts.into_iter().map(|count| count as f64 / known as f64).collect()
    }

    fn places(&self) -> impl Iterator<Item = (usize, usize)> + use<> {
        let Grid { rows, columns, .. } = self.coverage.grid;
        (0..rows).flat_map(move |row| (0..columns).map(move |column| (row, column)))
    }

    fn opacity(&self, step: usize) -> f64 {
        let last = self.steps.len().saturating_sub(1).max(1) as f64;
        DARKEST + (PALEST - DARKEST) * step as f64 / last
    }

    /// The steps as a picture, clear where none holds; its colour is white, so that a drawing can lay its own under it.
    fn mask(&self) -> Picture {
        let byte = |place| self.step_byte(place);
        let white = |step: usize| [255, 255, 255, (255.0 * self.opacity(step)).round() as u8];
        Picture {
            columns: self.coverage.grid.columns,
            places: self.places().map(byte).collect(),
            palette: std::iter::once([0; 4]).chain((0..self.steps.len()).map(white)).collect(),
        }
    }

    fn step_byte(&self, (row, column): (usize, usize)) -> u8 {
        self.step(row, column).map_or(0, |step| u8::try_from(step + 1).unwrap_or(u8::MAX))
    }

    /// The map without words as a picture of its own: steps and shade on paper, a pixel a place.
    pub fn picture(&self) -> Picture {
        let grid = &self.coverage.grid;
        let shade = shade(&Heights::sampled(self.terrain, grid, usize::MAX));
        let steps: Vec<Colour> = std::iter::once(PAPER)
            .chain((0..self.steps.len()).map(|step| {
                let [red, green, blue] = BLUE;
                over([red, green, blue, (255.0 * self.opacity(step)).round() as u8], PAPER)
            }))
            .collect();
        // Few steps times few shades; where that is more than a byte holds, neighbouring shades become one.
        let per_step = (256 / steps.len().max(1)).max(1);
        let merged = shade.palette.len().div_ceil(per_step).max(1);
        let shades: Vec<Colour> = shade.palette.iter().copied().step_by(merged).collect();
        let index = |place: (usize, usize), shaded: u8| {
            let number = usize::from(self.step_byte(place)) * shades.len() + usize::from(shaded) / merged;
            u8::try_from(number).unwrap_or(u8::MAX)
        };
        Picture {
            columns: grid.columns,
            places: self.places().zip(&shade.places).map(|(place, shaded)| index(place, *shaded)).collect(),
            palette: steps.iter().flat_map(|step| shades.iter().map(|shade| over(*shade, *step))).collect(),
        }
    }
}

/// Ground drawn beyond the outermost node or gateway \[m\], and the share of their spread that is drawn beyond too.
const BEYOND_M: f64 = 2000.0;
const BEYOND_SHARE: f64 = 0.35;

/// The places of a map around some others: as far beyond them as the terrain goes, about square on the ground, so many
/// along the longer side. `None` if the others lie off the terrain. Without one, the ground goes on without end.
pub fn around(places: &[Place], terrain: Option<&Terrain>, side: usize) -> Option<Grid> {
    let is_ground =
        |place: &Place| terrain.is_none_or(|terrain| terrain.tiles().iter().any(|tile| tile.holds(*place)));
    let on_terrain: Vec<&Place> = places.iter().filter(|place| is_ground(place)).collect();
    let range = |values: &dyn Fn(&Place) -> f64| {
        let (low, high) = on_terrain.iter().fold((f64::MAX, f64::MIN), |(low, high), place| {
            (low.min(values(place)), high.max(values(place)))
        });
        (low <= high).then_some((low, high))
    };
    let (south_deg, north_deg) = range(&|place| place.latitude_deg)?;
    let (west_deg, east_deg) = range(&|place| place.longitude_deg)?;
    let degree_m = 111_195.0; // of the mean sphere; a map's edge needs no more
    let shrunk = f64::midpoint(south_deg, north_deg).to_radians().cos().max(0.01);
    let widest_m = degree_m * (north_deg - south_deg).max((east_deg - west_deg) * shrunk);
    let beyond_deg = (BEYOND_M + BEYOND_SHARE * widest_m) / degree_m;
    let edges = terrain.map_or(ENDLESS, edges);
    let north_deg = (north_deg + beyond_deg).min(edges[0]);
    let south_deg = (south_deg - beyond_deg).max(edges[1]);
    let west_deg = (west_deg - beyond_deg / shrunk).max(edges[2]);
    let east_deg = (east_deg + beyond_deg / shrunk).min(edges[3]);
    let (high_m, wide_m) = (degree_m * (north_deg - south_deg), degree_m * shrunk * (east_deg - west_deg));
    let step_m = high_m.max(wide_m) / side as f64;
    let count = |length_m: f64| ((length_m / step_m).round() as usize).clamp(2, side);
    let (rows, columns) = (count(high_m), count(wide_m));
    let (row_step_deg, column_step_deg) =
        ((north_deg - south_deg) / rows as f64, (east_deg - west_deg) / columns as f64);
    Some(Grid {
        north_deg: north_deg - 0.5 * row_step_deg,
        west_deg: west_deg + 0.5 * column_step_deg,
        row_step_deg,
        column_step_deg,
        rows,
        columns,
    })
}

/// North, south, west and east of ground without end \[degrees\].
const ENDLESS: [f64; 4] = [85.0, -85.0, f64::MIN, f64::MAX];

/// Where a terrain ends in the north, south, west and east \[degrees\].
fn edges(terrain: &Terrain) -> [f64; 4] {
    let held = terrain.tiles().iter().map(Tile::grid);
    held.fold([f64::MIN, f64::MAX, f64::MAX, f64::MIN], |[north, south, west, east], grid| {
        [
            north.max(grid.north_deg),
            south.min(grid.south_deg()),
            west.min(grid.west_deg),
            east.max(grid.east_deg()),
        ]
    })
}

/// The map.
pub fn chart(map: &CoverageMap) -> Chart {
    let frame = Frame::new(&map.coverage.grid);
    let shares = map.shares();
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
        description: description(map, &shares),
        note: Some(format!(
            "Each shade of blue is the fastest data rate that holds there with {:.0} dB in hand, at half of the positions in half \
             of the time; where it is thin the slowest is heard without that reserve, on some spots and not on others. {ground}",
            map.margin_db,
        )),
        width: WIDTH,
        height: frame.bottom() + 8.0,
        body: body(map, &frame, &shares, &heights, every_m),
    }
}

fn description(map: &CoverageMap, shares: &[f64]) -> String {
    let steps: Vec<String> = map
        .steps
        .iter()
        .zip(shares)
        .map(|(step, share)| format!("{} on {:.0} %", step.words, 100.0 * share))
        .collect();
    let stands = |name: &str, place: &Place| {
        format!("{name} at {:.4}, {:.4}", place.latitude_deg, place.longitude_deg)
    };
    let gateways: Vec<String> = map.gateways.iter().map(|at| stands(&at.name, &at.place)).collect();
    let nodes: Vec<String> = map
        .nodes
        .iter()
        .map(|at| format!("{} ({})", stands(&at.name, &at.place), crate::words::verdict(at.verdict)))
        .collect();
    format!(
        "Map of the fastest data rate that holds: {}. Gateways: {}. Nodes: {}.",
        steps.join(", "),
        gateways.join(", "),
        if nodes.is_empty() { "none".to_owned() } else { nodes.join(", ") }
    )
}

/// Where the map lies in the drawing: north up, as wide as long at its middle latitude.
pub(super) struct Frame {
    grid: Grid,
    width: f64,
    height: f64,
    pixels_per_m: f64,
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

fn body(map: &CoverageMap, frame: &Frame, shares: &[f64], heights: &Heights, every_m: f64) -> Markup {
    let shaded = shade(&Heights::sampled(map.terrain, &map.coverage.grid, SHADED)).address();
    let (width, height) = (px(frame.width), px(frame.height));
    let signs: Vec<Sign> = map
        .nodes
        .iter()
        .filter_map(|node| {
            Some(Sign { name: &node.name, at: frame.of(node.place)?, verdict: node.verdict, page: None })
        })
        .collect();
    let houses: Vec<(&str, (f64, f64))> = map
        .gateways
        .iter()
        .filter_map(|gateway| Some((gateway.name.as_str(), frame.of(gateway.place)?)))
        .collect();
    html! {
        mask id="heard" maskUnits="userSpaceOnUse" x=(px(LEFT)) y=(px(TOP)) width=(width) height=(height) {
            image x=(px(LEFT)) y=(px(TOP)) width=(width) height=(height) preserveAspectRatio="none" href=(map.mask().address()) {}
        }
        rect.reach x=(px(LEFT)) y=(px(TOP)) width=(width) height=(height) mask="url(#heard)" {}
        (frame.picture(&shaded))
        @for level in levels(heights, every_m) { path.contour d=(level_path(heights, frame, level)) {} }
        (frame.edge())
        (standing(&houses, signs, frame.right()))
        (scale_bar(frame))
        (north(frame))
        (key(map, frame, shares, every_m))
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

/// 1, 2 or 5 times a power of ten \[km\], at most a quarter of the map.
pub(super) fn scale_bar(frame: &Frame) -> Markup {
    let most_m = frame.width / frame.pixels_per_m / 4.0;
    let power = 10_f64.powf(most_m.log10().floor());
    let length_m = [5.0, 2.0, 1.0].iter().map(|factor| factor * power).find(|length| *length <= most_m);
    let length_m = length_m.unwrap_or(power);
    let (x, y) = (LEFT + 14.0, frame.bottom() - 14.0);
    let words = if length_m < 1000.0 {
        format!("{} m", tick_label(length_m))
    } else {
        format!("{} km", tick_label(length_m / 1000.0))
    };
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

/// The steps with their words, the fastest on top.
fn key(map: &CoverageMap, frame: &Frame, shares: &[f64], every_m: f64) -> Markup {
    let left = frame.right() + 14.0;
    let bottom = TOP + 34.0 + 20.0 * map.steps.len() as f64;
    html! {
        text.tick x=(px(left)) y=(px(TOP + 10.0)) { "fastest that holds," }
        text.tick x=(px(left)) y=(px(TOP + 24.0)) { "% of the map" }
        @for (step, (rate, share)) in map.steps.iter().zip(shares).enumerate() {
            @let top = TOP + 34.0 + 20.0 * step as f64;
            rect.reach x=(px(left)) y=(px(top)) width="16" height="16" fill-opacity=(format!("{:.2}", map.opacity(step))) {}
            text x=(px(left + 23.0)) y=(px(top + 13.0)) { (rate.words) }
            text.tick.end x=(px(left + 112.0)) y=(px(top + 13.0)) { (format!("{:.0}", 100.0 * share)) }
        }
        rect.edge x=(px(left)) y=(px(bottom)) width="16" height="16" {}
        text x=(px(left + 23.0)) y=(px(bottom + 13.0)) { "not heard" }
        text.tick.end x=(px(left + 112.0)) y=(px(bottom + 13.0)) {
            (format!("{:.0}", 100.0 * (1.0 - shares.iter().sum::<f64>())))
        }
        @if map.is_flat {
            text.tick x=(px(left)) y=(px(bottom + 34.0)) { "flat ground assumed" }
        } @else {
            path.contour d={ "M" (px(left)) " " (px(bottom + 30.0)) "h16" } {}
            text.tick x=(px(left + 23.0)) y=(px(bottom + 34.0)) { (format!("every {every_m:.0} m")) }
        }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::{CoverageMap, MapGateway, MapNode, Step, around, chart};
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
        let coverage = Coverage { grid, loss_db: (0..200).map(loss).collect(), best: vec![0; 200] };
        let step = |words: &str, most_loss_db, keeps_margin| Step {
            words: words.to_owned(),
            keeps_margin,
            most_loss_db,
        };
        look(&CoverageMap {
            terrain: &terrain,
            is_flat: false,
            coverage: &coverage,
            steps: &[step("SF7", 125.0, true), step("SF12", 135.0, true), step("thin", 145.0, false)],
            who: "A node like mast, 2.0 m up,".to_owned(),
            margin_db: 10.0,
            nodes: &[MapNode { name: "mast".to_owned(), place: place(46.99, 13.0), verdict: Verdict::Fails }],
            gateways: &[MapGateway { name: "roof".to_owned(), place: place(47.005, 13.03) }],
        })
    }

    /// By hand: 3 rows of 20 are below 125 dB, 5 more below 135, 5 more below 145.
    #[test]
    fn shares_count_the_known_places_and_the_title_those_with_the_margin() {
        with_map(|map| {
            assert_eq!(map.shares(), [0.15, 0.25, 0.25]);
            assert_eq!(
                (map.step(2, 0), map.step(3, 0), map.step(19, 0), map.step(0, 9)),
                (Some(0), Some(1), None, None)
            );
            let title = chart(map).title;
            assert_eq!(
                title,
                "A node like mast, 2.0 m up, is heard on 40 % of this map with 10 dB in hand, on 15 % of it at SF7"
            );
        });
    }

    #[test]
    fn the_map_says_in_words_what_it_shows_and_draws_every_node_and_gateway() {
        with_map(|map| {
            let drawn = chart(map);
            assert!(
                drawn.description.contains("SF7 on 15 %, SF12 on 25 %, thin on 25 %"),
                "{}",
                drawn.description
            );
            assert!(drawn.description.contains("mast at 46.9900, 13.0000 (fails)"));
            let svg = drawn.svg().into_string();
            for part in
                ["class=\"house\"", "class=\"board\"", "gateway roof", ">1 km</text>", ">N</text>", "every "]
            {
                assert!(svg.contains(part), "{part}");
            }
            assert!(!svg.contains("NaN"));
        });
    }

    #[test]
    fn the_picture_is_darker_where_a_faster_rate_holds_and_paper_where_none_does() {
        with_map(|map| {
            let picture = map.picture();
            assert!(picture.palette.len() <= 256 && picture.places.len() == 200);
            let blueness = |row: usize| {
                let [red, _, blue, _] = picture.palette[usize::from(picture.places[row * 10 + 4])];
                i32::from(blue) - i32::from(red)
            };
            assert!(blueness(1) > blueness(5) && blueness(5) > blueness(10) && blueness(10) > blueness(18));
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
