//! Nodes that stand under one sky: what the others saw of the sun is the sun of each.
//!
//! A weak panel under a clear sky and a sound one under a dark sky send the same, and one log alone can't tell them apart. The
//! days of several logs can: their sky is one, their panels are not. First each log is learned alone, with the light of its days
//! remembered; then each once more, under the light that the others had. What would be counted twice is left out: a node's own
//! light, and what everybody believed of the sky before, which a swarm without a likelihood says.

use std::collections::BTreeMap;

use super::Past;
use super::model::Model;
use super::swarm::{Effort, Learned, Swarm, live_all};
use crate::progress::{Progress, Silent};
use crate::sky::climate::Climate;

/// Labels of one batch and one calculation of the plane err together by some points: standard deviation of the logarithm.
const TOGETHER_SD: f64 = 0.05;
/// What the light of a day may differ by between places of one site, standard deviation of the logarithm.
const DAY_SD: f64 = 0.06;
/// Members that say what was believed of the sky before.
const BELIEVERS: usize = 1500;
/// Two nodes that say the same of the sky are no surer than this \[variance of the logarithm\].
const LEAST_VARIANCE: f64 = 1e-4;

/// What nodes nearby saw of the sun.
#[derive(Clone, Debug)]
pub(super) struct SharedSun {
    /// By day since 1970: logarithm of the light over what is usual, and its own doubt.
    days: BTreeMap<i64, (f64, f64)>,
    /// Doubt that all days have in common, standard deviation of the logarithm.
    pub(super) level_sd: f64,
}

impl SharedSun {
    /// Light of a day and its doubt, if somebody saw it.
    pub(super) fn on(&self, day: i64) -> Option<(f64, f64)> {
        self.days.get(&day).copied()
    }
}

/// Light of the days of one log as a swarm has it.
struct Seen {
    /// By day: mean, and variance about the swarm's own level.
    days: BTreeMap<i64, Moments>,
    /// Of the mean of all days.
    level: f64,
}

#[derive(Clone, Copy)]
struct Moments {
    mean: f64,
    /// About the mean of all days.
    own: f64,
}

impl Seen {
    fn of(swarm: &Swarm) -> Self {
        let Some(count) =
            swarm.islands.first().and_then(|one| one.members.first()).map(|one| one.lights.len())
        else {
            return Self { days: BTreeMap::new(), level: 0.0 };
        };
        let first_day = swarm.next_day - i64::try_from(count).unwrap_or(0);
        let level =
            |lights: &[f32]| lights.iter().map(|light| f64::from(*light)).sum::<f64>() / count.max(1) as f64;
        let days = (first_day..).take(count).enumerate().map(|(place, day)| {
            let light = |lights: &[f32]| lights.get(place).map_or(0.0, |light| f64::from(*light));
            let (mean, _) = moments(&swarm.of_members(|one| light(&one.lights)));
            let (_, own) = moments(&swarm.of_members(|one| light(&one.lights) - level(&one.lights)));
            (day, Moments { mean, own })
        });
        Self { days: days.collect(), level: moments(&swarm.of_members(|one| level(&one.lights))).1 }
    }
}

/// Mean and variance of figures with weights.
fn moments(figures: &[(f64, f64)]) -> (f64, f64) {
    let sum: f64 = figures.iter().map(|(_, weight)| weight).sum();
    let mean = figures.iter().map(|(figure, weight)| figure * weight).sum::<f64>() / sum;
    let squares = figures.iter().map(|(figure, weight)| weight * (figure - mean).powi(2)).sum::<f64>();
    (mean, (squares / sum).max(LEAST_VARIANCE))
}

/// Normal beliefs of several who believed the same before: the mean and variance of what they say together.
fn together(before: (f64, f64), said: impl Iterator<Item = (f64, f64)>) -> (f64, f64) {
    let (mean, variance) = before;
    let (mut precision, mut pull) = (1.0 / variance, mean / variance);
    for (of_mean, of_variance) in said {
        // Who is not surer than before has heard nothing.
        let learned = (1.0 / of_variance - 1.0 / variance).max(0.0);
        let heard = of_mean / of_variance - mean / variance;
        if learned > 0.0 {
            precision += learned;
            pull += heard;
        }
    }
    (pull / precision, 1.0 / precision)
}

/// What all but one saw.
fn of_others(seen: &[Seen], without: usize, before: &Seen) -> SharedSun {
    let others = || seen.iter().enumerate().filter(|(place, _)| *place != without).map(|(_, seen)| seen);
    let day = |(day, was): (&i64, &Moments)| {
        let of_day = |one: &Seen| one.days.get(day).map(|now| (now.mean, now.own, one.level));
        others().any(|one| one.days.contains_key(day)).then(|| {
            let told = others().filter_map(of_day).map(|(mean, own, level)| (mean, own + level));
            let (light, _) = together((was.mean, was.own + before.level), told);
            let owns = others().filter_map(of_day).map(|(_, own, _)| (0.0, own));
            let (_, own) = together((0.0, was.own), owns);
            (*day, (light, own.sqrt().hypot(DAY_SD)))
        })
    };
    let (_, level) = together((0.0, before.level), others().map(|one| (0.0, one.level)));
    SharedSun {
        days: before.days.iter().filter_map(day).collect(),
        level_sd: level.sqrt().hypot(TOGETHER_SD),
    }
}

/// Learns the logs of nodes that share their sky, each with the climate of its place: what is learned of each, in their order,
/// and its swarm on the last whole day. A single node is learned alone, and so are those whose sun was measured.
#[must_use]
pub fn learn_site(
    nodes: &[(Past<'_>, &Climate)],
    effort: &Effort,
    progress: &dyn Progress,
) -> Vec<(Learned, Swarm)> {
    let alone = |(past, climate): &(Past<'_>, &Climate)| {
        let mut model = Model::new(past.design, climate, past.counter_modulus, past.sun);
        model.remembers = true;
        live_all(Swarm::under(model, past, effort), past, effort, &Silent)
    };
    let mut learned = Vec::with_capacity(nodes.len());
    for node in nodes {
        learned.push(alone(node));
        progress.report(learned.len(), 2 * nodes.len());
    }
    if nodes.len() < 2 {
        return learned;
    }
    let seen: Vec<Seen> = learned.iter().map(|(_, swarm)| Seen::of(swarm)).collect();
    let again = nodes.iter().zip(learned).enumerate().map(|(place, ((past, climate), alone))| {
        progress.report(nodes.len() + place, 2 * nodes.len());
        if past.sun.is_some() || progress.stop() {
            return alone;
        }
        let shared = of_others(&seen, place, &believed(past, climate, effort));
        let mut model = Model::new(past.design, climate, past.counter_modulus, None);
        model.shared = Some(shared);
        let skies = alone.1.skies;
        let swarm = Swarm::under(model, past, effort);
        under_others(swarm, skies, past, effort)
    });
    again.collect()
}

/// Learns a log under the light of the others; whether the weather was worse is said by the skies of the node's own log.
fn under_others(swarm: Swarm, skies: Vec<f64>, past: &Past<'_>, effort: &Effort) -> (Learned, Swarm) {
    let (learned, mut swarm) = live_all(swarm, past, effort, &Silent);
    swarm.skies = skies;
    (learned, swarm)
}

/// What is believed of the light of the days of a log of which nothing counts.
fn believed(past: &Past<'_>, climate: &Climate, effort: &Effort) -> Seen {
    let mut model = Model::new(past.design, climate, past.counter_modulus, None);
    model.remembers = true;
    let blind = Effort { islands: 1, members: BELIEVERS, lives: 2, temper: 0.0, ..*effort };
    let swarm = Swarm::under(model, past, &blind);
    Seen::of(&live_all(swarm, past, &blind, &Silent).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: two who each say 1 with half the variance of before, which was 0 with 1: precisions 1 + 1 + 1, pulls 0 + 2 + 2.
    #[test]
    fn what_two_say_counts_twice_and_what_both_believed_once() {
        let (mean, variance) = together((0.0, 1.0), [(1.0, 0.5), (1.0, 0.5)].into_iter());
        assert!(
            (mean - 4.0 / 3.0).abs() < 1e-12 && (variance - 1.0 / 3.0).abs() < 1e-12,
            "{mean} {variance}"
        );
        let (mean, variance) = together((0.2, 1.0), [(0.9, 1.5)].into_iter());
        assert!((mean - 0.2).abs() < 1e-12 && (variance - 1.0).abs() < 1e-12, "it heard nothing");
    }
}
