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

const DECODED: &str = r#"
[source.clearing]
http = { path = "/in/clearing", token_file = "in.token" }
device = "/id"
counter = "/n"
values.report.air = { at = "/air_f", step = 0.5, offset = -20 }
values.report.humidity = { at = "/rh" }
values.report.level = { at = "/level_cm", step = 10 }
values.report.battery = { at = "/volts", step = 1000 }
"#;

/// By the design of the sample valley, in its units: half of 50 less 20 is 5 degrees, 12 cm are 120 mm; a battery of 4.4 V lies above
/// its 4300 mV. What is no number is empty and said; what is not there is empty.
#[test]
fn values_that_another_network_has_decoded_are_readings_of_the_design() {
    let folder = valley(DECODED);
    let mut server = serve_in(folder.path(), "site.toml", &[]);
    let at = page(&server);
    let mut post = |body: &serde_json::Value| {
        let answer = super::valley::post(at, "/in/clearing", body.to_string().as_bytes());
        (answer.status, server.next())
    };
    let id = "02F2A74D52E6B438";
    let whole = json!({ "id": id, "n": 7, "air_f": 50, "rh": "wet", "level_cm": 12, "volts": 4.4 });
    let (status, told) = post(&whole);
    assert_eq!(
        (status, &told["verdict"], &told["message"]),
        (204, &json!("new"), &json!("report")),
        "{told}"
    );
    let values = json!({ "air": 5, "humidity": null, "battery": 4400, "level": 120 });
    assert_eq!(told["values"], values);
    assert_eq!(told["reason"], "not what the design says: humidity");
    assert_eq!((post(&whole).1["verdict"].as_str(), &told["port"]), (Some("copy"), &json!(null)));
    let (status, told) = post(&json!({ "id": id, "n": 8, "level_cm": 13 }));
    assert_eq!((status, &told["values"]["level"], &told["values"]["air"]), (204, &json!(130), &json!(null)));
    let (status, told) = post(&json!({ "id": id, "n": 9 }));
    assert_eq!((status, &told["verdict"]), (422, &json!("refused:mapping")), "{told}");
    let (status, told) = post(&json!({ "id": id, "n": 9, "level_cm": [1] }));
    assert_eq!((status, &told["verdict"]), (422, &json!("refused:mapping")), "{told}");
    assert_eq!(server.stop("-TERM").0, Some(0));
    // A design that is corrected reads them anew.
    let design = folder.path().join("station.toml");
    let text = fs::read_to_string(&design).expect("it is there");
    fs::write(&design, text.replacen("range = [2500, 4300]", "range = [2500, 4500]", 1))
        .expect("it is written");
    let server = serve_in(folder.path(), "site.toml", &[]);
    let marks = || {
        let log = logbook::store::sqlite::reader(&folder.path().join("log.sqlite")).expect("it opens");
        let sql = "SELECT vals, marks FROM reading ORDER BY frame LIMIT 1";
        let row = |row: &rusqlite::Row<'_>| Ok((row.get::<_, String>(0)?, row.get::<_, Option<String>>(1)?));
        log.query_row(sql, [], row).expect("there is one")
    };
    let until = std::time::Instant::now() + std::time::Duration::from_secs(20);
    while marks().1.is_some() && std::time::Instant::now() < until {
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    assert_eq!(marks(), ("[5,null,4400,120]".to_owned(), None));
    assert_eq!(server.stop("-TERM").0, Some(0));
    // A field that no design has is told before anything is kept.
    let site = folder.path().join("site.toml");
    let wrong =
        fs::read_to_string(&site).expect("it is there").replace("values.report.level", "values.report.depth");
    fs::write(&site, wrong).expect("it is written");
    let refused = super::program(folder.path(), &["serve", "site.toml"]).output().expect("it runs");
    assert_eq!(refused.status.code(), Some(2));
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(said.contains("a message `report` with a field `depth`"), "{said}");
}
