//! What lives say of a design that is only considered: its verdict, and no more of its plan than that takes.

use design::quantity::Share;
use forecast::Progress;
use forecast::life::account::{ACCOUNTED_LIVES, account};
use forecast::life::ensemble::live_from;
use forecast::life::prepared::Prepared;
use forecast::life::run::{LifeOutcome, drawn_for};

use super::chances::{self, Effort};
use super::findings::of_parts;
use super::kept::{Evidence, Figure, JudgedPromise, visits_per_year};
use super::make::{LifeInputs, is_endangered, with_case};
use crate::finding::{Finding, Severity, Verdict};

/// Lives that are looked at for charging in cold and heat while a remedy is searched.
const LOOKED_AT_FOR_HARM: usize = 40;

/// What lives say of a design.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedVariant {
    /// Whether it keeps all its promises.
    pub verdict: Verdict,
    /// How many lives.
    pub lives: usize,
    /// Numbers of those with an outage.
    pub failed: Vec<u64>,
    /// Share of them without an outage.
    pub without_outage: Share,
    /// Its 95 % interval: simulation noise alone.
    pub interval: (Share, Share),
    /// The same share in the fifth of lives with the worst unknowns.
    pub worst_fifth: Share,
    /// Each promise, survival first.
    pub kept: Vec<JudgedPromise>,
    /// What is dangerous in it; not looked for where a promise is broken anyway.
    pub dangers: Vec<Finding>,
    /// Reports a full battery sends in a year.
    pub reports_per_year: f64,
}

/// Judges a design by so many lives from this number on.
#[must_use]
pub fn judged(
    prepared: &Prepared,
    first: u64,
    lives: usize,
    effort: Effort,
    progress: &dyn Progress,
) -> JudgedVariant {
    with_case(prepared, effort, progress, |case| {
        let lived = live_from(case.trial, first, lives, effort.threads, progress).outcomes;
        let ranked = chances::by_unknowns(case, &lived);
        let fifth = &ranked[..ranked.len() / 5];
        let promise = &case.design.promise;
        let visits = promise.visits_per_year.map(|_| visits_per_year(case, &lived)).unwrap_or_default();
        let kept = Evidence::new(case, &lived, fifth, visits).keep(promise);
        let survival = Figure::share(&lived, LifeOutcome::is_unbroken);
        let worst_fifth = Figure::share(fifth, LifeOutcome::is_unbroken).found;
        let worst = Verdict::worst(kept.iter().map(|kept| kept.verdict)).unwrap_or(Verdict::NotKnown);
        let (verdict, dangers) = match worst {
            // As many lives as `check` looks at, so that both say the same.
            Verdict::Holds => match dangers_in(case, ACCOUNTED_LIVES) {
                (dangers, true) => (Verdict::Tight, dangers),
                (dangers, false) => (Verdict::Holds, dangers),
            },
            _ => (worst, Vec::new()),
        };
        let share = Share::from_fraction;
        JudgedVariant {
            verdict: if lived.len() < lives { Verdict::NotKnown } else { verdict },
            lives: lived.len(),
            failed: lived.iter().filter(|life| !life.is_unbroken()).map(|life| life.life).collect(),
            without_outage: share(survival.found),
            interval: (share(survival.low), share(survival.high)),
            worst_fifth: share(worst_fifth),
            kept,
            dangers,
            reports_per_year: case.trial.weather.sample().wanted_reports_per_year(case.node()),
        }
    })
}

/// What is dangerous in a design, and whether that alone keeps its verdict from holding.
#[must_use]
pub fn dangers(prepared: &Prepared, effort: Effort, progress: &dyn Progress) -> (Vec<Finding>, bool) {
    with_case(prepared, effort, progress, |case| dangers_in(case, LOOKED_AT_FOR_HARM))
}

fn dangers_in(case: &LifeInputs<'_>, lives: usize) -> (Vec<Finding>, bool) {
    let harm = account(case.trial, lives, case.effort.threads).harm;
    let found = of_parts(case, harm);
    let endangered = is_endangered(harm, &found);
    (found.into_iter().filter(|finding| finding.severity == Severity::Danger).collect(), endangered)
}

/// Numbers of the lives below this one, those with the worst unknowns first; the first fifth is the worst.
#[must_use]
pub fn worst_first(prepared: &Prepared, lives: usize, effort: Effort, progress: &dyn Progress) -> Vec<u64> {
    with_case(prepared, effort, progress, |case| {
        let drawn: Vec<_> = (0..lives).map(|number| drawn_for(case.trial, number as u64)).collect();
        chances::by_unknowns(case, &drawn).iter().map(|life| life.life).collect()
    })
}
