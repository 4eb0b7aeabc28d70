//! `overwinter size`: the cheapest, smallest or most talkative node that keeps its promise.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use design::change::Change;
use design::node::Design;
use design::quantity::Duration;
use report::chart::Chart;
use report::chart::survival::{self, Mark};
use report::problem::{Failure, Problem};
use report::sizing::SizingReport;
use verdict::Environment;
use verdict::plan::Effort;
use verdict::size::{Choice, SizeError, Sized, SurvivalMap, size, survival_map};

use super::check::{refuse, shown};
use crate::edited::{edited, lines_changed};
use crate::input::{self, Checked};
use crate::output;
use crate::progress::Counter;

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter size examples/larkmoor/frost-mast.toml
  overwinter size node.toml -o larger.toml

What may be chosen, and what is preferred, stands in [size] of the design file; without it panels of the catalogue, \
capacities around the written one and intervals around the written one are chosen from. Ctrl-C gives the best so far. \
Exit code: 0 something holds, 1 nothing in range does, 2 something is wrong with the input.";

/// What `size` is given.
#[derive(Args)]
pub(super) struct SizeOf {
    /// The design file of the node
    #[arg(value_name = "NODE.toml")]
    design: PathBuf,
    /// Hourly weather instead of the site's climate: TMY3, EPW, or CSV with named columns
    #[arg(long, value_name = "FILE")]
    weather: Option<PathBuf>,
    /// Write the design file with the preferred values, comments and order kept
    #[arg(short, long, value_name = "NEW.toml")]
    output: Option<PathBuf>,
    /// Let `--output` be the design file itself
    #[arg(long, requires = "output")]
    replace: bool,
    /// Fresh lives on which a design is confirmed; left out: fifty for each that the promise lets fail
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(20..=1_000_000))]
    lives: Option<u64>,
    /// Seed of all that is drawn
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,
    /// Write the table and lines of equal survival over panel and battery as one page of HTML
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
    /// Write the lines of equal survival alone as a drawing
    #[arg(long, value_name = "FILE.svg")]
    picture: Option<PathBuf>,
    /// Print everything as JSON, units in the names
    #[arg(long)]
    json: bool,
}

/// Sizes, prints, and says the exit code.
pub(super) fn run(arguments: &SizeOf) -> ExitCode {
    match sized(arguments) {
        Ok((page, holds)) => match output::print(&page) {
            Ok(()) if holds => ExitCode::SUCCESS,
            Ok(()) => ExitCode::from(1),
            Err(failure) => refuse(&failure, false),
        },
        Err(failure) => refuse(&failure, arguments.json),
    }
}

fn sized(arguments: &SizeOf) -> Result<(String, bool), Failure> {
    let inputs = [Some(arguments.design.as_path()), arguments.weather.as_deref()];
    let inputs: Vec<&Path> = inputs.into_iter().flatten().skip(usize::from(arguments.replace)).collect();
    let outputs = [&arguments.output, &arguments.report, &arguments.picture].map(|path| path.as_deref());
    output::refuse_to_overwrite(&outputs, &inputs)?;
    let (checked, sky) = input::node(&arguments.design, arguments.weather.as_deref())?;
    for path in outputs.into_iter().flatten() {
        // Whoever waits for a search wants to know before it that its result cannot be written.
        drop(output::stage(path, checked.text().as_bytes())?);
    }
    let terrain = checked.terrain()?;
    let environment = Environment { weather: sky.weather(), terrain: terrain.as_ref(), others: &[] };
    let effort = Effort {
        lives: arguments.lives.map(|lives| usize::try_from(lives).unwrap_or(usize::MAX)),
        seed: arguments.seed,
        threads: std::thread::available_parallelism().map_or(1, Into::into),
    };
    let counter = Counter::counting("designs decided", "gives the best so far");
    let found = size(&checked.design, &environment, effort, &counter);
    let refused = |error: SizeError| {
        let help = "write in [size] what may be chosen";
        Failure::of(Problem::of_file("size", &shown(&arguments.design), error.to_string(), help))
    };
    let wants_picture = arguments.report.is_some() || arguments.picture.is_some();
    let chosen = found.as_ref().ok().and_then(|found| found.choices.get(found.chosen?));
    // Without a panel there is no map over panel and battery.
    let picture = match chosen.filter(|chosen| wants_picture && chosen.panel.is_some()) {
        Some(chosen) => {
            let map = survival_map(&checked.design, &environment, chosen, effort, &counter);
            drawing(&checked.design, chosen, &map.map_err(refused)?)
        }
        None => None,
    };
    drop(counter);
    let found = found.map_err(refused)?;
    let written =
        arguments.output.as_deref().map(|path| write(path, &checked, &found)).transpose()?.flatten();
    let holds = found.chosen.is_some();
    let promised_percent = checked.design.promise.without_outage.percent();
    let report = SizingReport { name: checked.design.name.clone(), promised_percent, sized: found };
    if let Some(path) = &arguments.report {
        output::write(
            path,
            &report::html::sizing::page(&report, &shown(&arguments.design), picture.as_ref()),
        )?;
    }
    let undrawn = match (&arguments.picture, &picture) {
        (Some(path), Some(picture)) => {
            output::write(path, &picture.file())?;
            String::new()
        }
        (Some(path), None) => {
            format!("Not drawn: {}, nothing was chosen or there is no panel.\n", shown(path))
        }
        (None, _) => String::new(),
    };
    let page = if arguments.json {
        format!("{:#}\n", report.json())
    } else {
        report.text() + &written.unwrap_or_default() + &undrawn
    };
    Ok((page, holds))
}

/// The lines of equal survival, with the design as it is and the chosen one.
fn drawing(design: &Design, chosen: &Choice, map: &SurvivalMap) -> Option<Chart> {
    let every = |design: &Design| {
        let sized = chosen.changes.iter().find_map(|change| match change {
            Change::Interval { load, activity, .. } => Some((load, activity)),
            _ => None,
        });
        let (load, activity) = sized?;
        let load = design.loads.iter().find(|one| one.name == *load)?;
        let activity = load.activities.iter().find(|one| one.name == *activity)?;
        activity.every.at_full_charge()
    };
    let now = Mark {
        power_w: design.panel.as_ref()?.panel.power.nominal.watts(),
        capacity_mah: design.battery.capacity.nominal.milliampere_hours(),
        every_s: every(design).map(Duration::seconds),
    };
    let chosen = Mark {
        power_w: chosen.power.watts(),
        capacity_mah: chosen.capacity.milliampere_hours(),
        every_s: chosen.every.map(Duration::seconds),
    };
    Some(survival::chart(map, design.promise.without_outage.percent(), &now, &chosen))
}

/// Writes the design file with the chosen values, and says so; nothing where nothing was chosen.
fn write(path: &Path, checked: &Checked, found: &Sized) -> Result<Option<String>, Failure> {
    let Some(chosen) = found.chosen.and_then(|index| found.choices.get(index)) else { return Ok(None) };
    let text = edited(checked.text(), &chosen.changes).ok_or_else(|| {
        let help = "write the values of the line marked > into the file yourself";
        let message = "the design file is written in a way that can't be edited".to_owned();
        Failure::of(Problem::of_file("output", &path.to_string_lossy(), message, help))
    })?;
    output::write(path, &text)?;
    let lines = report::words::count(lines_changed(checked.text(), &text), "line");
    let name = path.display();
    Ok(Some(format!("Written: {name} ({lines} changed); see `overwinter check {name}`.\n")))
}
