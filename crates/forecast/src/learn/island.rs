//! A swarm of possible nodes that lives the log day by day: those that fit go on, in several copies; those that don't, end.
//!
//! # References
//! Liu & West 2001 (parameters with states, by shrinking and jittering, from memory); Nemeth, Fearnhead & Mihaylova 2015,
//! arXiv 1510.02604 (change points). The likelihood is tempered, since the errors of a day hang together.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use super::days::{BLOCKS, DaySeen};
use super::model::Model;
use super::particle::{Lived, Particle, Regime};
use super::parts::{COUNT, HYSTERESIS, Parts};
use crate::random::Stream;
use crate::stats::cholesky::Cholesky;

/// What a mean of some hours of voltage may be off for reasons that are not modelled, and one reading beside \[V\].
const BLOCK_SD_VOLTS: f32 = 0.010;
const READING_SD_VOLTS: f32 = 0.004;
const BLOCK_DEGREES: f32 = 4.0;
/// The same of the minutes in charge of a day.
const MINUTES_SD: f32 = 15.0;
const MINUTES_SD_SHARE: f32 = 0.10;
const MINUTES_DEGREES: f32 = 3.0;
/// A node that reported did not stand still: so much against each hour of which a report came (own choice).
const STOPPED_BUT_HEARD: f32 = 1.0;
/// Days on which the whole likelihood would leave fewer of the swarm alive count for less.
const LEAST_ALIVE: f64 = 0.06;
/// Below this effective share the swarm is drawn anew.
const DRAWN_ANEW_BELOW: f64 = 0.5;
/// What is kept of the parts when it is.
const KEPT: f64 = 0.985;
/// A covariance of parts that all agree is still one.
const LEAST_VARIANCE: f64 = 1e-10;
/// Members whose voltage makes the band of a day.
const BAND: usize = 64;

/// Streams of the first day stand apart from those of all others.
const BIRTH: u64 = 1 << 40;

/// A swarm with a seed of its own.
#[derive(Clone, Debug)]
pub(super) struct Island {
    pub(super) seed: u64,
    pub(super) number: u64,
    pub(super) members: Vec<Particle>,
    pub(super) weights: Vec<f64>,
    /// Logarithm of how well it foretold what was seen.
    pub(super) evidence: f64,
    /// Which share of the likelihood counts.
    pub(super) temper: f64,
}

/// What an island foretold of a day.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Foretold {
    /// How well it had foretold before.
    pub(super) evidence: f64,
    /// Voltages of some members by block, sorted by nothing.
    pub(super) block_volts: Vec<[f32; BLOCKS]>,
    /// Mean score of the day's sky, once it was seen.
    pub(super) sky_score: f64,
}

impl Island {
    pub(super) fn new(
        model: &Model,
        (seed, number): (u64, u64),
        members: usize,
        temper: f64,
        first_volts: Option<f32>,
    ) -> Self {
        let mut random = Stream::new(seed, BIRTH | (number << 20));
        let members: Vec<Particle> =
            (0..members).map(|_| Particle::new(model, first_volts, &mut random)).collect();
        let weights = vec![1.0 / members.len() as f64; members.len()];
        Self { seed, number, members, weights, evidence: 0.0, temper }
    }

    /// Lives a day; the number of the day since 1970 names its stream.
    pub(super) fn live(&mut self, model: &Model, seen: &DaySeen) -> Foretold {
        let mut random = Stream::new(self.seed, (self.number << 20) | (seen.day as u64 & 0xf_ffff));
        let mut lived = Vec::with_capacity(self.members.len());
        for (member, weight) in self.members.iter_mut().zip(&mut self.weights) {
            *weight *= member.change(model, seen.day, &mut random);
            let hours = member.hours_of(model, seen, &mut random);
            lived.push(member.live(model, seen, &hours));
        }
        normalise(&mut self.weights);
        let mut foretold = Foretold {
            evidence: self.evidence,
            block_volts: chosen(&self.weights, BAND, 0.5).map(|place| lived[place].block_volts).collect(),
            sky_score: 0.0,
        };
        let likely: Vec<f64> = lived.iter().map(|lived| f64::from(log_likely(lived, seen))).collect();
        self.weigh(&likely);
        let scores = self.members.iter().map(|member| member.sky.score());
        foretold.sky_score = scores.zip(&self.weights).map(|(score, weight)| score * weight).sum();
        if effective(&self.weights) < DRAWN_ANEW_BELOW * self.weights.len() as f64 {
            self.draw_anew(model, &mut random);
        }
        self.members.iter_mut().for_each(|member| member.slide(model, seen.place, &mut random));
        foretold
    }

    fn weigh(&mut self, likely: &[f64]) {
        let best = likely.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let least = LEAST_ALIVE * self.weights.len() as f64;
        let weighed = |temper: f64| -> Vec<f64> {
            self.weights.iter().zip(likely).map(|(weight, l)| weight * (temper * (l - best)).exp()).collect()
        };
        let (mut temper, mut weights) = (self.temper, weighed(self.temper));
        if effective(&weights) < least {
            let (mut low, mut high) = (0.0, self.temper);
            for _ in 0..12 {
                let middle = 0.5 * (low + high);
                let alive = effective(&weighed(middle)) >= least;
                *(if alive { &mut low } else { &mut high }) = middle;
            }
            (temper, weights) = (low, weighed(low));
        }
        // The evidence is of the whole share, so that islands are compared by one rule.
        let share = if temper > 0.0 { self.temper / temper } else { 1.0 };
        let sum: f64 = weights.iter().sum();
        self.evidence += share * (sum.ln() + temper * best);
        self.weights = weights;
        normalise(&mut self.weights);
    }

    /// Draws the members anew by their weights, their parts shrunk to the mean and jittered by as much.
    fn draw_anew(&mut self, model: &Model, random: &mut Stream) {
        let (mean, covariance) = moments(&self.members, &self.weights);
        let spread = Cholesky::new(COUNT, covariance);
        let places = chosen(&self.weights, self.members.len(), random.uniform());
        let mut members: Vec<Particle> = places.map(|place| self.members[place].clone()).collect();
        let news = (1.0 - KEPT * KEPT).sqrt();
        for member in &mut members {
            let normals: Parts = std::array::from_fn(|_| random.normal());
            let mut jitter = [0.0; COUNT];
            if let Some(spread) = &spread {
                spread.correlate(&normals, &mut jitter);
            }
            for (place, part) in member.parts.iter_mut().enumerate() {
                *part = KEPT * *part + (1.0 - KEPT) * mean[place] + news * jitter[place];
            }
            member.parts[HYSTERESIS] = member.parts[HYSTERESIS].abs();
            member.equip(model);
        }
        self.members = members;
        self.weights.fill(1.0 / self.members.len() as f64);
    }

    /// Members by weight, evenly taken.
    pub(super) fn chosen(&self, count: usize) -> impl Iterator<Item = &Particle> {
        chosen(&self.weights, count, 0.5).map(|place| &self.members[place])
    }
}

/// Logarithm of how likely a day is as it was seen, for one member, up to what all have in common.
fn log_likely(lived: &Lived, seen: &DaySeen) -> f32 {
    let mut sum = -STOPPED_BUT_HEARD * lived.silent_h as f32;
    for (block, volts) in lived.block_volts.iter().enumerate() {
        if let Some((mean, count)) = seen.block_volts(block) {
            sum += log_student(BLOCK_DEGREES, (volts - mean) / block_sd_volts(count));
        }
    }
    if let Some(window) = &seen.minutes {
        let minutes = window.minutes as f32;
        sum += log_student(MINUTES_DEGREES, (lived.minutes - minutes) / minutes_sd(minutes));
    }
    sum
}

/// What a mean of so many readings of a block may be off \[V\].
pub(super) fn block_sd_volts(count: f32) -> f32 {
    BLOCK_SD_VOLTS.hypot(READING_SD_VOLTS / count.sqrt())
}

/// What so many minutes in charge may be off.
pub(super) fn minutes_sd(minutes: f32) -> f32 {
    MINUTES_SD + MINUTES_SD_SHARE * minutes
}

fn log_student(degrees: f32, off: f32) -> f32 {
    -0.5 * (degrees + 1.0) * (off * off / degrees).ln_1p()
}

fn normalise(weights: &mut [f64]) {
    let sum: f64 = weights.iter().sum();
    for weight in weights {
        *weight /= sum;
    }
}

/// How many members of one weight are worth as much.
fn effective(weights: &[f64]) -> f64 {
    let (sum, squares) =
        weights.iter().fold((0.0, 0.0), |(sum, squares), weight| (sum + weight, squares + weight * weight));
    if squares > 0.0 { sum * sum / squares } else { 0.0 }
}

/// Places of so many members by weight, evenly spaced from a start between 0 and 1.
fn chosen(weights: &[f64], count: usize, start: f64) -> impl Iterator<Item = usize> {
    let (mut place, mut below) = (0, weights[0]);
    (0..count).map(move |number| {
        let wanted = (number as f64 + start) / count as f64;
        while below < wanted && place + 1 < weights.len() {
            place += 1;
            below += weights[place];
        }
        place
    })
}

fn moments(members: &[Particle], weights: &[f64]) -> (Parts, Vec<f64>) {
    let mut mean = [0.0; COUNT];
    for (member, weight) in members.iter().zip(weights) {
        mean.iter_mut().zip(&member.parts).for_each(|(mean, part)| *mean += weight * part);
    }
    let mut covariance = vec![0.0; COUNT * COUNT];
    for (member, weight) in members.iter().zip(weights) {
        let off: Parts = std::array::from_fn(|place| member.parts[place] - mean[place]);
        for row in 0..COUNT {
            let weighed = weight * off[row];
            let entries = &mut covariance[row * COUNT..][..=row];
            entries.iter_mut().zip(&off).for_each(|(entry, other)| *entry += weighed * other);
        }
    }
    for place in 0..COUNT {
        covariance[place * COUNT + place] += LEAST_VARIANCE;
    }
    (mean, covariance)
}

/// Share of an island's weight in each kind of regime: sound, no panel, load, panel.
pub(super) fn regime_shares(island: &Island) -> [f64; 4] {
    let mut shares = [0.0; 4];
    for (member, weight) in island.members.iter().zip(&island.weights) {
        let kind = match member.regime {
            Regime::Sound => 0,
            Regime::NoPanel => 1,
            Regime::Load(_) => 2,
            Regime::Panel(_) => 3,
        };
        shares[kind] += weight;
    }
    shares
}
