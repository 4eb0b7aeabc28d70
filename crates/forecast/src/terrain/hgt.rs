use super::tile::{Sampling, VOID};
use super::{Grid, Tile, TileError};

/// Posts along each side, for steps of 3 and 1 arc-seconds.
const SIDES: [usize; 2] = [1201, 3601];

/// Whether a file name ends as those of this format do.
pub(super) fn is_named(name: &str) -> bool {
    name.to_ascii_lowercase().ends_with(".hgt")
}

/// Rows from the north of big-endian 16-bit metres, the outer ones on whole degrees.
pub(super) fn read(name: &str, bytes: &[u8]) -> Result<Tile, TileError> {
    let (south, west) = corner(name).ok_or_else(|| TileError::HgtName { name: name.to_owned() })?;
    let side = SIDES
        .into_iter()
        .find(|side| 2 * side * side == bytes.len())
        .ok_or(TileError::HgtSize { bytes: bytes.len() })?;
    let step_deg = 1.0 / (side - 1) as f64;
    let grid = Grid {
        north_deg: f64::from(south + 1),
        west_deg: f64::from(west),
        row_step_deg: step_deg,
        column_step_deg: step_deg,
        rows: side,
        columns: side,
    };
    let (posts, _) = bytes.as_chunks::<2>();
    let height = |post: &[u8; 2]| match i16::from_be_bytes(*post) {
        i16::MIN => f32::NAN,
        height => f32::from(height),
    };
    debug_assert!((f64::from(i16::MIN) - VOID).abs() < 0.5);
    Tile::new(name, grid, Sampling::Points, posts.iter().map(height).collect())
}

/// Latitude and longitude of the south-west corner, out of a name such as `N46E013.hgt`.
fn corner(name: &str) -> Option<(i32, i32)> {
    let stem = name.rsplit(['/', '\\']).next()?.split('.').next()?;
    let (north, rest) = hemisphere(stem, ['n', 's'])?;
    let digits = rest.find(|one: char| !one.is_ascii_digit())?;
    let (latitude, rest) = rest.split_at(digits);
    let (east, longitude) = hemisphere(rest, ['e', 'w'])?;
    let latitude = north * degrees(latitude, 2)?;
    let longitude = east * degrees(longitude, 3)?;
    ((-90..90).contains(&latitude) && (-180..180).contains(&longitude)).then_some((latitude, longitude))
}

fn hemisphere(text: &str, letters: [char; 2]) -> Option<(i32, &str)> {
    let mut rest = text.chars();
    let letter = rest.next()?.to_ascii_lowercase();
    let [positive, negative] = letters;
    let sign = if letter == positive { 1 } else { -1 };
    (letter == positive || letter == negative).then_some((sign, rest.as_str()))
}

fn degrees(digits: &str, count: usize) -> Option<i32> {
    let whole = digits.len() == count && digits.bytes().all(|digit| digit.is_ascii_digit());
    whole.then(|| digits.parse().ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::corner;

    #[test]
    fn names_are_corners_in_all_four_quarters_of_the_globe() {
        for (name, expected) in [
            ("N46E013.hgt", Some((46, 13))),
            ("tiles/s34w071.HGT", Some((-34, -71))),
            ("N00E000.hgt", Some((0, 0))),
            ("N46E013.SRTMGL1.hgt", Some((46, 13))),
            ("N46E13.hgt", None),
            ("N91E013.hgt", None),
            ("N46E180.hgt", None),
            ("alps.hgt", None),
            ("", None),
        ] {
            assert_eq!(corner(name), expected, "{name}");
        }
    }
}
