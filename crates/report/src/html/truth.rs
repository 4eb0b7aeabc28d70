//! The page of `overwinter learn`.

use maud::{Markup, html};

use super::{fact, rows, shell, verdict_row};
use crate::chart;
use crate::sentences::truth::{self, Told};

/// The page: the answer, then why.
pub fn page(told: &Told) -> String {
    let title = format!("{}: is it doing what was promised?", told.name);
    let main = html! {
        h1 { (title) }
        @if let Some(note) = &told.note { p.note.quiet { (note) } }
        (answer(told))
        (why(told))
    };
    let footer = html! {
        "Made by overwinter " (env!("CARGO_PKG_VERSION")) " from " (told.file) " and " (told.log) "."
    };
    shell(&title, &told.file, &main, &footer)
}

/// The verdict in a row.
pub(crate) fn answer(told: &Told) -> Markup {
    let learned = &told.truth.learned;
    let silent = truth::silence(learned.as_of_s, &learned.silence);
    html! {
        section.verdicts aria-label="Is it doing what was promised?" {
            (verdict_row("truth", told.truth.verdict, &silent, &truth::headline(told), &truth::source(told)))
        }
    }
}

/// What explains it, what it would be if it were mended, what was measured against what was foretold, and what is not known.
pub(crate) fn why(told: &Told) -> Markup {
    html! {
        (causes(told))
        @if let Some(mended) = truth::mended(&told.truth.learned) {
            dl.facts { (fact("If it were mended today", "", &mended)) }
        }
        @if let Some(chart) = chart::measured::chart(told) { (chart.section()) }
        (table(told))
        (unknowns(told))
    }
}

fn causes(told: &Told) -> Markup {
    let causes = &told.truth.learned.causes;
    html! {
        section {
            h2 { "What explains it" }
            @if causes.is_empty() { p { "Nothing differs from the design by more than is known." } }
            @for cause in causes { p { (truth::cause(cause, told)) "." } }
        }
    }
}

fn table(told: &Told) -> Markup {
    html! {
        section {
            h2 { "What was believed, and what is known now" }
            table.stacked {
                thead { tr { th { "What" } th.figure { "before" } th.figure { "now" } th { "unit" } } }
                tbody {
                    @for learnt in truth::side_by_side(&told.truth.learned) {
                        tr {
                            th scope="row" { (learnt.label.trim()) }
                            td.figure data-label="before" { (learnt.before.as_ref().map(truth::band).unwrap_or_default()) }
                            td.figure data-label="now" { (truth::band(&learnt.now)) @if !learnt.known { " (hardly known)" } }
                            td data-label="unit" { (learnt.unit) }
                        }
                    }
                }
            }
            p.quiet { "9 in 10 lie between the figures in brackets." }
        }
    }
}

fn unknowns(told: &Told) -> Markup {
    let learned = &told.truth.learned;
    let said = learned.not_known.iter().map(|one| truth::not_known(one, learned));
    html! {
        @if !learned.not_known.is_empty() {
            section {
                h2 { "What can't be known yet" }
                (rows(said.map(|(name, said)| (name.to_owned(), said))))
            }
        }
    }
}
