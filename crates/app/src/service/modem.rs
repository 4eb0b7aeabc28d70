//! Text messages by a modem on a serial line.
//!
//! # References
//! 3GPP TS 27.005, release 17: text mode, clauses 3.2.3 (CMGF), 3.5.1 (CMGS), 3.4.2 (CMGL), 3.5.4 (CMGD); 3GPP TS 27.007, release 17:
//! clauses 5.5 (CSCS) and 8.3 (CPIN).

use std::io::{Read, Write};
use std::time::{Duration, Instant};

use zeroize::Zeroizing;

/// An answer to a command must have come by then, and the network must have taken a message.
const SLOWEST: (Duration, Duration) = (Duration::from_secs(10), Duration::from_mins(1));
/// Letters of one message in the modem's own alphabet of 7 bits.
const LETTERS: usize = 160;
/// Ends a text.
const END: u8 = 0x1a;

/// A reply that somebody sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Reply {
    /// The number of the sender.
    pub(super) from: String,
    /// The alarm that they have seen.
    pub(super) seen: i64,
}

/// A modem at the other end of a line whose reads wait for a short time and then end with nothing.
pub(super) struct Modem<L> {
    line: L,
    heard: String,
}

impl<L: Read + Write> Modem<L> {
    /// Wakes the modem, and gives it the card's PIN if it asks for one: a PIN is asked for once at most, as three wrong ones
    /// close the card.
    pub(super) fn wake(line: L, pin: impl FnOnce() -> Result<String, String>) -> Result<Self, String> {
        let mut modem = Self { line, heard: String::new() };
        modem.ask("ATE0")?;
        let asked = modem.ask("AT+CPIN?")?;
        if asked.contains("SIM PIN") {
            let command = Zeroizing::new(format!("AT+CPIN=\"{}\"", pin()?));
            // What the modem says may hold the PIN.
            modem.ask(&command).map_err(|_with_pin| "the card does not take its PIN".to_owned())?;
        }
        modem.ask("AT+CMGF=1")?;
        modem.ask("AT+CSCS=\"IRA\"")?;
        Ok(modem)
    }

    /// Sends a text; what the modem says.
    pub(super) fn send(&mut self, to: &str, text: &str) -> Result<String, String> {
        self.write(format!("AT+CMGS=\"{to}\"\r").as_bytes())?;
        self.until(SLOWEST.0, |heard| heard.contains("> ") || failed(heard).is_some())?;
        self.sound("AT+CMGS")?;
        self.write(&[fitting(text).as_bytes(), &[END]].concat())?;
        self.until(SLOWEST.1, is_over)?;
        let said = self.sound("the text")?;
        Ok(said.split_whitespace().collect::<Vec<_>>().join(" "))
    }

    /// Replies that nobody has read yet; they are removed from the card.
    pub(super) fn replies(&mut self) -> Result<Vec<Reply>, String> {
        let all = self.ask("AT+CMGL=\"REC UNREAD\"")?;
        let found = replies(&all);
        for (index, _) in &found {
            self.ask(&format!("AT+CMGD={index}"))?;
        }
        Ok(found.into_iter().filter_map(|(_, reply)| reply).collect())
    }

    fn ask(&mut self, command: &str) -> Result<String, String> {
        self.write(format!("{command}\r").as_bytes())?;
        self.until(SLOWEST.0, is_over)?;
        self.sound(command)
    }

    fn write(&mut self, bytes: &[u8]) -> Result<(), String> {
        self.heard.clear();
        let written = self.line.write_all(bytes).and_then(|()| self.line.flush());
        written.map_err(|error| format!("the line: {error}"))
    }

    fn until(&mut self, longest: Duration, is_enough: impl Fn(&str) -> bool) -> Result<(), String> {
        let end = Instant::now() + longest;
        let mut buffer = [0; 256];
        while !is_enough(&self.heard) {
            if Instant::now() >= end {
                return Err("the modem does not answer".to_owned());
            }
            let read = self.line.read(&mut buffer).map_err(|error| format!("the line: {error}"))?;
            self.heard += &String::from_utf8_lossy(buffer.get(..read).unwrap_or_default());
        }
        Ok(())
    }

    fn sound(&self, command: &str) -> Result<String, String> {
        match failed(&self.heard) {
            Some(line) => Err(format!("to {command} the modem says {line}")),
            None => Ok(self.heard.clone()),
        }
    }
}

fn is_over(heard: &str) -> bool {
    heard.lines().any(|line| line.trim() == "OK") || failed(heard).is_some()
}

/// The line that says that a command failed.
fn failed(heard: &str) -> Option<&str> {
    heard
        .lines()
        .map(str::trim)
        .find(|line| *line == "ERROR" || line.starts_with("+CMS ERROR") || line.starts_with("+CME ERROR"))
}

/// A text as it fits into one message: letters of ASCII, the end left out.
fn fitting(text: &str) -> String {
    let letter = |letter: char| match letter {
        '°' => String::new(),
        'ä' | 'Ä' => "ae".to_owned(),
        'ö' | 'Ö' => "oe".to_owned(),
        'ü' | 'Ü' => "ue".to_owned(),
        'ß' => "ss".to_owned(),
        '\n' => " ".to_owned(),
        // These have two letters in the modem's alphabet, or end a text.
        '[' | ']' | '{' | '}' | '\\' | '^' | '~' | '|' | '`' => "'".to_owned(),
        letter if letter.is_ascii() && !letter.is_ascii_control() => letter.to_string(),
        _ => "?".to_owned(),
    };
    let text: String = text.chars().map(letter).collect();
    if text.len() <= LETTERS {
        return text;
    }
    text.chars().take(LETTERS - 2).chain("..".chars()).collect()
}

/// Place on the card and what is said, of each reply of a list: "seen 17".
fn replies(list: &str) -> Vec<(u32, Option<Reply>)> {
    let mut found = Vec::new();
    let mut lines = list.lines().map(str::trim).peekable();
    while let Some(line) = lines.next() {
        let Some(head) = line.strip_prefix("+CMGL:") else { continue };
        let mut parts = head.split(',').map(|part| part.trim().trim_matches('"'));
        let (Some(Ok(index)), Some(from)) = (parts.next().map(str::parse::<u32>), parts.nth(1)) else {
            continue;
        };
        let text = lines.peek().copied().unwrap_or_default().to_lowercase();
        let seen = text.strip_prefix("seen").and_then(|number| number.trim().parse().ok());
        found.push((index, seen.map(|seen| Reply { from: from.to_owned(), seen })));
    }
    found
}

/// The line, raw and at 115,200 bit/s; its reads wait for a second at most.
#[cfg(target_os = "linux")]
pub(super) fn line(port: &str) -> Result<std::fs::File, String> {
    use rustix::fs::{Mode, OFlags};
    use rustix::termios::{OptionalActions, SpecialCodeIndex, speed, tcgetattr, tcsetattr};
    let opened = rustix::fs::open(port, OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC, Mode::empty());
    let line = opened.map_err(|error| format!("{port}: {}", crate::output::reason(&error.into())))?;
    let not_serial = |error: rustix::io::Errno| format!("{port} is no serial line: {error}");
    let mut ways = tcgetattr(&line).map_err(not_serial)?;
    ways.make_raw();
    ways.set_speed(speed::B115200).map_err(not_serial)?;
    ways.special_codes[SpecialCodeIndex::VMIN] = 0;
    ways.special_codes[SpecialCodeIndex::VTIME] = 10;
    tcsetattr(&line, OptionalActions::Now, &ways).map_err(not_serial)?;
    Ok(line.into())
}

#[cfg(not(target_os = "linux"))]
pub(super) fn line(port: &str) -> Result<std::fs::File, String> {
    Err(format!("{port}: modems are spoken to on Linux only"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_one_message_in_letters_that_every_modem_has() {
        assert_eq!(fitting("frost: mast reads -0.4 °C\nGrüße"), "frost: mast reads -0.4 C Gruesse");
        let long = fitting(&"x".repeat(200));
        assert_eq!((long.len(), long.ends_with("x..")), (160, true));
        assert!(!fitting("a\u{1a}b").contains('\u{1a}'), "nobody ends a text early");
    }

    #[test]
    fn replies_name_the_alarm_that_was_seen() {
        let list = "\r\n+CMGL: 3,\"REC UNREAD\",\"+436600000000\",,\"26/11/30,14:00:00+04\"\r\nSeen 17\r\n\
                    +CMGL: 4,\"REC UNREAD\",\"+436600000001\",,\"26/11/30,14:01:00+04\"\r\nhello\r\n\r\nOK\r\n";
        let seen = Reply { from: "+436600000000".to_owned(), seen: 17 };
        assert_eq!(replies(list), [(3, Some(seen)), (4, None)]);
    }
}
