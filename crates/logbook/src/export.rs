//! Readings in the forms of others: pure, text from rows.

pub mod csv;
pub mod geojson;
pub mod gpx;
pub mod senml;

use std::collections::BTreeMap;

use design::date::Date;

use crate::received::Moment;
use crate::store::query::Reading;

/// What is said of a reading beside its values.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Labels {
    /// Names of nodes by DevEUI.
    pub names: BTreeMap<String, String>,
    /// UCUM units by kind, message and column; `1` where there is none.
    pub units: BTreeMap<(String, String, String), String>,
    /// Where nodes stand by DevEUI: north and east \[degrees\].
    pub places: BTreeMap<String, (f64, f64)>,
}

impl Labels {
    /// What people call the node; its DevEUI if the registry has forgotten it.
    pub fn name<'a>(&'a self, dev_eui: &'a str) -> &'a str {
        self.names.get(dev_eui).map_or(dev_eui, String::as_str)
    }

    /// The unit of a column; `None` where there is none, or where the design no longer has it.
    pub fn unit(&self, reading: &Reading, column: &str) -> Option<&str> {
        let key = (reading.kind.clone(), reading.message.clone(), column.to_owned());
        self.units.get(&key).map(String::as_str).filter(|unit| *unit != "1")
    }
}

/// A moment as RFC 3339 writes it, to the millisecond, rounded down; none beyond the year 9999.
pub fn time_text(at: Moment) -> Option<String> {
    let milliseconds = u64::try_from(at / 1000).ok()?;
    let seconds = milliseconds / 1000;
    let day = Date::of_unix(seconds)?;
    let (hour, minute, second) = (seconds / 3600 % 24, seconds / 60 % 60, seconds % 60);
    Some(format!("{day}T{hour:02}:{minute:02}:{second:02}.{:03}Z", milliseconds % 1000))
}

/// The position that a reading holds: north and east \[degrees\].
fn position(reading: &Reading) -> Option<(f64, f64)> {
    let value = |ending: &str| {
        let (_, value) = reading.values.iter().find(|(column, _)| column.ends_with(ending))?;
        value.as_f64()
    };
    Some((value("_latitude")?, value("_longitude")?))
}
