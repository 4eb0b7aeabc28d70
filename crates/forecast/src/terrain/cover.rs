#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "positions are clamped to the grid before they become indices"
)]

use std::collections::BTreeSet;
use std::sync::LazyLock;

use design::surroundings::Clutter;
use path::geodesic::Place;

use super::{Grid, TileError, geotiff};

/// The code that means "nothing is said" beside that which a file names itself.
const NOTHING: u8 = 0;

/// What stands on the ground, by class, on a grid of pixels.
#[derive(Clone, Debug, PartialEq)]
pub struct CoverTile {
    name: String,
    grid: Grid,
    /// [`NOTHING`] where the file says nothing.
    codes: Vec<u8>,
}

/// Why a file can't be used as a land-cover map.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CoverError {
    /// The file is empty, packed, damaged, or in other units.
    #[error(transparent)]
    File(TileError),
    /// Metres on a map, or degrees of another datum.
    #[error(
        "the land-cover map is not in latitude and longitude of WGS 84{system}; convert it without mixing its classes, for example with `gdalwarp -t_srs EPSG:4326 -r near {name} wgs84.tif`"
    )]
    OtherCoordinates {
        /// The code of its coordinates, in words; empty if it has none.
        system: String,
        /// Name of the file.
        name: String,
    },
    /// A kind of file that holds no classes.
    #[error("the file is no land-cover map as known here; give a GeoTIFF with one class a pixel")]
    NotCover,
    /// Numbers that are no classes.
    #[error(
        "it holds {value} where a class is wanted, a whole number from 1 to 255; give the map of classes itself"
    )]
    NoClass {
        /// As read.
        value: f64,
    },
    /// Classes that nothing is known of.
    #[error(
        "its {} not known here; rewrite them as one of {known}, or cut the map to where they do not occur",
        if codes.len() == 1 { format!("class {} is", codes[0]) } else { format!("classes {} are", listed(codes)) }
    )]
    Unknown {
        /// All of them, ascending.
        codes: Vec<u8>,
        /// Those that are known, with their words.
        known: String,
    },
    /// Nothing but pixels that say nothing.
    #[error("no pixel of the land-cover map says anything; fetch it again or give another")]
    AllEmpty,
}

impl CoverTile {
    /// Reads a GeoTIFF in degrees of latitude and longitude with one class a pixel; `name` is its file name, in messages.
    ///
    /// # Errors
    /// What is wrong with the file and what to do, all classes that are not known among it.
    pub fn read(name: &str, bytes: &[u8]) -> Result<Self, CoverError> {
        match bytes {
            [] => Err(CoverError::File(TileError::Empty)),
            [b'I', b'I', 42 | 43, 0, ..] | [b'M', b'M', 0, 42 | 43, ..] => Self::from_geotiff(name, bytes),
            [b'P', b'K', ..] | [0x1f, 0x8b, ..] => Err(CoverError::File(TileError::Packed)),
            _ => Err(CoverError::NotCover),
        }
    }

    fn from_geotiff(name: &str, bytes: &[u8]) -> Result<Self, CoverError> {
        let (grid, values) = geotiff::read_classes(name, bytes).map_err(of_file)?;
        let codes = values.into_iter().map(code).collect::<Result<Vec<u8>, _>>()?;
        let found: BTreeSet<u8> = codes.iter().copied().filter(|code| *code != NOTHING).collect();
        if found.is_empty() {
            return Err(CoverError::AllEmpty);
        }
        let unknown: Vec<u8> =
            found.into_iter().filter(|code| CLASSES[usize::from(*code)].is_none()).collect();
        if unknown.is_empty() {
            Ok(Self { name: name.to_owned(), grid, codes })
        } else {
            Err(CoverError::Unknown { codes: unknown, known: known_words() })
        }
    }

    /// The name it was read under.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Pixels it holds.
    #[must_use]
    pub fn pixels(&self) -> usize {
        self.codes.len()
    }

    /// What stands on the pixel that holds a place; `None` outside, and where nothing is said.
    #[inline]
    #[must_use]
    pub fn standing(&self, at: Place) -> Option<Clutter> {
        let (row, column) = self.grid.position(at);
        let (row, column) = ((row + 0.5).floor(), (column + 0.5).floor());
        let inside =
            row >= 0.0 && column >= 0.0 && row < self.grid.rows as f64 && column < self.grid.columns as f64;
        let code =
            inside.then(|| self.codes.get(row as usize * self.grid.columns + column as usize)).flatten()?;
        CLASSES[usize::from(*code)]
    }
}

/// The same in the words of a land-cover map: classes must not be mixed by what converts them.
fn of_file(error: TileError) -> CoverError {
    match error {
        TileError::Projected { system, name } => CoverError::OtherCoordinates { system, name },
        TileError::Datum { code, name } => {
            CoverError::OtherCoordinates { system: format!(" (EPSG:{code})"), name }
        }
        other => CoverError::File(other),
    }
}

/// What each code means.
static CLASSES: LazyLock<[Option<Clutter>; 256]> =
    LazyLock::new(|| std::array::from_fn(|code| u8::try_from(code).ok().and_then(Clutter::of_land_cover)));

/// The code of a value; [`NOTHING`] where it is void.
fn code(value: f32) -> Result<u8, CoverError> {
    if value.is_nan() {
        return Ok(NOTHING);
    }
    let is_class = value.fract() == 0.0 && (0.0..=255.0).contains(&value);
    if is_class { Ok(value as u8) } else { Err(CoverError::NoClass { value: value.into() }) }
}

fn listed(codes: &[u8]) -> String {
    codes.iter().map(u8::to_string).collect::<Vec<_>>().join(", ")
}

/// "10 wood or orchard, 20 open ground".
fn known_words() -> String {
    let known = (1..=u8::MAX).filter_map(|code| Some((code, CLASSES[usize::from(code)]?)));
    known.map(|(code, clutter)| format!("{code} {}", clutter.standing().title)).collect::<Vec<_>>().join(", ")
}
