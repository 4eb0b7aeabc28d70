//! The ground: tiles of heights that a person brings, and heights between two places over them.
//!
//! A [`Tile`] is read from the bytes of an HGT file or a GeoTIFF; a [`Terrain`] is several of them side by side.
//! Heights are metres above sea level as the file has them; small holes are filled, and said.

mod cover;
mod error;
mod geotiff;
mod grid;
mod hgt;
mod section;
mod tile;
mod voids;

pub use cover::{CoverError, CoverTile};
pub use error::{GroundError, TileError};
pub use grid::Grid;
pub use path::geodesic::Place;
pub use section::Section;
pub(crate) use section::{POSTS_A_STEP, crossings, steps};
pub use tile::Tile;

use design::quantity::Length;
use design::surroundings::{Around, Clutter};
use path::clutter::Standing;

/// Mean radius of the Earth [m], for lengths of a degree that need no more than three digits (IUGG mean radius R1).
const EARTH_M: f64 = 6_371_008.8;

/// Posts of flat ground: a path over it needs a point every 30 to 60 m, since roofs stand on it \[m\].
const FLAT_POSTS_M: f64 = 50.0;
const MOST_FLAT_POSTS: usize = 2000;

/// Tiles side by side, and what stands on them; where they overlap the earlier one in the list speaks.
#[derive(Clone, Debug, PartialEq)]
pub struct Terrain {
    tiles: Vec<Tile>,
    cover: Vec<CoverTile>,
}

impl Terrain {
    /// The ground under these tiles.
    pub fn new(tiles: Vec<Tile>) -> Self {
        Self { tiles, cover: Vec::new() }
    }

    /// Flat ground at sea level under all of a grid, where nobody has named a tile: posts about every 50 m, 2000 a side at
    /// most.
    #[must_use]
    pub fn flat(under: &Grid) -> Self {
        Self::new(vec![Tile::flat(under.with_posts_every(FLAT_POSTS_M, MOST_FLAT_POSTS))])
    }

    /// The tiles, as given.
    pub fn tiles(&self) -> &[Tile] {
        &self.tiles
    }

    /// The same ground with maps of what stands on it.
    #[must_use]
    pub fn with_cover(self, cover: Vec<CoverTile>) -> Self {
        Self { cover, ..self }
    }

    /// Whether there is a map of what stands on it.
    #[must_use]
    pub fn has_cover(&self) -> bool {
        !self.cover.is_empty()
    }

    /// What a map says stands at a place; `None` where none says anything.
    #[inline]
    #[must_use]
    pub fn standing(&self, at: Place) -> Option<Clutter> {
        self.cover.iter().find_map(|tile| tile.standing(at))
    }

    /// The same as what a path is laid over.
    #[inline]
    pub(crate) fn obstacle(&self, at: Place) -> Option<Standing> {
        let known = self.standing(at)?.standing();
        Some(Standing { height_m: known.height.metres(), trees: known.trees })
    }

    /// What stands around an antenna: what a map says of its place, unless that is said of this antenna alone.
    #[must_use]
    pub fn around(&self, at: Place, said: Around) -> Around {
        let mapped = self.standing(at).filter(|_| !said.own);
        mapped.map_or(said, |clutter| Around { clutter, stated: true, ..said })
    }

    /// Height of the ground \[m\], straight between the four posts around the place; `None` outside every tile and
    /// where a post is void.
    #[inline]
    pub fn height_m(&self, at: Place) -> Option<f64> {
        self.tiles.iter().find_map(|tile| tile.height_m(at))
    }

    /// Heights from one place to another: at equal steps of at most `spacing` (2000 of them at most), and where the line
    /// crosses rows and columns of posts.
    ///
    /// # Errors
    /// Where the tiles end or a void begins, counted from `from`.
    pub fn between(&self, from: Place, to: Place, spacing: Length) -> Result<Section, GroundError> {
        section::between(self, from, to, spacing)
    }

    /// The step \[m\] in which the finest tile that holds a place has its posts.
    pub fn spacing_m(&self, at: Place) -> Option<f64> {
        let holding = self.tiles.iter().filter(|tile| tile.holds(at));
        holding.map(|tile| tile.grid().spacing_m()).min_by(f64::total_cmp)
    }

    /// Why a place has no height.
    fn missing(&self, at: Place, distance_km: f64) -> GroundError {
        match self.tiles.iter().find(|tile| tile.holds(at)) {
            Some(tile) => GroundError::Void { tile: tile.name().to_owned(), at, distance_km },
            None => GroundError::Ends { at, distance_km },
        }
    }
}
