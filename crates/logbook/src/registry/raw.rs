//! The registry as it is written.

use std::collections::BTreeMap;

use design::quantity::{Angle, Length};
use serde::Deserialize;
use toml::value::Datetime;
use wire::identity::{DevEui, JoinEui};

use super::{Date, HandOver, Node, Place, RegistryError};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    schema: u32,
    #[serde(default)]
    node: Vec<WrittenNode>,
    #[serde(default)]
    hand_over: Vec<WrittenHandOver>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenNode {
    name: String,
    kind: String,
    dev_eui: String,
    join_eui: String,
    place: Option<WrittenPlace>,
    #[serde(default)]
    constants: BTreeMap<String, BTreeMap<String, f64>>,
    from: Datetime,
    until: Option<Datetime>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenPlace {
    latitude_deg: f64,
    longitude_deg: f64,
    elevation_m: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenHandOver {
    on: Datetime,
    dev_euis: Vec<String>,
}

/// The one thing that a newer file must share with this one.
#[derive(Deserialize)]
struct Schema {
    schema: u32,
}

/// Rows and hand-overs of a text.
pub(super) fn read(text: &str) -> Result<(Vec<Node>, Vec<HandOver>), RegistryError> {
    let syntax = |error: toml::de::Error| {
        let before = error.span().and_then(|span| text.get(..span.start)).unwrap_or_default();
        let line = before.matches('\n').count() + 1;
        RegistryError::Syntax { line, what: error.message().trim().replace('\n', " ") }
    };
    let Schema { schema } = toml::from_str(text).map_err(syntax)?;
    if schema != 1 {
        return Err(RegistryError::Schema { found: schema });
    }
    let written: Written = toml::from_str(text).map_err(syntax)?;
    debug_assert_eq!(written.schema, schema, "the same key read twice");
    let nodes = written.node.into_iter().map(node).collect::<Result<_, _>>()?;
    let hand_overs = written.hand_over.iter().map(hand_over).collect::<Result<_, _>>()?;
    Ok((nodes, hand_overs))
}

fn node(written: WrittenNode) -> Result<Node, RegistryError> {
    let name = written.name;
    let row = |what: String| RegistryError::Row { name: name.clone(), what };
    let from = date(&written.from).ok_or_else(|| row("`from` is no day, such as 2026-11-25".to_owned()))?;
    let until = match written.until {
        None => None,
        Some(until) => {
            Some(date(&until).ok_or_else(|| row("`until` is no day, such as 2026-11-25".to_owned()))?)
        }
    };
    let dev_eui = DevEui::from_display(&written.dev_eui).map_err(|error| row(error.to_string()))?;
    let join_eui = JoinEui::from_display(&written.join_eui).map_err(|error| row(error.to_string()))?;
    let place = written.place.map(|place| Place {
        latitude: Angle::from_degrees(place.latitude_deg),
        longitude: Angle::from_degrees(place.longitude_deg),
        elevation: place.elevation_m.map(Length::from_metres),
    });
    let noted = |value: f64| value.is_finite().then_some(value);
    let values = |values: BTreeMap<String, f64>| {
        values.into_iter().map(|(name, value)| (name, noted(value))).collect()
    };
    let constants = written.constants.into_iter().map(|(field, held)| (field, values(held))).collect();
    Ok(Node { name, kind: written.kind, dev_eui, join_eui, place, constants, from, until })
}

fn hand_over(written: &WrittenHandOver) -> Result<HandOver, RegistryError> {
    let row = |what: String| RegistryError::Row { name: "of a hand-over".to_owned(), what };
    let on = date(&written.on).ok_or_else(|| row("`on` is no day, such as 2026-11-25".to_owned()))?;
    let dev_euis = written.dev_euis.iter().map(|text| DevEui::from_display(text));
    let dev_euis = dev_euis.collect::<Result<_, _>>().map_err(|error| row(error.to_string()))?;
    Ok(HandOver { on, dev_euis })
}

fn date(written: &Datetime) -> Option<Date> {
    let day = written.date.filter(|_| written.time.is_none() && written.offset.is_none())?;
    Date::new(day.year, day.month, day.day)
}
