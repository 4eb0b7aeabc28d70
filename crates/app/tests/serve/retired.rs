//! A node that is taken in for good, and a copy of the log that is only shown.

use std::fs;
use std::net::TcpListener;
use std::path::Path;
use std::process::Output;
use std::time::{Duration, Instant};

use logbook::keys::{KeyBox, Passphrase};
use serde_json::Value;

use super::valley::{ask, get};
use super::{enrol, larkmoor, program, serve, uplink};

fn retire(folder: &Path, more: &[&str]) -> Output {
    let base = ["retire", "larkmoor.toml", "frost-mast-01", "--passphrase-file", "larkmoor.pass"];
    program(folder, &[&base[..], more].concat()).output().expect("it runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// Counters 0, 1 and 4 came: two of five were lost, 40 %; the mast promises that 90 % are heard.
#[test]
fn a_retired_node_has_its_life_told_its_key_revoked_and_is_believed_no_more() {
    let folder = larkmoor();
    let node = enrol(folder.path());
    let before = text(&retire(folder.path(), &["--keep"]).stdout);
    assert!(before.contains("heard                never"), "{before}");
    let mut server = serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    server.send(2, "");
    server.receive();
    server.hear(&node.request(1), 1_000_000);
    assert_eq!(server.next()["verdict"], "join");
    let session = node.session(&server.receive(), 1);
    for counter in [0, 1, 4] {
        server.hear(&uplink(&session, counter), 20_000_000 + 1_000_000 * counter);
        assert_eq!(server.next()["verdict"], "new");
    }
    // While it is heard its life can be looked at, and nothing changes.
    let looked = retire(folder.path(), &["--keep"]);
    assert!(looked.status.success(), "{}", text(&looked.stderr));
    assert!(text(&looked.stdout).contains("3 came, 2 were lost (40.0 %)"), "{}", text(&looked.stdout));
    assert_eq!(server.stop("-TERM").0, Some(0));
    let done = retire(folder.path(), &[]);
    assert!(done.status.success(), "{}", text(&done.stderr));
    let said = text(&done.stdout);
    for part in ["promise heard", "not kept", "joins                1", "its key is revoked"] {
        assert!(said.contains(part), "{part}: {said}");
    }
    let passphrase = Passphrase::from_file(&folder.path().join("larkmoor.pass")).expect("one line");
    let keys = KeyBox::open(&folder.path().join("enrolled/keys.age"), &passphrase).expect("it opens");
    assert!(keys.key(node.dev_eui).is_none(), "the key is gone");
    let registry = fs::read_to_string(folder.path().join("enrolled/registry.toml")).expect("it is there");
    assert!(registry.contains("until = "), "{registry}");
    let twice = retire(folder.path(), &[]);
    assert_eq!(twice.status.code(), Some(2), "{}", text(&twice.stdout));
    assert!(text(&twice.stderr).contains("no open row"), "{}", text(&twice.stderr));
    // The site goes on without it: what it sends is kept, and not believed.
    let mut server = serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    server.hear(&node.request(2), 60_000_000);
    assert_eq!(server.next()["verdict"], "refused:unknown-device");
    server.hear(&uplink(&session, 5), 70_000_000);
    let told = server.next();
    assert!(told["verdict"].as_str().is_some_and(|verdict| verdict.starts_with("refused:")), "{told}");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

#[test]
fn a_copy_of_the_log_is_shown_beside_the_server_and_nothing_is_written() {
    let folder = larkmoor();
    let node = enrol(folder.path());
    let mut server = serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    server.send(2, "");
    server.receive();
    server.hear(&node.request(1), 1_000_000);
    assert_eq!(server.next()["verdict"], "join");
    let copied = program(folder.path(), &["export", "larkmoor.toml", "--log", "copy.sqlite"]).output();
    assert!(copied.expect("it runs").status.success());
    let copy = fs::read(folder.path().join("copy.sqlite")).expect("it is there");
    let free = TcpListener::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port");
    let site = fs::read_to_string(folder.path().join("larkmoor.toml")).expect("it is there");
    let shown = site.replace("[serve]\n", &format!("[serve]\npage = \"{free}\"\n"));
    fs::write(folder.path().join("shown.toml"), shown).expect("it is written");
    let mut show = program(folder.path(), &["serve", "shown.toml", "--read-only", "copy.sqlite"]);
    let mut show = show.spawn().expect("it starts");
    let until = Instant::now() + Duration::from_mins(1);
    while std::net::TcpStream::connect(free).is_err() {
        assert!(Instant::now() < until, "nobody answers");
        std::thread::sleep(Duration::from_millis(50));
    }
    let heard = get(free, "/heard?form=json");
    assert_eq!(heard.status, 200, "{heard:?}");
    let nodes: Value = serde_json::from_str(&get(free, "/api/v1/nodes").body).expect("JSON");
    assert!(nodes["nodes"].as_array().is_some_and(|nodes| !nodes.is_empty()), "{nodes}");
    let me: Value = serde_json::from_str(&get(free, "/api/v1/me").body).expect("JSON");
    let form = me["form"].as_str().expect("a word");
    for path in ["/api/v1/visits", "/api/v1/settings", "/node/frost-mast-01/visit", "/login"] {
        let answer = ask(free, &format!("POST {path}\r\noverwinter-form: {form}\r\n"), b"{}");
        assert_eq!(answer.status, 403, "{path}: {answer:?}");
    }
    let number = show.id().to_string();
    assert!(std::process::Command::new("kill").args(["-TERM", &number]).status().expect("asked").success());
    assert_eq!(show.wait().expect("it ends").code(), Some(0));
    assert_eq!(fs::read(folder.path().join("copy.sqlite")).expect("it is there"), copy, "not a byte");
    // Beyond this machine a copy is not shown.
    let open = site.replace("[serve]\n", "[serve]\npage = \"0.0.0.0:8750\"\nbehind_proxy = true\n");
    fs::write(folder.path().join("shown.toml"), open).expect("it is written");
    let refused = program(folder.path(), &["serve", "shown.toml", "--read-only", "copy.sqlite"]).output();
    let refused = refused.expect("it runs");
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("on this machine alone"), "{}", text(&refused.stderr));
    assert_eq!(server.stop("-TERM").0, Some(0));
}
