//! Places of readings.
//!
//! # References
//! RFC 7946: longitude first, no member `crs`.

use serde_json::{Map, Value, json};

use super::{Labels, position, time_text};
use crate::store::query::Reading;

/// A point where the reading was taken: its own position, else where its node stands. None if neither is known.
pub fn feature(reading: &Reading, labels: &Labels) -> Option<Value> {
    let stands = || labels.places.get(&reading.dev_eui).copied();
    let (north, east) = position(reading).or_else(stands)?;
    let mut properties: Map<String, Value> = reading.values.iter().cloned().collect();
    properties.insert("node".to_owned(), json!(labels.name(&reading.dev_eui)));
    properties.insert("message".to_owned(), json!(reading.message));
    properties.insert("time".to_owned(), json!(time_text(reading.at)));
    Some(json!({
        "type": "Feature",
        "geometry": { "type": "Point", "coordinates": [east, north] },
        "properties": properties,
    }))
}
