//! The one way by which keys leave the key box: deliberate, dated, readable to their owner alone.

use std::fs;
use std::io::{self, ErrorKind, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use logbook::folder::{HAND_OVER, UNFINISHED};
use logbook::keys::{KeyBox, push_hex};
use logbook::registry::{Date, Node, Registry};
use report::problem::{Failure, Problem};
use report::words;
use wire::identity::DevEui;
use wire::key::AppKey;
use zeroize::Zeroizing;

use super::columns::{Columns, Fact};
use super::site::{self, Site};
use crate::output::reason;

const LIST: &str = "join-server.csv";
const NOT_YET: &[u8] =
    b"This hand-over was not finished. Use nothing of it; the next run of `overwinter enrol` removes the folder.\n";
/// Code of the problem that somebody stopped the run.
pub(crate) const INTERRUPTED: &str = "interrupted";

/// What was handed over, for the person.
pub(crate) struct HandedOver {
    /// The folder with the secrets.
    pub(crate) folder: PathBuf,
    /// Names of the nodes.
    pub(crate) names: Vec<String>,
    /// Nodes that were handed over before, and when.
    pub(crate) before: Vec<(String, Date)>,
}

/// Writes the list for the join server and a file for each node, and notes the day.
///
/// Nodes that were handed over before are left out, or handed over once more if that is asked for.
pub(crate) fn hand_over(
    site: &Site,
    mut registry: Registry,
    keys: &KeyBox,
    columns: &Columns,
    again: bool,
    today: Date,
) -> Result<HandedOver, Failure> {
    let open: Vec<Node> = registry.nodes().iter().filter(|node| node.open()).cloned().collect();
    let before: Vec<(String, Date)> = open
        .iter()
        .filter_map(|node| Some((node.name.clone(), registry.handed_over(node.dev_eui)?)))
        .collect();
    let chosen: Vec<&Node> =
        open.iter().filter(|node| again || registry.handed_over(node.dev_eui).is_none()).collect();
    if chosen.is_empty() {
        return Err(nothing_left(&before));
    }
    site::agree(keys, &registry)?;
    let with_keys = chosen.iter().map(|node| match keys.key(node.dev_eui) {
        Some(key) => Ok((*node, key)),
        None => Err(without_key(node)),
    });
    let with_keys: Vec<(&Node, &AppKey)> = with_keys.collect::<Result<_, _>>()?;
    let interrupted = asked_to_stop();
    let list = list(&with_keys, columns).map_err(|error| unwritten(site, &error))?;
    let place = free_place(site.folder(), today).map_err(|error| unwritten(site, &error))?;
    let written = Written::begin(place).map_err(|error| unwritten(site, &error))?;
    written.fill(&list, &with_keys, &interrupted).map_err(|error| unwritten(site, &error))?;
    // Noted before the folder counts as whole: a day too many is better than a day too few.
    let leaving: Vec<DevEui> = chosen.iter().map(|node| node.dev_eui).collect();
    registry.add_hand_over(today, &leaving);
    registry.save().map_err(|error| site::registry_failure(&error))?;
    let folder = written.finish().map_err(|error| unwritten(site, &error))?;
    Ok(HandedOver { folder, names: chosen.iter().map(|node| node.name.clone()).collect(), before })
}

/// From now on Ctrl-C, a closed terminal and a request to end are heard between two files.
fn asked_to_stop() -> Arc<AtomicBool> {
    let asked = Arc::new(AtomicBool::new(false));
    let heard = Arc::clone(&asked);
    // Without a handler the run ends at once, and the next one removes what it left.
    let _unheard = ctrlc::set_handler(move || heard.store(true, Ordering::Relaxed));
    asked
}

fn nothing_left(before: &[(String, Date)]) -> Failure {
    let message = match (before.first(), before.iter().map(|(_, on)| on).max()) {
        (Some((name, _)), Some(last)) => format!(
            "the keys of {} ({name}{}) were handed over before, last on {last}",
            words::count(before.len(), "node"),
            if before.len() > 1 { " and others" } else { "" }
        ),
        _ => "no node is enrolled here".to_owned(),
    };
    let help = "say --again to hand them over once more; nothing was written";
    Failure::of(Problem::of_file("hand-over", "registry.toml", message, help))
}

fn without_key(node: &Node) -> Failure {
    let message = format!("the key box has no key for {} ({})", node.name, node.dev_eui);
    let help = "put keys.age back from its backup, or close the row with `until`";
    Failure::of(Problem::of_file("hand-over", "keys.age", message, help))
}

fn unwritten(site: &Site, error: &io::Error) -> Failure {
    let (code, message, help) = match error.kind() {
        ErrorKind::Interrupted => (INTERRUPTED, "the hand-over was interrupted".to_owned(), "run it again"),
        _ => (
            "hand-over",
            format!("the keys could not be written: {}", reason(error)),
            "free some space, or see who may write there",
        ),
    };
    let help = format!("{help}; no secret was left behind");
    Failure::of(Problem::of_file(code, &site.folder().to_string_lossy(), message, help))
}

/// Secrets in their final place. The folder goes unless it is finished; if this run is killed, the next one removes it.
struct Written {
    place: PathBuf,
    finished: bool,
}

impl Written {
    fn begin(place: PathBuf) -> io::Result<Self> {
        let mut builder = fs::DirBuilder::new();
        #[cfg(unix)]
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
        builder.create(&place)?;
        let written = Self { place, finished: false };
        secret(&written.place.join(UNFINISHED), NOT_YET)?;
        // No key may reach the disk before the mark does.
        settle(&written.place)?;
        Ok(written)
    }

    fn fill(&self, list: &[u8], nodes: &[(&Node, &AppKey)], interrupted: &AtomicBool) -> io::Result<()> {
        secret(&self.place.join(".gitignore"), b"*\n")?;
        secret(&self.place.join(LIST), list)?;
        for (node, key) in nodes {
            secret(&self.place.join(format!("{}_identity.h", node.name)), header(node, key).as_bytes())?;
            if interrupted.load(Ordering::Relaxed) {
                return Err(ErrorKind::Interrupted.into());
            }
        }
        settle(&self.place)
    }

    fn finish(mut self) -> io::Result<PathBuf> {
        fs::remove_file(self.place.join(UNFINISHED))?;
        self.finished = true;
        settle(&self.place)?;
        Ok(std::mem::take(&mut self.place))
    }
}

impl Drop for Written {
    fn drop(&mut self) {
        if !self.finished {
            // What can't be removed is marked as unfinished, and the next run tries again.
            let _left = fs::remove_dir_all(&self.place);
        }
    }
}

/// New names in a folder must survive a power cut too.
fn settle(folder: &Path) -> io::Result<()> {
    if cfg!(unix) { fs::File::open(folder)?.sync_all() } else { Ok(()) }
}

/// A folder for the day that is not there yet.
fn free_place(folder: &Path, today: Date) -> io::Result<PathBuf> {
    let names = std::iter::once(format!("{HAND_OVER}{today}"))
        .chain((2..).map(|time| format!("{HAND_OVER}{today}-{time}")));
    for name in names {
        let place = folder.join(name);
        match fs::symlink_metadata(&place) {
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(place),
            Err(error) => return Err(error),
            Ok(_) => {}
        }
    }
    Err(ErrorKind::AlreadyExists.into())
}

fn secret(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut options = fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// The list for the join server, under the person's own titles.
fn list(nodes: &[(&Node, &AppKey)], columns: &Columns) -> io::Result<Zeroizing<Vec<u8>>> {
    let mut writer = csv::Writer::from_writer(Vec::with_capacity(256 * (nodes.len() + 1)));
    writer.write_record(columns.columns.iter().map(|column| &column.title))?;
    for (node, key) in nodes {
        for column in &columns.columns {
            let cell = Zeroizing::new(match column.fact {
                None => column.text.clone().unwrap_or_default(),
                Some(Fact::Name) => node.name.clone(),
                Some(Fact::Kind) => node.kind.clone(),
                Some(Fact::DevEui) => node.dev_eui.to_string(),
                Some(Fact::JoinEui) => node.join_eui.to_string(),
                Some(Fact::AppKey) => hex(key),
            });
            writer.write_field(cell.as_str())?;
        }
        writer.write_record(None::<&[u8]>)?;
    }
    writer.into_inner().map(Zeroizing::new).map_err(csv::IntoInnerError::into_error)
}

fn hex(key: &AppKey) -> String {
    let mut text = String::with_capacity(32);
    push_hex(&mut text, key);
    text
}

/// What goes into the firmware of one node.
fn header(node: &Node, key: &AppKey) -> Zeroizing<String> {
    let bytes = |octets: &[u8]| -> Zeroizing<String> {
        let mut text = Zeroizing::new(String::with_capacity(6 * octets.len()));
        for (place, octet) in octets.iter().enumerate() {
            text.push_str(if place > 0 { ", 0x" } else { "0x" });
            for digit in [octet >> 4, octet & 0xf] {
                text.push(char::from_digit(u32::from(digit), 16).unwrap_or('0'));
            }
        }
        text
    };
    let (dev_eui, join_eui) = (node.dev_eui, node.join_eui);
    let lines = [
        format!(
            "/* SECRET: identity and key of {} ({dev_eui}). One node, one key. Never under version control. */",
            node.name
        ),
        "#ifndef WINTER_IDENTITY_H\n#define WINTER_IDENTITY_H\n".to_owned(),
        "/* As on the label; and as sent, last byte first. The manual of the LoRaWAN stack says which it takes. */".to_owned(),
        format!("#define WINTER_DEV_EUI_AS_PRINTED {}", *bytes(&dev_eui.to_display_bytes())),
        format!("#define WINTER_DEV_EUI_AS_SENT {}", *bytes(&dev_eui.to_wire_bytes())),
        format!("#define WINTER_JOIN_EUI_AS_PRINTED {}", *bytes(&join_eui.to_display_bytes())),
        format!("#define WINTER_JOIN_EUI_AS_SENT {}", *bytes(&join_eui.to_wire_bytes())),
        "/* The AppKey of LoRaWAN 1.0.x has one order only. */".to_owned(),
    ];
    let mut text = Zeroizing::new(String::with_capacity(2048));
    for line in &lines {
        text.push_str(line);
        text.push('\n');
    }
    text.push_str("#define WINTER_APP_KEY ");
    text.push_str(&bytes(key.expose()));
    text.push_str("\n\n#endif\n");
    text
}
