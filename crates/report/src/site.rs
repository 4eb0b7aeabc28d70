//! A site on one page: a row for each node, worst first, and what is to be done about those that do not hold.

use design::fleet::Fleet;
use design::quantity::Share;
use serde_json::{Value, json};
use verdict::site::SiteAnswer;
use verdict::{Finding, Severity, Verdict};

use super::text::lay::{clip, paint, wrap_indented};
use super::text::{BOLD, QUIET, WIDTH, verdict_mark};
use super::{json as data, sentences, words};
use crate::problem::Problem;

/// Columns of the table: node, four verdicts, data rate, signal, noise margin.
const NAME: usize = 17;
const QUESTION: usize = 9;
const RATE: usize = 11;
const DBM: usize = 6;

/// What is said below the table of a site in which nodes share a sky.
pub(crate) const SHARED_SKY: &str =
    "nodes of one kind, mounting and skyline live under one sky within 0.05 degrees and 50 m of the first";

/// So many nodes are shown in full, worst first, unless all are asked for.
const MOST_ROWS: usize = 20;

/// One node of a site.
pub struct NodeRow {
    /// Its name.
    pub name: String,
    /// The node under whose sky it lives, if that is another.
    pub sky_of: Option<String>,
    /// Every verdict on it.
    pub answer: SiteAnswer,
    /// What would make it live, where it was looked for and found.
    pub remedy: Option<String>,
}

/// All nodes of a site.
pub struct SiteReport {
    file: String,
    name: String,
    pub(crate) note: Option<String>,
    pub(crate) rows: Vec<NodeRow>,
    warnings: Vec<Problem>,
}

impl NodeRow {
    pub(crate) fn verdicts(&self) -> [(&'static str, Verdict); 4] {
        self.answer.verdicts().map(|(question, verdict)| (words::question(question), verdict))
    }

    pub(crate) fn worst(&self) -> Verdict {
        self.answer.verdict()
    }

    fn survival(&self) -> f64 {
        self.answer.life.without_outage.map_or(0.0, Share::fraction)
    }

    /// The data rate that most messages are sent at.
    pub(crate) fn data_rate(&self) -> String {
        let share = |one: &&(u8, Share)| one.1.fraction();
        let reach = &self.answer.reach;
        let most = reach.middle_rates.iter().max_by(|one, other| share(one).total_cmp(&share(other)));
        most.map_or(String::new(), |(rate, share)| sentences::reach::mix(reach, &[(*rate, *share)]))
    }

    /// Label and text of what does not hold, and of what helps.
    pub(crate) fn why(&self) -> Vec<(&'static str, String)> {
        let mut said = Vec::new();
        if self.answer.life.verdict != Verdict::Holds {
            said.push(("life", self.answer.life.reason.clone()));
        }
        said.extend(self.remedy.iter().map(|remedy| ("what helps", remedy.clone())));
        if self.answer.reach.verdict != Verdict::Holds {
            let reach = &self.answer.reach;
            let heard = sentences::reach::heard(reach);
            said.push(("reach", format!("{heard}: {}", sentences::reach::short(reach))));
            let best = self.answer.reach.links.first();
            said.extend(best.and_then(sentences::reach::obstacle).map(|obstacle| ("in the way", obstacle)));
            said.extend(sentences::reach::not_known(reach));
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

    /// Whether some node lives under the sky of another.
    pub(crate) fn shares_sky(&self) -> bool {
        self.rows.iter().any(|row| row.sky_of.is_some())
    }

    /// Its file, without the folders.
    pub(crate) fn file_name(&self) -> &str {
        words::file_name(&self.file)
    }

    /// The answer in a sentence: "Larkmoor, 4 nodes: 1 fails, 1 in doubt, 2 hold".
    pub(crate) fn answer(&self) -> String {
        format!("{}, {}: {}", self.name, words::count(self.rows.len(), "node"), counted(&self.rows, ""))
    }

    /// One page of text, of a large site the worst nodes or `all`.
    pub fn text(&self, all: bool) -> String {
        let (mark, style) = verdict_mark(self.verdict());
        let shown = if all { self.rows.len() } else { MOST_ROWS.min(self.rows.len()) };
        let (rows, rest) = self.rows.split_at(shown);
        let mut lines = vec![format!("{} {}", paint(style, mark), paint(BOLD, &self.answer()))];
        lines.extend(self.note.iter().flat_map(|note| wrap_indented(note, WIDTH, "")));
        lines.extend(self.warned().iter().flat_map(|warning| wrap_indented(warning, WIDTH, "  ")));
        lines.push(String::new());
        lines.push(paint(
            QUIET,
            &format!(
                "{:<NAME$}{:<QUESTION$}{:<QUESTION$}{:<QUESTION$}{:<QUESTION$}{:<RATE$}{:>DBM$}{:>9}",
                "", "life", "law", "reach", "message", "sends at", "dBm", "SNR dB"
            ),
        ));
        lines.extend(rows.iter().map(table_row));
        if !rest.is_empty() {
            lines.push(format!("{} (--all: every node)", counted(rest, "more ")));
        }
        for row in rows {
            let why = row.why();
            if why.is_empty() {
                continue;
            }
            lines.push(String::new());
            lines.push(paint(BOLD, &row.name));
            lines.extend(why.iter().flat_map(|(label, text)| super::text::fact(label, text)));
        }
        lines.push(String::new());
        if self.shares_sky() {
            lines.extend(wrap_indented(SHARED_SKY, WIDTH, "").iter().map(|line| paint(QUIET, line)));
        }
        lines.push(paint(
            QUIET,
            "signal at the median position; check NODE.toml: one node in full; --json: all",
        ));
        lines.join("\n") + "\n"
    }

    /// The warnings, which weaken the verdicts below them: those of the files, then those found, each with the nodes that it
    /// is about.
    pub(crate) fn warned(&self) -> Vec<String> {
        let mut found: Vec<(&str, Vec<&str>)> = Vec::new();
        for row in &self.rows {
            for finding in row.answer.findings().filter(|finding| finding.severity == Severity::Warning) {
                match found.iter_mut().find(|(message, _)| *message == finding.message) {
                    Some((_, nodes)) if nodes.last() == Some(&row.name.as_str()) => {}
                    Some((_, nodes)) => nodes.push(&row.name),
                    None => found.push((&finding.message, vec![&row.name])),
                }
            }
        }
        let of_files =
            self.warnings.iter().map(|one| format!("warning: {}: {}", one.location(), one.message));
        let found = found.iter().map(|(message, nodes)| match &nodes[..] {
            all if all.len() == self.rows.len() && all.len() > 1 => format!("warning: all nodes: {message}"),
            [many @ .., last] if many.len() > 3 => {
                format!("warning: {last} and {}: {message}", words::count(many.len(), "other node"))
            }
            few => format!("warning: {}: {message}", few.join(", ")),
        });
        of_files.chain(found).collect()
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

/// "1 fails, 2 hold"; of what is not shown "1 more fails, 2 more hold".
fn counted(rows: &[NodeRow], more: &str) -> String {
    let part = |wanted, one: &str, many: &str| match rows.iter().filter(|row| row.worst() == wanted).count() {
        0 => None,
        1 => Some(format!("1 {more}{one}")),
        count => Some(format!("{} {more}{many}", words::grouped(count))),
    };
    let parts = [
        part(Verdict::Fails, "fails", "fail"),
        part(Verdict::NotKnown, "not known", "not known"),
        part(Verdict::Tight, "in doubt", "in doubt"),
        part(Verdict::Holds, "holds", "hold"),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
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
    let rate = row.data_rate();
    line + &format!("{rate:<RATE$}{:>DBM$.0}{:>9.0}", best.received.dbm(), best.snr.decibels())
}

fn node(row: &NodeRow) -> Value {
    let verdicts =
        row.verdicts().map(|(question, verdict)| (question.to_owned(), json!(data::verdict(verdict))));
    let finding = |one: &Finding| json!({ "code": one.code, "severity": words::severity(one.severity), "field": one.field, "message": one.message, "help": one.help });
    let findings = row.answer.findings();
    json!({
        "name": row.name,
        "sky_of": row.sky_of,
        "verdicts": serde_json::Map::from_iter(verdicts),
        "life_reason": row.answer.life.reason,
        "what_helps": row.remedy,
        "without_outage_percent": row.answer.life.without_outage.map(|share| data::number(share.percent())),
        "law_reason": row.answer.law.reason,
        "reach": data::reach::summary(&row.answer.reach),
        "findings": findings.map(finding).collect::<Vec<_>>(),
    })
}
