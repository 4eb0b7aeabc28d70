//! What the plan promises of a node, as pages show it.

use std::collections::BTreeMap;

use maud::{Markup, PreEscaped, html};
use serde::Serialize;
use verdict::Question;
use verdict::plan::{LedgerEntry, LedgerPurpose, Plan, Verdict};

use crate::chart::kept::Course;
use crate::chart::verdict_mark;
use crate::{ReportedDesign, sentences, words};

/// The questions in the order in which their strokes stand; the last is answered by what was measured.
pub const QUESTIONS: [&str; 5] = ["life", "law", "reach", "message", "truth"];

/// What is promised of a node.
#[derive(Clone, Debug, Serialize)]
pub struct PromisedNode {
    /// The verdict on each question, in a word.
    pub verdicts: BTreeMap<&'static str, &'static str>,
    /// Life, law, reach, message.
    #[serde(skip)]
    pub strokes: [Verdict; 4],
    /// Why it will or will not live, with figures.
    pub life: String,
    /// Whether it will be heard, with figures.
    pub reach: String,
    /// What would make it live, where that was looked for and found.
    pub remedy: Option<String>,
    /// How long it would last without sun from the darkest day on \[days\].
    pub in_hand_days: Option<f64>,
    /// How long a battery does what the design expects of it, at the temperatures of its place \[years\]: beside a panel until
    /// its rated end of 80 % of its capacity, alone what nine in ten last; `None` beyond 40 years.
    pub battery_years: Option<f64>,
    /// Role and description of each part.
    pub parts: Vec<PlannedPart>,
    /// The charge over the year.
    #[serde(skip)]
    pub course: Option<Course>,
    /// Where its charge comes from and goes to.
    pub ledger: Vec<LedgerRow>,
    #[serde(skip)]
    rows: String,
    #[serde(skip)]
    bookkeeping: String,
}

/// What charge comes from or goes to, as it is promised.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LedgerRow {
    /// In words.
    pub purpose: String,
    /// Whether it is what the running node itself draws.
    pub is_load: bool,
    /// A day of the darkest month; earnings are positive \[mAh\].
    pub per_dark_day_mah: f64,
    /// A day of the year \[mAh\].
    pub per_day_mah: f64,
}

/// A part of a node.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PlannedPart {
    /// "panel", "battery".
    pub role: String,
    /// What it is.
    pub what: String,
}

impl PromisedNode {
    /// What pages show of an answer.
    pub fn of(subject: &ReportedDesign, plan: &Plan, verdicts: [(Question, Verdict); 4]) -> Self {
        let life = match &plan.chances {
            Some(chances) => sentences::headline(subject, chances),
            None => plan.reason.clone(),
        };
        let part = |(role, what): &(&'static str, String)| PlannedPart {
            role: (*role).to_owned(),
            what: what.clone(),
        };
        Self {
            verdicts: verdicts
                .iter()
                .map(|(asked, said)| (words::question(*asked), words::verdict(*said)))
                .collect(),
            strokes: verdicts.map(|(_, verdict)| verdict),
            life,
            reach: sentences::reach::short(&subject.reach),
            remedy: subject.remedies.as_ref().and_then(|found| sentences::remedy::sentence(found, plan)),
            in_hand_days: plan.chances.as_ref().map(|chances| chances.in_hand.days()),
            battery_years: match plan.life.lasts {
                Some((_, nine_in_ten)) if !crate::has_sun(plan) => Some(nine_in_ten.years()),
                _ => plan.life.worn_after.map(design::quantity::Duration::years),
            },
            parts: subject.parts.iter().map(part).collect(),
            course: Course::of(subject, plan),
            ledger: plan.ledger.iter().map(LedgerRow::of).collect(),
            rows: crate::html::verdicts(subject, plan).into_string(),
            bookkeeping: crate::html::ledger(plan).into_string(),
        }
    }

    /// Where its charge comes from and goes to, as the report of `check` shows it.
    pub fn bookkeeping(&self) -> Markup {
        PreEscaped(self.bookkeeping.clone())
    }

    /// What the sun offers and what the running node draws, on a day of the year \[mAh\].
    pub fn offered_and_drawn_mah(&self) -> (f64, f64) {
        let offered = self.ledger.iter().filter(|row| row.per_day_mah > 0.0).map(|row| row.per_day_mah).sum();
        let drawn = self.ledger.iter().filter(|row| row.is_load).map(|row| -row.per_day_mah).sum();
        (offered, drawn)
    }

    /// The worst of the verdicts.
    pub fn worst(&self) -> Verdict {
        Verdict::worst(self.strokes).unwrap_or(Verdict::NotKnown)
    }

    /// The verdicts in full, as the report of `check` shows them.
    pub fn rows(&self) -> Markup {
        PreEscaped(self.rows.clone())
    }
}

impl LedgerRow {
    fn of(entry: &LedgerEntry) -> Self {
        Self {
            purpose: words::purpose(&entry.purpose),
            is_load: matches!(entry.purpose, LedgerPurpose::Load(_)),
            per_dark_day_mah: entry.per_dark_day.milliampere_hours(),
            per_day_mah: entry.per_day.milliampere_hours(),
        }
    }
}

/// The stroke of a verdict with its word for who can't see it.
pub(super) fn stroke(verdict: Verdict) -> Markup {
    html! { (verdict_mark::mark(verdict)) span.unseen { (words::verdict(verdict)) } }
}
