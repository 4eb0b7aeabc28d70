//! The archive of a log: what somebody needs who has neither this program nor its makers.

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

use rusqlite::Connection;
use rusqlite::types::ValueRef;
use sha2::{Digest as _, Sha256};

use super::StoreError;
use super::sqlite::beside;
use crate::digits::hex;

/// Tables of the log that are written as they are; those of people, their logins and tokens are not.
const TABLES: [&str; 21] = [
    "frame",
    "reception",
    "reading",
    "hour",
    "day",
    "edition",
    "node",
    "session",
    "gateway",
    "gateway_report",
    "downlink",
    "setting",
    "alarm",
    "visit",
    "pause",
    "band",
    "truth",
    "deed",
    "meta",
    "migration",
    "stale_hour",
];

const README: &str = "\
This folder holds all that was heard of a site and all that is needed to read it, as text.

log/*.csv        the tables of the log (RFC 4180). Times are microseconds since 1970-01-01 UTC, bytes are hex digits.
                 frame.bytes is the frame as it travelled (LoRaWAN 1.0), or the whole message of another network;
                 frame.payload is what it carried, in the clear; reception has a row for each gateway that heard it.
                 clock_unsure is 1 where the computer's clock could not be believed: times of that row are wrong.
                 reading.vals is a JSON list in the order of the fields of its edition and message.
editions/ID.toml every design that ever read a message; edition.fields has the order of the fields of each message. The
                 design says how the bits of a payload are scaled: range and resolution of each field, in the order of
                 the file.
site/            what was beside the log: the site file, the designs of today, the registry (who is who, where, with which
                 constants, from when to when).
SHA256SUMS       `sha256sum --check SHA256SUMS` says whether anything was changed since.

Payloads are in the clear, and no key is in it. To follow a reading: reading.frame is frame.id, reading.edition is
edition.id, reading.node is node.id, whose dev_eui stands in the registry.
";

/// Writes the archive into a folder that is not there yet, with these files of the site; how many rows it holds.
///
/// # Errors
/// [`StoreError`]; the folder is not there then.
pub fn write(log: &Connection, folder: &Path, site: &[(String, Vec<u8>)]) -> Result<usize, StoreError> {
    if folder.exists() {
        return Err(StoreError::Lost { why: format!("{} is there already", folder.display()) });
    }
    let draft = beside(folder, ".part");
    if draft.exists() {
        fs::remove_dir_all(&draft)?;
    }
    for part in ["log", "editions", "site"] {
        fs::create_dir_all(draft.join(part))?;
    }
    let rows = fill(log, &draft, site)?;
    fs::rename(&draft, folder)?;
    Ok(rows)
}

fn fill(log: &Connection, folder: &Path, site: &[(String, Vec<u8>)]) -> Result<usize, StoreError> {
    // One picture of the log, though it is being written.
    let picture = log.unchecked_transaction()?;
    let mut sums = String::new();
    let mut sum = |name: &str, digest: &[u8]| {
        writeln!(sums, "{}  {name}", hex(digest)).expect("a string takes any text");
    };
    let mut rows = 0;
    for table in TABLES {
        let name = format!("log/{table}.csv");
        let mut file = Summed::create(&folder.join(&name))?;
        rows += write_table(&picture, table, &mut file)?;
        sum(&name, &file.finish()?);
    }
    let mut whole = |name: String, bytes: &[u8]| -> Result<(), StoreError> {
        let mut file = Summed::create(&folder.join(&name))?;
        file.write_all(bytes)?;
        sum(&name, &file.finish()?);
        Ok(())
    };
    whole("README.txt".to_owned(), README.as_bytes())?;
    let mut editions = picture.prepare("SELECT id, design FROM edition ORDER BY id")?;
    let mut found = editions.query([])?;
    while let Some(row) = found.next()? {
        let (id, design): (i64, String) = (row.get(0)?, row.get(1)?);
        whole(format!("editions/{id}.toml"), design.as_bytes())?;
    }
    for (name, bytes) in site {
        whole(format!("site/{name}"), bytes)?;
    }
    fs::write(folder.join("SHA256SUMS"), sums)?;
    Ok(rows)
}

/// A file whose digest is known when it is written.
struct Summed {
    file: BufWriter<File>,
    digest: Sha256,
}

impl Summed {
    fn create(path: &Path) -> std::io::Result<Self> {
        Ok(Self { file: BufWriter::new(File::create_new(path)?), digest: Sha256::new() })
    }

    fn finish(mut self) -> std::io::Result<Vec<u8>> {
        self.file.flush()?;
        self.file.get_ref().sync_all()?;
        Ok(self.digest.finalize().to_vec())
    }
}

impl Write for Summed {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.digest.update(bytes);
        self.file.write_all(bytes)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.file.flush()
    }
}

fn write_table(log: &Connection, table: &str, file: &mut impl Write) -> Result<usize, StoreError> {
    let mut statement = log.prepare(&format!("SELECT * FROM {table} ORDER BY 1, 2"))?;
    let names = statement.column_names().collect::<Vec<_>>().join(",");
    write!(file, "{names}\r\n")?;
    let columns = statement.column_count();
    let mut found = statement.query([])?;
    let mut rows = 0;
    while let Some(row) = found.next()? {
        for column in 0..columns {
            if column > 0 {
                file.write_all(b",")?;
            }
            file.write_all(cell(row.get_ref(column)?).as_bytes())?;
        }
        file.write_all(b"\r\n")?;
        rows += 1;
    }
    Ok(rows)
}

/// A value as RFC 4180 has it; what is absent is empty, a text that is empty has quotes.
fn cell(value: ValueRef<'_>) -> String {
    match value {
        ValueRef::Null => String::new(),
        ValueRef::Integer(number) => number.to_string(),
        ValueRef::Real(number) => number.to_string(),
        ValueRef::Blob(bytes) => hex(bytes),
        ValueRef::Text(text) => {
            let text = String::from_utf8_lossy(text);
            if text.is_empty() || text.contains([',', '"', '\r', '\n']) {
                return format!("\"{}\"", text.replace('"', "\"\""));
            }
            text.into_owned()
        }
    }
}
