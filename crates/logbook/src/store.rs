//! The log: every frame that was heard, what it said, and what was answered, in one `SQLite` file.
//!
//! - [`sqlite`]: the file: opened by one process, migrated, copied while it is written.
//! - [`settings`]: what nodes are to be told, and what became of it.
//! - [`setup`]: what must be known of the site.
//! - [`keeper`]: what the network makes of a frame becomes rows.
//! - [`writer`]: the one thread that writes; whatever came within 5 ms is kept together, and only then acted upon.
//! - [`view`]: named columns for every message, across editions of its design.
//! - [`query`]: reading back.
//! - [`columns`]: a field over time, however long.
//! - [`people`]: who may, and what they did.
//! - [`again`]: history, read anew when a design has changed.
//! - [`alarms`]: what the watch found, and the past as it must know it.
//! - [`learned`]: what the messages of nodes say about them.
//! - [`archive`]: all of it as text, for those who have no program.
//! - [`telling`]: messages to those who are told of alarms.
//! - [`visits`]: who was at a node.
//! - [`since`]: what was kept after a frame, for those who follow the log.
//!
//! Raw bytes are never changed. Nothing here knows a key: session keys are derived again at every start.

pub mod again;
pub mod alarms;
pub mod archive;
pub mod columns;
pub mod keeper;
pub mod learned;
pub mod people;
pub mod query;
pub mod settings;
pub mod setup;
pub mod since;
pub mod sqlite;
pub mod telling;
pub mod view;
pub mod visits;
pub mod writer;

mod answers;
mod hours;
mod restore;
mod rows;
mod sheet;

use rusqlite::ErrorCode;

/// Why the log can't be opened, or something can't be kept.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Another process writes it, or holds it for a moment.
    #[error("{}", busy(*.process))]
    Busy {
        /// Number of the process, where it is known.
        process: Option<u32>,
    },
    /// The disk is full.
    #[error("the disk is full")]
    Full,
    /// A newer program wrote it.
    #[error("a newer overwinter wrote this log (edition {found}; this program knows {known})")]
    Newer {
        /// Edition of its tables.
        found: u32,
        /// The last one that this program knows.
        known: u32,
    },
    /// It is no log, or a broken one.
    #[error("the log is damaged: {why}")]
    Damaged {
        /// What is wrong.
        why: String,
    },
    /// It can't be reached.
    #[error("the log can't be written: {why}")]
    Lost {
        /// What the system says.
        why: String,
    },
    /// This one row can't be written; others can.
    #[error("a row can't be kept: {why}")]
    Row {
        /// What is wrong with it.
        why: String,
    },
}

fn busy(process: Option<u32>) -> String {
    match process {
        Some(process) => format!("process {process} writes this log already"),
        None => "another process holds the log".to_owned(),
    }
}

impl StoreError {
    /// Whether the same can be tried again as a whole.
    pub const fn passes(&self) -> bool {
        matches!(self, Self::Busy { .. } | Self::Full | Self::Lost { .. })
    }
}

impl From<rusqlite::Error> for StoreError {
    fn from(error: rusqlite::Error) -> Self {
        let why = error.to_string();
        match error.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy { process: None },
            Some(ErrorCode::DiskFull) => Self::Full,
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => Self::Damaged { why },
            Some(
                ErrorCode::SystemIoFailure
                | ErrorCode::CannotOpen
                | ErrorCode::ReadOnly
                | ErrorCode::PermissionDenied
                | ErrorCode::OutOfMemory
                | ErrorCode::FileLockingProtocolFailed,
            ) => Self::Lost { why },
            _ => Self::Row { why },
        }
    }
}

impl From<std::io::Error> for StoreError {
    fn from(error: std::io::Error) -> Self {
        if error.kind() == std::io::ErrorKind::StorageFull {
            return Self::Full;
        }
        let text = error.to_string();
        // Without the system's own number.
        let why = text.split(" (os error").next().unwrap_or(&text).to_lowercase();
        Self::Lost { why }
    }
}
