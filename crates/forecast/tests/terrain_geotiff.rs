//! GeoTIFF: every storage that is promised, and what is refused.

#![expect(clippy::disallowed_methods, reason = "the test reads its data files")]

#[path = "../../laws/tests/trial/mod.rs"]
#[expect(dead_code, reason = "nothing is drawn here")]
mod notes;

use std::io::Cursor;
use std::path::Path;

use forecast::terrain::{Place, Tile, TileError};
use proptest::prelude::*;
use tiff::encoder::colortype::{ColorType, Gray16, Gray32Float, GrayI16, GrayI32, RGB16};
use tiff::encoder::{Compression, DeflateLevel, TiffEncoder, TiffValue};
use tiff::tags::Tag;

const JACKSBORO: &[u8] = include_bytes!("data/terrain/jacksboro.tif");
const LARKMOOR: &[u8] = include_bytes!("../../../examples/larkmoor/terrain/larkmoor.tif");
const SIDE: u32 = 7;
/// Geographic, areas, WGS 84.
const KEYS: [u16; 16] = [1, 1, 0, 3, 1024, 0, 1, 2, 1025, 0, 1, 1, 2048, 0, 1, 4326];

/// What a written file says of itself.
struct Labels<'a> {
    keys: &'a [u16],
    scale: &'a [f64],
    tie: &'a [f64],
    void: Option<&'a str>,
}

impl Default for Labels<'_> {
    fn default() -> Self {
        let (scale, tie) = (&[0.01, 0.01, 0.0][..], &[0.0, 0.0, 0.0, 13.0, 47.0, 0.0][..]);
        Self { keys: &KEYS, scale, tie, void: None }
    }
}

fn written<C: ColorType>(samples: &[C::Inner], compression: Compression, labels: &Labels) -> Vec<u8>
where
    [C::Inner]: TiffValue,
{
    let mut bytes = Cursor::new(Vec::new());
    let mut file = TiffEncoder::new(&mut bytes).expect("a file").with_compression(compression);
    let mut image = file.new_image::<C>(SIDE, SIDE).expect("an image");
    image.rows_per_strip(2).expect("strips of two rows");
    let tags = image.encoder();
    tags.write_tag(Tag::ModelPixelScaleTag, labels.scale).expect("a tag");
    tags.write_tag(Tag::ModelTiepointTag, labels.tie).expect("a tag");
    tags.write_tag(Tag::GeoKeyDirectoryTag, labels.keys).expect("a tag");
    if let Some(void) = labels.void {
        tags.write_tag(Tag::GdalNodata, void).expect("a tag");
    }
    image.write_data(samples).expect("heights");
    bytes.into_inner()
}

/// Heights of an even slope by row and column.
fn slope() -> Vec<i16> {
    (0..7_i16).flat_map(|row| (0..7_i16).map(move |column| 200 - 30 * row + 11 * column)).collect()
}

/// Where the slope is 200 - 30 * row + 11 * column: the middle of the area whose corner is tied.
fn post(row: f64, column: f64) -> Place {
    Place { latitude_deg: 47.0 - 0.01 * (row + 0.5), longitude_deg: 13.0 + 0.01 * (column + 0.5) }
}

fn assert_is_slope(tile: &Tile) {
    for (row, column) in [(0.0, 0.0), (6.0, 6.0), (0.0, 6.0), (2.5, 3.25), (5.9, 0.1)] {
        let height_m = tile.height_m(post(row, column)).expect("inside");
        assert!((height_m - (200.0 - 30.0 * row + 11.0 * column)).abs() < 1e-6, "{row} {column}: {height_m}");
    }
}

/// Law: what another function writes is read back, whatever the compression and the kind of number.
#[test]
fn every_compression_and_kind_of_number_gives_the_same_heights() {
    let labels = Labels::default();
    let heights = slope();
    let wide: Vec<i32> = heights.iter().map(|height| i32::from(*height)).collect();
    let unsigned: Vec<u16> =
        heights.iter().map(|height| u16::try_from(*height).expect("above the sea")).collect();
    let floats: Vec<f32> = heights.iter().map(|height| f32::from(*height)).collect();
    for compression in [
        Compression::Uncompressed,
        Compression::Lzw,
        Compression::Deflate(DeflateLevel::default()),
        Compression::Packbits,
    ] {
        for bytes in [
            written::<GrayI16>(&heights, compression, &labels),
            written::<GrayI32>(&wide, compression, &labels),
            written::<Gray16>(&unsigned, compression, &labels),
            written::<Gray32Float>(&floats, compression, &labels),
        ] {
            assert_is_slope(&Tile::read("slope.tif", &bytes).expect("a tile"));
        }
    }
}

/// A plain file of 20 by 20 heights in four tiles of 16 by 16, byte by byte as TIFF 6.0 section 15 has it; with big-endian
/// numbers, as the shuttle's successors are often stored.
fn in_tiles() -> Vec<u8> {
    let height = |row: u16, column: u16| 500 - 7 * row.min(19) + 3 * column.min(19);
    let mut bytes = b"MM\0*\0\0\0\x08".to_vec();
    let (tags, first) = (13_u16, 400_u32);
    let offsets: Vec<u32> = (0..4).map(|tile| first + 512 * tile).collect();
    let mut later: Vec<u8> = Vec::new();
    let mut entry = |tag: u16, kind: u16, count: u32, raw: Vec<u8>| {
        let place = if raw.len() > 4 {
            let place = 8 + 2 + 12 * u32::from(tags) + 4 + u32::try_from(later.len()).expect("small");
            later.extend(&raw);
            place.to_be_bytes().to_vec()
        } else {
            [raw, vec![0; 4]].concat()[..4].to_vec()
        };
        [&tag.to_be_bytes()[..], &kind.to_be_bytes(), &count.to_be_bytes(), &place].concat()
    };
    let short = |value: u16| value.to_be_bytes().to_vec();
    let doubles = |values: &[f64]| values.iter().flat_map(|value| value.to_be_bytes()).collect::<Vec<u8>>();
    let longs = |values: &[u32]| values.iter().flat_map(|value| value.to_be_bytes()).collect::<Vec<u8>>();
    let entries = [
        entry(256, 3, 1, short(20)),
        entry(257, 3, 1, short(20)),
        entry(258, 3, 1, short(16)),
        entry(259, 3, 1, short(1)),
        entry(262, 3, 1, short(1)),
        entry(277, 3, 1, short(1)),
        entry(322, 3, 1, short(16)),
        entry(323, 3, 1, short(16)),
        entry(324, 4, 4, longs(&offsets)),
        entry(325, 4, 4, longs(&[512; 4])),
        entry(33550, 12, 3, doubles(&[0.01, 0.01, 0.0])),
        entry(33922, 12, 6, doubles(&[0.0, 0.0, 0.0, 13.0, 47.0, 0.0])),
        entry(34735, 3, 16, KEYS.iter().flat_map(|key| key.to_be_bytes()).collect()),
    ];
    bytes.extend(tags.to_be_bytes());
    bytes.extend(entries.concat());
    bytes.extend([0; 4]);
    bytes.extend(later);
    assert!(bytes.len() <= first as usize);
    bytes.resize(first as usize, 0);
    for (down, right) in [(0, 0), (0, 16), (16, 0), (16, 16)] {
        let inside = (0..16).flat_map(|row| (0..16).map(move |column| (down + row, right + column)));
        bytes.extend(inside.flat_map(|(row, column)| height(row, column).to_be_bytes()));
    }
    bytes
}

#[test]
fn tiles_and_big_endian_numbers_are_read() {
    let tile = Tile::read("tiles.tif", &in_tiles()).expect("a tile");
    assert_eq!((tile.grid().rows, tile.grid().columns), (20, 20));
    for (row, column) in [(0.0, 0.0), (15.5, 15.5), (19.0, 19.0), (3.25, 17.75)] {
        let height_m = tile.height_m(post(row, column)).expect("inside");
        assert!((height_m - (500.0 - 7.0 * row + 3.0 * column)).abs() < 1e-6, "{row} {column}: {height_m}");
    }
}

#[test]
fn an_area_speaks_to_its_edge_and_a_point_file_ends_at_its_posts() {
    let areas = Tile::read("a.tif", &written::<GrayI16>(&slope(), Compression::Lzw, &Labels::default()))
        .expect("a tile");
    assert!(areas.height_m(post(-0.49, 3.0)).is_some() && areas.height_m(post(-0.51, 3.0)).is_none());
    let mut keys = KEYS;
    keys[11] = 2;
    let labels = Labels { keys: &keys, ..Labels::default() };
    let points =
        Tile::read("p.tif", &written::<GrayI16>(&slope(), Compression::Lzw, &labels)).expect("a tile");
    // The corner is the first post now, half a step north-west of the middle of an area.
    assert_eq!(points.height_m(Place { latitude_deg: 47.0, longitude_deg: 13.0 }), Some(200.0));
    assert_eq!(points.height_m(post(-0.6, 3.0)), None);
}

#[test]
fn voids_are_what_the_no_data_tag_says_and_the_shuttle_missions_number() {
    let mut heights = slope();
    (heights[10], heights[30]) = (-9999, i16::MIN);
    let labels = Labels { void: Some("-9999"), ..Labels::default() };
    let tile = Tile::read("v.tif", &written::<GrayI16>(&heights, Compression::Lzw, &labels)).expect("a tile");
    assert_eq!((tile.filled_posts(), tile.void_posts()), (2, 0));
    let error = Tile::read("v.tif", &written::<GrayI16>(&heights, Compression::Lzw, &Labels::default()))
        .expect_err("undeclared")
        .to_string();
    assert!(error.contains("row 2, column 4 is -9999 m") && error.contains("no-data tag"), "{error}");
    let mut floats: Vec<f32> = slope().iter().map(|height| f32::from(*height)).collect();
    (floats[10], floats[30]) = (f32::MIN, f32::NAN);
    let labels = Labels { void: Some("-3.4028234663852886e+38"), ..Labels::default() };
    let tile =
        Tile::read("v.tif", &written::<Gray32Float>(&floats, Compression::Lzw, &labels)).expect("a tile");
    assert_eq!((tile.filled_posts(), tile.void_posts()), (2, 0));
}

#[test]
fn maps_in_metres_other_datums_and_units_are_refused_with_what_to_do() {
    let refuse = |labels: Labels| {
        Tile::read("x.tif", &written::<GrayI16>(&slope(), Compression::Lzw, &labels))
            .expect_err("refused")
            .to_string()
    };
    let projected = [1, 1, 0, 3, 1024, 0, 1, 1, 1025, 0, 1, 1, 3072, 0, 1, 32633];
    let said = refuse(Labels { keys: &projected, ..Labels::default() });
    assert!(said.contains("EPSG:32633") && said.contains("gdalwarp -t_srs EPSG:4326"), "{said}");
    let said = refuse(Labels { keys: &[1, 1, 0, 2, 1024, 0, 1, 2, 2048, 0, 1, 4314], ..Labels::default() });
    assert!(said.contains("EPSG:4314") && said.contains("wgs84.tif"), "{said}");
    let feet = [1, 1, 0, 3, 1024, 0, 1, 2, 2048, 0, 1, 4326, 4099, 0, 1, 9003];
    assert!(refuse(Labels { keys: &feet, ..Labels::default() }).contains("not in metres"));
    assert!(
        refuse(Labels { keys: &[1, 1, 0, 0], ..Labels::default() }).contains("not in latitude and longitude")
    );
    assert!(refuse(Labels { scale: &[30.0, 30.0, 0.0], ..Labels::default() }).contains("not degrees"));
    assert!(refuse(Labels { scale: &[f64::NAN, 0.01, 0.0], ..Labels::default() }).contains("says `NaN`"));
    assert!(refuse(Labels { tie: &[0.0; 3], ..Labels::default() }).contains("usual way"));
    assert!(refuse(Labels { void: Some("none"), ..Labels::default() }).contains("`none` is no number"));
    let colours = written::<RGB16>(&[300; 147], Compression::Lzw, &Labels::default());
    assert!(Tile::read("x.tif", &colours).expect_err("three bands").to_string().contains("3 bands"));
}

/// The example's tile ends with its directory, so that a file cut anywhere has lost something.
#[test]
fn a_file_cut_anywhere_is_refused() {
    assert!(Tile::read("larkmoor.tif", LARKMOOR).is_ok());
    for cut in (1..LARKMOOR.len()).step_by(61).chain(LARKMOOR.len() - 400..LARKMOOR.len()) {
        let error = Tile::read("larkmoor.tif", &LARKMOOR[..cut]).expect_err("cut");
        let said = error.to_string();
        assert!(said.contains("fetch it again") || said.contains("give "), "{cut}: {said}");
    }
}

/// Source: the package of the data set: 90 by 95 areas of 30 arc-seconds, 141 to 547 m, corner 5.741666 E, 50.191666 N.
#[test]
fn a_file_of_another_program_is_read() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/geo/luxembourg_elev_30s.tif");
    let Ok(bytes) = std::fs::read(path) else {
        notes::skipped(&notes::Missing::Folder("../shared/data/geo"));
        return;
    };
    let tile = Tile::read("luxembourg_elev_30s.tif", &bytes).expect("a tile");
    assert_eq!((tile.grid().rows, tile.grid().columns), (90, 95));
    assert_eq!(tile.range_m(), (141.0, 547.0));
    assert!((tile.grid().north_deg - (50.19166666 - 0.5 / 120.0)).abs() < 1e-6);
    assert!(tile.void_posts() > 1000, "the country has no corners");
    let middle = tile.height_m(Place { latitude_deg: 49.7, longitude_deg: 6.1 });
    assert!(middle.is_some_and(|height_m| (141.0..547.0).contains(&height_m)), "{middle:?}");
}

proptest! {
    /// Flipped bits never end the program, and never make a tile of other size or unbelievable heights.
    #[test]
    fn damaged_files_are_refused_or_believable(place in 0..JACKSBORO.len(), bit in 0..8_u8) {
        let mut bytes = JACKSBORO.to_vec();
        bytes[place] ^= 1 << bit;
        match Tile::read("jacksboro.tif", &bytes) {
            Ok(tile) => {
                let (low_m, high_m) = tile.range_m();
                prop_assert!(low_m >= -500.0 && high_m <= 9000.0);
            }
            Err(error) => prop_assert!(!matches!(error, TileError::Empty)),
        }
    }

    #[test]
    fn noise_after_the_head_of_a_tiff_is_refused(rest in proptest::collection::vec(any::<u8>(), 0..600)) {
        let bytes = [&b"II*\0\x08\0\0\0"[..], &rest].concat();
        prop_assert!(Tile::read("noise.tif", &bytes).is_err());
    }
}
