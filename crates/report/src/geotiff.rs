//! The map as a GeoTIFF: one byte a place that says what is said of it, with the colours of the picture.

use std::io::Cursor;

use tiff::TiffError;
use tiff::encoder::colortype::Gray8;
use tiff::encoder::{Compression, ImageEncoder, TiffEncoder, TiffKindStandard};
use tiff::tags::{PhotometricInterpretation, Tag};

use crate::chart::coverage::plate::{BLUE, PAPER};
use crate::chart::coverage::{CoverageMap, Zone};
use crate::chart::picture::over;

/// GeoTIFF keys: version 1.1.0, then four entries: a geographic system, pixels that are areas, WGS 84, degrees.
///
/// # References
/// OGC 19-008r4, "OGC GeoTIFF Standard" 1.1, annexes B and C.
const GEO_KEYS: [u16; 20] = [1, 1, 1, 4, 1024, 0, 1, 2, 1025, 0, 1, 1, 2048, 0, 1, 4326, 2054, 0, 1, 9102];
/// What a place bears of which nothing is known; the file says that it is no value.
const UNKNOWN: u8 = 0;
/// Colours of what is heard outside, not heard, and not known.
const OPEN: [u8; 3] = [0xc8, 0x80, 0x0c];
const NOTHING_KNOWN: [u8; 3] = [0xa0, 0xa0, 0xa0];

/// The bytes of the file. What each number means stands in its description: "1 heard at SF7".
pub fn bytes(map: &CoverageMap) -> Vec<u8> {
    let mut file = Cursor::new(Vec::new());
    write(map, &mut file).expect("a string of bytes takes all bytes");
    file.into_inner()
}

fn write(map: &CoverageMap, file: &mut Cursor<Vec<u8>>) -> Result<(), TiffError> {
    let zones = map.zones();
    let grid = &map.coverage.grid;
    let side = |count: usize| u32::try_from(count).expect("a map has fewer than four billion columns");
    let mut tiff = TiffEncoder::new(file)?.with_compression(Compression::Lzw);
    let mut image = tiff.new_image::<Gray8>(side(grid.columns), side(grid.rows))?;
    // Near the beginning, where it is looked for before the file is written over.
    image.encoder().write_tag(Tag::Software, "overwinter")?;
    say_where(map, &mut image)?;
    say_what(map, &zones, &mut image)?;
    let places = (0..grid.rows).flat_map(|row| (0..grid.columns).map(move |column| (row, column)));
    let codes: Vec<u8> = places.map(|(row, column)| code(&zones, map.zone(row, column))).collect();
    image.write_data(&codes)
}

type Image<'a, 'f> = ImageEncoder<'a, &'f mut Cursor<Vec<u8>>, Gray8, TiffKindStandard>;

/// The north-western corner and the steps, in degrees.
fn say_where(map: &CoverageMap, image: &mut Image<'_, '_>) -> Result<(), TiffError> {
    let grid = &map.coverage.grid;
    let (west_deg, north_deg) =
        (grid.west_deg - 0.5 * grid.column_step_deg, grid.north_deg + 0.5 * grid.row_step_deg);
    let directory = image.encoder();
    directory.write_tag(Tag::ModelPixelScaleTag, &[grid.column_step_deg, grid.row_step_deg, 0.0][..])?;
    directory.write_tag(Tag::ModelTiepointTag, &[0.0, 0.0, 0.0, west_deg, north_deg, 0.0][..])?;
    directory.write_tag(Tag::GeoKeyDirectoryTag, &GEO_KEYS[..])
}

/// What the numbers mean, in words and colours.
fn say_what(map: &CoverageMap, zones: &[Zone], image: &mut Image<'_, '_>) -> Result<(), TiffError> {
    let said = zones.iter().map(|zone| format!("{} {}", code(zones, *zone), map.zone_words(*zone)));
    let said: String = said.collect::<Vec<_>>().join("; ");
    // The standard takes letters of ASCII alone.
    let said: String = said.chars().map(|letter| if letter.is_ascii() { letter } else { '?' }).collect();
    let mut colours = [[0xff_u8; 3]; 256];
    for zone in zones {
        colours[usize::from(code(zones, *zone))] = colour(map, *zone);
    }
    // Sixteen bits each: all reds, all greens, all blues (TIFF 6.0, section 5).
    let map_of: Vec<u16> = (0..3)
        .flat_map(|channel| colours.iter().map(move |colour| 257 * u16::from(colour[channel])))
        .collect();
    let directory = image.encoder();
    directory.write_tag(Tag::ImageDescription, &*said)?;
    directory.write_tag(Tag::GdalNodata, &*UNKNOWN.to_string())?;
    directory.write_tag(Tag::PhotometricInterpretation, PhotometricInterpretation::RGBPalette.to_u16())?;
    directory.write_tag(Tag::ColorMap, &map_of[..])
}

fn code(zones: &[Zone], zone: Zone) -> u8 {
    let place = zones.iter().position(|known| *known == zone).filter(|_| zone != Zone::HeightUnknown);
    place.map_or(UNKNOWN, |place| u8::try_from(place + 1).unwrap_or(u8::MAX))
}

fn colour(map: &CoverageMap, zone: Zone) -> [u8; 3] {
    match zone {
        Zone::Heard(step) => {
            let [red, green, blue] = BLUE;
            let [red, green, blue, _] = over([red, green, blue, map.opacity_byte(step)], PAPER);
            [red, green, blue]
        }
        Zone::IfOutside => OPEN,
        Zone::NotHeard => [PAPER[0], PAPER[1], PAPER[2]],
        Zone::HeightUnknown => NOTHING_KNOWN,
    }
}

#[cfg(test)]
mod tests {
    use super::bytes;
    use crate::chart::coverage::tests::with_map;
    use std::io::Cursor;
    use tiff::decoder::{Decoder, DecodingResult};
    use tiff::tags::Tag;

    /// By hand as the KML beside it: 20 rows of 0.005 and 10 columns of 0.01 degrees from 47.0525 north and 12.945 east; keys by
    /// OGC 19-008r4, annex B: 1024 = 2 geographic, 1025 = 1 area, 2048 = 4326 WGS 84, 2054 = 9102 degrees.
    #[test]
    fn the_file_says_where_it_lies_and_what_its_numbers_mean() {
        let file = with_map(bytes);
        assert!(file.windows(10).take(2038).any(|part| part == b"overwinter"));
        let mut read = Decoder::new(Cursor::new(&file[..])).expect("a TIFF");
        assert_eq!(read.dimensions().expect("a size"), (10, 20));
        let numbers = |read: &mut Decoder<_>, tag| read.get_tag_f64_vec(tag).expect("numbers");
        assert_eq!(numbers(&mut read, Tag::ModelPixelScaleTag), [0.01, 0.005, 0.0]);
        let tie = numbers(&mut read, Tag::ModelTiepointTag);
        let wanted = [0.0, 0.0, 0.0, 12.945, 47.0525, 0.0];
        assert!(tie.iter().zip(wanted).all(|(one, other)| (one - other).abs() < 1e-9), "{tie:?}");
        let keys = read.get_tag_u16_vec(Tag::GeoKeyDirectoryTag).expect("keys");
        assert_eq!(keys[..4], [1, 1, 1, 4]);
        let entries: Vec<[u16; 2]> = keys[4..].chunks(4).map(|entry| [entry[0], entry[3]]).collect();
        assert_eq!(entries, [[1024, 2], [1025, 1], [2048, 4326], [2054, 9102]]);
        let said = read.get_tag_ascii_string(Tag::ImageDescription).expect("a description");
        assert!(
            said.starts_with("1 heard at SF7; 2 only at SF12; ") && said.ends_with("0 height unknown"),
            "{said}"
        );
        // The decoder reads no palettes: the entry that names one, 262 as a short of 3, becomes one of grey.
        let entry = [6, 1, 3, 0, 1, 0, 0, 0, 3, 0, 0, 0];
        let at = file.windows(12).position(|part| part == entry).expect("a palette is named");
        let mut grey = file.clone();
        grey[at + 8] = 1;
        let mut read = Decoder::new(Cursor::new(&grey[..])).expect("a TIFF");
        let DecodingResult::U8(codes) = read.read_image().expect("an image") else { panic!("bytes") };
        let at = |row: usize, column: usize| codes[10 * row + column];
        assert_eq!([at(2, 0), at(3, 0), at(8, 0), at(19, 0), at(0, 9)], [1, 2, 4, 5, 0]);
    }
}
