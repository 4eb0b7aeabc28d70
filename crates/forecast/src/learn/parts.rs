//! What is unknown of a node that stands outside: its parts as points of a space in which they stray like normals.

use design::node::Design;
use design::part::Chemistry;
use design::quantity::{Quantity, Uncertain};

use crate::life::unknowns::floor_spread;
use crate::random::Stream;

/// How many there are.
pub(super) const COUNT: usize = 11;
/// Places of the parts: logarithms of factors for the first six, millivolts for the next four, a score for the last.
pub(super) const YIELD: usize = 0;
pub(super) const MORNING: usize = 1;
pub(super) const AFTERNOON: usize = 2;
pub(super) const FLOOR: usize = 3;
pub(super) const CAPACITY: usize = 4;
pub(super) const RESISTANCE: usize = 5;
pub(super) const OFFSET: usize = 6;
pub(super) const BOW: usize = 7;
pub(super) const HYSTERESIS: usize = 8;
pub(super) const CHARGES_ABOVE: usize = 9;
pub(super) const SUN: usize = 10;

/// Those that a slide changes.
const SLID: [usize; 4] = [YIELD, FLOOR, CAPACITY, RESISTANCE];

/// One node's parts, in the order of the places.
pub(super) type Parts = [f64; COUNT];

/// A share of the nodes, with mean and standard deviation.
#[derive(Clone, Copy, Debug)]
struct Share {
    of_nodes: f64,
    mean: f64,
    sd: f64,
}

/// What is believed of a part before anything was heard.
#[derive(Clone, Debug)]
struct Belief {
    shares: Vec<Share>,
}

/// What is believed of all parts before anything was heard.
#[derive(Clone, Debug)]
pub(super) struct Beliefs {
    parts: [Belief; COUNT],
}

impl Belief {
    fn normal(mean: f64, sd: f64) -> Self {
        Self { shares: vec![Share { of_nodes: 1.0, mean, sd }] }
    }

    /// Most nodes as the design has it, some otherwise.
    fn mostly(of_nodes: f64, usual: (f64, f64), else_: (f64, f64)) -> Self {
        let (mean, sd) = usual;
        let (else_mean, else_sd) = else_;
        let rest = Share { of_nodes: 1.0 - of_nodes, mean: else_mean, sd: else_sd };
        Self { shares: vec![Share { of_nodes, mean, sd }, rest] }
    }

    /// Logarithm of how dense nodes lie there, up to a constant.
    fn log_density(&self, part: f64) -> f64 {
        let of = |share: &Share| {
            let off = (part - share.mean) / share.sd;
            share.of_nodes / share.sd * (-0.5 * off * off).exp()
        };
        self.shares.iter().map(of).sum::<f64>().max(f64::MIN_POSITIVE).ln()
    }

    fn draw(&self, random: &mut Stream) -> f64 {
        let (mut left, normal) = (random.uniform(), random.normal());
        for share in &self.shares {
            left -= share.of_nodes;
            if left < 0.0 {
                return share.mean + share.sd * normal;
            }
        }
        self.shares.last().map_or(0.0, |share| share.mean + share.sd * normal)
    }
}

impl Beliefs {
    /// Of a design.
    pub(super) fn new(design: &Design) -> Self {
        let battery = &design.battery;
        let panel = design.panel.as_ref().map_or(0.0, |mounted| relative(&mounted.panel.power));
        let cell = relative(&battery.label_to_real).hypot(relative(&battery.capacity)).max(0.08);
        let real = battery.label_to_real.nominal.fraction().ln();
        let measured = design.loads.iter().all(|load| load.floor_measured);
        let floor = if measured {
            Belief::mostly(0.8, (0.0, floor_spread(design).max(0.15)), (0.45, 0.35))
        } else {
            Belief::normal(0.0, 0.7)
        };
        let shaded = || Belief::mostly(0.9, (0.0, 0.05), (-0.8, 0.5));
        // Iron phosphate from memory.
        let (hysteresis, hysteresis_sd) =
            if battery.chemistry == Chemistry::Lfp { (10.0, 5.0) } else { (6.0, 3.0) };
        Self {
            parts: [
                Belief::mostly(0.6, (-0.03, panel.max(0.12)), (-0.35, 0.30)),
                shaded(),
                shaded(),
                floor,
                Belief::mostly(0.8, (real, cell), (real - 0.45, 0.22)),
                Belief::normal(0.1, 0.35),
                Belief::normal(0.0, 12.0),
                Belief::normal(0.0, 6.0),
                Belief::normal(hysteresis, hysteresis_sd),
                Belief::normal(0.0, 8.0),
                Belief::normal(0.0, 1.0),
            ],
        }
    }

    /// A part as most nodes have it.
    pub(super) fn usual(&self, place: usize) -> f64 {
        self.parts[place].shares[0].mean
    }

    /// The same of all parts that a slide changes.
    pub(super) fn slid_density(&self, parts: &Parts) -> f64 {
        SLID.iter().map(|place| self.parts[*place].log_density(parts[*place])).sum()
    }

    /// The parts of one node; at most one of morning and afternoon is shaded.
    pub(super) fn draw(&self, random: &mut Stream) -> Parts {
        let mut parts: Parts = std::array::from_fn(|place| self.parts[place].draw(random));
        let usual = self.parts[MORNING].shares[0];
        if parts[MORNING].min(parts[AFTERNOON]) < -5.0 * usual.sd && random.uniform() < 0.5 {
            parts[MORNING] = usual.mean + usual.sd * random.normal();
        }
        parts[HYSTERESIS] = parts[HYSTERESIS].abs();
        parts
    }
}

fn relative<Q: Quantity>(quantity: &Uncertain<Q>) -> f64 {
    let nominal = quantity.nominal.si().abs();
    if nominal > 0.0 { quantity.spread_si / nominal } else { 0.0 }
}
