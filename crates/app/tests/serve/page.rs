//! What people see in a browser, as a browser asks for it.

use std::net::SocketAddr;

use serde_json::Value;

use super::serve_in;
use super::valley::{Answer, SIMPLE, ask, get, page, post, simple, valley};

const ONE: &str = "02F2A74D52E6B438";
const PAYLOAD: &str = "YAgY2jA=";
/// Every page that needs no name, and words of its title while nothing was heard.
const ROUTES: [(&str, &str); 9] = [
    ("/", "nodes"),
    ("/alarms", "No alarm is open"),
    ("/next-trip", "to do"),
    ("/gateways", "hut has never been heard of"),
    ("/design", "of node"),
    ("/heard", "Nothing was heard this hour"),
    ("/intake", "arrived this hour"),
    ("/about", "all is well"),
    ("/design/station.toml", ""),
];

fn data(page: SocketAddr, path: &str) -> Value {
    let answer = get(page, path);
    assert_eq!(answer.status, 200, "{path}: {}", answer.body);
    serde_json::from_str(&answer.body).unwrap_or_else(|error| panic!("{path}: {error}: {}", answer.body))
}

/// The policy stands in the head of every answer, and nothing in a page would be refused by it: a script, a style or a
/// handler written into a page, or an address of another host, turns this red.
fn is_clean(path: &str, answer: &Answer) {
    let head = answer.head.to_lowercase();
    for field in
        ["content-security-policy: default-src 'none'; script-src 'self'", "x-content-type-options: nosniff"]
    {
        assert!(head.contains(field), "{path}: {head}");
    }
    for refused in
        [" style=", "<style", "<script>", " onclick=", " onload=", "javascript:", "src=\"http", "href=\"http"]
    {
        assert!(!answer.body.contains(refused), "{path} holds {refused}");
    }
}

/// A page with an empty log, with nobody heard: title and data say the same.
#[test]
fn every_page_is_one_sentence_first_and_the_same_as_data() {
    let folder = valley(SIMPLE);
    let server = serve_in(folder.path(), "site.toml", &[]);
    let page = page(&server);
    let names = data(page, "/?format=json");
    let names: Vec<&str> = names["page"]["nodes"]
        .as_array()
        .expect("nodes")
        .iter()
        .map(|node| node["name"].as_str().expect("a name"))
        .collect();
    let node = names.first().expect("the valley has nodes");
    let of_node = [format!("/node/{node}"), format!("/node/{node}/first-days")];
    let routes = ROUTES.map(|(path, words)| (path.to_owned(), words)).into_iter();
    for (path, words) in routes.chain(of_node.map(|path| (path, "heard yet"))) {
        let answer = get(page, &path);
        assert_eq!(answer.status, 200, "{path}: {}", answer.body);
        is_clean(&path, &answer);
        let titled =
            answer.body.split("<h1").nth(1).and_then(|rest| rest.split("</h1>").next()).unwrap_or_default();
        assert!(titled.contains(words), "{path}: {titled}");
        let data = data(page, &format!("{path}?format=json"));
        assert!(data["title"].is_string() && data["page"].is_object(), "{path}: {data}");
        assert!(!answer.body.contains("NaN") && !answer.body.contains(">inf"), "{path}");
    }
    for path in [
        "/heard/999999",
        "/heard/x",
        "/node/nobody",
        "/node/nobody/first-days",
        "/design/no.toml",
        "/track/nobody",
    ] {
        assert_eq!(get(page, path).status, 404, "{path}");
    }
    let _stopped = server.stop("-TERM");
}

/// What a person types is answered and kept nowhere; a problem has its place.
#[test]
fn a_typed_design_is_answered_and_the_file_stays() {
    let folder = valley(SIMPLE);
    let server = serve_in(folder.path(), "site.toml", &[]);
    let page = page(&server);
    let file = folder.path().join("station.toml");
    let before = std::fs::read_to_string(&file).expect("it is there");
    let form =
        b"part=answer&step=at-once&text=schema+%3D+1%0Aname+%3D+%22x%22%0A%5Bbattery%5D%0Acapacity+%3D+2600%0A";
    let head = "POST /design/station.toml\r\nContent-Type: application/x-www-form-urlencoded\r\n";
    let answer = ask(page, head, form);
    assert_eq!(answer.status, 200, "{}", answer.body);
    assert!(answer.body.contains("data-from=") && answer.body.contains("line 4"), "{}", answer.body);
    assert_eq!(std::fs::read_to_string(&file).expect("it is there"), before);
    let _stopped = server.stop("-TERM");
}

/// RFC 9110, 8.8.3 and 13.1.2: a tag that is sent back is answered by 304 and nothing else.
#[test]
fn what_was_seen_is_not_sent_again_and_what_is_sent_can_be_packed() {
    let folder = valley(SIMPLE);
    let server = serve_in(folder.path(), "site.toml", &[]);
    let page = page(&server);
    let first = get(page, "/page/style.css");
    let tag =
        first.head.lines().find_map(|line| line.strip_prefix("etag: ")).expect("a tag").trim().to_owned();
    let again = ask(page, &format!("GET /page/style.css\r\nIf-None-Match: {tag}\r\n"), &[]);
    assert_eq!((again.status, again.body.as_str()), (304, ""));
    let other = ask(page, "GET /page/style.css\r\nIf-None-Match: W/\"other\"\r\n", &[]);
    assert_eq!(other.status, 200);
    for kind in ["text/css", "nosniff", "private, no-cache"] {
        assert!(other.head.contains(kind), "{}", other.head);
    }
    let script = get(page, "/page/live.js");
    assert!(
        script.head.contains("text/javascript") && script.body.contains("EventSource"),
        "{}",
        script.head
    );
    assert_eq!(get(page, "/page/../Cargo.toml").status, 404);
    let _stopped = server.stop("-TERM");
}

#[test]
fn a_frame_opens_byte_by_byte_with_what_it_carries() {
    let folder = valley(SIMPLE);
    let server = serve_in(folder.path(), "site.toml", &[]);
    let page = page(&server);
    assert_eq!(post(page, "/in/simple", &simple(ONE, 1, PAYLOAD)).status, 204);
    let heard = data(page, "/heard?format=json");
    let frame = &heard["page"]["frames"][0];
    assert_eq!(frame["verdict"], "new");
    let number = frame["id"].as_i64().expect("a number");
    let answer = get(page, &format!("/heard/{number}"));
    assert_eq!(answer.status, 200);
    is_clean("/heard/N", &answer);
    assert!(
        answer.body.contains("message of another network") && answer.body.contains(PAYLOAD),
        "{}",
        answer.body
    );
    assert!(answer.body.contains("What it carries"), "{}", answer.body);
    assert_eq!(data(page, "/heard?verdict=refused&format=json")["page"]["frames"], serde_json::json!([]));
    let _stopped = server.stop("-TERM");
}

/// What a file or a stranger calls something is text and nothing else, on every page (HTML Living Standard 13.1.2.4).
#[test]
fn markup_in_names_notes_and_messages_stays_text() {
    let folder = valley(SIMPLE);
    let site = folder.path().join("site.toml");
    let text = std::fs::read_to_string(&site).expect("it is there");
    let hostile = "<script>alert(1)</script>\\\"'&";
    let text = text.replace("\"Sample valley\"", &format!("\"{hostile}\""));
    std::fs::write(&site, text.replace("\"Invented for the tests.\"", &format!("\"{hostile}\"")))
        .expect("it is written");
    let server = serve_in(folder.path(), "site.toml", &[]);
    let page = page(&server);
    // A site file with marks that turn the direction of writing is refused; a stranger's message is kept as it comes.
    let message = "{\"id\": \"<script>alert(2)</script>\u{202e}\", \"n\": 1, \"body\": \"AA==\"}";
    let refused = post(page, "/in/simple", message.as_bytes());
    assert_eq!(refused.status, 422);
    for (path, _) in ROUTES.into_iter().chain([("/heard/1", "")]) {
        let answer = get(page, path);
        assert_eq!(answer.status, 200, "{path}");
        is_clean(path, &answer);
        assert!(
            !answer.body.contains("<script>alert") && !answer.body.contains('\u{202e}'),
            "{path}: {}",
            answer.body
        );
    }
    assert!(get(page, "/heard/1").body.contains("&lt;script&gt;alert(2)"), "it is still to be read");
    let _stopped = server.stop("-TERM");
}

/// What is written by the form is in the registry, on the map and in the log's deeds at once; remarks of the file stay.
#[test]
fn a_node_is_put_where_a_person_says_that_it_stands() {
    let folder = valley(SIMPLE);
    let file = folder.path().join("enrolled/registry.toml");
    let before = std::fs::read_to_string(&file).expect("it is there") + "# by the gate\n";
    std::fs::write(&file, &before).expect("it is written");
    let name =
        before.split("name = \"").nth(1).and_then(|rest| rest.split('"').next()).expect("a row").to_owned();
    let server = serve_in(folder.path(), "site.toml", &[]);
    let page = page(&server);
    let path = format!("/node/{name}/place");
    let shown = get(page, &path);
    is_clean(&path, &shown);
    let word = shown.body.split("name=\"form\" value=\"").nth(1).and_then(|rest| rest.split('"').next());
    let send = |fields: &str| {
        let body = format!("form={}&{fields}", word.expect("a word"));
        let head = format!("POST {path}\r\nContent-Type: application/x-www-form-urlencoded\r\n");
        ask(page, &head, body.as_bytes())
    };
    for (wrong, why) in [
        ("latitude=46,98&longitude=13", "no number of degrees"),
        ("latitude=146.98&longitude=13", "beyond -90 to 90"),
        ("latitude=&longitude=13", "no number of degrees"),
    ] {
        let refused = send(wrong);
        assert_eq!(refused.status, 422, "{wrong}: {}", refused.body);
        assert!(
            refused.body.contains("role=\"alert\"") && refused.body.contains(why),
            "{wrong}: {}",
            refused.body
        );
    }
    assert_eq!(std::fs::read_to_string(&file).expect("it is there"), before, "nothing was written");
    assert_eq!(ask(page, &format!("POST {path}\r\n"), b"latitude=1&longitude=1").status, 415);
    let head = format!("POST {path}\r\nContent-Type: application/x-www-form-urlencoded\r\n");
    assert_eq!(ask(page, &head, b"latitude=1&longitude=1").status, 403, "without the word of the form");
    let taken = send("latitude=46.987654&longitude=-13.25");
    assert_eq!(taken.status, 303, "{}", taken.body);
    let after = std::fs::read_to_string(&file).expect("it is there");
    assert!(after.contains("place = { latitude_deg = 46.987654, longitude_deg = -13.25 }"), "{after}");
    assert!(after.contains("# by the gate"));
    let map = get(page, "/map.json").body;
    assert!(map.contains("46.987654"), "{map}");
    let log = logbook::store::sqlite::reader(&folder.path().join("log.sqlite")).expect("it opens");
    let deed = "SELECT count(*) FROM deed WHERE who = 'this machine' AND what LIKE 'said that % stands at 46.987654, -13.250000'";
    assert_eq!(log.query_row(deed, [], |row| row.get(0)), Ok(1));
    let _stopped = server.stop("-TERM");
}

/// A page asks nobody else for anything, unless the site file names the host of a basemap; then that host alone.
#[test]
fn a_basemap_opens_the_policy_for_its_host_alone() {
    let basemap = "page = \"PAGE\"\nbasemap = { tiles = \"https://tiles.larkmoor.example:8443/{z}/{x}/{y}.png\", credit = \"the survey\" }";
    for (with, hosts) in [(false, ""), (true, " https://tiles.larkmoor.example:8443")] {
        let folder = valley(SIMPLE);
        let file = folder.path().join("site.toml");
        let text = std::fs::read_to_string(&file).expect("it is there");
        let line = text.lines().find(|line| line.starts_with("page = ")).expect("it has a page").to_owned();
        let opened =
            if with { text.replace(&line, &basemap.replace("page = \"PAGE\"", &line)) } else { text };
        std::fs::write(&file, opened).expect("it is written");
        let server = serve_in(folder.path(), "site.toml", &[]);
        let page = page(&server);
        let head = get(page, "/").head.to_lowercase();
        let policy =
            head.lines().find_map(|line| line.strip_prefix("content-security-policy: ")).expect("a policy");
        assert!(policy.trim().ends_with(&format!("img-src 'self' data:{hosts}")), "{policy}");
        assert_eq!(get(page, "/map.json").body.contains("the survey"), with);
        // No terrain is named in this valley: a tile of nothing is no error.
        assert_eq!(get(page, "/ground/10/549/359").status, 204);
        let _stopped = server.stop("-TERM");
    }
}
