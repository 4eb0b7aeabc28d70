//! Trials of every way of telling, against a server of mail, a modem and a broker of the test's own.

use std::fs;
use std::io::{BufRead as _, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use tempfile::TempDir;

use super::broker::{Broker, Peer};
use super::valley::{SIMPLE, page, post, simple, valley};
use super::{larkmoor, program, serve_in};

/// Larkmoor with somebody who is told.
fn told_by(way: &str) -> TempDir {
    let folder = larkmoor();
    let site = folder.path().join("larkmoor.toml");
    let text = fs::read_to_string(&site).expect("it is there");
    fs::write(&site, format!("{text}\n[tell.desk]\n{way}\n")).expect("it is written");
    folder
}

/// Exit code, and what was said on both ways out.
fn tried(folder: &Path, name: &str) -> (Option<i32>, String) {
    let site = if folder.join("site.toml").exists() { "site.toml" } else { "larkmoor.toml" };
    let ran = program(folder, &["serve", site, "--try-tell", name]).output().expect("it runs");
    let said = [ran.stdout, ran.stderr].concat();
    (ran.status.code(), String::from_utf8_lossy(&said).into_owned())
}

/// A server that takes mail (RFC 5321): of each the commands that it was given, and the mail.
fn post_office(answer_to_data: &'static str) -> (SocketAddr, Receiver<Vec<String>>) {
    let socket = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = socket.local_addr().expect("it has one");
    let (told, heard) = channel();
    std::thread::spawn(move || {
        for stream in socket.incoming() {
            let mut stream = stream.expect("somebody comes");
            stream.write_all(GREETING).expect("it is heard");
            let lines = take_mail(stream, answer_to_data);
            if told.send(lines).is_err() {
                return;
            }
        }
    });
    (address, heard)
}

const GREETING: &[u8] = b"220 mail.larkmoor.example\r\n";

/// From the greeting on.
fn take_mail(stream: impl Read + Write, answer_to_data: &str) -> Vec<String> {
    let mut reader = BufReader::new(stream);
    let mut lines = Vec::new();
    let mut in_data = false;
    loop {
        let mut line = String::new();
        if reader.read_line(&mut line).unwrap_or(0) == 0 {
            return lines;
        }
        let line = line.trim_end().to_owned();
        lines.push(line.clone());
        let mut say = |text: &str| {
            write!(reader.get_mut(), "{text}\r\n")
                .and_then(|()| reader.get_mut().flush())
                .expect("it is heard");
        };
        if in_data {
            if line == "." {
                in_data = false;
                say(answer_to_data);
            }
            continue;
        }
        match line.split([' ', ':']).next().unwrap_or_default() {
            "EHLO" => say("250-mail.larkmoor.example\r\n250 AUTH PLAIN"),
            "DATA" => {
                in_data = true;
                say("354 go on");
            }
            "AUTH" => say("235 welcome"),
            "QUIT" => {
                say("221 bye");
                return lines;
            }
            _ => say("250 well"),
        }
    }
}

#[test]
fn a_trial_goes_by_mail_with_name_and_password_and_says_what_came_back() {
    let (address, heard) = post_office("250 queued as 17");
    let folder = told_by(&format!(
        "mail = {{ server = \"smtp://{address}\", from = \"valley@larkmoor.example\", to = [\"ann@larkmoor.example\", \
         \"ben@larkmoor.example\"], login_file = \"mail.login\" }}"
    ));
    super::valley::secret(&folder.path().join("mail.login"), "valley\nsleet over the hill");
    let (code, said) = tried(folder.path(), "desk");
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("desk: the server has taken it: 250 queued as 17"), "{said}");
    let lines = heard.recv_timeout(Duration::from_secs(20)).expect("it ends");
    let all = lines.join("\n");
    // Base64 of NUL valley NUL "sleet over the hill" (RFC 4616), by hand with `base64`.
    assert!(all.contains("AUTH PLAIN AHZhbGxleQBzbGVldCBvdmVyIHRoZSBoaWxs"), "{all}");
    for line in [
        "MAIL FROM:<valley@larkmoor.example>",
        "RCPT TO:<ann@larkmoor.example>",
        "RCPT TO:<ben@larkmoor.example>",
        "Subject: Larkmoor: a trial",
        "Auto-Submitted: auto-generated",
    ] {
        assert!(lines.iter().any(|heard| heard.starts_with(line)), "{line}: {all}");
    }
    assert!(all.contains("Message-ID: <desk-trial-") && all.contains("@larkmoor.example>"), "{all}");
    assert!(!said.contains("sleet"), "{said}");
}

/// A server that takes mail over TLS only, by the certificate `mail` of a folder: at once (RFC 8314) or after `STARTTLS` (RFC 3207).
/// Who does not believe its certificate gives it no lines.
fn sealed_post_office(folder: &Path, starttls: bool) -> (u16, Receiver<Vec<String>>) {
    let config = super::broker::seal(folder, "mail");
    let socket = TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = socket.local_addr().expect("it has one").port();
    let (told, heard) = channel();
    std::thread::spawn(move || {
        for stream in socket.incoming() {
            let mut stream = stream.expect("somebody comes");
            if starttls {
                ask_for_tls(&mut stream);
            }
            let session = rustls::ServerConnection::new(std::sync::Arc::clone(&config)).expect("a session");
            let mut sealed = rustls::StreamOwned::new(session, stream);
            if !starttls && sealed.write_all(GREETING).and_then(|()| sealed.flush()).is_err() {
                continue;
            }
            if told.send(take_mail(sealed, "250 queued as 18")).is_err() {
                return;
            }
        }
    });
    (port, heard)
}

/// In clear text nothing but `EHLO` and `STARTTLS` is taken.
fn ask_for_tls(stream: &mut TcpStream) {
    stream.write_all(GREETING).expect("it is heard");
    for (asked, answer) in
        [("EHLO", "250-mail.larkmoor.example\r\n250 STARTTLS\r\n"), ("STARTTLS", "220 go on\r\n")]
    {
        let mut line = String::new();
        BufReader::with_capacity(1, &mut *stream).read_line(&mut line).expect("it speaks");
        assert!(line.starts_with(asked), "{line} in clear text");
        stream.write_all(answer.as_bytes()).expect("it is heard");
    }
}

/// Neither mail nor password goes to a server for which nobody vouches.
#[test]
fn mail_over_tls_goes_to_the_server_that_is_vouched_for_and_to_no_other() {
    for (scheme, starttls) in [("smtps", ""), ("smtp", ", starttls = true")] {
        let folder = larkmoor();
        let site = folder.path().join("larkmoor.toml");
        let text = fs::read_to_string(&site).expect("it is there");
        super::broker::certificate(folder.path(), "mail");
        super::broker::certificate(folder.path(), "stranger");
        super::valley::secret(&folder.path().join("mail.login"), "valley\nsleet over the hill");
        let (port, heard) = sealed_post_office(folder.path(), !starttls.is_empty());
        let trial = |ca: &str| {
            let way = format!(
                "mail = {{ server = \"{scheme}://localhost:{port}\", from = \"valley@larkmoor.example\", \
                 to = [\"ann@larkmoor.example\"], login_file = \"mail.login\", ca = \"{ca}\"{starttls} }}"
            );
            fs::write(&site, format!("{text}\n[tell.desk]\n{way}\n")).expect("it is written");
            tried(folder.path(), "desk")
        };
        let (code, said) = trial("stranger.pem");
        assert!(code == Some(2) && said.contains("certificate"), "{scheme}: {said}");
        let of_stranger: Vec<String> = heard.try_iter().flatten().collect();
        assert!(of_stranger.is_empty(), "{scheme}: {of_stranger:?}");
        let (code, said) = trial("mail.pem");
        assert!(code == Some(0) && said.contains("250 queued as 18"), "{scheme}: {said}");
        let lines = heard.iter().find(|lines| !lines.is_empty()).expect("it ends");
        assert!(lines.iter().any(|line| line.starts_with("RCPT TO:<ann@larkmoor.example>")), "{lines:?}");
    }
}

#[test]
fn a_trial_that_is_refused_says_why_and_ends_with_2() {
    let (address, _heard) = post_office("554 no such valley");
    let folder = told_by(&format!(
        "mail = {{ server = \"smtp://{address}\", from = \"valley@larkmoor.example\", to = [\"ann@larkmoor.example\"] }}"
    ));
    let (code, said) = tried(folder.path(), "desk");
    assert!(code == Some(2) && said.contains("no such valley"), "{said}");
    let (code, said) = tried(folder.path(), "nobody");
    assert!(code == Some(2) && said.contains("the site file names desk"), "{said}");
    let gone = TcpListener::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port");
    let folder = told_by(&format!("webhook = {{ url = \"http://{gone}/alarms\" }}"));
    let (code, said) = tried(folder.path(), "desk");
    assert!(code == Some(2) && said.contains("refused"), "{said}");
}

/// A modem at one end of a pseudo-terminal: what it was told, and the path of the other end.
#[cfg(target_os = "linux")]
fn modem(card: &'static str) -> (String, Receiver<Vec<String>>) {
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    let own = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pseudo-terminal");
    grantpt(&own).and_then(|()| unlockpt(&own)).expect("it opens");
    let path = ptsname(&own, Vec::new()).expect("it has a name").into_string().expect("it is text");
    // As long as somebody holds the other end, it does not hang up between two that speak.
    let held = fs::OpenOptions::new().read(true).write(true).open(&path).expect("it opens");
    let (told, heard) = channel();
    std::thread::spawn(move || {
        let mut line = fs::File::from(own);
        let (mut all, mut given, mut in_text) = (Vec::new(), String::new(), false);
        let _held = held;
        loop {
            let mut octet = [0];
            if line.read(&mut octet).unwrap_or(0) == 0 {
                return;
            }
            let end = if in_text { 0x1a } else { b'\r' };
            if octet[0] != end {
                given.push(char::from(octet[0]));
                continue;
            }
            let command = std::mem::take(&mut given);
            let answer = match command.as_str() {
                _ if in_text => "\r\n+CMGS: 7\r\n\r\nOK\r\n".to_owned(),
                "AT+CPIN?" => format!("\r\n+CPIN: {card}\r\n\r\nOK\r\n"),
                command if command.starts_with("AT+CMGS") => "\r\n> ".to_owned(),
                _ => "\r\nOK\r\n".to_owned(),
            };
            let over = in_text;
            in_text = command.starts_with("AT+CMGS");
            all.push(command);
            line.write_all(answer.as_bytes()).expect("it is heard");
            if over && told.send(all.clone()).is_err() {
                return;
            }
        }
    });
    (path, heard)
}

#[cfg(target_os = "linux")]
#[test]
fn a_trial_goes_by_a_modem_as_a_text_message() {
    let (port, heard) = modem("SIM PIN");
    let way =
        format!("modem = {{ port = \"{port}\", to = [\"+43 660 0000000\"], pin_file = \"modem.pin\" }}");
    let folder = told_by(&way);
    super::valley::secret(&folder.path().join("modem.pin"), "4711");
    let (code, said) = tried(folder.path(), "desk");
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("the modem says +CMGS: 7 OK"), "{said}");
    let commands = heard.recv_timeout(Duration::from_secs(20)).expect("a text");
    assert_eq!(
        commands,
        [
            "ATE0",
            "AT+CPIN?",
            "AT+CPIN=\"4711\"",
            "AT+CMGF=1",
            "AT+CSCS=\"IRA\"",
            "AT+CMGS=\"+436600000000\"",
            "This is a trial of desk: alarms of Larkmoor come this way."
        ]
    );
    assert!(!said.contains("4711"), "{said}");
}

#[cfg(target_os = "linux")]
#[test]
fn a_modem_without_its_pin_or_a_file_that_is_no_line_is_said_in_words() {
    let (port, _heard) = modem("SIM PIN");
    let folder = told_by(&format!("modem = {{ port = \"{port}\", to = [\"+436600000000\"] }}"));
    let (code, said) = tried(folder.path(), "desk");
    assert!(code == Some(2) && said.contains("write a `pin_file`"), "{said}");
    let folder = told_by("modem = { port = \"larkmoor.toml\", to = [\"+436600000000\"] }");
    let text = fs::read_to_string(folder.path().join("larkmoor.toml")).expect("it is there");
    let (code, said) = tried(folder.path(), "desk");
    assert!(code == Some(2) && said.contains("is no serial line"), "{said}");
    assert_eq!(fs::read_to_string(folder.path().join("larkmoor.toml")).expect("it is there"), text);
}

const ONE: &str = "02F2A74D52E6B438";
/// By hand, 10 bits of air first: 0110 0000 00 is 384, so -40 °C + 38.4 K = -1.6 °C.
const COLD: &str = "YAgY2jA=";
const FROST: &str = "\n[watch.rule.frost]\nfield = \"air\"\nbelow = \"1 Cel\"\nagain_at = \"2 Cel\"\n";
const PATIENCE: Duration = Duration::from_mins(1);

#[test]
fn a_frost_is_told_by_mail_once_also_when_the_server_is_killed_after_it() {
    let (address, mails) = post_office("250 queued");
    let more = format!(
        "{SIMPLE}{FROST}[tell.post]\nmail = {{ server = \"smtp://{address}\", from = \"valley@larkmoor.example\", \
         to = [\"ann@larkmoor.example\"] }}\n"
    );
    let folder = valley(&more);
    let mut server = serve_in(folder.path(), "site.toml", &[]);
    assert_eq!(post(page(&server), "/in/simple", &simple(ONE, 1, COLD)).status, 204);
    let mail = mails.recv_timeout(PATIENCE).expect("it is told");
    let subject = mail.iter().find(|line| line.starts_with("Subject: ")).expect("it has one");
    assert!(subject.starts_with("Subject: Sample valley: frost: "), "{subject}");
    let id = mail.iter().find(|line| line.starts_with("Message-ID: ")).expect("it has one");
    assert_eq!(id, "Message-ID: <post-1@larkmoor.example>", "the number of the message");
    // It was taken; that is kept before the next look at the queue.
    std::thread::sleep(Duration::from_secs(2));
    server.child.kill().expect("it is killed");
    server.child.wait().expect("it is gone");
    let server = serve_in(folder.path(), "site.toml", &[]);
    assert_eq!(post(page(&server), "/in/simple", &simple(ONE, 2, COLD)).status, 204);
    assert!(mails.recv_timeout(Duration::from_secs(12)).is_err(), "told once");
    assert_eq!(server.stop("-TERM").0, Some(0));
}

#[test]
fn an_alarm_and_a_trial_go_by_a_broker() {
    let Some(broker) = Broker::begin() else { return };
    let tell = format!("[tell.board]\nmqtt = {{ broker = \"mqtt://{}\" }}\n", broker.address);
    let folder = valley(&format!("{SIMPLE}{FROST}{tell}"));
    let server = serve_in(folder.path(), "site.toml", &[]);
    let mut board = Peer::connect(broker.address, "board");
    board.subscribe("overwinter/+/+/alarm");
    assert_eq!(post(page(&server), "/in/simple", &simple(ONE, 1, COLD)).status, 204);
    let (topic, body) = board.next();
    assert!(topic.starts_with("overwinter/Sample valley/ho-00"), "{topic}");
    let told: serde_json::Value = serde_json::from_str(&body).expect("JSON");
    assert_eq!((&told["alarms"][0]["rule"], &told["id"]), (&"threshold".into(), &"board-1".into()));
    assert_eq!(server.stop("-TERM").0, Some(0));
    let (code, said) = tried(folder.path(), "board");
    assert!(code == Some(0) && said.contains("the broker has taken it"), "{said}");
    let (topic, body) = board.next();
    assert_eq!(topic, "overwinter/Sample valley/trial/alarm");
    assert!(body.contains("This is a trial of board"), "{body}");
}
