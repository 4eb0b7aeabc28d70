//! Terrain tiles that a file names.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use forecast::terrain::{Terrain, Tile};
use report::problem::{Failure, Problem};

use super::open;
use crate::output::reason;

/// So much of a tile is read at all: four times the largest HGT tile \[bytes\].
const LARGEST_TILE: u64 = 100 << 20;
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
        match bytes(&folder.join(name)) {
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

fn bytes(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let file: File = open(path)?;
    file.take(LARGEST_TILE).read_to_end(&mut bytes)?;
    Ok(bytes)
}
