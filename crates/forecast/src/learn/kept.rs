//! A swarm as bytes, to be kept from one day to the next.
//!
//! Eight bytes for each figure, least significant first: exact, so that a swarm that was kept goes on as one that was not.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "figures are those that were written, and counts are checked against the length"
)]

use std::sync::Arc;

use design::node::Design;

use super::days::{Counted, HOURS};
use super::island::Island;
use super::model::Model;
use super::particle::{Particle, Regime};
use super::parts::COUNT;
use super::sun::MeasuredSun;
use super::swarm::Swarm;
use crate::life::kernel::LIFE_FIGURES;
use crate::sky::climate::Climate;
use crate::sky::synthetic::SKY_FIGURES;

/// Edition of the form; another one is refused.
const EDITION: f64 = 1.0;
/// Figures of a member besides its parts: regime and its size, day of it, what it drew, hysteresis, capacity when new, weight.
const OWN: usize = 7;
const MEMBER: usize = COUNT + OWN + LIFE_FIGURES + SKY_FIGURES;
/// More than anybody keeps.
const MOST_ISLANDS: usize = 64;
const MOST_MEMBERS: usize = 1 << 20;
/// No day.
const NONE: f64 = -1.0;

/// Bytes that are no swarm of this node.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KeptError {
    /// Of another edition of this program.
    #[error("the swarm was kept by another edition of this program; learn the log anew")]
    Edition,
    /// Cut short, or changed.
    #[error("the kept swarm is damaged; learn the log anew")]
    Damaged,
}

impl Swarm {
    /// All that must be kept to go on with the next day.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut figures = vec![EDITION, self.islands.len() as f64];
        figures.extend(self.head());
        figures.push(self.skies.len() as f64);
        figures.extend(&self.skies);
        for island in &self.islands {
            let seed = [island.seed >> 32, island.seed & 0xffff_ffff].map(|half| half as f64);
            figures.extend(seed);
            figures.extend([
                island.number as f64,
                island.evidence,
                island.temper,
                island.members.len() as f64,
            ]);
            for (member, weight) in island.members.iter().zip(&island.weights) {
                figures.extend(member.figures(*weight));
            }
        }
        figures.iter().flat_map(|figure| figure.to_le_bytes()).collect()
    }

    /// A swarm of this design that was kept; `threads` are those of its next day.
    ///
    /// # Errors
    /// Bytes of another edition, or that were cut short or changed.
    pub fn from_bytes(
        bytes: &[u8],
        (design, climate): (&Design, &Climate),
        (counter_modulus, sun): (u32, Option<&MeasuredSun>),
        threads: usize,
    ) -> Result<Self, KeptError> {
        let (chunks, rest) = bytes.as_chunks::<8>();
        if !rest.is_empty() {
            return Err(KeptError::Damaged);
        }
        let mut figures = Figures(chunks.iter());
        if figures.any()?.total_cmp(&EDITION).is_ne() {
            return Err(KeptError::Edition);
        }
        let islands = figures.count(MOST_ISLANDS)?;
        let head: [f64; HEAD] = figures.take()?;
        let skies = figures.count(HOURS * HOURS)?;
        let skies = (0..skies).map(|_| figures.one()).collect::<Result<_, _>>()?;
        let model = Model::new(design, climate, counter_modulus, sun);
        let islands = (0..islands).map(|_| island(&mut figures, &model)).collect::<Result<Vec<_>, _>>()?;
        if islands.is_empty() || figures.0.next().is_some() {
            return Err(KeptError::Damaged);
        }
        Ok(Self::with_head(Arc::new(model), islands, skies, &head, threads))
    }

    fn head(&self) -> [f64; HEAD] {
        let (counted_s, counted) =
            self.counted.last.map_or((NONE, NONE), |(at_s, count)| (at_s as f64, f64::from(count)));
        let mut head = [0.0; HEAD];
        head[..5].copy_from_slice(&[
            self.next_day as f64,
            self.from_hour as f64,
            self.days as f64,
            counted_s,
            counted,
        ]);
        for place in 0..3 {
            head[5 + place] = self.panel_volts[place].map_or(NONE, f64::from);
            head[8 + place] = f64::from(self.restarts[place]);
        }
        head[11..].copy_from_slice(&self.light);
        head
    }

    fn with_head(
        model: Arc<Model>,
        islands: Vec<Island>,
        skies: Vec<f64>,
        head: &[f64; HEAD],
        threads: usize,
    ) -> Self {
        let counted = (head[4] >= 0.0).then_some((head[3] as i64, head[4] as u32));
        Self {
            model,
            islands,
            skies,
            counted: Counted { last: counted },
            next_day: head[0] as i64,
            from_hour: (head[1] as usize).min(HOURS),
            days: head[2] as usize,
            panel_volts: std::array::from_fn(|place| {
                (head[5 + place] >= 0.0).then_some(head[5 + place] as f32)
            }),
            restarts: std::array::from_fn(|place| head[8 + place] as u32),
            light: std::array::from_fn(|hour| head[11 + hour]),
            threads: threads.max(1),
        }
    }
}

/// Next day and hour, days lived, the last count, panel and restarts of three days, light of the hours.
const HEAD: usize = 11 + HOURS;

fn island(figures: &mut Figures<'_>, model: &Model) -> Result<Island, KeptError> {
    let [high, low, number, evidence, temper]: [f64; 5] = figures.take()?;
    let members = figures.count(MOST_MEMBERS)?;
    let mut island = Island {
        seed: ((high as u64) << 32) | low as u64,
        number: number as u64,
        members: Vec::new(),
        weights: Vec::new(),
        evidence,
        temper,
    };
    if members < 2 {
        return Err(KeptError::Damaged);
    }
    for _ in 0..members {
        let (member, weight) = Particle::of_figures(model, &figures.take()?);
        island.members.push(member);
        island.weights.push(weight);
    }
    Ok(island)
}

impl Particle {
    fn figures(&self, weight: f64) -> [f64; MEMBER] {
        let (kind, size) = match self.regime {
            Regime::Sound => (0.0, 0.0),
            Regime::NoPanel => (1.0, 0.0),
            Regime::Load(times) => (2.0, f64::from(times)),
            Regime::Panel(share) => (3.0, f64::from(share)),
        };
        let since = self.since_day.map_or(NONE, |day| day as f64);
        let own = [kind, size, since, self.load_ah, f64::from(self.hysteresis), self.new_ah, weight];
        let all = [&self.parts[..], &own, &self.life.figures(), &self.sky.figures()].concat();
        std::array::from_fn(|place| all[place])
    }

    fn of_figures(model: &Model, figures: &[f64; MEMBER]) -> (Self, f64) {
        let (parts, rest) = figures.split_at(COUNT);
        let (own, rest) = rest.split_at(OWN);
        let (life, sky) = rest.split_at(LIFE_FIGURES);
        let regime = match own[0] as u8 {
            1 => Regime::NoPanel,
            2 => Regime::Load(own[1] as f32),
            3 => Regime::Panel(own[1] as f32),
            _ => Regime::Sound,
        };
        let mut member = Self::blank(model);
        member.parts = std::array::from_fn(|place| parts[place]);
        (member.regime, member.load_ah) = (regime, own[3]);
        member.since_day = (own[2] >= 0.0).then_some(own[2] as i64);
        (member.hysteresis, member.new_ah) = (own[4] as f32, own[5]);
        member.equip(model);
        member.life.take_figures(&std::array::from_fn(|place| life[place]));
        member.sky.take_figures(&std::array::from_fn(|place| sky[place]));
        (member, own[6])
    }
}

/// Figures one after the other; all are numbers.
struct Figures<'a>(std::slice::Iter<'a, [u8; 8]>);

impl Figures<'_> {
    fn any(&mut self) -> Result<f64, KeptError> {
        self.0.next().map(|bytes| f64::from_le_bytes(*bytes)).ok_or(KeptError::Damaged)
    }

    fn one(&mut self) -> Result<f64, KeptError> {
        self.any().and_then(|figure| if figure.is_finite() { Ok(figure) } else { Err(KeptError::Damaged) })
    }

    fn take<const N: usize>(&mut self) -> Result<[f64; N], KeptError> {
        let mut figures = [0.0; N];
        for figure in &mut figures {
            *figure = self.one()?;
        }
        Ok(figures)
    }

    fn count(&mut self, most: usize) -> Result<usize, KeptError> {
        let count = self.one()?;
        let whole = count.fract().abs() < f64::EPSILON && (0.0..=most as f64).contains(&count);
        if whole { Ok(count as usize) } else { Err(KeptError::Damaged) }
    }
}
