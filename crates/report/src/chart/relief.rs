//! The shape of the ground as light and shadow.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "opacities are clamped before they become steps"
)]

use forecast::terrain::{Grid, Place, Terrain};

use super::picture::{Colour, Picture};

/// Radius of the sphere that maps of the web unroll (EPSG:3857) \[m\].
const UNROLLED_M: f64 = 6_378_137.0;

/// Steps of shadow, and as many of light: with fewer their edges show on gentle slopes, with more the ground weighs as much as
/// the rest of the page.
const STEPS: u8 = 16;
/// Opacity of the deepest shadow and of the brightest light.
const DEEPEST: f64 = 170.0;
const BRIGHTEST: f64 = 120.0;
/// The light comes from the north-west, as maps have it, 45 degrees high.
const LIGHT_FROM: [f64; 3] = [-0.5, 0.5, std::f64::consts::FRAC_1_SQRT_2];

/// Heights over a grid, NaN where not known.
pub(crate) struct Heights {
    pub(crate) grid: Grid,
    pub(crate) metres: Vec<f64>,
}

impl Heights {
    /// The ground under a grid's extent, at most so many columns and rows of it.
    pub(crate) fn sampled(terrain: &Terrain, extent: &Grid, most: usize) -> Self {
        let grid = coarser(extent, most);
        let places = (0..grid.rows).flat_map(|row| (0..grid.columns).map(move |column| (row, column)));
        let metres = places
            .map(|(row, column)| terrain.height_m(grid.place(row, column)).unwrap_or(f64::NAN))
            .collect();
        Self { grid, metres }
    }

    pub(crate) fn at(&self, row: usize, column: usize) -> f64 {
        self.metres.get(row * self.grid.columns + column).copied().unwrap_or(f64::NAN)
    }

    /// How many times as steep it is drawn: gentle ground more, so that it can be seen.
    pub(crate) fn stretched(&self) -> f64 {
        let width_m = self.grid.steps_m().1 * self.grid.columns as f64;
        self.range_m().map_or(1.0, |(low, high)| (0.16 * width_m / (high - low).max(1.0)).clamp(1.0, 6.0))
    }

    /// Lowest and highest \[m\]; `None` if nothing is known.
    pub(crate) fn range_m(&self) -> Option<(f64, f64)> {
        let known = self.metres.iter().copied().filter(|height_m| !height_m.is_nan());
        let (low, high) = known.fold((f64::MAX, f64::MIN), |(low, high), at| (low.min(at), high.max(at)));
        (low <= high).then_some((low, high))
    }
}

/// A tile of a map in spherical Mercator: at level 0 one holds the world, at each further level a tile is cut in four.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tile {
    level: u8,
    column: u32,
    row: u32,
}

/// Places along each side of a tile, and with one more at each edge, for its slopes.
const SIDE: i32 = 256;
const WIDE: usize = 258;
/// The terrain holds no more than this level shows: 5 m a place at 47° (own choice).
pub const FINEST: u8 = 14;
/// The number of the colour of a contour: the last of the palette.
const CONTOUR: u8 = 2 * STEPS + 1;
/// Grey lies on light and dark paper alike.
const LINE: Colour = [128, 128, 128, 170];

impl Tile {
    /// A tile by its numbers, counted from the north-west; `None` if there is none of them.
    pub fn new(level: u8, column: u32, row: u32) -> Option<Self> {
        let is_one = level <= FINEST && column < 1 << level && row < 1 << level;
        is_one.then_some(Self { level, column, row })
    }

    /// The place at the middle of a pixel; those beyond an edge are of the neighbour.
    ///
    /// # References
    /// J. P. Snyder, Map Projections: A Working Manual, USGS Professional Paper 1395, 1987, equations 7-4 and 7-4a (from memory).
    fn place(self, row: i32, column: i32) -> Place {
        let share = |tile: u32, place: i32| {
            (f64::from(tile) + (f64::from(place) + 0.5) / f64::from(SIDE)) / f64::from(1_u32 << self.level)
        };
        let north = std::f64::consts::PI * (1.0 - 2.0 * share(self.row, row));
        Place {
            latitude_deg: north.sinh().atan().to_degrees(),
            longitude_deg: 360.0 * share(self.column, column) - 180.0,
        }
    }

    /// Metres between the middles of pixels \[m\].
    fn step_m(self) -> f64 {
        let middle = self.place(SIDE / 2, 0).latitude_deg.to_radians();
        std::f64::consts::TAU * UNROLLED_M * middle.cos() / (f64::from(SIDE) * f64::from(1_u32 << self.level))
    }
}

/// Shade and contours on a tile; `None` where no height is known.
pub(crate) fn tile(terrain: &Terrain, tile: Tile, stretched: f64, every_m: f64) -> Option<Vec<u8>> {
    let all = (-1..=SIDE).flat_map(|row| (-1..=SIDE).map(move |column| tile.place(row, column)));
    let heights: Vec<f64> = all.map(|place| terrain.height_m(place).unwrap_or(f64::NAN)).collect();
    if heights.iter().all(|height_m| height_m.is_nan()) {
        return None;
    }
    let slope = stretched / (2.0 * tile.step_m());
    let pixel = |at: usize| {
        let (middle, east, south) = (heights[at], heights[at + 1], heights[at + WIDE]);
        let line = |height_m: f64| (height_m / every_m).floor();
        if every_m > 0.0 && [east, south].iter().any(|other| (line(*other) - line(middle)).abs() > 0.0) {
            return CONTOUR;
        }
        lit(slope * (east - heights[at - 1]), slope * (heights[at - WIDE] - south))
    };
    let places = (1..WIDE - 1).flat_map(|row| (1..WIDE - 1).map(move |column| row * WIDE + column));
    let mut palette = palette();
    palette.push(LINE);
    Some(Picture { columns: WIDE - 2, places: places.map(pixel).collect(), palette }.png())
}

/// The same extent in fewer places, if it has more than so many in a row or column.
pub fn coarser(extent: &Grid, most: usize) -> Grid {
    let fewer = |count: usize, step: f64| {
        let kept = count.min(most);
        (kept, step * count as f64 / kept as f64)
    };
    let (rows, row_step_deg) = fewer(extent.rows, extent.row_step_deg);
    let (columns, column_step_deg) = fewer(extent.columns, extent.column_step_deg);
    Grid {
        north_deg: extent.north_deg + 0.5 * (extent.row_step_deg - row_step_deg),
        west_deg: extent.west_deg - 0.5 * (extent.column_step_deg - column_step_deg),
        row_step_deg,
        column_step_deg,
        rows,
        columns,
    }
}

/// Shadow as black and light as white, each as opaque as it is strong, so that it lies on any paper.
pub(crate) fn shade(heights: &Heights) -> Picture {
    let grid = &heights.grid;
    let (row_m, column_m) = grid.steps_m();
    let stretched = heights.stretched();
    let mut places = Vec::with_capacity(heights.metres.len());
    for row in 0..grid.rows {
        for column in 0..grid.columns {
            let (north, south) = (row.saturating_sub(1), (row + 1).min(grid.rows - 1));
            let (west, east) = (column.saturating_sub(1), (column + 1).min(grid.columns - 1));
            let rise_east = stretched * (heights.at(row, east) - heights.at(row, west))
                / (column_m * (east - west) as f64);
            let rise_north = stretched * (heights.at(north, column) - heights.at(south, column))
                / (row_m * (south - north) as f64);
            places.push(lit(rise_east, rise_north));
        }
    }
    Picture { columns: grid.columns, places, palette: palette() }
}

/// The step of light on a slope, from the deepest shadow over level ground to the brightest light.
fn lit(rise_east: f64, rise_north: f64) -> u8 {
    let [east, north, up] = LIGHT_FROM;
    let light =
        (up - east * rise_east - north * rise_north) / (1.0 + rise_east.hypot(rise_north).powi(2)).sqrt();
    let (shadow, bright) = ((up - light) / (up + 0.3), (light - up) / (1.0 - up));
    let step = |strength: f64| (strength.clamp(0.0, 1.0) * f64::from(STEPS)).round() as u8;
    STEPS + step(bright) - step(shadow)
}

fn palette() -> Vec<Colour> {
    let step = |step: u8, most: f64| (f64::from(step) / f64::from(STEPS) * most).round() as u8;
    let shadows = (1..=STEPS).rev().map(|at| [0, 0, 0, step(at, DEEPEST)]);
    let lights = (1..=STEPS).map(|at| [255, 255, 255, step(at, BRIGHTEST)]);
    shadows.chain(std::iter::once([0, 0, 0, 0])).chain(lights).collect()
}

#[cfg(test)]
mod tests {
    use super::{FINEST, STEPS, Tile, coarser, lit};
    use forecast::terrain::Grid;

    /// Law of maps: slopes that face north-west are light, their backs dark, level ground neither; what is not known
    /// is neither too.
    #[test]
    fn light_falls_from_the_north_west() {
        assert_eq!(lit(0.0, 0.0), STEPS);
        assert!(lit(0.4, -0.4) > STEPS, "falls towards the north-west");
        assert!(lit(-0.4, 0.4) < STEPS, "falls towards the south-east");
        assert_eq!(lit(f64::NAN, f64::NAN), STEPS);
    }

    /// At the equator and the prime meridian four tiles of level 1 meet; the edge of the world lies at 85.0511° (by hand:
    /// atan(sinh(π))), and a pixel of level 0 is 40,075,017 m / 256 wide at the equator.
    #[test]
    fn a_tile_lies_where_its_numbers_say() {
        let tile = |level, column, row| Tile::new(level, column, row).expect("there is one");
        let half = 0.5 * 180.0 / 256.0;
        let at = tile(1, 1, 1).place(0, 0);
        assert!((at.longitude_deg - half).abs() < 1e-9 && (-half..0.0).contains(&at.latitude_deg), "{at:?}");
        let top = tile(0, 0, 0).place(-1, 0).latitude_deg.midpoint(tile(0, 0, 0).place(0, 0).latitude_deg);
        assert!((top - 85.0511).abs() < 0.01, "{top}");
        assert!((tile(0, 0, 0).step_m() - 40_075_017.0 / 256.0).abs() < 40.0);
        for (level, column, row) in [(1, 2, 0), (1, 0, 2), (FINEST + 1, 0, 0)] {
            assert!(Tile::new(level, column, row).is_none());
        }
    }

    #[test]
    fn a_coarser_grid_covers_the_same_ground() {
        let fine = Grid {
            north_deg: 47.0,
            west_deg: 13.0,
            row_step_deg: 0.001,
            column_step_deg: 0.002,
            rows: 1000,
            columns: 500,
        };
        let coarse = coarser(&fine, 100);
        assert_eq!((coarse.rows, coarse.columns), (100, 100));
        let edges = |grid: &Grid| {
            [
                grid.north_deg + 0.5 * grid.row_step_deg,
                grid.south_deg() - 0.5 * grid.row_step_deg,
                grid.west_deg - 0.5 * grid.column_step_deg,
                grid.east_deg() + 0.5 * grid.column_step_deg,
            ]
        };
        for (one, other) in edges(&fine).iter().zip(edges(&coarse)) {
            assert!((one - other).abs() < 1e-9, "{one} {other}");
        }
        assert_eq!(coarser(&fine, 2000), fine);
    }
}
