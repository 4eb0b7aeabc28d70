//! Designs side by side: what differs between them, and what that does to each verdict.

use serde_json::{Value, json};
use verdict::plan::Survival;
use verdict::{Answer, Verdict, message};

use crate::json::number;
use crate::text::lay::{paint, wrap_indented};
use crate::text::{BOLD, WIDTH, verdict_mark};
use crate::{json as data, sentences, words};

/// Columns of a row's label.
const LABEL: usize = 18;

/// One design, or one place of it.
pub struct Compared {
    /// How it is told from the others: its file, or its place.
    pub name: String,
    /// Label and text of what it is made of; every design has the same labels in the same order, or lacks some.
    pub made_of: Vec<(String, String)>,
    /// All verdicts on it.
    pub answer: Answer,
}

/// Designs that lived the same lives.
pub struct Comparison {
    /// At most 26, in the order in which they were named.
    pub designs: Vec<Compared>,
}

impl Comparison {
    /// The worst verdict of all.
    pub fn verdict(&self) -> Verdict {
        let all = self.designs.iter().map(|design| design.answer.verdict());
        Verdict::worst(all).unwrap_or(Verdict::NotKnown)
    }

    /// As text.
    pub fn text(&self) -> String {
        let mut lines = Vec::new();
        for (letter, design) in self.lettered() {
            let (mark, style) = verdict_mark(design.answer.verdict());
            lines.push(format!("{letter}  {}  {}", paint(style, mark), design.name));
        }
        let mut section = |title: &str, rows: Vec<(String, Vec<String>)>| {
            if rows.is_empty() {
                return;
            }
            lines.push(String::new());
            lines.push(paint(BOLD, title));
            for (label, cells) in rows {
                for (index, (letters, cell)) in self.grouped(&cells).iter().enumerate() {
                    let label = if index == 0 { label.as_str() } else { "" };
                    let said = wrap_indented(cell, WIDTH - LABEL - letters.len() - 2, "");
                    let blank = " ".repeat(letters.len());
                    lines.extend(said.iter().enumerate().map(|(row, said)| {
                        let (label, letters) = if row == 0 { (label, letters) } else { ("", &blank) };
                        format!("{label:<LABEL$}{letters}  {said}").trim_end().to_owned()
                    }));
                }
            }
        };
        section("What differs", self.differences());
        section("What it does", self.outcomes());
        lines.join("\n") + "\n"
    }

    /// As JSON.
    pub fn json(&self) -> Value {
        let rows = |rows: Vec<(String, Vec<String>)>| {
            let row = |(label, cells): &(String, Vec<String>)| json!({ "what": label, "says": cells });
            rows.iter().map(row).collect::<Vec<_>>()
        };
        json!({
            "schema": 1,
            "overwinter": env!("CARGO_PKG_VERSION"),
            "verdict": data::verdict(self.verdict()),
            "designs": self.designs.iter().map(design_json).collect::<Vec<_>>(),
            "differs": rows(self.differences()),
            "does": rows(self.outcomes()),
        })
    }

    fn lettered(&self) -> impl Iterator<Item = (char, &Compared)> {
        ('A'..='Z').zip(&self.designs)
    }

    /// Each text of a row once, with the letters of the designs that it is said of.
    fn grouped(&self, cells: &[String]) -> Vec<(String, String)> {
        let mut groups: Vec<(String, String)> = Vec::new();
        for ((letter, _), cell) in self.lettered().zip(cells) {
            match groups.iter_mut().find(|(_, known)| known == cell) {
                Some((letters, _)) => letters.push(letter),
                None => groups.push((letter.to_string(), cell.clone())),
            }
        }
        groups
    }

    /// Rows of what the designs are made of in which they are not all alike.
    fn differences(&self) -> Vec<(String, Vec<String>)> {
        let mut labels: Vec<&str> = Vec::new();
        for (label, _) in self.designs.iter().flat_map(|design| &design.made_of) {
            if !labels.contains(&label.as_str()) {
                labels.push(label);
            }
        }
        let cell = |design: &Compared, label: &str| {
            let known = design.made_of.iter().find(|(known, _)| known == label);
            known.map_or_else(|| "none".to_owned(), |(_, text)| text.clone())
        };
        let row = |label: &&str| {
            let cells: Vec<String> = self.designs.iter().map(|design| cell(design, label)).collect();
            let alike = cells.windows(2).all(|two| two[0] == two[1]);
            (!alike).then(|| ((*label).to_owned(), cells))
        };
        labels.iter().filter_map(row).collect()
    }

    /// Rows of what comes of it.
    fn outcomes(&self) -> Vec<(String, Vec<String>)> {
        let row = |label: &str, of: &dyn Fn(&Compared) -> String| {
            (label.to_owned(), self.designs.iter().map(of).collect::<Vec<_>>())
        };
        let chances = |design: &Compared, of: &dyn Fn(&Survival) -> String| {
            design.answer.life.chances.as_ref().map_or_else(|| "not known".to_owned(), of)
        };
        let worded = |verdict, text: &str| format!("{}: {text}", words::verdict(verdict));
        vec![
            row("life", &|one| worded(one.answer.life.verdict, &one.answer.life.reason)),
            row("against A", &|one| self.against_first(one)),
            row("unluckiest fifth", &|one| chances(one, &|seen| sentences::share(seen.worst_fifth))),
            row("lowest charge", &|one| chances(one, &sentences::darkest)),
            row("reports a year", &|one| {
                words::grouped(words::whole(one.answer.life.life.wanted_reports_per_year))
            }),
            row("law", &|one| worded(one.answer.law.verdict, &one.answer.law.reason)),
            row("reach", &|one| worded(one.answer.reach.verdict, &one.answer.reach.reason)),
            row("message", &|one| sentences::fits(message::verdict(&one.answer.law)).to_owned()),
        ]
    }

    /// The same lives, counted: which ones a change saves and which it costs.
    fn against_first(&self, design: &Compared) -> String {
        let failed = |design: &Compared| design.answer.life.chances.as_ref().map(|seen| seen.failed.clone());
        let (Some(first), Some(own)) = (self.designs.first().and_then(failed), failed(design)) else {
            return "not known".to_owned();
        };
        if self.designs.first().is_some_and(|first| std::ptr::eq(first, design)) {
            return format!("{} of the lives have an outage", words::grouped(own.len()));
        }
        let saved = first.iter().filter(|life| !own.contains(life)).count();
        let lost = own.iter().filter(|life| !first.contains(life)).count();
        format!(
            "saves {} of the lives that A loses, loses {} that A keeps",
            words::grouped(saved),
            words::grouped(lost)
        )
    }
}

fn design_json(design: &Compared) -> Value {
    let chances = design.answer.life.chances.as_ref();
    json!({
        "name": design.name,
        "verdict": data::verdict(design.answer.verdict()),
        "verdicts": design.answer.verdicts().map(|(question, verdict)| {
            json!({ "question": words::question(question), "verdict": data::verdict(verdict) })
        }),
        "without_outage_percent": chances.map(|seen| number(seen.without_outage.percent())),
        "worst_fifth_percent": chances.map(|seen| number(seen.worst_fifth.percent())),
        "wanted_reports_per_year": number(design.answer.life.life.wanted_reports_per_year),
        "made_of": design.made_of.iter().map(|(what, text)| json!({ "what": what, "is": text })).collect::<Vec<_>>(),
    })
}
