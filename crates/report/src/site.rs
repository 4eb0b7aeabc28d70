//! A site on one page: a row for each node, worst first, and what is to be done about those that do not hold.

use design::fleet::Fleet;
use serde_json::{Value, json};
use verdict::{Answer, Severity, Verdict};

use super::text::lay::{clip, paint, wrap_indented};
use super::text::{BOLD, QUIET, WIDTH, verdict_mark};
use super::{json as data, sentences, words};
use crate::problem::Problem;

/// Columns of the table: node, four verdicts, data rate, signal, noise margin.
const NAME: usize = 17;
const QUESTION: usize = 9;
const RATE: usize = 11;
const DBM: usize = 6;

/// One node of a site.
pub struct NodeRow {
    /// Its name.
    pub name: String,
    /// Every verdict on it.
    pub answer: Answer,
}

/// All nodes of a site.
pub struct SiteReport {
    file: String,
    name: String,
    note: Option<String>,
    rows: Vec<NodeRow>,
    warnings: Vec<Problem>,
}

impl NodeRow {
    fn verdicts(&self) -> [(&'static str, Verdict); 4] {
        self.answer.verdicts().map(|(question, verdict)| (words::question(question), verdict))
    }

    fn worst(&self) -> Verdict {
        self.answer.verdict()
    }

    fn survival(&self) -> f64 {
        self.answer.life.chances.as_ref().map_or(0.0, |chances| chances.without_outage.fraction())
    }

    /// Label and text of what does not hold, and of what helps.
    fn why(&self) -> Vec<(&'static str, String)> {
        let mut said = Vec::new();
        if self.answer.life.verdict != Verdict::Holds {
            said.push(("life", self.answer.life.reason.clone()));
        }
        if self.answer.reach.verdict != Verdict::Holds {
            said.push(("reach", sentences::reach::short(&self.answer.reach)));
            let best = self.answer.reach.links.first();
            said.extend(best.and_then(sentences::reach::obstacle).map(|obstacle| ("in the way", obstacle)));
        }
        if self.answer.law.verdict == Verdict::Fails || self.answer.law.verdict == Verdict::NotKnown {
            said.push(("law", sentences::law(&self.answer.law)));
        }
        let dangers = self.answer.findings().filter(|finding| finding.severity == Severity::Danger);
        said.extend(dangers.map(|finding| ("danger", format!("{}; {}", finding.message, finding.help))));
        said
    }
}

impl SiteReport {
    /// Sorts the rows, worst first.
    pub fn new(fleet: &Fleet, file: &str, mut rows: Vec<NodeRow>, warnings: Vec<Problem>) -> Self {
        rows.sort_by(|one, other| {
            let order = other.worst().badness().cmp(&one.worst().badness());
            let heard = |row: &NodeRow| row.answer.reach.spots_heard.fraction();
            order
                .then(one.survival().total_cmp(&other.survival()))
                .then(heard(one).total_cmp(&heard(other)))
                .then_with(|| one.name.cmp(&other.name))
        });
        Self { file: file.to_owned(), name: fleet.name.clone(), note: fleet.note.clone(), rows, warnings }
    }

    /// The worst verdict of all.
    pub fn verdict(&self) -> Verdict {
        Verdict::worst(self.rows.iter().map(NodeRow::worst)).unwrap_or(Verdict::NotKnown)
    }

    /// The answer in a sentence: "Larkmoor: 4 nodes: 2 hold, 1 in doubt, 1 fails".
    fn answer(&self) -> String {
        let count = |wanted: Verdict| self.rows.iter().filter(|row| row.worst() == wanted).count();
        let part = |wanted, one: &str, more: &str| match count(wanted) {
            0 => None,
            1 => Some(format!("1 {one}")),
            many => Some(format!("{many} {more}")),
        };
        let parts = [
            part(Verdict::Fails, "fails", "fail"),
            part(Verdict::NotKnown, "not known", "not known"),
            part(Verdict::Tight, "in doubt", "in doubt"),
            part(Verdict::Holds, "holds", "hold"),
        ];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        format!("{}, {}: {}", self.name, words::count(self.rows.len(), "node"), parts.join(", "))
    }

    /// One page of text.
    pub fn text(&self) -> String {
        let (mark, style) = verdict_mark(self.verdict());
        let mut lines = vec![format!("{} {}", paint(style, mark), paint(BOLD, &self.answer()))];
        lines.extend(self.note.iter().flat_map(|note| wrap_indented(note, WIDTH, "")));
        lines.push(String::new());
        lines.push(paint(
            QUIET,
            &format!(
                "{:<NAME$}{:<QUESTION$}{:<QUESTION$}{:<QUESTION$}{:<QUESTION$}{:<RATE$}{:>DBM$}{:>9}",
                "", "life", "law", "reach", "message", "sends at", "dBm", "SNR dB"
            ),
        ));
        lines.extend(self.rows.iter().map(table_row));
        for row in &self.rows {
            let why = row.why();
            if why.is_empty() {
                continue;
            }
            lines.push(String::new());
            lines.push(paint(BOLD, &row.name));
            lines.extend(why.iter().flat_map(|(label, text)| super::text::fact(label, text)));
        }
        let warned = self.warnings.iter().map(|one| format!("{}: {}", one.location(), one.message));
        lines.extend(warned.flat_map(|text| wrap_indented(&text, WIDTH, "  ")));
        lines.push(String::new());
        lines.push(paint(QUIET, "signal on the middle spot; check NODE.toml: one node in full; --json: all"));
        lines.join("\n") + "\n"
    }

    /// Everything as data.
    pub fn json(&self) -> Value {
        json!({
            "schema": 1,
            "overwinter": env!("CARGO_PKG_VERSION"),
            "file": self.file,
            "site": self.name,
            "note": self.note,
            "verdict": data::verdict(self.verdict()),
            "nodes": self.rows.iter().map(node).collect::<Vec<_>>(),
            "diagnostics": self.warnings.iter().map(Problem::to_json).collect::<Vec<_>>(),
        })
    }
}

fn table_row(row: &NodeRow) -> String {
    let mut line = format!("{:<NAME$}", clip(&row.name, NAME - 1));
    for (_, verdict) in row.verdicts() {
        let (_, style) = verdict_mark(verdict);
        let word = words::verdict(verdict);
        line += &paint(style, word);
        line += &" ".repeat(QUESTION.saturating_sub(word.chars().count()));
    }
    let Some(best) = row.answer.reach.links.first() else { return line };
    let most = row
        .answer
        .reach
        .middle_rates
        .iter()
        .max_by(|one, other| one.1.fraction().total_cmp(&other.1.fraction()));
    let rate = most
        .map_or(String::new(), |(rate, share)| sentences::reach::mix(&row.answer.reach, &[(*rate, *share)]));
    line + &format!("{rate:<RATE$}{:>DBM$.0}{:>9.0}", best.received.dbm(), best.snr.decibels())
}

fn node(row: &NodeRow) -> Value {
    let verdicts =
        row.verdicts().map(|(question, verdict)| (question.to_owned(), json!(data::verdict(verdict))));
    let finding = |one: &verdict::Finding| json!({ "code": one.code, "severity": words::severity(one.severity), "field": one.field, "message": one.message, "help": one.help });
    let findings = row.answer.findings();
    json!({
        "name": row.name,
        "verdicts": serde_json::Map::from_iter(verdicts),
        "life_reason": row.answer.life.reason,
        "without_outage_percent": row.answer.life.chances.as_ref().map(|chances| data::number(chances.without_outage.percent())),
        "law_reason": row.answer.law.reason,
        "reach": data::reach::summary(&row.answer.reach),
        "findings": findings.map(finding).collect::<Vec<_>>(),
    })
}
