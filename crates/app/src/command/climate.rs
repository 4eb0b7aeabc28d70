//! `overwinter climate`: what is assumed of the weather at a node, month by month, from where, and how sure it is.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use design::change::{Change, Refused};
use forecast::life::climate_view::climate_view;
use forecast::sky::climate::Climate;
use report::problem::{Failure, Problem};
use report::{Assumed, Origin};

use crate::input::{self, Sky};
use crate::output;

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter climate examples/larkmoor/frost-mast.toml
  overwinter climate examples/larkmoor/frost-mast.toml --weather examples/weather/sand-point-ak.csv

Without a weather file the climate is that of [climate] in the design file, or the built-in one. Exit code: 0, or 2 \
if something is wrong with the input.";

/// What `climate` is given.
#[derive(Args)]
pub(super) struct ClimateOf {
    /// The design file of the node
    #[arg(value_name = "NODE.toml")]
    design: PathBuf,
    /// The climate that these hours show: TMY3, EPW, or CSV with named columns
    #[arg(long, value_name = "FILE")]
    weather: Option<PathBuf>,
    /// Seed of the years that are drawn
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,
    /// Print everything as JSON, units in the names
    #[arg(long)]
    json: bool,
    /// Write the report with charts as one page of HTML
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
}

/// Prints what is assumed, and says the exit code.
pub(super) fn run(arguments: &ClimateOf) -> ExitCode {
    let said = climate(arguments).and_then(|page| output::print(&page));
    match said {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => super::check::refuse(&failure, arguments.json),
    }
}

fn climate(arguments: &ClimateOf) -> Result<String, Failure> {
    let inputs = [Some(arguments.design.as_path()), arguments.weather.as_deref()];
    let inputs: Vec<&Path> = inputs.into_iter().flatten().collect();
    output::refuse_to_overwrite(&[arguments.report.as_deref()], &inputs)?;
    let (checked, sky) = input::node(&arguments.design, arguments.weather.as_deref())?;
    let written = checked.design;
    let (design, climate, origin) = match sky {
        Sky::Climate(climate) => (written.clone(), *climate, Origin::of(&written)),
        Sky::Hours(hours) => {
            // The node is looked at where the weather was taken, as `check` does.
            let there = hours.place.as_ref().map(|place| {
                let change = Change::Position(place.latitude, place.longitude, written.site.elevation);
                written.with(change).map_err(|refused| not_there(arguments, &refused))
            });
            let design = there.transpose()?.unwrap_or(written);
            let climate = Climate::from_hours(&hours, design.site.latitude);
            (design, climate, Origin::Hours)
        }
    };
    let assumed = Assumed { view: climate_view(&design, &climate, arguments.seed), origin };
    let first_month = report::first_month(climate.latitude.degrees());
    if let Some(path) = &arguments.report {
        let file = arguments.design.to_string_lossy();
        output::write(path, &report::html::climate::page(&file, &design.name, first_month, &assumed))?;
    }
    Ok(if arguments.json {
        format!("{:#}\n", report::json::climate::climate(&assumed))
    } else {
        report::text::climate::page(&design.name, first_month, &assumed)
    })
}

/// The node can't be looked at where the weather was taken.
fn not_there(arguments: &ClimateOf, refused: &Refused) -> Failure {
    let file = arguments.weather.as_deref().unwrap_or(&arguments.design).to_string_lossy();
    let message = format!("the node can't stand where this weather was taken: {}", refused.message);
    Failure::of(Problem::of_file("placement", &file, message, &refused.help))
}
