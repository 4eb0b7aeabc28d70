//! Who is let in, and who is not.

use std::fs;
use std::net::SocketAddr;
use std::path::Path;
use std::process::Output;

use logbook::people::Word;
use rusqlite::Connection;
use tempfile::TempDir;

use super::valley::{Answer, SIMPLE, ask, get, page, post, secret, simple, valley};
use super::{Server, program, serve_in};

const PASSPHRASE: &str = "sleet over the hill";

/// A valley with its server, and where that answers.
pub(super) fn served() -> (TempDir, Server, SocketAddr) {
    let folder = valley(SIMPLE);
    secret(&folder.path().join("ann.pass"), PASSPHRASE);
    let server = serve_in(folder.path(), "site.toml", &[]);
    let at = page(&server);
    (folder, server, at)
}

pub(super) fn people(folder: &Path, arguments: &[&str]) -> Output {
    program(folder, &[&["people", "site.toml"], arguments].concat()).output().expect("it runs")
}

fn said(output: &Output) -> String {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout.clone()).expect("it is text")
}

/// Adds somebody with the passphrase of all.
pub(super) fn add(folder: &Path, name: &str, may: &str) {
    said(&people(folder, &["add", name, "--may", may, "--passphrase-file", "ann.pass"]));
}

/// The word of a program of somebody's.
pub(super) fn token(folder: &Path, name: &str, may: &str) -> String {
    said(&people(folder, &["token", name, "test", "--may", may])).trim().to_owned()
}

fn send(at: SocketAddr, path: &str, fields: &str, body: &str) -> Answer {
    let form = "Content-Type: application/x-www-form-urlencoded\r\n";
    ask(at, &format!("POST {path}\r\n{form}{fields}"), body.as_bytes())
}

fn log_in(at: SocketAddr, name: &str, passphrase: &str) -> Answer {
    send(at, "/login", "", &format!("name={name}&passphrase={}&to=/metrics", passphrase.replace(' ', "+")))
}

pub(super) fn field(answer: &Answer, name: &str) -> Option<String> {
    answer.head.lines().find_map(|line| {
        let (field, value) = line.split_once(": ")?;
        field.eq_ignore_ascii_case(name).then(|| value.to_owned())
    })
}

/// The cookie of somebody who logs in.
pub(super) fn cookie(at: SocketAddr, name: &str) -> String {
    let answer = log_in(at, name, PASSPHRASE);
    assert_eq!((answer.status, field(&answer, "location").as_deref()), (303, Some("/metrics")), "{answer:?}");
    let cookie = field(&answer, "set-cookie").expect("it is set");
    assert!(cookie.contains("; HttpOnly; SameSite=Strict; Max-Age=2592000"), "{cookie}");
    cookie.split(';').next().expect("the pair").to_owned()
}

/// The word of the forms of whoever has this cookie.
pub(super) fn form_word(cookie: &str) -> String {
    let (_, word) = cookie.split_once('-').expect("number and word");
    Word::shown(word).for_forms().reveal().to_owned()
}

fn with(at: SocketAddr, path: &str, fields: &str) -> u16 {
    ask(at, &format!("GET {path}\r\n{fields}\r\n"), &[]).status
}

#[test]
fn the_first_person_closes_the_page_and_is_let_in_while_it_runs() {
    let (folder, server, at) = served();
    assert_eq!(get(at, "/metrics").status, 200, "on this machine without accounts");
    add(folder.path(), "ann", "act");
    let closed = get(at, "/metrics");
    assert_eq!((closed.status, field(&closed, "www-authenticate").as_deref()), (401, Some("Bearer")));
    assert!(closed.head.contains("application/problem+json"), "{}", closed.head);
    assert_eq!(get(at, "/health").status, 200, "supervisors need no login");
    assert_eq!(post(at, "/in/simple", &simple("02F2A74D52E6B438", 1, "YAgY2jA=")).status, 204);
    let person = ask(at, "GET /metrics?a=b\r\nAccept: text/html\r\n", &[]);
    assert_eq!(
        (person.status, field(&person, "location").as_deref()),
        (303, Some("/login?to=/metrics%3Fa%3Db"))
    );
    let form = get(at, "/login?to=//evil.example");
    assert!(form.status == 200 && !form.body.contains("evil"), "{form:?}");
    let cookie = cookie(at, "ann");
    assert_eq!(with(at, "/metrics", &format!("Cookie: {cookie}\r\n")), 200);
    let token = token(folder.path(), "ann", "read");
    assert_eq!(with(at, "/metrics", &format!("Authorization: Bearer {token}\r\n")), 200);
    let other = if cookie.ends_with('0') { "1" } else { "0" };
    let forged = format!("{}{other}", &cookie[..cookie.len() - 1]);
    for fields in [
        format!("Cookie: {forged}\r\n"),
        "Cookie: overwinter=1-\r\n".to_owned(),
        format!("Authorization: Bearer {}\r\n", &token[..token.len() - 1]),
        format!("Authorization: Bearer {}\r\n", cookie.trim_start_matches("overwinter=")),
        format!("Cookie: overwinter={token}\r\n"),
    ] {
        assert_eq!(with(at, "/metrics", &fields), 401, "{fields}");
    }
    said(&people(folder.path(), &["remove", "ann"]));
    add(folder.path(), "ben", "read");
    for fields in [format!("Cookie: {cookie}\r\n"), format!("Authorization: Bearer {token}\r\n")] {
        assert_eq!(with(at, "/metrics", &fields), 401, "she was removed");
    }
    assert_eq!(log_in(at, "ann", PASSPHRASE).status, 403);
    assert_eq!(server.stop("-TERM").0, Some(0));
}

#[test]
fn a_login_ends_when_its_person_logs_out_or_its_time_is_over() {
    let (folder, server, at) = served();
    add(folder.path(), "ann", "read");
    let ours = cookie(at, "ann");
    let fields = format!("Cookie: {ours}\r\n");
    assert_ne!(with(at, "/logout", &fields), 303, "to look at it changes nothing");
    assert_eq!(with(at, "/metrics", &fields), 200);
    for (more, form) in [("", String::new()), ("", form_word("overwinter=1-other"))] {
        let refused = send(at, "/logout", &format!("{fields}{more}"), &format!("form={form}"));
        assert_eq!(refused.status, 403, "{refused:?}");
    }
    let form = format!("form={}", form_word(&ours));
    for elsewhere in ["Sec-Fetch-Site: cross-site\r\n", "Origin: https://evil.example\r\n"] {
        let refused = send(at, "/logout", &format!("{fields}{elsewhere}"), &form);
        assert_eq!(refused.status, 403, "{refused:?}");
    }
    assert_eq!(with(at, "/metrics", &fields), 200, "nothing of it has changed anything");
    let done = send(
        at,
        "/logout",
        &format!("{fields}Origin: http://{at}\r\nSec-Fetch-Site: same-origin\r\n"),
        &form,
    );
    assert_eq!((done.status, field(&done, "location").as_deref()), (303, Some("/login")));
    assert_eq!(with(at, "/metrics", &fields), 401);
    let fields = format!("Cookie: {}\r\n", cookie(at, "ann"));
    assert_eq!(with(at, "/metrics", &fields), 200);
    let log = Connection::open(folder.path().join("log.sqlite")).expect("it opens");
    assert_eq!(log.execute("UPDATE login SET until = 1", []).expect("it is changed"), 1);
    assert_eq!(with(at, "/metrics", &fields), 401);
    assert_eq!(server.stop("-TERM").0, Some(0));
}

#[test]
fn five_wrong_passphrases_slow_down_also_who_then_knows_it() {
    let (folder, server, at) = served();
    add(folder.path(), "ann", "read");
    assert_eq!(log_in(at, "nobody", PASSPHRASE).status, 403);
    assert_eq!(log_in(at, "ann", "").status, 403);
    for _ in 0..4 {
        assert_eq!(log_in(at, "ann", "sleet over the hills").status, 403);
    }
    let slowed = log_in(at, "ann", PASSPHRASE);
    assert_eq!(slowed.status, 429, "{slowed:?}");
    let wait: u64 = field(&slowed, "retry-after").and_then(|text| text.parse().ok()).expect("seconds");
    assert!((1..=3).contains(&wait), "{wait}");
    std::thread::sleep(std::time::Duration::from_secs(wait));
    cookie(at, "ann");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

#[test]
fn a_link_is_shown_without_being_used_up_and_sets_one_passphrase() {
    let (folder, server, at) = served();
    let text = said(&people(folder.path(), &["add", "ann", "--may", "act", "--link"]));
    let link =
        text.lines().find_map(|line| line.trim().strip_prefix(&format!("http://{at}"))).expect("a link");
    for _ in 0..2 {
        let shown = get(at, link);
        assert!(shown.status == 200 && shown.body.contains("A passphrase for ann"), "{shown:?}");
        assert_eq!(field(&shown, "referrer-policy").as_deref(), Some("same-origin"));
    }
    let set = |one: &str, other: &str| {
        let body = format!("passphrase={}&again={}", one.replace(' ', "+"), other.replace(' ', "+"));
        send(at, link, "", &body).status
    };
    assert_eq!(set("too short", "too short"), 422);
    assert_eq!(set(PASSPHRASE, "sleet over the hills"), 422);
    assert_eq!(set(PASSPHRASE, PASSPHRASE), 303);
    assert_eq!(set("another passphrase", "another passphrase"), 404);
    assert_eq!(get(at, link).status, 404);
    cookie(at, "ann");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

#[test]
fn beyond_this_machine_nothing_is_read_until_there_is_an_account() {
    let folder = valley(SIMPLE);
    let site = folder.path().join("site.toml");
    let text = fs::read_to_string(&site).expect("it is there");
    fs::write(&site, text.replace("page = ", "behind_proxy = true\npage = ")).expect("it is written");
    secret(&folder.path().join("ann.pass"), PASSPHRASE);
    let server = serve_in(folder.path(), "site.toml", &[]);
    let at = page(&server);
    let closed = get(at, "/metrics");
    assert_eq!(closed.status, 403);
    assert!(closed.body.contains("overwinter people SITE.toml add NAME"), "{}", closed.body);
    add(folder.path(), "ann", "read");
    let answer = log_in(at, "ann", PASSPHRASE);
    let set = field(&answer, "set-cookie").expect("it is set");
    assert!(set.ends_with("; Secure"), "{set}");
    // Wrong tries count by the address that the proxy has seen.
    let from = |address: &str| {
        let body = "name=ann&passphrase=wrong";
        send(at, "/login", &format!("X-Forwarded-For: 203.0.113.9, {address}\r\n"), body).status
    };
    for _ in 0..5 {
        assert_eq!(from("198.51.100.1"), 403);
    }
    assert_eq!((from("198.51.100.1"), from("198.51.100.2")), (429, 403));
    assert_eq!(server.stop("-TERM").0, Some(0));
}

#[test]
fn people_are_listed_and_mistakes_are_said() {
    let (folder, server, at) = served();
    assert_eq!(said(&people(folder.path(), &["list"])), "nobody: the page answers on this machine alone\n");
    add(folder.path(), "ann", "act");
    said(&people(folder.path(), &["add", "ben", "--may", "read", "--link"]));
    token(folder.path(), "ann", "read");
    let list = said(&people(folder.path(), &["list"]));
    let lines: Vec<&str> = list.lines().collect();
    assert!(lines[0].starts_with("ann may act, since 20"), "{list}");
    assert!(
        lines[1].starts_with("  program test may read, since 20") && lines[1].ends_with("not used yet"),
        "{list}"
    );
    assert!(
        lines[2].starts_with("ben may read") && lines[2].ends_with("has set no passphrase yet"),
        "{list}"
    );
    for (arguments, words) in [
        (&["add", "ann", "--may", "read", "--link"][..], "there is somebody of the name \"ann\""),
        (&["remove", "eve"], "there is nobody of the name \"eve\""),
        (&["token", "ben", "test", "--may", "act"], "ben may read, and not act"),
        (&["token", "ben", "test", "--remove"], "ben has no program of the name"),
        (&["add", " eve", "--may", "read", "--link"], "has no blanks around it"),
    ] {
        let refused = people(folder.path(), arguments);
        let text = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert_eq!(refused.status.code(), Some(2), "{arguments:?}");
        assert!(text.contains(words), "{arguments:?}: {text}");
    }
    assert_eq!(with(at, "/metrics", ""), 401);
    assert_eq!(server.stop("-TERM").0, Some(0));
}

/// Neither the log nor what is printed or answered holds a passphrase or a word that lets somebody in.
#[test]
fn no_passphrase_and_no_word_is_kept_or_printed() {
    let (folder, server, at) = served();
    add(folder.path(), "ann", "act");
    let link = said(&people(folder.path(), &["link", "ann"]));
    let link = link.split("/first/").nth(1).and_then(|rest| rest.split_whitespace().next()).expect("a link");
    let words = [token(folder.path(), "ann", "read"), cookie(at, "ann"), link.to_owned()];
    let mut answers = String::new();
    for fields in [format!("Authorization: Bearer {}x\r\n", words[0]), format!("Cookie: {}x\r\n", words[1])] {
        let answer = ask(at, &format!("GET /metrics\r\n{fields}\r\n"), &[]);
        answers.extend([answer.head, answer.body]);
    }
    let wrong = log_in(at, "ann", &format!("{PASSPHRASE}x"));
    answers += &wrong.body;
    let list = said(&people(folder.path(), &["list"]));
    let (greeting, code_and_words) = (server.greeting.clone(), server.stop("-TERM"));
    let printed = format!("{greeting}{}{answers}{list}", code_and_words.1);
    let files =
        ["log.sqlite", "log.sqlite-wal"].map(|name| fs::read(folder.path().join(name)).unwrap_or_default());
    let holds = |text: &str| {
        printed.contains(text)
            || files.iter().any(|file| file.windows(text.len()).any(|stretch| stretch == text.as_bytes()))
    };
    assert!(holds("ann"), "the search finds what is there");
    assert!(!holds(PASSPHRASE));
    for word in &words {
        let secret = word.split_once('-').expect("number and word").1;
        assert!(secret.len() == 64 && !holds(secret), "{word}");
    }
}
