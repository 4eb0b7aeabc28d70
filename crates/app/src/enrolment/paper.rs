//! Pages to print: paper, rules and sentences, with room to write by hand.

use maud::{DOCTYPE, Markup, PreEscaped, html};
use report::look;

const STYLE: &str = include_str!("paper.css");

/// A document of pages for A4.
pub(crate) fn document(title: &str, pages: &Markup) -> String {
    let document = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content={ "overwinter " (env!("CARGO_PKG_VERSION")) };
                title { (title) }
                style { (PreEscaped(look::faces(&look::FACES))) (PreEscaped(STYLE)) }
            }
            body { main { (pages) } }
        }
    };
    document.into_string() + "\n"
}

/// The line at the top of a page.
pub(crate) fn head(left: &str, right: &str) -> Markup {
    html! { header { b { (left) } span.quiet { (right) } } }
}

/// The line at the top of a page whose heading it is.
pub(crate) fn title(left: &str, right: &str) -> Markup {
    html! { header { h1 { (left) } span.quiet { (right) } } }
}

/// The line at the foot of a page.
pub(crate) fn foot(text: &str) -> Markup {
    html! { footer.quiet { "overwinter " (env!("CARGO_PKG_VERSION")) ". " (text) } }
}

/// Room to write a figure.
pub(crate) fn blank() -> Markup {
    html! { td.blank {} }
}

/// A box to tick, and what for.
pub(crate) fn tick(what: &str) -> Markup {
    html! { li.tick { (what) } }
}
