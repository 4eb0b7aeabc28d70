//! What arrived, by what became of it and by the way it came.

use maud::{Markup, html};
use serde::Serialize;

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
            div data-part="connections" {
                @for one in &self.connections {
                    p { (plain(&one.name)) ": " @match &one.broken { Some(why) => span.fails { (plain(why)) }, None => "connected" } }
                }
            }
            div data-part="arrived" {
                @if !self.arrived.is_empty() {
                    table { thead { tr { th { "by" } th { "what became of it" } th.figure { "in the last hour" } } } tbody {
                        @for one in &self.arrived {
                            tr { th scope="row" { (plain(&one.source)) } td { (verdict_words(&one.verdict)) " " span.quiet { (one.verdict) } } td.figure { (one.frames) } }
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
            section {
                h2 { "Messages of another network" }
                p {
                    "Keep a few of them in a file, one a line, and let " code { "overwinter serve SITE.toml --propose-source FILE" }
                    " propose the lines of the site file."
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
        };
        assert_eq!(page(vec![], &[None]).title(), "Nothing arrived this hour");
        assert_eq!(page(vec![arrived("new")], &[]).title(), "All that arrived this hour was taken");
        assert_eq!(
            page(vec![arrived("new"), arrived("refused:mic")], &[None]).title(),
            "2 of what arrived this hour was refused"
        );
        assert_eq!(page(vec![], &[Some("no answer")]).title(), "One way in is not connected");
    }
}
