//! What serves this site, where its data lies, what is kept and for how long.

use maud::{Markup, html};
use serde::Serialize;

use super::{Page, plain};
use crate::words;

/// What is known of the program and its log.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct About {
    /// Version of the program.
    pub version: String,
    /// What people call the site.
    pub site: String,
    /// Its remark.
    pub note: Option<String>,
    /// File of the log, without its folders.
    pub log_file: String,
    /// How large it is \[bytes\]; `None` if it can't be told.
    pub log_bytes: Option<u64>,
    /// Frames and messages in it.
    pub frames: u32,
    /// How long strangers' frames are kept \[days\]; `None`: for ever.
    pub strangers_days: Option<f64>,
    /// Whether strangers' frames are counted alone.
    pub strangers_only_counted: bool,
    /// What is wrong now, in words; empty if all is well.
    pub wrong: Vec<String>,
}

impl Page for About {
    const LIVE: bool = false;

    fn title(&self) -> String {
        match self.wrong.len() {
            0 => format!("{} is served, and all is well", plain(&self.site)),
            1 => "One thing is wrong with this log".to_owned(),
            more => format!("{more} things are wrong with this log"),
        }
    }

    fn main(&self) -> Markup {
        html! {
            @if let Some(note) = &self.note { p.note.quiet { (plain(note)) } }
            @for wrong in &self.wrong { p.warned.fails { (plain(wrong)) } }
            section {
                h2 { "The log" }
                table.plain { tbody {
                    (row("file", &self.file()))
                    (row("holds", &format!("{} and messages, each as it came", words::count(self.frames as usize, "frame"))))
                    (row("kept", "frames of your nodes, their readings, gateways' reports and what was sent: for ever, or until you delete the file"))
                    (row("strangers' frames", &self.strangers()))
                    (row("keys", "in the key box, apart from the log; no page and no answer shows one"))
                    (row("as text", "`overwinter export` writes readings and an archive that can be read without this program"))
                } }
            }
            section {
                h2 { "Cautions" }
                ul {
                    li { "A forecast holds if nothing breaks. Where a figure comes from memory or from one source alone, the report of `check` says so." }
                    li { "Lithium cells are not charged below 0 °C. A punctured or swollen cell leaves the site at once." }
                    li { "Do not rely on this page alone where frost, water or a life is at stake: a node, a gateway or this computer can fall silent." }
                    li { "Trackers show where people and their vehicles are. Tell them, and keep no more than you need." }
                    li { "Limits of radio law: check with your regulator." }
                }
            }
            section {
                h2 { "The program" }
                p { "overwinter " (self.version) ", under the MIT or the Apache-2.0 licence, as you like. Set in Literata and Source Sans 3 (SIL Open Font License 1.1)." }
                p { "This page asks no other server for anything." }
            }
        }
    }
}

impl About {
    fn file(&self) -> String {
        let size = self.log_bytes.map(|bytes| format!(", {} MB", words::figure(bytes as f64 / 1e6)));
        plain(&self.log_file) + &size.unwrap_or_default()
    }

    fn strangers(&self) -> String {
        match self.strangers_days {
            _ if self.strangers_only_counted => "counted, and not kept".to_owned(),
            Some(days) => format!("removed after {}", words::days(days)),
            None => "kept as all others".to_owned(),
        }
    }
}

fn row(label: &str, text: &str) -> Markup {
    html! { tr { th scope="row" { (label) } td { (crate::html::code(text)) } } }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn about() -> About {
        About {
            version: "0.1.0".into(),
            site: "Larkmoor".into(),
            note: None,
            log_file: "larkmoor.sqlite".into(),
            log_bytes: Some(2_500_000),
            frames: 1,
            strangers_days: Some(30.0),
            strangers_only_counted: false,
            wrong: Vec::new(),
        }
    }

    #[test]
    fn what_is_wrong_is_the_title() {
        assert_eq!(about().title(), "Larkmoor is served, and all is well");
        let full = About { wrong: vec!["the log can't be written: the disk is full".into()], ..about() };
        assert_eq!(full.title(), "One thing is wrong with this log");
        assert!(full.main().into_string().contains("the disk is full"));
    }

    /// By hand: 2,500,000 bytes are 2.5 MB.
    #[test]
    fn sizes_and_spans_have_their_units() {
        let text = about().main().into_string();
        assert!(
            text.contains("larkmoor.sqlite, 2.5 MB") && text.contains("removed after 30.0 days"),
            "{text}"
        );
        assert!(text.contains("1 frame and messages"), "{text}");
        let counted = About { strangers_only_counted: true, strangers_days: None, ..about() };
        assert!(counted.main().into_string().contains("counted, and not kept"));
    }
}
