//! How far the log had come, noted beside the key box: a log that is behind it is an older copy that was put back.

use std::path::PathBuf;
use std::time::Duration;

use logbook::store::sqlite::{self, Log};
use report::problem::{Failure, Problem};

use super::{Settings, log_failure};
use crate::output;

const NAME: &str = "log-progress.txt";
const EVERY: Duration = Duration::from_hours(1);

/// Where it is noted; nowhere while nobody is enrolled, because then nothing was answered.
fn place(settings: &Settings) -> Option<PathBuf> {
    let folder = settings.registry.as_ref().filter(|folder| folder.is_dir())?;
    Some(folder.join(NAME))
}

/// Whether a log has come less far than was noted.
pub(super) fn is_behind(settings: &Settings, log: &Log) -> Result<bool, Failure> {
    let Some(path) = place(settings).filter(|path| path.exists()) else { return Ok(false) };
    let unreadable = |why: String| {
        let help = "remove it, and start once with --restored";
        Failure::of(Problem::of_file("log-progress", &path.to_string_lossy(), why, help))
    };
    let text = std::fs::read_to_string(&path).map_err(|error| unreadable(output::reason(&error)))?;
    let noted: Vec<i64> = text.split_whitespace().filter_map(|word| word.parse().ok()).collect();
    let &[frames, downlinks] = &noted[..] else {
        return Err(unreadable("it holds no two numbers".to_owned()));
    };
    let found = log.progress().map_err(|error| log_failure(&settings.log, &error))?;
    Ok(found.0 < frames || found.1 < downlinks)
}

/// Notes how far the log has come.
pub(super) fn note(settings: &Settings) -> Result<(), Failure> {
    let Some(path) = place(settings) else { return Ok(()) };
    let found = sqlite::reader(&settings.log).and_then(|log| sqlite::progress(&log));
    let (frames, downlinks) = found.map_err(|error| log_failure(&settings.log, &error))?;
    output::write(&path, &format!("{frames} {downlinks}\n"))
}

/// Notes it every hour, until it is aborted.
pub(super) fn hourly(settings: &Settings) -> tokio::task::JoinHandle<()> {
    let settings = settings.clone();
    tokio::spawn(async move {
        let mut hours = tokio::time::interval(EVERY);
        loop {
            hours.tick().await;
            if let Err(failure) = note(&settings) {
                output::complain(&failure.render());
            }
        }
    })
}
