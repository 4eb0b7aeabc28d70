//! The messages bit by bit, and what they cost at each data rate.

use design::message::{Direction, Form};
use maud::{Markup, html};
use verdict::law::LawPlan;
use verdict::message::{FormView, MessageView, RateView, Row};
use verdict::plan::Verdict;

use crate::chart::{self, tape, verdict_mark};
use crate::{ReportedDesign, sentences, words};

/// A section for each message.
pub(crate) fn sections(subject: &ReportedDesign) -> Markup {
    html! { @for message in &subject.messages { (section(message)) } }
}

fn section(message: &MessageView) -> Markup {
    let way = if message.direction == Direction::Down { "To the node" } else { "From the node" };
    html! {
        section {
            h2 { "The message " (message.name) ", bit by bit" }
            p.quiet { (way) @if !message.title.is_empty() { ": " (message.title) } "." }
            @for (index, form) in message.forms.iter().enumerate() {
                (self::form(message, form, &format!("tape-{}-{index}", message.name)))
            }
        }
    }
}

fn form(message: &MessageView, form: &FormView, id: &str) -> Markup {
    let chart = tape::chart(&message.name, form, id.to_owned());
    let which = if form.form == Form::Full { "Full form" } else { "Short form" };
    html! {
        p.form { b { (which) } ", port " (form.port) ": " (form.bits) " bits in " (words::count(form.bytes, "byte")) "." }
        div.scroll tabindex="0" role="group" aria-label=(chart.title) { (chart.svg()) }
        (chart::cue())
        table.fields.stacked {
            thead { tr { th { "Part" } th { "Field" } th.figure { "Bits" } th { "Range" } th { "For example" } } }
            tbody {
                @for (index, row) in form.rows.iter().enumerate() {
                    tr {
                        td.letter { b { (tape::letter(index)) } }
                        td.whole { b { (sentences::field_name(row)) } @if !row.title.is_empty() { " " span.quiet { (row.title) } } }
                        td.figure data-label="bits" { (row.bits) }
                        td data-label="range" { (minus(row, &sentences::field_says(row))) }
                        td data-label="for example" { (minus(row, &sentences::field_example(row))) }
                    }
                }
            }
        }
        (costs(form))
    }
}

/// Figures with a true minus; words as they are.
fn minus(row: &Row, said: &str) -> String {
    if row.words.is_empty() { said.replace('-', "−") } else { said.to_owned() }
}

fn costs(form: &FormView) -> Markup {
    html! {
        @if !form.rates.is_empty() {
            table.costs.stacked {
                thead { tr { th { "Data rate" } th.figure { "On air" } th.figure { "Charge" } th.figure { "Bytes" } th { "A byte fewer, a byte more" } } }
                tbody { @for rate in &form.rates { (cost(form, rate)) } }
            }
        }
    }
}

fn cost(form: &FormView, rate: &RateView) -> Markup {
    html! {
        tr.quiet[!rate.sent] {
            td.whole { b { "DR" (rate.data_rate) } @if !rate.sent { ", not sent" } }
            td.figure data-label="on air" { (words::figure(rate.cost.airtime.milliseconds())) " ms" }
            td.figure data-label="charge" { (words::figure(1000.0 * rate.cost.charge.milliampere_hours())) " µAh" }
            td.figure data-label="bytes" { (form.bytes) " of " (rate.ceiling.bytes) }
            td.whole { (sentences::cliff(rate).replace("uAh", "µAh")) }
        }
    }
}

/// The row among the verdicts; nothing if nothing is sent.
pub(crate) fn verdict(law: &LawPlan, messages: &[MessageView]) -> Markup {
    let sentence = |verdict: Verdict| match verdict {
        Verdict::Holds => "It fits.",
        Verdict::Tight => "It may not fit.",
        Verdict::Fails => "It does not fit.",
        Verdict::NotKnown => "Whether it fits is not known.",
    };
    html! {
        @if let Some((verdict, room)) = sentences::message::room(law, messages) {
            div.verdict {
                p.quiet { "message" }
                (verdict_mark::mark(verdict))
                div {
                    p.says { (sentence(verdict)) }
                    p { b.(verdict_mark::class(verdict)) { (sentences::fits(verdict)) } " " b { (room) } }
                    @if let Some(mean) = saved(messages) { p.quiet { (mean) } }
                }
            }
        }
    }
}

/// What the codes save against text.
fn saved(messages: &[MessageView]) -> Option<String> {
    let message = messages.iter().find(|message| message.mean.is_some())?;
    let mean = message.mean?;
    let ratio = mean.as_text.airtime / mean.sent.airtime;
    Some(format!(
        "{} takes {} ms on air on average; sent as text it would take {} times as long.",
        message.name,
        words::figure(mean.sent.airtime.milliseconds()),
        words::figure(ratio)
    ))
}
