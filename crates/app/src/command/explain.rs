//! `overwinter explain`: a captured frame, field by field.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use report::problem::{Failure, Problem};

use crate::enrolment::{passphrase, site};
use crate::explanation::{self, KindOf, Owners};
use crate::input::{self, fleet};
use crate::output;

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter explain 404EC0A7018002010AD2DA28E7A5CFB89A762761CF34BB6041
  overwinter explain QE7ApwGAAgEK0too56XPuJp2J2HPNLtgQQ== --site larkmoor.toml --session mast-07.toml
  overwinter explain 5BA192758A2969BA32346580 --port 10 --kind examples/larkmoor/frost-mast.toml

A kind of node or a site says which message it is; with the keys of the session, or with a payload in clear, its values are \
shown. The registry says whose frame it is, and whether an EUI was typed the wrong way round; its key box, whether the key is \
right. Exit code: 0 explained, 2 it is no frame.";

/// What `explain` is given.
#[derive(Args)]
pub(super) struct Explain {
    /// The frame as hex or base64, header and integrity code included
    #[arg(value_name = "FRAME", allow_hyphen_values = true)]
    frame: String,
    /// FRAME is a payload in clear alone, received on this port
    #[arg(long, value_name = "PORT", conflicts_with_all = ["session", "registry"])]
    port: Option<u8>,
    /// Design file of the node: which message is it, and what does it say?
    #[arg(long, value_name = "NODE.toml")]
    kind: Option<PathBuf>,
    /// File of a site: which message of its kinds is it, and whose?
    #[arg(long, value_name = "SITE.toml")]
    site: Option<PathBuf>,
    /// Folder of a registry: whose frame is it? Without it, the one that the site names
    #[arg(long, value_name = "DIR")]
    registry: Option<PathBuf>,
    /// File with `dev_addr`, `nwk_s_key` and `app_s_key` of the session, or with `join_request` and `join_accept`
    #[arg(long, value_name = "FILE")]
    session: Option<PathBuf>,
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
    let placed = arguments.site.as_deref().map(fleet::site).transpose()?;
    let kind = arguments.kind.as_deref().map(|path| Ok((path, input::design(path)?))).transpose()?;
    let named = kind.as_ref().map(|(path, checked)| (path.to_string_lossy(), &checked.design));
    let mut kinds: Vec<KindOf<'_>> = named.iter().map(|(name, design)| (name.as_ref(), *design)).collect();
    kinds.extend(placed.iter().flat_map(fleet::Site::kinds));
    if let Some(port) = arguments.port {
        return payload(arguments, port, &kinds);
    }
    let (bytes, how) = explanation::bytes_of(&arguments.frame)?;
    let (table, frame) = explanation::table(&bytes)?;
    let owners = owners(arguments, placed.as_ref())?;
    let keys = owners.as_ref().and_then(|owners| owners.keys.as_ref());
    let known = arguments.session.as_deref().map(|path| explanation::session(path, keys)).transpose()?;
    let mut page = format!("{} bytes, read as {how}: {table}", bytes.len());
    let content = explanation::content(&frame, known.as_ref(), &kinds);
    let owner = owners.map(|owners| explanation::owner(&frame, &owners)).unwrap_or_default();
    for part in [content, owner].into_iter().filter(|part| !part.is_empty()) {
        page += "\n";
        page += &part;
    }
    Ok(page)
}

fn payload(arguments: &Explain, port: u8, kinds: &[KindOf<'_>]) -> Result<String, Failure> {
    if kinds.is_empty() {
        let message = "only a design says what these bytes mean".to_owned();
        let help = "give --kind NODE.toml or --site SITE.toml too";
        return Err(Failure::of(Problem::of_file("frame", "--port", message, help)));
    }
    explanation::payload(&arguments.frame, port, kinds)
}

/// Who is who: by the registry that was named, else by that of the site.
fn owners(arguments: &Explain, placed: Option<&fleet::Site>) -> Result<Option<Owners>, Failure> {
    let of_site = placed.and_then(|placed| Some(placed.folder.join(placed.fleet.registry.as_ref()?)));
    // The folder that a site names is made by the first `enrol`.
    let of_site = of_site.filter(|folder| folder.exists());
    let Some(folder) = arguments.registry.clone().or(of_site) else { return Ok(None) };
    let registry = site::old_registry(&folder)?;
    let file = arguments.passphrase_file.as_deref();
    let opened = file.is_some() || passphrase::can_ask();
    let keys = opened.then(|| site::keys(&folder, file)).transpose()?.map(|(keys, _)| keys);
    Ok(Some(Owners { registry, keys }))
}
