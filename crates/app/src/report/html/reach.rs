//! Being heard: the verdict, and what is known of the links.

use maud::{Markup, html};

use super::{rows, verdict_row};
use crate::report::Subject;
use crate::report::says::reach as says;

/// The row among the verdicts; nothing if nothing is sent.
pub(super) fn verdict(subject: &Subject) -> Markup {
    let reach = &subject.reach;
    let short = says::short(reach);
    html! {
        @if !subject.messages.is_empty() || !subject.law.checks.is_empty() {
            (verdict_row("reach", reach.verdict, says::will_it_be_heard(reach.verdict), &short, ""))
        }
    }
}

/// The section; nothing without a gateway.
pub(super) fn section(subject: &Subject) -> Markup {
    html! {
        @if !subject.reach.links.is_empty() {
            section {
                h2 { (title(subject)) }
                (rows(says::rows(&subject.reach).into_iter()))
                p.quiet {
                    "Losses hold for half of the spots; the spot it really stands on is drawn once for each life, and decides \
                    the data rates of that life. Messages fade (Rayleigh) around that."
                }
            }
        }
    }
}

fn title(subject: &Subject) -> String {
    let reach = &subject.reach;
    let away =
        reach.links.first().map(|best| format!(", {} away", crate::report::words::distance(best.distance)));
    format!("How it is heard by {}{}", gateways(subject), away.unwrap_or_default())
}

fn gateways(subject: &Subject) -> String {
    match &subject.reach.links[..] {
        [only] => format!("gateway {}", only.gateway),
        all => format!("{} gateways, best by {}", all.len(), all.first().map_or("", |best| &best.gateway)),
    }
}
