//! `overwinter enrol`: identities, keys, labels and sheets for many nodes of one kind.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{SystemTime, UNIX_EPOCH};

use clap::{ArgGroup, Args};
use design::node::Design;
use forecast::sky::climate::Climate;
use forecast::terrain::Terrain;
use logbook::clock::Belief;
use logbook::folder::REGISTRY;
use logbook::registry::{Date, Node, Registry};
use report::problem::{Failure, Found, Problem};
use report::words;
use wire::identity::JoinEui;

use crate::enrolment::block::Block;
use crate::enrolment::columns::Columns;
use crate::enrolment::names::Pattern;
use crate::enrolment::qr::ProfileId;
use crate::enrolment::recover::{self, Otherwise};
use crate::enrolment::site::{self, Site};
use crate::enrolment::{
    self, Batch, Identities, MOST_NODES, bench, expected, hand_over, import, labels, sheets,
};
use crate::input;
use crate::output::{self, Staged};
use crate::progress::INTERRUPTED;

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter enrol frost-mast.toml --count 10 --eui-block 024C61726B000000/40 --join-eui 024C61726B000000 -o larkmoor
  overwinter enrol frost-mast.toml --import devices.csv --columns columns.toml -o larkmoor
  overwinter enrol --hand-over columns.toml -o larkmoor
  overwinter enrol --recover -o larkmoor

The folder holds registry.toml (who is who, no secrets), keys.age (the keys, sealed with a passphrase; the age format, \
version 1) and what is to be printed. Run it again with a larger number to add nodes: nobody is enrolled twice, no \
key is replaced. Keep both files in one backup: a key without its row, or a row without its key, is refused, and \
--recover rebuilds the rows. A lost passphrase can't be recovered.

Exit code: 0 done, 2 something is wrong with the input and nothing was written, 130 a hand-over was interrupted.";

/// What `enrol` is given.
#[derive(Args)]
#[command(group = ArgGroup::new("task").required(true).args(["count", "import", "hand_over", "recover"]))]
pub(super) struct Enrol {
    /// The design file of the nodes
    #[arg(value_name = "NODE.toml", required_unless_present_any = ["hand_over", "recover"])]
    design: Option<PathBuf>,
    /// Folder of the site; made if it is not there
    #[arg(short, long = "output", value_name = "DIR")]
    output: PathBuf,
    /// How many nodes of this kind there shall be in all
    #[arg(long, value_name = "N")]
    count: Option<usize>,
    /// Your own block of identities: its first EUI and the bits it fixes, such as 024C61726B000000/40
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
    /// Rebuild rows that the registry has lost from what the key box knows
    #[arg(long)]
    recover: bool,
    /// Read the passphrase from a file that only you can read, instead of asking
    #[arg(long, value_name = "FILE")]
    passphrase_file: Option<PathBuf>,
}

/// Enrols, prints what was done, and says the exit code.
pub(super) fn run(arguments: &Enrol) -> ExitCode {
    let done = match &arguments.hand_over {
        Some(columns) => hand(arguments, columns),
        None if arguments.recover => recover(arguments),
        None => enrol(arguments),
    };
    match done.and_then(|page| output::print(&page)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            output::complain(&failure.render());
            let stopped = failure.problems.iter().any(|problem| problem.code == hand_over::INTERRUPTED);
            ExitCode::from(if stopped { INTERRUPTED } else { 2 })
        }
    }
}

fn hand(arguments: &Enrol, columns: &Path) -> Result<String, Failure> {
    let mut found = Found::default();
    let (Some(columns), Some(today)) = (found.take(Columns::read(columns)), found.take(today())) else {
        return Err(found.into_failure());
    };
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
struct EnrolmentRequest {
    design: Design,
    terrain: Option<Terrain>,
    climate: Result<Climate, String>,
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

fn wish(arguments: &Enrol) -> Result<EnrolmentRequest, Failure> {
    let mut found = Found::default();
    if let Some(count) = arguments.count.filter(|count| !(1..=MOST_NODES).contains(count)) {
        let message = format!("{count} nodes can't be enrolled");
        let help = format!("give a number from 1 to {MOST_NODES}");
        found.take::<()>(Err(refuse("count", "--count", message, &help)));
    }
    let design = found.take(input::design(arguments.design.as_deref().unwrap_or(Path::new(""))));
    let design = design.and_then(|checked| {
        // Where the climate is not known the sheets say so, and the nodes are enrolled all the same.
        let said = |failure: Failure| {
            let messages: Vec<String> = failure.problems.into_iter().map(|one| one.message).collect();
            messages.join("; ")
        };
        let climate = input::climate(&checked).map_err(said);
        Some((found.take(checked.terrain())?, climate, checked.design))
    });
    let names = found.take(arguments.names.as_deref().map(Pattern::parse).transpose());
    let join_eui = found.take(join_eui(arguments));
    let block = found.take(arguments.eui_block.as_deref().map(Block::parse).transpose());
    let columns = found.take(arguments.columns.as_deref().map(Columns::read).transpose());
    let profile = found.take(ProfileId::parse(&arguments.profile_id));
    let today = found.take(today());
    let all = (design, names, join_eui, block, columns, profile, today);
    let (
        Some((terrain, climate, design)),
        Some(names),
        Some(join_eui),
        Some(block),
        Some(columns),
        Some(profile),
        Some(today),
    ) = all
    else {
        return Err(found.into_failure());
    };
    found.refuse()?;
    Ok(EnrolmentRequest {
        names: names.unwrap_or_else(|| Pattern::of_design(&design.name)),
        terrain,
        climate,
        design,
        profile,
        join_eui,
        identities: if arguments.local { Some(Identities::Local) } else { block.map(Identities::Block) },
        list: arguments.import.clone().zip(columns),
        today,
    })
}

fn join_eui(arguments: &Enrol) -> Result<Option<JoinEui>, Failure> {
    arguments.join_eui.as_deref().map(JoinEui::from_display).transpose().map_err(|error| {
        refuse("join-eui", "--join-eui", error.to_string(), "write 16 hex digits, most significant first")
    })
}

fn recover(arguments: &Enrol) -> Result<String, Failure> {
    let wish = arguments.design.as_ref().map(|_| wish(arguments)).transpose()?;
    let today = today()?;
    let site = Site::take_old(&arguments.output)?;
    let mut registry = site.registry()?;
    let (mut keys, passphrase) = site::keys(site.folder(), arguments.passphrase_file.as_deref())?;
    let otherwise = wish.as_ref().and_then(|wish| {
        let batch = Batch { design: &wish.design, names: &wish.names, today };
        Some(Otherwise { batch, join_eui: wish.join_eui? })
    });
    let names = recover::recover(&mut registry, &keys, otherwise.as_ref(), today)?;
    if names.is_empty() {
        return Ok("Every key has its row already: nothing to rebuild.\n".to_owned());
    }
    site.keep(&mut keys, &registry, &passphrase)?;
    Ok(format!(
        "{} rebuilt at the end of {}: {}\nThey are noted as handed over today, because nobody can prove that they were not: \
        --hand-over --again takes their keys out once more.\nWhat was changed by hand since they were enrolled is not \
        in the key box: look over their places, constants and `until`.\n",
        words::count(names.len(), "row"),
        site.folder().join(REGISTRY).display(),
        site::first_of(names)
    ))
}

fn enrol_in(site: &Site, wish: &EnrolmentRequest, arguments: &Enrol) -> Result<String, Failure> {
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
        site::agree(&keys, &registry)?;
        let batch = Batch { design: &wish.design, names: &wish.names, today: wish.today };
        if let Some((list, columns)) = &wish.list {
            import::add(&mut registry, &mut keys, &batch, list, columns, wish.join_eui)?;
        } else {
            let (identities, join_eui) = needed(wish)?;
            enrolment::add(&mut registry, &mut keys, &batch, identities, join_eui, missing)?;
        }
        // What takes most room is written first, but seen last.
        let paper = paper(site, wish, &registry, month)?;
        site.keep(&mut keys, &registry, &passphrase)?;
        put(paper)?;
    } else {
        put(paper(site, wish, &registry, month)?)?;
    }
    Ok(said(site, &registry, kind, there))
}

fn put(paper: [Staged; 3]) -> Result<(), Failure> {
    paper.into_iter().try_for_each(Staged::put)
}

fn needed(wish: &EnrolmentRequest) -> Result<(&Identities, JoinEui), Failure> {
    let mut found = Found::default();
    let identities = found.take(wish.identities.as_ref().ok_or_else(|| {
        let message = "new nodes need identities".to_owned();
        refuse("identity", "--eui-block", message, "give --eui-block with your own block, or --local")
    }));
    let join_eui = found.take(wish.join_eui.ok_or_else(|| {
        let message = "new nodes need the identity of their join server".to_owned();
        refuse("join-eui", "--join-eui", message, "give --join-eui; your network says which")
    }));
    identities.zip(join_eui).ok_or_else(|| found.into_failure())
}

/// Labels and sheets, written but not yet in their place.
fn paper(
    site: &Site,
    wish: &EnrolmentRequest,
    registry: &Registry,
    month: u8,
) -> Result<[Staged; 3], Failure> {
    let design = &wish.design;
    let nodes: Vec<&Node> = enrolment::of_kind(registry, &design.name).collect();
    let expected = expected::expect(design, wish.terrain.as_ref(), &wish.climate, month);
    Ok([
        site.stage("labels.html", &labels::page(&design.name, &nodes, &wish.profile))?,
        site.stage(
            "sheets.html",
            &sheets::pages(design, wish.terrain.as_ref(), &nodes, &expected, &wish.profile)?,
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

pub(super) fn today() -> Result<Date, Failure> {
    let seconds = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs());
    believable(seconds).ok_or_else(|| {
        let shown =
            Date::of_unix(seconds).map_or("a day beyond the year 9999".to_owned(), |day| day.to_string());
        let message = format!("the computer's clock shows {shown}, which can't be today");
        refuse("clock", "clock", message, "set it: rows and hand-overs are dated")
    })
}

/// The day of a moment, if this program can have been run then.
fn believable(unix_seconds: u64) -> Option<Date> {
    let shown = i64::try_from(unix_seconds).ok()?.checked_mul(1_000_000)?;
    Date::of_unix(unix_seconds).filter(|_| Belief::of(None).holds(shown))
}

fn refuse(code: &'static str, place: &str, message: String, help: &str) -> Failure {
    Failure::of(Problem::of_file(code, place, message, help))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_was_never_set_or_runs_far_ahead_is_not_believed() {
        let seconds = |year, month, day| Date::new(year, month, day).expect("a day").unix_seconds();
        for wrong in [
            0,
            seconds(1980, 1, 6),
            seconds(2025, 12, 31),
            seconds(2100, 1, 1),
            seconds(9999, 12, 31),
            u64::MAX,
        ] {
            assert_eq!(believable(wrong), None, "{wrong}");
        }
        for right in [seconds(2026, 1, 1), seconds(2026, 11, 29), seconds(2099, 12, 31)] {
            assert_eq!(believable(right), Date::of_unix(right), "{right}");
        }
    }
}
