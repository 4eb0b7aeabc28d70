//! What wants a hand, what was seen, and what is past.

use maud::{Markup, html};
use serde::Serialize;

use super::{Page, Way, When, node_page, plain};
use crate::words;

/// The alarms of a site.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Alarms {
    /// Open ones, the newest first; those that somebody has seen behind the others.
    pub open: Vec<Alarm>,
    /// Closed ones, the newest first.
    pub past: Vec<Alarm>,
}

/// Something that wants a hand.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Alarm {
    /// Its number.
    pub id: i64,
    /// The rule that opened it.
    pub rule: String,
    /// Which node it is about.
    pub node: Option<String>,
    /// Or which gateway.
    pub gateway: Option<String>,
    /// What is wrong and with whom, in a sentence.
    pub says: String,
    /// Why it is believed.
    pub why: String,
    /// What to do.
    pub do_this: Option<String>,
    /// The figures behind it.
    pub figures: Vec<Figure>,
    /// Since when.
    pub since: When,
    /// Until when; `None` while it is open.
    pub until: Option<When>,
    /// Who has seen it, when, and with which word.
    pub seen: Option<Seen>,
}

/// A figure behind an alarm.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Figure {
    /// What it is, with its unit.
    pub what: String,
    /// How much.
    pub value: String,
}

/// That somebody has seen an alarm.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Seen {
    /// Who.
    pub by: String,
    /// When.
    pub at: When,
    /// What they wrote.
    pub word: Option<String>,
}

impl Page for Alarms {
    const WAY: Option<Way> = Some(Way::Alarms);

    fn title(&self) -> String {
        let unseen = self.open.iter().filter(|alarm| alarm.seen.is_none()).count();
        match (self.open.len(), unseen) {
            (0, _) => "No alarm is open".to_owned(),
            (open, 0) => format!("{} open, all seen", words::count(open, "alarm")),
            (open, unseen) if unseen == open => format!("{} open", words::count(open, "alarm")),
            (open, unseen) => format!("{} open, {unseen} not seen yet", words::count(open, "alarm")),
        }
    }

    fn main(&self) -> Markup {
        html! {
            div data-part="open" {
                @if self.open.is_empty() { p { "Nothing wants a hand now." } }
                @for alarm in &self.open { (alarm.shown()) }
            }
            div data-part="past" {
                @if !self.past.is_empty() {
                    h2 { "Past" }
                    table.stacked { thead { tr { th { "what" } th { "since" } th { "until" } } } tbody {
                        @for alarm in &self.past {
                            tr {
                                th scope="row" { (alarm.sentence()) }
                                td data-label="since" { (alarm.since.shown()) }
                                td data-label="until" { @if let Some(until) = &alarm.until { (until.shown()) } }
                            }
                        }
                    } }
                }
            }
        }
    }
}

impl Alarm {
    /// The alarm with its cause, since when, and what to do.
    pub(super) fn shown(&self) -> Markup {
        html! {
            section.alarm.seen[self.seen.is_some()] {
                p.says { (self.sentence()) }
                p { (plain(&self.why)) }
                p.quiet { "Since " (self.since.shown()) ", " (self.since.ago()) "." }
                @if let Some(remedy) = &self.do_this { p { span.remedy { (plain(remedy)) } } }
                @if let Some(seen) = &self.seen {
                    p.quiet {
                        "Seen by " (plain(&seen.by)) " at " (seen.at.shown())
                        @if let Some(word) = &seen.word { ": " (plain(word)) }
                    }
                }
                @if self.seen.is_none() && self.until.is_none() {
                    p { a href={ "/alarms/" (self.id) "/seen" } { "I have seen it" } }
                }
                @if !self.figures.is_empty() {
                    details {
                        summary { "Rule and figures" }
                        table.plain { tbody {
                            tr { th scope="row" { "rule" } td { (plain(&self.rule)) } }
                            @for figure in &self.figures {
                                tr { th scope="row" { (plain(&figure.what)) } td { (plain(&figure.value)) } }
                            }
                        } }
                    }
                }
            }
        }
    }

    /// What is wrong, leading to the page of whom it is about.
    fn sentence(&self) -> Markup {
        let says = plain(&self.says);
        match (&self.node, &self.gateway) {
            (Some(node), _) => html! { a href=(node_page(node)) { (says) } },
            (None, Some(_)) => html! { a href="/gateways" { (says) } },
            (None, None) => html! { (says) },
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    pub(crate) fn at() -> When {
        When {
            at: "2026-11-24T06:12:00Z".into(),
            clock: "24 Nov, 06:12:00Z".into(),
            ago: "6 days ago".into(),
        }
    }

    pub(crate) fn alarm(node: &str) -> Alarm {
        Alarm {
            id: 3,
            rule: "never-charged".into(),
            node: Some(node.into()),
            gateway: None,
            says: format!("{node} is not charging"),
            why: "no rise in 48 h".into(),
            do_this: Some("bring a panel lead".into()),
            figures: vec![Figure { what: "rise in 48 h, mV".into(), value: "0".into() }],
            since: at(),
            until: None,
            seen: None,
        }
    }

    #[test]
    fn the_title_counts_what_nobody_has_seen() {
        let page = |open| Alarms { open, past: Vec::new() };
        let seen = Alarm { seen: Some(Seen { by: "Ada".into(), at: at(), word: None }), ..alarm("a") };
        assert_eq!(page(Vec::new()).title(), "No alarm is open");
        assert_eq!(page(vec![alarm("a")]).title(), "1 alarm open");
        assert_eq!(page(vec![alarm("a"), seen.clone()]).title(), "2 alarms open, 1 not seen yet");
        assert_eq!(page(vec![seen]).title(), "1 alarm open, all seen");
    }

    #[test]
    fn an_alarm_says_who_what_since_when_and_what_to_do() {
        let text = alarm("frost-mast-3").shown().into_string();
        for part in [
            "/node/frost-mast-3",
            "is not charging",
            "no rise in 48 h",
            "24 Nov, 06:12:00Z",
            "bring a panel lead",
            "rise in 48 h, mV",
        ] {
            assert!(text.contains(part), "{part}: {text}");
        }
    }
}
