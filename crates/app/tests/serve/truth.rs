//! What is learned of a node in `serve`: from its past at the start, kept in the log, shown on its pages, begun anew after a
//! visit that changed a part.

use std::fmt::Write as _;
use std::fs;
use std::net::{SocketAddr, TcpListener, UdpSocket};
use std::path::Path;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use design::message::{Form, Kind};
use logbook::base64;
use logbook::store::sqlite;
use rusqlite::Connection;
use serde_json::{Value, json};
use tempfile::TempDir;
use wire::payload::{Codec, Sample};

use super::valley::{ask, get, page, secret};
use super::{program, serve_in};

/// An invented node whose panel never gave anything; its log is that of a simulator which shares no code with this program
/// (`crates/forecast/tests/data/learn/README.md`).
const CASE: &str = "../forecast/tests/data/learn/p-never-charges";
const SITE: &str = r#"
schema = 1
name = "Meadow"
note = "Invented for the tests."
registry = "enrolled"

[serve]
log = "log.sqlite"
passphrase_file = "pass"
page = "PAGE"

[serve.gateways]
udp = "UDP"

[gateway.hut]
latitude = "48.12 deg"
longitude = "-123.49 deg"
antenna_height = "5 m"
place = "outside"
surroundings = "open"

[ground]
around_nodes = "open"
around_gateways = "open"

[node.post-1]
kind = "node.toml"
latitude = "48.12 deg"
longitude = "-123.5 deg"

[source.old]
csv = { file = "old.csv" }
device = "/device"
counter = "/counter"
port_is = 10
payload = { at = "/body", is = "base64" }
time = { at = "/time", is = "RFC 3339" }
"#;

fn data(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).expect("the file is there")
}

fn design_text() -> String {
    let means = [
        ("kind = \"counter\",", "kind = \"counter\", means = \"charging\","),
        ("panel = {", "panel = { means = \"panel\","),
        ("box_temperature = {", "box_temperature = { means = \"box\","),
        ("{ kind = \"flag\" }", "{ kind = \"flag\", means = \"restarted\" }"),
    ];
    means.into_iter().fold(data(&format!("{CASE}.toml")), |text, (from, to)| text.replacen(from, to, 1))
}

/// The messages of the case as its firmware would make them, the last of them this many seconds ago.
fn past(dev_eui: &str, ago_s: i64) -> String {
    let file = design::file::parse(&design_text());
    let design =
        design::resolve::resolve(&design::catalog::Catalog::builtin(), &file).expect("resolves").design;
    let message = design.messages.iter().find(|message| message.name == "report").expect("it reports");
    let codec = Codec::new(message);
    let log = forecast::learn::log::read(data(&format!("{CASE}.csv")).as_bytes(), 4096).expect("a log");
    let last_s = log.readings.last().expect("it has rows").at_s;
    // By whole days, so that its noons are noons.
    let now_s = logbook::clock::now() / 1_000_000;
    let shift_s = (now_s - ago_s - last_s).div_euclid(86_400) * 86_400;
    let mut text = "device,counter,body,time\n".to_owned();
    for (counter, reading) in log.readings.iter().enumerate() {
        let value = |slot: usize| {
            let field = &message.fields[codec.layout(Form::Full).expect("a layout").slots[slot].field];
            match (field.name.as_str(), &field.kind) {
                ("battery", _) => 1e3 * reading.battery.expect("it tells it").volts(),
                ("panel", _) => 1e3 * reading.panel.expect("it tells it").volts(),
                ("box_temperature", _) => reading.box_air.expect("it tells it").celsius(),
                (_, Kind::Counter { .. }) => f64::from(reading.charging_min.expect("it tells it")),
                _ => f64::from(u8::from(reading.restarted)),
            }
        };
        let slots = codec.layout(Form::Full).expect("a layout").slots.len();
        let samples: Vec<Sample<'_>> =
            (0..slots).map(|slot| codec.sample(Form::Full, slot, value(slot)).expect("it fits")).collect();
        let bytes = codec.encode(Form::Full, &samples).expect("it fits").bytes;
        // A whole minute and a second: so the time is written with its seconds.
        let at_s = (reading.at_s + shift_s).div_euclid(60) * 60 + 1;
        let at = design::date::moment_text(u64::try_from(at_s).expect("after 1970")).expect("a time");
        writeln!(text, "{dev_eui},{counter},{},{at}", base64::encode(&bytes))
            .expect("a string takes any text");
    }
    text
}

/// The site with its node enrolled and its past read.
fn meadow() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    let udp = UdpSocket::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port");
    let page = TcpListener::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port");
    let site = SITE.replace("UDP", &udp.to_string()).replace("PAGE", &page.to_string());
    fs::write(at("site.toml"), site).expect("it is written");
    fs::write(at("node.toml"), design_text()).expect("it is written");
    secret(&at("pass"), "rain on the meadow");
    let enrol =
        ["enrol", "node.toml", "--count", "1", "--local", "--join-eui", super::JOIN_EUI, "--names", "post-#"];
    let run = |arguments: &[&str]| {
        let done = program(folder.path(), arguments).output().expect("it runs");
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    };
    run(&[&enrol[..], &["-o", "enrolled", "--passphrase-file", "pass"]].concat());
    let registry = fs::read_to_string(at("enrolled/registry.toml")).expect("it is there");
    let dev_eui = registry.split("dev_eui = \"").nth(1).and_then(|rest| rest.get(..16)).expect("an identity");
    fs::write(at("old.csv"), past(dev_eui, 3600)).expect("it is written");
    run(&["serve", "site.toml", "--read-past"]);
    folder
}

fn shown(at: SocketAddr, path: &str) -> Value {
    let answer = get(at, path);
    assert_eq!(answer.status, 200, "{path}: {}", answer.body);
    serde_json::from_str(&answer.body).expect("JSON")
}

/// Waits until something was learned of the node, and says what.
fn learned(at: SocketAddr) -> Value {
    let begun = Instant::now();
    loop {
        let learned = shown(at, "/node/post-1?format=json")["page"]["learned"].clone();
        if !learned.is_null() {
            return learned;
        }
        assert!(begun.elapsed() < Duration::from_mins(2), "nothing is learned");
        std::thread::sleep(Duration::from_millis(300));
    }
}

/// The page of the node, once its promise is worked out.
fn promised(at: SocketAddr) -> Value {
    let begun = Instant::now();
    loop {
        let page = shown(at, "/node/post-1?format=json")["page"].clone();
        if !page["promised"].is_null() {
            return page;
        }
        assert!(begun.elapsed() < Duration::from_mins(2), "nothing is promised");
        std::thread::sleep(Duration::from_millis(300));
    }
}

fn count(log: &Connection, sql: &str) -> i64 {
    log.query_row(sql, [], |row| row.get(0)).expect("a number")
}

#[test]
fn a_node_that_never_charges_is_learned_from_its_past_and_anew_after_its_panel_was_changed() {
    let folder = meadow();
    let server = serve_in(folder.path(), "site.toml", &[]);
    let at = page(&server);
    let empty = get(at, "/node/post-1").body;
    assert!(empty.contains("Is it doing what was promised?"), "{empty}");
    let said = learned(at);
    let figures = &said["figures"];
    assert_eq!(figures["verdict"], json!("fails"), "{figures:#}");
    let cause = figures["causes"][0]["cause"].as_str().expect("a cause");
    assert!(["panel_buried", "panel_unplugged", "charger_idle"].contains(&cause), "{cause}");
    // It is named with its part, its date and what to bring; the two thirds of its charge last some weeks.
    let trip = shown(at, "/next-trip?format=json");
    let winter = &trip["page"]["winter"];
    assert_eq!((&winter[0]["at"], &winter[0]["part"]), (&json!("post-1"), &json!("panel")), "{winter:#}");
    assert!(winter[0]["take"].as_array().is_some_and(|take| !take.is_empty()));
    let body = get(at, "/next-trip").body;
    assert!(body.contains("Before the winter: 1 node in danger"), "{body}");
    let node = get(at, "/node/post-1").body;
    for words in ["What explains it", "What was believed, and what is known now", "lay where it was foretold"]
    {
        assert!(node.contains(words), "{words}: {node}");
    }
    // Its battery counts from its first message, some weeks ago.
    let page = promised(at);
    let years = page["promised"]["battery_years"].as_f64().expect("a battery ages");
    let due =
        page["replace_battery_by"].as_str().and_then(|month| month.rsplit(' ').next()?.parse::<f64>().ok());
    let now =
        SystemTime::now().duration_since(UNIX_EPOCH).expect("a clock").as_secs_f64() / 31_557_600.0 + 1970.0;
    assert!(due.is_some_and(|due| (due - now - years).abs() < 1.5), "{due:?} for {now} and {years}");
    // The fifth stroke of the site's row.
    let site = get(at, "/").body;
    assert!(
        site.contains("data-label=\"truth\"") && !site.contains("data-label=\"truth\"><span class=\"quiet\""),
        "{site}"
    );

    let log = sqlite::reader(&folder.path().join("log.sqlite")).expect("it opens");
    // 13 or 14 whole days: the first begins with the first quarter of a day, and the one that runs is not over.
    let days = count(&log, "SELECT count(DISTINCT day) FROM band WHERE quantity = 'foretold_v_3'");
    assert!((12..=14).contains(&days), "{days}");
    assert_eq!(count(&log, "SELECT count(*) FROM swarm"), 1);
    assert_eq!(count(&log, "SELECT count(*) FROM truth"), 1);
    assert_eq!(count(&log, "SELECT count(*) FROM band WHERE quantity = 'charge'"), 1);

    let visit = json!({ "own_id": "visit-0001", "node": "post-1", "what": "new panel", "parts": ["panel"] });
    let form = shown(at, "/api/v1/me")["form"].as_str().expect("a word").to_owned();
    let head = format!("POST /api/v1/visits\r\noverwinter-form: {form}\r\n");
    let noted = ask(at, &head, visit.to_string().as_bytes());
    assert_eq!(noted.status, 200, "{}", noted.body);
    let begun = Instant::now();
    while !shown(at, "/node/post-1?format=json")["page"]["learned"].is_null() {
        assert!(begun.elapsed() < Duration::from_secs(90), "what was learned is of the node of before");
        std::thread::sleep(Duration::from_millis(500));
    }
    assert_eq!(server.stop("-TERM").0, Some(0));
}

/// What was kept is gone on with: nothing is lived again, and the same is said.
#[test]
fn what_was_learned_is_there_after_a_restart() {
    let folder = meadow();
    let first = serve_in(folder.path(), "site.toml", &[]);
    let before = learned(page(&first));
    assert_eq!(first.stop("-TERM").0, Some(0));
    let swarm = |folder: &Path| -> Vec<u8> {
        let log = sqlite::reader(&folder.join("log.sqlite")).expect("it opens");
        log.query_row("SELECT bytes FROM swarm", [], |row| row.get(0)).expect("it is kept")
    };
    let kept = swarm(folder.path());
    let second = serve_in(folder.path(), "site.toml", &[]);
    let after = learned(page(&second));
    assert_eq!((&after["silent"], &after["causes"]), (&before["silent"], &before["causes"]));
    assert_eq!(second.stop("-TERM").0, Some(0));
    assert!(kept == swarm(folder.path()), "nothing was lived again");
}
