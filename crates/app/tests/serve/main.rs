//! `serve` as a person runs it, with gateways that talk to its real port.

#![cfg(unix)]

mod alarms;
mod answered;
#[path = "../../../logbook/tests/apart/mod.rs"]
mod apart;
mod api;
mod bought;
mod broker;
mod demo;
mod ends;
mod killed;
mod live;
mod million;
mod outlet;
mod page;
mod past;
mod people;
mod posted;
mod power;
mod reread;
mod retired;
mod stations;
mod telling;
mod told;
mod track;
#[path = "../../../laws/tests/trial/mod.rs"]
#[expect(dead_code, reason = "one of its parts is used here")]
mod trial;
mod truth;
mod valley;

use std::fs;
use std::io::{BufRead as _, BufReader};
use std::net::{SocketAddr, UdpSocket};
use std::path::Path;
use std::process::{Child, ChildStderr, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

use logbook::base64;
use logbook::keys::{KeyBox, Passphrase};
use serde_json::{Value, json};
use tempfile::TempDir;
use wire::frame::{self, Body, Direction, Draft, Frame, FrameControl, Port};
use wire::identity::{DevEui, DevNonce, JoinEui};
use wire::join::seal_request;
use wire::key::AppKey;
use wire::session::{Session, SessionKeys};

/// The gateway of the packing house.
const GATEWAY: [u8; 8] = [0x02, 0, 0, 0xff, 0xfe, 0, 0, 1];

/// Larkmoor in a folder of its own, with any port in place of the usual one.
fn larkmoor() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/larkmoor");
    fs::create_dir(folder.path().join("terrain")).expect("it is made");
    for name in fs::read_dir(&from)
        .expect("it is there")
        .chain(fs::read_dir(from.join("terrain")).expect("so is this"))
    {
        let path = name.expect("it is read").path();
        if path.is_file() {
            let to = folder.path().join(path.strip_prefix(&from).expect("it lies in there"));
            fs::copy(&path, to).expect("it is copied");
        }
    }
    let site = folder.path().join("larkmoor.toml");
    // A port that was free a moment ago.
    let free = UdpSocket::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port");
    let text = fs::read_to_string(&site).expect("it is there").replace("127.0.0.1:1700", &free.to_string());
    fs::write(&site, text).expect("it is written");
    folder
}

fn program(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_overwinter"));
    command
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// A server, its greeting, and a gateway that talks to it.
struct Server {
    child: Child,
    greeting: String,
    told: BufReader<ChildStdout>,
    complained: BufReader<ChildStderr>,
    gateway: UdpSocket,
}

fn serve(folder: &Path, more: &[&str]) -> Server {
    serve_in(folder, "larkmoor.toml", more)
}

fn serve_in(folder: &Path, site: &str, more: &[&str]) -> Server {
    begin(program(folder, &[&["serve", site, "--json"], more].concat()))
}

fn begin(mut command: Command) -> Server {
    let mut child = command.spawn().expect("it starts");
    let told = BufReader::new(child.stdout.take().expect("it is piped"));
    let mut complained = BufReader::new(child.stderr.take().expect("it is piped"));
    let mut greeting = String::new();
    let port: SocketAddr = loop {
        let mut line = String::new();
        assert!(complained.read_line(&mut line).expect("it is text") > 0, "it ended: {greeting}");
        greeting += &line;
        if let Some(address) = line.strip_prefix("Gateways are heard at ") {
            break address.split_once(' ').expect("more follows").0.parse().expect("an address");
        }
    };
    let gateway = UdpSocket::bind("127.0.0.1:0").expect("a port");
    gateway.set_read_timeout(Some(Duration::from_secs(10))).expect("it can be set");
    gateway.connect(port).expect("an address");
    Server { child, greeting, told, complained, gateway }
}

impl Server {
    fn send(&self, kind: u8, json: &str) {
        let header = [2, 0x12, 0x34, kind];
        let datagram = [&header[..], &GATEWAY, json.as_bytes()].concat();
        self.gateway.send(&datagram).expect("it is sent");
    }

    fn receive(&self) -> Vec<u8> {
        let mut buffer = vec![0; 2048];
        let length = self.gateway.recv(&mut buffer).expect("something comes");
        buffer.truncate(length);
        buffer
    }

    /// Sends a frame and waits for its acknowledgement.
    fn hear(&self, bytes: &[u8], clock_us: u32) {
        self.send(0, &packet(bytes, clock_us).to_string());
        assert_eq!(self.receive(), [2, 0x12, 0x34, 1], "acknowledged at once");
    }

    fn next(&mut self) -> Value {
        let mut line = String::new();
        self.told.read_line(&mut line).expect("it is text");
        serde_json::from_str(&line).expect("a line of JSON")
    }

    /// Asks it to stop; its exit code and last words.
    fn stop(mut self, signal: &str) -> (Option<i32>, String) {
        let asked = Instant::now();
        let number = self.child.id().to_string();
        assert!(Command::new("kill").args([signal, &number]).status().expect("it is asked").success());
        let code = self.child.wait().expect("it ends").code();
        assert!(asked.elapsed() < Duration::from_secs(5), "{:?}", asked.elapsed());
        let words = self.complained.lines().map(|line| line.expect("it is text") + "\n").collect();
        (code, words)
    }
}

/// A frame as the gateway passes it on.
fn packet(bytes: &[u8], clock_us: u32) -> Value {
    json!({ "rxpk": [{
        "tmst": clock_us, "freq": 868.1, "stat": 1, "modu": "LORA", "datr": "SF7BW125", "codr": "4/5",
        "rssi": -97, "lsnr": 7.5, "size": bytes.len(), "data": base64::encode(bytes)
    }] })
}

#[test]
fn with_nobody_enrolled_it_starts_without_a_passphrase_and_says_how_to_enrol() {
    let folder = larkmoor();
    let mut server = serve(folder.path(), &[]);
    assert!(server.greeting.contains("overwinter enrol frost-mast.toml --count 2"), "{}", server.greeting);
    let stranger = Enrolled {
        dev_eui: DevEui::from_display_bytes([2, 1, 1, 1, 1, 1, 1, 1]),
        key: AppKey::from_bytes([7; 16]),
    };
    server.hear(&stranger.request(1), 1_000_000);
    let told = server.next();
    assert_eq!(told["verdict"], "refused:unknown-device");
    assert_eq!(told["gateway"], "packing-house");
    server.send(2, "");
    assert_eq!(server.receive(), [2, 0x12, 0x34, 4], "a sign of life is acknowledged too");
    // What is no datagram of a gateway stops nothing.
    for nonsense in [&b""[..], b"{", &b"[".repeat(3000), &[2, 0, 0, 9, 1, 2, 3, 4, 5, 6, 7, 8]] {
        server.gateway.send(nonsense).expect("it is sent");
    }
    server.hear(&[0x40; 12], 2_000_000);
    assert_eq!(server.next()["verdict"], "refused:foreign");
    let (code, words) = server.stop("-TERM");
    assert_eq!(code, Some(0));
    assert!(words.contains("Stopped: 2 kept, 2 of them refused; 4 datagrams"), "{words}");
}

#[test]
fn a_second_process_on_one_log_is_refused_with_the_number_of_the_first() {
    let folder = larkmoor();
    let server = serve(folder.path(), &[]);
    let second = program(folder.path(), &["serve", "larkmoor.toml"]).output().expect("it runs");
    assert_eq!(second.status.code(), Some(2));
    let words = String::from_utf8(second.stderr).expect("it is text");
    assert!(words.contains(&format!("process {} writes this log already", server.child.id())), "{words}");
    assert_eq!(server.stop("-INT").0, Some(0));
}

/// A node of the frost mast's kind that is enrolled in a folder.
struct Enrolled {
    dev_eui: DevEui,
    key: AppKey,
}

const JOIN_EUI: &str = "0200000000000001";

fn enrol(folder: &Path) -> Enrolled {
    enrol_kind(folder, "frost-mast.toml")
}

/// A node of a kind that is enrolled in a folder.
fn enrol_kind(folder: &Path, kind: &str) -> Enrolled {
    let pass = folder.join("larkmoor.pass");
    fs::write(&pass, "larkmoor in the rain\n").expect("it is written");
    fs::set_permissions(&pass, std::os::unix::fs::PermissionsExt::from_mode(0o600)).expect("it is ours");
    let enrol = ["enrol", kind, "--count", "1", "--local", "--join-eui", JOIN_EUI];
    let rest = ["-o", "enrolled", "--passphrase-file", "larkmoor.pass"];
    let enrolled = program(folder, &[&enrol[..], &rest].concat()).output().expect("it runs");
    assert!(enrolled.status.success(), "{}", String::from_utf8_lossy(&enrolled.stderr));
    let passphrase = Passphrase::from_file(&pass).expect("it is one line");
    let keys = KeyBox::open(&folder.join("enrolled/keys.age"), &passphrase).expect("it opens");
    let (dev_eui, key) = keys.keys().next().expect("one is enrolled");
    Enrolled { dev_eui, key: key.clone() }
}

impl Enrolled {
    fn request(&self, nonce: u16) -> Vec<u8> {
        let join_eui = JoinEui::from_display(JOIN_EUI).expect("an EUI");
        seal_request(&self.key, join_eui, self.dev_eui, DevNonce::from(nonce)).to_vec()
    }

    /// The session that an answer opens, to a request with this nonce.
    fn session(&self, answer: &[u8], nonce: u16) -> Session {
        let packet: Value = serde_json::from_slice(&answer[4..]).expect("JSON");
        let bytes = base64::decode(packet["txpk"]["data"].as_str().expect("a text")).expect("base64");
        self.opened(&bytes, nonce)
    }

    /// The session that a join-accept opens.
    fn opened(&self, bytes: &[u8], nonce: u16) -> Session {
        let Ok(Frame::JoinAccept(accept)) = frame::parse(bytes) else { panic!("a join-accept") };
        let granted = accept.decrypt(&self.key).expect("for this node");
        let nonce = DevNonce::from(nonce);
        let keys = SessionKeys::derive(&self.key, granted.join_nonce, granted.net_id, nonce);
        Session::new(granted.dev_addr, &keys.nwk_s_key, &keys.app_s_key)
    }
}

fn uplink(session: &Session, fcnt: u32) -> Vec<u8> {
    let body = Body::Application { port: Port::new(99).expect("a port"), payload: &[1, 2, 3], options: &[] };
    let control = FrameControl::default();
    let draft = Draft { direction: Direction::Up, confirmed: false, control, fcnt, body };
    draft.seal(session).expect("it fits")
}

/// A node that was enrolled joins, is answered in its window, and what it sends is believed.
#[test]
fn an_enrolled_node_joins_and_is_heard_also_after_a_restart() {
    let folder = larkmoor();
    let node = enrol(folder.path());
    let refused = program(folder.path(), &["serve", "larkmoor.toml"]).output().expect("it runs");
    assert_eq!(refused.status.code(), Some(2), "without a terminal somebody must give the passphrase");
    let mut server = serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    server.send(2, "");
    server.receive();
    server.hear(&node.request(1), 4_294_000_000);
    let told = server.next();
    assert_eq!((told["verdict"].as_str(), told["node"].as_str()), (Some("join"), Some("frost-mast-01")));
    let answer = server.receive();
    assert_eq!(answer[3], 3, "an answer to be sent");
    let packet: Value = serde_json::from_slice(&answer[4..]).expect("JSON");
    let packet = &packet["txpk"];
    // TS001: the first window of a join opens 5 s after the uplink, by the gateway's own clock, which has 32 bits.
    assert_eq!(packet["tmst"], (4_294_000_000_u64 + 5_000_000) % (1 << 32));
    assert_eq!(
        (&packet["freq"], &packet["datr"], &packet["ipol"]),
        (&json!(868.1), &json!("SF7BW125"), &json!(true))
    );
    let session = node.session(&answer, 1);
    server.hear(&uplink(&session, 0), 20_000_000);
    let told = server.next();
    assert_eq!((told["verdict"].as_str(), told["fcnt"].as_u64()), (Some("new"), Some(0)));
    assert!(told["reason"].as_str().is_some_and(|why| why.contains("no message on port 99")), "{told}");
    server.hear(&node.request(1), 25_000_000);
    assert_eq!(server.next()["verdict"], "refused:nonce", "the same gateway heard it at another time");
    assert_eq!(server.stop("-TERM").0, Some(0));

    let mut again = serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    again.hear(&uplink(&session, 1), 30_000_000);
    assert_eq!(again.next()["verdict"], "new", "the session's keys were derived again");
    again.hear(&uplink(&session, 0), 40_000_000);
    assert_eq!(again.next()["verdict"], "copy");
    assert_eq!(again.stop("-INT").0, Some(0));
}

/// An older log that is put back is recognised, and no nonce of the network comes back.
#[test]
fn an_older_log_that_is_put_back_is_recognised() {
    let folder = larkmoor();
    let node = enrol(folder.path());
    let serve = || serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    let join = |server: &mut Server, nonce| {
        server.send(2, "");
        server.receive();
        server.hear(&node.request(nonce), 1_000_000 * u32::from(nonce));
        assert_eq!(server.next()["verdict"], "join");
        let answer = server.receive();
        let packet: Value = serde_json::from_slice(&answer[4..]).expect("JSON");
        let bytes = base64::decode(packet["txpk"]["data"].as_str().expect("a text")).expect("base64");
        let Ok(Frame::JoinAccept(accept)) = frame::parse(&bytes) else { panic!("a join-accept") };
        let [high, middle, low] =
            accept.decrypt(&node.key).expect("for this node").join_nonce.to_display_bytes();
        u32::from_be_bytes([0, high, middle, low])
    };
    let mut server = serve();
    assert_eq!(join(&mut server, 1), 1);
    let copied = program(folder.path(), &["export", "larkmoor.toml", "--log", "copy.sqlite"]).output();
    let copied = copied.expect("it runs");
    assert!(copied.status.success(), "{}", String::from_utf8_lossy(&copied.stderr));
    assert!(
        folder.path().join("copy.keys.age").is_file() && folder.path().join("copy.registry.toml").is_file()
    );
    assert_eq!(join(&mut server, 2), 2);
    assert_eq!(server.stop("-TERM").0, Some(0));
    fs::copy(folder.path().join("copy.sqlite"), folder.path().join("larkmoor.sqlite"))
        .expect("it is put back");
    let mut server = serve();
    assert!(server.greeting.contains("it was put back"), "{}", server.greeting);
    assert!(join(&mut server, 3) > 2, "a nonce of the network never comes back");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

/// A week-old log that is put back has forgotten downlink counters; none of them is used again (logbook: counters).
#[test]
fn no_downlink_counter_comes_back_with_an_older_log() {
    let folder = larkmoor();
    let node = enrol(folder.path());
    let serve =
        |more: &[&str]| serve(folder.path(), &[&["--passphrase-file", "larkmoor.pass"], more].concat());
    // The gateway's clock runs as ours does: one that jumps is asked for nothing.
    let begun = Instant::now();
    let clock = || u32::try_from(begun.elapsed().as_micros()).expect("within an hour");
    // Sends a confirmed uplink; the counter of its acknowledgement.
    let acknowledged = |server: &mut Server, session: &Session, fcnt: u32| {
        let control = FrameControl::default();
        let body = Body::Application { port: Port::new(99).expect("a port"), payload: &[1], options: &[] };
        let draft = Draft { direction: Direction::Up, confirmed: true, control, fcnt, body };
        server.send(2, "");
        server.receive();
        server.hear(&draft.seal(session).expect("it fits"), clock());
        assert_eq!(server.next()["verdict"], "new");
        let answer = server.receive();
        let packet: Value = serde_json::from_slice(&answer[4..]).expect("JSON");
        let bytes = base64::decode(packet["txpk"]["data"].as_str().expect("a text")).expect("base64");
        let Ok(Frame::Data(data)) = frame::parse(&bytes) else { panic!("a data frame") };
        data.carried_fcnt()
    };
    let mut server = serve(&[]);
    server.send(2, "");
    server.receive();
    server.hear(&node.request(1), clock());
    assert_eq!(server.next()["verdict"], "join");
    let session = node.session(&server.receive(), 1);
    assert_eq!(acknowledged(&mut server, &session, 0), 0);
    let copied = program(folder.path(), &["export", "larkmoor.toml", "--log", "copy.sqlite"]).output();
    assert!(copied.expect("it runs").status.success());
    assert_eq!((acknowledged(&mut server, &session, 1), acknowledged(&mut server, &session, 2)), (1, 2));
    assert_eq!(server.stop("-TERM").0, Some(0));
    let put_back = || {
        let [from, to] = ["copy.sqlite", "larkmoor.sqlite"].map(|name| folder.path().join(name));
        fs::copy(from, to).expect("it is put back");
    };
    put_back();
    let mut server = serve(&[]);
    assert!(server.greeting.contains("it was put back"), "{}", server.greeting);
    // The device has sent 1 and 2 already, and the log does not know.
    let recognised = acknowledged(&mut server, &session, 3);
    assert!(recognised > 2, "{recognised}");
    assert_eq!(server.stop("-TERM").0, Some(0));
    // Without the mark a person says so.
    put_back();
    fs::remove_file(folder.path().join("enrolled/log-progress.txt")).expect("it was noted");
    let mut server = serve(&["--restored"]);
    let told = acknowledged(&mut server, &session, 4);
    assert!(told > 2, "{told}");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

/// What was asked of history is done, and a kind that is none is refused in words.
#[test]
fn history_is_read_anew_when_a_person_asks() {
    let folder = larkmoor();
    let none = program(folder.path(), &["serve", "larkmoor.toml", "--decode-again", "heron.toml"]).output();
    let none = none.expect("it runs");
    let words = String::from_utf8(none.stderr).expect("it is text");
    assert_eq!(none.status.code(), Some(2), "{words}");
    assert!(words.contains("no node of the site is of the kind `heron.toml`"), "{words}");
    assert!(words.contains("frost-mast.toml"), "{words}");
    let server = serve(folder.path(), &["--decode-again", "frost-mast.toml", "--since", "2026-01-01"]);
    assert!(server.greeting.contains("Times are"), "{}", server.greeting);
    std::thread::sleep(Duration::from_millis(500));
    let (code, words) = server.stop("-TERM");
    assert_eq!(code, Some(0), "{words}");
    let log = rusqlite::Connection::open(folder.path().join("larkmoor.sqlite")).expect("it opens");
    let deeds: String = log.query_row("SELECT what FROM deed", [], |row| row.get(0)).expect("one deed");
    assert_eq!(deeds, "decoded again: 0 frames, 0 readings before, 0 after, 0 frames unreadable");
}
