//! What people see in a browser, as a browser asks for it.

use std::net::SocketAddr;

use serde_json::Value;

use super::serve_in;
use super::valley::{Answer, SIMPLE, ask, get, page, post, simple, valley};

const ONE: &str = "02F2A74D52E6B438";
const PAYLOAD: &str = "YAgY2jA=";
/// Every page that needs no name, and one word that it must say.
const ROUTES: [(&str, &str); 3] =
    [("/about", "all is well"), ("/heard", "heard this hour"), ("/gateways", "hut has never been heard of")];

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

#[test]
fn every_page_is_one_sentence_first_and_the_same_as_data() {
    let folder = valley(SIMPLE);
    let server = serve_in(folder.path(), "site.toml", &[]);
    let page = page(&server);
    assert_eq!(post(page, "/in/simple", &simple(ONE, 1, PAYLOAD)).status, 204);
    for (path, word) in ROUTES {
        let answer = get(page, path);
        assert_eq!(answer.status, 200, "{path}: {}", answer.body);
        is_clean(path, &answer);
        let titled =
            answer.body.split("<h1").nth(1).and_then(|rest| rest.split("</h1>").next()).unwrap_or_default();
        assert!(titled.contains(word), "{path}: {titled}");
        let separator = if path.contains('?') { '&' } else { '?' };
        let data = data(page, &format!("{path}{separator}format=json"));
        let title = data["title"].as_str().expect("a title");
        assert!(titled.contains(title), "{path}: {titled} and {title}");
        assert!(data["page"].is_object(), "{path}: {data}");
    }
    assert_eq!(get(page, "/heard/999999").status, 404);
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
