//! Readings as others want to have them, as they come: RFC 8428, or a body by example. Pure.
//!
//! An example is a JSON document in which `{node}`, `{dev_eui}`, `{message}`, `{at}`, `{id}`, `{late}` and `{value:FIELD}`
//! stand for what is sent. A text that is a place alone becomes what stands for it, a number or null included.

use serde_json::{Value, json};

use crate::export::{Labels, senml, time_text};
use crate::store::query::Reading;
use crate::store::since::{Row, Said};

/// How readings are written.
#[derive(Clone, Debug, PartialEq)]
pub enum Form {
    /// RFC 8428.
    Senml,
    /// As an example shows.
    Example(Value),
}

/// A reading on its way.
#[derive(Clone, Debug, PartialEq)]
pub struct Sent {
    /// The same whenever it is sent again.
    pub id: String,
    /// What people call the node.
    pub node: String,
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
    #[error("`{{{0}}}` stands for nothing; there are node, dev_eui, message, at, id, late and value:FIELD")]
    Place(String),
}

impl Form {
    /// The form that an example shows.
    ///
    /// # Errors
    /// [`ExampleError`].
    pub fn example(text: &str) -> Result<Self, ExampleError> {
        let example: Value =
            serde_json::from_str(text).map_err(|error| ExampleError::Json(error.to_string()))?;
        check(&example)?;
        Ok(Self::Example(example))
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
        Sent { body: body.to_string(), id, node, media_type }
    }
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

fn check(example: &Value) -> Result<(), ExampleError> {
    let known = |name: &str| {
        ["node", "dev_eui", "message", "at", "id", "late"].contains(&name) || name.starts_with("value:")
    };
    match example {
        Value::String(text) => {
            match parts(text).into_iter().find_map(|part| part.err().filter(|name| !known(name))) {
                Some(name) => Err(ExampleError::Place(name.to_owned())),
                None => Ok(()),
            }
        }
        Value::Array(entries) => entries.iter().try_for_each(check),
        Value::Object(members) => members.values().try_for_each(check),
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
        assert_eq!(Form::example(r#"["{nobody}"]"#), Err(ExampleError::Place("nobody".to_owned())));
        assert!(Form::example("{").is_err());
    }
}
