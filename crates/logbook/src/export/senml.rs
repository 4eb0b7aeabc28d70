//! Sensor measurement lists.
//!
//! # References
//! RFC 8428 (clauses 4 and 5: base fields, names of `A-Z a-z 0-9 - : . / _`), with the units of its registry and the
//! secondary units of RFC 8798 (both lists from memory); RFC 9039 for the names of devices.

use serde_json::{Map, Value, json};

use super::Labels;
use crate::store::query::Reading;

/// Units of the registry that UCUM writes in the same way.
const UNITS: [&str; 17] =
    ["Cel", "K", "V", "A", "W", "Pa", "m", "s", "lx", "%", "mV", "mm", "min", "h", "hPa", "mA", "m/s"];

/// The records of a reading: the first holds name and time of all. None if it has no value.
pub fn records(reading: &Reading, labels: &Labels) -> Vec<Value> {
    let mut records = Vec::new();
    for (column, value) in &reading.values {
        let mut record = Map::new();
        if records.is_empty() {
            record.insert("bn".to_owned(), json!(format!("urn:dev:mac:{}_", reading.dev_eui.to_lowercase())));
            record.insert("bt".to_owned(), json!(seconds(reading.at)));
        }
        record.insert("n".to_owned(), json!(format!("{}_{column}", reading.message)));
        if let Some(unit) = labels.unit(reading, column).filter(|unit| UNITS.contains(unit)) {
            record.insert("u".to_owned(), json!(unit));
        }
        let key = match value {
            Value::Null => continue,
            Value::Bool(_) => "vb",
            Value::String(_) => "vs",
            _ => "v",
        };
        record.insert(key.to_owned(), value.clone());
        records.push(Value::Object(record));
    }
    records
}

#[expect(clippy::cast_precision_loss, reason = "microseconds of this millennium are exact in a double")]
fn seconds(at: i64) -> f64 {
    at as f64 / 1e6
}
