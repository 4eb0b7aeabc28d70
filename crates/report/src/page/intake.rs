//! What arrived, by what became of it and by the way it came.

use maud::{Markup, html};
use serde::Serialize;

use super::gateways::Knocking;
use super::heard::{HeardFrame, verdict_words};
use super::{Page, plain};

/// What arrived in the last hour.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Intake {
    /// By way and verdict.
    pub arrived: Vec<Arrived>,
    /// Ways of the site file that are to be connected.
    pub connections: Vec<Connection>,
    /// What was refused last, the newest first.
    pub refused: Vec<HeardFrame>,
    /// Gateways that are not in the site file.
    pub knocking: Vec<Knocking>,
    /// What was pasted, and what is proposed.
    pub pasted: Option<Proposed>,
}

/// Messages that somebody has pasted, and the lines of a source for them.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Proposed {
    /// The messages.
    #[serde(skip)]
    pub text: String,
    /// The name of the source.
    pub name: String,
    /// The key of the way by which they come.
    pub way: String,
    /// Messages that were looked at.
    pub looked_at: usize,
    /// What is to be said beside the places.
    pub notes: Vec<String>,
    /// What may stand where.
    pub choices: Vec<Choice>,
    /// The lines for the site file.
    pub lines: Option<String>,
    /// What the first messages say, read by these lines.
    pub said: Vec<String>,
    /// Why there are no lines.
    pub why: Option<String>,
}

/// Places that may have a meaning.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Choice {
    /// The key of the site file.
    pub meaning: String,
    /// The places, best first.
    pub places: Vec<String>,
    /// The one that is taken.
    pub chosen: Option<String>,
    /// Whether there must be one.
    pub needed: bool,
}

/// How many came by one way with one outcome.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Arrived {
    /// The way.
    pub source: String,
    /// What became of them.
    pub verdict: String,
    /// How many.
    pub frames: u32,
}

/// A way that is to be connected.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Connection {
    /// Its name.
    pub name: String,
    /// Why it is not; `None` if it is.
    pub broken: Option<String>,
}

impl Page for Intake {
    fn title(&self) -> String {
        if let Some(pasted) = &self.pasted {
            return pasted.title();
        }
        let broken = self.connections.iter().filter(|one| one.broken.is_some()).count();
        let refused: u32 =
            self.arrived.iter().filter(|one| one.verdict.starts_with("refused")).map(|one| one.frames).sum();
        match (broken, refused, self.arrived.is_empty()) {
            (1, _, _) => "One way in is not connected".to_owned(),
            (2.., _, _) => format!("{broken} ways in are not connected"),
            (0, _, true) => "Nothing arrived this hour".to_owned(),
            (0, 0, false) => "All that arrived this hour was taken".to_owned(),
            (0, refused, false) => format!("{refused} of what arrived this hour was refused"),
        }
    }

    fn main(&self) -> Markup {
        html! {
            @if let Some(pasted) = &self.pasted { (pasted.outcome()) }
            div data-part="connections" {
                @for one in &self.connections {
                    p { (plain(&one.name)) ": " @match &one.broken { Some(why) => span.fails { (plain(why)) }, None => "connected" } }
                }
            }
            div data-part="arrived" {
                @if !self.arrived.is_empty() {
                    table { thead { tr { th { "by" } th { "what became of it" } th.figure { "in the last hour" } } } tbody {
                        @for one in &self.arrived {
                            tr { th scope="row" { (plain(&one.source)) } td { (verdict_words(&one.verdict)) @if one.verdict.starts_with("refused") { " " span.quiet { (one.verdict) } } } td.figure { (one.frames) } }
                        }
                    } }
                }
            }
            section data-part="refused" {
                h2 { "Refused last" }
                @if self.refused.is_empty() { p { "Nothing." } }
                @else {
                    table.stacked.heard {
                        thead { tr { th { "heard" } th { "who" } th { "what" } th { "by whom, and how well" } } }
                        tbody { @for frame in &self.refused { (frame.row()) } }
                    }
                }
            }
            @for knocking in &self.knocking { (knocking.section()) }
            (self.pasted.clone().unwrap_or_default().section())
        }
    }
}

/// Ways by which messages come: the key, and its words.
const WAYS: [(&str, &str); 3] = [
    ("http", "they are posted to this server"),
    ("mqtt", "a broker hands them on"),
    ("csv", "a file of the past"),
];

impl Proposed {
    fn title(&self) -> String {
        match (&self.lines, self.looked_at) {
            (Some(_), 1) => "One message is read by these lines".to_owned(),
            (Some(_), count) => format!("{count} messages are read by these lines"),
            (None, 0) => "Nothing that was pasted is JSON".to_owned(),
            (None, _) => "No lines can be proposed for these messages".to_owned(),
        }
    }

    /// What was found, first on the page.
    fn outcome(&self) -> Markup {
        html! {
            section id="proposal" {
                @if let Some(why) = &self.why { p role="alert" { (plain(why)) } }
                @for note in &self.notes { p { (plain(note)) } }
                @if let Some(lines) = &self.lines {
                    p { "Look at them, copy them into the site file, and start " code { "serve" } " again:" }
                    pre { (plain_lines(lines)) }
                    h2 { "What they say" }
                    ul { @for said in &self.said { li { (plain(said)) } } }
                }
            }
        }
    }

    /// What is pasted, and what may be chosen.
    fn section(&self) -> Markup {
        html! {
            section {
                h2 { "Messages of another network" }
                p { "Paste 1 to 20 of them, one a line, as " code { "{..}" } " or " code { "TOPIC {..}" }
                    ". Where everything stands is proposed by what is there; nothing is kept." }
                form.act method="post" action="/intake" {
                    p {
                        label for="text" { "Messages" }
                        textarea id="text" name="text" required rows="8" spellcheck="false" autocomplete="off" autocapitalize="off" { "\n" (self.text) }
                    }
                    p {
                        label for="name" { "Name of the source" }
                        input id="name" name="name" value=(plain(&self.name)) placeholder="fields" pattern="[A-Za-z0-9_\\-]+";
                    }
                    p {
                        label for="way" { "How they come" }
                        select id="way" name="way" {
                            @for (key, words) in WAYS { option value=(key) selected[self.way == key] { (words) } }
                        }
                    }
                    @for choice in &self.choices { (choice.shown()) }
                    p { button { @if self.choices.is_empty() { "Propose the lines" } @else { "Propose again" } } }
                }
            }
        }
    }
}

/// Line ends stay, all else that would change what is shown does not.
fn plain_lines(text: &str) -> String {
    text.lines().map(plain).collect::<Vec<_>>().join("\n")
}

impl Choice {
    fn shown(&self) -> Markup {
        let id = format!("at-{}", self.meaning);
        html! {
            p {
                label for=(id) { "Where " code { (self.meaning) } " stands" }
                select id=(id) name={ "at:" (self.meaning) } {
                    @if !self.needed || self.places.is_empty() {
                        option value="" selected[self.chosen.is_none()] { "nowhere" }
                    }
                    @for place in &self.places {
                        option value=(plain(place)) selected[self.chosen.as_ref() == Some(place)] { (plain(place)) }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_way_that_is_not_connected_comes_first() {
        let arrived = |verdict: &str| Arrived { source: "udp".into(), verdict: verdict.into(), frames: 2 };
        let page = |arrived, broken: &[Option<&str>]| Intake {
            arrived,
            connections: broken
                .iter()
                .map(|why| Connection { name: "source fields".into(), broken: why.map(str::to_owned) })
                .collect(),
            refused: Vec::new(),
            knocking: Vec::new(),
            pasted: None,
        };
        assert_eq!(page(vec![], &[None]).title(), "Nothing arrived this hour");
        assert_eq!(page(vec![arrived("new")], &[]).title(), "All that arrived this hour was taken");
        assert_eq!(
            page(vec![arrived("new"), arrived("refused:mic")], &[None]).title(),
            "2 of what arrived this hour was refused"
        );
        assert_eq!(page(vec![], &[Some("no answer")]).title(), "One way in is not connected");
    }

    /// A proposal comes first, works without script, and repeats nothing as markup.
    #[test]
    fn what_is_pasted_comes_back_as_text_with_the_lines_to_copy() {
        let pasted = Proposed {
            text: "{\"id\":\"</textarea><script>\"}".into(),
            looked_at: 2,
            lines: Some("[source.fields]\ndevice = \"/id\"\n".into()),
            said: vec!["mast: report: air 3".into()],
            choices: vec![Choice {
                meaning: "counter".into(),
                places: vec!["/n".into(), "/m".into()],
                chosen: Some("/m".into()),
                needed: false,
            }],
            ..Proposed::default()
        };
        let page = Intake {
            arrived: vec![],
            connections: vec![],
            refused: vec![],
            knocking: vec![],
            pasted: Some(pasted),
        };
        assert_eq!(page.title(), "2 messages are read by these lines");
        let text = page.main().into_string();
        assert!(!text.contains("<script>") && text.matches("</textarea>").count() == 1, "{text}");
        assert!(text.contains("[source.fields]\ndevice") && text.contains("mast: report: air 3"), "{text}");
        assert!(text.contains("<option value=\"/m\" selected>/m</option>"), "{text}");
        assert!(text.contains("method=\"post\" action=\"/intake\""), "{text}");
    }
}
