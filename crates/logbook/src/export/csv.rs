//! A table for each message, units in the titles.
//!
//! # References
//! RFC 4180: fields with commas, quotes or line ends in quotes, lines ended by CR LF.

use serde_json::Value;

use super::{Labels, time_text};
use crate::store::query::Reading;

/// The line of titles for a table of readings like this one.
pub fn titles(reading: &Reading, labels: &Labels) -> String {
    let columns = reading.values.iter().map(|(column, _)| match labels.unit(reading, column) {
        Some(unit) => format!("{column} [{unit}]"),
        None => column.clone(),
    });
    let fixed = ["time [UTC]", "node", "DevEUI"].map(str::to_owned);
    let end = ["late", "rebuilt", "beyond range"].map(str::to_owned);
    line(fixed.into_iter().chain(columns).chain(end))
}

/// The line of a reading.
pub fn row(reading: &Reading, labels: &Labels) -> String {
    let time = time_text(reading.at).unwrap_or_else(|| reading.at.to_string());
    let fixed = [time, labels.name(&reading.dev_eui).to_owned(), reading.dev_eui.clone()];
    let values = reading.values.iter().map(|(_, value)| match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    });
    let beyond: Vec<String> = reading.marks.iter().map(|(column, side)| format!("{column} {side}")).collect();
    let yes = |flag: bool| if flag { "yes" } else { "no" }.to_owned();
    let end = [yes(reading.late), yes(reading.rebuilt), beyond.join("; ")];
    line(fixed.into_iter().chain(values).chain(end))
}

fn line(fields: impl Iterator<Item = String>) -> String {
    fields.map(|field| quoted(&field)).collect::<Vec<_>>().join(",") + "\r\n"
}

fn quoted(field: &str) -> String {
    if field.contains([',', '"', '\r', '\n']) {
        format!("\"{}\"", field.replace('"', "\"\""))
    } else {
        field.to_owned()
    }
}
