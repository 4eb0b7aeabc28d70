//! Frames and messages as they came, one sentence each, the newest first.

use std::collections::BTreeMap;

use maud::{Markup, html};
use serde::Serialize;

use super::{Page, When, node_page, plain};
use crate::words;

/// What was heard.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Heard {
    /// Frames and messages of the last hour, by what became of them.
    pub last_hour: BTreeMap<String, u32>,
    /// The beginning of the verdicts that are shown; `None`: all.
    pub verdict: Option<String>,
    /// The newest first.
    pub frames: Vec<HeardFrame>,
    /// Older ones come before this number; `None` if there are none.
    pub older_before: Option<i64>,
}

/// A frame or message that was kept.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeardFrame {
    /// Its number in the log.
    pub id: i64,
    /// When it was heard.
    pub at: When,
    /// Whose it is, where that is known.
    pub node: Option<String>,
    /// Whether that is a node with a page of its own.
    #[serde(skip)]
    pub has_page: bool,
    /// The word for what became of it.
    pub verdict: String,
    /// Why, where there is more to say.
    pub reason: Option<String>,
    /// What it says, in words.
    pub says: Option<String>,
    /// Who heard it: gateways or a source.
    pub heard_by: Vec<String>,
    /// Modulation and rate, in words.
    pub data_rate: Option<String>,
    /// Received power of the best copy \[dBm\].
    pub rssi_dbm: Option<f64>,
    /// Signal to noise of the best copy \[dB\].
    pub snr_db: Option<f64>,
    /// How far that is above what the rate needs \[dB\].
    pub margin_db: Option<f64>,
}

/// What a verdict means, in a person's words; why something is refused stands in its reason.
pub fn verdict_words(verdict: &str) -> &str {
    match verdict {
        "late" => "late, a newer one came before it",
        "copy" => "a copy of one that is kept",
        "join" => "joins",
        refused if refused.starts_with("refused") => "refused",
        other => other,
    }
}

/// Verdicts by their beginnings, as they can be chosen.
const CHOICES: [(&str, &str); 5] =
    [("new", "new"), ("late", "late"), ("join", "joins"), ("copy", "copies"), ("refused", "refused")];

impl Heard {
    fn counted(&self, beginning: &str) -> u32 {
        self.last_hour
            .iter()
            .filter(|(verdict, _)| verdict.starts_with(beginning))
            .map(|(_, count)| count)
            .sum()
    }
}

impl Page for Heard {
    fn title(&self) -> String {
        let (copies, refused) = (self.counted("copy"), self.counted("refused"));
        let heard = self.last_hour.values().sum::<u32>() - copies;
        match (heard, refused) {
            (0, _) => "Nothing was heard this hour".to_owned(),
            (heard, 0) => format!("{heard} heard this hour, none refused"),
            (heard, refused) => format!("{heard} heard this hour, {refused} refused"),
        }
    }

    fn main(&self) -> Markup {
        html! {
            (self.choices())
            @if self.frames.is_empty() {
                p { "Nothing of this kind is in the log." }
            } @else {
                table.stacked.heard data-part="frames" {
                    thead { tr { th { "heard" } th { "who" } th { "what" } th { "by whom, and how well" } } }
                    tbody { @for frame in &self.frames { (frame.row()) } }
                }
            }
            @if let Some(before) = self.older_before {
                p { a href={ "/heard?" (self.query()) "before=" (before) } { "Older ones" } }
            }
        }
    }
}

impl Heard {
    fn query(&self) -> String {
        self.verdict.as_ref().map_or_else(String::new, |verdict| format!("verdict={verdict}&"))
    }

    fn choices(&self) -> Markup {
        html! {
            nav.choices aria-label="What is shown" data-part="choices" {
                a href="/heard" aria-current=[self.verdict.is_none().then_some("true")] { "all" }
                @for (beginning, word) in CHOICES {
                    a href={ "/heard?verdict=" (beginning) }
                        aria-current=[(self.verdict.as_deref() == Some(beginning)).then_some("true")] {
                        (word) " " span.quiet { (self.counted(beginning)) }
                    }
                }
                span.quiet { "counted over the last hour" }
            }
        }
    }
}

impl HeardFrame {
    pub(super) fn row(&self) -> Markup {
        html! {
            tr {
                td data-label="heard" { a href={ "/heard/" (self.id) } { (self.at.shown()) } }
                th scope="row" { (self.who()) }
                td.whole {
                    span.(self.class()) { (verdict_words(&self.verdict)) }
                    @if let Some(says) = &self.says { ": " (plain(says)) }
                    @if let Some(reason) = &self.reason { ": " (plain(reason)) }
                }
                td.whole.quiet { (self.how()) }
            }
        }
    }

    fn who(&self) -> Markup {
        match &self.node {
            Some(name) if self.has_page => html! { a href=(node_page(name)) { (plain(name)) } },
            Some(name) => html! { (plain(name)) },
            None => html! { span.quiet { "a stranger" } },
        }
    }

    fn class(&self) -> &'static str {
        if self.verdict.starts_with("refused") { "doubt" } else { "ink" }
    }

    /// "packing-house, SF9, −107 dBm, 7.5 dB over noise, 20 dB to spare".
    pub(super) fn how(&self) -> String {
        let mut parts: Vec<String> = self.heard_by.iter().map(|name| plain(name)).collect();
        parts.extend(self.data_rate.clone());
        parts.extend(self.rssi_dbm.map(|rssi| format!("{} dBm", minus(rssi, 0))));
        parts.extend(self.snr_db.map(|snr| format!("SNR {} dB", minus(snr, 1))));
        parts.extend(self.margin_db.map(|margin| format!("{} dB in hand", minus(margin, 0))));
        parts.join(", ")
    }
}

/// A figure with a true minus; minus nothing is nothing.
pub(crate) fn minus(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    let is_nothing = text.trim_start_matches(['-', '0', '.']).is_empty();
    if is_nothing { text.trim_start_matches('-').to_owned() } else { text.replace('-', "−") }
}

/// A data rate as people say it: 125 kHz are usual and left out.
pub fn rate_words(name: &str) -> String {
    match name.split_once("BW") {
        Some((spreading, "125")) => spreading.to_owned(),
        Some((spreading, kilohertz)) => format!("{spreading} at {kilohertz} kHz"),
        None => format!("{name} bit/s"),
    }
}

/// A value that was sent, with its unit: "humidity 93 %"; one that is absent "no humidity".
pub fn value_words(name: &str, value: &serde_json::Value, unit: &str) -> String {
    use serde_json::Value;
    let unit = if unit == "1" { String::new() } else { format!(" {}", words::unit(unit)) };
    match value {
        Value::Null => format!("no {name}"),
        Value::Bool(yes) => format!("{name} {}", if *yes { "yes" } else { "no" }),
        Value::String(word) => format!("{name} {word}"),
        number => format!("{name} {}{unit}", number.to_string().replace('-', "−")),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn at() -> When {
        When { at: "2026-11-30T10:00:00Z".into(), clock: "10:00:00Z".into(), ago: "just now".into() }
    }

    fn frame(verdict: &str) -> HeardFrame {
        HeardFrame {
            id: 7,
            at: at(),
            node: None,
            has_page: false,
            verdict: verdict.into(),
            reason: None,
            says: None,
            heard_by: vec!["packing-house".into()],
            data_rate: Some("SF9".into()),
            rssi_dbm: Some(-107.0),
            snr_db: Some(-0.04),
            margin_db: Some(12.46),
        }
    }

    fn heard(counts: &[(&str, u32)]) -> Heard {
        let last_hour = counts.iter().map(|(verdict, count)| ((*verdict).to_owned(), *count)).collect();
        Heard { last_hour, verdict: None, frames: Vec::new(), older_before: None }
    }

    /// By hand: 28 new, 1 join and 2 refused are 31; the 9 copies are not counted twice.
    #[test]
    fn copies_are_not_heard_twice() {
        let all = heard(&[("new", 28), ("join", 1), ("copy", 9), ("refused:mic", 1), ("refused:foreign", 1)]);
        assert_eq!(all.title(), "31 heard this hour, 2 refused");
        assert_eq!(heard(&[("new", 1)]).title(), "1 heard this hour, none refused");
        assert_eq!(heard(&[]).title(), "Nothing was heard this hour");
        assert_eq!(heard(&[("copy", 2)]).title(), "Nothing was heard this hour");
    }

    #[test]
    fn a_frame_is_one_sentence_with_units_and_true_minus_signs() {
        let text = frame("refused:mic").row().into_string();
        assert!(text.contains("packing-house, SF9, −107 dBm, SNR 0.0 dB, 12 dB in hand"), "{text}");
        assert!(text.contains(">refused</span>") && text.contains("a stranger"), "{text}");
    }

    #[test]
    fn what_a_stranger_sends_is_text() {
        let hostile =
            HeardFrame { says: Some("<b>\u{202e}".into()), reason: Some("<i>".into()), ..frame("new") };
        let text = hostile.row().into_string();
        assert!(!text.contains("<b>") && !text.contains("<i>") && !text.contains('\u{202e}'), "{text}");
    }

    #[test]
    fn values_have_their_units() {
        assert_eq!(value_words("air", &json!(-3.5), "Cel"), "air −3.5 °C");
        assert_eq!(value_words("wet", &json!(null), "%"), "no wet");
        assert_eq!(value_words("restarted", &json!(true), "1"), "restarted yes");
        assert_eq!(rate_words("SF7BW125"), "SF7");
        assert_eq!(rate_words("SF8BW500"), "SF8 at 500 kHz");
        assert_eq!(rate_words("50000"), "50000 bit/s");
    }
}
