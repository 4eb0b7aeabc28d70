//! Verdicts, and what is wrong with the place in the file and what to do.

/// What is said of a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// It keeps the promise.
    Holds,
    /// It keeps it, but not by a margin to rely on.
    Tight,
    /// It breaks it.
    Fails,
    /// The input does not allow an answer.
    NotKnown,
}

impl Verdict {
    /// The worst of several: a breach before what is not known, that before a narrow escape.
    #[must_use]
    pub fn worst(verdicts: impl IntoIterator<Item = Self>) -> Option<Self> {
        verdicts.into_iter().max_by_key(|verdict| verdict.badness())
    }

    /// The greater, the worse.
    #[must_use]
    pub fn badness(self) -> u8 {
        match self {
            Self::Holds => 0,
            Self::Tight => 1,
            Self::NotKnown => 2,
            Self::Fails => 3,
        }
    }
}

/// Something that is wrong with a design in its weather.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Stable code, explained in the manual.
    pub code: &'static str,
    /// How bad.
    pub severity: Severity,
    /// The place in the design file, such as `charger.temperature_gate`.
    pub field: String,
    /// What is wrong, with figures.
    pub message: String,
    /// What to do.
    pub help: String,
}

/// How bad a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Good to know.
    Note,
    /// Wants a decision.
    Warning,
    /// Something will break.
    Danger,
}
