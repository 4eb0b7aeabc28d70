//! The page of `overwinter learn`: what a node's messages taught.

use super::lay::{paint, wrap, wrap_indented};
use super::{BOLD, LABEL, QUIET, WIDTH, fact, verdict_mark, words};
use crate::sentences::truth::{self, Told};

/// Columns of a figure with its interval.
const FIGURE: usize = 22;

/// The page: the verdict, what explains it, how long it goes on, what is known.
pub fn page(told: &Told) -> String {
    let learned = &told.truth.learned;
    let (mark, style) = verdict_mark(told.truth.verdict);
    let word = format!("{mark} {}", words::verdict(told.truth.verdict));
    let mut lines = wrap(&format!("{word}: {}. {}.", told.name, truth::headline(told)), WIDTH);
    if let Some(first) = lines.first_mut() {
        *first = first.replacen(&word, &paint(style, &word), 1);
    }
    if let Some(note) = &told.note {
        lines.extend(wrap(note, WIDTH).iter().map(|line| paint(QUIET, line)));
    }
    lines.extend(wrap_indented(&format!("Learned {}", truth::source(told)), WIDTH, "  "));
    lines.push(String::new());
    if learned.causes.is_empty() {
        lines.extend(fact("cause", "nothing differs from the design by more than is known"));
    }
    for cause in &learned.causes {
        lines.extend(fact("cause", &truth::cause(cause, told)));
    }
    lines.extend(fact("silent", &truth::silence(learned.as_of_s, &learned.silence)));
    if let Some(mended) = truth::mended(learned) {
        lines.extend(fact("mended today", &mended));
    }
    lines.push(String::new());
    lines.extend(table(told));
    if !learned.not_known.is_empty() {
        lines.push(String::new());
        lines.push(paint(BOLD, "What can't be known yet"));
    }
    for unknown in &learned.not_known {
        let (name, said) = truth::not_known(unknown, learned);
        lines.extend(fact(name, &said));
    }
    lines.push(String::new());
    lines.push(paint(QUIET, "9 in 10 lie between the figures in brackets; --report FILE.html: charts"));
    lines.join("\n") + "\n"
}

/// The page of several nodes under one sky: of each what `page` says first, and its figures.
pub fn site(all: &[Told], left_out: &[String]) -> String {
    let mut lines = vec![paint(BOLD, "Learned under the sky that they share")];
    for told in all {
        let learned = &told.truth.learned;
        let (mark, style) = verdict_mark(told.truth.verdict);
        let word = format!("{mark} {}", words::verdict(told.truth.verdict));
        lines.push(String::new());
        let said = wrap(&format!("{word}: {}. {}.", told.name, truth::headline(told)), WIDTH);
        lines.extend(said.iter().enumerate().map(|(place, line)| {
            if place == 0 { line.replacen(&word, &paint(style, &word), 1) } else { line.clone() }
        }));
        for cause in &learned.causes {
            lines.extend(fact("cause", &truth::cause(cause, told)));
        }
        lines.extend(fact("silent", &truth::silence(learned.as_of_s, &learned.silence)));
        lines.extend(table(told));
    }
    lines.push(String::new());
    lines.extend(left_out.iter().flat_map(|left_out| wrap(left_out, WIDTH)));
    lines.push(paint(QUIET, "9 in 10 lie between the figures in brackets"));
    lines.join("\n") + "\n"
}

fn table(told: &Told) -> Vec<String> {
    let row = |label: &str, before: &str, now: &str, unit: &str| {
        format!("{label:<LABEL$}{before:<FIGURE$}{now:<FIGURE$}{unit}").trim_end().to_owned()
    };
    let mut lines = vec![paint(BOLD, &row("", "believed before", "learned", ""))];
    for learnt in truth::side_by_side(&told.truth.learned) {
        let before = learnt.before.as_ref().map(truth::band).unwrap_or_default();
        let now =
            if learnt.known { truth::band(&learnt.now) } else { format!("{} ?", truth::band(&learnt.now)) };
        lines.push(row(learnt.label, &before, &now, learnt.unit));
    }
    lines
}
