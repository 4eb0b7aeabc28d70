//! `overwinter learn`: what the messages of a node that stands outside say about it.

mod of_site;
mod shared_sky;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use design::node::Design;
use forecast::learn::log::{self, Log};
use forecast::learn::sun::{self, MeasuredSun};
use forecast::learn::{Band, Effort, Learned, Past, learn};
use forecast::sky::climate::Climate;
use logbook::bounded;
use report::json::truth::{cause_word, quantity_word};
use report::problem::{Failure, Problem};
use report::sentences::truth::Told;
use report::words;
use verdict::{Verdict, truth};

use crate::input::{self, fleet};
use crate::learning::counter_modulus;
use crate::output::{self, reason};
use crate::progress::Counter;

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter learn mast.toml mast.csv
  overwinter learn mast.toml mast.csv --sun pyranometer.csv --report mast.html
  overwinter learn larkmoor.toml mast-01
  overwinter learn --site larkmoor.toml logs

With a site file the name is that of a node, and what it sent is taken from the log of the site; with --site it is \
a folder that holds a NAME.csv for each node, which are learned together, since they stand under one sky. A file of its own has one row for each message and named columns: time_utc and battery_mv, and if sent charge_min (a counter), \
panel_mv, box_c, restarted, fcnt, rssi, snr, dr. Sun has time_utc_hour_start, ghi_w_m2 and air_c. Exit code: 0 the \
promise will be kept (or it is tight or not known), 1 it fails, 2 something is wrong with the input.";

/// So much of a log is read at all \[bytes\].
const LARGEST_LOG: u64 = 120 << 20;
/// Members of each of the swarms.
const MEMBERS: usize = 6000;

/// What `learn` is given.
#[derive(Args)]
pub(super) struct LearnOf {
    /// The design file of the node, or the file of its site
    #[arg(value_name = "NODE.toml|SITE.toml")]
    design: PathBuf,
    /// What it sent, as CSV with named columns; of a site, the name of the node, or with --site the folder of the logs
    #[arg(value_name = "LOG.csv|NAME|FOLDER")]
    log: PathBuf,
    /// Learn all nodes of a site that have a NAME.csv in the folder, under the sky that they share
    #[arg(long)]
    site: bool,
    /// Sun that was measured nearby, hour by hour
    #[arg(long, value_name = "FILE")]
    sun: Option<PathBuf>,
    /// The moment at which it is asked, such as 2026-10-04T12:00:00Z; left out: that of the last message
    #[arg(long, value_name = "TIME")]
    as_of: Option<String>,
    /// Write the figures as CSV: case, quantity, p05, p50, p95, text
    #[arg(long, value_name = "FILE.csv")]
    answers: Option<PathBuf>,
    /// Write the report with charts as one page of HTML
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
    /// Seed of all that is drawn
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,
    /// Print everything as JSON, units in the names
    #[arg(long)]
    json: bool,
}

/// Learns, prints, and says the exit code.
pub(super) fn run(arguments: &LearnOf) -> ExitCode {
    let said = told(arguments).and_then(|(page, verdict)| output::print(&page).map(|()| verdict));
    match said {
        Ok(Verdict::Fails) => ExitCode::from(1),
        Ok(_) => ExitCode::SUCCESS,
        Err(failure) => super::check::refuse(&failure, arguments.json),
    }
}

fn told(arguments: &LearnOf) -> Result<(String, Verdict), Failure> {
    let outputs = [arguments.answers.as_deref(), arguments.report.as_deref()];
    let inputs = [Some(arguments.design.as_path()), Some(arguments.log.as_path()), arguments.sun.as_deref()];
    let inputs: Vec<&Path> = inputs.into_iter().flatten().collect();
    output::refuse_to_overwrite(&outputs, &inputs)?;
    if arguments.site {
        return shared_sky::told(arguments);
    }
    let given = if fleet::is_site(&arguments.design) {
        of_site::given(&arguments.design, &arguments.log)?
    } else {
        given(arguments)?
    };
    let Given { design, climate, log, notes } = &given;
    let sun = arguments.sun.as_deref().map(read_sun).transpose()?;
    let past = Past {
        design,
        readings: &log.readings,
        as_of_s: as_of(arguments, log)?,
        counter_modulus: counter_modulus(design),
        sun: sun.as_ref(),
    };
    let counter = Counter::begin();
    let (learned, _) = learn(&past, climate, &effort(arguments.seed), &counter);
    drop(counter);
    let told = Told {
        tolerated: [tolerated(log, sun.as_ref()), notes.clone()].concat(),
        ..judged(design, learned, (&arguments.design, &arguments.log))
    };
    if let Some(path) = &arguments.answers {
        output::write(path, &answers(std::slice::from_ref(&told)))?;
    }
    if let Some(path) = &arguments.report {
        output::write(path, &report::html::truth::page(&told))?;
    }
    let page = if arguments.json {
        format!("{:#}\n", report::json::truth::truth(&told))
    } else {
        report::text::truth::page(&told)
    };
    Ok((page, told.truth.verdict))
}

/// What was learned of a node, held against its promise; of these files.
fn judged(design: &Design, learned: Learned, (file, log): (&Path, &Path)) -> Told {
    Told {
        name: design.name.clone(),
        file: super::check::shown(file),
        log: super::check::shown(log),
        note: design.note.clone(),
        unattended: words::planned_span(design.promise.unattended),
        tolerated: Vec::new(),
        truth: truth(design, learned),
    }
}

/// What there is to learn from.
struct Given {
    design: Design,
    climate: Climate,
    log: Log,
    /// What of the log was left out.
    notes: Vec<String>,
}

fn given(arguments: &LearnOf) -> Result<Given, Failure> {
    let checked = input::design(&arguments.design)?;
    let climate = input::climate(&checked)?;
    let log = read_log(&arguments.log, counter_modulus(&checked.design))?;
    Ok(Given { design: checked.design, climate, log, notes: Vec::new() })
}

fn effort(seed: u64) -> Effort {
    let threads = std::thread::available_parallelism().map_or(1, Into::into);
    Effort { threads, seed, members: MEMBERS, ..Effort::default() }
}

fn as_of(arguments: &LearnOf, log: &Log) -> Result<i64, Failure> {
    let last_s = log.readings.last().map_or(0, |one| one.at_s);
    let Some(text) = &arguments.as_of else { return Ok(last_s) };
    let wrong = |message: String| {
        Failure::of(Problem::of_file(
            "log",
            "--as-of",
            message,
            "write a time in UTC, such as 2026-10-04T12:00:00Z",
        ))
    };
    let seconds =
        forecast::learn::seconds_of(text).ok_or_else(|| wrong(format!("`{text}` is no time in UTC")))?;
    if seconds < last_s {
        return Err(wrong(format!("`{text}` lies before the last message; cut the log instead")));
    }
    Ok(seconds)
}

fn bytes_of(path: &Path, what: &'static str) -> Result<Vec<u8>, Failure> {
    bounded::read(path, LARGEST_LOG).map_err(|error| {
        let message = format!("the file can't be read: {}", reason(&error));
        Failure::of(Problem::of_file("file", &path.to_string_lossy(), message, what))
    })
}

fn read_log(path: &Path, modulus: u32) -> Result<Log, Failure> {
    let bytes = bytes_of(path, "give what the node sent, as CSV with named columns")?;
    log::read(&bytes, modulus).map_err(|error| refused("readings", path, &error.to_string()))
}

fn read_sun(path: &Path) -> Result<MeasuredSun, Failure> {
    let bytes = bytes_of(path, "give the sun that was measured, hour by hour, as CSV with named columns")?;
    sun::read(&bytes).map_err(|error| refused("sun", path, &error.to_string()))
}

/// What was said, cut into what happened and what to do.
fn refused(code: &'static str, path: &Path, said: &str) -> Failure {
    let (message, help) = said.rsplit_once("; ").unwrap_or((said, "correct the file, or give another"));
    Failure::of(Problem::of_file(code, &path.to_string_lossy(), message.to_owned(), help))
}

fn tolerated(log: &Log, sun: Option<&MeasuredSun>) -> Vec<String> {
    let said = |count: usize, what: &str| (count > 0).then(|| format!("{} {what}", words::grouped(count)));
    let rows = [
        said(log.duplicates, "rows twice, left out"),
        said(log.unsorted, "rows out of order, sorted"),
        sun.and_then(|sun| said(sun.duplicates, "hours of sun twice, left out")),
    ];
    rows.into_iter().flatten().collect()
}

/// The figures as rows: case, quantity, p05, p50, p95, text.
fn answers(all: &[Told]) -> String {
    let rows = all.iter().flat_map(rows);
    std::iter::once("case,quantity,p05,p50,p95,text\n".to_owned()).chain(rows).collect()
}

fn rows(told: &Told) -> Vec<String> {
    let learned: &Learned = &told.truth.learned;
    let case = &told.name;
    let figures = [
        ("panel_yield", &learned.yields),
        ("load_mah_d", &learned.load_mah_per_day),
        ("capacity", &learned.capacity),
        ("charge_now", &learned.charge),
        ("days_to_silence", &learned.silence.days),
    ];
    let row =
        |(name, Band { p05, p50, p95 }): (&str, &Band)| format!("{case},{name},{p05:.4},{p50:.4},{p95:.4},");
    let causes: Vec<&str> = learned.causes.iter().map(|one| cause_word(one.kind)).collect();
    let causes = if causes.is_empty() { "none".to_owned() } else { causes.join("+") };
    let unknown: Vec<&str> = learned.not_known.iter().map(|one| quantity_word(one.what)).collect();
    let mut rows: Vec<String> = figures.into_iter().map(row).collect();
    rows.push(format!("{case},p_silent_180d,,{:.4},,", learned.silence.p));
    rows.push(format!("{case},cause,,,,{causes}"));
    rows.push(format!("{case},not_known,,,,{}", unknown.join("+")));
    rows.into_iter().map(|row| row + "\n").collect()
}
