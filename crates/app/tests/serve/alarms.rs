//! Alarms of a server that runs: opened by a rule of the site file, kept, and told until they are taken.

use std::fs;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Duration;

use logbook::store::{alarms, sqlite};
use serde_json::Value;

use super::valley::{SIMPLE, get, page, post, secret, simple, valley};
use super::{program, serve_in};

const ONE: &str = "02F2A74D52E6B438";
/// By hand, 10 bits of air first: 0110 0000 00 is 384, so -40 °C + 38.4 K = -1.6 °C.
const COLD: &str = "YAgY2jA=";
/// 1010 0000 00 is 640: 24.0 °C.
const WARM: &str = "oAgY2jA=";
const PATIENCE: Duration = Duration::from_secs(40);

/// What was posted: the fields of its head, and its body.
pub(super) type Posted = (Vec<String>, Value);

/// A desk that takes messages: the first is refused with 503, the others are taken.
fn desk() -> (u16, Receiver<Posted>) {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = listener.local_addr().expect("it has one").port();
    let (posted, taken) = channel();
    thread::spawn(move || {
        for (number, stream) in listener.incoming().enumerate() {
            let stream = stream.expect("it is asked");
            let one = read(&stream);
            let status = if number == 0 { "503 Service Unavailable" } else { "204 No Content" };
            write!(&stream, "HTTP/1.1 {status}\r\ncontent-length: 0\r\n\r\n").expect("it listens");
            if posted.send(one).is_err() {
                return;
            }
        }
    });
    (port, taken)
}

pub(super) fn read(stream: &TcpStream) -> Posted {
    let mut reader = BufReader::new(stream);
    let mut head = Vec::new();
    loop {
        let mut line = String::new();
        reader.read_line(&mut line).expect("it is text");
        if line.trim().is_empty() {
            break;
        }
        head.push(line.trim().to_lowercase());
    }
    let length =
        head.iter().find_map(|line| line.strip_prefix("content-length: ")).expect("it says how long");
    let mut body = vec![0; length.parse().expect("a number")];
    reader.read_exact(&mut body).expect("it comes whole");
    (head, serde_json::from_slice(&body).expect("JSON"))
}

pub(super) fn field<'a>(posted: &'a Posted, name: &str) -> &'a str {
    posted.0.iter().find_map(|line| line.strip_prefix(name)?.strip_prefix(": ")).expect(name)
}

#[test]
fn a_frost_is_told_until_it_is_taken_with_the_same_number_and_closes_in_the_warmth() {
    let (port, taken) = desk();
    let more = format!(
        "{SIMPLE}\n[watch.rule.frost]\nfield = \"air\"\nbelow = \"1 Cel\"\nagain_at = \"2 Cel\"\n\
         [tell.desk]\nwebhook = {{ url = \"http://127.0.0.1:{port}/in\", key_file = \"desk.key\" }}\n"
    );
    let folder = valley(&more);
    secret(&folder.path().join("desk.key"), "hoar frost");
    let mut server = serve_in(folder.path(), "site.toml", &[]);
    let at = page(&server);
    assert_eq!(post(at, "/in/simple", &simple(ONE, 1, COLD)).status, 204);
    let first = taken.recv_timeout(PATIENCE).expect("it is told");
    let text = first.1["text"].as_str().expect("a text");
    assert!(text.starts_with("frost: ") && text.contains(" reads -1.6 °C: it is below 1 °C"), "{text}");
    assert_eq!(first.1["alarms"][0]["rule"], "threshold");
    assert_eq!(first.1["alarms"][0]["urgency"], "act now");
    assert!(field(&first, "signature-input").contains("keyid=\"desk\";alg=\"hmac-sha256\""));
    assert!(field(&first, "content-digest").starts_with("sha-256=:"));
    let again = taken.recv_timeout(PATIENCE).expect("it is told again, as it was not taken");
    assert_eq!(field(&first, "idempotency-key"), field(&again, "idempotency-key"));
    assert_eq!(first.1, again.1);
    assert!(get(at, "/metrics").body.contains("overwinter_alarms_open{rule=\"threshold\"} 1"));

    assert_eq!(post(at, "/in/simple", &simple(ONE, 2, WARM)).status, 204);
    let mut told = Vec::new();
    while told.len() < 2 {
        let line = server.next();
        told.extend(line.get("alarm").cloned());
    }
    let states: Vec<&Value> = told.iter().map(|alarm| &alarm["state"]).collect();
    assert_eq!(states, ["open", "closed"]);
    assert!(
        taken.recv_timeout(Duration::from_secs(1)).is_err(),
        "told once, and that it is over is no alarm"
    );
    let (code, words) = server.stop("-TERM");
    assert_eq!(code, Some(0), "{words}");
    assert!(!words.contains("hoar frost"), "the secret is not said");
    let log = sqlite::reader(&folder.path().join("log.sqlite")).expect("it opens");
    assert_eq!(alarms::open_alarms(&log).expect("they are read"), []);
    assert_eq!(alarms::past_alarms(&log, None, 9).expect("they are read").len(), 1);
}

#[test]
fn a_rule_that_no_node_can_keep_is_refused_at_the_start() {
    let folder = valley(SIMPLE);
    let site = folder.path().join("site.toml");
    let text = fs::read_to_string(&site).expect("it is there");
    for (rule, said) in [
        ("field = \"wind\"\nabove = \"8 m/s\"\nagain_at = \"7 m/s\"", "no node sends a field `wind`"),
        ("field = \"air\"\nabove = \"8 %\"\nagain_at = \"7 %\"", "`air` is in Cel, the limit in %"),
        ("field = \"air\"\nnodes = [\"two\"]\nabove = \"8 Cel\"\nagain_at = \"7 Cel\"", "is called `two`"),
    ] {
        fs::write(&site, format!("{text}\n[watch.rule.one]\n{rule}\n")).expect("it is written");
        let done = program(folder.path(), &["serve", "site.toml"]).output().expect("it runs");
        let words = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(2), "{words}");
        assert!(words.contains(said), "{words}");
    }
}
