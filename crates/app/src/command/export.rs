//! `overwinter export`: readings in the forms of others, and copies of the log.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{ArgGroup, Args};
use design::date::Date;
use logbook::export::gpx::Tracks;
use logbook::export::{Labels, csv, geojson, senml};
use logbook::folder::{KEYS, REGISTRY};
use logbook::readings::Kind;
use logbook::registry::Registry;
use logbook::store::StoreError;
use logbook::store::archive;
use logbook::store::query::{self, Reading};
use logbook::store::sqlite::{self, Log};
use logbook::store::view;
use report::problem::{Failure, Problem};
use report::words;
use rusqlite::Connection;
use serde_json::{Value, json};

use crate::enrolment::site as enrolled;
use crate::input::fleet;
use crate::known;
use crate::output;
use crate::service::{Settings, log_failure, note_copied};

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter export larkmoor.toml --csv tables --since 2026-11-01
  overwinter export larkmoor.toml --senml readings.senml.json
  overwinter export larkmoor.toml --log copy.sqlite
  overwinter export larkmoor.toml --archive larkmoor-2026

All of it works while `serve` runs, except --compact. A copy of the log is whole; registry and sealed key box are put beside it. \
To go back to it, put the files in their places and start `serve` once with --restored.

Exit code: 0 written, 2 something is wrong with the input or nothing could be written.";

/// What `export` is given.
#[derive(Args)]
#[command(group = ArgGroup::new("form").required(true).args(["csv", "senml", "geojson", "gpx", "log", "archive", "compact"]))]
pub(super) struct Export {
    /// The file of the site
    #[arg(value_name = "SITE.toml")]
    site: PathBuf,
    /// A table for each message, units in the titles (RFC 4180)
    #[arg(long, value_name = "DIR")]
    csv: Option<PathBuf>,
    /// Sensor measurement lists (RFC 8428)
    #[arg(long, value_name = "FILE")]
    senml: Option<PathBuf>,
    /// Points where readings were taken (RFC 7946)
    #[arg(long, value_name = "FILE")]
    geojson: Option<PathBuf>,
    /// Tracks of nodes that know where they are (GPX 1.1)
    #[arg(long, value_name = "FILE")]
    gpx: Option<PathBuf>,
    /// A copy of the log, with registry and key box beside it
    #[arg(long, value_name = "COPY.sqlite")]
    log: Option<PathBuf>,
    /// All of it as text, readable without this program: the log's tables, every design that read a message, site file,
    /// registry, checksums; into a folder that is not there yet
    #[arg(long, value_name = "DIR")]
    archive: Option<PathBuf>,
    /// Give back to the disk what the log no longer uses; `serve` must have ended
    #[arg(long)]
    compact: bool,
    /// Only readings from this day on, UTC
    #[arg(long, value_name = "DATE")]
    since: Option<String>,
    /// Only readings before this day, UTC
    #[arg(long, value_name = "DATE")]
    until: Option<String>,
}

/// Writes what is asked for, and says the exit code.
pub(super) fn run(arguments: &Export) -> ExitCode {
    match export(arguments).and_then(|said| output::print(&said)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            output::complain(&failure.render());
            ExitCode::from(2)
        }
    }
}

fn export(arguments: &Export) -> Result<String, Failure> {
    let site = fleet::site(&arguments.site)?;
    let settings = Settings::of(&site, None)?;
    let failed = |error: &StoreError| log_failure(&settings.log, error);
    if let Some(copy) = &arguments.log {
        return back_up(&settings, copy);
    }
    if !settings.log.is_file() {
        let message = "there is no log yet".to_owned();
        let help = "`overwinter serve` makes it when it first runs";
        return Err(Failure::of(Problem::of_file("log", &settings.log.to_string_lossy(), message, help)));
    }
    if arguments.compact {
        Log::open(&settings.log).and_then(|log| log.compact()).map_err(|error| failed(&error))?;
        return Ok(format!("{} was compacted\n", settings.log.display()));
    }
    let from = arguments.since.as_deref().map(|text| day("--since", text)).transpose()?.unwrap_or(i64::MIN);
    let to = arguments.until.as_deref().map(|text| day("--until", text)).transpose()?.unwrap_or(i64::MAX);
    let labels = labels(&site, &settings)?;
    let log = sqlite::reader(&settings.log).map_err(|error| failed(&error))?;
    if let Some(folder) = &arguments.archive {
        return archive(&site, &settings, &log, folder);
    }
    let mut form = Form::of(arguments);
    let mut count = 0;
    let read = query::readings(&log, from, to, |reading| {
        count += 1;
        form.add(&reading, &labels);
        Ok::<(), StoreError>(())
    });
    read.map_err(|error| failed(&error))?;
    let files = form.files(&labels);
    for (path, text) in &files {
        output::write(path, text)?;
    }
    if files.is_empty() {
        return Ok("no readings: nothing was written\n".to_owned());
    }
    let names: Vec<String> = files.iter().map(|(path, _)| path.display().to_string()).collect();
    Ok(format!("{} in {}\n", words::count(count, "reading"), names.join(", ")))
}

/// The beginning of a day, in the unit of the log.
pub(super) fn day(option: &str, text: &str) -> Result<i64, Failure> {
    let number = |part: Option<&str>| part.and_then(|part| part.parse::<u16>().ok());
    let mut parts = text.split('-');
    let date = (number(parts.next()), number(parts.next()), number(parts.next()), parts.next());
    let date = match date {
        (Some(year), Some(month), Some(day), None) => {
            let small = u8::try_from(month).ok().zip(u8::try_from(day).ok());
            small.and_then(|(month, day)| Date::new(year, month, day))
        }
        _ => None,
    };
    let date = date.ok_or_else(|| {
        let message = format!("`{text}` is no day of the calendar");
        Failure::of(Problem::of_file(
            "date",
            option,
            message,
            "write year, month and day, such as 2026-11-01",
        ))
    })?;
    Ok(i64::try_from(date.unix_seconds()).unwrap_or(i64::MAX / 1_000_000) * 1_000_000)
}

/// What is being written.
enum Form {
    Csv(PathBuf, BTreeMap<(String, String), String>),
    Senml(PathBuf, Vec<Value>),
    Geojson(PathBuf, Vec<Value>),
    Gpx(PathBuf, Tracks),
}

impl Form {
    fn of(arguments: &Export) -> Self {
        match (&arguments.csv, &arguments.senml, &arguments.geojson) {
            (Some(folder), _, _) => Self::Csv(folder.clone(), BTreeMap::new()),
            (_, Some(file), _) => Self::Senml(file.clone(), Vec::new()),
            (_, _, Some(file)) => Self::Geojson(file.clone(), Vec::new()),
            _ => Self::Gpx(arguments.gpx.clone().unwrap_or_default(), Tracks::default()),
        }
    }

    fn add(&mut self, reading: &Reading, labels: &Labels) {
        match self {
            Self::Csv(_, tables) => {
                let titles = csv::titles(reading, labels);
                // Another edition with other columns has a table of its own.
                let name = view::name(&reading.kind, &reading.message);
                let table = tables.entry((name, titles.clone())).or_insert(titles);
                table.push_str(&csv::row(reading, labels));
            }
            Self::Senml(_, records) => records.extend(senml::records(reading, labels)),
            Self::Geojson(_, features) => features.extend(geojson::feature(reading, labels)),
            Self::Gpx(_, tracks) => tracks.add(reading),
        }
    }

    fn files(self, labels: &Labels) -> Vec<(PathBuf, String)> {
        match self {
            Self::Csv(folder, tables) => {
                let mut files: Vec<(PathBuf, String)> = Vec::new();
                for ((name, _), text) in tables {
                    let name = name.trim_start_matches("v_").to_owned();
                    let taken = |path: &PathBuf| files.iter().any(|(known, _)| known == path);
                    let mut path = folder.join(format!("{name}.csv"));
                    let mut number = 2;
                    while taken(&path) {
                        path = folder.join(format!("{name}-{number}.csv"));
                        number += 1;
                    }
                    files.push((path, text));
                }
                files
            }
            Self::Senml(file, records) => vec![(file, Value::Array(records).to_string() + "\n")],
            Self::Geojson(file, features) => {
                vec![(file, json!({ "type": "FeatureCollection", "features": features }).to_string() + "\n")]
            }
            Self::Gpx(file, tracks) => vec![(file, tracks.text(labels))],
        }
    }
}

/// Names, places and units.
fn labels(site: &fleet::Site, settings: &Settings) -> Result<Labels, Failure> {
    let folder = settings.registry.as_deref().filter(|folder| folder.join(REGISTRY).is_file());
    let registry = folder.map(enrolled::registry).transpose()?;
    let rows = registry.as_ref().map(Registry::nodes).unwrap_or_default();
    let kinds: Vec<Kind> = site.texts().map(|(_, design, text)| Kind::new(design, text.to_owned())).collect();
    Ok(known::labels(site, rows, &kinds))
}

/// All of the log as text, with the files of the site.
fn archive(
    site: &fleet::Site,
    settings: &Settings,
    log: &Connection,
    folder: &Path,
) -> Result<String, Failure> {
    let registry =
        settings.registry.as_ref().map(|folder| folder.join(REGISTRY)).filter(|path| path.is_file());
    let designs = site.texts().map(|(file, _, _)| site.folder.join(file));
    let mut files: Vec<(String, Vec<u8>)> = Vec::new();
    for path in std::iter::once(site.path.clone()).chain(designs).chain(registry) {
        let bytes = fs::read(&path).map_err(|error| unread(&path, &error))?;
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        if files.iter().any(|(known, _)| *known == name) {
            let message = format!("two files of the site are called `{name}`");
            return Err(Failure::of(Problem::of_file(
                "archive",
                &name,
                message,
                "give one of them another name",
            )));
        }
        files.push((name, bytes));
    }
    let rows = archive::write(log, folder, &files).map_err(|error| log_failure(folder, &error))?;
    Ok(format!("{} of the log in {}\n", words::count(rows, "row"), folder.display()))
}

/// Copies the log, and puts registry and sealed key box beside it.
fn back_up(settings: &Settings, copy: &Path) -> Result<String, Failure> {
    sqlite::back_up(&settings.log, copy).map_err(|error| log_failure(copy, &error))?;
    note_copied(&settings.log)?;
    let mut written = vec![copy.display().to_string()];
    for name in [REGISTRY, KEYS] {
        let from = settings.registry.as_ref().map(|folder| folder.join(name)).filter(|path| path.is_file());
        let Some(from) = from else { continue };
        let to = copy.with_extension(name);
        let copied = fs::read(&from).map_err(|error| unread(&from, &error))?;
        output::stage(&to, &copied)?.put()?;
        written.push(to.display().to_string());
    }
    Ok(format!("Copied: {}\n", written.join(", ")))
}

fn unread(path: &Path, error: &std::io::Error) -> Failure {
    let message = format!("the file can't be read: {}", output::reason(error));
    Failure::of(Problem::of_file("file", &path.to_string_lossy(), message, "see who may read it"))
}
