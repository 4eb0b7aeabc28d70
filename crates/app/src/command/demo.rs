//! `overwinter demo`: an invented site, live.

use std::process::ExitCode;

use clap::Args;

use crate::demo;
use crate::output;
use crate::service::Form;

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter demo
  overwinter demo --fault mast-slope=unplugged --fault packing-house=off

Larkmoor is an invented valley: its four nodes live in this program, hour by hour, and what they send goes through a real UDP \
port into a real log. While it runs, type a line such as `mast-hollow forged` to switch a fault on, and the same again to \
switch it off. Nodes: mast-slope, mast-hollow, spring-tank, hail-net; faults of a node: unplugged, snow, load, worn, restarts, \
stuck, lost, forged; of the gateway packing-house: off.

Keys and log lie in a temporary folder that is named at the start and removed at the end.

Exit code: 0 stopped as asked, 2 it could not start.";

/// What `demo` is given.
#[derive(Args)]
pub(super) struct Demo {
    /// Minutes of the nodes' time that pass in a second
    #[arg(long, value_name = "MINUTES", default_value_t = 5.0)]
    pace: f64,
    /// Begin with a fault, such as mast-slope=unplugged
    #[arg(long = "fault", value_name = "WHO=WHAT")]
    faults: Vec<String>,
    /// Print a line of JSON for every frame that is kept
    #[arg(long)]
    json: bool,
}

/// Runs until it is stopped, and says the exit code.
pub(super) fn run(arguments: &Demo) -> ExitCode {
    let form = if arguments.json { Form::Json } else { Form::Words };
    match demo::run(arguments.pace, &arguments.faults, form) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            output::complain(&failure.render());
            ExitCode::from(2)
        }
    }
}
