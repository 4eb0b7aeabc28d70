//! How much ground a map shows.
#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "counts of places are clamped")]

use forecast::terrain::{Grid, Place, Terrain, Tile};

/// Ground drawn beyond the outermost node or gateway \[m\], and the share of their spread that is drawn beyond too.
const BEYOND_M: f64 = 2000.0;
const BEYOND_SHARE: f64 = 0.35;

/// The places of a map around some others: as far beyond them as the terrain goes, about square on the ground, so many
/// along the longer side. `None` if the others lie off the terrain. Without one, the ground goes on without end.
pub fn around(places: &[Place], terrain: Option<&Terrain>, side: usize) -> Option<Grid> {
    let is_ground =
        |place: &Place| terrain.is_none_or(|terrain| terrain.tiles().iter().any(|tile| tile.holds(*place)));
    let on_terrain: Vec<&Place> = places.iter().filter(|place| is_ground(place)).collect();
    let range = |values: &dyn Fn(&Place) -> f64| {
        let (low, high) = on_terrain.iter().fold((f64::MAX, f64::MIN), |(low, high), place| {
            (low.min(values(place)), high.max(values(place)))
        });
        (low <= high).then_some((low, high))
    };
    let (south_deg, north_deg) = range(&|place| place.latitude_deg)?;
    let (west_deg, east_deg) = range(&|place| place.longitude_deg)?;
    let degree_m = 111_195.0; // of the mean sphere; a map's edge needs no more
    let shrunk = f64::midpoint(south_deg, north_deg).to_radians().cos().max(0.01);
    let widest_m = degree_m * (north_deg - south_deg).max((east_deg - west_deg) * shrunk);
    let beyond_deg = (BEYOND_M + BEYOND_SHARE * widest_m) / degree_m;
    let edges = terrain.map_or(ENDLESS, edges);
    let north_deg = (north_deg + beyond_deg).min(edges[0]);
    let south_deg = (south_deg - beyond_deg).max(edges[1]);
    let west_deg = (west_deg - beyond_deg / shrunk).max(edges[2]);
    let east_deg = (east_deg + beyond_deg / shrunk).min(edges[3]);
    let (high_m, wide_m) = (degree_m * (north_deg - south_deg), degree_m * shrunk * (east_deg - west_deg));
    let step_m = high_m.max(wide_m) / side as f64;
    let count = |length_m: f64| ((length_m / step_m).round() as usize).clamp(2, side);
    let (rows, columns) = (count(high_m), count(wide_m));
    let (row_step_deg, column_step_deg) =
        ((north_deg - south_deg) / rows as f64, (east_deg - west_deg) / columns as f64);
    Some(Grid {
        north_deg: north_deg - 0.5 * row_step_deg,
        west_deg: west_deg + 0.5 * column_step_deg,
        row_step_deg,
        column_step_deg,
        rows,
        columns,
    })
}

/// North, south, west and east of ground without end \[degrees\].
const ENDLESS: [f64; 4] = [85.0, -85.0, f64::MIN, f64::MAX];

/// Where a terrain ends in the north, south, west and east \[degrees\].
fn edges(terrain: &Terrain) -> [f64; 4] {
    let held = terrain.tiles().iter().map(Tile::grid);
    held.fold([f64::MIN, f64::MAX, f64::MAX, f64::MIN], |[north, south, west, east], grid| {
        [
            north.max(grid.north_deg),
            south.min(grid.south_deg()),
            west.min(grid.west_deg),
            east.max(grid.east_deg()),
        ]
    })
}
