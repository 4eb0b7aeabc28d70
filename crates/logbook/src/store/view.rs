//! Named columns for every message: what people and other programs read with SQL.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use rusqlite::Connection;
use serde_json::Value;

use super::StoreError;

/// A column, and its place in each edition that has it.
type Column = (String, Vec<(i64, usize)>);

/// Makes the views of a kind anew: one for each message that any edition of it had, with the columns of all.
///
/// A view is called `v_KIND_MESSAGE`, both in lower case with `_` for what is no letter or digit; the nodes of a kind are
/// those whose readings were read by one of its editions.
///
/// # Errors
/// [`StoreError`].
pub fn make(log: &Connection, kind: &str) -> Result<(), StoreError> {
    let mut statement = log.prepare("SELECT id, fields FROM edition WHERE kind = ? ORDER BY id")?;
    let found = statement.query_map([kind], |row| Ok((row.get(0)?, row.get(1)?)))?;
    let editions = found.collect::<Result<Vec<(i64, String)>, _>>()?;
    let mut messages: BTreeMap<String, Vec<Column>> = BTreeMap::new();
    for (edition, fields) in &editions {
        let damaged =
            |error: serde_json::Error| StoreError::Damaged { why: format!("edition {edition}: {error}") };
        let fields: BTreeMap<String, Vec<Value>> = serde_json::from_str(fields).map_err(damaged)?;
        for (message, columns) in fields {
            let known = messages.entry(message).or_default();
            for (place, column) in columns.iter().enumerate() {
                let name = column.as_str().unwrap_or_default();
                match known.iter_mut().find(|(known, _)| known == name) {
                    Some((_, places)) => places.push((*edition, place)),
                    None => known.push((name.to_owned(), vec![(*edition, place)])),
                }
            }
        }
    }
    let ids: Vec<String> = editions.iter().map(|(id, _)| id.to_string()).collect();
    for (message, columns) in &messages {
        log.execute_batch(&statement_of(&name(kind, message), message, columns, &ids.join(", ")))?;
    }
    Ok(())
}

/// What the view of a message is called.
pub fn name(kind: &str, message: &str) -> String {
    let word = |text: &str| -> String {
        let letter = |letter: char| if letter.is_alphanumeric() { letter } else { '_' };
        text.to_lowercase().chars().map(letter).collect()
    };
    format!("v_{}_{}", word(kind), word(message))
}

fn statement_of(view: &str, message: &str, columns: &[Column], editions: &str) -> String {
    let fixed = ["node", "dev_eui", "at", "late", "rebuilt", "marks"];
    let mut taken: BTreeSet<String> = fixed.iter().map(|&name| name.to_owned()).collect();
    let mut selected = String::new();
    for (column, places) in columns {
        // A field that is called like a column of the log keeps its name with a line behind it.
        let mut shown = column.clone();
        while !taken.insert(shown.clone()) {
            shown.push('_');
        }
        let cases = places.iter().map(|(edition, place)| format!("WHEN {edition} THEN vals ->> {place}"));
        let cases = cases.collect::<Vec<_>>().join(" ");
        write!(selected, ", CASE edition {cases} END AS {}", quoted(&shown))
            .expect("a string takes any text");
    }
    let view = quoted(view);
    let message = message.replace('\'', "''");
    format!(
        "DROP VIEW IF EXISTS {view}; CREATE VIEW {view} AS SELECT reading.node AS node, node.dev_eui AS dev_eui, \
         reading.at AS at, late, rebuilt, marks{selected} FROM reading JOIN node ON node.id = reading.node \
         WHERE message = '{message}' AND edition IN ({editions});"
    )
}

/// A name in SQL.
fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}
