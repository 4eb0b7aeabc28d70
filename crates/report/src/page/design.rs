//! Design files: the kinds of a site's nodes, and one of them with its verdicts beside it.

use maud::{Markup, PreEscaped, html};
use serde::Serialize;

use super::{Page, Way, design_page, in_address, plain};
use crate::words;

/// The design files of a site.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Designs {
    /// Each kind of node.
    pub kinds: Vec<DesignRow>,
}

/// A kind of node.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct DesignRow {
    /// Its file.
    pub file: String,
    /// Its name.
    pub name: String,
    /// Nodes of it that the site file places.
    pub nodes: usize,
}

impl Page for Designs {
    const WAY: Option<Way> = Some(Way::Design);
    const LIVE: bool = false;

    fn title(&self) -> String {
        match self.kinds.len() {
            0 => "No kind of node is in the site file".to_owned(),
            count => format!("{} of node", words::count(count, "kind")),
        }
    }

    fn main(&self) -> Markup {
        html! {
            table { thead { tr { th { "kind" } th { "file" } th.figure { "nodes" } } } tbody {
                @for kind in &self.kinds {
                    tr {
                        th scope="row" { a href=(design_page(&kind.file)) { (plain(&kind.name)) } }
                        td { (plain(&kind.file)) } td.figure { (kind.nodes) }
                    }
                }
            } }
        }
    }
}

/// A design file and what is said of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct DesignPage {
    /// Its file.
    pub file: String,
    /// Its text.
    pub text: String,
    /// What is said of the text.
    #[serde(flatten)]
    pub answer: DesignAnswer,
    /// Another design that stands beside it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub beside: Option<Box<DesignPage>>,
    /// Files that can stand beside it; its own is there as it is on the disk.
    #[serde(skip)]
    pub others: Vec<String>,
}

/// What is said of a text.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct DesignAnswer {
    /// The answer in a sentence.
    pub title: String,
    /// What is wrong with the text, or doubtful.
    pub problems: Vec<TextProblem>,
    /// Lives that were lived for it; 0 if none was.
    pub lives: usize,
    /// The verdicts, as the report of `check` shows them.
    #[serde(skip)]
    pub verdicts: String,
}

/// Something wrong with a place of a text.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct TextProblem {
    /// Whether it is only doubtful.
    pub is_warning: bool,
    /// Line, from 1; `None` if it has no place.
    pub line: Option<usize>,
    /// Where it begins \[UTF-16 units from 0\], as browsers count.
    pub from: usize,
    /// Where it ends.
    pub to: usize,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
}

impl Page for DesignPage {
    const WAY: Option<Way> = Some(Way::Design);
    const LIVE: bool = false;
    const SCRIPT: Option<&'static str> = Some("design.js");

    fn title(&self) -> String {
        let own = plain(&self.answer.title);
        match &self.beside {
            Some(beside) => format!("{own}; beside it: {}", plain(&beside.answer.title)),
            None => own,
        }
    }

    fn main(&self) -> Markup {
        html! {
            nav.choices aria-label="Beside it" {
                span.quiet { "Beside it:" }
                a href=(design_page(&self.file)) aria-current=[self.beside.is_none().then_some("true")] { "nothing" }
                @for other in &self.others { (self.choice(other)) }
            }
            div.pair[self.beside.is_some()] {
                (self.editor("text", self.beside.as_deref()))
                @if let Some(beside) = &self.beside { (beside.editor("text-beside", Some(self))) }
            }
        }
    }
}

impl DesignPage {
    fn choice(&self, other: &str) -> Markup {
        let is_there = self.beside.as_ref().is_some_and(|beside| beside.file == *other);
        html! {
            a href={ (design_page(&self.file)) "?beside=" (in_address(other)) } aria-current=[is_there.then_some("true")] {
                @if *other == self.file { "this file as it is" } @else { (plain(other)) }
            }
        }
    }

    fn editor(&self, id: &str, beside: Option<&Self>) -> Markup {
        let beside = beside.map(|beside| "?beside=".to_owned() + &in_address(&beside.file));
        html! {
            form.editor method="post" action={ (design_page(&self.file)) (beside.unwrap_or_default()) } data-design=(self.file) {
                div {
                    label for=(id) { (plain(&self.file)) }
                    textarea id=(id) name="text" spellcheck="false" autocomplete="off" autocapitalize="off" { "\n" (self.text) }
                    p { button type="submit" { "Ask again" } " " button.download type="button" hidden { "Download this text" } }
                    p.quiet { "Nothing is saved over the file: download what you have changed." }
                }
                div.answer aria-live="polite" { (self.answer.shown()) }
            }
        }
    }
}

impl DesignAnswer {
    /// Verdicts and problems; the part that follows the typing.
    pub fn shown(&self) -> Markup {
        html! {
            p.unseen { (plain(&self.title)) }
            @if self.lives > 0 { p.quiet { "From " (words::count(self.lives, "life").replace("lifes", "lives")) "." } }
            ul.problems {
                @for problem in &self.problems {
                    li { button type="button" data-from=(problem.from) data-to=(problem.to) {
                        b.(if problem.is_warning { "doubt" } else { "fails" }) {
                            @if problem.is_warning { "warning" } @else { "error" }
                            @if let Some(line) = problem.line { ", line " (line) }
                        }
                        ": " (plain(&problem.message)) br; span.remedy { (plain(&problem.help)) }
                    } }
                }
            }
            (PreEscaped(&self.verdicts))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_text_of_a_file_stays_text() {
        let page = DesignPage {
            file: "mast.toml".into(),
            text: "# </textarea><script>alert(1)</script>".into(),
            answer: DesignAnswer { title: "It holds".into(), ..DesignAnswer::default() },
            beside: None,
            others: Vec::new(),
        };
        let text = page.main().into_string();
        assert!(!text.contains("<script>") && text.matches("</textarea>").count() == 1, "{text}");
    }

    #[test]
    fn two_designs_stand_side_by_side_each_in_a_form_of_its_own() {
        let page = |file: &str, beside| DesignPage {
            file: file.into(),
            text: String::new(),
            answer: DesignAnswer { title: format!("{file} holds"), ..DesignAnswer::default() },
            beside,
            others: vec!["a b.toml".into(), "tank.toml".into()],
        };
        let both = page("a b.toml", Some(Box::new(page("tank.toml", None))));
        assert_eq!(both.title(), "a b.toml holds; beside it: tank.toml holds");
        let text = both.main().into_string();
        assert_eq!(text.matches("<textarea").count(), 2);
        assert!(text.contains("action=\"/design/a%20b.toml?beside=tank.toml\""), "{text}");
        assert!(text.contains("this file as it is") && text.matches("aria-current").count() == 1, "{text}");
    }

    #[test]
    fn a_problem_is_a_button_that_knows_its_place() {
        let problem = TextProblem {
            is_warning: false,
            line: Some(3),
            from: 10,
            to: 14,
            message: "no unit".into(),
            help: "write mAh".into(),
        };
        let answer = DesignAnswer { problems: vec![problem], ..DesignAnswer::default() };
        let text = answer.shown().into_string();
        assert!(text.contains("data-from=\"10\" data-to=\"14\"") && text.contains("error, line 3"), "{text}");
    }
}
