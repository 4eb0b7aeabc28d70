//! Where the nodes of a site stand: over the shape of the ground, or on plain paper.

use forecast::terrain::{Grid, Place, Terrain};
use maud::{Markup, html};

use super::coverage::{self, Frame};
use super::relief::{self, Heights, shade};
pub use super::relief::{FINEST, Tile};
use super::signboard::{Built, House, Sign, standing};
use super::{Chart, contour};

/// Places of shade and of contours in a row, at most.
const SHADED: usize = 420;
const CONTOURED: usize = 160;
/// A picture beside a table is lower than a map of its own.
const TALLEST: f64 = 640.0;
/// Around a site on plain paper \[°\].
const BEYOND_DEG: f64 = 0.01;

/// The ground around a site, drawn once.
#[derive(Clone, Debug)]
pub struct Ground {
    grid: Grid,
    /// Drawn so many times as steep as it is.
    stretched: f64,
    /// The shade as a picture of its own (PNG); `None` on plain paper.
    pub shade: Option<Vec<u8>>,
    contours: Vec<String>,
    every_m: f64,
}

/// A node where it stands.
pub struct Standing<'a> {
    /// Its name.
    pub name: &'a str,
    /// Where it stands.
    pub place: Place,
    /// What is known of it; `None`: nothing yet.
    pub verdict: verdict::plan::Verdict,
    /// The page of it.
    pub page: String,
}

impl Ground {
    /// The ground under some places; `None` if there are none.
    pub fn around(places: &[Place], terrain: Option<&Terrain>) -> Option<Self> {
        let over =
            terrain.and_then(|terrain| Some((terrain, coverage::around(places, Some(terrain), SHADED)?)));
        let Some((terrain, grid)) = over else {
            let grid = plain(places)?;
            return Some(Self { grid, stretched: 1.0, shade: None, contours: Vec::new(), every_m: 0.0 });
        };
        let heights = Heights::sampled(terrain, &grid, CONTOURED);
        let (low_m, high_m) = heights.range_m()?;
        let every_m = contour::step_m(low_m, high_m);
        let frame = Frame::within(&grid, TALLEST);
        let levels = coverage::levels(&heights, every_m);
        let contours = levels.iter().map(|level| coverage::level_path(&heights, &frame, *level)).collect();
        let shaded = Heights::sampled(terrain, &grid, SHADED);
        let shade = Some(shade(&shaded).png());
        Some(Self { grid, stretched: shaded.stretched(), shade, contours, every_m })
    }

    /// West, south, east and north of the picture \[°\].
    pub fn edges_deg(&self) -> [f64; 4] {
        let Grid { north_deg, west_deg, row_step_deg, column_step_deg, .. } = self.grid;
        let (south_deg, east_deg) = (self.grid.south_deg(), self.grid.east_deg());
        [
            west_deg - 0.5 * column_step_deg,
            south_deg - 0.5 * row_step_deg,
            east_deg + 0.5 * column_step_deg,
            north_deg + 0.5 * row_step_deg,
        ]
    }

    /// Shade and contours on a tile of a map that is moved (PNG); `None` where no terrain is known.
    pub fn tile(&self, terrain: &Terrain, tile: Tile) -> Option<Vec<u8>> {
        relief::tile(terrain, tile, self.stretched, self.every_m)
    }

    /// The picture with boards; the shade lies at an address of its own.
    pub fn chart(&self, shade_at: &str, nodes: &[Standing<'_>], gateways: &[(&str, Place)]) -> Chart {
        let frame = Frame::within(&self.grid, TALLEST);
        let said: Vec<String> = nodes
            .iter()
            .map(|node| format!("{} {}", node.name, crate::words::verdict(node.verdict)))
            .collect();
        Chart {
            id: "ground".to_owned(),
            title: "Where they stand".to_owned(),
            description: format!("Map with {}. North is up.", said.join(", ")),
            note: (self.every_m > 0.0)
                .then(|| format!("Contours every {:.0} m. A board is a link to its node.", self.every_m)),
            width: frame.right() + 20.0,
            height: frame.bottom() + 8.0,
            body: self.body(&frame, shade_at, nodes, gateways),
        }
    }

    fn body(
        &self,
        frame: &Frame,
        shade_at: &str,
        nodes: &[Standing<'_>],
        gateways: &[(&str, Place)],
    ) -> Markup {
        let signs = nodes.iter().filter_map(|node| {
            let at = frame.of(node.place)?;
            Some(Sign { name: node.name, at, verdict: node.verdict, page: Some(&node.page) })
        });
        let houses = gateways
            .iter()
            .filter_map(|(name, place)| Some(House { name, at: frame.of(*place)?, built: Built::Stands }));
        let houses: Vec<House> = houses.collect();
        html! {
            @if self.shade.is_some() { (frame.picture(shade_at)) }
            @for path in &self.contours { path.contour d=(path) {} }
            (frame.edge())
            (standing(&houses, signs.collect(), frame.right()))
            (coverage::scale_bar(frame))
            (coverage::north(frame))
        }
    }
}

/// A grid of one place around some others.
pub(super) fn plain(places: &[Place]) -> Option<Grid> {
    let range = |value: &dyn Fn(&Place) -> f64| {
        places.iter().map(value).fold(None, |range: Option<(f64, f64)>, at| {
            Some(range.map_or((at, at), |(low, high)| (low.min(at), high.max(at))))
        })
    };
    let (south, north) = range(&|place| place.latitude_deg)?;
    let (west, east) = range(&|place| place.longitude_deg)?;
    let beyond = BEYOND_DEG + 0.2 * (north - south).max(east - west);
    let steps = 100.0;
    let (high, wide) = (north - south + 2.0 * beyond, east - west + 2.0 * beyond);
    Some(Grid {
        north_deg: north + beyond,
        west_deg: west - beyond,
        row_step_deg: high / steps,
        column_step_deg: wide / steps,
        rows: 100,
        columns: 100,
    })
}

#[cfg(test)]
mod tests {
    use forecast::terrain::Tile;
    use verdict::plan::Verdict;

    use super::*;

    fn place(latitude_deg: f64, longitude_deg: f64) -> Place {
        Place { latitude_deg, longitude_deg }
    }

    #[test]
    fn boards_are_links_over_shade_or_on_plain_paper() {
        let bytes = include_bytes!("../../../../examples/larkmoor/terrain/larkmoor.tif");
        let terrain = Terrain::new(vec![Tile::read("larkmoor.tif", bytes).expect("a tile")]);
        let places = [place(46.99, 13.0), place(47.005, 13.035)];
        for terrain in [Some(&terrain), None] {
            let ground = Ground::around(&places, terrain).expect("two places");
            assert_eq!(ground.shade.is_some(), terrain.is_some());
            let page = "/node/mast".to_owned();
            let nodes = [Standing { name: "mast", place: places[0], verdict: Verdict::Fails, page }];
            let svg = ground.chart("/ground.png", &nodes, &[("roof", places[1])]).svg().into_string();
            assert!(
                svg.contains("href=\"/node/mast\"")
                    && svg.contains("class=\"house\"")
                    && !svg.contains("NaN")
            );
            assert_eq!(svg.contains("/ground.png"), terrain.is_some());
        }
        assert!(Ground::around(&[], None).is_none());
    }
}
