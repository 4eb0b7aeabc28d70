//! What others are sent as they want to have it: readings by RFC 8428, or a body by example; what nodes are to be told by an
//! example. Pure.
//!
//! An example is a JSON document in which [`READING`] or [`ORDER`] and `{value:FIELD}` stand for what is sent. A text that is a
//! place alone becomes what stands for it, a number or null included.

use serde_json::{Value, json};

use crate::export::{Labels, senml, time_text};
use crate::store::query::Reading;
use crate::store::settings::Due;
use crate::store::since::{Row, Said};
use crate::{base64, digits};

/// How readings are written.
#[derive(Clone, Debug, PartialEq)]
pub enum Form {
    /// RFC 8428.
    Senml,
    /// As an example shows.
    Example(Value),
}

/// What stands in the example of a reading.
pub const READING: &[&str] = &["node", "dev_eui", "message", "at", "id", "late"];
/// What stands in the example of what a node is to be told; the bytes in base64 and in hex.
pub const ORDER: &[&str] = &["node", "dev_eui", "message", "id", "port", "payload", "payload_hex"];

/// What a network is asked to tell a node, by an example.
#[derive(Clone, Debug, PartialEq)]
pub struct Order(Value);

/// A reading, or what a node is to be told, on its way.
#[derive(Clone, Debug, PartialEq)]
pub struct Sent {
    /// The same whenever it is sent again.
    pub id: String,
    /// What people call the node.
    pub node: String,
    /// Who it is: 16 hex digits.
    pub dev_eui: String,
    /// What is sent.
    pub body: String,
    /// What kind of text that is (RFC 6838).
    pub media_type: &'static str,
}

/// An example that can't be followed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ExampleError {
    /// It is no JSON.
    #[error("the example is no JSON: {0}")]
    Json(String),
    /// It holds a place that means nothing.
    #[error("`{{{found}}}` stands for nothing; there are {}, and value:FIELD", known.join(", "))]
    Place {
        /// What stands there.
        found: String,
        /// What may.
        known: &'static [&'static str],
    },
}

impl Form {
    /// The form that an example shows.
    ///
    /// # Errors
    /// [`ExampleError`].
    pub fn example(text: &str) -> Result<Self, ExampleError> {
        example(text, READING).map(Self::Example)
    }

    /// What is sent of a frame: each of its readings; none of one that says nothing.
    pub fn of(&self, row: &Row, labels: &Labels) -> Vec<Sent> {
        let Some(dev_eui) = &row.dev_eui else { return Vec::new() };
        row.readings.iter().map(|said| self.sent(row, dev_eui, said, labels)).collect()
    }

    fn sent(&self, row: &Row, dev_eui: &str, said: &Said, labels: &Labels) -> Sent {
        let id = format!("{dev_eui}-{}-{}-{}", row.seq, said.message, said.at);
        let node = labels.name(dev_eui).to_owned();
        let body = match self {
            Self::Senml => Value::Array(senml::records(&reading(dev_eui, said), labels)),
            Self::Example(example) => {
                let place = |name: &str| match name.strip_prefix("value:") {
                    Some(field) => {
                        let found = said.values.iter().find(|(column, _)| column == field);
                        found.map_or(Value::Null, |(_, value)| value.clone())
                    }
                    None => match name {
                        "node" => json!(node),
                        "dev_eui" => json!(dev_eui),
                        "message" => json!(said.message),
                        "at" => json!(time_text(said.at)),
                        "late" => json!(said.late),
                        _ => json!(id),
                    },
                };
                filled(example, &place)
            }
        };
        let media_type = match self {
            Self::Senml => "application/senml+json",
            Self::Example(_) => "application/json",
        };
        Sent { body: body.to_string(), id, node, dev_eui: dev_eui.to_owned(), media_type }
    }
}

impl Order {
    /// The form that an example shows.
    ///
    /// # Errors
    /// [`ExampleError`].
    pub fn example(text: &str) -> Result<Self, ExampleError> {
        example(text, ORDER).map(Self)
    }

    /// What is sent so that a node, as people call it, is told something.
    pub fn of(&self, due: &Due, node: &str) -> Sent {
        let id = format!("{}-setting-{}", due.dev_eui, due.id);
        let place = |name: &str| match name.strip_prefix("value:") {
            Some(field) => due.values.get(field).cloned().unwrap_or(Value::Null),
            None => match name {
                "node" => json!(node),
                "dev_eui" => json!(due.dev_eui),
                "message" => json!(due.message),
                "port" => json!(due.port),
                "payload" => json!(base64::encode_padded(&due.payload)),
                "payload_hex" => json!(digits::hex(&due.payload)),
                _ => json!(id),
            },
        };
        Sent {
            body: filled(&self.0, &place).to_string(),
            id,
            node: node.to_owned(),
            dev_eui: due.dev_eui.clone(),
            media_type: "application/json",
        }
    }
}

/// An example in which nothing but these stands for what is sent.
fn example(text: &str, known: &'static [&'static str]) -> Result<Value, ExampleError> {
    let example: Value = serde_json::from_str(text).map_err(|error| ExampleError::Json(error.to_string()))?;
    check(&example, known)?;
    Ok(example)
}

fn reading(dev_eui: &str, said: &Said) -> Reading {
    Reading {
        dev_eui: dev_eui.to_owned(),
        at: said.at,
        kind: said.kind.clone(),
        message: said.message.clone(),
        values: said.values.clone(),
        marks: said.marks.clone(),
        late: said.late,
        rebuilt: said.rebuilt,
    }
}

/// The texts and places of a text: `{..}` without a brace in it is a place.
fn parts(text: &str) -> Vec<Result<&str, &str>> {
    let mut parts = Vec::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('{') {
        let Some((name, behind)) = after.split_once('}') else { break };
        parts.push(Ok(before));
        parts.push(Err(name));
        rest = behind;
    }
    parts.push(Ok(rest));
    parts.retain(|part| *part != Ok(""));
    parts
}

fn check(example: &Value, known: &'static [&'static str]) -> Result<(), ExampleError> {
    let is_strange = |name: &&str| !known.contains(name) && !name.starts_with("value:");
    match example {
        Value::String(text) => match parts(text).into_iter().find_map(|part| part.err().filter(is_strange)) {
            Some(name) => Err(ExampleError::Place { found: name.to_owned(), known }),
            None => Ok(()),
        },
        Value::Array(entries) => entries.iter().try_for_each(|entry| check(entry, known)),
        Value::Object(members) => members.values().try_for_each(|member| check(member, known)),
        _ => Ok(()),
    }
}

fn filled(example: &Value, place: &impl Fn(&str) -> Value) -> Value {
    match example {
        Value::String(text) => match parts(text)[..] {
            [Err(name)] => place(name),
            ref parts => {
                let written = |part: &Result<&str, &str>| match *part {
                    Ok(text) => text.to_owned(),
                    Err(name) => match place(name) {
                        Value::String(text) => text,
                        other => other.to_string(),
                    },
                };
                parts.iter().map(written).collect::<String>().into()
            }
        },
        Value::Array(entries) => entries.iter().map(|entry| filled(entry, place)).collect(),
        Value::Object(members) => {
            Value::Object(members.iter().map(|(key, value)| (key.clone(), filled(value, place))).collect())
        }
        other => other.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_example_is_followed_place_by_place() {
        let text = r#"{"who": "{node}", "what": {"t": "{value:air}", "rain": "{value:none}"}, "say": "{node} at {at}"}"#;
        let form = Form::example(text).expect("it can be followed");
        let said = Said {
            // 1e9 s after 1970: 2001-09-09 01:46:40 UTC.
            at: 1_000_000_000_000_000,
            message: "report".to_owned(),
            kind: "mast".to_owned(),
            values: vec![("air".to_owned(), json!(-1.5))],
            marks: std::collections::BTreeMap::new(),
            late: false,
            rebuilt: false,
        };
        let row = Row {
            seq: 7,
            arrived_at: said.at,
            at: said.at,
            verdict: "new".to_owned(),
            reason: None,
            dev_eui: Some("0200000000000001".to_owned()),
            fcnt: Some(1),
            port: Some(10),
            source: "udp".to_owned(),
            data_rate: None,
            rssi_dbm: None,
            snr_db: None,
            readings: vec![said],
        };
        let names = [("0200000000000001".to_owned(), "mast-1".to_owned())].into();
        let sent = form.of(&row, &Labels { names, ..Labels::default() });
        let body: Value = serde_json::from_str(&sent[0].body).expect("JSON");
        let expected = json!({
            "who": "mast-1", "what": { "t": -1.5, "rain": null }, "say": "mast-1 at 2001-09-09T01:46:40.000Z",
        });
        assert_eq!((body, sent[0].node.as_str()), (expected, "mast-1"));
        let strange = ExampleError::Place { found: "nobody".to_owned(), known: READING };
        assert_eq!(Form::example(r#"["{nobody}"]"#), Err(strange));
        assert!(Form::example("{").is_err());
    }

    /// RFC 4648, section 10: `Zm9v` are the bytes of "foo", 66 6f 6f.
    #[test]
    fn what_a_node_is_to_be_told_follows_the_example_of_its_network() {
        let text = r#"{"to": "{dev_eui}", "down": [{"port": "{port}", "raw": "{payload}", "hex": "{payload_hex}"}],
            "note": "{message} for {node}", "every": "{value:every}"}"#;
        let order = Order::example(text).expect("it can be followed");
        let due = Due {
            id: 3,
            dev_eui: "0200000000000001".to_owned(),
            message: "settings".to_owned(),
            values: json!({ "every": 20 }),
            port: 12,
            payload: b"foo".to_vec(),
        };
        let sent = order.of(&due, "mast-1");
        let expected = json!({
            "to": "0200000000000001", "down": [{ "port": 12, "raw": "Zm9v", "hex": "666f6f" }],
            "note": "settings for mast-1", "every": 20,
        });
        assert_eq!(serde_json::from_str::<Value>(&sent.body).expect("JSON"), expected);
        assert_eq!(sent.id, "0200000000000001-setting-3");
        assert!(Order::example(r#"["{late}"]"#).is_err(), "nothing is late there");
    }
}
