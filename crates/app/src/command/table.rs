//! `overwinter table`: the reporting interval by month and charge, derived and confirmed.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use design::node::Design;
use design::schedule::written;
use report::problem::{Failure, Problem};
use verdict::adaptive::{Adapted, Aim, adaptive};
use verdict::plan::Effort;
use verdict::{Environment, answer};

use crate::input::{self, Checked};
use crate::output;
use crate::progress::Counter;

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter table NODE.toml
  overwinter table NODE.toml --spend -o NEW.toml

Exit code: 0 a table was found that keeps the promise, or none is needed, 1 none keeps it, 2 something is wrong with the \
input.";

/// More lives than anyone can wait for.
const MOST_LIVES: u64 = 1_000_000;

/// What `table` is given.
#[derive(Args)]
pub(super) struct TableOf {
    /// The design file of the node
    #[arg(value_name = "NODE.toml")]
    design: PathBuf,
    /// Report more often too, where there is charge to spend; else only less often than as written
    #[arg(long)]
    spend: bool,
    /// Hourly weather instead of the site's climate: TMY3, EPW, or CSV with named columns
    #[arg(long, value_name = "FILE")]
    weather: Option<PathBuf>,
    /// Lives on which it is confirmed; left out: fifty for each that the promise lets fail
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=MOST_LIVES))]
    lives: Option<u64>,
    /// Seed of all that is drawn
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,
    /// Write the design file with the table in place of the interval; everything else stays as it is
    #[arg(short, value_name = "NEW.toml")]
    output: Option<PathBuf>,
    /// Print everything as JSON, units in the names
    #[arg(long)]
    json: bool,
}

/// Derives, prints, and says the exit code.
pub(super) fn run(arguments: &TableOf) -> ExitCode {
    match table(arguments) {
        Ok((page, good)) => match output::print(&page) {
            Ok(()) if good => ExitCode::SUCCESS,
            Ok(()) => ExitCode::from(1),
            Err(failure) => super::check::refuse(&failure, false),
        },
        Err(failure) => super::check::refuse(&failure, arguments.json),
    }
}

fn table(arguments: &TableOf) -> Result<(String, bool), Failure> {
    let inputs = [Some(arguments.design.as_path()), arguments.weather.as_deref()];
    let inputs: Vec<&Path> = inputs.into_iter().flatten().collect();
    output::refuse_to_overwrite(&[arguments.output.as_deref()], &inputs)?;
    let (checked, sky) = input::node(&arguments.design, arguments.weather.as_deref())?;
    let terrain = checked.terrain()?;
    let environment = Environment { weather: sky.weather(), terrain: terrain.as_ref(), others: &[] };
    let effort = Effort {
        lives: arguments.lives.map(|lives| usize::try_from(lives).unwrap_or(usize::MAX)),
        seed: arguments.seed,
        threads: std::thread::available_parallelism().map_or(1, Into::into),
    };
    let counter = Counter::begin();
    let design = &checked.design;
    let known = answer(design, &environment, effort, &counter);
    let aim = if arguments.spend { Aim::Spend } else { Aim::Spare };
    let found = adaptive(design, &environment, &known, aim, effort, &counter);
    drop(counter);
    match &found {
        Ok(adapted) => {
            if let Some(path) = &arguments.output {
                output::write(path, &rewritten(arguments, &checked, adapted)?)?;
            }
            Ok((said(arguments, design, adapted), true))
        }
        Err(why) => {
            let page = if arguments.json {
                format!("{:#}\n", report::json::table::none(why))
            } else {
                report::text::table::none(&design.name, why)
            };
            Ok((page, matches!(why, verdict::adaptive::NoTable::KeptAnyway(_))))
        }
    }
}

fn said(arguments: &TableOf, design: &Design, adapted: &Adapted) -> String {
    if arguments.json {
        return format!("{:#}\n", report::json::table::found(adapted));
    }
    let (promised, gauge) = (design.promise.without_outage, design.battery.gauge_error);
    let page = report::text::table::found(&design.name, promised, gauge, adapted);
    match &arguments.output {
        Some(path) => format!("{page}\nWritten: {}\n", path.display()),
        None => page,
    }
}

/// The design file with the table in place of the interval.
fn rewritten(arguments: &TableOf, checked: &Checked, adapted: &Adapted) -> Result<String, Failure> {
    let key = format!("load.{}.activity.{}.every", adapted.load, adapted.activity);
    let text = checked.text();
    let value = checked.span_of(&key);
    let begin = text.get(..value.start).and_then(|before| before.rfind("every"));
    let stands = begin.filter(|begin| {
        let between = text.get(begin + "every".len()..value.start).unwrap_or("?");
        between.chars().all(|letter| letter == '=' || letter.is_whitespace())
    });
    let Some(begin) = stands else {
        let message = format!("`{key}` is not written as a key of its own");
        let help = "paste the table by hand: run without -o";
        let file = arguments.design.to_string_lossy();
        return Err(Failure::of(Problem::of_file("table", &file, message, help)));
    };
    let (before, after) = (&text[..begin], text.get(value.end..).unwrap_or_default());
    Ok(format!("{before}{}{after}", written(&adapted.rows)))
}
