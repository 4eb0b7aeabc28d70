//! What a land-cover map says stands on the ground: read, refused, and laid along the way.

use std::io::Cursor;

use design::quantity::{Decibels, Frequency, Length};
use design::surroundings::{Around, Clutter};
use forecast::Silent;
use forecast::radio::coverage::{Station, Survey, coverage};
use forecast::radio::trail::{End, Trail};
use forecast::terrain::{CoverError, CoverTile, Grid, Place, Terrain};
use tiff::encoder::TiffEncoder;
use tiff::encoder::colortype::{ColorType, Gray8, Gray32Float};
use tiff::encoder::{Compression, TiffValue};
use tiff::tags::Tag;

const SIDE: usize = 100;
const STEP_DEG: f64 = 0.0005;
/// Geographic, areas, WGS 84 (OGC 19-008r4, annex B).
const KEYS: [u16; 16] = [1, 1, 0, 3, 1024, 0, 1, 2, 1025, 0, 1, 1, 2048, 0, 1, 4326];

fn written<C: ColorType>(codes: &[C::Inner], keys: &[u16], palette: bool) -> Vec<u8>
where
    [C::Inner]: TiffValue,
{
    let mut bytes = Cursor::new(Vec::new());
    let mut file = TiffEncoder::new(&mut bytes).expect("a file").with_compression(Compression::Lzw);
    let side = u32::try_from(SIDE).expect("few");
    let mut image = file.new_image::<C>(side, side).expect("an image");
    let tags = image.encoder();
    tags.write_tag(Tag::ModelPixelScaleTag, &[STEP_DEG, STEP_DEG, 0.0][..]).expect("a tag");
    tags.write_tag(Tag::ModelTiepointTag, &[0.0, 0.0, 0.0, 13.0, 47.0, 0.0][..]).expect("a tag");
    tags.write_tag(Tag::GeoKeyDirectoryTag, keys).expect("a tag");
    if palette {
        // TIFF 6.0, section 5: numbers of a palette, 256 reds, greens and blues.
        tags.write_tag(Tag::PhotometricInterpretation, 3_u16).expect("a tag");
        tags.write_tag(Tag::ColorMap, &[7_u16; 768][..]).expect("a tag");
    }
    image.write_data(codes).expect("codes");
    bytes.into_inner()
}

/// The western half is wood (10), the eastern fields (40); the last row says nothing.
fn halves() -> Vec<u8> {
    (0..SIDE * SIDE)
        .map(|at| {
            if at / SIDE == SIDE - 1 {
                0
            } else if at % SIDE < SIDE / 2 {
                10
            } else {
                40
            }
        })
        .collect()
}

fn map(codes: &[u8]) -> CoverTile {
    CoverTile::read("cover.tif", &written::<Gray8>(codes, &KEYS, false)).expect("a map")
}

/// The middle of a pixel.
fn pixel(row: f64, column: f64) -> Place {
    Place { latitude_deg: 47.0 - STEP_DEG * (row + 0.5), longitude_deg: 13.0 + STEP_DEG * (column + 0.5) }
}

#[test]
fn a_map_says_what_stands_on_each_pixel_with_and_without_its_colours() {
    let plain = map(&halves());
    let coloured = CoverTile::read("cover.tif", &written::<Gray8>(&halves(), &KEYS, true)).expect("a map");
    for tile in [&plain, &coloured] {
        assert_eq!(tile.standing(pixel(0.0, 0.0)), Some(Clutter::Trees));
        assert_eq!(tile.standing(pixel(50.0, 49.49)), Some(Clutter::Trees));
        assert_eq!(tile.standing(pixel(50.0, 49.51)), Some(Clutter::Open));
        assert_eq!(tile.standing(pixel(99.0, 10.0)), None, "nothing is said");
        assert_eq!(tile.standing(pixel(-0.6, 10.0)), None, "outside");
    }
}

#[test]
fn classes_that_are_not_known_are_listed_and_other_coordinates_refused_with_what_to_do() {
    let mut codes = halves();
    (codes[5], codes[77], codes[78]) = (7, 210, 7);
    let refused = CoverTile::read("cover.tif", &written::<Gray8>(&codes, &KEYS, false)).expect_err("unknown");
    assert!(matches!(&refused, CoverError::Unknown { codes, .. } if *codes == [7, 210]), "{refused}");
    let said = refused.to_string();
    assert!(
        said.contains("7, 210") && said.contains("10 wood or orchard") && said.contains("; rewrite them"),
        "{said}"
    );
    let projected = [1, 1, 0, 3, 1024, 0, 1, 1, 1025, 0, 1, 1, 3072, 0, 1, 32633];
    let said = CoverTile::read("c.tif", &written::<Gray8>(&halves(), &projected, false))
        .expect_err("metres")
        .to_string();
    assert!(said.contains("EPSG:32633") && said.contains("-r near c.tif"), "{said}");
    let halved: Vec<f32> = halves().iter().map(|code| f32::from(*code) + 0.5).collect();
    let said = CoverTile::read("c.tif", &written::<Gray32Float>(&halved, &KEYS, false))
        .expect_err("halves")
        .to_string();
    assert!(said.contains("10.5"), "{said}");
    let nothing = vec![0; SIDE * SIDE];
    assert_eq!(
        CoverTile::read("c.tif", &written::<Gray8>(&nothing, &KEYS, false)),
        Err(CoverError::AllEmpty)
    );
    for bytes in [&b""[..], b"PK\x03\x04", b"II*\0", b"height,1"] {
        assert!(CoverTile::read("c.tif", bytes).is_err());
    }
}

fn ground() -> Grid {
    Grid {
        north_deg: 47.0,
        west_deg: 13.0,
        row_step_deg: STEP_DEG,
        column_step_deg: STEP_DEG,
        rows: SIDE,
        columns: SIDE,
    }
}

fn end(at: Place, antenna_m: f64, surroundings: Around) -> End {
    End { place: at, antenna: Length::from_metres(antenna_m), surroundings }
}

const VILLAGE: Around = Around::ASSUMED;

fn loss_db(terrain: &Terrain, around: Around) -> f64 {
    let (node, gateway) = (end(pixel(50.0, 20.0), 2.0, around), end(pixel(50.0, 90.0), 20.0, around));
    Trail::over(terrain, &node, &gateway, Frequency::from_megahertz(868.1))
        .expect("known ground")
        .loss
        .decibels()
}

/// A map of nothing but fields makes of an assumed village what open ground is, one of nothing but built-up ground what houses
/// with gardens are; what is said of an antenna itself goes over any map.
#[test]
fn a_map_takes_the_place_of_what_is_assumed_and_not_of_what_is_said_of_an_antenna() {
    let bare = Terrain::flat(&ground());
    let mapped = |code: u8| bare.clone().with_cover(vec![map(&vec![code; SIDE * SIDE])]);
    let same = |one_db: f64, other_db: f64| assert!((one_db - other_db).abs() < 1e-6, "{one_db} {other_db}");
    same(loss_db(&mapped(40), VILLAGE), loss_db(&bare, Around::of(Clutter::Open)));
    same(loss_db(&mapped(50), VILLAGE), loss_db(&bare, Around::of(Clutter::Suburban)));
    same(loss_db(&mapped(10), VILLAGE), loss_db(&bare, Around::of(Clutter::Trees)));
    let own = Around { own: true, ..Around::of(Clutter::Village) };
    same(loss_db(&mapped(40), own), loss_db(&bare, own));
    assert!(loss_db(&mapped(50), VILLAGE) > loss_db(&mapped(40), VILLAGE) + 10.0);
}

/// A row of houses half-way costs something, and less than houses all the way.
#[test]
fn houses_on_the_way_are_seen_where_both_ends_stand_in_fields() {
    let bare = Terrain::flat(&ground());
    let codes = |built: std::ops::Range<usize>| -> Vec<u8> {
        (0..SIDE * SIDE).map(|at| if built.contains(&(at % SIDE)) { 50 } else { 40 }).collect()
    };
    let lost = |built| loss_db(&bare.clone().with_cover(vec![map(&codes(built))]), VILLAGE);
    let (none_db, row_db, all_db) = (lost(0..0), lost(50..60), lost(0..SIDE));
    assert!(none_db + 1.0 < row_db && row_db + 1.0 < all_db, "{none_db} {row_db} {all_db}");
}

/// Law: a pixel of the map of reach is a link, over land cover too.
#[test]
fn every_pixel_over_land_cover_has_the_loss_of_its_link() {
    let terrain = Terrain::flat(&ground()).with_cover(vec![map(&halves())]);
    let gateway = end(pixel(50.0, 90.0), 20.0, VILLAGE);
    let stations = [Station { end: gateway, advantage: Decibels::ZERO, advantage_outside: Decibels::ZERO }];
    let grid = Grid {
        rows: 9,
        columns: 9,
        row_step_deg: 10.0 * STEP_DEG,
        column_step_deg: 10.0 * STEP_DEG,
        ..ground()
    };
    let frequency = Frequency::from_megahertz(868.1);
    let survey = Survey {
        terrain: &terrain,
        stations: &stations,
        antenna: Length::from_metres(2.0),
        surroundings: VILLAGE,
        frequency,
        grid,
    };
    let map = coverage(&survey, 2, &Silent).expect("in range").expect("not stopped");
    let mut checked = 0;
    for (row, column) in (0..9).flat_map(|row| (0..9).map(move |column| (row, column))) {
        let node = end(grid.place(row, column), 2.0, VILLAGE);
        let Ok(trail) = Trail::over(&terrain, &node, &gateway, frequency) else { continue };
        let pixel_db = f64::from(map.loss_db(row, column).expect("known"));
        // A point of the way may fall on the other side of a pixel's edge.
        assert!(
            (pixel_db - trail.loss.decibels()).abs() < 0.3,
            "{row} {column}: {pixel_db} {}",
            trail.loss.decibels()
        );
        checked += 1;
    }
    assert!(checked > 70, "{checked}");
}
