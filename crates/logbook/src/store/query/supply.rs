//! What a device told of its supply: battery, panel, box, minutes in charge and restarts, by the design of today.

use std::collections::BTreeMap;

use design::message::Meaning;
use design::node::Design;
use design::quantity::{Temperature, Voltage};
use forecast::learn::Reading as Told;
use rusqlite::{Connection, params};
use serde_json::Value;
use wire::identity::DevEui;

use super::super::StoreError;
use super::Reading;
use crate::received::Moment;

const MICROSECONDS: Moment = 1_000_000;

/// What a device told of its supply, and what of it was left out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Supply {
    /// In the order of time; late messages stand where they belong.
    pub readings: Vec<Told>,
    /// Messages that only an earlier edition of the design could read.
    pub of_before: u32,
    /// Messages that came while the clock could not be believed.
    pub of_no_time: u32,
}

/// What each column of each message tells, and how many volts its unit is.
type Meanings = BTreeMap<(String, String), (Meaning, f64)>;

/// What a device of this kind told in [from, to); values that lay beyond the range of their field are left out.
///
/// # Errors
/// [`StoreError`] if the log can't be read.
pub fn supply(
    log: &Connection,
    dev_eui: DevEui,
    kind: &Design,
    (from, to): (Moment, Moment),
) -> Result<Supply, StoreError> {
    let sql = "SELECT node.dev_eui, reading.at, edition.kind, message, vals, edition.fields, marks, late, rebuilt, \
               edition.until IS NULL, frame.clock_unsure IS NOT NULL FROM reading JOIN node ON node.id = reading.node \
               JOIN edition ON edition.id = reading.edition LEFT JOIN frame ON frame.id = reading.frame \
               WHERE node.dev_eui = ?1 AND edition.kind = ?2 AND reading.at >= ?3 AND reading.at < ?4 \
               ORDER BY reading.at, message, reading.frame, rebuilt";
    let meanings = meanings(kind);
    let mut supply = Supply::default();
    let mut statement = log.prepare_cached(sql)?;
    let mut found = statement.query(params![dev_eui.to_string(), kind.name, from, to])?;
    while let Some(row) = found.next()? {
        let (is_of_today, has_no_time): (bool, bool) = (row.get(9)?, row.get(10)?);
        supply.of_before += u32::from(!is_of_today);
        supply.of_no_time += u32::from(is_of_today && has_no_time);
        if is_of_today && !has_no_time {
            supply.readings.extend(told(&super::reading(row)?, &meanings));
        }
    }
    Ok(supply)
}

fn meanings(kind: &Design) -> Meanings {
    let meant = kind.told().filter_map(|told| {
        Some(((told.message.to_owned(), told.field.to_owned()), (told.meaning?, told.volts())))
    });
    meant.collect()
}

/// What a reading tells; none if it tells nothing of the supply.
fn told(reading: &Reading, meanings: &Meanings) -> Option<Told> {
    let mut told = Told {
        at_s: reading.at.div_euclid(MICROSECONDS),
        battery: None,
        charging_min: None,
        panel: None,
        box_air: None,
        restarted: false,
        counter: None,
        rate: None,
    };
    let mut tells = false;
    for (column, value) in &reading.values {
        let meaning = meanings.get(&(reading.message.clone(), column.clone()));
        let Some((meaning, in_volts)) = meaning.filter(|_| !reading.marks.contains_key(column)) else {
            continue;
        };
        let volts = || Some(Voltage::from_volts(value.as_f64()? * in_volts));
        tells |= !value.is_null();
        match meaning {
            Meaning::Battery => told.battery = volts(),
            Meaning::Panel => told.panel = volts(),
            Meaning::Box => told.box_air = value.as_f64().map(Temperature::from_celsius),
            Meaning::Charging => {
                told.charging_min = value.as_u64().and_then(|count| u32::try_from(count).ok());
            }
            Meaning::Restarted => told.restarted = value == &Value::Bool(true),
        }
    }
    tells.then_some(told)
}

#[cfg(test)]
mod tests {
    use design::catalog::Catalog;
    use serde_json::json;

    use super::*;

    fn mast() -> Design {
        let file = design::file::parse(include_str!("../../../../../examples/larkmoor/frost-mast.toml"));
        design::resolve::resolve(&Catalog::builtin(), &file).expect("resolves").design
    }

    /// A value at the end of its field's range says no more than that it lies beyond: it is no voltage.
    #[test]
    fn what_lies_beyond_the_range_of_its_field_is_not_told() {
        let meanings = meanings(&mast());
        // The frost watch tells the battery as well, but no restart.
        let of = |wanted: Meaning| {
            let mut report = meanings.iter().filter(|((message, _), _)| message == "report");
            let (place, (_, in_volts)) =
                report.find(|(_, (meaning, _))| *meaning == wanted).expect("the mast tells it");
            (place.1.clone(), *in_volts)
        };
        let (battery, in_volts) = of(Meaning::Battery);
        let (restarted, _) = of(Meaning::Restarted);
        let mut reading = Reading {
            dev_eui: "0200000000000001".to_owned(),
            at: 1_500_000,
            kind: "frost-mast".to_owned(),
            message: "report".to_owned(),
            values: vec![(battery.clone(), json!(3.9 / in_volts)), (restarted, json!(true))],
            marks: BTreeMap::new(),
            late: true,
            rebuilt: false,
        };
        let first = told(&reading, &meanings).expect("it tells");
        assert!((first.battery.expect("a voltage").volts() - 3.9).abs() < 1e-9);
        assert_eq!((first.at_s, first.restarted), (1, true));
        reading.marks.insert(battery, "below".to_owned());
        assert_eq!(told(&reading, &meanings).and_then(|told| told.battery), None);
    }
}
