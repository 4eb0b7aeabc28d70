//! Being heard: the verdict, and what is known of the links.

use maud::{Markup, html};
use verdict::reach::Reach;

use super::{rows, verdict_row};
use crate::ReportedDesign;
use crate::sentences::reach as sentences;

/// The row among the verdicts.
pub(crate) fn verdict(reach: &Reach) -> Markup {
    verdict_row(
        "reach",
        reach.verdict,
        sentences::will_it_be_heard(reach.verdict),
        &sentences::short(reach),
        "",
    )
}

/// The section; nothing without a gateway.
pub(crate) fn section(subject: &ReportedDesign) -> Markup {
    html! {
        @if !subject.reach.links.is_empty() {
            section {
                h2 { (title(subject)) }
                (rows(sentences::rows(&subject.reach).into_iter()))
                p.quiet {
                    "Losses are exceeded at half of the plausible positions; the position is drawn once for each life, and decides \
                    the data rates of that life. Messages fade (Rayleigh) around that."
                }
            }
        }
    }
}

fn title(subject: &ReportedDesign) -> String {
    let reach = &subject.reach;
    let away = reach.links.first().map(|best| format!(", {} away", crate::words::distance(best.distance)));
    format!("How it is heard by {}{}", gateways(subject), away.unwrap_or_default())
}

fn gateways(subject: &ReportedDesign) -> String {
    match &subject.reach.links[..] {
        [only] => format!("gateway {}", only.gateway),
        all => format!("{} gateways, best by {}", all.len(), all.first().map_or("", |best| &best.gateway)),
    }
}
