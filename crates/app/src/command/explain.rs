//! `overwinter explain`: a captured frame, field by field.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use report::problem::Failure;

use crate::enrolment::{passphrase, site};
use crate::explanation::{self, Owners};
use crate::input::fleet;
use crate::output;

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter explain 40F17DBE4900020001954378762B11FF0D
  overwinter explain QPF9vkkAAgABlUN4disR/w0= --registry larkmoor
  overwinter explain 40F17DBE4900020001954378762B11FF0D --site examples/larkmoor/larkmoor.toml

With the site it says which message it may be; with the registry it says whose frame it is, and whether an EUI was typed the wrong way round; with the key box \
also whether the key is right. Exit code: 0 explained, 2 it is no frame.";

/// What `explain` is given.
#[derive(Args)]
pub(super) struct Explain {
    /// The frame as hex or base64, header and integrity code included
    #[arg(value_name = "FRAME", allow_hyphen_values = true)]
    frame: String,
    /// Folder of a site: whose frame is it?
    #[arg(long, value_name = "DIR")]
    registry: Option<PathBuf>,
    /// File of a site: which message is it, and whose?
    #[arg(long, value_name = "SITE.toml", conflicts_with = "registry")]
    site: Option<PathBuf>,
    /// Read the passphrase of the key box from a file that only you can read, instead of asking
    #[arg(long, value_name = "FILE")]
    passphrase_file: Option<PathBuf>,
}

/// Explains and says the exit code.
pub(super) fn run(arguments: &Explain) -> ExitCode {
    match explain(arguments).and_then(|page| output::print(&page)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            output::complain(&failure.render());
            ExitCode::from(2)
        }
    }
}

fn explain(arguments: &Explain) -> Result<String, Failure> {
    let (bytes, how) = explanation::bytes_of(&arguments.frame)?;
    let (table, frame) = explanation::table(&bytes)?;
    let mut page = format!("{} bytes, read as {how}: {table}", bytes.len());
    let placed = arguments.site.as_deref().map(fleet::site).transpose()?;
    if let Some(placed) = &placed {
        page += "\n";
        page += &explanation::messages(&frame, placed.kinds());
    }
    let enrolled =
        placed.as_ref().and_then(|placed| Some(placed.folder.join(placed.fleet.registry.as_ref()?)));
    if let Some(folder) = arguments.registry.as_ref().or(enrolled.as_ref()) {
        let registry = site::registry(folder)?;
        let file = arguments.passphrase_file.as_deref();
        let keys =
            if file.is_some() || passphrase::can_ask() { Some(site::keys(folder, file)?.0) } else { None };
        page += "\n";
        page += &explanation::owner(&frame, &Owners { registry, keys });
    }
    Ok(page)
}
