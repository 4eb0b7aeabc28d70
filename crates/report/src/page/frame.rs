//! One frame or message, byte by byte, as `explain` says it.

use maud::{Markup, html};
use serde::Serialize;

use super::heard::{HeardFrame, verdict_words};
use super::{Page, plain};

/// A frame and what is known of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ExplainedFrame {
    /// What the log knows of it.
    pub frame: HeardFrame,
    /// Its bytes in hex; of a message of another network its text.
    pub bytes: String,
    /// What `explain` says of it: a table in plain text.
    pub explained: String,
    /// How the bytes it carries are read, or why they are not.
    pub content: Option<String>,
}

impl Page for ExplainedFrame {
    const LIVE: bool = false;

    fn title(&self) -> String {
        let who = self.frame.node.as_deref().map_or_else(|| "a stranger".to_owned(), plain);
        format!("Frame {} of {who}: {}", self.frame.id, verdict_words(&self.frame.verdict))
    }

    fn main(&self) -> Markup {
        html! {
            p { "Heard at " (self.frame.at.shown()) ". " span.quiet { (self.frame.how()) } }
            @if let Some(reason) = &self.frame.reason { p { (plain(reason)) } }
            @if let Some(says) = &self.frame.says { p { (plain(says)) } }
            (text("Byte by byte", &self.explained))
            @if let Some(content) = &self.content { (text("What it carries", content)) }
            (text("As it came", &self.bytes))
            p { a href="/heard" { "All that was heard" } }
        }
    }
}

fn text(title: &str, text: &str) -> Markup {
    let shown: Vec<String> = text.lines().map(plain).collect();
    html! {
        section {
            h2 { (title) }
            div.scroll tabindex="0" role="region" aria-label=(title) { pre { (shown.join("\n")) } }
        }
    }
}
