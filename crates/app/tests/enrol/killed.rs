//! `enrol` ended at any moment, by force or by a signal: no row lost, no key doubled, no plain key outside its place, and
//! a folder that the next run accepts.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::desk::{BLOCK, Desk, MAST};
use logbook::folder::{self, UNFINISHED};
use logbook::keys::{KeyBox, Passphrase, push_hex};
use logbook::registry::Registry;
use wire::identity::DevEui;
use wire::key::AppKey;

/// Runs that are ended in CI; the long form asks for more by `OVERWINTER_KILLS`.
const KILLS: usize = 30;
/// A folder is used for so many of them; folders are worked on side by side.
const KILLS_OF_A_FOLDER: usize = 10;
/// So many runs in a row are killed at most before one may end: what a kill left is there when the next one strikes.
const KILLS_IN_A_ROW: usize = 3;
const COMMON: [&str; 5] = ["enrol", "-o", "site", "--passphrase-file", "pass"];

/// What must survive: names of the registry, and identities and keys of the box.
#[derive(Clone, Default)]
struct Site {
    names: BTreeSet<String>,
    sealed: Vec<u8>,
    keys: BTreeMap<DevEui, [String; 2]>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Victim {
    Run,
    HandOver,
    Recovery,
}

#[test]
fn a_run_that_is_killed_at_any_moment_loses_and_doubles_nothing() {
    let kills = std::env::var("OVERWINTER_KILLS").map_or(KILLS, |text| text.parse().expect("a number"));
    let folders = kills.div_ceil(KILLS_OF_A_FOLDER);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let of_thread = |thread: usize| -> usize {
        (thread..folders)
            .step_by(threads)
            .map(|folder| {
                let before = folder * KILLS_OF_A_FOLDER;
                kills_in_a_folder(KILLS_OF_A_FOLDER.min(kills - before), &mut Dice(2026 + folder as u64))
            })
            .sum()
    };
    let too_late: usize = std::thread::scope(|scope| {
        let of_thread = &of_thread;
        let running: Vec<_> = (0..threads).map(|thread| scope.spawn(move || of_thread(thread))).collect();
        running
            .into_iter()
            .map(|one| one.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .sum()
    });
    let killed = kills - too_late;
    assert!(killed > kills / 2, "{killed} of {kills} runs were killed, {too_late} had ended before");
}

/// How many of the runs had ended before they could be killed.
fn kills_in_a_folder(kills: usize, dice: &mut Dice) -> usize {
    let (desk, mut site) = (Desk::new(), Site::default());
    let (mut left, mut too_late) = (kills, 0);
    while left > 0 {
        let row = left.min(1 + dice.below(KILLS_IN_A_ROW));
        too_late += kills_in_a_row(&desk, row, &mut site, dice);
        left -= row;
    }
    too_late
}

/// Runs that are killed one after the other, and one that may end.
fn kills_in_a_row(desk: &Desk, kills: usize, site: &mut Site, dice: &mut Dice) -> usize {
    let before = site.clone();
    let more = (before.keys.len() + 1 + dice.below(3)).to_string();
    let run = [&[MAST, "--count", &more], &BLOCK[..]].concat();
    let (mut too_late, mut victims, mut left) = (0, Vec::new(), Vec::new());
    let mut last = &run[..];
    for _ in 0..kills {
        // A registry that lost a row takes nothing but a recovery.
        let victim = match victims.last() {
            _ if before.keys.is_empty() => Victim::Run,
            Some(Victim::Recovery) => Victim::Recovery,
            _ => [Victim::Run, Victim::HandOver, Victim::Recovery][dice.below(3)],
        };
        last = match victim {
            Victim::Run => &run,
            Victim::HandOver => &["--hand-over", "columns.toml", "--again"],
            Victim::Recovery => {
                let rows = desk.read("site/registry.toml");
                desk.write("site/registry.toml", &rows[..rows.rfind("\n[[node]]").unwrap_or(rows.len())]);
                &["--recover"]
            }
        };
        victims.push(victim);
        too_late += usize::from(kill_somewhere(desk, last, dice));
        left.extend(texts_outside_hand_overs(desk));
    }
    // The next run, of the same kind or another.
    let ends = if victims.last() == Some(&Victim::HandOver) && dice.below(2) == 0 { &run } else { last };
    let said = desk.done(&[&COMMON[..], ends].concat());
    look(desk, site);
    assert!(before.names.is_subset(&site.names), "{victims:?}: a row is lost\n{said}");
    for (dev_eui, key) in &before.keys {
        assert_eq!(site.keys.get(dev_eui), Some(key), "{victims:?}: {dev_eui} has another key or none");
    }
    let distinct: BTreeSet<&[String; 2]> = site.keys.values().collect();
    assert_eq!(distinct.len(), site.keys.len(), "{victims:?}: a key is doubled");
    assert_eq!(site.names.len(), site.keys.len(), "{victims:?}: every node has one key");
    left.extend(texts_outside_hand_overs(desk));
    for (place, text) in left {
        let key_stands = site.keys.values().flatten().any(|key| text.contains(key));
        assert!(!key_stands, "{victims:?}: a key in {}", place.display());
    }
    check_left_overs(&desk.path("site"));
    too_late
}

/// Starts a run and kills it: half of the times at a random moment, else just when it changes the folder.
fn kill_somewhere(desk: &Desk, arguments: &[&str], dice: &mut Dice) -> bool {
    let mut run = start(desk, arguments);
    let begun = Instant::now();
    let changes = if dice.below(2) == 0 { 0 } else { 1 + dice.below(12) };
    let longest = Duration::from_micros(if changes == 0 { dice.below(1_500_000) } else { 20_000_000 } as u64);
    let (mut seen, mut last) = (0, state(&desk.path("site")));
    while begun.elapsed() < longest && run.try_wait().expect("it is ours").is_none() {
        if changes == 0 {
            std::thread::sleep(Duration::from_micros(200));
            continue;
        }
        let now = state(&desk.path("site"));
        seen += usize::from(now != last);
        last = now;
        if seen >= changes {
            std::thread::sleep(Duration::from_micros(dice.below(3_000) as u64));
            break;
        }
        // Other runs need the processor too.
        std::thread::sleep(Duration::from_micros(20));
    }
    let had_ended = run.try_wait().expect("it is ours").is_some();
    run.kill().expect("it is ours");
    run.wait().expect("it ends");
    had_ended
}

fn start(desk: &Desk, arguments: &[&str]) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_overwinter"));
    command.current_dir(desk.0.path()).args(COMMON).args(arguments);
    command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("the program runs")
}

/// Names and sizes below a folder.
fn state(folder: &Path) -> Vec<(PathBuf, u64)> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut found = Vec::new();
    for entry in entries {
        let size = entry.metadata().map_or(0, |found| found.len());
        found.push((entry.path(), size));
        found.extend(if entry.path().is_dir() { state(&entry.path()) } else { Vec::new() });
    }
    found.sort();
    found
}

/// Looks again at what is there; a box that is as it was is not opened again, since that takes half a
/// second.
fn look(desk: &Desk, site: &mut Site) {
    let folder = desk.path("site");
    if let Ok(registry) = Registry::open(&folder.join(folder::REGISTRY)) {
        site.names = registry.nodes().iter().map(|node| node.name.clone()).collect();
    }
    let sealed = fs::read(folder.join(folder::KEYS)).unwrap_or_default();
    if sealed == site.sealed {
        return;
    }
    let passphrase = Passphrase::from_file(&desk.path("pass")).expect("it is sound");
    let keys = KeyBox::from_sealed(&folder.join(folder::KEYS), &sealed, &passphrase).expect("it opens");
    site.keys = keys.keys().map(|(dev_eui, key)| (dev_eui, spellings(key))).collect();
    site.sealed = sealed;
}

/// As lists and headers have it.
fn spellings(key: &AppKey) -> [String; 2] {
    let mut text = String::new();
    push_hex(&mut text, key);
    let octets: Vec<String> = key.expose().iter().map(|octet| format!("0X{octet:02X}")).collect();
    [text, octets.join(", ")]
}

/// What stands where no key of the box may stand in plain: everywhere but in a folder of a hand-over.
fn texts_outside_hand_overs(desk: &Desk) -> Vec<(PathBuf, String)> {
    let files = state(desk.0.path()).into_iter().map(|(place, _)| place).filter(|place| place.is_file());
    files
        .filter(|place| !is_handed_over(place.strip_prefix(desk.path("site")).unwrap_or(place)))
        .map(|place| {
            let text = String::from_utf8_lossy(&fs::read(&place).expect("it is there")).to_uppercase();
            (place, text)
        })
        .collect()
}

fn is_handed_over(place: &Path) -> bool {
    let first = place.components().next().map(|part| part.as_os_str().to_string_lossy().into_owned());
    first.is_some_and(|name| name.starts_with(folder::HAND_OVER))
}

fn check_left_overs(site: &Path) {
    for (place, _) in state(site) {
        let name = place.file_name().unwrap_or_default().to_string_lossy().into_owned();
        assert!(!folder::is_left_over(&name) && name != UNFINISHED, "{} is left", place.display());
    }
}

#[test]
fn a_hand_over_that_is_asked_to_stop_leaves_no_plain_key() {
    let desk = Desk::new();
    desk.enrol(&[&["--count", "300"], &BLOCK[..]].concat());
    let registry = desk.read("site/registry.toml");
    for signal in ["INT", "TERM", "HUP"] {
        let mut run = start(&desk, &["--hand-over", "columns.toml"]);
        let begun = Instant::now();
        while !state(&desk.path("site"))
            .iter()
            .any(|(place, _)| place.extension().is_some_and(|end| end == "h"))
        {
            assert!(begun.elapsed() < Duration::from_mins(1), "no hand-over begins");
        }
        let sent = Command::new("kill").args(["-s", signal, &run.id().to_string()]).status();
        assert!(sent.expect("a system with signals has it").success());
        let code = run.wait().expect("it ends").code();
        assert_eq!(code, Some(130), "{signal}");
        check_left_overs(&desk.path("site"));
        assert!(!desk.path("site").read_dir().expect("there").flatten().any(|entry| entry.path().is_dir()));
        assert_eq!(desk.read("site/registry.toml"), registry, "{signal}: nothing was handed over");
    }
    desk.hand_over();
    assert_eq!(desk.list().len(), 301);
}

#[test]
fn what_an_interrupted_run_left_is_removed_and_said() {
    let desk = Desk::new();
    // A first run that was killed while it wrote: a lock and drafts, no site yet.
    fs::create_dir(desk.path("site")).expect("it can be made");
    for name in [".overwinter.lock", ".overwinter-aB3xY9", ".overwinter-next-00.toml"] {
        desk.write(&format!("site/{name}"), "half of a");
    }
    let output = desk.run(&[&COMMON[..], &[MAST, "--count", "1"], &BLOCK].concat());
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && said.contains("2 unfinished files: removed"), "{said}");
    // Hand-overs that were killed, of this version and of the one before.
    for name in ["hand-over-2026-11-28", ".overwinter-q1W2e3"] {
        fs::create_dir(desk.path("site").join(name)).expect("it can be made");
        desk.write(&format!("site/{name}/frost-mast-01_identity.h"), "a key");
    }
    desk.write("site/hand-over-2026-11-28/UNFINISHED.txt", "");
    fs::create_dir(desk.path("site/hand-over-2026-11-27")).expect("it can be made");
    // One who only reads the folder does so as well; a frame that nobody sent will do.
    let output = desk.run(&["explain", "--registry", "site", &"00".repeat(23)]);
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(said.matches("left keys in plain").count() == 2, "{said}");
    check_left_overs(&desk.path("site"));
    assert!(desk.path("site/hand-over-2026-11-27").exists(), "a finished one is the person's own");
}

/// Folders of the system in which nobody can make anything, whatever their rights.
#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_takes_nothing_is_said_and_no_key_is_made() {
    let desk = Desk::new();
    let refused = desk.refused(
        &[&["enrol", "-o", "/sys/site", "--passphrase-file", "pass", MAST, "--count", "1"], &BLOCK[..]]
            .concat(),
    );
    assert!(refused.contains("the folder can't be made"), "{refused}");
    for arguments in [["kit", MAST, "-o", "/sys/kit"], ["kit", MAST, "-o", "/sys"]] {
        let refused = desk.refused(&arguments);
        assert!(refused.contains("you may not") || refused.contains("read-only"), "{refused}");
    }
}

/// Numbers that look random and are the same in every run: `SplitMix64`.
///
/// # References
/// Steele, Lea and Flood, Fast splittable pseudorandom number generators, OOPSLA 2014, figure 4.
struct Dice(u64);

impl Dice {
    /// From 0 to below `end`.
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((mixed ^ (mixed >> 31)) >> 32).expect("32 bits fit") % end
    }
}
