//! What to do on the next trip, and what to take along.

use maud::{Markup, html};
use serde::Serialize;

use super::{Page, Way, node_page, plain};
use crate::sentences::winter::Said;
use crate::words;

/// The list of a trip.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextTrip {
    /// Most urgent first.
    pub tasks: Vec<Task>,
    /// Nodes that will not see the winter's end, the first to stop first.
    pub winter: Vec<Winter>,
    /// Nodes whose promise is still being worked out.
    pub to_be_worked_out: usize,
}

/// Something to be done at a node or gateway.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Task {
    /// Where.
    pub at: String,
    /// Whether that is a node with a page.
    #[serde(skip)]
    pub is_node: bool,
    /// What to do.
    pub what: String,
    /// Why.
    pub why: String,
    /// What to take along.
    pub take: Vec<String>,
}

/// A node that stops before the winter is over in more than 1 of 10 lives.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Winter {
    /// Which.
    pub at: String,
    /// When, why, and what to do.
    #[serde(flatten)]
    pub said: Said,
}

impl NextTrip {
    /// What to take along, each thing once, with how often it is needed.
    pub fn to_take(&self) -> Vec<(String, usize)> {
        let mut all: Vec<(String, usize)> = Vec::new();
        let things =
            self.tasks.iter().map(|task| &task.take).chain(self.winter.iter().map(|one| &one.said.take));
        for thing in things.flatten() {
            match all.iter_mut().find(|(known, _)| known == thing) {
                Some((_, count)) => *count += 1,
                None => all.push((thing.clone(), 1)),
            }
        }
        all
    }
}

impl Page for NextTrip {
    const WAY: Option<Way> = Some(Way::NextTrip);

    fn title(&self) -> String {
        match self.tasks.len() + self.winter.len() {
            0 if self.to_be_worked_out > 0 => {
                "Nothing to do yet: the forecast is being worked out".to_owned()
            }
            0 => "Nothing to do on the next trip".to_owned(),
            count => format!("{} to do on the next trip", words::count(count, "thing")),
        }
    }

    fn main(&self) -> Markup {
        let take = self.to_take();
        html! {
            div data-part="tasks" {
                @if self.to_be_worked_out > 0 {
                    p.quiet { "The promise of " (words::count(self.to_be_worked_out, "node")) " is being worked out; more may come." }
                }
                @for (number, task) in self.tasks.iter().enumerate() {
                    div.task {
                        label for={ "task-" (number) } {
                            input type="checkbox" id={ "task-" (number) };
                            span {
                                b { @if task.is_node { a href=(node_page(&task.at)) { (plain(&task.at)) } } @else { (plain(&task.at)) } }
                                ": " (plain(&task.what))
                            }
                        }
                        p.quiet { (plain(&task.why)) }
                    }
                }
            }
            (self.before_winter())
            @if !take.is_empty() {
                section data-part="take" {
                    h2 { "To take along" }
                    ul { @for (thing, count) in &take { li { (plain(thing)) @if *count > 1 { ", for " (count) " places" } } } }
                }
            }
            @if !self.tasks.is_empty() || !self.winter.is_empty() {
                p.quiet { "Ladders, roofs and masts: not alone, not in wind, not near power lines. A swollen or punctured cell goes into a bucket of sand, outdoors." }
            }
        }
    }
}

impl NextTrip {
    fn before_winter(&self) -> Markup {
        html! {
            @if !self.winter.is_empty() {
                section data-part="winter" {
                    h2 { "Before the winter: " (words::count(self.winter.len(), "node")) " in danger" }
                    @for (number, one) in self.winter.iter().enumerate() {
                        div.task {
                            label for={ "winter-" (number) } {
                                input type="checkbox" id={ "winter-" (number) };
                                span {
                                    b { a href=(node_page(&one.at)) { (plain(&one.at)) } } " " (plain(&one.said.when)) ". "
                                    @if let Some(part) = &one.said.part { b { (part) } ": " }
                                    (plain(&one.said.what))
                                }
                            }
                            @if !one.said.why.is_empty() { p.quiet { (plain(&one.said.why)) } }
                        }
                    }
                    p.quiet { "Listed is each node that stops before the winter is over in more than 1 of 10 lives, by what its messages taught." }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_needed_twice_is_listed_once() {
        let task = |at: &str, take: &[&str]| Task {
            at: at.into(),
            is_node: true,
            what: "look at the panel".into(),
            why: "it is not charging".into(),
            take: take.iter().map(|thing| (*thing).to_owned()).collect(),
        };
        let trip = NextTrip {
            tasks: vec![task("a", &["panel lead", "cloth"]), task("b", &["cloth"])],
            winter: Vec::new(),
            to_be_worked_out: 0,
        };
        assert_eq!(trip.title(), "2 things to do on the next trip");
        assert_eq!(trip.to_take(), [("panel lead".to_owned(), 1), ("cloth".to_owned(), 2)]);
        let empty = |to_be_worked_out| NextTrip { tasks: Vec::new(), winter: Vec::new(), to_be_worked_out };
        assert_eq!(empty(0).title(), "Nothing to do on the next trip");
        assert_eq!(empty(3).title(), "Nothing to do yet: the forecast is being worked out");
    }
}
