//! The law: what is said of each limit, and how often each message may be sent at each data rate.

use verdict::law::{Bound, Check, MessageRow, RateRow};
use verdict::plan::Verdict;

use super::{ReportedDesign, WIDTH, sentences, words, wrap_indented};

/// Every line about the law; none if nothing is sent.
pub(crate) fn lines(subject: &ReportedDesign) -> Vec<String> {
    let law = &subject.law;
    if law.checks.is_empty() {
        return Vec::new();
    }
    let mut lines = wrap_indented(&format!("{}: {}", words::verdict(law.verdict), law.reason), WIDTH, "  ");
    lines.extend(
        law.remedy.iter().flat_map(|remedy| wrap_indented(&format!("  instead: {remedy}"), WIDTH, "  ")),
    );
    lines.extend(wrap_indented(&format!("{}, {}; {}", law.region, law.edition, law.text), WIDTH, "  "));
    lines.extend(law.checks.iter().filter(|check| check.verdict != Verdict::Holds).flat_map(check));
    for message in &law.messages {
        lines.push(String::new());
        lines.extend(rates(message));
    }
    lines.extend(law.open.iter().flat_map(|open| {
        wrap_indented(
            &format!("no legal text was seen for {}: check your regulator ({})", open.question, open.text),
            WIDTH,
            "  ",
        )
    }));
    lines
}

fn check(check: &Check) -> Vec<String> {
    let rate = if check.in_use { "" } else { " (not in use, the network may ask for it)" };
    let remark = check.remark().map_or(String::new(), |remark| format!("; {remark}"));
    let text = format!("DR{}{rate}: {}; {}{remark}", check.data_rate, check.reason, check.clause.text);
    wrap_indented(&text, WIDTH, "  ")
}

/// A message at every data rate: how often it may be sent, and what limits it most.
fn rates(message: &MessageRow) -> Vec<String> {
    let head = ["bytes", "on air", "room for", "every: law", "network", "energy", "tightest"];
    let row = |first: &str, [bytes, airtime, most, law, grant, sun, tightest]: [&str; 7]| {
        format!("{first:<16}{bytes:>5}{airtime:>11}{most:>9}{law:>11}{grant:>10}{sun:>9}  {tightest}")
            .trim_end()
            .to_owned()
    };
    let title = super::super::lay::clip(&message.name, 16);
    let mut lines = vec![row(&title, head)];
    lines.extend(message.rates.iter().map(|rate| {
        let airtime =
            rate.airtime.map_or("?".to_owned(), |airtime| format!("{:.1} ms", airtime.milliseconds()));
        let (law, grant) = (every(rate.limits.law), every(rate.limits.allowance));
        let sun = rate.limits.energy.map_or("?".to_owned(), every);
        row(
            &rate_name(rate),
            [
                &rate.bytes.to_string(),
                &airtime,
                &format!("{} B", rate.ceiling.bytes),
                &law,
                &grant,
                &sun,
                &sentences::tightest(rate),
            ],
        )
    }));
    lines
}

fn rate_name(rate: &RateRow) -> String {
    format!("  DR{}{}", rate.data_rate, if rate.in_use { "" } else { ", if asked" })
}

/// How often, under a heading that says "every".
fn every(bound: Bound) -> String {
    sentences::bound(bound).replacen("every ", "", 1)
}
