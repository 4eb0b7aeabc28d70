#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "positions are clamped to the grid before they become indices"
)]

use path::geodesic::Place;

use super::{Grid, TileError, geotiff, hgt, voids};

/// Highest and lowest ground that is believed \[m\]: the Earth's, and what `path` accepts.
const BELIEVED_M: std::ops::RangeInclusive<f32> = -500.0..=9000.0;
/// What elevation data have meant by "void" since the shuttle's radar mission.
pub(super) const VOID: f64 = -32768.0;
/// Rounding of coordinates, in steps: a place on the last post is in the tile.
const ROUNDING: f64 = 1e-6;

/// Heights of the ground on a grid of posts.
#[derive(Clone, Debug, PartialEq)]
pub struct Tile {
    name: String,
    grid: Grid,
    /// NaN where void.
    heights_m: Vec<f32>,
    /// How far the tile speaks beyond its outer posts \[steps\]: half a step if each post stands for an area.
    margin: f64,
    filled: usize,
    voids: usize,
}

/// Where the samples of a file lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Sampling {
    /// At points: the outer posts are the tile's edge, and neighbours share them.
    Points,
    /// As areas: posts are their middles, and neighbours meet half a step further.
    Areas,
}

impl Tile {
    /// Reads a tile, whichever of the two kinds of file it is; `name` is its file name, in messages and, for HGT, as
    /// the place of its corner.
    ///
    /// # Errors
    /// What is wrong with the file and what to do.
    pub fn read(name: &str, bytes: &[u8]) -> Result<Self, TileError> {
        match bytes {
            [] => Err(TileError::Empty),
            [b'I', b'I', 42 | 43, 0, ..] | [b'M', b'M', 0, 42 | 43, ..] => Self::from_geotiff(name, bytes),
            [b'P', b'K', ..] | [0x1f, 0x8b, ..] => Err(TileError::Packed),
            _ if hgt::is_named(name) => Self::from_hgt(name, bytes),
            _ => Err(TileError::NotTerrain),
        }
    }

    /// Reads an HGT file, of 1 or 3 arc-seconds; its name (`N46E013.hgt`) is the south-west corner.
    ///
    /// # Errors
    /// A name without a corner, another size, heights that can't be.
    pub fn from_hgt(name: &str, bytes: &[u8]) -> Result<Self, TileError> {
        hgt::read(name, bytes)
    }

    /// Reads a GeoTIFF in degrees of latitude and longitude: one band of integers or floats in strips or tiles, plain or
    /// compressed by LZW, Deflate or PackBits.
    ///
    /// # Errors
    /// What can't be read, a projected grid, another datum, heights that can't be.
    pub fn from_geotiff(name: &str, bytes: &[u8]) -> Result<Self, TileError> {
        geotiff::read(name, bytes)
    }

    /// Checks the heights and fills small voids.
    pub(super) fn new(
        name: &str,
        grid: Grid,
        sampling: Sampling,
        mut heights_m: Vec<f32>,
    ) -> Result<Self, TileError> {
        debug_assert_eq!(heights_m.len(), grid.rows * grid.columns);
        if let Some(at) = heights_m.iter().position(|height| !height.is_nan() && !BELIEVED_M.contains(height))
        {
            let height_m = heights_m.get(at).copied().unwrap_or(f32::NAN);
            return Err(TileError::Unbelievable {
                row: at / grid.columns + 1,
                column: at % grid.columns + 1,
                height_m,
                swapped: swapped_is_believed(&heights_m),
            });
        }
        let filled = voids::fill_small(&mut heights_m, grid.columns);
        let voids = heights_m.iter().filter(|height| height.is_nan()).count();
        if voids == heights_m.len() {
            return Err(TileError::AllVoid);
        }
        let margin = match sampling {
            Sampling::Points => ROUNDING,
            Sampling::Areas => 0.5 + ROUNDING,
        };
        Ok(Self { name: name.to_owned(), grid, heights_m, margin, filled, voids })
    }

    /// Ground at sea level.
    pub(super) fn flat(grid: Grid) -> Self {
        let heights_m = vec![0.0; grid.rows * grid.columns];
        Self { name: "flat ground".to_owned(), grid, heights_m, margin: 0.5 + ROUNDING, filled: 0, voids: 0 }
    }

    /// The name it was read under.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its posts.
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// Posts that were void and have been filled from their neighbours: holes of at most
    /// [`Self::LARGEST_FILLED`] posts.
    pub fn filled_posts(&self) -> usize {
        self.filled
    }

    /// Posts that are void still.
    pub fn void_posts(&self) -> usize {
        self.voids
    }

    /// A hole of more posts than this is left a hole (a choice of ours: 4 by 4).
    pub const LARGEST_FILLED: usize = 16;

    /// Lowest and highest ground \[m\].
    pub fn range_m(&self) -> (f64, f64) {
        let known = self.heights_m.iter().filter(|height| !height.is_nan());
        let (low, high) =
            known.fold((f32::MAX, f32::MIN), |(low, high), height| (low.min(*height), high.max(*height)));
        (f64::from(low), f64::from(high))
    }

    /// Whether a place lies within the tile, void or not.
    pub fn holds(&self, at: Place) -> bool {
        self.within(at).is_some()
    }

    /// Height of the ground \[m\]; `None` outside or beside a void.
    #[inline]
    pub fn height_m(&self, at: Place) -> Option<f64> {
        let (row, column) = self.within(at)?;
        let columns = self.grid.columns;
        let (upper, left) = ((row as usize).min(self.grid.rows - 2), (column as usize).min(columns - 2));
        let (south, east) = (row - upper as f64, column - left as f64);
        let first = upper * columns + left;
        let ([nw, ne], [sw, se]) = (self.pair(first)?, self.pair(first + columns)?);
        let north_m = nw + (ne - nw) * east;
        let south_m = sw + (se - sw) * east;
        let height_m = north_m + (south_m - north_m) * south;
        (!height_m.is_nan()).then_some(height_m)
    }

    #[inline]
    fn pair(&self, first: usize) -> Option<[f64; 2]> {
        match self.heights_m.get(first..first + 2)? {
            [left, right] => Some([f64::from(*left), f64::from(*right)]),
            _ => None,
        }
    }

    /// Position of a place between the outer posts; beyond them it is held at the edge.
    #[inline]
    fn within(&self, at: Place) -> Option<(f64, f64)> {
        let (row, column) = self.grid.position(at);
        let (last_row, last_column) = ((self.grid.rows - 1) as f64, (self.grid.columns - 1) as f64);
        let margin = self.margin;
        let inside =
            row >= -margin && row <= last_row + margin && column >= -margin && column <= last_column + margin;
        inside.then(|| (row.clamp(0.0, last_row), column.clamp(0.0, last_column)))
    }
}

/// Whether the heights would be heights with their two bytes the other way round.
fn swapped_is_believed(heights_m: &[f32]) -> bool {
    heights_m.iter().filter(|height| !height.is_nan()).all(|height| {
        let whole = *height as i16;
        (f32::from(whole) - *height).abs() < f32::EPSILON
            && BELIEVED_M.contains(&f32::from(whole.swap_bytes()))
    })
}
