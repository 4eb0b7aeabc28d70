//! `overwinter kit`: what firmware and server need to speak the messages of a design.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use report::problem::{Failure, Problem};

use crate::input;
use crate::kit::{self, KitFile, Outcome};
use crate::output;

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Example:
  overwinter kit examples/larkmoor/frost-mast.toml -o frost-mast-kit

Files that are already as they should be are not touched, and others in the folder are left alone. \
Exit code: 0 the kit is there, 2 something is wrong with the input or the folder.";

/// What `kit` is given.
#[derive(Args)]
pub(super) struct KitOf {
    /// The design file of the node
    #[arg(value_name = "NODE.toml")]
    design: PathBuf,
    /// Folder to write to; it is made if it is not there
    #[arg(short, long, value_name = "DIR")]
    output: PathBuf,
    /// Also write a header that stands in for identity and key until they are handed over; readable by you alone, ignored by version control
    #[arg(long)]
    identity: bool,
}

/// Writes the kit, says what was written, and gives the exit code.
pub(super) fn run(arguments: &KitOf) -> ExitCode {
    match written(arguments).and_then(|page| output::print(&page)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            output::complain(&failure.render());
            ExitCode::from(2)
        }
    }
}

fn written(arguments: &KitOf) -> Result<String, Failure> {
    let checked = input::design(&arguments.design)?;
    let design = &checked.design;
    if design.messages.is_empty() {
        let name = arguments.design.to_string_lossy();
        let message = if design.givens.is_empty() {
            "the design has no message, so there is nothing to encode"
        } else {
            "the design has messages of a bought node alone: its firmware is the maker's, and `serve` reads them"
        };
        let message = message.to_owned();
        let help = "add a [message.report] with a port and fields, as examples/larkmoor/frost-mast.toml does";
        return Err(Failure::of(Problem::of_file("kit", &name, message, help)));
    }
    let rows = kit::write(design, &arguments.output, arguments.identity)?;
    let folder = arguments.output.to_string_lossy();
    let files: String = rows.iter().map(said).collect();
    let warned = if checked.warnings.is_empty() {
        String::new()
    } else {
        let count = report::words::count(checked.warnings.len(), "warning");
        format!("{count} about the design: overwinter check {}\n", arguments.design.display())
    };
    Ok(format!("{files}\nThe kit of \"{}\" is in {folder}.\n{warned}", design.name))
}

fn said(row: &KitFile) -> String {
    let (word, more) = match row.outcome {
        Outcome::Written => ("wrote", ""),
        Outcome::Replaced => ("rewrote", ""),
        Outcome::Unchanged => ("unchanged", ""),
        Outcome::Kept => ("kept", ", for it holds the identity of a node"),
    };
    format!("{word:<10}{}{more}\n", row.name)
}
