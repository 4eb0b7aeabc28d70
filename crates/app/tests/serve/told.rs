//! What people tell nodes, and what they say to alarms.

use std::fs;
use std::net::{SocketAddr, TcpListener};
use std::path::Path;
use std::time::Duration;

use logbook::base64;
use rusqlite::Connection;
use serde_json::{Value, json};
use tempfile::TempDir;
use wire::frame::{self, Body, Content, Direction, Draft, Frame, FrameControl, Port};
use wire::session::Session;

use super::people::{add, cookie, field, form_word, token};
use super::valley::{Answer, ask, get, page, secret};
use super::{Enrolled, Server, enrol, larkmoor, serve};

/// Larkmoor with a page, one mast enrolled and joined.
fn joined() -> (TempDir, Enrolled, Server, SocketAddr, Session) {
    let folder = larkmoor();
    let free = TcpListener::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port");
    let site = folder.path().join("larkmoor.toml");
    let text = fs::read_to_string(&site).expect("it is there");
    fs::write(&site, text.replace("[serve]\n", &format!("[serve]\npage = \"{free}\"\n")))
        .expect("it is written");
    let node = enrol(folder.path());
    let mut server = serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    let at = page(&server);
    server.send(2, "");
    server.receive();
    server.hear(&node.request(1), 1_000_000);
    assert_eq!(server.next()["verdict"], "join");
    let session = node.session(&server.receive(), 1);
    (folder, node, server, at, session)
}

fn uplink(session: &Session, fcnt: u32, control: FrameControl) -> Vec<u8> {
    let body = Body::Application { port: Port::new(99).expect("a port"), payload: &[1], options: &[] };
    let draft = Draft { direction: Direction::Up, confirmed: false, control, fcnt, body };
    draft.seal(session).expect("it fits")
}

pub(super) fn form(at: SocketAddr) -> String {
    let me: Value = serde_json::from_str(&get(at, "/api/v1/me").body).expect("JSON");
    assert_eq!((&me["name"], &me["may"]), (&json!("this machine"), &json!("act")));
    me["form"].as_str().expect("a word").to_owned()
}

pub(super) fn post(at: SocketAddr, path: &str, form: &str, body: &Value) -> Answer {
    ask(at, &format!("POST {path}\r\noverwinter-form: {form}\r\n"), body.to_string().as_bytes())
}

fn state(at: SocketAddr) -> Value {
    let all: Value =
        serde_json::from_str(&get(at, "/api/v1/settings?node=frost-mast-01").body).expect("JSON");
    all["settings"][0]["state"].clone()
}

/// The settings of the mast by hand: 15 min is code 13 of a range that begins with 2, in 11 bits; two absent fields of 6 bits
/// are ones, and one bit is left: 00000001 10111111 11111110.
#[test]
fn a_setting_waits_for_an_uplink_is_sent_and_confirmed_also_over_a_restart() {
    let (folder, _node, server, at, session) = joined();
    let word = form(at);
    let wish = |value: Value| json!({ "nodes": ["frost-mast-01"], "message": "settings", "values": { "report_interval": value } });
    for (body, status, words) in [
        (wish(json!(1)), 422, "`report_interval` is a number from 2 to 1440 min"),
        (wish(json!(1441)), 422, "from 2 to 1440"),
        (wish(json!("soon")), 422, "from 2 to 1440"),
        (
            json!({ "nodes": ["frost-mast-01"], "message": "settings", "values": {} }),
            422,
            "at least one value",
        ),
        (
            json!({ "nodes": ["frost-mast-01"], "message": "settings", "values": { "x": 1 } }),
            422,
            "no field \"x\"",
        ),
        (
            json!({ "nodes": ["frost-mast-01"], "message": "report", "values": { "x": 1 } }),
            422,
            "no message \"report\" to the node",
        ),
        (json!({ "nodes": [], "message": "settings", "values": { "x": 1 } }), 422, "which nodes"),
        (json!({ "nodes": ["nobody"], "message": "settings", "values": { "x": 1 } }), 404, "nobody"),
    ] {
        let refused = post(at, "/api/v1/settings", &word, &body);
        assert_eq!(refused.status, status, "{body}: {}", refused.body);
        assert!(refused.body.contains(&words.replace('"', "\\\"")), "{words}: {}", refused.body);
    }
    assert_eq!(post(at, "/api/v1/settings", "another word", &wish(json!(15))).status, 403);
    let wanted = post(at, "/api/v1/settings", &word, &wish(json!(15)));
    assert_eq!(wanted.status, 200, "{wanted:?}");
    assert!(
        wanted.body.contains("report_interval 15 min: once this is received, the next report"),
        "{}",
        wanted.body
    );
    assert_eq!(state(at), "waiting");
    // Nobody is asked twice: it is told after a restart as well.
    assert_eq!(server.stop("-TERM").0, Some(0));
    let mut server = serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    let at = page(&server);
    server.send(2, "");
    server.receive();
    server.hear(&uplink(&session, 0, FrameControl::default()), 20_000_000);
    assert_eq!(server.next()["verdict"], "new");
    let answer = server.receive();
    let packet: Value = serde_json::from_slice(&answer[4..]).expect("JSON");
    let bytes = base64::decode(packet["txpk"]["data"].as_str().expect("a text")).expect("base64");
    let Ok(Frame::Data(data)) = frame::parse(&bytes) else { panic!("a data frame") };
    let verified = data.verify(&session, None).expect("it is genuine");
    let Content::Application { port, payload } = verified.decrypt() else { panic!("a message") };
    assert_eq!((port, payload.as_ref()), (Port::new(20).expect("a port"), &[0x01, 0xbf, 0xfe][..]));
    assert_eq!(state(at), "sent");
    server.hear(&uplink(&session, 1, FrameControl::default().with_ack()), 40_000_000);
    assert_eq!(server.next()["verdict"], "new");
    assert_eq!(state(at), "confirmed");
    let shown = get(at, "/node/frost-mast-01/settings");
    assert!(shown.body.contains("frost-mast-01: the last setting is confirmed"), "{}", shown.body);
    assert!(shown.body.contains("a number from 2 to 1440 min"), "{}", shown.body);
    assert_eq!(server.stop("-TERM").0, Some(0));
}

fn send(at: SocketAddr, path: &str, fields: &str, body: &str) -> Answer {
    let form = "Content-Type: application/x-www-form-urlencoded\r\n";
    ask(at, &format!("POST {path}\r\n{form}{fields}"), body.as_bytes())
}

#[test]
fn people_act_by_forms_that_need_no_script() {
    let (folder, _node, server, at, _session) = joined();
    secret(&folder.path().join("ann.pass"), "sleet over the hill");
    for (name, may) in [("ann", "act"), ("ben", "read")] {
        let added = super::program(
            folder.path(),
            &["people", "larkmoor.toml", "add", name, "--may", may, "--passphrase-file", "ann.pass"],
        );
        assert!({ added }.output().expect("it runs").status.success());
    }
    let [ann, ben] = ["ann", "ben"].map(|name| cookie(at, name));
    let with = |cookie: &str| format!("Cookie: {cookie}\r\n");
    let look = |cookie: &str, path: &str| ask(at, &format!("GET {path}\r\n{}", with(cookie)), &[]);
    let log = Connection::open(folder.path().join("larkmoor.sqlite")).expect("it opens");
    let opened = "INSERT INTO alarm (id, rule, \"of\", node, opened_at, evidence) SELECT 7, 'silent', '', id, 1796000000000000, '{}' \
                  FROM node";
    assert_eq!(log.execute(opened, []).expect("it is written"), 1);
    for path in ["/node/frost-mast-01/visit", "/node/frost-mast-01/settings", "/alarms/7/seen"] {
        let page = look(&ann, path);
        assert_eq!(page.status, 200, "{path}: {page:?}");
        assert!(page.body.contains(&format!("name=\"form\" value=\"{}\"", form_word(&ann))), "{path}");
        assert!(!page.body.contains("style=") && !page.body.contains("onclick"), "{path}");
        assert!(!look(&ann, &format!("{path}?format=json")).body.contains(&form_word(&ann)), "{path}");
        let refused = send(at, path, &with(&ann), "what=x&word=x");
        assert_eq!(refused.status, 403, "without the word: {path}");
        let refused = send(at, path, &with(&ben), &format!("form={}&what=x", form_word(&ben)));
        assert!(refused.status == 403 && refused.body.contains("ben may read"), "{path}: {refused:?}");
    }
    for path in ["/node/nobody/visit", "/node/nobody/settings", "/alarms/8/seen"] {
        assert_eq!(look(&ann, path).status, 404, "{path}");
    }
    let word = form_word(&ann);
    let again =
        send(at, "/node/frost-mast-01/visit", &with(&ann), &format!("form={word}&own_id=number-01&what="));
    assert!(again.status == 422 && again.body.contains("say what was done"), "{again:?}");
    let noted = format!("form={word}&own_id=number-01&what=%3Cb%3Ecleaned%3C%2Fb%3E&battery=on");
    for _ in 0..2 {
        let noted = send(at, "/node/frost-mast-01/visit", &with(&ann), &noted);
        assert_eq!(field(&noted, "location").as_deref(), Some("/node/frost-mast-01/visit"), "{noted:?}");
    }
    let shown = look(&ann, "/node/frost-mast-01/visit").body;
    assert!(
        shown.contains("ann: &lt;b&gt;cleaned&lt;/b&gt;") && shown.contains("(changed: battery)"),
        "{shown}"
    );
    assert_eq!(shown.matches("cleaned").count(), 1, "sent twice, it is there once");
    let told = format!("form={word}&message=settings&value%3Areport_interval=15&value%3Afrost_watch_below=");
    // What would follow is shown first, and nothing is told.
    let path = "/node/frost-mast-01/settings";
    let looked = send(at, path, &with(&ann), &format!("{told}&look=yes"));
    assert_eq!(looked.status, 200, "{looked:?}");
    for said in ["expected within 15 min", "value=\"15\"", "lawful.", "five-year lives", "; promised 95 %"] {
        assert!(looked.body.contains(said), "{said}: {}", looked.body);
    }
    let wrong = send(
        at,
        path,
        &with(&ann),
        &format!("form={word}&message=settings&value%3Areport_interval=1&look=yes"),
    );
    assert!(
        wrong.status == 200 && wrong.body.contains("`report_interval` is a number from 2 to 1440"),
        "{wrong:?}"
    );
    assert!(look(&ann, path).body.contains("was told nothing yet"), "to look changes nothing");
    assert_eq!(send(at, "/node/frost-mast-01/settings", &with(&ann), &told).status, 303);
    let shown = look(&ann, "/node/frost-mast-01/settings").body;
    assert!(shown.contains("the last setting is waiting") && shown.contains("report_interval 15"), "{shown}");
    let seen = format!("form={word}&word=panel+lead+is+off");
    assert_eq!(
        field(&send(at, "/alarms/7/seen", &with(&ann), &seen), "location").as_deref(),
        Some("/alarms")
    );
    let shown = look(&ben, "/alarms/7/seen").body;
    assert!(shown.contains("ann has seen it: frost-mast-01 is silent"), "{shown}");
    // Who saw it first stays.
    let ben_may =
        super::program(folder.path(), &["people", "larkmoor.toml", "token", "ann", "t", "--may", "act"])
            .output();
    let program = String::from_utf8(ben_may.expect("it runs").stdout).expect("it is text");
    let bearer = format!("Authorization: Bearer {}\r\n", program.trim());
    let seen = ask(at, &format!("POST /api/v1/alarms/7/seen\r\n{bearer}"), br#"{"word": "again"}"#);
    assert!(seen.status == 200 && seen.body.contains("panel lead is off"), "{seen:?}");
    assert_eq!(ask(at, &format!("POST /api/v1/alarms/9/seen\r\n{bearer}"), b"{}").status, 404);
    let alarms: Value =
        serde_json::from_str(&ask(at, &format!("GET /api/v1/alarms\r\n{bearer}"), &[]).body).expect("JSON");
    let alarm = &alarms["open"][0];
    assert_eq!((&alarm["rule"], &alarm["seen"]["by"]), (&json!("silent"), &json!("ann")), "{alarms}");
    let mut deeds = log
        .prepare("SELECT who || ': ' || what FROM deed WHERE who = 'ann' AND what NOT LIKE 'logged%'")
        .expect("SQL");
    let deeds: Vec<String> = deeds.query_map([], |row| row.get(0)).and_then(Iterator::collect).expect("rows");
    assert_eq!(
        deeds,
        [
            "ann: noted a visit",
            "ann: wants it told settings {\"report_interval\":15.0}",
            "ann: has seen an alarm"
        ]
    );
    assert_eq!(server.stop("-TERM").0, Some(0));
}

/// A certificate is made for the farm's own network, shown with its fingerprint, and a browser that trusts it is answered.
#[test]
fn a_certificate_for_the_farms_own_network_is_made_and_used() {
    let (folder, _, server, at, _) = joined();
    assert_eq!(server.stop("-TERM").0, Some(0));
    let refused = super::program(folder.path(), &["serve", "larkmoor.toml", "--certificate-here"])
        .output()
        .expect("it runs");
    let words = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(refused.status.code() == Some(2) && words.contains("certificate = \"page.pem\""), "{words}");
    let site = folder.path().join("larkmoor.toml");
    let text = fs::read_to_string(&site).expect("it is there");
    let more = "[serve]\ncertificate = \"page.pem\"\nkey = \"page.key\"\n";
    fs::write(&site, text.replace("[serve]\n", more)).expect("it is written");
    let server = serve(folder.path(), &["--passphrase-file", "larkmoor.pass", "--certificate-here"]);
    assert!(server.greeting.contains(&format!("https://{at}/")), "{}", server.greeting);
    let pem = fs::read(folder.path().join("page.pem")).expect("it is made");
    assert_eq!(mode(&folder.path().join("page.key")), 0o600);
    let fingerprint = fingerprint_by_openssl(folder.path());
    if let Some(fingerprint) = &fingerprint {
        assert!(server.greeting.contains(fingerprint), "{fingerprint}: {}", server.greeting);
    }
    let answer = over_tls(at, &pem, "GET /health HTTP/1.1\r\n");
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    assert_eq!(server.stop("-TERM").0, Some(0));
    // One that is there stays: browsers have been told to trust it.
    let server = serve(folder.path(), &["--passphrase-file", "larkmoor.pass", "--certificate-here"]);
    assert!(fs::read(folder.path().join("page.pem")).expect("it is there") == pem);
    assert_eq!(server.stop("-TERM").0, Some(0));
}

fn mode(path: &Path) -> u32 {
    use std::os::unix::fs::PermissionsExt as _;
    fs::metadata(path).expect("it is there").permissions().mode() & 0o777
}

/// The fingerprint as another program works it out.
fn fingerprint_by_openssl(folder: &Path) -> Option<String> {
    let asked = ["x509", "-in", "page.pem", "-noout", "-fingerprint", "-sha256"];
    let ran = std::process::Command::new("openssl").args(asked).current_dir(folder).output();
    let Ok(ran) = ran else {
        super::trial::note("skipped: there is no openssl to work out the fingerprint of a certificate");
        return None;
    };
    let text = String::from_utf8(ran.stdout).expect("it is text");
    text.trim().split_once('=').map(|(_, fingerprint)| fingerprint.to_owned())
}

/// Asks over TLS as a client that trusts this certificate alone.
fn over_tls(at: SocketAddr, pem: &[u8], head: &str) -> String {
    use std::io::{Read as _, Write as _};
    let mut stream = trusting(at, pem);
    write!(stream, "{head}Host: {at}\r\nConnection: close\r\n\r\n").expect("it is sent");
    let mut answer = String::new();
    // A server that is done may close without a last word.
    let _closed = stream.read_to_string(&mut answer);
    answer
}

/// A sealed connection that trusts this certificate alone.
pub(super) fn trusting(
    at: SocketAddr,
    pem: &[u8],
) -> rustls::StreamOwned<rustls::ClientConnection, std::net::TcpStream> {
    use rustls::pki_types::pem::PemObject as _;
    let mut roots = rustls::RootCertStore::empty();
    roots
        .add(rustls::pki_types::CertificateDer::from_pem_slice(pem).expect("a certificate"))
        .expect("it is trusted");
    let provider = std::sync::Arc::new(rustls::crypto::ring::default_provider());
    let config = rustls::ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .expect("they are there")
        .with_root_certificates(roots)
        .with_no_client_auth();
    let name = at.ip().into();
    let client = rustls::ClientConnection::new(std::sync::Arc::new(config), name).expect("a client");
    let socket = std::net::TcpStream::connect(at).expect("somebody listens");
    socket.set_read_timeout(Some(Duration::from_secs(20))).expect("it can be set");
    rustls::StreamOwned::new(client, socket)
}

#[test]
fn a_program_of_the_valley_needs_its_word() {
    let (folder, server, at) = super::people::served();
    add(folder.path(), "ann", "act");
    let word = token(folder.path(), "ann", "act");
    let body = json!({ "nodes": ["ho-000"], "message": "settings", "values": { "x": 1 } });
    assert_eq!(post(at, "/api/v1/settings", "", &body).status, 401);
    let answer = ask(
        at,
        &format!("POST /api/v1/settings\r\nAuthorization: Bearer {word}\r\n"),
        body.to_string().as_bytes(),
    );
    assert!(answer.status == 422 && answer.body.contains("has no message"), "{answer:?}");
    assert_eq!(server.stop("-TERM").0, Some(0));
}
