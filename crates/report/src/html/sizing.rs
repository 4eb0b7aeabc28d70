//! The page of `size`: the designs worth a look, and where the promise is kept.

use design::quantity::Quantity as _;
use maud::{Markup, html};

use super::shell;
use crate::chart::Chart;
use crate::sentences;
use crate::sizing::{SizingReport, panel_text};
use crate::words;

/// The page.
pub fn page(report: &SizingReport, file: &str, picture: Option<&Chart>) -> String {
    let sized = &report.sized;
    let chosen = sized.chosen.and_then(|index| sized.choices.get(index));
    let title = match chosen {
        Some(choice) => match choice.panel {
            Some(_) => {
                format!("{} holds with {} and {}", report.name, choice.power.text(), choice.capacity.text())
            }
            None => format!("{} holds with {} and no panel", report.name, choice.capacity.text()),
        },
        None => format!("Nothing in range keeps the promise of {}", report.name),
    };
    let main = html! {
        h1 { (title) }
        @if !sized.choices.is_empty() { (table(report)) }
        @if let Some(picture) = picture { (picture.section()) }
        section { @for said in report.remarks() { p.quiet { (said) } } p.quiet { (report.effort()) "." } }
    };
    let footer = html! { "Made by overwinter " (env!("CARGO_PKG_VERSION")) " from " (file) "." };
    shell(&title, file, &main, &footer)
}

fn table(report: &SizingReport) -> Markup {
    let sized = &report.sized;
    html! {
        section {
            h2 { "Designs that nothing beats in cost and reports at once" }
            div.scroll tabindex="0" role="group" aria-label="Designs" {
                table.plain {
                    thead { tr {
                        td {} th { "Panel" } th { "Battery" } th { "Every" } th.figure { "Reports a year" }
                        th.figure { @if sized.priced { "Price" } @else { "W + Wh" } }
                        th.figure { "Survives" } th.figure { "Unluckiest" }
                    } }
                    tbody { @for (index, choice) in sized.choices.iter().enumerate() {
                        tr {
                            th scope="row" { @if Some(index) == sized.chosen { "chosen" } }
                            td { (panel_text(choice)) } td { (choice.capacity.text()) }
                            td { (choice.every.map(design::quantity::Duration::text).unwrap_or_default()) }
                            td.figure { (words::grouped(words::whole(choice.reports_per_year))) }
                            td.figure { (format!("{:.2}", choice.cost)) }
                            td.figure { (sentences::share(choice.judged.without_outage)) }
                            td.figure { (sentences::share(choice.judged.worst_fifth)) }
                        }
                    } }
                }
            }
        }
    }
}
