//! Terrain tiles and land-cover maps that a file names.

use std::path::Path;

use design::surroundings::Ground;
use forecast::terrain::{CoverTile, Terrain, Tile};
use logbook::bounded;
use report::problem::{Failure, Problem};

use crate::output::reason;

/// So much of a tile is read at all: four times the largest HGT tile \[bytes\].
const LARGEST_TILE: u64 = 100 << 20;
/// So many tiles are read.
const MOST_TILES: usize = 100;
/// So many heights are held before another tile is read: four of the largest HGT tiles.
const MOST_POSTS: usize = 4 * 3601 * 3601;
/// What a tile's path counts from.
const PATHS: &str = "its path counts from the folder of the file that names it";

/// A list of files in `[ground]`: its key, and the code of what is wrong with one of them.
pub(crate) struct Listed {
    /// Its key.
    pub(crate) key: &'static str,
    /// The code.
    pub(crate) code: &'static str,
}

const TERRAIN: Listed = Listed { key: "ground.terrain", code: "terrain" };
const LAND_COVER: Listed = Listed { key: "ground.land_cover", code: "land-cover" };

/// Reads the tiles and the maps of what stands on them; none if no tile is named. `at` makes a problem at the place where they are
/// named.
pub(crate) fn terrain(
    ground: &Ground,
    folder: &Path,
    at: impl Fn(&Listed, String, String) -> Problem,
) -> Result<Option<Terrain>, Failure> {
    let (mut tiles, mut problems) = (Vec::new(), Vec::new());
    for name in &ground.terrain {
        if let Some((message, help)) = too_much(name, &tiles) {
            problems.push(at(&TERRAIN, message, help));
            break;
        }
        match tile(name, folder) {
            Ok(tile) => tiles.push(tile),
            Err((message, help)) => problems.push(at(&TERRAIN, message, help)),
        }
    }
    let cover = cover(&ground.land_cover, folder);
    problems.extend(
        cover
            .iter()
            .filter_map(|read| read.as_ref().err())
            .map(|(message, help)| at(&LAND_COVER, message.clone(), help.clone())),
    );
    if !ground.land_cover.is_empty() && ground.terrain.is_empty() {
        let message = "a land-cover map is named, and no terrain for it to lie on".to_owned();
        problems.push(at(&LAND_COVER, message, "name a terrain tile too, or leave the map out".to_owned()));
    }
    if problems.is_empty() {
        let cover = cover.into_iter().flatten().collect();
        Ok((!tiles.is_empty()).then(|| Terrain::new(tiles).with_cover(cover)))
    } else {
        Err(Failure { problems })
    }
}

/// What is wrong with a file, and what to do.
type Wrong = (String, String);

fn tile(name: &str, folder: &Path) -> Result<Tile, Wrong> {
    let bytes = read("the terrain tile", name, folder)?;
    Tile::read(name, &bytes).map_err(|error| worded("terrain tile", name, &error.to_string()))
}

/// The land-cover maps, or what is wrong with them.
fn cover(names: &[String], folder: &Path) -> Vec<Result<CoverTile, Wrong>> {
    if names.len() > MOST_TILES {
        let message = format!("{} land-cover maps are too many: {MOST_TILES} are read", names.len());
        return vec![Err((message, "name those around the nodes and gateways".to_owned()))];
    }
    let mut pixels = 0;
    let read = |name: &String| {
        if pixels > MOST_POSTS {
            let message =
                format!("the land-cover maps before `{name}` have {pixels} pixels, {MOST_POSTS} are held");
            return Err((message, "cut them to the ground around the nodes and gateways".to_owned()));
        }
        let bytes = self::read("the land-cover map", name, folder)?;
        let tile = CoverTile::read(name, &bytes)
            .map_err(|error| worded("land-cover map", name, &error.to_string()))?;
        pixels += tile.pixels();
        Ok(tile)
    };
    names.iter().map(read).collect()
}

fn read(what: &str, name: &str, folder: &Path) -> Result<Vec<u8>, Wrong> {
    let refused = |error: &std::io::Error| {
        (format!("{what} `{name}` can't be read: {}", reason(error)), PATHS.to_owned())
    };
    bounded::read(&folder.join(name), LARGEST_TILE).map_err(|error| refused(&error))
}

/// What is said of a file, with its name; what to do stands behind the last semicolon.
fn worded(what: &str, name: &str, said: &str) -> Wrong {
    let (message, help) = said.rsplit_once("; ").unwrap_or((said, "give another"));
    (format!("{what} `{name}`: {message}"), help.to_owned())
}

/// Why no more tiles can be read, if that is so.
fn too_much(name: &str, tiles: &[Tile]) -> Option<(String, String)> {
    if tiles.len() == MOST_TILES {
        let message = format!("the terrain tile `{name}` is one too many: {MOST_TILES} are read");
        return Some((message, "name the tiles around the nodes and gateways".to_owned()));
    }
    let posts: usize = tiles.iter().map(|tile| tile.grid().rows * tile.grid().columns).sum();
    (posts > MOST_POSTS).then(|| {
        let message =
            format!("the terrain before the tile `{name}` has {posts} heights, {MOST_POSTS} are held");
        (message, "name fewer tiles, or coarser ones: 3 arc-seconds serve well".to_owned())
    })
}
