//! The picture of the map laid over other programs' maps: KML, and the world file beside the PNG.

use forecast::terrain::{Grid, Place};
use maud::{Markup, PreEscaped, html};

use crate::chart::coverage::{self, CoverageMap, Plate};
use crate::words;

/// The name of the picture beside which both lie.
pub const PICTURE: &str = "coverage.png";

/// The map as KML: the picture as an overlay, its key south of the ground that it shows, with the gateways and nodes.
///
/// # References
/// OGC 12-007r2, "OGC KML 2.3", clauses on `GroundOverlay`, `LatLonBox` and `Placemark` (from memory).
pub fn kml(map: &CoverageMap, plate: &Plate) -> String {
    let [north, south, west, east] = edges(&map.coverage.grid, plate);
    let page = html! {
        kml xmlns="http://www.opengis.net/kml/2.2" {
            Document {
                name { (map.who) " heard" }
                GroundOverlay {
                    name { (coverage::chart(map).title) }
                    Icon { href { (PICTURE) } }
                    LatLonBox {
                        north { (degrees(north)) } south { (degrees(south)) } east { (degrees(east)) } west { (degrees(west)) }
                    }
                }
                @for gateway in map.gateways { (mark(&format!("gateway {}", gateway.name), "", gateway.place)) }
                @for one in map.may_stand { (mark(&one.name, &one.said(), one.place)) }
                @for node in map.nodes { (mark(&node.name, words::verdict(node.verdict), node.place)) }
            }
        }
    };
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!-- overwinter -->\n{}\n", page.into_string())
}

fn mark(name: &str, said: &str, at: Place) -> Markup {
    let coordinates = format!("{},{}", degrees(at.longitude_deg), degrees(at.latitude_deg));
    html! {
        Placemark {
            name { (name) }
            @if !said.is_empty() { description { (said) } }
            Point { coordinates { (PreEscaped(coordinates)) } }
        }
    }
}

/// The world file of the picture: steps and the middle of its north-western pixel, in degrees of longitude and latitude
/// (from memory: six lines; those that read it look at no more).
pub fn world_file(map: &CoverageMap, plate: &Plate) -> String {
    let grid = &map.coverage.grid;
    let [row_step_deg, column_step_deg] =
        [grid.row_step_deg, grid.column_step_deg].map(|step_deg| step_deg / plate.zoom as f64);
    let [north_deg, _, west_deg, _] = edges(grid, plate);
    let lines = [
        column_step_deg,
        0.0,
        0.0,
        -row_step_deg,
        west_deg + 0.5 * column_step_deg,
        north_deg - 0.5 * row_step_deg,
    ];
    let lines: Vec<String> = lines.iter().map(|value| format!("{value:.12}")).collect();
    format!("{}\noverwinter\n", lines.join("\n"))
}

/// North, south, west and east of the picture: half a step beyond the middles of the outer places, in the south as far below
/// them as its key is high \[degrees\].
fn edges(grid: &Grid, plate: &Plate) -> [f64; 4] {
    let north_deg = grid.north_deg + 0.5 * grid.row_step_deg;
    [
        north_deg,
        north_deg - plate.rows() as f64 * grid.row_step_deg / plate.zoom as f64,
        grid.west_deg - 0.5 * grid.column_step_deg,
        grid.east_deg() + 0.5 * grid.column_step_deg,
    ]
}

fn degrees(value: f64) -> String {
    format!("{value:.7}")
}

#[cfg(test)]
mod tests {
    use super::{kml, world_file};
    use crate::chart::coverage::tests::with_map;

    /// By hand: 20 rows of 0.005 and 10 columns of 0.01 degrees, the first in the middle of 47.05 north and 12.95 east, each
    /// place 36 pixels wide so that 360 hold words; the key below is as high as it is.
    #[test]
    fn the_picture_lies_where_its_places_are() {
        let (kml, world, rows) = with_map(|map| {
            let plate = map.plate();
            (kml(map, &plate), world_file(map, &plate), plate.rows())
        });
        assert!(rows > 20 * 36 + 20, "words stand below the map: {rows}");
        let south_deg = 47.0525 - rows as f64 * 0.005 / 36.0;
        for part in [
            &*format!("<north>47.0525000</north><south>{south_deg:.7}</south>"),
            "<east>13.0450000</east><west>12.9450000</west>",
            "<href>coverage.png</href>",
            "<name>gateway roof</name>",
            "<name>silo</name><description>a gateway here brings mast</description>",
            "<name>barn</name><description>a gateway may stand here</description>",
            "<coordinates>13.0000000,46.9900000</coordinates>",
        ] {
            let dense: String = kml.split_inclusive('>').map(str::trim_start).collect();
            assert!(dense.contains(part), "{part} in {kml}");
        }
        let lines: Vec<&str> = world.lines().collect();
        assert_eq!(lines[..4], ["0.000277777778", "0.000000000000", "0.000000000000", "-0.000138888889"]);
        assert_eq!(lines[4..], ["12.945138888889", "47.052430555556", "overwinter"]);
    }
}
