#![expect(
    clippy::cast_possible_truncation,
    reason = "heights are kept in single precision, and exact in it up to 16 km"
)]

use std::io::Cursor;

use tiff::TiffError;
use tiff::decoder::ifd::Value;
use tiff::decoder::{Decoder, DecodingResult};
use tiff::tags::Tag;

use super::tile::{Sampling, VOID};
use super::{Grid, Tile, TileError};

/// GeoTIFF keys (OGC 19-008r4, annex B): what they number.
mod key {
    pub(super) const MODEL_TYPE: u16 = 1024;
    pub(super) const RASTER_TYPE: u16 = 1025;
    pub(super) const GEODETIC_CRS: u16 = 2048;
    pub(super) const ANGULAR_UNITS: u16 = 2054;
    pub(super) const PROJECTED_CRS: u16 = 3072;
    pub(super) const VERTICAL_UNITS: u16 = 4099;
}

const PROJECTED: u16 = 1;
const GEOGRAPHIC: u16 = 2;
const PIXEL_IS_POINT: u16 = 2;
const DEGREE: u16 = 9102;
const METRE: u16 = 9001;
/// WGS 84, and two datums that lie within two metres of it: ETRS89 and NAD83.
const SAME_DATUM: [u16; 3] = [4326, 4258, 4269];
/// The number that means "none".
const UNDEFINED: u16 = 0;
const USER_DEFINED: u16 = 32767;

type File<'a> = Decoder<Cursor<&'a [u8]>>;

pub(super) fn read(name: &str, bytes: &[u8]) -> Result<Tile, TileError> {
    let (grid, sampling, heights_m) = values(name, bytes)?;
    Tile::new(name, grid, sampling, heights_m)
}

/// The classes that a file holds, by rows from the north, NaN where it says nothing; the grid is that of the middles of its
/// pixels. Maps of classes bring their colours, which are not looked at.
pub(super) fn read_classes(name: &str, bytes: &[u8]) -> Result<(Grid, Vec<f32>), TileError> {
    let mut plain = bytes.to_vec();
    if let Some(value) = colours_said_at(bytes).and_then(|at| plain.get_mut(at..at + 2)) {
        let grey = if bytes.starts_with(b"II") { GREY.to_le_bytes() } else { GREY.to_be_bytes() };
        value.copy_from_slice(&grey);
    }
    let (grid, _, values) = values(name, &plain)?;
    Ok((grid, values))
}

/// The tag that says how numbers become colours, and two of its values: from black to white, and by a palette, of which the
/// decoder reads nothing (TIFF 6.0, section 5).
const COLOURS: u16 = 262;
const GREY: u16 = 1;
const BY_PALETTE: u16 = 3;

/// Where the first directory of a file says that its numbers are those of a palette \[bytes from the beginning\]; `None` if it
/// doesn't.
fn colours_said_at(bytes: &[u8]) -> Option<usize> {
    let little = bytes.starts_with(b"II");
    let number = |at: usize, length: usize| {
        let field = bytes.get(at..at.checked_add(length)?)?;
        let shifted = |number: u64, byte: &u8| number << 8 | u64::from(*byte);
        let number = if little { field.iter().rev().fold(0, shifted) } else { field.iter().fold(0, shifted) };
        usize::try_from(number).ok()
    };
    // The large form of the format has longer offsets, counts and entries.
    let (directory, count, entry, value) = match number(2, 2)? {
        42 => (number(4, 4)?, 2, 12, 8),
        43 => (number(8, 8)?, 8, 20, 12),
        _ => return None,
    };
    let first = directory.checked_add(count)?;
    let entries = number(directory, count)?.min(MOST_ENTRIES);
    let at = (0..entries).map(|place| first.saturating_add(place * entry));
    let at = at.into_iter().find(|at| number(*at, 2) == Some(usize::from(COLOURS)))?.checked_add(value)?;
    (number(at, 2) == Some(usize::from(BY_PALETTE))).then_some(at)
}

/// A directory of a map has some twenty entries.
const MOST_ENTRIES: usize = 1000;

fn values(name: &str, bytes: &[u8]) -> Result<(Grid, Sampling, Vec<f32>), TileError> {
    let mut file = Decoder::new(Cursor::new(bytes)).map_err(|error| damaged(&error))?;
    let keys = keys(&mut file)?;
    let sampling = check_keys(name, &keys)?;
    let grid = grid(&mut file, sampling)?;
    let void = void(&mut file)?;
    let image = file.read_image().map_err(|error| damaged(&error))?;
    let heights_m = heights(image, void)?;
    if heights_m.len() != grid.rows * grid.columns {
        let bands = heights_m.len() / (grid.rows * grid.columns);
        return Err(refused(
            format!("it has {bands} bands"),
            "give one with the height alone, as a single band",
        ));
    }
    Ok((grid, sampling, heights_m))
}

fn refused(problem: String, help: &'static str) -> TileError {
    TileError::Tiff { problem, help }
}

fn damaged(error: &TiffError) -> TileError {
    let help = match error {
        TiffError::UnsupportedError(_) => {
            "store it plain or with LZW, Deflate or PackBits compression, as integers or floats"
        }
        TiffError::LimitsExceeded => "cut out the part around the site; a tile may have 256 MB of heights",
        _ => "it is cut off or damaged, fetch it again",
    };
    refused(error.to_string(), help)
}

/// Key and value of every entry that is a short itself.
fn keys(file: &mut File) -> Result<Vec<(u16, u16)>, TileError> {
    let help = "give one that says where it lies, in degrees of WGS 84";
    let directory = file
        .find_tag(Tag::GeoKeyDirectoryTag)
        .map_err(|error| damaged(&error))?
        .ok_or_else(|| refused("it has no geographic keys".to_owned(), help))?;
    let directory = directory.into_u16_vec().map_err(|error| damaged(&error))?;
    let (entries, _) = directory.as_chunks::<4>();
    let inline = entries.iter().skip(1).filter(|[_, location, ..]| *location == 0);
    Ok(inline.map(|[key, _, _, value]| (*key, *value)).collect())
}

fn check_keys(name: &str, keys: &[(u16, u16)]) -> Result<Sampling, TileError> {
    let value = |wanted: u16| keys.iter().find(|(key, _)| *key == wanted).map(|(_, value)| *value);
    if value(key::MODEL_TYPE) == Some(PROJECTED) || value(key::PROJECTED_CRS).is_some() {
        let known = value(key::PROJECTED_CRS)
            .filter(|code| *code != USER_DEFINED)
            .map(|code| format!(" (EPSG:{code})"));
        return Err(TileError::Projected { system: known.unwrap_or_default(), name: name.to_owned() });
    }
    if value(key::MODEL_TYPE) != Some(GEOGRAPHIC) {
        let help = "convert it, for example with `gdalwarp -t_srs EPSG:4326 in.tif out.tif`";
        return Err(refused("it is not in latitude and longitude".to_owned(), help));
    }
    // A user-defined system in degrees is one that a program wrote without knowing its number.
    let code = value(key::GEODETIC_CRS).unwrap_or(USER_DEFINED);
    if !SAME_DATUM.contains(&code) && code != USER_DEFINED && code != UNDEFINED {
        return Err(TileError::Datum { code, name: name.to_owned() });
    }
    if value(key::ANGULAR_UNITS).is_some_and(|unit| unit != DEGREE) {
        return Err(refused("its angles are not in degrees".to_owned(), "convert it to degrees"));
    }
    if value(key::VERTICAL_UNITS).is_some_and(|unit| unit != METRE) {
        return Err(refused("its heights are not in metres".to_owned(), "convert them to metres"));
    }
    Ok(if value(key::RASTER_TYPE) == Some(PIXEL_IS_POINT) { Sampling::Points } else { Sampling::Areas })
}

fn grid(file: &mut File, sampling: Sampling) -> Result<Grid, TileError> {
    let (columns, rows) = file.dimensions().map_err(|error| damaged(&error))?;
    let (columns, rows) = (columns as usize, rows as usize);
    if rows < 2 || columns < 2 {
        let problem = format!("it is {columns} by {rows} heights large");
        return Err(refused(problem, "give one of at least 2 by 2 heights"));
    }
    let scale = numbers(file, Tag::ModelPixelScaleTag)?;
    let tie = numbers(file, Tag::ModelTiepointTag)?;
    let (&[column_step_deg, row_step_deg, ..], &[column, row, _, longitude_deg, latitude_deg, _]) =
        (&scale[..], &tie[..])
    else {
        let help = "give one with north up, that has one tie point and the size of its pixels";
        return Err(refused("it does not say where it lies in the usual way".to_owned(), help));
    };
    let sense = (0.0..=1.0).contains(&row_step_deg)
        && (0.0..=1.0).contains(&column_step_deg)
        && row_step_deg.min(column_step_deg) > 0.0
        && column_step_deg * columns as f64 <= 361.0
        && row_step_deg * rows as f64 <= 181.0
        && latitude_deg.abs() <= 91.0
        && longitude_deg.abs() <= 361.0;
    if !sense {
        let problem = format!(
            "its corner {latitude_deg}, {longitude_deg} and its steps {row_step_deg}, {column_step_deg} are not degrees"
        );
        return Err(refused(problem, "convert it to latitude and longitude"));
    }
    // An area's corner is tied, and its post stands in its middle.
    let middle = if sampling == Sampling::Areas { 0.5 } else { 0.0 };
    Ok(Grid {
        north_deg: latitude_deg + (row - middle) * row_step_deg,
        west_deg: longitude_deg - (column - middle) * column_step_deg,
        row_step_deg,
        column_step_deg,
        rows,
        columns,
    })
}

/// The numbers of a tag, all finite; none if it isn't there.
fn numbers(file: &mut File, tag: Tag) -> Result<Vec<f64>, TileError> {
    let found = file.find_tag(tag).map_err(|error| damaged(&error))?;
    let numbers = found.map(Value::into_f64_vec).transpose().map_err(|error| damaged(&error))?;
    let numbers = numbers.unwrap_or_default();
    if let Some(wrong) = numbers.iter().find(|number| !number.is_finite()) {
        let problem = format!("its tag {tag:?} says `{wrong}` where it lies");
        return Err(refused(problem, "write its place in finite degrees"));
    }
    Ok(numbers)
}

/// What the file says it writes for "void".
fn void(file: &mut File) -> Result<Option<f64>, TileError> {
    let Some(stated) = file.find_tag(Tag::GdalNodata).map_err(|error| damaged(&error))? else {
        return Ok(None);
    };
    let text = stated.into_string().map_err(|error| damaged(&error))?;
    let number = text.trim_end_matches('\0').trim().parse().ok();
    number.map(Some).ok_or_else(|| {
        refused(format!("its no-data tag `{}` is no number", text.trim()), "write a number such as -32768")
    })
}

fn heights(image: DecodingResult, void: Option<f64>) -> Result<Vec<f32>, TileError> {
    let single = void.map(|void| void as f32);
    let height = |value: f64| {
        let is_void = void.is_some_and(|void| (void - value).abs() <= 0.0)
            || single.is_some_and(|void| (void - value as f32).abs() <= 0.0)
            || (value - VOID).abs() <= 0.0;
        if is_void { f32::NAN } else { value as f32 }
    };
    Ok(match image {
        DecodingResult::U8(all) => all.into_iter().map(|value| height(value.into())).collect(),
        DecodingResult::I8(all) => all.into_iter().map(|value| height(value.into())).collect(),
        DecodingResult::U16(all) => all.into_iter().map(|value| height(value.into())).collect(),
        DecodingResult::I16(all) => all.into_iter().map(|value| height(value.into())).collect(),
        DecodingResult::U32(all) => all.into_iter().map(|value| height(value.into())).collect(),
        DecodingResult::I32(all) => all.into_iter().map(|value| height(value.into())).collect(),
        DecodingResult::F32(all) => all.into_iter().map(|value| height(value.into())).collect(),
        DecodingResult::F64(all) => all.into_iter().map(height).collect(),
        _ => {
            let help = "store its heights as 16 or 32-bit integers or as floats";
            return Err(refused("its numbers are of a rare kind".to_owned(), help));
        }
    })
}
