//! What would make a node hold: the sentence under the verdict, and the table.

use maud::{Markup, html};
use verdict::plan::Plan;

use super::code;
use crate::{ReportedDesign, sentences};

/// The sentence; nothing where there is none.
pub(super) fn sentence(subject: &ReportedDesign, plan: &Plan) -> Markup {
    let said = subject.remedies.as_ref().and_then(|found| sentences::remedy::sentence(found, plan));
    html! { @if let Some(said) = said { p { span.remedy { (code(&said)) } } } }
}

/// The table; nothing where there is nothing to say.
pub(super) fn section(subject: &ReportedDesign) -> Markup {
    let Some(remedies) = &subject.remedies else { return Markup::default() };
    let remarks = sentences::remedy::remarks(remedies);
    let mut tables = sentences::remedy::tables(subject, remedies);
    if tables.is_empty() && !remarks.is_empty() {
        tables.push(("What would make it hold", Vec::new()));
    }
    let last = tables.len().saturating_sub(1);
    html! {
        @for (index, (title, rows)) in tables.iter().enumerate() {
            section {
                h2 { (title) }
                @if !rows.is_empty() { (table(title, rows)) }
                @if index == last { @for said in &remarks { p.quiet { (said) } } }
            }
        }
    }
}

fn table(title: &str, rows: &[sentences::remedy::RemedyRow]) -> Markup {
    html! {
        div.scroll tabindex="0" role="group" aria-label=(title) {
            table.stacked.remedies {
                thead { tr { th { "Change" } th.figure { "Lives" } th { "Now" } th { "Then" } td {} } }
                tbody { @for row in rows {
                    tr {
                        th scope="row" { (row.what) }
                        td.figure data-label="lives" { (row.lives) } td data-label="now" { (row.now) }
                        td data-label="then" { (row.then) } td.quiet { (row.remark) }
                    }
                } }
            }
        }
    }
}
