//! `overwinter retire`: a node is taken in for good.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use design::node::Design;
use design::quantity::Duration;
use logbook::clock::now;
use logbook::export::time_text;
use logbook::received::Moment;
use logbook::registry::{Date, Node};
use logbook::store::people::{By, People};
use logbook::store::query::life;
use logbook::store::sqlite;
use report::life::Life;
use report::problem::{Failure, Problem};

use super::enrol::today;
use crate::enrolment::site::{self, Site};
use crate::input::fleet;
use crate::output;
use crate::service::{Settings, log_failure};

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter retire larkmoor.toml mast-03
  overwinter retire larkmoor.toml mast-03 --keep > mast-03-life.txt

Its row of the registry is closed, its key is taken out of the key box for good, and its life is printed: from the first frame to \
the last, held against what was promised of it. Nothing of its frames is removed. A `serve` that runs goes on with the old rows \
until it is asked to read them (SIGHUP) or started again. Copies of the key box still hold the key: replace them.

Exit code: 0 done, 2 something is wrong with the input, and nothing was changed.";

/// What `retire` is given.
#[derive(Args)]
pub(super) struct Retire {
    /// The file of the site
    #[arg(value_name = "SITE.toml")]
    site: PathBuf,
    /// The node, as the registry calls it
    name: String,
    /// Print its life alone, and change nothing
    #[arg(long)]
    keep: bool,
    /// Read the passphrase of the key box from a file that only you can read, instead of asking
    #[arg(long, value_name = "FILE")]
    passphrase_file: Option<PathBuf>,
}

/// Retires a node, prints its life, and says the exit code.
pub(super) fn run(arguments: &Retire) -> ExitCode {
    match retire(arguments).and_then(|said| output::print(&said)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            output::complain(&failure.render());
            ExitCode::from(2)
        }
    }
}

fn retire(arguments: &Retire) -> Result<String, Failure> {
    let served = fleet::site(&arguments.site)?;
    let settings = Settings::of(&served, arguments.passphrase_file.as_deref())?;
    let Some(folder) = &settings.registry else {
        let message = "the site file names no registry, so nobody is enrolled".to_owned();
        return Err(served.failure(
            "registry",
            "registry",
            message,
            "write `registry = \"enrolled\"` into it",
        ));
    };
    let today = today()?;
    if arguments.keep {
        let registry = site::old_registry(folder)?;
        return said(&served, &settings, open_row(registry.nodes(), &arguments.name)?, today);
    }
    let desk = Site::take_old(folder)?;
    let mut registry = desk.registry()?;
    let (mut keys, passphrase) = site::keys(folder, settings.passphrase_file.as_deref())?;
    site::agree(&keys, &registry)?;
    let row = open_row(registry.nodes(), &arguments.name)?.clone();
    let life = said(&served, &settings, &row, today)?;
    registry.close(row.dev_eui, today).map_err(|error| site::registry_failure(&error))?;
    let had_key = keys.revoke(row.dev_eui);
    desk.keep(&mut keys, &registry, &passphrase)?;
    let what = format!("retired {}", row.name);
    if settings.log.is_file() {
        let by = By { who: "command line", at: now() };
        let noted =
            People::of_any(&settings.log).and_then(|people| people.did(by, &what, &row.dev_eui.to_string()));
        noted.map_err(|error| log_failure(&settings.log, &error))?;
    }
    let key = if had_key { "its key is revoked" } else { "its key was never here" };
    Ok(format!("{life}{} is retired: its row is closed, and {key}\n", row.name))
}

fn open_row<'a>(rows: &'a [Node], name: &str) -> Result<&'a Node, Failure> {
    rows.iter().find(|row| row.open() && row.name == name).ok_or_else(|| {
        let message = format!("no open row of the registry is called {name}");
        Failure::of(Problem::of_file("node", name, message, "see which rows are open"))
    })
}

/// The life of a node, in words.
fn said(site: &fleet::Site, settings: &Settings, row: &Node, today: Date) -> Result<String, Failure> {
    let dev_eui = row.dev_eui.to_string();
    // A site that was never served has heard nobody.
    let known = if settings.log.is_file() {
        let known = sqlite::reader(&settings.log).and_then(|log| life::life(&log, &dev_eui));
        known.map_err(|error| log_failure(&settings.log, &error))?
    } else {
        life::Life::default()
    };
    let heard = known.first.zip(known.last);
    let design: Option<&Design> =
        site.kinds().map(|(_, design)| design).find(|design| design.name == row.kind);
    let silence = known.longest_silence.map(|(lasted, since)| (lasting(lasted), minute(since)));
    Ok(Life {
        name: &row.name,
        dev_eui: &dev_eui,
        kind: &row.kind,
        enrolled: (row.from.to_string(), today.to_string()),
        heard: heard.map(|(first, last)| (minute(first), minute(last))),
        lasted: heard.map_or(Duration::from_seconds(0.0), |(first, last)| lasting(last - first)),
        days_heard: known.days_heard,
        kept: known.kept,
        lost: known.lost,
        joins: known.joins,
        longest_silence: silence,
        alarms: &known.alarms,
        visits: known.visits,
        promise: design.map(|design| &design.promise),
    }
    .text())
}

fn lasting(time: Moment) -> Duration {
    Duration::from_seconds(time as f64 / 1e6)
}

/// A moment to the minute, UTC; what lies before 1970 has none.
fn minute(at: Moment) -> String {
    let text = time_text(at).unwrap_or_else(|| "before 1970".to_owned());
    text.get(..16).map_or(text.clone(), |minute| minute.replace('T', " ") + " UTC")
}
