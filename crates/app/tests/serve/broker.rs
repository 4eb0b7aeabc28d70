//! Messages by a broker: the real one, stopped and started, and two processes that share what comes.
//!
//! The broker is Debian's `mosquitto`; where there is none these tests are skipped, and CI says so.

use std::collections::BTreeSet;
use std::fs;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

use super::trial::{Missing, skipped};
use super::valley::{assert_as_expected, get, messages, page, pointers, rows, simple, valley};
use super::{Server, serve_in};

const PAYLOAD: &str = "YAgY2jA=";
/// Devices of the sample valley.
const DEVICES: [&str; 2] = ["02F2A74D52E6B438", "02D23F08128B2F33"];

/// A broker in a folder of its own.
pub(super) struct Broker {
    child: Child,
    pub(super) address: SocketAddr,
    folder: tempfile::TempDir,
}

impl Broker {
    /// `None` where there is none to run.
    pub(super) fn begin() -> Option<Self> {
        Self::begin_with(|_folder| String::new())
    }

    /// The same, which also listens sealed by a certificate for `localhost` (`broker.pem` of its folder), and at which port.
    fn begin_sealed() -> Option<(Self, u16)> {
        let port =
            TcpListener::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port").port();
        let sealed = |folder: &Path| {
            certificate(folder, "broker");
            let at = folder.display();
            format!("listener {port} 127.0.0.1\ncertfile {at}/broker.pem\nkeyfile {at}/broker.key\n")
        };
        Self::begin_with(sealed).map(|broker| (broker, port))
    }

    fn begin_with(more: impl FnOnce(&Path) -> String) -> Option<Self> {
        let folder = tempfile::tempdir().expect("a folder");
        let address =
            TcpListener::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port");
        let settings = format!(
            "listener {} 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location {}/\n\
             autosave_interval 1\nmax_inflight_messages 1000\nmax_queued_messages 100000\nuser root\n",
            address.port(),
            folder.path().display()
        );
        let settings = settings + &more(folder.path());
        fs::write(folder.path().join("broker.conf"), settings).expect("it is written");
        let Some(child) = run(folder.path()) else {
            skipped(&Missing::Program("mosquitto"));
            return None;
        };
        let broker = Self { child, address, folder };
        broker.wait();
        Some(broker)
    }

    fn wait(&self) {
        let until = Instant::now() + Duration::from_secs(20);
        while TcpStream::connect(self.address).is_err() {
            assert!(Instant::now() < until, "the broker does not listen");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    pub(super) fn stop(&mut self) {
        let number = self.child.id().to_string();
        assert!(Command::new("kill").args(["-TERM", &number]).status().expect("it is asked").success());
        self.child.wait().expect("it ends");
    }

    pub(super) fn again(&mut self) {
        self.child = run(self.folder.path()).expect("it was there before");
        self.wait();
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        let _gone = self.child.kill();
        let _gone = self.child.wait();
    }
}

/// A certificate for `localhost` that vouches for itself, and its key: NAME.pem and NAME.key.
pub(super) fn certificate(folder: &Path, name: &str) {
    let made = rcgen::generate_simple_self_signed(vec!["localhost".to_owned()]).expect("it is made");
    fs::write(folder.join(format!("{name}.pem")), made.cert.pem()).expect("it is written");
    fs::write(folder.join(format!("{name}.key")), made.signing_key.serialize_pem()).expect("it is written");
}

fn run(folder: &Path) -> Option<Child> {
    let names = ["mosquitto", "/usr/sbin/mosquitto"];
    names.iter().find_map(|name| {
        let mut command = Command::new(name);
        command.args(["-c", "broker.conf"]).current_dir(folder).stdout(Stdio::null()).stderr(Stdio::null());
        command.spawn().ok()
    })
}

/// What publishes, or listens, by MQTT 3.1.1: written here so that it shares nothing with the program.
///
/// # References
/// MQTT 3.1.1, clauses 2.2 (fixed header), 3.1 (CONNECT), 3.3 (PUBLISH), 3.4 (PUBACK), 3.8 (SUBSCRIBE).
pub(super) struct Peer(TcpStream);

impl Peer {
    pub(super) fn connect(broker: SocketAddr, name: &str) -> Self {
        let stream = TcpStream::connect(broker).expect("the broker listens");
        stream.set_read_timeout(Some(Duration::from_secs(20))).expect("it can be set");
        let mut peer = Self(stream);
        // Protocol name and level 4, clean session, 60 s.
        peer.send(0x10, &[b"\0\x04MQTT\x04\x02\0\x3c", &text(name)[..]].concat());
        assert_eq!(peer.receive().0, 0x20, "it is welcome");
        peer
    }

    fn send(&mut self, kind: u8, body: &[u8]) {
        let mut bytes = vec![kind];
        let mut length = body.len();
        loop {
            let octet = u8::try_from(length % 128).expect("seven bits");
            length /= 128;
            bytes.push(if length > 0 { octet | 0x80 } else { octet });
            if length == 0 {
                break;
            }
        }
        self.0.write_all(&[&bytes, body].concat()).expect("it is sent");
    }

    fn receive(&mut self) -> (u8, Vec<u8>) {
        let mut octet = || {
            let mut octet = [0];
            self.0.read_exact(&mut octet).expect("something comes");
            octet[0]
        };
        let kind = octet();
        let (mut length, mut shift) = (0_usize, 0);
        loop {
            let next = octet();
            length |= usize::from(next & 0x7f) << shift;
            shift += 7;
            if next & 0x80 == 0 {
                break;
            }
        }
        let mut body = vec![0; length];
        self.0.read_exact(&mut body).expect("the rest comes");
        (kind, body)
    }

    /// Publishes, and waits until the broker has it.
    fn publish(&mut self, topic: &str, message: &[u8]) {
        self.send(0x32, &[&text(topic)[..], &[0, 1], message].concat());
        assert_eq!(self.receive(), (0x40, vec![0, 1]));
    }

    pub(super) fn subscribe(&mut self, filter: &str) {
        self.send(0x82, &[&[0, 1], &text(filter)[..], &[0]].concat());
        assert_eq!(self.receive().0, 0x90);
    }

    /// The next message: topic and text.
    pub(super) fn next(&mut self) -> (String, String) {
        let (kind, body) = self.receive();
        assert_eq!(kind & 0xf0, 0x30, "a message with QoS 0");
        let length = usize::from(u16::from_be_bytes([body[0], body[1]]));
        let word = |octets: &[u8]| String::from_utf8(octets.to_vec()).expect("text");
        (word(&body[2..2 + length]), word(&body[2 + length..]))
    }
}

fn text(text: &str) -> Vec<u8> {
    let length = u16::try_from(text.len()).expect("short");
    [&length.to_be_bytes()[..], text.as_bytes()].concat()
}

fn until_well(server: &Server) {
    let until = Instant::now() + Duration::from_mins(1);
    while get(page(server), "/health").status != 200 {
        assert!(Instant::now() < until, "it is not well: {}", get(page(server), "/health").body);
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn the_sample_messages_come_to_exactly_what_they_must_by_a_broker() {
    let Some(broker) = Broker::begin() else { return };
    let source = |(shape, topic): (&str, &str)| {
        // The traffic counts levels from 0.
        let pointers = pointers(shape).replace("topic:2", "topic:3");
        let address = broker.address;
        format!(
            "\n[source.{shape}]\nmqtt = {{ broker = \"mqtt://{address}\", topics = [\"{topic}\"] }}\n{pointers}"
        )
    };
    let shapes = [("alpha", "fields/#"), ("beta", "plant/#"), ("gamma", "gamma")];
    let more: String = shapes.into_iter().map(source).collect();
    let folder = valley(&more);
    let mut server = serve_in(folder.path(), "site.toml", &[]);
    until_well(&server);
    let mut peer = Peer::connect(broker.address, "upstream");
    let messages = messages();
    for message in &messages {
        peer.publish(&message.topic, message.text.as_bytes());
        // One after the other, so that the order of the three sources is that of the file.
        server.next();
    }
    assert_eq!(server.stop("-TERM").0, Some(0));
    assert_as_expected(&rows(&folder.path().join("log.sqlite")), &messages.iter().collect::<Vec<_>>());
}

fn simple_by(broker: SocketAddr, share: &str) -> String {
    format!(
        "\n[source.simple]\nmqtt = {{ broker = \"mqtt://{broker}\", topics = [\"simple\"]{share} }}\n\
         device = \"/id\"\ncounter = \"/n\"\nport_is = 10\npayload = {{ at = \"/body\", is = \"base64\" }}\n"
    )
}

/// Counters that were kept, each once.
fn counters(folder: &Path) -> BTreeSet<(String, u32)> {
    let rows = rows(&folder.join("log.sqlite"));
    let all: Vec<(String, u32)> = rows
        .into_iter()
        .filter(|row| row.0 == "new" || row.0 == "late")
        .map(|row| (row.1.expect("a device"), row.2.expect("a counter")))
        .collect();
    let once: BTreeSet<_> = all.iter().cloned().collect();
    assert_eq!(all.len(), once.len(), "none is doubled");
    once
}

#[test]
fn nothing_is_lost_or_doubled_when_broker_and_log_are_stopped_and_killed() {
    let Some(mut broker) = Broker::begin() else { return };
    let folder = valley(&simple_by(broker.address, ""));
    let begin = || serve_in(folder.path(), "site.toml", &[]);
    let mut server = begin();
    until_well(&server);
    let mut next = 0..;
    let mut publish = |broker: &Broker, count: usize| {
        let mut peer = Peer::connect(broker.address, "upstream");
        for counter in next.by_ref().take(count) {
            peer.publish("simple", &simple(DEVICES[0], counter, PAYLOAD));
        }
    };
    publish(&broker, 200);
    broker.stop();
    broker.again();
    publish(&broker, 200);
    server.child.kill().expect("it is killed");
    server.child.wait().expect("it is gone");
    // While nobody listens the broker keeps them.
    publish(&broker, 200);
    server = begin();
    until_well(&server);
    publish(&broker, 50);
    let until = Instant::now() + Duration::from_mins(1);
    while counters(folder.path()).len() < 650 && Instant::now() < until {
        std::thread::sleep(Duration::from_millis(200));
    }
    assert_eq!(server.stop("-TERM").0, Some(0));
    let expected: BTreeSet<(String, u32)> =
        (0..650).map(|counter| (DEVICES[0].to_owned(), counter)).collect();
    assert_eq!(counters(folder.path()), expected);
}

#[test]
fn two_processes_share_what_comes_and_readings_go_onward() {
    let Some(broker) = Broker::begin() else { return };
    let onward = format!("\n[onward.town]\nmqtt = {{ broker = \"mqtt://{}\" }}\n", broker.address);
    let share = simple_by(broker.address, ", share = \"valley\"") + &onward;
    let folders = [valley(&share), valley(&share.replace("onward.town", "onward.village"))];
    let servers = folders.each_ref().map(|folder| serve_in(folder.path(), "site.toml", &[]));
    servers.iter().for_each(until_well);
    let mut town = Peer::connect(broker.address, "town");
    town.subscribe("overwinter/+/+/reading");
    let mut peer = Peer::connect(broker.address, "upstream");
    for counter in 0..150 {
        for device in DEVICES {
            peer.publish("simple", &simple(device, counter, PAYLOAD));
        }
    }
    // Two that arrive in the same microsecond have the same time, so that they are counted, not told apart.
    for _ in 0..300 {
        let (topic, body) = town.next();
        assert!(topic.starts_with("overwinter/Sample valley/ho-00"), "{topic}");
        let records: Value = serde_json::from_str(&body).expect("RFC 8428");
        assert!(records[0]["bn"].as_str().is_some_and(|name| name.starts_with("urn:dev:mac:02")), "{body}");
    }
    for server in servers {
        assert_eq!(server.stop("-TERM").0, Some(0));
    }
    let [one, other] = folders.each_ref().map(|folder| counters(folder.path()));
    assert!(!one.is_empty() && !other.is_empty(), "{} and {}", one.len(), other.len());
    assert_eq!(one.intersection(&other).count(), 0, "each comes to one of them");
    assert_eq!(one.len() + other.len(), 300, "none is lost");
}

/// Rows that are kept are handed on by a sealed connection; from any row again under the ids that they had.
#[test]
fn a_sealed_broker_is_heard_and_told_and_told_again_from_a_row() {
    let Some((broker, port)) = Broker::begin_sealed() else { return };
    let sealed = |text: String| {
        let clear = format!("mqtt://{}\"", broker.address);
        text.replace(&clear, &format!("mqtts://localhost:{port}\", ca = \"broker.pem\""))
    };
    let onward = format!("\n[onward.town]\nmqtt = {{ broker = \"mqtt://{}\" }}\n", broker.address);
    let folder = valley(&sealed(simple_by(broker.address, "") + &onward));
    fs::copy(broker.folder.path().join("broker.pem"), folder.path().join("broker.pem"))
        .expect("it is copied");
    let mut town = Peer::connect(broker.address, "town");
    town.subscribe("overwinter/+/+/reading");
    let server = serve_in(folder.path(), "site.toml", &[]);
    until_well(&server);
    let mut peer = Peer::connect(broker.address, "upstream");
    for counter in 0..5 {
        peer.publish("simple", &simple(DEVICES[0], counter, PAYLOAD));
    }
    let first: Vec<String> = (0..5).map(|_| town.next().1).collect();
    assert_eq!(server.stop("-TERM").0, Some(0));
    let server = serve_in(folder.path(), "site.toml", &["--onward-from", "town=3"]);
    let again: Vec<String> = (0..3).map(|_| town.next().1).collect();
    assert_eq!(again, first[2..], "frames 3 to 5");
    assert_eq!(server.stop("-TERM").0, Some(0));
    // A day, and a name that is not there.
    let server = serve_in(folder.path(), "site.toml", &["--onward-from", "town=2026-01-01"]);
    let all: Vec<String> = (0..5).map(|_| town.next().1).collect();
    assert_eq!(all, first);
    assert_eq!(server.stop("-TERM").0, Some(0));
    let refused = super::program(folder.path(), &["serve", "site.toml", "--onward-from", "city=3"]);
    let refused = { refused }.output().expect("it runs");
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("no [onward.city]"));
    // A broker for which another certificate vouches is not believed.
    certificate(folder.path(), "broker");
    let server = serve_in(folder.path(), "site.toml", &[]);
    let until = Instant::now() + Duration::from_secs(20);
    let doubt = || get(page(&server), "/health").body;
    while !doubt().contains("certificate") {
        assert!(Instant::now() < until, "{}", doubt());
        std::thread::sleep(Duration::from_millis(50));
    }
    assert_eq!(server.stop("-TERM").0, Some(0));
}

/// What a server is sealed with by the certificate of this name in a folder.
pub(super) fn seal(folder: &Path, name: &str) -> std::sync::Arc<rustls::ServerConfig> {
    use rustls::pki_types::pem::PemObject as _;
    let file = |ending: &str| folder.join(format!("{name}.{ending}"));
    let chain = rustls::pki_types::CertificateDer::from_pem_file(file("pem")).expect("it is there");
    let key = rustls::pki_types::PrivateKeyDer::from_pem_file(file("key")).expect("it is there");
    let provider = std::sync::Arc::new(rustls::crypto::ring::default_provider());
    let config = rustls::ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .expect("there are some")
        .with_no_client_auth()
        .with_single_cert(vec![chain], key)
        .expect("they belong together");
    std::sync::Arc::new(config)
}

/// A town that takes readings, sealed by the certificate of a folder: what is posted, from its first line on.
fn town(folder: &Path) -> (u16, std::sync::mpsc::Receiver<String>) {
    let config = seal(folder, "town");
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = listener.local_addr().expect("it has one").port();
    let (posted, taken) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let session = rustls::ServerConnection::new(std::sync::Arc::clone(&config)).expect("a session");
            let mut sealed = rustls::StreamOwned::new(session, stream.expect("it is asked"));
            let mut bytes = [0; 4096];
            // One that does not trust the certificate says nothing.
            let Ok(length) = sealed.read(&mut bytes) else { continue };
            let said = String::from_utf8_lossy(&bytes[..length]).into_owned();
            sealed.write_all(b"HTTP/1.1 204 No Content\r\ncontent-length: 0\r\n\r\n").expect("it listens");
            sealed.flush().expect("it listens");
            if posted.send(said).is_err() {
                return;
            }
        }
    });
    (port, taken)
}

#[test]
fn readings_leave_by_a_sealed_server_that_is_vouched_for() {
    let folder = valley(super::valley::SIMPLE);
    certificate(folder.path(), "town");
    let (port, taken) = town(folder.path());
    let site = folder.path().join("site.toml");
    let text = fs::read_to_string(&site).expect("it is there");
    let onward = |ca: &str| {
        format!("{text}\n[onward.town]\nhttp = {{ url = \"https://localhost:{port}/in\", ca = \"{ca}\" }}\n")
    };
    certificate(folder.path(), "stranger");
    fs::write(&site, onward("stranger.pem")).expect("it is written");
    let mut server = serve_in(folder.path(), "site.toml", &[]);
    // Where readings begin is noted once it runs.
    std::thread::sleep(Duration::from_millis(500));
    super::valley::post(page(&server), "/in/simple", &simple(DEVICES[0], 1, PAYLOAD));
    assert_eq!(server.next()["verdict"], "new");
    assert!(taken.recv_timeout(Duration::from_secs(2)).is_err(), "nothing is told to a stranger");
    assert_eq!(server.stop("-TERM").0, Some(0));
    fs::write(&site, onward("town.pem")).expect("it is written");
    let server = serve_in(folder.path(), "site.toml", &[]);
    let said = taken.recv_timeout(Duration::from_secs(20)).expect("it is told");
    assert!(said.starts_with("POST /in HTTP/1.1\r\n"), "{said}");
    assert!(said.to_lowercase().contains("content-type: application/senml+json"), "{said}");
    assert_eq!(server.stop("-TERM").0, Some(0));
}
