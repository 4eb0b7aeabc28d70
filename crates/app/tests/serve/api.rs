//! What programs ask.

use std::fs;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use logbook::base64;
use rusqlite::Connection;
use serde_json::{Value, json};

use super::people::{add, cookie, field, form_word, served, token};
use super::serve_in;
use super::trial::note;
use super::valley::{Answer, SIMPLE, ask, get, page, post, secret, simple, valley};

const ONE: &str = "02F2A74D52E6B438";
const PAYLOAD: &str = "YAgY2jA=";

fn look(at: SocketAddr, path: &str, word: &str) -> Answer {
    ask(at, &format!("GET /api/v1/{path}\r\nAuthorization: Bearer {word}\r\n"), &[])
}

/// An answer; of one that goes on, its first two frames.
fn beginning(at: SocketAddr, path: &str, word: &str) -> String {
    let mut stream = TcpStream::connect(at).expect("somebody listens");
    stream.set_read_timeout(Some(Duration::from_secs(10))).expect("it can be set");
    let head = format!(
        "GET {path} HTTP/1.1\r\nHost: {at}\r\nAuthorization: Bearer {word}\r\nConnection: close\r\n\r\n"
    );
    stream.write_all(head.as_bytes()).expect("it is sent");
    let (mut bytes, mut piece) = (Vec::new(), [0; 4096]);
    while String::from_utf8_lossy(&bytes).matches("event: frame").count() < 2 {
        match stream.read(&mut piece) {
            Ok(length) if length > 0 => bytes.extend(&piece[..length]),
            _ => break,
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

fn json(answer: &Answer) -> Value {
    assert_eq!(answer.status, 200, "{answer:?}");
    // The pieces of an answer without a length.
    let text: String = if answer.head.to_lowercase().contains("transfer-encoding: chunked") {
        answer.body.split("\r\n").skip(1).step_by(2).collect()
    } else {
        answer.body.clone()
    };
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{error}: {text}"))
}

fn detail(answer: &Answer) -> String {
    assert_eq!(field(answer, "content-type").as_deref(), Some("application/problem+json"), "{answer:?}");
    let problem: Value = serde_json::from_str(&answer.body).expect("JSON");
    assert_eq!(problem["status"], answer.status, "RFC 9457, 3.1.2");
    problem["detail"].as_str().expect("words").to_owned()
}

#[test]
fn what_was_heard_is_asked_for_page_by_page_and_field_by_field() {
    let (folder, server, at) = served();
    for counter in 1..=3 {
        assert_eq!(post(at, "/in/simple", &simple(ONE, counter, PAYLOAD)).status, 204);
    }
    assert_eq!(post(at, "/in/simple", b"{").status, 422);
    add(folder.path(), "ann", "read");
    let word = token(folder.path(), "ann", "read");
    let ask = |path: &str| look(at, path, &word);
    let described = ask_raw(at, "/api/openapi.json", &word);
    let committed = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/api.json");
    assert_eq!(described.body, fs::read_to_string(committed).expect("it is there"));
    let me = json(&ask("me"));
    assert_eq!(me, json!({ "name": "ann", "may": "read", "form": null }));
    let nodes = json(&ask("nodes"));
    let node = nodes["nodes"].as_array().expect("a list").iter().find(|node| node["name"] == "ho-000");
    let node = node.expect("it is enrolled");
    assert_eq!((&node["dev_eui"], &node["kind"]), (&json!(ONE), &json!("Sample station")), "{node}");
    assert!(node["last_heard_at"].as_str().is_some_and(|at| at.ends_with('Z')), "{node}");
    assert_eq!(node["messages"][0]["fields"][0], json!({ "name": "air", "title": "air", "unit": "Cel" }));
    assert_eq!(&json(&ask("nodes/ho-000")), node);
    assert_eq!(detail(&ask("nodes/nobody")), "no node is called \"nobody\"");
    let first = json(&ask("frames?limit=2"));
    let ids = |page: &Value| -> Vec<i64> {
        page["frames"]
            .as_array()
            .expect("a list")
            .iter()
            .map(|frame| frame["id"].as_i64().expect("a number"))
            .collect()
    };
    assert_eq!((ids(&first), &first["next_after"], &first["more"]), (vec![1, 2], &json!(2), &json!(true)));
    // The values of this payload by the sample traffic.
    assert_eq!(first["frames"][0]["readings"][0]["values"]["air"], json!(-1.6));
    let rest = json(&ask("frames?after=2"));
    assert_eq!((ids(&rest), &rest["next_after"], &rest["more"]), (vec![3, 4], &json!(4), &json!(false)));
    let refused = json(&ask("frames?verdict=refused:json"));
    assert_eq!((ids(&refused), &refused["next_after"]), (vec![4], &json!(4)));
    let none = json(&ask("frames?after=4"));
    assert_eq!((ids(&none), &none["next_after"]), (vec![], &json!(4)));
    let fine = json(&ask("nodes/ho-000/readings?message=report&field=air"));
    assert!(fine["column_s"].as_f64().is_some_and(|width| width < 3600.0), "{fine}");
    let total = |series: &Value| -> u64 {
        series["columns"]
            .as_array()
            .expect("a list")
            .iter()
            .map(|column| column["n"].as_u64().expect("a count"))
            .sum()
    };
    assert_eq!((total(&fine), &fine["unit"]), (3, &json!("Cel")));
    let coarse = || json(&ask("nodes/ho-000/readings?message=report&field=air&columns=5"));
    let before = coarse();
    assert_eq!((total(&before), &before["columns"][0]["least"]), (3, &json!(-1.6)), "{before}");
    // Once hours are made the same comes from them.
    let log = Connection::open(folder.path().join("log.sqlite")).expect("it opens");
    let stale = || -> i64 {
        log.query_row("SELECT count(*) FROM stale_hour", [], |row| row.get(0)).expect("a count")
    };
    let begun = Instant::now();
    while stale() > 0 {
        assert!(begun.elapsed() < Duration::from_mins(1), "hours are made");
        std::thread::sleep(Duration::from_millis(100));
    }
    assert_eq!(coarse()["columns"], before["columns"]);
    for (path, status, words) in [
        ("nodes/ho-000/readings?message=report", 400, "say which `field`"),
        ("nodes/ho-000/readings?message=report&field=wind", 404, "has no field \"wind\""),
        ("nodes/ho-000/readings?message=report&field=air&from=yesterday", 400, "`from` is a time"),
        (
            "nodes/ho-000/readings?message=report&field=air&from=2026-01-02T00:00:00Z&to=2026-01-01T00:00:00Z",
            400,
            "before",
        ),
        ("nodes/ho-000/readings?message=report&field=air&columns=0", 400, "from 1 to 5000"),
        ("frames?after=-1", 400, "`after` is a whole number"),
        ("export.csv?kind=nothing&message=report", 404, "no design"),
        ("nothing", 404, "nothing is here"),
    ] {
        let answer = ask(path);
        assert_eq!(answer.status, status, "{path}: {answer:?}");
        assert!(detail(&answer).contains(words), "{path}: {}", answer.body);
    }
    let gateways = json(&ask("gateways"));
    assert_eq!(gateways["gateways"][0]["name"], "hut");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

fn ask_raw(at: SocketAddr, path: &str, word: &str) -> Answer {
    ask(at, &format!("GET {path}\r\nAuthorization: Bearer {word}\r\n"), &[])
}

#[test]
fn readings_are_exported_in_the_forms_of_others() {
    let (_folder, server, at) = served();
    for counter in 1..=2 {
        assert_eq!(post(at, "/in/simple", &simple(ONE, counter, PAYLOAD)).status, 204);
    }
    let table = get(at, "/api/v1/export.csv?kind=Sample+station&message=report");
    assert!(table.head.contains("content-type: text/csv"), "{}", table.head);
    assert!(
        table.body.contains("time [UTC],node,DevEUI,air [Cel],") && table.body.matches(ONE).count() == 2,
        "{table:?}"
    );
    let records = json(&get(at, "/api/v1/export.senml.json"));
    assert_eq!(records[0]["bn"], format!("urn:dev:mac:{}_", ONE.to_lowercase()), "RFC 9039");
    let values: Vec<&Value> =
        records.as_array().expect("a list").iter().filter(|record| record["n"] == "report_air").collect();
    assert!(values.len() == 2 && values.iter().all(|record| record["v"] == -1.6), "{records}");
    let places = json(&get(at, "/api/v1/export.geojson"));
    assert_eq!(places["type"], "FeatureCollection", "RFC 7946, 3.3");
    let tracks = get(at, "/api/v1/export.gpx");
    assert!(tracks.body.contains("<gpx version=\"1.1\""), "{tracks:?}");
    let empty = json(&get(at, "/api/v1/export.senml.json?to=2026-01-01T00:00:00Z"));
    assert_eq!(empty, json!([]));
    assert_eq!(server.stop("-TERM").0, Some(0));
}

/// The position is told by another field of the sample traffic, renamed in the log.
#[test]
fn who_may_only_read_sees_no_more_of_positions_than_the_site_file_says() {
    let folder = valley(SIMPLE);
    let site = folder.path().join("site.toml");
    let text = fs::read_to_string(&site).expect("it is there").replace("[node.one]", "[node.ho-000]");
    fs::write(&site, text).expect("it is written");
    secret(&folder.path().join("ann.pass"), "sleet over the hill");
    let server = serve_in(folder.path(), "site.toml", &[]);
    let at = page(&server);
    for device in [ONE, "02D23F08128B2F33"] {
        assert_eq!(post(at, "/in/simple", &simple(device, 1, PAYLOAD)).status, 204);
    }
    let log = Connection::open(folder.path().join("log.sqlite")).expect("it opens");
    let rename = "UPDATE edition SET fields = replace(replace(fields, '\"air\"', '\"fix_latitude\"'), '\"humidity\"', \
                  '\"fix_longitude\"')";
    assert_eq!(log.execute(rename, []).expect("it is changed"), 1);
    add(folder.path(), "ann", "act");
    add(folder.path(), "ben", "read");
    let words = [
        token(folder.path(), "ann", "act"),
        token(folder.path(), "ann", "read"),
        token(folder.path(), "ben", "read"),
    ];
    let north = |word: &str, path: &str| -> Vec<Value> {
        let answer = json(&look(at, path, word));
        if path == "frames" {
            let frames = answer["frames"].as_array().expect("a list").clone();
            return frames
                .iter()
                .map(|frame| frame["readings"][0]["values"]["fix_latitude"].clone())
                .collect();
        }
        let records = answer.as_array().expect("a list").clone();
        records
            .into_iter()
            .filter(|record| record["n"] == "report_fix_latitude")
            .map(|record| record["v"].clone())
            .collect()
    };
    for path in ["frames", "export.senml.json"] {
        assert_eq!(north(&words[0], path), [json!(-1.6), json!(-1.6)], "{path}");
        for word in &words[1..] {
            let seen = north(word, path);
            let moved = seen[0].as_f64().expect("it is shown");
            // Half a cell of 1 km is 0.0045 degrees (111.2 km a degree, by hand).
            assert!((1e-9..=0.004_55).contains(&(moved + 1.6).abs()), "{path}: {moved}");
            assert!(
                seen.get(1).is_none_or(Value::is_null),
                "of the other node the site file says nothing: {path}"
            );
        }
    }
    // Pages and what comes live tell no more than the other ways.
    for path in ["/heard?format=json", "/node/ho-000?format=json", "/live?from=0"] {
        let is_told = |word: &String| {
            let text = beginning(at, path, word);
            text.contains("-1.6") || text.contains("−1.6")
        };
        assert!(is_told(&words[0]), "{path}");
        assert!(!words[1..].iter().any(is_told), "{path}");
    }
    assert_eq!(server.stop("-TERM").0, Some(0));
}

fn visit(at: SocketAddr, fields: &str, body: &Value) -> Answer {
    ask(
        at,
        &format!("POST /api/v1/visits\r\n{fields}\r\n").replace("\r\n\r\n", "\r\n"),
        body.to_string().as_bytes(),
    )
}

#[test]
fn a_visit_that_is_sent_twice_is_there_once_and_by_whom_it_was_made() {
    let (folder, server, at) = served();
    add(folder.path(), "ann", "act");
    add(folder.path(), "ben", "read");
    let ann = format!("Authorization: Bearer {}\r\n", token(folder.path(), "ann", "act"));
    // The smallest beginning of a PNG (RFC 2083, 3.1).
    let picture = [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a, 1, 2, 3];
    let body = json!({
        "own_id": "phone-0001", "node": "ho-000", "what": " cleaned the panel, <b>swapped</b> the cell ",
        "certificate": "K-17", "due": "2027-05-01", "parts": ["battery"], "photo": base64::encode(&picture),
    });
    let noted = json(&visit(at, &ann, &body));
    assert_eq!(noted, json!({ "id": 1, "was_there": false }));
    assert_eq!(json(&visit(at, &ann, &body)), json!({ "id": 1, "was_there": true }));
    let all = json(&ask(at, &format!("GET /api/v1/visits?node=ho-000\r\n{ann}"), &[]));
    assert_eq!(all["visits"].as_array().map(Vec::len), Some(1));
    let kept = &all["visits"][0];
    assert_eq!(
        (&kept["by"], &kept["parts"], &kept["has_photo"]),
        (&json!("ann"), &json!(["battery"]), &json!(true))
    );
    assert_eq!((&kept["certificate"], &kept["due"]), (&json!("K-17"), &json!("2027-05-01")));
    assert_eq!(kept["what"], "cleaned the panel, <b>swapped</b> the cell");
    let shown = fs::read(folder.path().join("log.sqlite.photos/phone-0001.png")).expect("it is kept");
    assert_eq!(shown, picture);
    let large = base64::encode(
        &picture.iter().copied().chain(std::iter::repeat_n(0, 2_000_000)).collect::<Vec<u8>>(),
    );
    let ben = format!("Authorization: Bearer {}\r\n", token(folder.path(), "ben", "read"));
    let with = |changes: &Value| {
        let mut body = json!({ "own_id": "phone-0002", "node": "ho-000", "what": "looked" });
        body.as_object_mut().expect("an object").extend(changes.as_object().expect("an object").clone());
        body
    };
    let refused = visit(at, &ben, &with(&json!({})));
    assert_eq!(
        (refused.status, detail(&refused).as_str()),
        (403, "ben may read; this needs a person who may act")
    );
    for (changes, status, words) in [
        (json!({ "own_id": "../../x" }), 422, "`own_id`"),
        (json!({ "node": "nobody" }), 404, "no node"),
        (json!({ "what": "  " }), 422, "say what was done"),
        (json!({ "what": "x".repeat(2001) }), 422, "2000"),
        (json!({ "due": "1 May" }), 422, "no day"),
        (json!({ "certificate": "x".repeat(201) }), 422, "200"),
        (json!({ "parts": ["flux"] }), 422, "\"flux\" is no part"),
        (json!({ "at": "2090-01-01T00:00:00Z" }), 422, "future"),
        (json!({ "at": "yesterday" }), 422, "RFC 3339"),
        (json!({ "photo": base64::encode(b"GIF89a....") }), 422, "no JPEG"),
        (json!({ "photo": large }), 422, "scale it down"),
        (json!({ "photo": "A".repeat(3_100_000) }), 413, "length limit"),
        (json!({ "colour": "red" }), 422, "unknown field"),
    ] {
        let answer = visit(at, &ann, &with(&changes));
        assert_eq!(answer.status, status, "{}", answer.body);
        assert!(detail(&answer).contains(words), "{words}: {}", answer.body);
    }
    let cookie = cookie(at, "ann");
    let browser = format!("Cookie: {cookie}\r\n");
    assert_eq!(visit(at, &browser, &with(&json!({}))).status, 403, "without the word of its forms");
    let form = format!("{browser}overwinter-form: {}\r\n", form_word(&cookie));
    assert_eq!(visit(at, &format!("{form}Sec-Fetch-Site: cross-site\r\n"), &with(&json!({}))).status, 403);
    let log = Connection::open(folder.path().join("log.sqlite")).expect("it opens");
    let count = |table: &str| -> i64 {
        log.query_row(&format!("SELECT count(*) FROM {table}"), [], |row| row.get(0)).expect("a count")
    };
    assert_eq!(count("visit"), 1, "nothing of it was noted");
    assert_eq!(json(&visit(at, &form, &with(&json!({ "at": "2026-01-02T03:04:05+01:00" }))))["id"], 2);
    let mut deeds =
        log.prepare("SELECT who, what, \"on\" FROM deed WHERE what = 'noted a visit'").expect("it is read");
    let deeds: Vec<(String, String, String)> = deeds
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
        .and_then(Iterator::collect)
        .expect("rows");
    assert_eq!(deeds, vec![("ann".to_owned(), "noted a visit".to_owned(), ONE.to_owned()); 2]);
    let device = wire::identity::DevEui::from_display(ONE).expect("an identity");
    let epoch = |at: i64| logbook::store::visits::epoch(&log, device, at).expect("it is read");
    assert!(epoch(i64::MAX).is_some(), "the changed battery begins one");
    assert_eq!(epoch(1_767_324_000_000_000), None, "the look of January does not");
    assert_eq!(ask_raw(at, "/visit/2/photo", "x").status, 401);
    assert_eq!(ask(at, &format!("GET /visit/2/photo\r\n{browser}"), &[]).status, 404);
    assert_eq!(server.stop("-TERM").0, Some(0));
}

#[test]
fn the_program_of_the_manual_prints_what_came_since_it_last_looked() {
    let manual = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/api.md");
    let manual = fs::read_to_string(manual).expect("it is there");
    let code =
        manual.split("```python\n").nth(1).and_then(|rest| rest.split("```").next()).expect("it is there");
    if !Command::new("python3").arg("--version").output().is_ok_and(|ran| ran.status.success()) {
        note("skipped: there is no python3 to run the program of docs/api.md");
        return;
    }
    let (folder, server, at) = served();
    add(folder.path(), "ann", "read");
    let word = token(folder.path(), "ann", "read");
    let run = || {
        let mut python = Command::new("python3");
        python
            .args(["-c", code])
            .current_dir(folder.path())
            .env("LOG", format!("http://{at}"))
            .env("WORD", &word);
        let ran = python.output().expect("it runs");
        assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
        String::from_utf8(ran.stdout).expect("it is text")
    };
    assert_eq!(run(), "");
    assert_eq!(post(at, "/in/simple", &simple(ONE, 1, PAYLOAD)).status, 204);
    let said = run();
    assert!(said.contains("Z ho-000 report {\"air\": -1.6,") && said.lines().count() == 1, "{said}");
    assert_eq!(run(), "", "nothing comes twice");
    assert_eq!(server.stop("-TERM").0, Some(0));
}
