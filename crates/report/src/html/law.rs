//! The law: the table of limits by data rate, what is not kept, and what was not seen.

use maud::{Markup, html};
use verdict::law::{Check, LawPlan, MessageRow, RateRow};
use verdict::plan::Verdict;

use super::{code, rows};
use crate::chart::verdict_mark;
use crate::{ReportedDesign, sentences, words};

/// The section; nothing if nothing is sent.
pub(crate) fn section(subject: &ReportedDesign) -> Markup {
    let law = &subject.law;
    let broken: Vec<&Check> = law.checks.iter().filter(|check| check.verdict != Verdict::Holds).collect();
    html! {
        @if !law.checks.is_empty() {
            section {
                h2 { (title(law.verdict)) }
                @for message in &law.messages { (table(message)) }
                p.quiet {
                    "How often each message may be sent: by law and by the network's own allowance, if nothing else is sent; by the energy \
                    that the sun brings in the darkest month, or that a battery without a panel has for a day, all else going on. Data rates in grey are not in use, but the network may ask for \
                    them."
                }
                @if !broken.is_empty() {
                    (rows(broken.iter().map(|check| (format!("DR{}", check.data_rate), sentence(check)))))
                }
                (rows(sources(subject).into_iter()))
            }
        }
    }
}

fn title(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Holds => "How often it may be on the air",
        Verdict::Tight => {
            "Lawful at the data rate in use, over the limit at others that the network may ask for"
        }
        Verdict::Fails => "It is on the air more than the law allows",
        Verdict::NotKnown => "Whether it is lawful is not known",
    }
}

/// What is not kept, where that stands, and what to do.
fn sentence(check: &Check) -> String {
    let used = if check.in_use { "" } else { "not in use, but the network may ask for it: " };
    let remark = check.remark().map_or(String::new(), |remark| format!(", {remark}"));
    let remedy = check.remedy.as_ref().map_or(String::new(), |remedy| format!(" Instead: {remedy}."));
    format!("{used}{} ({}{remark}).{remedy}", check.reason, check.clause.text)
}

fn table(message: &MessageRow) -> Markup {
    html! {
        table.limits.stacked {
            caption { (message.name) }
            thead { tr {
                th { "data rate" } th.figure { "bytes" } th.figure { "on air" } th.figure { "room for" }
                th.figure { "by law" } th.figure { "by network" } th.figure { "by energy" } th { "tightest" }
            } }
            tbody { @for rate in &message.rates { (row(rate)) } }
        }
    }
}

fn row(rate: &RateRow) -> Markup {
    let fits = rate.bytes <= rate.ceiling.bytes;
    let airtime = rate
        .airtime
        .map_or("?".to_owned(), |airtime| format!("{} ms", words::figure(airtime.milliseconds())));
    html! {
        tr.quiet[!rate.in_use] {
            th scope="row" { "DR" (rate.data_rate) @if !rate.in_use { ", if asked" } }
            td.figure data-label="bytes" { (rate.bytes) }
            td.figure data-label="on air" { (airtime) }
            td.figure data-label="room for" { (rate.ceiling.bytes) " bytes" }
            td.figure data-label="by law" { (sentences::bound(rate.limits.law)) }
            td.figure data-label="by network" { (sentences::bound(rate.limits.allowance)) }
            td.figure data-label="by energy" { (rate.limits.energy.map_or("?".to_owned(), sentences::bound)) }
            td data-label="tightest" { @if fits { (sentences::tightest(rate)) } @else { span.fails { "too long" } } }
        }
    }
}

fn sources(subject: &ReportedDesign) -> Vec<(String, String)> {
    let law = &subject.law;
    let mut said = vec![
        ("plan".to_owned(), format!("{}, {}", law.region, law.edition)),
        ("text".to_owned(), law.text.clone()),
    ];
    let open = law.open.iter();
    said.extend(open.map(|open| {
        ("check your regulator".to_owned(), format!("not seen: {} ({})", open.question, open.text))
    }));
    said
}

/// The row among the verdicts; nothing if nothing is sent.
pub(crate) fn verdict(law: &LawPlan) -> Markup {
    let sentence = match law.verdict {
        Verdict::Holds => "It is lawful.",
        Verdict::Tight => "It may not stay lawful.",
        Verdict::Fails => "It is not lawful.",
        Verdict::NotKnown => "Whether it is lawful is not known.",
    };
    html! {
        @if !law.checks.is_empty() {
            div.verdict {
                p.quiet { "law" }
                (verdict_mark::mark(law.verdict))
                div {
                    p.says { (sentence) }
                    p { b.(verdict_mark::class(law.verdict)) { (words::verdict(law.verdict)) } " " b { (sentences::law(law)) } }
                    p.quiet { (law.region) ", " (law.text) }
                    @if let Some(remedy) = &law.remedy { p { span.remedy { (code(remedy)) } } }
                }
            }
        }
    }
}
