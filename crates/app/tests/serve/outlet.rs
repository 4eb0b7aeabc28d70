//! Nodes that another network hears are told the settings of their design by that network.

use std::fs;
use std::io::Write as _;
use std::net::TcpListener;
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::alarms::{Posted, field, read};
use super::broker::{Broker, Peer};
use super::told::{form, post};
use super::valley::{SIMPLE, get, page, secret, simple, valley};
use super::{Server, serve_in};

/// A device of the sample valley, and a payload of its design.
const ONE: &str = "02F2A74D52E6B438";
const PAYLOAD: &str = "YAgY2jA=";
const PATIENCE: Duration = Duration::from_secs(20);

/// A message to the node: 20 min is code 18 of a range that begins with 2, in 11 bits: 00000010 010, and five bits are left.
const SETTINGS: &str = "
[message.settings]
title = \"How often it reports\"
port = 20
direction = \"down\"
field = { report_interval = { unit = \"min\", range = [2, 1440], resolution = 1, sets = \"report\" } }

[regulator.main]
";

/// Another network: the first order is answered by 503, the others by the status.
fn network(status: &'static str) -> (u16, Receiver<Posted>) {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = listener.local_addr().expect("it has one").port();
    let (posted, taken) = channel();
    thread::spawn(move || {
        for (number, stream) in listener.incoming().enumerate() {
            let stream = stream.expect("it is asked");
            let one = read(&stream);
            let status = if number == 0 { "503 Service Unavailable" } else { status };
            write!(&stream, "HTTP/1.1 {status}\r\ncontent-length: 0\r\n\r\n").expect("it listens");
            if posted.send(one).is_err() {
                return;
            }
        }
    });
    (port, taken)
}

fn valley_with(outlet: &str) -> tempfile::TempDir {
    let folder = valley(&format!("{SIMPLE}outlet = {{ {outlet}, template = \"down.json\" }}\n"));
    let design = folder.path().join("station.toml");
    let text = fs::read_to_string(&design).expect("it is there");
    fs::write(&design, text.replacen("[regulator.main]\n", SETTINGS, 1)).expect("it is written");
    let example = r#"{"to": "{dev_eui}", "frames": [{"slot": "{port}", "raw": "{payload}"}], "every": "{value:report_interval}"}"#;
    fs::write(folder.path().join("down.json"), example).expect("it is written");
    secret(&folder.path().join("network.token"), "hush");
    folder
}

fn hear(server: &mut Server, counter: u32) {
    let answer = super::valley::post(page(server), "/in/simple", &simple(ONE, counter, PAYLOAD));
    assert_eq!(answer.status, 204, "{answer:?}");
    assert_eq!(server.next()["verdict"], "new");
}

/// What people call the device.
fn name(server: &Server) -> String {
    let all: Value = serde_json::from_str(&get(page(server), "/api/v1/nodes").body).expect("JSON");
    let nodes = all["nodes"].as_array().expect("a list");
    let one = nodes.iter().find(|node| node["dev_eui"] == ONE).expect("it is enrolled");
    one["name"].as_str().expect("a name").to_owned()
}

fn wants(server: &Server, name: &str) -> (u16, String) {
    let at = page(server);
    let wish = json!({ "nodes": [name], "message": "settings", "values": { "report_interval": 20 } });
    let answer = post(at, "/api/v1/settings", &form(at), &wish);
    (answer.status, answer.body)
}

fn until_state(server: &Server, name: &str, wanted: &str) {
    let until = Instant::now() + PATIENCE;
    loop {
        let body = get(page(server), &format!("/api/v1/settings?node={name}")).body;
        let all: Value = serde_json::from_str(&body).expect("JSON");
        if all["settings"][0]["state"] == wanted {
            return;
        }
        assert!(Instant::now() < until, "{wanted}: {body}");
        thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn another_network_is_asked_once_and_two_uplinks_later_it_is_confirmed() {
    let (port, taken) = network("200 OK");
    let url = format!("http = {{ url = \"http://127.0.0.1:{port}/down\", token_file = \"network.token\" }}");
    let folder = valley_with(&url);
    let mut server = serve_in(folder.path(), "site.toml", &[]);
    let name = name(&server);
    hear(&mut server, 1);
    let (status, said) = wants(&server, &name);
    assert_eq!(status, 200, "{said}");
    let first = taken.recv_timeout(PATIENCE).expect("it is asked");
    let second = taken.recv_timeout(PATIENCE).expect("it is asked again, as it was not taken");
    let expected = json!({ "to": ONE, "frames": [{ "slot": 20, "raw": "AkA=" }], "every": 20 });
    assert_eq!((&first.1, &second.1), (&expected, &expected));
    assert_eq!(field(&first, "idempotency-key"), field(&second, "idempotency-key"), "the same order");
    assert_eq!(field(&second, "authorization"), "bearer hush");
    until_state(&server, &name, "sent");
    // The first uplink may have opened the window in which it was told.
    hear(&mut server, 2);
    until_state(&server, &name, "sent");
    // It is not asked again, not by another process either.
    assert_eq!(server.stop("-TERM").0, Some(0));
    let mut server = serve_in(folder.path(), "site.toml", &[]);
    hear(&mut server, 3);
    until_state(&server, &name, "confirmed");
    assert!(taken.recv_timeout(Duration::from_secs(2)).is_err(), "it is asked once");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

#[test]
fn what_another_network_never_takes_is_not_confirmed() {
    let (port, taken) = network("422 Unprocessable Content");
    let folder = valley_with(&format!("http = {{ url = \"http://127.0.0.1:{port}/down\" }}"));
    let mut server = serve_in(folder.path(), "site.toml", &[]);
    let name = name(&server);
    hear(&mut server, 1);
    assert_eq!(wants(&server, &name).0, 200);
    for _ in 0..2 {
        taken.recv_timeout(PATIENCE).expect("it is asked");
    }
    until_state(&server, &name, "not confirmed");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

#[test]
fn an_order_leaves_by_a_broker_under_the_topic_of_its_node() {
    let Some(broker) = Broker::begin() else { return };
    let mqtt = format!("mqtt = {{ broker = \"mqtt://{}\", topic = \"down/{{dev_eui}}\" }}", broker.address);
    let folder = valley_with(&mqtt);
    let mut network = Peer::connect(broker.address, "network");
    network.subscribe("down/#");
    let mut server = serve_in(folder.path(), "site.toml", &[]);
    let name = name(&server);
    hear(&mut server, 1);
    assert_eq!(wants(&server, &name).0, 200);
    let (topic, body) = network.next();
    assert_eq!(topic, format!("down/{ONE}"));
    assert_eq!(serde_json::from_str::<Value>(&body).expect("JSON")["frames"][0]["raw"], "AkA=");
    until_state(&server, &name, "sent");
    assert_eq!(server.stop("-TERM").0, Some(0));
}
