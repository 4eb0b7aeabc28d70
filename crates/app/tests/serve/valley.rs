//! The sample valley: ten invented nodes whose messages another network hands on; the traffic was made by another
//! implementation, with what must come of it.

use std::collections::BTreeMap;
use std::fs;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpListener, TcpStream, UdpSocket};
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::time::Duration;

use logbook::store::sqlite;
use serde_json::{Value, json};
use tempfile::TempDir;

use super::{Server, program};

pub(super) const TOKEN: &str = "moor-grass-in-the-rain";

/// A file of the sample traffic.
pub(super) fn text(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../logbook/tests/data/traffic").join(name);
    fs::read_to_string(path).expect("the file is there")
}

pub(super) fn secret(path: &Path, word: &str) {
    fs::write(path, format!("{word}\n")).expect("it is written");
    fs::set_permissions(path, fs::Permissions::from_mode(0o600)).expect("it is ours");
}

const SITE: &str = r#"
schema = 1
name = "Sample valley"
note = "Invented for the tests."
registry = "enrolled"

[serve]
log = "log.sqlite"
passphrase_file = "pass"
page = "PAGE"

[serve.gateways]
udp = "UDP"

[gateway.hut]
eui = "020000FFFE000001"
latitude = "47.0 deg"
longitude = "13.0 deg"
antenna_height = "5 m"
place = "outside"
surroundings = "open"

[ground]
around_nodes = "open"
around_gateways = "open"

[node.one]
kind = "station.toml"
latitude = "46.99 deg"
longitude = "13.00 deg"
"#;

const COLUMNS: &str = r#"columns = [
    { title = "Name", fact = "name" },
    { title = "Device", fact = "dev_eui" },
    { title = "Join", fact = "join_eui" },
    { title = "Key", fact = "app_key" },
]
"#;

/// A folder with the valley and its nodes enrolled; `more` is added to its site file.
pub(super) fn valley(more: &str) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    for name in ["station.toml", "devices.csv"] {
        fs::write(at(name), text(name)).expect("it is written");
    }
    fs::write(at("columns.toml"), COLUMNS).expect("it is written");
    fs::set_permissions(at("devices.csv"), fs::Permissions::from_mode(0o600)).expect("it is ours");
    // Ports that were free a moment ago.
    let udp = UdpSocket::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port");
    let page = TcpListener::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port");
    let site = SITE.replace("UDP", &udp.to_string()).replace("PAGE", &page.to_string());
    fs::write(at("site.toml"), format!("{site}{more}")).expect("it is written");
    secret(&at("pass"), "rain on the moor");
    secret(&at("in.token"), TOKEN);
    let take = ["enrol", "station.toml", "--import", "devices.csv", "--columns", "columns.toml"];
    let rest = ["-o", "enrolled", "--passphrase-file", "pass"];
    let done = program(folder.path(), &[&take[..], &rest].concat()).output().expect("it runs");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    folder
}

/// The pointers that a person would choose, as lines of a site file.
pub(super) fn pointers(shape: &str) -> String {
    let all: Value = serde_json::from_str(&text("pointers.json")).expect("JSON");
    let pointers = &all[shape];
    let line = |key: &str| Some(format!("{key} = \"{}\"", pointers[key].as_str()?));
    let mut lines: Vec<String> =
        ["device", "counter", "port", "rssi", "snr"].into_iter().filter_map(line).collect();
    let form = pointers["time_form"].as_str().expect("a text");
    let form = match form.split(' ').next() {
        Some("RFC") => "RFC 3339",
        Some("milliseconds") => "ms since 1970",
        _ => "s since 1970",
    };
    let payload = pointers["payload"].as_str().expect("a pointer");
    let encoding = pointers["encoding"].as_str().expect("a text");
    let time = pointers["time"].as_str().expect("a pointer");
    lines.push(format!("payload = {{ at = \"{payload}\", is = \"{encoding}\" }}"));
    lines.push(format!("time = {{ at = \"{time}\", is = \"{form}\" }}"));
    lines.join("\n") + "\n"
}

/// A message of the traffic.
pub(super) struct Message {
    pub(super) shape: String,
    pub(super) topic: String,
    pub(super) text: String,
    pub(super) expected: Vec<String>,
    pub(super) whole: Value,
}

pub(super) fn messages() -> Vec<Message> {
    let read = |line: &str| {
        let whole: Value = serde_json::from_str(line).expect("it is JSON");
        let word = |key: &str| whole[key].as_str().expect("a text").to_owned();
        Message {
            shape: word("shape"),
            topic: word("topic"),
            text: word("text"),
            expected: word("expect").split('|').map(str::to_owned).collect(),
            whole,
        }
    };
    text("messages.jsonl").lines().map(read).collect()
}

/// An answer over HTTP.
#[derive(Debug)]
pub(super) struct Answer {
    pub(super) status: u16,
    pub(super) head: String,
    pub(super) body: String,
}

/// Sends a request and reads the answer to its end.
pub(super) fn ask(page: SocketAddr, head: &str, body: &[u8]) -> Answer {
    let mut stream = TcpStream::connect(page).expect("somebody listens");
    stream.set_read_timeout(Some(Duration::from_secs(20))).expect("it can be set");
    let length = body.len();
    let host = if head.contains("Host:") { String::new() } else { format!("Host: {page}\r\n") };
    let head = head.replacen("\r\n", &format!(" HTTP/1.1\r\n{host}"), 1);
    let head = format!("{head}Content-Length: {length}\r\nConnection: close\r\n\r\n");
    stream.write_all(head.as_bytes()).expect("it is sent");
    // A server that has heard enough may answer before the end.
    let _cut = stream.write_all(body);
    let mut answer = Vec::new();
    let _cut = stream.read_to_end(&mut answer);
    let answer = String::from_utf8(answer).expect("it is text");
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or_else(|| panic!("no answer: {answer:?}"));
    let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).expect("a status");
    Answer { status, head: head.to_owned(), body: body.to_owned() }
}

pub(super) fn get(page: SocketAddr, path: &str) -> Answer {
    ask(page, &format!("GET {path}\r\n"), &[])
}

pub(super) fn post(page: SocketAddr, path: &str, body: &[u8]) -> Answer {
    ask(page, &format!("POST {path}\r\nAuthorization: Bearer {TOKEN}\r\n"), body)
}

/// Where the server says that it answers.
pub(super) fn page(server: &Server) -> SocketAddr {
    let line = server.greeting.lines().find_map(|line| line.strip_prefix("Open http://"));
    line.and_then(|line| line.split("/ ").next()).expect("it says where").parse().expect("an address")
}

/// All that was kept: verdict, device, counter, port, time in seconds, values.
pub(super) type Rows = Vec<(String, Option<String>, Option<u32>, Option<u8>, f64, BTreeMap<String, Value>)>;

/// The rows of the log in the order of keeping.
pub(super) fn rows(log: &Path) -> Rows {
    let log = sqlite::reader(log).expect("it opens");
    let all = logbook::store::since::frames(&log, 0, 100_000).expect("it is read");
    all.into_iter()
        .map(|row| {
            let values = row.readings.into_iter().find(|said| !said.rebuilt).map(|said| said.values);
            let values = values.unwrap_or_default().into_iter().collect();
            (row.verdict, row.dev_eui, row.fcnt, row.port, row.at as f64 / 1e6, values)
        })
        .collect()
}

/// Every message that was to be kept is a row with what it says, in order; copies are none.
pub(super) fn assert_as_expected(rows: &Rows, messages: &[&Message]) {
    let names: BTreeMap<String, String> = text("devices.csv")
        .lines()
        .filter_map(|line| {
            let mut cells = line.split(',').map(str::to_owned);
            Some((cells.next()?, cells.next()?))
        })
        .collect();
    let kept: Vec<_> = messages.iter().filter(|message| message.expected != ["copy"]).collect();
    assert_eq!(rows.len(), kept.len());
    for ((verdict, dev_eui, fcnt, port, at, values), message) in rows.iter().zip(kept) {
        let whole = &message.whole;
        assert!(message.expected.contains(verdict), "{verdict}: {}", message.text);
        if verdict != "new" {
            continue;
        }
        let Some(node) = whole["node"].as_str() else {
            assert!(values.is_empty(), "a payload of a wrong length says nothing: {}", message.text);
            continue;
        };
        assert_eq!(dev_eui.as_ref(), names.get(node), "{}", message.text);
        assert_eq!(fcnt.map(Value::from).as_ref(), Some(&whole["fcnt"]));
        assert_eq!(port.map(Value::from).as_ref(), Some(&whole["port"]));
        // The traffic writes milliseconds, cut in the message and rounded in what is expected.
        assert!((at - whole["at"].as_f64().expect("a time")).abs() < 0.001_001, "{at} {}", message.text);
        for (name, expected) in whole["values"].as_object().expect("values") {
            let found = values.get(name).unwrap_or(&Value::Null);
            let close = found.as_f64().zip(expected.as_f64()).map(|(one, other)| (one - other).abs() < 1e-9);
            assert!(close.unwrap_or(found == expected), "{name}: {found} for {expected}");
        }
    }
}

/// A message of the simplest shape.
pub(super) fn simple(device: &str, counter: u32, payload: &str) -> Vec<u8> {
    json!({ "id": device, "n": counter, "body": payload }).to_string().into_bytes()
}

/// A source of the simplest shape, posted to `/in/simple`.
pub(super) const SIMPLE: &str = r#"
[source.simple]
http = { path = "/in/simple", token_file = "in.token" }
device = "/id"
counter = "/n"
port_is = 10
payload = { at = "/body", is = "base64" }
"#;
