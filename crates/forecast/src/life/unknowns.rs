//! What is fixed but unknown about a site and its parts, drawn once for every life.
#![expect(
    clippy::cast_possible_truncation,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use design::node::{Design, Step};
use design::quantity::{Quantity, Uncertain};

use super::kernel::Life;
use super::node::NodeTables;
use crate::random::Stream;
use crate::sky::hours::SiteDraw;

/// How many unknowns there are.
pub const COUNT: usize = 8;
/// The first of them are drawn here; the last, the spot, from a stream of its own.
const PARTS: usize = COUNT - 1;
/// Place of the spot.
pub const SPOT: usize = COUNT - 1;
/// Place of the temperature.
const WARMTH: usize = PARTS - 1;

/// What each unknown is, in words.
pub const NAMES: [&str; COUNT] = [
    "sunshine of the site",
    "panel power against its label",
    "battery capacity against its label",
    "battery resistance",
    "sleep current",
    "current when awake",
    "temperature of the site",
    "position, and so the data rate",
];

/// Standard deviation of a site's mean temperature around the climate's: a valley is not its grid cell (own estimate).
const SITE_TEMPERATURE_SD_K: f64 = 1.0;

/// How far each unknown may stray.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unknowns {
    /// Standard deviations: of the logarithm for most of [`NAMES`], kelvin for the temperature. The first is a factor on
    /// the months' own doubt and so 1, and so is the spot's where it varies.
    spreads: [f64; COUNT],
}

/// One life's unknowns as standard normal scores.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Drawn {
    /// In the order of [`NAMES`].
    pub scores: [f64; COUNT],
    /// What they make of the parts: factors, and kelvin for the temperature; of the spot nothing.
    pub values: [f64; COUNT],
}

impl Unknowns {
    /// The unknowns of a design; `spots` says whether its data rates differ from spot to spot.
    #[must_use]
    pub fn new(design: &Design, spots: bool) -> Self {
        let battery = &design.battery;
        let panel = design.panel.as_ref().map_or(0.0, |mounted| relative(&mounted.panel.power));
        Self {
            spreads: [
                1.0,
                panel,
                relative(&battery.capacity).hypot(relative(&battery.label_to_real)),
                relative(&battery.resistance),
                floor_spread(design),
                active_spread(design),
                SITE_TEMPERATURE_SD_K,
                f64::from(u8::from(spots)),
            ],
        }
    }

    /// The unknowns of one life on a spot of this score.
    pub fn draw(&self, random: &mut Stream, spot: f64) -> Drawn {
        let scores: [f64; COUNT] =
            std::array::from_fn(|index| if index < PARTS { random.normal() } else { spot });
        let mut values: [f64; COUNT] =
            std::array::from_fn(|index| (scores[index] * self.spreads[index].ln_1p()).exp());
        values[0] = scores[0];
        values[WARMTH] = scores[WARMTH] * self.spreads[WARMTH];
        values[SPOT] = 1.0;
        Drawn { scores, values }
    }

    /// Whether an unknown varies at all.
    #[must_use]
    pub fn varies(&self, index: usize) -> bool {
        self.spreads[index] > 0.0
    }
}

impl Drawn {
    /// Every part as designed, the climate as stated.
    #[must_use]
    pub fn nominal() -> Self {
        let mut values = [1.0; COUNT];
        values[0] = 0.0;
        values[WARMTH] = 0.0;
        Self { scores: [0.0; COUNT], values }
    }

    /// What it makes of the weather.
    #[must_use]
    pub fn site(&self) -> SiteDraw {
        SiteDraw { sun_score: self.values[0], warmer_k: self.values[WARMTH] }
    }

    /// The factor on what the panel yields.
    #[must_use]
    pub fn panel(&self) -> f64 {
        self.values[1]
    }

    /// The factor on what the board draws asleep.
    #[must_use]
    pub fn floor(&self) -> f64 {
        self.values[4]
    }

    /// The factor on what it draws awake.
    #[must_use]
    pub fn active(&self) -> f64 {
        self.values[5]
    }

    /// Gives a life its parts.
    pub fn equip(&self, node: &NodeTables, life: &mut Life) {
        life.scale_capacity(self.values[2]);
        life.scale_resistance(node, self.values[3] as f32);
        life.floor_factor = self.floor() as f32;
        life.active_factor = self.active() as f32;
    }
}

fn relative<Q: Quantity>(quantity: &Uncertain<Q>) -> f64 {
    let nominal = quantity.nominal.si().abs();
    if nominal > 0.0 { quantity.spread_si / nominal } else { 0.0 }
}

/// Spread of all floors together, each weighed by its current: one standard deviation of what the board draws asleep, as a
/// share of it.
#[must_use]
pub fn floor_spread(design: &Design) -> f64 {
    let floors = design.loads.iter().map(|load| (load.floor.nominal.si(), load.floor.spread_si));
    weighed(floors)
}

/// Spread of all active currents together, each weighed by its charge per try.
fn active_spread(design: &Design) -> f64 {
    let steps = design.loads.iter().flat_map(|load| &load.activities).flat_map(|activity| &activity.steps);
    weighed(steps.map(|step| {
        match step {
            Step::Draw { current, time } => (current.nominal.si() * time.si(), current.spread_si * time.si()),
            Step::Uplink { .. } => design.radio.as_ref().map_or((0.0, 0.0), |radio| {
                (radio.transmit_current.nominal.si(), radio.transmit_current.spread_si)
            }),
            Step::Fix { .. } | Step::Snapshot { .. } => design
                .receiver
                .as_ref()
                .map_or((0.0, 0.0), |receiver| (receiver.acquire.nominal.si(), receiver.acquire.spread_si)),
        }
    }))
}

fn weighed(pairs: impl Iterator<Item = (f64, f64)>) -> f64 {
    let (nominal, spread) = pairs.fold((0.0, 0.0), |sum, pair| (sum.0 + pair.0, sum.1 + pair.1));
    if nominal > 0.0 { spread / nominal } else { 0.0 }
}
