use path::geodesic::Place;

/// Why a file can't be used as terrain.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TileError {
    /// No bytes.
    #[error("the terrain file is empty; give an HGT tile or a GeoTIFF")]
    Empty,
    /// An archive or a compressed file.
    #[error("the terrain file is packed; unpack it and give what is inside")]
    Packed,
    /// Neither kind of file.
    #[error(
        "the file is no terrain as known here; give a GeoTIFF, or an HGT tile whose name ends in .hgt, such as N46E013.hgt"
    )]
    NotTerrain,
    /// The corner can't be told.
    #[error(
        "`{name}` does not say where the tile lies; name it after its south-west corner, such as N46E013.hgt or S34W071.hgt"
    )]
    HgtName {
        /// The name given.
        name: String,
    },
    /// Not a square of 1201 or 3601 posts.
    #[error(
        "the file has {bytes} bytes, and an HGT tile has 2884802 (3 arc-seconds) or 25934402 (1 arc-second); it is cut off or of another kind, fetch it again"
    )]
    HgtSize {
        /// Bytes found.
        bytes: usize,
    },
    /// The TIFF is damaged or of a kind that isn't read.
    #[error("the GeoTIFF can't be read: {problem}; {help}")]
    Tiff {
        /// What is wrong.
        problem: String,
        /// What to do.
        help: &'static str,
    },
    /// Metres on a map instead of degrees.
    #[error(
        "the GeoTIFF is projected{system}, its rows and columns are metres on a map; convert it to latitude and longitude, for example with `gdalwarp -t_srs EPSG:4326 -r bilinear {name} geographic.tif`"
    )]
    Projected {
        /// The code of its map projection, in words; empty if it has none.
        system: String,
        /// Name of the file.
        name: String,
    },
    /// Degrees of another datum.
    #[error(
        "the GeoTIFF is in degrees of EPSG:{code}, not WGS 84; convert it, for example with `gdalwarp -t_srs EPSG:4326 -r bilinear {name} wgs84.tif`"
    )]
    Datum {
        /// The code it states.
        code: u16,
        /// Name of the file.
        name: String,
    },
    /// A height that the Earth doesn't have.
    #[error(
        "row {row}, column {column} is {height_m} m high; {}",
        if *swapped { "the two bytes of each height seem to be swapped, HGT is big-endian" }
        else { "if that number means a void, say so in the file's no-data tag" }
    )]
    Unbelievable {
        /// Counted from 1, from the north.
        row: usize,
        /// Counted from 1, from the west.
        column: usize,
        /// As read \[m\].
        height_m: f32,
        /// Whether all would be well with the bytes of each number the other way round.
        swapped: bool,
    },
    /// Nothing but voids.
    #[error("every height of the terrain file is void; fetch it again or give another")]
    AllVoid,
}

/// Why the ground along a path isn't known.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum GroundError {
    /// No tile holds a place.
    #[error(
        "the terrain ends {distance_km:.1} km along the path, at {}; add a tile that holds this place ({})",
        coordinates(*at), tile_name(*at)
    )]
    Ends {
        /// First place that is missing.
        at: Place,
        /// Its distance from the first end \[km\].
        distance_km: f64,
    },
    /// A tile has a hole there.
    #[error(
        "`{tile}` has a void {distance_km:.1} km along the path, at {}; put a tile without it before this one in the list",
        coordinates(*at)
    )]
    Void {
        /// Name of the tile.
        tile: String,
        /// First place in the void.
        at: Place,
        /// Its distance from the first end \[km\].
        distance_km: f64,
    },
    /// The ends lie nearly opposite on the globe.
    #[error("the two places are nearly opposite on the globe; are latitude and longitude swapped?")]
    Antipodal,
}

/// Latitude and longitude to about 10 m.
pub(super) fn coordinates(at: Place) -> String {
    let side = |value: f64, positive: &'static str, negative: &'static str| {
        format!("{:.4} {}", value.abs(), if value < 0.0 { negative } else { positive })
    };
    format!("{} {}", side(at.latitude_deg, "N", "S"), side(at.longitude_deg, "E", "W"))
}

/// The HGT tile that would hold a place.
fn tile_name(at: Place) -> String {
    let (south, west) = (at.latitude_deg.floor(), at.longitude_deg.floor());
    format!(
        "as HGT: {}{:02}{}{:03}.hgt",
        if south < 0.0 { 'S' } else { 'N' },
        south.abs(),
        if west < 0.0 { 'W' } else { 'E' },
        west.abs()
    )
}
