//! `overwinter enrol`: identities, keys, labels and sheets for many nodes of one kind.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{SystemTime, UNIX_EPOCH};

use clap::{ArgGroup, Args};
use design::node::Design;
use forecast::terrain::Terrain;
use logbook::registry::{Date, Node, Registry};
use report::problem::{Failure, Problem};
use report::words;
use wire::identity::JoinEui;

use crate::enrolment::block::Block;
use crate::enrolment::columns::Columns;
use crate::enrolment::names::Pattern;
use crate::enrolment::qr::ProfileId;
use crate::enrolment::site::{self, Site};
use crate::enrolment::{
    self, Batch, Identities, MOST_NODES, bench, expected, hand_over, import, labels, sheets,
};
use crate::input;
use crate::output::{self, Staged};

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter enrol frost-mast.toml --count 10 --eui-block 70B3D5ABCD000000/40 --join-eui 70B3D5ABCD000000 -o larkmoor
  overwinter enrol frost-mast.toml --import devices.csv --columns columns.toml -o larkmoor
  overwinter enrol --hand-over columns.toml -o larkmoor

The folder holds registry.toml (who is who, no secrets), keys.age (the keys, sealed with a passphrase; the age format, \
version 1) and what is to be printed. Run it again with a larger number to add nodes: nobody is enrolled twice, no \
key is replaced. A lost passphrase can't be recovered.

Exit code: 0 done, 2 something is wrong with the input; then nothing was written.";

/// What `enrol` is given.
#[derive(Args)]
#[command(group = ArgGroup::new("task").required(true).args(["count", "import", "hand_over"]))]
pub(super) struct Enrol {
    /// The design file of the nodes
    #[arg(value_name = "NODE.toml", required_unless_present = "hand_over")]
    design: Option<PathBuf>,
    /// Folder of the site; made if it is not there
    #[arg(short, long = "output", value_name = "DIR")]
    output: PathBuf,
    /// How many nodes of this kind there shall be in all
    #[arg(long, value_name = "N")]
    count: Option<usize>,
    /// Your own block of identities: its first EUI and the bits it fixes, such as 70B3D5ABCD000000/40
    #[arg(long, value_name = "EUI/BITS", conflicts_with = "local")]
    eui_block: Option<String>,
    /// Make up identities (locally administered, marked so on labels and sheets)
    #[arg(long)]
    local: bool,
    /// The join server that holds the keys: 16 hex digits
    #[arg(long, value_name = "EUI")]
    join_eui: Option<String>,
    /// Names of the nodes, such as mast-##; follows from the name of the design
    #[arg(long, value_name = "PATTERN")]
    names: Option<String>,
    /// Vendor and profile in the code of the label, 8 hex digits; zeros where you have none
    #[arg(long, value_name = "HEX", default_value = "00000000")]
    profile_id: String,
    /// Take devices and their keys from a list
    #[arg(long, value_name = "LIST.csv", requires = "columns")]
    import: Option<PathBuf>,
    /// The titles of the list's columns
    #[arg(long, value_name = "COLUMNS.toml", requires = "import")]
    columns: Option<PathBuf>,
    /// Take the keys out of the key box, under these column titles: for the join server, and one file per node
    #[arg(long, value_name = "COLUMNS.toml", conflicts_with_all = ["design", "eui_block", "local", "join_eui", "names"])]
    hand_over: Option<PathBuf>,
    /// Hand over once more what was handed over before
    #[arg(long, requires = "hand_over")]
    again: bool,
    /// Read the passphrase from a file that only you can read, instead of asking
    #[arg(long, value_name = "FILE")]
    passphrase_file: Option<PathBuf>,
}

/// Enrols, prints what was done, and says the exit code.
pub(super) fn run(arguments: &Enrol) -> ExitCode {
    let done = match &arguments.hand_over {
        Some(columns) => hand(arguments, columns),
        None => enrol(arguments),
    };
    match done.and_then(|page| output::print(&page)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            output::complain(&failure.render());
            ExitCode::from(2)
        }
    }
}

fn hand(arguments: &Enrol, columns: &Path) -> Result<String, Failure> {
    let columns = Columns::read(columns)?;
    let today = today()?;
    let site = Site::take_old(&arguments.output)?;
    let registry = site.registry()?;
    let (keys, _) = site::keys(site.folder(), arguments.passphrase_file.as_deref())?;
    let done = hand_over::hand_over(&site, registry, &keys, &columns, arguments.again, today)?;
    let mut page = format!(
        "The keys of {} are now in {}\n  join-server.csv  for the join server\n  NAME.h           one for each node, to flash\n",
        words::count(done.names.len(), "node"),
        done.folder.display()
    );
    page += "Only you can read them. Delete the folder when they have arrived; the key box keeps the keys.\n";
    if let Some(last) = done.before.iter().map(|(_, on)| on).max() {
        let verb =
            if arguments.again { "among them, handed over before" } else { "left out, handed over before" };
        writeln!(page, "{} {verb}, last on {last}.", words::count(done.before.len(), "node"))
            .expect("a string takes any text");
    }
    Ok(page)
}

/// What is checked before the folder is touched.
struct Wish {
    design: Design,
    terrain: Option<Terrain>,
    names: Pattern,
    profile: ProfileId,
    join_eui: Option<JoinEui>,
    identities: Option<Identities>,
    list: Option<(PathBuf, Columns)>,
    today: Date,
}

fn enrol(arguments: &Enrol) -> Result<String, Failure> {
    let wish = wish(arguments)?;
    let site = Site::take(&arguments.output)?;
    let done = enrol_in(&site, &wish, arguments);
    site.leave(done)
}

fn wish(arguments: &Enrol) -> Result<Wish, Failure> {
    if let Some(count) = arguments.count.filter(|count| !(1..=MOST_NODES).contains(count)) {
        let message = format!("{count} nodes can't be enrolled");
        return Err(refuse("count", "--count", message, &format!("give a number from 1 to {MOST_NODES}")));
    }
    let path = arguments.design.as_deref().unwrap_or(Path::new(""));
    let checked = input::design(path)?;
    let terrain = checked.terrain()?;
    let design = checked.design;
    let names = match &arguments.names {
        Some(pattern) => Pattern::parse(pattern)?,
        None => Pattern::of_design(&design.name),
    };
    let join_eui = arguments.join_eui.as_deref().map(JoinEui::from_display).transpose().map_err(|error| {
        refuse("join-eui", "--join-eui", error.to_string(), "write 16 hex digits, most significant first")
    })?;
    let block = arguments.eui_block.as_deref().map(Block::parse).transpose()?;
    let identities = if arguments.local { Some(Identities::Local) } else { block.map(Identities::Block) };
    let list = match (&arguments.import, &arguments.columns) {
        (Some(list), Some(columns)) => Some((list.clone(), Columns::read(columns)?)),
        _ => None,
    };
    let profile = ProfileId::parse(&arguments.profile_id)?;
    Ok(Wish { design, terrain, names, profile, join_eui, identities, list, today: today()? })
}

fn enrol_in(site: &Site, wish: &Wish, arguments: &Enrol) -> Result<String, Failure> {
    let mut registry = site.registry()?;
    let kind = wish.design.name.as_str();
    let there = enrolment::of_kind(&registry, kind).count();
    let missing = match arguments.count {
        Some(count) if count < there => {
            let message = format!(
                "there are {there} nodes of this kind already; --count says how many there shall be in all"
            );
            return Err(refuse(
                "count",
                "--count",
                message,
                &format!("give {there} or more; close rows with `until`"),
            ));
        }
        Some(count) => count - there,
        None => 0,
    };
    let month = wish.design.promise.installed.map_or(wish.today.month(), |(month, _)| month);
    if missing > 0 || wish.list.is_some() {
        let (mut keys, passphrase) = site.keys(arguments.passphrase_file.as_deref())?;
        let batch = Batch { design: &wish.design, names: &wish.names, today: wish.today };
        if let Some((list, columns)) = &wish.list {
            import::add(&mut registry, &mut keys, &batch, list, columns, wish.join_eui)?;
        } else {
            let (identities, join_eui) = needed(wish)?;
            enrolment::add(&mut registry, &mut keys, &batch, identities, join_eui, missing)?;
        }
        // What takes most room is written first, but seen last.
        let paper = paper(site, wish, &registry, month)?;
        // Keys before rows: a row without a key would be a node that nobody can join.
        keys.save(&passphrase).map_err(|error| site::keys_failure(&error))?;
        registry.save().map_err(|error| site::registry_failure(&error))?;
        put(paper)?;
    } else {
        put(paper(site, wish, &registry, month)?)?;
    }
    Ok(said(site, &registry, kind, there))
}

fn put(paper: [Staged; 3]) -> Result<(), Failure> {
    paper.into_iter().try_for_each(Staged::put)
}

fn needed(wish: &Wish) -> Result<(&Identities, JoinEui), Failure> {
    let Some(identities) = &wish.identities else {
        let message = "new nodes need identities".to_owned();
        return Err(refuse(
            "identity",
            "--eui-block",
            message,
            "give --eui-block with your own block, or --local",
        ));
    };
    let Some(join_eui) = wish.join_eui else {
        let message = "new nodes need the identity of their join server".to_owned();
        return Err(refuse("join-eui", "--join-eui", message, "give --join-eui; your network says which"));
    };
    Ok((identities, join_eui))
}

/// Labels and sheets, written but not yet in their place.
fn paper(site: &Site, wish: &Wish, registry: &Registry, month: u8) -> Result<[Staged; 3], Failure> {
    let design = &wish.design;
    let nodes: Vec<&Node> = enrolment::of_kind(registry, &design.name).collect();
    let expected = expected::expect(design, month);
    Ok([
        site.stage("labels.html", &labels::page(&design.name, &nodes, &wish.profile))?,
        site.stage(
            "sheets.html",
            &sheets::pages(design, wish.terrain.as_ref(), &nodes, &expected, &wish.profile),
        )?,
        site.stage("bench.html", &bench::pages(design, &nodes, &expected))?,
    ])
}

fn said(site: &Site, registry: &Registry, kind: &str, there: usize) -> String {
    let new: Vec<&Node> = enrolment::of_kind(registry, kind).skip(there).collect();
    let first = match (new.first(), new.last()) {
        (Some(first), Some(last)) if new.len() > 1 => {
            format!("{} enrolled: {} to {}", words::count(new.len(), "node"), first.name, last.name)
        }
        (Some(only), _) => format!("1 node enrolled: {}", only.name),
        _ => format!(
            "All {} are enrolled already; labels and sheets were printed anew",
            words::count(there, "node")
        ),
    };
    format!(
        "{first}\n\n{}\n  registry.toml  who is who, without secrets: keep it under version control\n  keys.age       the keys, sealed: \
        back it up, and its passphrase elsewhere\n  labels.html    to print and cut\n  sheets.html    installation, two pages a node\n  \
        bench.html     what to measure before they go out\n\nThe keys leave by one command alone: overwinter enrol --hand-over COLUMNS.toml -o {}\n",
        site.folder().display(),
        site.folder().display()
    )
}

fn today() -> Result<Date, Failure> {
    let seconds = SystemTime::now().duration_since(UNIX_EPOCH).map(|since| since.as_secs());
    seconds.ok().and_then(Date::of_unix).ok_or_else(|| {
        refuse(
            "clock",
            "clock",
            "the computer's clock shows no sensible day".to_owned(),
            "set it: rows are dated",
        )
    })
}

fn refuse(code: &'static str, place: &str, message: String, help: &str) -> Failure {
    Failure::of(Problem::of_file(code, place, message, help))
}
