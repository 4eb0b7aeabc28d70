//! What is kept, as it comes; and how all is.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::people::{add, cookie, people, served};
use super::serve_in;
use super::valley::{SIMPLE, ask, get, page, post, simple, valley};

const ONE: &str = "02F2A74D52E6B438";
const PAYLOAD: &str = "YAgY2jA=";

/// An event: its kind, its `id`, its data.
type Event = (String, Option<i64>, Value);

/// A page that listens.
struct Page(BufReader<TcpStream>);

impl Page {
    fn open(page: SocketAddr, path: &str, more: &str) -> Self {
        let mut stream = TcpStream::connect(page).expect("somebody listens");
        stream.set_read_timeout(Some(Duration::from_secs(20))).expect("it can be set");
        write!(stream, "GET {path} HTTP/1.1\r\nHost: {page}\r\n{more}\r\n").expect("it is sent");
        let mut opened = Self(BufReader::new(stream));
        let head: Vec<String> =
            std::iter::from_fn(|| opened.line().filter(|line| !line.trim().is_empty())).collect();
        assert!(head[0].contains("200"), "{head:?}");
        assert!(
            head.iter().any(|line| line.to_lowercase().trim() == "content-type: text/event-stream"),
            "{head:?}"
        );
        // The first piece is a comment: from then on nothing is missed.
        while !opened.line().expect("it goes on").starts_with(':') {}
        opened
    }

    /// The next line; `None` at the end.
    fn line(&mut self) -> Option<String> {
        let mut line = String::new();
        let read = self.0.read_line(&mut line).expect("it is text in time");
        (read > 0).then_some(line)
    }

    /// The next event; `None` at the end. Lengths of pieces and comments are passed over.
    fn event(&mut self) -> Option<Event> {
        let (mut kind, mut id) = (String::new(), None);
        loop {
            let line = self.line()?;
            match line.trim_end().split_once(": ") {
                Some(("event", word)) => word.clone_into(&mut kind),
                Some(("id", number)) => id = Some(number.parse().expect("a number")),
                Some(("data", data)) => return Some((kind, id, serde_json::from_str(data).expect("JSON"))),
                _ => {}
            }
        }
    }
}

#[test]
fn a_reading_is_told_as_it_is_kept_and_again_to_who_missed_it() {
    let folder = valley(SIMPLE);
    let server = serve_in(folder.path(), "site.toml", &[]);
    let at = page(&server);
    let mut listener = Page::open(at, "/live", "");
    let posted = Instant::now();
    assert_eq!(post(at, "/in/simple", &simple(ONE, 1, PAYLOAD)).status, 204);
    let (kind, id, reading) = listener.event().expect("it is told");
    assert!(posted.elapsed() < Duration::from_secs(1), "within a second of its commit");
    assert_eq!((kind.as_str(), id), ("reading", None), "the frame's number comes last");
    // The values of this payload by the sample traffic.
    assert_eq!((&reading["message"], &reading["values"]["air"]), (&json!("report"), &json!(-1.6)));
    let (kind, id, frame) = listener.event().expect("it is told");
    assert_eq!((kind.as_str(), id, &frame["verdict"]), ("frame", Some(1), &json!("new")));
    assert_eq!(frame["node"], "ho-000");
    drop(listener);
    for counter in 2..5 {
        assert_eq!(post(at, "/in/simple", &simple(ONE, counter, PAYLOAD)).status, 204);
    }
    let ids = |page: &mut Page, count: usize| -> Vec<i64> {
        std::iter::from_fn(|| page.event()).filter_map(|event| event.1).take(count).collect()
    };
    assert_eq!(ids(&mut Page::open(at, "/live", "Last-Event-ID: 1\r\n"), 3), [2, 3, 4]);
    assert_eq!(ids(&mut Page::open(at, "/live?from=2", ""), 2), [3, 4]);
    // The browser's own word goes before the address, which says where it once began.
    assert_eq!(ids(&mut Page::open(at, "/live?from=1", "Last-Event-ID: 3\r\n"), 1), [4]);
    assert_eq!(get(at, "/live?from=yesterday").status, 400);
    let mut last = Page::open(at, "/live", "");
    let asked = Instant::now();
    let (code, _) = server.stop("-TERM");
    assert_eq!(code, Some(0));
    assert_eq!(last.event(), None, "the stream ends");
    assert!(asked.elapsed() < Duration::from_secs(1), "{:?} with a listener", asked.elapsed());
}

/// A server that asks who listens only once turns this red.
#[test]
fn a_stream_ends_when_whoever_listens_may_no_longer() {
    let (folder, server, at) = served();
    add(folder.path(), "ann", "act");
    add(folder.path(), "ben", "read");
    let listen = |name: &str| {
        Page::open(at, "/live", &format!("Cookie: {}\r\nConnection: close\r\n", cookie(at, name)))
    };
    let (mut ann, mut ben) = (listen("ann"), listen("ben"));
    let removed = people(folder.path(), &["remove", "ann"]);
    assert!(removed.status.success(), "{}", String::from_utf8_lossy(&removed.stderr));
    assert_eq!(post(at, "/in/simple", &simple(ONE, 1, PAYLOAD)).status, 204);
    assert_eq!(ann.event(), None, "she was removed, and is told nothing of it");
    assert_eq!(ben.event().expect("he goes on").0, "reading");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

#[test]
fn who_has_missed_more_than_a_thousand_frames_reads_the_page_anew() {
    let listed = SIMPLE.replace("device", "each = \"/all\"\ndevice");
    let folder = valley(&listed);
    let server = serve_in(folder.path(), "site.toml", &[]);
    let at = page(&server);
    let many = |from: u32| {
        let one = |counter: u32| json!({ "id": ONE, "n": counter, "body": PAYLOAD });
        json!({ "all": (from..from + 600).map(one).collect::<Vec<_>>() }).to_string().into_bytes()
    };
    for from in [0, 600] {
        let answer = post(at, "/in/simple", &many(from));
        assert_eq!(answer.status, 204, "{answer:?}");
    }
    let mut page = Page::open(at, "/live?from=5", "");
    assert_eq!(page.event(), Some(("reload".to_owned(), Some(1200), json!({ "id": 1200 }))));
    let mut page = Page::open(at, "/live?from=200", "");
    let told: Vec<i64> = std::iter::from_fn(|| page.event()).filter_map(|event| event.1).take(1000).collect();
    assert_eq!(told, (201..=1200).collect::<Vec<i64>>(), "a thousand are made up for");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

#[test]
fn health_and_figures_are_told_and_foreign_names_refused() {
    let folder = valley(SIMPLE);
    let server = serve_in(folder.path(), "site.toml", &[]);
    let at = page(&server);
    let health = get(at, "/health");
    assert_eq!((health.status, health.body.trim()), (200, r#"{"well":true,"wrong":[]}"#));
    assert_eq!(post(at, "/in/simple", &simple(ONE, 1, PAYLOAD)).status, 204);
    assert_eq!(post(at, "/in/simple", b"{").status, 422);
    let metrics = get(at, "/metrics");
    assert!(metrics.head.contains("application/openmetrics-text; version=1.0.0"), "{}", metrics.head);
    let lines: Vec<&str> = metrics.body.lines().collect();
    assert_eq!(lines.last(), Some(&"# EOF"), "OpenMetrics 1.0, the last line");
    for line in [
        "# TYPE overwinter_frames counter",
        r#"overwinter_frames_total{verdict="new"} 1"#,
        r#"overwinter_frames_total{verdict="refused:json"} 1"#,
        "overwinter_intake_dropped_total 0",
        "overwinter_well 1",
    ] {
        assert!(lines.contains(&line), "{line}\n{}", metrics.body);
    }
    let names = lines
        .iter()
        .filter(|line| !line.starts_with('#'))
        .all(|line| line.rsplit_once(' ').is_some_and(|(_, value)| value.parse::<f64>().is_ok()));
    assert!(names, "every sample is a number: {}", metrics.body);
    // A page of somebody else's that has its name point here sends that name.
    assert_eq!(ask(at, "GET /health\r\nHost: evil.example\r\n", &[]).status, 421);
    assert_eq!(ask(at, &format!("GET /health\r\nHost: localhost:{}\r\n", at.port()), &[]).status, 200);
    assert_eq!(server.stop("-TERM").0, Some(0));
}
