//! The map for other programs: GeoJSON (RFC 7946) of where it is heard and how, nodes and gateways.

mod outline;

use forecast::terrain::{Grid, Place};
use serde_json::{Value, json};

use crate::chart::coverage::{CoverageMap, Zone};
use crate::words;
use outline::{Cells, Ring};

/// Cells in a row or column, at most: a map of a thousand would be megabytes.
const MOST_CELLS: usize = 200;
/// Smaller patches than this are left out \[cells\].
const LEAST_CELLS: usize = 3;

/// The text of the file: a collection with a feature a line.
pub fn text(map: &CoverageMap) -> String {
    let features: Vec<String> =
        zones(map).into_iter().chain(points(map)).map(|feature| feature.to_string()).collect();
    format!(
        "{{\"type\":\"FeatureCollection\",\"generator\":\"overwinter\",\"features\":[\n{}\n]}}\n",
        features.join(",\n")
    )
}

fn zones(map: &CoverageMap) -> Vec<Value> {
    let grid = crate::chart::relief::coarser(&map.coverage.grid, MOST_CELLS);
    let zones = map.zones();
    let cells = Cells { columns: grid.columns, steps: sampled(map, &zones, &grid) };
    let polygons = outline::polygons(&cells, LEAST_CELLS);
    zones
        .iter()
        .zip(map.zone_shares())
        .enumerate()
        .map(|(number, (zone, share))| {
            let mine = polygons.iter().filter(|polygon| polygon.step == number);
            let coordinates: Vec<Value> =
                mine.map(|polygon| polygon.rings.iter().map(|one| ring(one, &grid)).collect()).collect();
            json!({
                "type": "Feature",
                "properties": properties(map, *zone, share),
                "geometry": { "type": "MultiPolygon", "coordinates": coordinates },
            })
        })
        .collect()
}

fn properties(map: &CoverageMap, zone: Zone, share: f64) -> Value {
    let step = match zone {
        Zone::Heard(number) => map.steps.get(number),
        _ => None,
    };
    json!({
        "kind": "coverage",
        "heard": map.zone_words(zone),
        "fastest_rate": step.map(|step| &step.words),
        "margin_db": step.map(|step| if step.keeps_margin { rounded(map.margin_db, 10.0) } else { 0.0 }),
        "most_loss_db": step.map(|step| rounded(step.most_loss_db, 10.0)),
        "share_of_map_percent": rounded(100.0 * share, 10.0),
    })
}

/// What is said of the place in the middle of each coarser cell, by its number.
fn sampled(map: &CoverageMap, zones: &[Zone], grid: &Grid) -> Vec<Option<usize>> {
    let fine = &map.coverage.grid;
    let middle = |at: usize, count: usize, of: usize| (2 * at + 1) * of / (2 * count);
    let places = (0..grid.rows).flat_map(|row| (0..grid.columns).map(move |column| (row, column)));
    places
        .map(|(row, column)| {
            let zone =
                map.zone(middle(row, grid.rows, fine.rows), middle(column, grid.columns, fine.columns));
            zones.iter().position(|known| *known == zone)
        })
        .collect()
}

/// Corners of cells as longitude and latitude.
fn ring(ring: &Ring, grid: &Grid) -> Value {
    ring.iter()
        .map(|(row, column)| {
            position(Place {
                latitude_deg: grid.north_deg + (0.5 - *row as f64) * grid.row_step_deg,
                longitude_deg: grid.west_deg + (*column as f64 - 0.5) * grid.column_step_deg,
            })
        })
        .collect()
}

/// Longitude first, to about a decimetre.
fn position(at: Place) -> Value {
    json!([rounded(at.longitude_deg, 1e6), rounded(at.latitude_deg, 1e6)])
}

fn rounded(value: f64, per_unit: f64) -> f64 {
    (value * per_unit).round() / per_unit
}

fn points(map: &CoverageMap) -> Vec<Value> {
    let point = |place: Place, properties: Value| {
        json!({
            "type": "Feature",
            "properties": properties,
            "geometry": { "type": "Point", "coordinates": position(place) },
        })
    };
    let gateways =
        map.gateways.iter().map(|at| point(at.place, json!({ "kind": "gateway", "name": at.name })));
    let nodes = map.nodes.iter().map(|at| {
        let heard = words::verdict(at.verdict);
        point(at.place, json!({ "kind": "node", "name": at.name, "reach": heard }))
    });
    let may_stand = map.may_stand.iter().map(|at| {
        let chosen = !at.brings.is_empty();
        let properties =
            json!({ "kind": "may_stand", "name": at.name, "chosen": chosen, "brings": at.brings });
        point(at.place, properties)
    });
    gateways.chain(may_stand).chain(nodes).collect()
}

#[cfg(test)]
mod tests {
    use super::text;
    use crate::chart::coverage::tests::with_map;
    use serde_json::Value;

    /// RFC 7946: longitude first, a collection of features, outer rings counterclockwise; every figure says its unit.
    #[test]
    fn the_file_is_a_collection_of_what_is_heard_gateways_and_nodes() {
        let file: Value = serde_json::from_str(&with_map(text)).expect("JSON");
        assert_eq!(file["type"], "FeatureCollection");
        let features = file["features"].as_array().expect("features");
        let kinds: Vec<&str> = features.iter().filter_map(|one| one["properties"]["kind"].as_str()).collect();
        assert_eq!(kinds, [&["coverage"; 6][..], &["gateway", "may_stand", "may_stand", "node"]].concat());
        let heard = |at: usize| features[at]["properties"]["heard"].as_str().expect("words");
        assert_eq!(
            [0, 1, 3, 5].map(heard),
            ["heard at SF7", "only at SF12", "heard if gateway roof is outside", "height unknown"]
        );
        assert_eq!(features[0]["properties"]["share_of_map_percent"], 15.0);
        assert_eq!(features[9]["geometry"]["coordinates"], serde_json::json!([13.0, 46.99]));
        assert_eq!(
            [6, 7, 8].map(|at| features[at]["properties"]["chosen"].as_bool()),
            [None, Some(true), Some(false)]
        );
        assert_eq!(features[7]["properties"]["brings"], serde_json::json!(["mast"]));
        // By hand: the fastest step covers 9 columns and 3 rows from the north-west corner of the map.
        let ring = &features[0]["geometry"]["coordinates"][0][0];
        let corners: Vec<(f64, f64)> = ring
            .as_array()
            .expect("a ring")
            .iter()
            .map(|at| (at[0].as_f64().expect("deg"), at[1].as_f64().expect("deg")))
            .collect();
        assert_eq!(corners.len(), 5);
        for corner in [(12.945, 47.0525), (12.945, 47.0375), (13.035, 47.0375), (13.035, 47.0525)] {
            assert!(corners.contains(&corner), "{corner:?} in {corners:?}");
        }
        let twice_area: f64 =
            corners.windows(2).map(|pair| pair[0].0 * pair[1].1 - pair[1].0 * pair[0].1).sum();
        assert!(twice_area > 0.0, "counterclockwise");
    }
}
