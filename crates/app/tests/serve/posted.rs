//! Messages of another network that are posted: the status says what the sender is to do, and 204 that it is on the disk.

use serde_json::Value;

use super::serve_in;
use super::valley::{SIMPLE, ask, assert_as_expected, messages, page, pointers, post, rows, simple, valley};

/// Devices of the sample valley.
const ONE: &str = "02F2A74D52E6B438";
/// A payload of its layout: `body` of the first message of the sample traffic.
const PAYLOAD: &str = "YAgY2jA=";

#[test]
fn statuses_say_what_the_sender_is_to_do() {
    let more = SIMPLE.to_owned()
        + r#"
[source.picky]
http = { path = "/in/picky", token_file = "in.token" }
device = "/id"
port_is = 10
payload = { at = "/body", is = "base64" }
only_if = { at = "/kind", equals = "up" }
"#;
    let folder = valley(&more);
    let mut server = serve_in(folder.path(), "site.toml", &[]);
    let page = page(&server);
    let good = simple(ONE, 7, PAYLOAD);
    let answer = post(page, "/in/simple", &good);
    assert_eq!((answer.status, answer.body.as_str()), (204, ""), "{answer:?}");
    let told = server.next();
    assert_eq!(
        (&told["verdict"], &told["source"], &told["fcnt"]),
        (&"new".into(), &"simple".into(), &7.into())
    );
    assert_eq!(post(page, "/in/simple", &good).status, 204, "a copy is as good");
    assert_eq!(server.next()["verdict"], "copy");
    assert_eq!(post(page, "/in/picky", &good).status, 204, "what is not taken is no fault of the sender");
    assert_eq!(post(page, "/in/nothing", &good).status, 404);
    for word in ["", "Authorization: Bearer moor\r\n", "Authorization: Basic bW9vcg==\r\n"] {
        let answer = ask(page, &format!("POST /in/simple\r\n{word}"), &good);
        assert_eq!(answer.status, 401, "{word}");
        assert!(answer.head.to_lowercase().contains("www-authenticate: bearer"), "{}", answer.head);
    }
    assert_eq!(ask(page, "GET /in/simple\r\n", &[]).status, 405);
    let refused: [(&[u8], &str); 6] = [
        (b"no JSON", "refused:json"),
        (&b"[".repeat(3000), "refused:json"),
        (br#"{"id": 1e400}"#, "refused:json"),
        (br#"{"id": "02F2A74D52E6B438", "n": 99999999999999999999, "body": ""}"#, "refused:mapping"),
        (br#"{"id": "02F2A74D52E6B438", "n": 8}"#, "refused:mapping"),
        (br#"{"id": "0200000000000009", "n": 8, "body": ""}"#, "refused:unknown-device"),
    ];
    for (body, verdict) in refused {
        let answer = post(page, "/in/simple", body);
        let problem: Value = serde_json::from_str(&answer.body).expect("RFC 9457");
        assert_eq!((answer.status, problem["verdict"].as_str()), (422, Some(verdict)), "{answer:?}");
        assert_eq!(server.next()["verdict"], verdict);
    }
    let answer = post(page, "/in/simple", &vec![b' '; 262_145]);
    assert_eq!(answer.status, 413, "{answer:?}");
    assert_eq!(server.next()["verdict"], "refused:size");
    assert_eq!(post(page, "/in/simple", &simple(ONE, 8, PAYLOAD)).status, 204, "nothing stops the rest");
    let (code, words) = server.stop("-TERM");
    assert_eq!(code, Some(0), "{words}");
    assert!(!words.contains(super::valley::TOKEN));
    let kept = rows(&folder.path().join("log.sqlite"));
    let verdicts: Vec<&str> = kept.iter().map(|row| row.0.as_str()).collect();
    let mut expected = vec!["new"];
    expected.extend(refused.iter().map(|(_, verdict)| *verdict));
    expected.extend(["refused:size", "new"]);
    assert_eq!(verdicts, expected);
}

/// What no two sources of the site can share: topics become paths.
#[test]
fn the_sample_messages_come_to_exactly_what_they_must_when_posted() {
    let source = |shape: &str| {
        // The traffic counts levels from 0; `/beta/` stands before the topic.
        let pointers = pointers(shape).replace("topic:2", "path:4");
        format!("\n[source.{shape}]\nhttp = {{ path = \"/{shape}\", token_file = \"in.token\" }}\n{pointers}")
    };
    let more: String = ["alpha", "beta", "gamma"].into_iter().map(source).collect();
    let folder = valley(&more);
    let server = serve_in(folder.path(), "site.toml", &[]);
    let page = page(&server);
    let messages = messages();
    for message in &messages {
        let answer = post(page, &format!("/{}/{}", message.shape, message.topic), message.text.as_bytes());
        let accepted = message.expected.iter().any(|word| word == "new" || word == "copy");
        assert_eq!(answer.status, if accepted { 204 } else { 422 }, "{}: {answer:?}", message.text);
    }
    assert_eq!(server.stop("-TERM").0, Some(0));
    assert_as_expected(&rows(&folder.path().join("log.sqlite")), &messages.iter().collect::<Vec<_>>());
}
