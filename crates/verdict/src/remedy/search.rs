//! The lives on which changes are searched, and those on which they are confirmed.

use std::cell::RefCell;

use design::node::Design;
use design::quantity::Share;
use forecast::Progress;
use forecast::life::ensemble::{FIRST_FRESH, on_threads};
use forecast::life::prepared::Prepared;
use forecast::life::run::survives;
use forecast::radio::spots::Spots;

use super::ladder::{Ladder, Rung};
use super::{Lever, Proof, Remedy, Useless};
use crate::answer::{Answer, Environment, Question};
use crate::finding::Verdict;
use crate::plan::{self, Effort, JudgedVariant, judged, worst_first};
use crate::quota::{self, Quota, first_that};
use crate::reach;

/// Lives between two looks at whether the allowed failures are used up.
const BATCH: usize = 16;
/// After a miss on fresh lives the search goes so many steps further.
const STEPS_FURTHER: usize = 3;

/// What all levers of a design share.
pub(super) struct Search<'a> {
    base: Prepared,
    pub(super) environment: &'a Environment<'a>,
    pub(super) answer: &'a Answer,
    pub(super) effort: Effort,
    pub(super) progress: &'a dyn Progress,
    /// Lives that are searched on.
    pub(super) lives: usize,
    /// Lives that a change is confirmed on.
    pub(super) confirming: usize,
    /// Lives of the answer that failed, by number.
    failed: &'a [u64],
    dangers: Vec<&'static str>,
    /// Whether what is charged, and not how much, keeps it from holding.
    endangered: bool,
    /// How often each life failed so far: those are tried first.
    often: RefCell<Vec<u32>>,
}

impl<'a> Search<'a> {
    pub(super) fn new(
        design: &Design,
        environment: &'a Environment<'a>,
        answer: &'a Answer,
        effort: Effort,
        progress: &'a dyn Progress,
    ) -> Self {
        let base = Prepared::new(design, environment.weather, &answer.reach.spots, effort.seed);
        let promise = design.promise.without_outage;
        let lived = answer.life.chances.as_ref().map_or(0, |chances| chances.lives);
        let lives = quota::searched(promise).min(lived);
        let confirming = effort.lives.unwrap_or_else(|| quota::confirmed(promise));
        let (dangers, endangered) = plan::dangers(&base, effort, progress);
        let failed = answer.life.chances.as_ref().map_or(&[][..], |chances| &chances.failed);
        let often = RefCell::new(vec![0; lived]);
        Self {
            base,
            environment,
            answer,
            effort,
            progress,
            lives,
            confirming,
            failed,
            dangers: dangers.iter().map(|danger| danger.code).collect(),
            endangered,
            often,
        }
    }

    pub(super) fn design(&self) -> &Design {
        self.base.design()
    }

    /// The tables of a rung; `None` where the gateway would hear it less well than now, or the law forbids it.
    fn prepared(&self, ladder: &Ladder, design: &Design) -> Option<Prepared> {
        let Environment { weather, terrain, others } = *self.environment;
        if !ladder.moves_spots() {
            return Some(self.base.of_variant(design, weather, None));
        }
        let (spots, heard) = reach::spots(design, terrain, others, self.effort.seed);
        let law = crate::law::judge(design, spots.middle_state()).verdict;
        let no_worse = heard.badness() <= self.answer.reach.verdict.badness()
            && heard != Verdict::NotKnown
            && law.badness() <= self.answer.law.verdict.badness();
        no_worse.then(|| self.base.of_variant(design, weather, Some(&spots)))
    }

    /// The first rung from this one on with which it holds on the lives of the search.
    pub(super) fn first_passing(&self, ladder: &Ladder, from: usize) -> Result<usize, Useless> {
        let count = ladder.rungs.len();
        if !ladder.ordered {
            return self.first_of_unordered(ladder, from);
        }
        let passes = |place: usize| self.passes(ladder, &ladder.rungs[place], self.lives);
        if from > 0 {
            return (from..count).find(|place| passes(*place)).ok_or(Useless::BestAlready);
        }
        if count == 0 || !passes(count - 1) {
            return Err(Useless::NotEnough(self.share(ladder)));
        }
        Ok(first_that(0, count - 1, passes))
    }

    /// The same of changes that have no order; else how near the best of them comes, or that nothing beats what there is.
    fn first_of_unordered(&self, ladder: &Ladder, from: usize) -> Result<usize, Useless> {
        let now = self.failed.iter().filter(|life| **life < self.lives as u64).count();
        let mut fewest = self.lives;
        for (place, rung) in ladder.rungs.iter().enumerate().skip(from) {
            match self.tried(ladder, rung, self.lives, now) {
                Some((_, true)) => return Ok(place),
                Some((failing, false)) => fewest = fewest.min(failing),
                None => {}
            }
        }
        let one_of_a_kind = matches!(ladder.lever, Lever::Tilt | Lever::Azimuth | Lever::Charger);
        if fewest >= now && one_of_a_kind {
            Err(Useless::BestAlready)
        } else {
            Err(Useless::NotEnough(self.share_of(fewest)))
        }
    }

    /// Share of the lives of the search that pass with the strongest change of a lever.
    pub(super) fn share(&self, ladder: &Ladder) -> Share {
        let strongest = ladder.rungs.last().and_then(|rung| self.prepared(ladder, &rung.design));
        let failing = strongest.map_or(self.lives, |prepared| {
            self.failing(&prepared, &self.suspects(ladder, self.lives), self.lives).len()
        });
        self.share_of(failing)
    }

    fn share_of(&self, failing: usize) -> Share {
        Share::from_fraction(1.0 - failing as f64 / self.lives.max(1) as f64)
    }

    /// A change that is confirmed on fresh lives, from this rung on; what no step further makes hold is tight if it is.
    pub(super) fn confirmed(&self, ladder: &Ladder, from: usize) -> Option<Remedy> {
        let mut missed: Option<JudgedVariant> = None;
        let mut tight = None;
        let mut place = from;
        for _ in 0..=STEPS_FURTHER {
            let rung = ladder.rungs.get(place).filter(|_| !self.progress.stop())?;
            if let Some(judged) = self.judged(ladder, rung, missed.as_ref()) {
                let verdict = judged.verdict;
                let (moved, proof) = (vec![ladder.moved(rung)], Proof::Fresh(judged.clone()));
                let remedy = Remedy { question: Question::Life, moved, proof };
                match verdict {
                    Verdict::Holds => return Some(remedy),
                    Verdict::Tight => tight = tight.or(Some(remedy)),
                    Verdict::Fails | Verdict::NotKnown => {}
                }
                missed = missed.or(Some(judged));
            }
            let Ok(next) = self.first_passing(ladder, place + 1) else { break };
            place = next;
        }
        tight
    }

    /// What fresh lives say of a change that the lives of the answer are content with. Those that failed with less are
    /// asked first: only if they leave hope all are lived.
    fn judged(&self, ladder: &Ladder, rung: &Rung, missed: Option<&JudgedVariant>) -> Option<JudgedVariant> {
        let seen = self.answer.life.chances.as_ref().map_or(0, |chances| chances.lives);
        let content = self.passes(ladder, rung, seen);
        let prepared = content.then(|| self.prepared(ladder, &rung.design)).flatten()?;
        let allowed = self.allowed(self.confirming).all;
        let hopeless =
            |missed: &JudgedVariant| self.failing(&prepared, &missed.failed, allowed).len() > allowed;
        if ladder.ordered && !self.promises_more() && missed.is_some_and(hopeless) {
            return None;
        }
        Some(judged(&prepared, FIRST_FRESH, self.confirming, self.effort, self.progress))
    }

    /// How a design lives with these links, on fresh lives.
    pub(super) fn lived(&self, design: &Design, spots: &Spots) -> JudgedVariant {
        let prepared = self.base.of_variant(design, self.environment.weather, Some(spots));
        judged(&prepared, FIRST_FRESH, self.confirming, self.effort, self.progress)
    }

    /// A change that is known from the lives of the search alone.
    pub(super) fn about(&self, ladder: &Ladder, place: usize) -> Remedy {
        let rung = &ladder.rungs[place];
        let failing = self.prepared(ladder, &rung.design).map_or(self.lives, |prepared| {
            self.failing(&prepared, &self.suspects(ladder, self.lives), self.lives).len()
        });
        let proof = Proof::Searched(self.share_of(failing));
        Remedy { question: Question::Life, moved: vec![ladder.moved(rung)], proof }
    }

    /// The least of two levers together that makes it hold, and how far of their ladders that is.
    pub(super) fn smallest_pair(&self, one: &Ladder, other: &Ladder) -> Option<(f64, Remedy)> {
        let count = one.rungs.len().max(other.rungs.len());
        let place = |ladder: &Ladder, step: usize| (step * ladder.rungs.len()).div_ceil(count) - 1;
        let joined = |first: usize, second: usize| {
            let design = one.rungs[first].design.with(other.rungs[second].change.clone()).ok()?;
            let rung = Rung { design, ..other.rungs[second].clone() };
            self.passes(other, &rung, self.lives).then_some(rung)
        };
        let at = |step: usize| joined(place(one, step), place(other, step));
        at(count)?;
        let holds = first_that(1, count, |step| at(step).is_some());
        let (first, second) = (place(one, holds), place(other, holds));
        let rung = joined(first, second)?;
        let prepared = self.prepared(other, &rung.design)?;
        let judged = judged(&prepared, FIRST_FRESH, self.confirming, self.effort, self.progress);
        if matches!(judged.verdict, Verdict::Fails | Verdict::NotKnown) {
            return None;
        }
        let moved = vec![one.moved(&one.rungs[first]), other.moved(&rung)];
        let remedy = Remedy { question: Question::Life, moved, proof: Proof::Fresh(judged) };
        Some((holds as f64 / count as f64, remedy))
    }

    /// Whether it holds with a change on so many lives of the answer, as far as they can tell.
    pub(super) fn passes(&self, ladder: &Ladder, rung: &Rung, lives: usize) -> bool {
        self.tried(ladder, rung, lives, 0).is_some_and(|(_, passes)| passes)
    }

    /// How many lives fail with a change, counted to the larger of what is allowed and `at_least`, and whether it holds
    /// with it; `None` of a change that cannot help.
    fn tried(&self, ladder: &Ladder, rung: &Rung, lives: usize, at_least: usize) -> Option<(usize, bool)> {
        if self.progress.stop() || (self.endangered && !ladder.brings_parts()) {
            return None;
        }
        let prepared = self.prepared(ladder, &rung.design)?;
        if ladder.brings_parts() && self.brings_danger(&prepared) {
            return None;
        }
        if self.promises_more() {
            let judged = judged(&prepared, 0, lives, self.effort, self.progress);
            return Some((judged.failed.len(), judged.verdict == Verdict::Holds));
        }
        let allowed = self.allowed(lives);
        let failing = self.failing(&prepared, &self.suspects(ladder, lives), allowed.all.max(at_least));
        let few = failing.len() <= allowed.all;
        Some((failing.len(), few && self.spares_the_worst(&prepared, &failing, lives, allowed)))
    }

    /// Whether more is promised than survival.
    fn promises_more(&self) -> bool {
        let promise = &self.design().promise;
        promise.completeness.is_some() || promise.freshness.is_some() || promise.visits_per_year.is_some()
    }

    fn spares_the_worst(&self, prepared: &Prepared, failing: &[u64], lives: usize, allowed: Quota) -> bool {
        if failing.len() <= allowed.worst_fifth {
            return true;
        }
        let ranked = worst_first(prepared, lives, self.effort, self.progress);
        let fifth = &ranked[..ranked.len() / 5];
        failing.iter().filter(|life| fifth.contains(life)).count() <= allowed.worst_fifth
    }

    fn brings_danger(&self, prepared: &Prepared) -> bool {
        let (dangers, endangered) = plan::dangers(prepared, self.effort, self.progress);
        endangered || dangers.iter().any(|danger| !self.dangers.contains(&danger.code))
    }

    fn allowed(&self, lives: usize) -> Quota {
        quota::quota(self.design().promise.without_outage, lives, self.confirming)
    }

    /// Lives that may fail with a change: of one that is only for the better those that fail without it.
    fn suspects(&self, ladder: &Ladder, lives: usize) -> Vec<u64> {
        let mut suspects = if ladder.ordered && self.answer.life.verdict != Verdict::Holds {
            self.failed.iter().copied().filter(|life| *life < lives as u64).collect()
        } else {
            numbers(lives)
        };
        let often = self.often.borrow();
        let failures =
            |life: &u64| usize::try_from(*life).ok().and_then(|place| often.get(place)).copied().unwrap_or(0);
        suspects.sort_by_key(|life| std::cmp::Reverse(failures(life)));
        suspects
    }

    /// Those of some lives that fail, until more have than is allowed.
    fn failing(&self, prepared: &Prepared, suspects: &[u64], allowed: usize) -> Vec<u64> {
        let trial = prepared.trial();
        let mut failing = Vec::new();
        for batch in suspects.chunks(BATCH) {
            if failing.len() > allowed {
                break;
            }
            let lived = on_threads(self.effort.threads, batch.len(), |index| {
                batch.get(index).copied().filter(|life| !survives(&trial, *life, None))
            });
            failing.extend(lived.into_iter().flatten());
        }
        let mut often = self.often.borrow_mut();
        for life in &failing {
            let place = usize::try_from(*life).ok();
            if let Some(count) = place.and_then(|place| often.get_mut(place)) {
                *count += 1;
            }
        }
        failing
    }
}

fn numbers(lives: usize) -> Vec<u64> {
    (0..lives as u64).collect()
}
