//! Gateways on a websocket: as they connect, with the words they show, and beside one that sends datagrams.
//!
//! What speaks here is written by the standard and shares nothing with the program but the sealing of its connection.
//!
//! # References
//! RFC 6455, The WebSocket Protocol: sections 1.3 (the key and its answer), 4.1 (handshake), 5.2 (frames), 5.5 (close, ping).

use std::fs;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use rusqlite::Connection;
use serde_json::{Value, json};
use tempfile::TempDir;
use wire::frame::{Body, Direction, Draft, Frame, FrameControl, Port};
use wire::session::Session;

use super::apart::apart;
use super::told::trusting;
use super::valley::get;
use super::{Enrolled, Server, enrol, larkmoor, program, serve};

/// The gateway of the chapel, which connects; that of the packing house sends datagrams.
const CHAPEL: &str = "020000FFFE000002";
const CHAPEL_LINES: &str = r#"
[gateway.chapel]
eui = "020000FFFE000002"
latitude = "47.02 deg"
longitude = "13.03 deg"
antenna_height = "9 m"
place = "outside"
surroundings = "open"
"#;
/// Beyond what a double holds; counts microseconds in its lower bits.
const XTIME: i64 = 0x0123_4567_0000_0000;

/// Larkmoor with a second gateway and an address for websockets; `more` stands in `[serve]`.
fn site(listen: &str, more: &str) -> (TempDir, u16) {
    let folder = larkmoor();
    let port =
        TcpListener::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port").port();
    let file = folder.path().join("larkmoor.toml");
    let text = fs::read_to_string(&file).expect("it is there");
    let text = text
        .replace("[serve.gateways]\n", &format!("[serve.gateways]\nwebsocket = \"{listen}:{port}\"\n"))
        .replace("[serve]\n", &format!("[serve]\n{more}"));
    fs::write(&file, text + CHAPEL_LINES).expect("it is written");
    (folder, port)
}

trait Line: Read + Write {}
impl<T: Read + Write> Line for T {}

/// A connection as a gateway keeps it.
struct Socket(Box<dyn Line>);

const TEXT: u8 = 1;
const BINARY: u8 = 2;
const CLOSE: u8 = 8;
const PING: u8 = 9;
const PONG: u8 = 10;

impl Socket {
    /// Asks for a websocket: the connection, or the status and words of the refusal.
    fn ask(mut line: Box<dyn Line>, path: &str, fields: &str) -> Result<Self, String> {
        let head = format!(
            "GET {path} HTTP/1.1\r\nHost: moor.example:8752\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\
             Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n{fields}\r\n"
        );
        line.write_all(head.as_bytes()).expect("it is sent");
        let mut answer = Vec::new();
        while !answer.ends_with(b"\r\n\r\n") {
            let mut octet = [0];
            line.read_exact(&mut octet).expect("an answer");
            answer.extend(octet);
        }
        let mut head = String::from_utf8(answer).expect("it is text");
        if head.starts_with("HTTP/1.1 101") {
            let head = head.to_lowercase();
            // The example of section 1.3.
            assert!(head.contains("sec-websocket-accept: s3pplmbitxaq9kygzzhzrbk+xoo="), "{head}");
            return Ok(Self(line));
        }
        let length =
            head.to_lowercase().lines().find_map(|line| line.strip_prefix("content-length: ")?.parse().ok());
        let mut body = vec![0; length.unwrap_or_default()];
        line.read_exact(&mut body).expect("the words");
        head += &String::from_utf8_lossy(&body);
        Err(head)
    }

    fn send(&mut self, kind: u8, body: &[u8]) {
        let mut bytes = vec![0x80 | kind];
        match u8::try_from(body.len()) {
            Ok(short) if short < 126 => bytes.push(0x80 | short),
            _ => {
                bytes.push(0xfe);
                bytes.extend(u16::try_from(body.len()).expect("below 64 kB").to_be_bytes());
            }
        }
        let mask = [0x37, 0xfa, 0x21, 0x3d];
        bytes.extend(mask);
        bytes.extend(body.iter().zip(mask.iter().cycle()).map(|(octet, mask)| octet ^ mask));
        self.0.write_all(&bytes).expect("it is sent");
    }

    fn say(&mut self, text: &str) {
        self.send(TEXT, text.as_bytes());
    }

    /// Kind and body of the next frame.
    fn receive(&mut self) -> std::io::Result<(u8, Vec<u8>)> {
        let mut octets = |count: usize| {
            let mut bytes = vec![0; count];
            self.0.read_exact(&mut bytes).map(|()| bytes)
        };
        let head = octets(2)?;
        let length = match head[1] {
            126 => octets(2)?.iter().fold(0, |length, octet| length << 8 | usize::from(*octet)),
            short => usize::from(short),
        };
        Ok((head[0] & 15, octets(length)?))
    }

    /// The next text, as JSON; pings are answered.
    fn hear(&mut self) -> Value {
        loop {
            match self.receive().expect("something comes") {
                (TEXT, body) => return serde_json::from_slice(&body).expect("JSON"),
                (PING, body) => self.send(PONG, &body),
                (kind, body) => panic!("{kind}: {body:?}"),
            }
        }
    }

    fn is_closed(&mut self) -> bool {
        loop {
            match self.receive() {
                Err(_) | Ok((CLOSE, _)) => return true,
                Ok((TEXT | BINARY, _)) => return false,
                Ok(_) => {}
            }
        }
    }
}

fn plain(port: u16) -> Box<dyn Line> {
    let stream = TcpStream::connect(("127.0.0.1", port)).expect("somebody listens");
    stream.set_read_timeout(Some(Duration::from_secs(20))).expect("it can be set");
    Box::new(stream)
}

/// A gateway that has connected and said what it is; the channels that it was told.
fn connected(line: Box<dyn Line>, fields: &str) -> (Socket, Value) {
    let mut socket = Socket::ask(line, &format!("/gateway/{CHAPEL}"), fields).expect("it may");
    socket.say(r#"{"msgtype":"version","station":"2.0.6","firmware":null,"package":null,"model":"board","protocol":2}"#);
    let config = socket.hear();
    (socket, config)
}

/// A frame as the chapel hears it: 2 dB better or worse than the packing house.
fn heard(frame: &[u8], clock_us: u32, snr_db: f64) -> String {
    let mut parts = apart(frame, 5, XTIME | i64::from(clock_us));
    parts["Freq"] = json!(868_100_000);
    parts["upinfo"]["snr"] = json!(snr_db);
    parts.to_string()
}

/// A join, answers by whichever gateway hears the node better, the time, and what is kept of it.
#[test]
fn a_node_is_heard_by_gateways_of_both_kinds_and_answered_by_the_better_one() {
    let (folder, port) = site("127.0.0.1", "");
    let node = enrol(folder.path());
    let mut server = serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    server.send(2, "");
    server.receive();
    let mut question = Socket::ask(plain(port), "/router-info", "").expect("it may");
    question.say(r#"{"router":"200:ff:fe00:2"}"#);
    let answer = question.hear();
    assert_eq!(answer["uri"], format!("ws://moor.example:8752/gateway/{CHAPEL}"));
    let (mut chapel, config) = connected(plain(port), "");
    assert_eq!((&config["msgtype"], &config["region"]), (&json!("router_config"), &json!("EU863")));
    // RP002-1.0.5, table 5: 16 dBm EIRP.
    assert_eq!(config["max_eirp"], 16.0);
    let join_eui = u64::from_str_radix(super::JOIN_EUI, 16).expect("hex");
    assert_eq!(config["JoinEui"], json!([[join_eui, join_eui]]));

    let asked = Instant::now();
    let clock_us = clock(asked);
    chapel.say(&heard(&node.request(1), clock_us, 9.5));
    assert_eq!(server.next()["verdict"], "join");
    let accept = chapel.hear();
    // The first window of a join opens 5 s after the uplink (TS001); the gateway is asked in time.
    assert!(asked.elapsed() < Duration::from_millis(4800), "{:?}", asked.elapsed());
    assert_eq!((&accept["msgtype"], &accept["RxDelay"]), (&json!("dnmsg"), &json!(5)));
    assert_eq!((&accept["RX1DR"], &accept["RX1Freq"]), (&json!(5), &json!(868_100_000)));
    assert_eq!(accept["xtime"], XTIME | i64::from(clock_us));
    let session = node.opened(&bytes(&accept), 1);
    chapel
        .say(&json!({ "msgtype": "dntxed", "diid": accept["diid"], "rctx": 3, "xtime": XTIME }).to_string());

    both_hear(&mut server, &mut chapel, &session, asked);
    the_time_is_told(&mut chapel);
    let log = Connection::open(folder.path().join("larkmoor.sqlite")).expect("it opens");
    let outcome = |why: &str| -> Option<String> {
        let sql = "SELECT outcome FROM downlink WHERE why = ? ORDER BY id LIMIT 1";
        log.query_row(sql, [why], |row| row.get(0)).expect("a row")
    };
    assert_eq!(outcome("join").as_deref(), Some("sent"));
    let said: String =
        log.query_row("SELECT extra FROM gateway_report", [], |row| row.get(0)).expect("a report");
    assert!(said.contains("2.0.6"), "{said}");
    // A newer connection of the same gateway takes the place of the older one.
    let (_newer, _) = connected(plain(port), "");
    assert!(chapel.is_closed());
    assert_eq!(server.stop("-TERM").0, Some(0), "also while a gateway is connected");
}

/// The gateways' clocks run as ours does: one that jumps is asked for nothing.
fn clock(begun: Instant) -> u32 {
    1_000_000 + u32::try_from(begun.elapsed().as_micros()).expect("within an hour")
}

fn bytes(downlink: &Value) -> Vec<u8> {
    let hex = downlink["pdu"].as_str().expect("a text");
    (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).expect("hex")).collect()
}

fn confirmed(session: &Session, fcnt: u32) -> Vec<u8> {
    let body = Body::Application { port: Port::new(99).expect("a port"), payload: &[1, 2, 3], options: &[] };
    let control = FrameControl::default();
    let draft = Draft { direction: Direction::Up, confirmed: true, control, fcnt, body };
    draft.seal(session).expect("it fits")
}

/// Two copies are one uplink; who hears it better acknowledges it in the window.
fn both_hear(server: &mut Server, chapel: &mut Socket, session: &Session, begun: Instant) {
    for (fcnt, snr_db) in [(0, 9.5), (1, 5.5)] {
        let clock_us = clock(begun);
        let frame = confirmed(session, fcnt);
        let asked = Instant::now();
        chapel.say(&heard(&frame, clock_us, snr_db));
        server.hear(&frame, clock_us);
        let told = [server.next(), server.next()];
        assert_eq!((&told[0]["verdict"], &told[1]["verdict"]), (&json!("new"), &json!("copy")), "{told:?}");
        let by: Vec<&Value> = told.iter().map(|told| &told["gateway"]).collect();
        assert!(by.contains(&&json!("chapel")) && by.contains(&&json!("packing-house")), "{by:?}");
        let answer = if fcnt == 0 {
            let answer = chapel.hear();
            assert_eq!((&answer["RxDelay"], &answer["RX1DR"]), (&json!(1), &json!(5)));
            bytes(&answer)
        } else {
            let answer = server.receive();
            assert_eq!(answer[3], 3, "by datagram");
            let packet: Value = serde_json::from_slice(&answer[4..]).expect("JSON");
            logbook::base64::decode(packet["txpk"]["data"].as_str().expect("a text")).expect("base64")
        };
        assert!(asked.elapsed() < Duration::from_millis(800), "{:?}", asked.elapsed());
        let Ok(Frame::Data(data)) = wire::frame::parse(&answer) else { panic!("a data frame") };
        assert!(data.control().ack());
    }
}

/// The satellites' time: since 1980-01-06, ahead of UTC by 18 s.
fn the_time_is_told(chapel: &mut Socket) {
    chapel.say(r#"{"msgtype":"timesync","txtime":123456.5}"#);
    let time = chapel.hear();
    assert_eq!((&time["msgtype"], &time["txtime"]), (&json!("timesync"), &json!(123_456.5)));
    let unix = SystemTime::now().duration_since(UNIX_EPOCH).expect("it is later").as_secs_f64();
    let gps = time["gpstime"].as_i64().expect("a whole number") as f64 / 1e6;
    assert!((gps - (unix - 315_964_800.0 + 18.0)).abs() < 5.0, "{time}");
}

/// What is none of the protocol is counted, and stops nothing.
#[test]
fn what_a_gateway_can_not_say_stops_nothing() {
    let page = TcpListener::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port");
    let (folder, port) = site("127.0.0.1", &format!("page = \"{page}\"\n"));
    let mut server = serve(folder.path(), &[]);
    let (mut chapel, _) = connected(plain(port), "");
    let stranger = Enrolled {
        dev_eui: wire::identity::DevEui::from_display_bytes([2, 1, 1, 1, 1, 1, 1, 1]),
        key: wire::key::AppKey::from_bytes([7; 16]),
    };
    let sound = heard(&stranger.request(1), 1_000_000, 5.0);
    for wrong in [
        "[".repeat(3000),
        "{\"msgtype\":\"updf\"}".to_owned(),
        sound.replace("7.5", "1e400").replace("5.0", "1e400"),
        sound.replace("\"DR\":5", "\"DR\":99"),
        sound.replace("\"MIC\":", "\"MIC\":99999999999999999999"),
        r#"{"msgtype":"timesync","txtime":1e400}"#.to_owned(),
        String::new(),
    ] {
        chapel.say(&wrong);
    }
    chapel.send(BINARY, &[0; 9]);
    // An answer that it was never asked for.
    chapel.say(r#"{"msgtype":"dntxed","diid":1}"#);
    chapel.say(&sound);
    let told = server.next();
    assert_eq!((&told["verdict"], &told["gateway"]), (&json!("refused:unknown-device"), &json!("chapel")));
    let metrics = get(page, "/metrics").body;
    assert!(metrics.contains("overwinter_gateway_texts_unreadable_total 8"), "{metrics}");
    // Longer than any text of the protocol: the connection ends, and a new one is taken.
    chapel.say(&" ".repeat(40_000));
    assert!(chapel.is_closed());
    let (mut chapel, _) = connected(plain(port), "");
    chapel.say(&heard(&stranger.request(2), 2_000_000, 5.0));
    assert_eq!(server.next()["verdict"], "refused:unknown-device");
    // A gateway that is not in the site file is refused, and shown with the lines to copy.
    let refused = Socket::ask(plain(port), "/gateway/020000FFFE000009", "").err().expect("it may not");
    assert!(refused.starts_with("HTTP/1.1 403") && refused.contains("not in the site file"), "{refused}");
    let mut question = Socket::ask(plain(port), "/router-info", "").expect("anybody may ask");
    question.say(r#"{"router":"2-0-0-ff-fe-0-0-9"}"#);
    let _closed = question.receive();
    // It is shown once it is kept.
    let until = Instant::now() + Duration::from_secs(20);
    let mut shown = get(page, "/gateways").body;
    while !shown.contains("020000FFFE000009 knocks") && Instant::now() < until {
        std::thread::sleep(Duration::from_millis(50));
        shown = get(page, "/gateways").body;
    }
    assert!(shown.contains("eui = &quot;020000FFFE000009&quot;"), "{shown}");
    assert!(shown.contains("2.0.6"), "its software, as it tells: {shown}");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

fn word(folder: &Path, name: &str) -> String {
    let made = program(folder, &["people", "larkmoor.toml", "gateway", name]).output().expect("it runs");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let line = String::from_utf8(made.stdout).expect("it is text");
    format!("{}\r\n", line.trim())
}

/// Beyond this machine a gateway is known by its word alone, and what is said is sealed.
#[test]
fn beyond_this_machine_a_gateway_shows_its_word_over_tls() {
    let page = TcpListener::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port");
    let sealed = format!("page = \"{page}\"\ncertificate = \"page.pem\"\nkey = \"page.key\"\n");
    let (folder, port) = site("0.0.0.0", &sealed);
    let mut server = serve(folder.path(), &["--certificate-here"]);
    let at: SocketAddr = ([127, 0, 0, 1], port).into();
    let pem = fs::read(folder.path().join("page.pem")).expect("it is made");
    let line = || -> Box<dyn Line> { Box::new(trusting(at, &pem)) };
    let path = format!("/gateway/{CHAPEL}");
    let refused = |fields: &str| Socket::ask(line(), &path, fields).err().expect("it may not");
    assert!(refused("").contains("no word was made for gateway"), "{}", refused(""));
    let other = word(folder.path(), "packing-house");
    let own = word(folder.path(), "chapel");
    for wrong in ["", &other, "Authorization: Bearer\r\n", "Authorization: Bearer 00\r\n"] {
        let refused = refused(wrong);
        assert!(refused.starts_with("HTTP/1.1 401") && refused.contains("wrong word"), "{wrong}: {refused}");
    }
    let mut question = Socket::ask(line(), "/router-info", &own).expect("anybody may ask");
    question.say(&format!("{{\"router\":\"{CHAPEL}\"}}"));
    assert_eq!(question.hear()["uri"], format!("wss://moor.example:8752{path}"));
    let mut question = Socket::ask(line(), "/router-info", &other).expect("anybody may ask");
    question.say(&format!("{{\"router\":\"{CHAPEL}\"}}"));
    assert!(question.hear()["error"].as_str().is_some_and(|why| why.contains("wrong word")));
    let (mut chapel, _) = connected(line(), &own);
    let stranger = Enrolled {
        dev_eui: wire::identity::DevEui::from_display_bytes([2, 1, 1, 1, 1, 1, 1, 1]),
        key: wire::key::AppKey::from_bytes([7; 16]),
    };
    chapel.say(&heard(&stranger.request(1), 1_000_000, 5.0));
    assert_eq!(server.next()["gateway"], "chapel");
    // A new word holds at once, and the old one no longer; none is kept.
    let newer = word(folder.path(), "chapel");
    assert!(refused(&own).contains("wrong word"));
    drop(connected(line(), &newer));
    let taken = ["people", "larkmoor.toml", "gateway", "chapel", "--remove"];
    assert!(program(folder.path(), &taken).output().expect("it runs").status.success());
    assert!(refused(&newer).contains("no word was made"));
    assert_eq!(server.stop("-TERM").0, Some(0));
    for name in fs::read_dir(folder.path()).expect("it is there") {
        let path = name.expect("it is read").path();
        let Ok(kept) = fs::read(&path) else { continue };
        for word in [&other, &own, &newer] {
            let word = word.trim().trim_start_matches("Authorization: Bearer ").as_bytes();
            assert!(!kept.windows(word.len()).any(|part| part == word), "a word in {}", path.display());
        }
    }
}

/// In the clear beyond this machine the site file is refused.
#[test]
fn a_websocket_in_the_clear_is_refused_beyond_this_machine() {
    let (folder, _) = site("0.0.0.0", "");
    let refused = program(folder.path(), &["serve", "larkmoor.toml"]).output().expect("it runs");
    let words = String::from_utf8(refused.stderr).expect("it is text");
    assert_eq!(refused.status.code(), Some(2), "{words}");
    assert!(words.contains("in the clear beyond this machine") && words.contains("certificate"), "{words}");
}
