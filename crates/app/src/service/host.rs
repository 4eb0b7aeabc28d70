//! How the computer is that keeps the log.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use logbook::clock::now;
use logbook::received::Moment;
use logbook::store::writer::Counts;
use logbook::store::{since, sqlite};
use logbook::watch::Host;
use report::problem::Failure;

use crate::output;
use crate::web::pulse::Pulse;

/// What a log's name ends in where it is noted when it was last copied.
const COPIED: &str = "copied.txt";

/// What can be told of it now; what can't be read is not told.
pub(super) fn look(log: &Path, pulse: &Pulse, counts: &Counts, clock_set_by: Option<Moment>) -> Host {
    let away = pulse.counted().connections.into_iter().filter(|(_, state)| state.is_err());
    // The broker by which somebody is told is no way of its own.
    let away: Vec<String> = away.map(|(name, _)| name).filter(|name| !name.ends_with(" (broker)")).collect();
    let named = |kind: &str| -> BTreeSet<String> {
        away.iter().filter_map(|name| name.strip_prefix(kind).map(str::to_owned)).collect()
    };
    let copied = copied_at(log);
    Host {
        disk_free: disk_free(log),
        dropped: counts.dropped.load(Ordering::Relaxed),
        clock_set_by,
        copied_at: copied.or_else(|| sqlite::reader(log).and_then(|log| since::begun(&log)).ok().flatten()),
        was_copied: copied.is_some(),
        tells_failing: named("tell "),
        sources_away: named("source "),
    }
}

fn mark(log: &Path) -> PathBuf {
    log.with_extension(COPIED)
}

/// Notes beside a log that it is copied now.
pub(crate) fn note_copied(log: &Path) -> Result<(), Failure> {
    output::write(&mark(log), &format!("{}\n", now()))
}

fn copied_at(log: &Path) -> Option<Moment> {
    std::fs::read_to_string(mark(log)).ok()?.trim().parse().ok()
}

/// Share of the disk that is free to those who are not its keeper.
#[cfg(unix)]
fn disk_free(log: &Path) -> Option<f64> {
    let folder = log.parent().filter(|folder| !folder.as_os_str().is_empty());
    let of = rustix::fs::statvfs(folder.unwrap_or(Path::new("."))).ok()?;
    (of.f_blocks > 0).then(|| of.f_bavail as f64 / of.f_blocks as f64)
}

#[cfg(not(unix))]
fn disk_free(_: &Path) -> Option<f64> {
    None
}
