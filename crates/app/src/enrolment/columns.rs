//! The person's own column names, for lists that go to a network or come from one.

use std::io::ErrorKind;
use std::path::Path;

use logbook::bounded;
use report::problem::{Failure, Problem, Source};
use serde::Deserialize;

use crate::output::reason;

/// Something that we know about a node.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Fact {
    /// Its name.
    Name,
    /// The name of its design.
    Kind,
    /// Its identity.
    DevEui,
    /// Its join server.
    JoinEui,
    /// Its root key.
    AppKey,
}

/// One column: a fact, or the same text in every row.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Column {
    /// Its title in the list.
    pub(crate) title: String,
    /// What it holds.
    pub(crate) fact: Option<Fact>,
    /// What it holds in every row.
    pub(crate) text: Option<String>,
}

/// The columns of a list, in their order.
/// A file that names columns has a few lines \[bytes\].
const LARGEST_BYTES: u64 = 64 << 10;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Columns {
    /// The columns.
    pub(crate) columns: Vec<Column>,
}

const EXAMPLE: &str = "write: columns = [ { title = \"Device\", fact = \"dev_eui\" }, { title = \"Key\", fact = \"app_key\" } ]; \
facts are name, kind, dev_eui, join_eui and app_key; { title = ..., text = ... } is the same in every row";

impl Columns {
    /// Reads a column file; it must name a column for the device and one for its key.
    pub(crate) fn read(path: &Path) -> Result<Self, Failure> {
        let file = path.to_string_lossy();
        let unreadable = |error: std::io::Error| {
            let message = format!("the file can't be read: {}", reason(&error));
            Failure::of(Problem::of_file("columns", &file, message, EXAMPLE))
        };
        let bytes = bounded::read(path, LARGEST_BYTES).map_err(unreadable)?;
        let text = String::from_utf8(bytes)
            .map_err(|error| unreadable(std::io::Error::new(ErrorKind::InvalidData, error)))?;
        let columns: Self = toml::from_str(&text).map_err(|error| {
            Failure::of(Problem {
                warning: false,
                code: "columns",
                source: Source::new(&file, &text),
                span: error.span(),
                message: error.message().trim().replace('\n', " "),
                help: EXAMPLE.to_owned(),
            })
        })?;
        let refuse = |message: String| Err(Failure::of(Problem::of_file("columns", &file, message, EXAMPLE)));
        let mut titles = std::collections::BTreeSet::new();
        for column in &columns.columns {
            if column.fact.is_some() == column.text.is_some() {
                return refuse(format!("column {:?} must have either `fact` or `text`", column.title));
            }
            if !titles.insert(&column.title) {
                return refuse(format!("there are two columns {:?}", column.title));
            }
        }
        for (fact, name) in [(Fact::DevEui, "dev_eui"), (Fact::AppKey, "app_key")] {
            match columns.columns.iter().filter(|column| column.fact == Some(fact)).count() {
                1 => {}
                0 => return refuse(format!("no column holds `{name}`")),
                _ => return refuse(format!("two columns hold `{name}`")),
            }
        }
        Ok(columns)
    }

    /// Title of the column of a fact.
    pub(crate) fn title(&self, fact: Fact) -> Option<&str> {
        self.columns.iter().find(|column| column.fact == Some(fact)).map(|column| column.title.as_str())
    }
}
