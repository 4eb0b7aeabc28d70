//! A site on one page.

use maud::{Markup, html};
use verdict::plan::Verdict;

use super::{code, shell};
use crate::chart::verdict_mark;
use crate::site::{NodeRow, SHARED_SKY, SiteReport};
use crate::words;

/// The page: the answer, what weakens it, a row for each node, and why some do not hold.
pub fn page(site: &SiteReport) -> String {
    let answer = site.answer();
    let main = html! {
        h1 { (answer) }
        @if let Some(note) = &site.note { p.note.quiet { (note) } }
        @for warning in site.warned() { p.doubt { (code(&warning)) } }
        (nodes(&site.rows))
        @for row in &site.rows { (why(row)) }
        p.quiet { "Data rate, signal and SNR are those at the median position, at the gateway that hears the node best." }
        @if site.shares_sky() { p.quiet { "Life: " (SHARED_SKY) "." } }
    };
    let footer = html! { "Made by overwinter " (env!("CARGO_PKG_VERSION")) " from " (site.file_name()) "." };
    shell(&answer, site.file_name(), &main, &footer)
}

fn nodes(rows: &[NodeRow]) -> Markup {
    html! {
        table.stacked.nodes {
            thead { tr {
                th { "node" } th { "life" } th { "law" } th { "reach" } th { "message" }
                th { "sends at" } th.figure { "signal, dBm" } th.figure { "SNR, dB" }
            } }
            tbody { @for row in rows { (node(row)) } }
        }
    }
}

fn node(row: &NodeRow) -> Markup {
    let best = row.answer.reach.links.first();
    html! {
        tr {
            th scope="row" { (row.name) }
            @for (question, verdict) in row.verdicts() {
                td data-label=(question) { (verdict_mark::mark(verdict)) " " span.(verdict_mark::class(verdict)) { (words::verdict(verdict)) } }
            }
            td data-label="sends at" { (row.data_rate()) }
            td.figure data-label="signal, dBm" { @if let Some(best) = best { (minus(best.received.dbm())) } }
            td.figure data-label="SNR, dB" { @if let Some(best) = best { (minus(best.snr.decibels())) } }
        }
    }
}

/// A whole figure with a true minus; minus nothing is nothing.
fn minus(value: f64) -> String {
    format!("{:.0}", value.round() + 0.0).replace('-', "−")
}

/// What does not hold and what helps; nothing where all holds.
fn why(row: &NodeRow) -> Markup {
    let why = row.why();
    html! {
        @if !why.is_empty() {
            section {
                h2 { (row.name) @if row.worst() == Verdict::Fails { " fails" } }
                (super::rows(why.into_iter().map(|(label, text)| (label.to_owned(), text))))
            }
        }
    }
}
