//! What a computer in a shed does to a server: a clock that is wrong, a full disk, a folder that can't be written, a log of a
//! newer program, nobody who types the passphrase; and a server of others that fails.

use std::fs::{self, File};
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::{Duration, Instant};

use logbook::store::{since, sqlite};
use serde_json::Value;

use super::trial::note;
use super::valley::{SIMPLE, TOKEN, get, messages, page, post, rows, simple, text, valley};
use super::{Server, begin, program, serve_in};

/// The first device of the sample valley, and a payload of its layout.
const ONE: &str = "02F2A74D52E6B438";
const PAYLOAD: &str = "YAgY2jA=";
const PATIENCE: Duration = Duration::from_secs(30);

#[track_caller]
fn until(what: &str, mut is_so: impl FnMut() -> bool) {
    let end = Instant::now() + PATIENCE;
    while !is_so() {
        assert!(Instant::now() < end, "{what}");
        thread::sleep(Duration::from_millis(50));
    }
}

fn posted(page: SocketAddr, counter: u32) -> u16 {
    post(page, "/in/simple", &simple(ONE, counter, PAYLOAD)).status
}

/// 2090-01-01: 120 years of 365 days and 30 leap days (1972 to 2088), in microseconds.
const YEAR_2090: i64 = (120 * 365 + 30) * 86_400 * 1_000_000;

#[test]
fn a_log_from_the_future_makes_it_wait_until_a_person_says_that_the_clock_is_right() {
    let folder = valley(SIMPLE);
    let log = folder.path().join("log.sqlite");
    let server = serve_in(folder.path(), "site.toml", &[]);
    assert_eq!(posted(page(&server), 1), 204);
    assert_eq!(server.stop("-TERM").0, Some(0));
    let mended = rusqlite::Connection::open(&log).expect("it opens");
    assert_eq!(mended.execute("UPDATE frame SET arrived_at = ?", [YEAR_2090]).expect("sound SQL"), 1);
    drop(mended);

    let mut server = serve_in(folder.path(), "site.toml", &[]);
    let at = page(&server);
    until("the clock can't be believed", || get(at, "/health").status == 503);
    let health = get(at, "/health").body;
    assert!(health.contains("and the log's newest row is of 2090-01-01T00:00Z"), "{health}");
    assert_eq!(posted(at, 2), 204, "what comes is kept and acknowledged");
    assert_eq!(server.next()["clock_unsure"], true);
    let greeting = server.greeting.clone();
    let (code, words) = server.stop("-TERM");
    assert_eq!(code, Some(0));
    let words = greeting + &words;
    assert!(words.contains("Waiting for the right time: the computer's clock shows 20"), "{words}");
    assert!(words.contains("start once with --clock-is-right"), "{words}");

    let mut server = serve_in(folder.path(), "site.toml", &["--clock-is-right"]);
    assert_eq!(posted(page(&server), 3), 204);
    assert_eq!(server.next()["clock_unsure"], false);
    assert_eq!(get(page(&server), "/health").status, 200);
    assert_eq!(server.stop("-TERM").0, Some(0));
    let log = sqlite::reader(&log).expect("it opens");
    let mut marks = log.prepare("SELECT clock_unsure FROM frame ORDER BY id").expect("sound SQL");
    let marks = marks.query_map([], |row| row.get(0)).expect("it is read");
    let marks: Vec<Option<u32>> = marks.collect::<Result<_, _>>().expect("it is read");
    assert_eq!(marks, [None, Some(1), None]);
}

/// The program in a space of mounts of its own, with a small disk made by `mounts` in the folder `disk`; none where the
/// system does not let a person do that.
fn on_a_disk(folder: &Path, mounts: &str) -> Option<Command> {
    let alone = ["--user", "--map-root-user", "--mount"];
    fs::create_dir(folder.join("disk")).expect("it is made");
    let mount = "mount -t tmpfs -o size=8m tmpfs disk";
    let can = Command::new("unshare").args(alone).args(["sh", "-c", mount]).current_dir(folder).output();
    if !can.is_ok_and(|can| can.status.success()) {
        note("skipped: this system makes no mounts for a person (`unshare --user --mount`)");
        return None;
    }
    let site = folder.join("site.toml");
    let text =
        fs::read_to_string(&site).expect("it is there").replace("\"log.sqlite\"", "\"disk/log.sqlite\"");
    fs::write(&site, text).expect("it is written");
    let mut command = Command::new("unshare");
    let script = format!("{mount} && {mounts} && exec \"$@\"");
    command.args(alone).args(["sh", "-c", &script, "sh", env!("CARGO_BIN_EXE_overwinter")]);
    command.args(["serve", "site.toml", "--json"]).current_dir(folder).stdin(Stdio::null());
    command.stdout(Stdio::piped()).stderr(Stdio::piped());
    Some(command)
}

/// A place on the disk that the server alone sees.
fn seen_by(server: &Server, path: &Path) -> PathBuf {
    let root = PathBuf::from(format!("/proc/{}/root", server.child.id()));
    root.join(path.canonicalize().expect("it is there").strip_prefix("/").expect("it is absolute"))
}

#[test]
fn a_full_disk_is_said_nothing_is_acknowledged_and_nothing_is_lost() {
    let folder = valley(SIMPLE);
    let Some(command) = on_a_disk(folder.path(), "true") else { return };
    let server = begin(command);
    let at = page(&server);
    let disk = seen_by(&server, &folder.path().join("disk"));
    assert_eq!(posted(at, 1), 204);
    let mut ballast = File::create(disk.join("ballast")).expect("it is made");
    while ballast.write_all(&[0; 4096]).is_ok() {}
    let waits = thread::spawn(move || posted(at, 2));
    until("the disk is full", || {
        get(at, "/health").body.contains("the log can't be written: the disk is full")
    });
    assert_eq!(get(at, "/health").status, 503);
    assert!(!waits.is_finished(), "nothing is acknowledged before it is kept");
    fs::remove_file(disk.join("ballast")).expect("it is removed");
    drop(ballast);
    assert_eq!(waits.join().expect("it is answered"), 204, "what waited is kept as soon as there is room");
    until("it is well again", || get(at, "/health").status == 200);
    assert_eq!(posted(at, 3), 204);
    // SQLite follows links by name, which leads to another disk: a copy of the quiet log is read.
    for ending in ["", "-wal"] {
        let copy = folder.path().join(format!("copy.sqlite{ending}"));
        fs::copy(disk.join(format!("log.sqlite{ending}")), copy).expect("it is copied");
    }
    let kept = rows(&folder.path().join("copy.sqlite"));
    let counters: Vec<Option<u32>> = kept.iter().map(|row| row.2).collect();
    assert_eq!(counters, [Some(1), Some(2), Some(3)]);
    let (code, words) = server.stop("-TERM");
    assert_eq!(code, Some(0), "{words}");
    assert!(words.contains("The log can't be written now: the disk is full."), "{words}");
    assert!(words.contains("The log is written again; what waited is kept."), "{words}");
}

#[test]
fn a_folder_that_cannot_be_written_is_refused_in_words() {
    let folder = valley(SIMPLE);
    let Some(mut command) = on_a_disk(folder.path(), "mount -o remount,ro disk") else { return };
    let refused = command.output().expect("it runs");
    let words = String::from_utf8(refused.stderr).expect("it is text");
    assert_eq!(refused.status.code(), Some(2), "{words}");
    assert!(words.contains("the log can't be written: read-only file system"), "{words}");
    assert!(words.contains("see whether the folder is there and may be written"), "{words}");
}

#[test]
fn a_log_of_a_newer_program_is_refused_and_untouched() {
    let folder = valley(SIMPLE);
    let log = folder.path().join("log.sqlite");
    let server = serve_in(folder.path(), "site.toml", &[]);
    assert_eq!(posted(page(&server), 1), 204);
    assert_eq!(server.stop("-TERM").0, Some(0));
    let newer = rusqlite::Connection::open(&log).expect("it opens");
    newer.pragma_update(None, "user_version", 99).expect("it is written");
    drop(newer);
    let before = fs::read(&log).expect("it is there");
    let refused = program(folder.path(), &["serve", "site.toml"]).output().expect("it runs");
    let words = String::from_utf8(refused.stderr).expect("it is text");
    assert_eq!(refused.status.code(), Some(2), "{words}");
    assert!(words.contains("a newer overwinter wrote this log (edition 99;"), "{words}");
    assert!(words.contains("use the newer program; this one changes nothing"), "{words}");
    assert!(fs::read(&log).expect("it is there") == before, "untouched");
}

/// A terminal is needed to ask: `script` of the base system gives one.
#[test]
fn while_the_passphrase_is_asked_for_it_says_that_the_key_box_is_shut() {
    let folder = valley(SIMPLE);
    let site = folder.path().join("site.toml");
    let text = fs::read_to_string(&site).expect("it is there").replace("passphrase_file = \"pass\"\n", "");
    let at = text.lines().find_map(|line| line.strip_prefix("page = ")).expect("it has a page");
    let at: SocketAddr = at.trim_matches('"').parse().expect("an address");
    fs::write(&site, &text).expect("it is written");
    let command = format!("exec '{}' serve site.toml", env!("CARGO_BIN_EXE_overwinter"));
    let started = Command::new("script")
        .args(["--quiet", "--return", "--command", &command, "/dev/null"])
        .current_dir(folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn();
    let Ok(mut terminal) = started else {
        note("skipped: there is no `script` to give a terminal");
        return;
    };
    until("it listens", || TcpStream::connect(at).is_ok());
    let health = get(at, "/health");
    assert_eq!(health.status, 503, "{health:?}");
    assert!(health.body.contains("the key box is shut: its passphrase is asked for"), "{}", health.body);
    assert_eq!(posted(at, 1), 503, "it is to be sent again");
    let mut typed = terminal.stdin.take().expect("it is piped");
    // What is typed before the question is thrown away with the line.
    thread::sleep(Duration::from_millis(500));
    typed.write_all(b"rain on the moor\n").expect("it is typed");
    until("the key box is open", || TcpStream::connect(at).is_ok() && get(at, "/health").status == 200);
    assert_eq!(posted(at, 1), 204);
    let children = fs::read_to_string(format!("/proc/{0}/task/{0}/children", terminal.id()));
    let children = children.expect("it has one");
    let child = children.split_whitespace().next().expect("it has one");
    assert!(Command::new("kill").args(["-TERM", child]).status().expect("it is asked").success());
    assert_eq!(terminal.wait().expect("it ends").code(), Some(0));
    assert_eq!(rows(&folder.path().join("log.sqlite")).len(), 1);
}

/// What was posted to a server of others: its head and its body.
type Taken = (String, Value);

/// A server that answers with these statuses, one after the other.
fn others(statuses: &'static [u16]) -> (SocketAddr, Receiver<Taken>) {
    let socket = TcpListener::bind("127.0.0.1:0").expect("a port");
    let at = socket.local_addr().expect("it has one");
    let (tell, told) = channel();
    thread::spawn(move || {
        for status in statuses {
            let (mut stream, _) = socket.accept().expect("somebody comes");
            let mut reader = BufReader::new(stream.try_clone().expect("it is open"));
            let mut head = String::new();
            while !head.ends_with("\r\n\r\n") {
                assert!(reader.read_line(&mut head).expect("it is text") > 0, "it ends: {head}");
            }
            let length = head.to_lowercase();
            let length = length.lines().find_map(|line| line.strip_prefix("content-length: "));
            let mut body = vec![0; length.expect("it is said").parse().expect("a number")];
            reader.read_exact(&mut body).expect("it comes whole");
            write!(stream, "HTTP/1.1 {status} So\r\nContent-Length: 0\r\nConnection: close\r\n\r\n")
                .expect("it is answered");
            // Nobody listens any more once the test has ended.
            let _gone = tell.send((head, serde_json::from_slice(&body).expect("JSON")));
        }
    });
    (at, told)
}

fn field(head: &str, name: &str) -> String {
    let found = head.lines().find_map(|line| {
        let (field, value) = line.split_once(": ")?;
        field.eq_ignore_ascii_case(name).then(|| value.to_owned())
    });
    found.unwrap_or_else(|| panic!("no {name}: {head}"))
}

#[test]
fn readings_are_posted_onward_at_least_once_and_what_is_never_taken_is_left_out() {
    let (town, of_town) = others(&[503, 204, 400, 204]);
    let (city, of_city) = others(&[204, 204, 204]);
    let folder = valley(&format!(
        "{SIMPLE}
[onward.town]
http = {{ url = \"http://{town}/take?from=valley\", token_file = \"in.token\" }}
[onward.city]
http = {{ url = \"http://{city}/\" }}
body = \"template\"
template = \"reading.json\"
"
    ));
    let example =
        r#"{"who": "{node}", "t": "{value:air}", "say": "{dev_eui} says {message}", "late": "{late}"}"#;
    fs::write(folder.path().join("reading.json"), example).expect("it is written");
    let server = serve_in(folder.path(), "site.toml", &[]);
    let at = page(&server);
    let log = folder.path().join("log.sqlite");
    // They begin with what is kept after their first start.
    for key in ["onward:town", "onward:city"] {
        let noted =
            || sqlite::reader(&log).and_then(|log| since::noted(&log, key)).expect("it is read").is_some();
        until(key, noted);
    }
    let take = |told: &Receiver<Taken>| told.recv_timeout(PATIENCE).expect("it comes");
    assert_eq!(posted(at, 1), 204);
    let (first, again) = (take(&of_town), take(&of_town));
    assert!(first.0.starts_with("POST /take?from=valley HTTP/1.1\r\n"), "{}", first.0);
    assert_eq!(field(&first.0, "authorization"), format!("Bearer {TOKEN}"));
    assert_eq!(field(&first.0, "content-type"), "application/senml+json");
    assert_eq!(field(&first.0, "idempotency-key"), field(&again.0, "idempotency-key"), "the id stays");
    assert_eq!(first.1, again.1);
    // What the other implementation says of this payload, and RFC 8428: a record's value is `v`.
    let message = messages().into_iter().find(|message| message.text.contains(PAYLOAD)).expect("it is there");
    let air = &message.whole["values"]["air"];
    let records = first.1.as_array().expect("a list");
    assert!(records.iter().any(|record| &record["v"] == air), "{air}: {records:?}");
    assert_eq!(posted(at, 2), 204);
    let refused = take(&of_town);
    assert_eq!(posted(at, 3), 204);
    let last = take(&of_town);
    let keys = [&first, &refused, &last].map(|taken| field(&taken.0, "idempotency-key"));
    assert!(keys[0] != keys[1] && keys[1] != keys[2], "{keys:?}");
    let names = text("devices.csv");
    let name = names.lines().find_map(|line| line.split_once(',').filter(|cells| cells.1.starts_with(ONE)));
    let (head, body) = take(&of_city);
    assert_eq!(field(&head, "content-type"), "application/json");
    assert_eq!((body["who"].as_str(), &body["t"]), (name.map(|cells| cells.0), air));
    assert_eq!((&body["say"], &body["late"]), (&format!("{ONE} says report").into(), &false.into()));
    let (code, words) = server.stop("-TERM");
    assert_eq!(code, Some(0), "{words}");
    assert!(words.contains(&format!("/take?from=valley does not take reading {} (400", keys[1])), "{words}");
    assert!(!words.contains(TOKEN), "{words}");
}
