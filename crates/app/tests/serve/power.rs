//! A computer that loses its power at any moment: what the server told is in the log, once, and no counter comes back.
//!
//! The server runs with a library preloaded (`power.c`) that notes each write, truncation, renaming and sync, in one order
//! with all that the server tells. The files are then built as a disk may hold them after a power cut: what was not synced is
//! there, not there, or there in part, sector by sector, whichever came first.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use logbook::base64;
use logbook::store::sqlite::Log;
use rusqlite::Connection;
use serde_json::Value;
use wire::frame::{self, Body, Direction, Draft, Frame, FrameControl, Port};
use wire::session::Session;

use super::trial::{Missing, note, seed, skipped};
use super::{Enrolled, Server, begin, enrol, larkmoor, packet, program};

/// Cuts in CI; the long form asks for more by `OVERWINTER_CUTS`.
const CUTS: usize = 20;
/// What a disk writes whole or not at all \[bytes\].
const SECTOR: usize = 512;
/// Longest that a log may take to open after a cut (target of the design).
const REOPENS_WITHIN: Duration = Duration::from_secs(1);

/// The library, built in a folder; `None` where there is no C compiler.
pub(super) fn library(folder: &Path) -> Option<PathBuf> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/serve/power.c");
    let library = folder.join("power.so");
    let options = ["-Wall", "-Wextra", "-Werror", "-O1", "-shared", "-fPIC", "-o"];
    let Ok(built) = Command::new("gcc").args(options).arg(&library).arg(source).arg("-ldl").output() else {
        skipped(&Missing::Program("gcc"));
        return None;
    };
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
    Some(library)
}

/// What the library noted.
struct Note {
    kind: u8,
    descriptor: i32,
    at: u64,
    bytes: Vec<u8>,
}

impl Note {
    fn path(&self) -> PathBuf {
        PathBuf::from(std::str::from_utf8(&self.bytes).expect("a path in UTF-8"))
    }
}

fn notes(journal: &Path) -> Vec<Note> {
    let all = fs::read(journal).expect("it was written");
    let mut rest = all.as_slice();
    let mut notes = Vec::new();
    while let Some((head, after)) = rest.split_first_chunk::<17>() {
        let number = |from: usize| u32::from_le_bytes(head[from..from + 4].try_into().expect("four"));
        let (bytes, after) = after.split_at(number(13) as usize);
        notes.push(Note {
            kind: head[0],
            descriptor: number(1).cast_signed(),
            at: u64::from_le_bytes(head[5..13].try_into().expect("eight")),
            bytes: bytes.to_vec(),
        });
        rest = after;
    }
    notes
}

/// Numbers that look drawn (xorshift64*, Vigna 2016).
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 11
    }

    fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next()).expect("53 bits") % end
    }
}

/// What is not on the medium yet.
enum Change {
    Write(usize, Vec<u8>),
    Truncate(usize),
}

#[derive(Default)]
struct Inode {
    lasting: Vec<u8>,
    pending: Vec<Change>,
}

impl Inode {
    fn sync(&mut self) {
        let mut bytes = std::mem::take(&mut self.lasting);
        for change in self.pending.drain(..) {
            apply(&mut bytes, &change, |_| true);
        }
        self.lasting = bytes;
    }

    /// As it may be after a cut: all, none or some of what was not synced.
    fn after_a_cut(&self, draw: &mut Draw) -> Vec<u8> {
        let mut bytes = self.lasting.clone();
        let manner = draw.below(4);
        for change in &self.pending {
            match manner {
                0 => {}
                1 => apply(&mut bytes, change, |_| true),
                _ => {
                    let whole = draw.below(3);
                    apply(&mut bytes, change, |_| whole == 0 || whole == 1 && draw.below(2) == 0);
                }
            }
        }
        bytes
    }
}

fn apply(bytes: &mut Vec<u8>, change: &Change, mut sector_lasts: impl FnMut(usize) -> bool) {
    match change {
        Change::Truncate(length) => {
            if sector_lasts(0) {
                bytes.resize(*length, 0);
            }
        }
        Change::Write(at, written) => {
            let mut from = *at;
            let end = at + written.len();
            while from < end {
                let to = ((from / SECTOR + 1) * SECTOR).min(end);
                if sector_lasts(from / SECTOR) {
                    bytes.resize(bytes.len().max(to), 0);
                    bytes[from..to].copy_from_slice(&written[from - at..to - at]);
                }
                from = to;
            }
        }
    }
}

/// A change of a folder that was not synced: where a name points from then on.
type Renamed = (PathBuf, Option<usize>);

/// The files of a folder on a disk that may lose its power.
struct Disk {
    inodes: Vec<Inode>,
    names: BTreeMap<PathBuf, usize>,
    lasting: BTreeMap<PathBuf, usize>,
    pending: Vec<Renamed>,
    open: BTreeMap<i32, Opened>,
}

#[derive(Clone)]
enum Opened {
    File(usize),
    Folder(PathBuf),
}

impl Disk {
    /// With what lay there before.
    fn holding(before: &BTreeMap<PathBuf, Vec<u8>>) -> Self {
        let inodes = before.values().map(|bytes| Inode { lasting: bytes.clone(), pending: Vec::new() });
        let names: BTreeMap<PathBuf, usize> = before.keys().cloned().zip(0..).collect();
        Self {
            inodes: inodes.collect(),
            lasting: names.clone(),
            names,
            pending: Vec::new(),
            open: BTreeMap::new(),
        }
    }

    fn name(&mut self, path: PathBuf, inode: Option<usize>) {
        name(&mut self.names, path.clone(), inode);
        self.pending.push((path, inode));
    }

    fn follow(&mut self, note: &Note) {
        let at = usize::try_from(note.at).expect("a place in a file");
        let open = self.open.get(&note.descriptor).cloned();
        match (note.kind, open) {
            (b'O', _) => self.open(note),
            (b'W', Some(Opened::File(inode))) => {
                self.inodes[inode].pending.push(Change::Write(at, note.bytes.clone()));
            }
            (b'T', Some(Opened::File(inode))) => self.inodes[inode].pending.push(Change::Truncate(at)),
            (b'S', Some(Opened::File(inode))) => self.inodes[inode].sync(),
            (b'S', Some(Opened::Folder(folder))) => {
                let of_folder = |(path, _): &mut Renamed| path.parent() == Some(&folder);
                for (path, inode) in self.pending.extract_if(.., of_folder) {
                    name(&mut self.lasting, path, inode);
                }
            }
            (b'R', _) => {
                let both = String::from_utf8(note.bytes.clone()).expect("paths in UTF-8");
                let (from, to) = both.split_once('\0').expect("two paths");
                let inode = self.names.get(Path::new(from)).copied();
                self.name(to.into(), inode);
                self.name(from.into(), None);
            }
            (b'U', _) => self.name(note.path(), None),
            _ => {}
        }
    }

    fn open(&mut self, note: &Note) {
        let path = note.path();
        if path.is_dir() {
            self.open.insert(note.descriptor, Opened::Folder(path));
            return;
        }
        let inode = self.names.get(&path).copied().unwrap_or_else(|| {
            self.inodes.push(Inode::default());
            self.inodes.len() - 1
        });
        if !self.names.contains_key(&path) {
            self.name(path, Some(inode));
        }
        if note.at == 1 {
            self.inodes[inode].pending.push(Change::Truncate(0));
        }
        self.open.insert(note.descriptor, Opened::File(inode));
    }

    /// Writes what may be left after a cut to another folder.
    fn cut(&self, draw: &mut Draw, from: &Path, to: &Path) {
        let mut names = self.lasting.clone();
        // A journal of a file system keeps the order of names.
        for (path, inode) in self.pending.iter().take(draw.below(self.pending.len() + 1)) {
            name(&mut names, path.clone(), *inode);
        }
        for (path, inode) in names {
            let place = to.join(path.strip_prefix(from).expect("it lies there"));
            fs::create_dir_all(place.parent().expect("a folder")).expect("it is made");
            fs::write(place, self.inodes[inode].after_a_cut(draw)).expect("it is written");
        }
    }
}

fn name(names: &mut BTreeMap<PathBuf, usize>, path: PathBuf, inode: Option<usize>) {
    match inode {
        Some(inode) => names.insert(path, inode),
        None => names.remove(&path),
    };
}

/// What the outside had heard when the power went.
#[derive(Default)]
struct Told {
    half_a_line: String,
    frames: BTreeSet<u32>,
    join_nonce: u32,
    fcnt_down: Option<u32>,
}

impl Told {
    fn follow(&mut self, note: &Note, node: &Enrolled) {
        match note.kind {
            b'A' => {
                self.half_a_line += std::str::from_utf8(&note.bytes).expect("it is text");
                while let Some((line, rest)) = self.half_a_line.split_once('\n') {
                    let told: Value = serde_json::from_str(line).expect("a line of JSON");
                    if ["new", "late"].iter().any(|word| told["verdict"] == *word) {
                        let fcnt = told["fcnt"].as_u64().and_then(|fcnt| fcnt.try_into().ok());
                        assert!(self.frames.insert(fcnt.expect("a counter")), "told twice: {line}");
                    }
                    self.half_a_line = rest.to_owned();
                }
            }
            b'D' if note.bytes.get(3) == Some(&3) => {
                let packet: Value = serde_json::from_slice(&note.bytes[4..]).expect("JSON");
                let bytes = base64::decode(packet["txpk"]["data"].as_str().expect("a text")).expect("base64");
                match frame::parse(&bytes).expect("a frame of ours") {
                    Frame::JoinAccept(accept) => {
                        let nonce = accept.decrypt(&node.key).expect("for this node").join_nonce;
                        let [high, middle, low] = nonce.to_display_bytes();
                        self.join_nonce = u32::from_be_bytes([0, high, middle, low]);
                    }
                    Frame::Data(data) => {
                        self.fcnt_down = self.fcnt_down.max(Some(data.carried_fcnt().into()));
                    }
                    Frame::JoinRequest(_) => panic!("no server asks to join"),
                }
            }
            _ => {}
        }
    }

    #[track_caller]
    fn assert_kept_in(&self, log: &Connection, cut: usize) {
        let mut statement = log
            .prepare(
                "SELECT fcnt, count(*) FROM frame WHERE verdict IN ('new', 'late') GROUP BY session, fcnt",
            )
            .expect("sound SQL");
        let rows = statement.query_map([], |row| Ok((row.get::<_, u32>(0)?, row.get::<_, u32>(1)?)));
        let kept: BTreeMap<u32, u32> =
            rows.expect("it is read").collect::<Result<_, _>>().expect("it is read");
        assert!(kept.values().all(|times| *times == 1), "note {cut}: none is doubled");
        let lost: Vec<&u32> = self.frames.iter().filter(|fcnt| !kept.contains_key(fcnt)).collect();
        assert!(lost.is_empty(), "note {cut}: told and lost: {lost:?}");
        let number =
            |sql: &str| log.query_row(sql, [], |row| row.get::<_, Option<u32>>(0)).expect("sound SQL");
        assert!(
            number("SELECT max(join_nonce) FROM node") >= Some(self.join_nonce),
            "note {cut}: a nonce is back"
        );
        assert!(
            number("SELECT max(last_down) FROM session") >= self.fcnt_down,
            "note {cut}: a counter is back"
        );
        assert!(number("SELECT max(last_up) FROM session") >= self.frames.last().copied(), "note {cut}");
    }
}

/// A node that speaks to a gateway whose clock runs.
struct Speaker {
    begun: Instant,
    session: Option<Session>,
    next: u32,
}

impl Speaker {
    fn clock(&self) -> u32 {
        u32::try_from(self.begun.elapsed().as_micros()).expect("within an hour")
    }

    /// An uplink; every fiftieth asks for an acknowledgement.
    fn say(&self, fcnt: u32, gateway: &Server) {
        let port = Port::new(99).expect("a port");
        let body = Body::Application { port, payload: &[1, 2, 3], options: &[] };
        let (direction, confirmed) = (Direction::Up, fcnt.is_multiple_of(50));
        let draft = Draft { direction, confirmed, control: FrameControl::default(), fcnt, body };
        let bytes = draft.seal(self.session.as_ref().expect("it has joined")).expect("it fits");
        gateway.send(0, &packet(&bytes, self.clock()).to_string());
    }

    /// Speaks until a moment; what was said last may not have been kept, and is said again first.
    fn speak(&mut self, gateway: &Server, until: Instant) {
        (self.next.saturating_sub(20)..self.next).for_each(|fcnt| self.say(fcnt, gateway));
        while Instant::now() < until {
            self.say(self.next, gateway);
            self.say(self.next, gateway);
            self.next += 1;
            std::thread::sleep(Duration::from_millis(1));
        }
    }
}

/// A server at work under the library, and stopped and started in between, so that its files are folded into one.
fn work(folder: &Path, library: &Path, node: &Enrolled, journal: &Path, run_for: Duration) {
    let mut speaker = Speaker { begun: Instant::now(), session: None, next: 0 };
    for last in [false, false, true] {
        let mut command =
            program(folder, &["serve", "larkmoor.toml", "--json", "--passphrase-file", "larkmoor.pass"]);
        let preload = [("LD_PRELOAD", library), ("POWER_JOURNAL", journal), ("POWER_FOLDER", folder)];
        command.envs(preload);
        let mut server = begin(command);
        server.send(2, "");
        server.receive();
        if speaker.session.is_none() {
            server.hear(&node.request(1), speaker.clock());
            speaker.session = Some(node.session(&server.receive(), 1));
        }
        speaker.speak(&server, Instant::now() + run_for);
        // Acknowledgements of the last uplinks leave.
        std::thread::sleep(Duration::from_millis(300));
        if last {
            server.child.kill().expect("it is killed");
            server.child.wait().expect("it ends");
        } else {
            assert_eq!(server.stop("-TERM").0, Some(0));
        }
    }
}

/// Every file of a folder.
fn files(folder: &Path, found: &mut BTreeMap<PathBuf, Vec<u8>>) {
    for entry in fs::read_dir(folder).expect("it is there") {
        let path = entry.expect("it is read").path();
        if path.is_dir() {
            files(&path, found);
        } else {
            let bytes = fs::read(&path).expect("it is read");
            found.insert(path, bytes);
        }
    }
}

/// Moments of the journal: half of them anywhere, half beside a sync, a truncation or a change of names.
fn moments(notes: &[Note], cuts: usize, draw: &mut Draw) -> Vec<usize> {
    let (first, _) = notes.iter().enumerate().find(|(_, note)| note.kind == b'A').expect("it told something");
    let folds = notes.iter().enumerate().skip(first).filter(|(_, note)| b"STRU".contains(&note.kind));
    let folds: Vec<usize> = folds.map(|(place, _)| place).collect();
    let moment = |number: usize| {
        if number.is_multiple_of(2) {
            return first + draw.below(notes.len() - first);
        }
        (folds[draw.below(folds.len())] + draw.below(5)).saturating_sub(2)
    };
    let mut moments: Vec<usize> = (0..cuts).map(moment).collect();
    moments.sort_unstable();
    moments
}

#[test]
fn what_was_told_is_kept_once_whenever_the_power_fails() {
    let cuts = std::env::var("OVERWINTER_CUTS").map_or(CUTS, |text| text.parse().expect("a number"));
    let (built, folder, journal) = (tempfile::tempdir().expect("a folder"), larkmoor(), tempfile::tempdir());
    let Some(library) = library(built.path()) else { return };
    let journal_folder = journal.expect("a folder");
    let journal = journal_folder.path().join("journal");
    let node = enrol(folder.path());
    let mut before = BTreeMap::new();
    files(folder.path(), &mut before);
    work(folder.path(), &library, &node, &journal, Duration::from_secs(2));

    let notes = notes(&journal);
    let (mut disk, mut told) = (Disk::holding(&before), Told::default());
    let mut draw = Draw(seed(0x0b5e_55ed).max(1));
    let (mut followed, mut slowest) = (0, Duration::ZERO);
    for cut in moments(&notes, cuts, &mut draw) {
        for note in &notes[followed..cut] {
            disk.follow(note);
            told.follow(note, &node);
        }
        followed = cut.max(followed);
        let left = tempfile::tempdir().expect("a folder");
        disk.cut(&mut draw, folder.path(), left.path());
        let begun = Instant::now();
        let log = Log::open(&left.path().join("larkmoor.sqlite"))
            .unwrap_or_else(|error| panic!("note {cut}: {error}"));
        slowest = slowest.max(begun.elapsed());
        drop(log);
        let log = Connection::open(left.path().join("larkmoor.sqlite")).expect("it opens");
        let sound: String =
            log.query_row("PRAGMA integrity_check", [], |row| row.get(0)).expect("it is checked");
        assert_eq!(sound, "ok", "note {cut}");
        told.assert_kept_in(&log, cut);
    }
    assert!(told.frames.len() > 1000 && told.fcnt_down.is_some(), "{} told", told.frames.len());
    assert!(slowest < REOPENS_WITHIN, "reopened in {slowest:?}");
    note(&format!(
        "{cuts} power cuts among {} notes, {} frames told by the last of them, slowest opening {slowest:?}",
        notes.len(),
        told.frames.len()
    ));
}
