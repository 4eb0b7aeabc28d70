//! A list of devices that have their keys already.

use std::collections::BTreeMap;
use std::path::Path;

use logbook::bounded;
use logbook::keys::KeyBox;
use logbook::registry::Registry;
use report::problem::{Failure, Found, Problem};
use wire::identity::{DevEui, JoinEui};
use wire::key::AppKey;
use zeroize::Zeroizing;

use super::columns::{Columns, Fact};
use super::{Batch, MOST_NODES, site};
use crate::output::reason;

/// No list of [`MOST_NODES`] is larger \[bytes\].
const LARGEST_BYTES: u64 = 4 << 20;

/// Nobody mends more lines at once.
const MOST_PROBLEMS: usize = 20;

/// Adds the devices of a list to registry and key box; nothing is written yet.
pub(crate) fn add(
    registry: &mut Registry,
    keys: &mut KeyBox,
    batch: &Batch<'_>,
    list: &Path,
    columns: &Columns,
    join_eui: Option<JoinEui>,
) -> Result<usize, Failure> {
    let rows = rows(list, columns)?;
    let nameless = rows.iter().filter(|row| row.name.is_none()).count();
    let mut free = batch.names.free(registry, nameless)?.into_iter();
    let count = rows.len();
    let mut lines: BTreeMap<DevEui, usize> = BTreeMap::new();
    let mut found = Found::default();
    for row in rows {
        let line = row.line;
        let name = row.name.clone().or_else(|| free.next()).unwrap_or_default();
        let added = match lines.insert(row.dev_eui, line) {
            Some(first) => Err(refuse(
                list,
                line,
                format!("DevEUI {} stands in line {first} already", row.dev_eui),
                "keep one of them",
            )),
            None => add_row(registry, keys, batch, row, name, join_eui)
                .map_err(|failure| at_line(list, line, failure)),
        };
        found.take(added);
        enough(&mut found, list)?;
    }
    found.refuse().map(|()| count)
}

fn add_row(
    registry: &mut Registry,
    keys: &mut KeyBox,
    batch: &Batch<'_>,
    row: ImportedNode,
    name: String,
    join_eui: Option<JoinEui>,
) -> Result<(), Failure> {
    let Some(join_eui) = row.own_join_eui.or(join_eui) else {
        let message = "the device has no JoinEUI".to_owned();
        return Err(Failure::of(Problem::of_file(
            "import",
            "",
            message,
            "name its column, or give --join-eui",
        )));
    };
    let mut found = Found::default();
    found.take(keys.import(row.dev_eui, row.key).map_err(|error| site::keys_failure(&error)));
    let node = batch.node(name, row.dev_eui, join_eui);
    found.take(registry.add(node).map_err(|error| site::registry_failure(&error)));
    found.refuse()
}

/// Stops once nobody would read on.
fn enough(found: &mut Found, list: &Path) -> Result<(), Failure> {
    if found.count() < MOST_PROBLEMS {
        return Ok(());
    }
    let mut so_far = std::mem::take(found);
    so_far.take::<()>(Err(refuse(
        list,
        1,
        "there may be more; these are the first".to_owned(),
        "mend them first",
    )));
    so_far.refuse()
}

struct ImportedNode {
    line: usize,
    name: Option<String>,
    dev_eui: DevEui,
    own_join_eui: Option<JoinEui>,
    key: AppKey,
}

fn rows(list: &Path, columns: &Columns) -> Result<Vec<ImportedNode>, Failure> {
    let unreadable = |error: std::io::Error| {
        let message = format!("the list can't be read: {}", reason(&error));
        Failure::of(Problem::of_file(
            "import",
            &list.to_string_lossy(),
            message,
            "give a CSV file with titles in its first line",
        ))
    };
    let bytes = Zeroizing::new(bounded::read(list, LARGEST_BYTES).map_err(unreadable)?);
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
    let mut reader =
        csv::ReaderBuilder::new().delimiter(separator(bytes)).trim(csv::Trim::All).from_reader(bytes);
    let titles = reader.headers().map_err(|error| broken(list, &error))?.clone();
    let place = |fact: Fact| -> Result<Option<usize>, Failure> {
        let Some(title) = columns.title(fact) else { return Ok(None) };
        let found = titles.iter().position(|known| known == title);
        found.map(Some).ok_or_else(|| {
            let known = titles.iter().collect::<Vec<_>>().join(", ");
            refuse(list, 1, format!("there is no column {title:?}"), &format!("its columns are: {known}"))
        })
    };
    let mut found = Found::default();
    let places =
        [Fact::DevEui, Fact::AppKey, Fact::Name, Fact::JoinEui].map(|fact| found.take(place(fact)).flatten());
    if found.count() > 0 {
        return Err(found.into_failure());
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| broken(list, &error));
        rows.extend(found.take(record.and_then(|record| row(list, &record, places))));
        enough(&mut found, list)?;
        if rows.len() > MOST_NODES {
            return Err(refuse(
                list,
                1,
                format!("the list has more than {MOST_NODES} devices"),
                "split it by site",
            ));
        }
    }
    found.refuse()?;
    if rows.is_empty() {
        Err(refuse(list, 1, "the list has no devices".to_owned(), "give one line per device"))
    } else {
        Ok(rows)
    }
}

/// A list made for a decimal comma is separated by semicolons.
fn separator(bytes: &[u8]) -> u8 {
    let titles = bytes.split(|byte| *byte == b'\n').next().unwrap_or_default();
    let cells = |separator: u8| titles.split(|byte| *byte == separator).count();
    [b',', b';', b'\t'].into_iter().max_by_key(|separator| cells(*separator)).unwrap_or(b',')
}

fn row(list: &Path, record: &csv::StringRecord, places: [Option<usize>; 4]) -> Result<ImportedNode, Failure> {
    let line = record.position().map_or(0, |at| usize::try_from(at.line()).unwrap_or(0));
    let [dev_eui, key, name, join_eui] =
        places.map(|place| place.and_then(|place| record.get(place)).filter(|text| !text.is_empty()));
    let mut found = Found::default();
    let mut wrong = |message: String| {
        found.take::<()>(Err(refuse(
            list,
            line,
            message,
            "EUIs are 16 hex digits, keys 32, most significant first",
        )));
    };
    let dev_eui = DevEui::from_display(dev_eui.unwrap_or_default()).map_err(|error| wrong(error.to_string()));
    let own_join_eui =
        join_eui.map(JoinEui::from_display).transpose().map_err(|error| wrong(error.to_string()));
    let key = AppKey::from_hex(key.unwrap_or_default()).map_err(|error| wrong(error.to_string()));
    match (dev_eui, own_join_eui, key) {
        (Ok(dev_eui), Ok(own_join_eui), Ok(key)) => {
            Ok(ImportedNode { line, name: name.map(str::to_owned), dev_eui, own_join_eui, key })
        }
        _ => Err(found.into_failure()),
    }
}

/// What the reader of CSV says, without the content of a line, in which a key may stand.
fn broken(list: &Path, error: &csv::Error) -> Failure {
    let line = error.position().map_or(1, |at| usize::try_from(at.line()).unwrap_or(1));
    let what = match error.kind() {
        csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
            format!("the line has {len} cells, the first has {expected_len}")
        }
        csv::ErrorKind::Utf8 { .. } => "the line is not text in UTF-8".to_owned(),
        _ => "the line is no CSV".to_owned(),
    };
    refuse(list, line, what, "mend the line")
}

fn refuse(list: &Path, line: usize, message: String, help: &str) -> Failure {
    at_line(list, line, Failure::of(Problem::of_file("import", "", message, help)))
}

fn at_line(list: &Path, line: usize, mut failure: Failure) -> Failure {
    for problem in &mut failure.problems {
        problem.source = report::problem::Source::new(&list.to_string_lossy(), "");
        problem.message = format!("line {line}: {}", problem.message);
    }
    failure
}
