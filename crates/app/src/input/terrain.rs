//! Terrain tiles that a file names.

use std::path::Path;

use forecast::terrain::{Terrain, Tile};
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

/// Reads the tiles; none if no file is named. `at` makes a problem at the place where they are named.
pub(crate) fn terrain(
    names: &[String],
    folder: &Path,
    at: impl Fn(String, String) -> Problem,
) -> Result<Option<Terrain>, Failure> {
    let mut tiles = Vec::new();
    let mut problems = Vec::new();
    for name in names {
        if let Some((message, help)) = too_much(name, &tiles) {
            problems.push(at(message, help));
            break;
        }
        match bounded::read(&folder.join(name), LARGEST_TILE) {
            Err(error) => problems.push(at(
                format!("the terrain tile `{name}` can't be read: {}", reason(&error)),
                PATHS.to_owned(),
            )),
            Ok(bytes) => match Tile::read(name, &bytes) {
                Ok(tile) => tiles.push(tile),
                Err(error) => {
                    let said = error.to_string();
                    let (message, help) = said.rsplit_once("; ").unwrap_or((&said, "give another tile"));
                    problems.push(at(format!("terrain tile `{name}`: {message}"), help.to_owned()));
                }
            },
        }
    }
    if problems.is_empty() {
        Ok((!tiles.is_empty()).then(|| Terrain::new(tiles)))
    } else {
        Err(Failure { problems })
    }
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
