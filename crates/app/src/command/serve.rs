//! `overwinter serve`: hears the nodes of a site, and keeps what they say.

use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use clap::Args;

use super::export::day;
use report::problem::Failure;

use crate::input::fleet;
use crate::output;
use crate::service::{self, Anew, Form, From, Service};

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter serve larkmoor.toml
  overwinter serve larkmoor.toml --passphrase-file larkmoor.pass --json
  overwinter serve larkmoor.toml --propose-source captured.jsonl
  overwinter serve larkmoor.toml --read-past
  overwinter serve larkmoor.toml --onward-from town=2026-10-01

The site file says where gateways are heard and where the log lies ([serve] and [serve.gateways]); the key box that `enrol` made \
is opened with its passphrase. Every frame is kept before anything is answered, also what is refused. Ctrl-C stops: what \
waits is kept first.

SIGHUP has it read the site file, the designs and the registry anew without losing a frame; what can't be used leaves the old ones in \
force, and is said.

When a design file has changed, what its nodes have sent is read anew by itself; --decode-again asks for it. What the design of \
today can't read keeps the reading of before.

Exit code: 0 stopped as asked, 2 it could not start, or could not keep what waited.";

/// What `serve` is given.
#[derive(Args)]
#[expect(clippy::struct_excessive_bools, reason = "each is a switch of the command line")]
pub(super) struct Serve {
    /// The file of the site
    #[arg(value_name = "SITE.toml")]
    site: PathBuf,
    /// Read the passphrase of the key box from a file that only you can read, instead of asking
    #[arg(long, value_name = "FILE")]
    passphrase_file: Option<PathBuf>,
    /// The log was put back from a copy: step over counters and nonces that it has forgotten
    #[arg(long)]
    restored: bool,
    /// The computer's clock is right, though the log holds later times: those count no longer
    #[arg(long)]
    clock_is_right: bool,
    /// Read the history of a kind of node anew by its design of today, while frames are heard: the design's file or name
    #[arg(long, value_name = "KIND")]
    decode_again: Option<String>,
    /// With --decode-again: only what was heard from this day on, UTC
    #[arg(long, value_name = "DATE", requires = "decode_again")]
    since: Option<String>,
    /// Hand readings on again to [onward.NAME], from the frame of this number on, or from a day on, UTC
    #[arg(long, value_name = "NAME=ROW|DATE", conflicts_with = "read_past")]
    onward_from: Vec<String>,
    /// Read the files of the past that the site file names as sources (`csv`) into the log, and end
    #[arg(long, conflicts_with_all = ["decode_again", "json"])]
    read_past: bool,
    /// Propose the lines of a source from messages in a file, one a line, its topic before it if it has one; and end
    #[arg(long, value_name = "FILE", conflicts_with_all = ["decode_again", "json", "read_past", "restored"])]
    propose_source: Option<PathBuf>,
    /// Make the certificate that the site file names for the page, for your own network, if it is not there yet; and print
    /// where the page is, with the fingerprint to compare, and both as a code for a phone
    #[arg(long)]
    certificate_here: bool,
    /// Send a trial to somebody whom the site file names as told ([tell.NAME]), say what came back, and end
    #[arg(long, value_name = "NAME", conflicts_with_all = ["decode_again", "json", "read_past", "restored", "propose_source"])]
    try_tell: Option<String>,
    /// Show a copy of the log (`export --log`) on the page of this machine: nobody is heard, and nothing is written
    #[arg(long, value_name = "COPY.sqlite", conflicts_with_all = [
        "decode_again", "json", "read_past", "restored", "clock_is_right", "propose_source", "try_tell", "onward_from"
    ])]
    read_only: Option<PathBuf>,
    /// Print a line of JSON for every frame that is kept
    #[arg(long)]
    json: bool,
}

/// Serves until it is stopped, and says the exit code.
pub(super) fn run(arguments: &Serve) -> ExitCode {
    let form = if arguments.json { Form::Json } else { Form::Words };
    let passphrase_file = arguments.passphrase_file.as_deref();
    if let Some(file) = &arguments.propose_source {
        return exit(
            fleet::site(&arguments.site)
                .and_then(|site| service::propose_source(&site, passphrase_file, file)),
        );
    }
    if let Some(name) = &arguments.try_tell {
        let tried = fleet::site(&arguments.site).and_then(|site| service::try_tell(&site, name));
        return exit(tried.and_then(|said| output::print(&said)));
    }
    if let Some(copy) = &arguments.read_only {
        return exit(fleet::site(&arguments.site).and_then(|site| service::show(site, copy)));
    }
    let served = fleet::site(&arguments.site)
        .and_then(|site| {
            if arguments.certificate_here {
                service::certificate_here(&site).map(|()| site)
            } else {
                Ok(site)
            }
        })
        .and_then(|site| service::open(Arc::new(site), passphrase_file, form))
        .and_then(|service| if arguments.restored { service.restored() } else { Ok(service) })
        .and_then(|service| if arguments.clock_is_right { service.clock_is_right() } else { Ok(service) })
        .and_then(|service| {
            let Some(kind) = &arguments.decode_again else { return Ok(service) };
            let since = arguments.since.as_deref().map(|text| day("--since", text)).transpose()?;
            service.decode_again(kind, since)
        })
        .and_then(|service| {
            arguments.onward_from.iter().try_fold(service, |service, text| onward_from(service, text))
        })
        .and_then(|service| {
            if arguments.read_past {
                return service.read_past();
            }
            let (site, passphrase_file) = (arguments.site.clone(), arguments.passphrase_file.clone());
            service.run(Some(Anew { site, passphrase_file, form }))
        });
    exit(served)
}

/// Begins handing on anew where `NAME=ROW` or `NAME=DATE` says.
fn onward_from(service: Service, text: &str) -> Result<Service, Failure> {
    let (name, from) = text.rsplit_once('=').unwrap_or((text, ""));
    let from = match from.parse() {
        Ok(row) => From::Row(row),
        Err(_no_number) => From::Moment(day("--onward-from", from)?),
    };
    service.onward_from(name, from)
}

fn exit(served: Result<(), Failure>) -> ExitCode {
    match served {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            output::complain(&failure.render());
            ExitCode::from(2)
        }
    }
}
