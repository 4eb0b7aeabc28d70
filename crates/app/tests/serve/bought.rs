//! A bought node, whose messages its maker lays out, among those of Larkmoor; and messages of another network that are pasted.

use std::fs;

use serde_json::json;
use wire::frame::{Body, Direction, Draft, FrameControl, Port};
use wire::session::Session;

use super::valley::{get, messages, page, pointers, valley};
use super::{enrol_kind, larkmoor, serve, serve_in};

fn sends(session: &Session, fcnt: u32, port: u8, payload: &[u8]) -> Vec<u8> {
    let body = Body::Application { port: Port::new(port).expect("a port"), payload, options: &[] };
    let control = FrameControl::default();
    Draft { direction: Direction::Up, confirmed: false, control, fcnt, body }.seal(session).expect("it fits")
}

/// Worked by hand from the sheet in the design file. 0x24 is 36 tenths of a volt; 0x0AF0 is 2800 mm; 0xFB in two's complement is
/// 251 - 256 = -5 degrees; 0x81 is 1000 0001: the lid is open, mode 1 is `filling`. 0x0203 with the low byte first, 02 03, is 515.
#[test]
fn a_bought_node_is_read_by_the_layout_of_its_maker() {
    let folder = larkmoor();
    let file = folder.path().join("larkmoor.toml");
    let site = fs::read_to_string(&file).expect("it is there");
    let node =
        "\n[node.well]\nkind = \"bought-probe.toml\"\nlatitude = \"47.00 deg\"\nlongitude = \"12.98 deg\"\n";
    fs::write(&file, site + node).expect("it is written");
    let node = enrol_kind(folder.path(), "bought-probe.toml");
    let mut server = serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    server.send(2, "");
    server.receive();
    server.hear(&node.request(1), 1_000_000);
    assert_eq!(server.next()["verdict"], "join");
    let session = node.session(&server.receive(), 1);
    let mut told = |fcnt: u32, port: u8, payload: &[u8]| {
        server.hear(&sends(&session, fcnt, port, payload), 20_000_000 + 1_000_000 * fcnt);
        server.next()
    };
    let status = told(0, 7, &[0x24, 0x0a, 0xf0, 0xfb, 0x81]);
    assert_eq!((&status["verdict"], &status["message"]), (&json!("new"), &json!("status")));
    assert_eq!(
        status["values"],
        json!({ "battery": 3.6, "level": 2800, "water": -5, "lid_open": true, "mode": "filling" })
    );
    let none = told(1, 7, &[0x24, 0xff, 0xff, 0x00, 0x03]);
    assert_eq!((&none["values"]["level"], &none["values"]["mode"]), (&json!(null), &json!(null)));
    let diary = told(2, 8, &[2, 0x03, 0x02, 1, 0x5f]);
    assert_eq!((&diary["values"]["starts"], &diary["values"]["battery_left"]), (&json!(515), &json!(95)));
    let more = told(3, 8, &[1, 0x5e, 9, 1, 2]);
    assert_eq!(more["values"]["battery_left"], 94);
    assert!(more["reason"].as_str().is_some_and(|why| why.starts_with("3 bytes at its end")), "{more}");
    let short = told(4, 7, &[0x24, 0x0a]);
    assert_eq!(short["verdict"], "new", "it is genuine");
    assert!(short["reason"].as_str().is_some_and(|why| why.starts_with("2 bytes where")), "{short}");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

fn written(text: &str) -> String {
    text.bytes().fold(String::new(), |written, byte| written + &format!("%{byte:02X}"))
}

/// Without script: pasted, proposed, chosen otherwise, and nothing of it is kept.
#[test]
fn lines_of_a_source_are_proposed_from_what_is_pasted() {
    let folder = valley("");
    let server = serve_in(folder.path(), "site.toml", &[]);
    let at = page(&server);
    let ask = |fields: &str| {
        let form = "Content-Type: application/x-www-form-urlencoded\r\n";
        super::valley::ask(at, &format!("POST /intake\r\n{form}"), fields.as_bytes())
    };
    let all = messages();
    let mut seen: Vec<&str> = all
        .iter()
        .filter(|message| message.shape == "alpha" && message.expected == ["new"])
        .map(|message| message.text.as_str())
        .collect();
    // A counter shows by several messages of one device; each begins with who sent it. The fourth device begins anew.
    seen.sort_by_key(|text| text.get(..40));
    seen.truncate(15);
    let text = written(&seen.join("\n"));
    let answer = ask(&format!("text={text}&name=valley&way=http"));
    assert_eq!(answer.status, 200, "{answer:?}");
    assert!(answer.body.contains("messages are read by these lines"), "{}", answer.body);
    assert!(answer.body.contains("[source.valley]"), "{}", answer.body);
    // The pointers that a person would choose, by the sample traffic.
    let lines = pointers("alpha");
    // Times lie far from now, and are left to the person.
    for line in lines.lines().filter(|line| !line.starts_with("time")) {
        assert!(answer.body.contains(&line.replace('"', "&quot;")), "{line}: {}", answer.body);
    }
    let fewer = ask(&format!("text={text}&name=valley&way=http&at:snr="));
    assert!(fewer.body.contains("rssi = ") && !fewer.body.contains("snr = "), "{}", fewer.body);
    for nonsense in ["text=", "text=%5B%5B%5B", "text=%7B%22a%22%3A1e400%7D", "", "name=%3Cscript%3E&text=x"]
    {
        let answer = ask(nonsense);
        assert_eq!(answer.status, 200, "{nonsense}: {answer:?}");
        assert!(!answer.body.contains("<script>"), "{}", answer.body);
    }
    assert_eq!(ask(&"text=x".repeat(200_000)).status, 413);
    let kept = get(at, "/heard").body;
    assert!(kept.contains("Nothing was heard this hour"), "{kept}");
    assert_eq!(server.stop("-TERM").0, Some(0));
}
