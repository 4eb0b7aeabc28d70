//! What the messages of a node taught, as pages show it.

use forecast::learn::Band;
use maud::{Markup, PreEscaped, html};
use serde::Serialize;
use serde_json::Value;
use verdict::{Verdict, Winter};

use crate::sentences::truth::{self, Told};
use crate::sentences::winter::{self, Said};

/// What was learned of a node.
#[derive(Clone, Debug, Serialize)]
pub struct LearnedNode {
    /// Whether it does what was promised.
    #[serde(skip)]
    pub verdict: Verdict,
    /// When it falls silent, in a sentence.
    pub silent: String,
    /// What explains it, each with what to bring.
    pub causes: Vec<String>,
    /// If it stops before the winter is over in more than 1 of 10 lives.
    pub winter: Option<Said>,
    /// All figures, as `learn --json` gives them.
    pub figures: Value,
    /// What panel and place give, of what the design says.
    #[serde(skip)]
    pub yields: Band,
    /// What the running node draws in a day \[mAh\].
    #[serde(skip)]
    pub drawn_mah: Band,
    #[serde(skip)]
    shown: String,
}

impl LearnedNode {
    /// What pages show of it.
    pub fn of(told: &Told, winter: Option<&Winter>) -> Self {
        let learned = &told.truth.learned;
        let shown = html! { (crate::html::truth::answer(told)) (crate::html::truth::why(told)) };
        Self {
            verdict: told.truth.verdict,
            silent: truth::silence(learned.as_of_s, &learned.silence),
            causes: learned.causes.iter().map(|cause| truth::cause(cause, told)).collect(),
            winter: winter.map(|winter| winter::say(winter, told)),
            figures: crate::json::truth::truth(told),
            yields: learned.yields,
            drawn_mah: learned.load_mah_per_day,
            shown: shown.into_string(),
        }
    }

    /// The verdict with what explains it, what was foretold and measured, and what can't be known yet.
    pub fn shown(&self) -> Markup {
        PreEscaped(self.shown.clone())
    }
}
