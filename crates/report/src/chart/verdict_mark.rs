//! The stroke that says a verdict by its shape.

use maud::{Markup, html};
use verdict::plan::Verdict;

/// Whole, dashed, broken with a bar across the gap, or dotted; the word beside it is for everybody else.
pub fn mark(verdict: Verdict) -> Markup {
    let (class, path) = match verdict {
        Verdict::Holds => ("holds", "M2 8H38"),
        Verdict::Tight => ("doubt", "M2 8h8m6 0h8m6 0h8"),
        Verdict::Fails => ("fails", "M2 8h13m10 0h13M20 1v14"),
        Verdict::NotKnown => ("doubt", "M2 8h3m5.2 0h3m5.2 0h3m5.2 0h3m5.2 0h3"),
    };
    html! {
        svg.stroke viewBox="0 0 40 16" width="40" height="16" aria-hidden="true" { path class=(class) d=(path) {} }
    }
}

/// What colours the word of a verdict.
pub fn class(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Holds => "holds",
        Verdict::Tight | Verdict::NotKnown => "doubt",
        Verdict::Fails => "fails",
    }
}
