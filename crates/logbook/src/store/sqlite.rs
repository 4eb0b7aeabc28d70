//! The file of the log.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read as _, Seek as _, Write as _};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::backup::Backup;
use rusqlite::{Connection, OpenFlags, OptionalExtension as _, TransactionBehavior};
use sha2::{Digest as _, Sha256};

use super::{StoreError, again};
use crate::digits::hex;
use crate::received::Moment;

/// The tables, edition by edition; an edition that was shipped is never changed.
const MIGRATIONS: [&str; 10] = [
    include_str!("schema/0001.sql"),
    include_str!("schema/0002.sql"),
    include_str!("schema/0003.sql"),
    include_str!("schema/0004.sql"),
    include_str!("schema/0005.sql"),
    include_str!("schema/0006.sql"),
    include_str!("schema/0007.sql"),
    include_str!("schema/0008.sql"),
    include_str!("schema/0009.sql"),
    include_str!("schema/0010.sql"),
];
/// Marks a file as a log of ours (own choice: "ovwl" in ASCII).
const APPLICATION: i32 = 0x6f76_776c;
/// Counters and nonces that are left out after a log was put back (own choice: more than were used since).
const STEPPED_OVER: u32 = 1000;
/// Under this key lies the last frame whose time of arrival no longer says what the clock must have reached.
const CLOCK_IS_RIGHT: &str = "clock-is-right-since";
/// Frames among which the newest time of arrival is looked for: they are kept in the order of arrival, but for moments.
const LOOKED_BACK: u32 = 1000;
/// Pages that are copied at once, and the pause in which the writer goes on.
const COPY_STEP: (i32, Duration) = (2000, Duration::from_millis(1));

/// A log that this process alone writes, until it is dropped.
#[derive(Debug)]
pub struct Log {
    path: PathBuf,
    pub(super) connection: Connection,
    _lock: File,
}

/// How a log is opened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Change {
    Create,
    Migrate { from: u32 },
    Nothing,
}

impl Log {
    /// The log at a place; made where there is none, migrated after a copy where it is older.
    ///
    /// # Errors
    /// [`StoreError`]; nothing was changed then.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        let lock = lock(path)?;
        let mut connection = connect(path)?;
        match examine(&connection)? {
            Change::Nothing => {}
            Change::Create => migrate(&mut connection, 0)?,
            Change::Migrate { from } => {
                copy(&connection, &beside(path, &format!(".before-{}", from + 1)))?;
                migrate(&mut connection, from)?;
            }
        }
        check_migrations(&connection)?;
        Ok(Self { path: path.to_owned(), connection, _lock: lock })
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Steps over what an older log that was put back may have forgotten: downlink counters and join nonces that were used.
    ///
    /// # Errors
    /// [`StoreError`]; nothing was changed then.
    pub fn step_over_the_forgotten(&self, now: Moment) -> Result<(), StoreError> {
        let transaction = self.connection.unchecked_transaction()?;
        transaction.execute("UPDATE session SET last_down = coalesce(last_down, -1) + ?", [STEPPED_OVER])?;
        transaction.execute("UPDATE node SET join_nonce = join_nonce + ?", [STEPPED_OVER])?;
        transaction
            .execute("INSERT INTO deed (at, who, what) VALUES (?, 'serve', 'the log was restored')", [now])?;
        Ok(transaction.commit()?)
    }

    /// The newest time of arrival that was believed, of the frames that were kept last.
    ///
    /// # Errors
    /// [`StoreError`] if it can't be read.
    pub fn newest_arrival(&self) -> Result<Option<Moment>, StoreError> {
        let after = match self.noted(CLOCK_IS_RIGHT)? {
            Some(text) => text.parse().map_err(|error| StoreError::Damaged {
                why: format!("the note `{CLOCK_IS_RIGHT}` is no number: {error}"),
            })?,
            None => 0_i64,
        };
        let sql = "SELECT max(arrived_at) FROM (SELECT arrived_at FROM frame WHERE clock_unsure IS NULL AND id > ? \
                   ORDER BY id DESC LIMIT ?)";
        Ok(self.connection.query_row(sql, (after, LOOKED_BACK), |row| row.get(0))?)
    }

    /// A person says that the clock is right now, whatever the log holds: times of before no longer count.
    ///
    /// # Errors
    /// [`StoreError`]; nothing was changed then.
    pub fn clock_is_right(&self) -> Result<(), StoreError> {
        self.note(CLOCK_IS_RIGHT, &self.progress()?.0.to_string())
    }

    /// Asks that the history of a kind be read anew from a moment on, beginning with the next start of the writer.
    ///
    /// # Errors
    /// [`StoreError`]; nothing is asked then.
    pub fn decode_again(&self, kind: &str, since: Option<Moment>) -> Result<(), StoreError> {
        again::ask(&self.connection, kind, since)
    }

    /// How far it has come: its newest frame and downlink. A log that is behind what was noted is an older copy.
    ///
    /// # Errors
    /// [`StoreError`] if it can't be read.
    pub fn progress(&self) -> Result<(i64, i64), StoreError> {
        progress(&self.connection)
    }

    /// The first frame that was heard at a moment or later.
    ///
    /// # Errors
    /// [`StoreError`] if it can't be read.
    pub fn first_since(&self, at: Moment) -> Result<Option<i64>, StoreError> {
        let sql = "SELECT min(id) FROM frame WHERE at >= ?";
        Ok(self.connection.query_row(sql, [at], |row| row.get(0))?)
    }

    /// What is remembered under a key.
    ///
    /// # Errors
    /// [`StoreError`] if it can't be read.
    pub fn noted(&self, key: &str) -> Result<Option<String>, StoreError> {
        super::since::noted(&self.connection, key)
    }

    /// Remembers a value under a key.
    ///
    /// # Errors
    /// [`StoreError`]; nothing was changed then.
    pub fn note(&self, key: &str, value: &str) -> Result<(), StoreError> {
        super::rows::note(&self.connection, key, value)
    }

    /// Gives back to the disk what is no longer used. Nothing does so by itself.
    ///
    /// # Errors
    /// [`StoreError`]; the log is as it was then.
    pub fn compact(&self) -> Result<(), StoreError> {
        self.connection.execute_batch("VACUUM; PRAGMA wal_checkpoint(TRUNCATE);")?;
        Ok(())
    }
}

/// How far a log has come: its newest frame and downlink.
///
/// # Errors
/// [`StoreError`] if it can't be read.
pub fn progress(log: &Connection) -> Result<(i64, i64), StoreError> {
    let sql = "SELECT (SELECT coalesce(max(id), 0) FROM frame), (SELECT coalesce(max(id), 0) FROM downlink)";
    Ok(log.query_row(sql, [], |row| Ok((row.get(0)?, row.get(1)?)))?)
}

/// A connection that only reads, beside the one process that writes.
///
/// # Errors
/// [`StoreError`] if there is no log that this program knows.
pub fn reader(path: &Path) -> Result<Connection, StoreError> {
    let connection = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    connection.busy_timeout(Duration::from_secs(5))?;
    connection.pragma_update(None, "query_only", true)?;
    match examine(&connection)? {
        Change::Nothing => Ok(connection),
        Change::Create => Err(StoreError::Damaged { why: "it holds no log".to_owned() }),
        Change::Migrate { .. } => Err(StoreError::Damaged {
            why: "an older program wrote it; `serve` brings it up to date".to_owned(),
        }),
    }
}

/// A connection for the short transactions of people beside the one process that hears: they wait for each other.
///
/// # Errors
/// [`StoreError`] if there is no log that this program knows.
pub(super) fn beside_the_writer(path: &Path) -> Result<Connection, StoreError> {
    let connection = reader(path)?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    connection.pragma_update(None, "query_only", false)?;
    Ok(connection)
}

/// Copies a log while it is written; the copy is whole, with all that was committed when it ended.
///
/// # Errors
/// [`StoreError`]; nothing stands at `to` then that was not there before.
pub fn back_up(from: &Path, to: &Path) -> Result<(), StoreError> {
    copy(&reader(from)?, to)
}

fn copy(from: &Connection, to: &Path) -> Result<(), StoreError> {
    let draft = beside(to, ".part");
    if to.exists() {
        return Err(StoreError::Lost { why: format!("{} is there already", to.display()) });
    }
    private(&draft)?.set_len(0)?;
    let mut target = Connection::open(&draft)?;
    let (pages, pause) = COPY_STEP;
    Backup::new(from, &mut target)?.run_to_completion(pages, pause, None)?;
    // One file, without a log of its own beside it.
    target.pragma_update(None, "journal_mode", "DELETE")?;
    let sound: String = target.query_row("PRAGMA quick_check", [], |row| row.get(0))?;
    drop(target);
    if sound != "ok" {
        return Err(StoreError::Damaged { why: format!("its copy is not sound: {sound}") });
    }
    File::open(&draft)?.sync_all()?;
    std::fs::rename(&draft, to)?;
    Ok(crate::whole::settle_beside(to)?)
}

/// A file beside another, named after it.
pub(super) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(ending);
    path.with_file_name(name)
}

fn lock(path: &Path) -> Result<File, StoreError> {
    let mut file =
        OpenOptions::new().create(true).truncate(false).read(true).write(true).open(beside(path, ".lock"))?;
    match file.try_lock() {
        Ok(()) => {
            file.set_len(0)?;
            file.rewind()?;
            write!(file, "{}", std::process::id())?;
            Ok(file)
        }
        Err(TryLockError::WouldBlock) => {
            let mut number = String::new();
            file.read_to_string(&mut number)?;
            Err(StoreError::Busy { process: number.trim().parse().ok() })
        }
        Err(TryLockError::Error(error)) => Err(error.into()),
    }
}

/// A new file that only its owner reads; one that is there stays as it is.
fn private(path: &Path) -> Result<File, StoreError> {
    let mut options = OpenOptions::new();
    options.create(true).truncate(false).read(true).write(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    Ok(options.open(path)?)
}

fn connect(path: &Path) -> Result<Connection, StoreError> {
    private(path)?;
    let connection = Connection::open(path)?;
    connection.busy_timeout(Duration::from_secs(2))?;
    connection.pragma_update(None, "page_size", 8192)?;
    connection.pragma_update(None, "journal_mode", "WAL")?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    connection.pragma_update(None, "wal_autocheckpoint", 16000)?;
    connection.pragma_update(None, "cache_size", -65_536)?;
    // Each statement of many rows keeps pages as they were until it ends: not in a file.
    connection.pragma_update(None, "temp_store", "MEMORY")?;
    connection.set_prepared_statement_cache_capacity(64);
    Ok(connection)
}

/// Edition of the tables that this program writes.
fn known() -> u32 {
    u32::try_from(MIGRATIONS.len()).unwrap_or(u32::MAX)
}

fn examine(connection: &Connection) -> Result<Change, StoreError> {
    let application: i32 = connection.pragma_query_value(None, "application_id", |row| row.get(0))?;
    let found: u32 = connection.pragma_query_value(None, "user_version", |row| row.get(0))?;
    let tables: u32 = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    match found {
        0 if tables == 0 => Ok(Change::Create),
        _ if application != APPLICATION => Err(StoreError::Damaged {
            why: "the file is an SQLite database, but no log of overwinter".to_owned(),
        }),
        found if found > known() => Err(StoreError::Newer { found, known: known() }),
        found if found < known() => Ok(Change::Migrate { from: found }),
        _ => Ok(Change::Nothing),
    }
}

fn migrate(connection: &mut Connection, from: u32) -> Result<(), StoreError> {
    // A table that is made anew keeps its name in the views of messages.
    connection.pragma_update(None, "legacy_alter_table", true)?;
    let migrated = migrate_in_one(connection, from);
    connection.pragma_update(None, "legacy_alter_table", false)?;
    migrated
}

fn migrate_in_one(connection: &mut Connection, from: u32) -> Result<(), StoreError> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    for (number, sql) in (1_u32..).zip(MIGRATIONS).skip(from as usize) {
        transaction.execute_batch(sql)?;
        transaction
            .execute("INSERT INTO migration (number, checksum) VALUES (?, ?)", (number, checksum(sql)))?;
    }
    transaction.pragma_update(None, "application_id", APPLICATION)?;
    transaction.pragma_update(None, "user_version", known())?;
    Ok(transaction.commit()?)
}

fn check_migrations(connection: &Connection) -> Result<(), StoreError> {
    for (number, sql) in (1_u32..).zip(MIGRATIONS) {
        let found: Option<String> = connection
            .query_row("SELECT checksum FROM migration WHERE number = ?", [number], |row| row.get(0))
            .optional()?;
        if found != Some(checksum(sql)) {
            return Err(StoreError::Damaged { why: format!("its tables are not those of edition {number}") });
        }
    }
    Ok(())
}

fn checksum(sql: &str) -> String {
    hex(&Sha256::digest(sql))
}
