//! What is fixed but unknown about a site and its parts, drawn once for every life.
#![expect(
    clippy::cast_possible_truncation,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use design::message::bytes_at;
use design::node::{Design, Step};
use design::quantity::{Current, Duration, Quantity, Uncertain};
use design::surroundings::Sky;

use super::kernel::Life;
use super::node::NodeTables;
use crate::load::{FixCost, MessageCost, expected_tries};
use crate::radio::link_state::LinkState;
use crate::random::Stream;
use crate::sky::hours::SiteDraw;

/// How many unknowns there are.
pub const COUNT: usize = 9;
/// The first of them are drawn here; the last two, spot and gauge, from streams of their own.
const PARTS: usize = COUNT - 2;
/// Place of the sun.
pub const SUNSHINE: usize = 0;
/// Place of the spot.
pub const SPOT: usize = PARTS;
/// Place of the gauge.
const GAUGE: usize = PARTS + 1;
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
    "charge as the node reads it",
];

/// Standard deviation of a site's mean temperature around the climate's: a valley is not its grid cell (own estimate).
const SITE_TEMPERATURE_SD_K: f64 = 1.0;

/// A gauge was set up at this temperature, and is off by twice as much so far away from it (own estimate: the resistance of
/// the cell, and with it the voltage under the sleeping board, changes with the cold).
const GAUGE_RIGHT_AT_CELSIUS: f32 = 25.0;
const GAUGE_DOUBLES_AFTER_K: f32 = 50.0;

/// How far each unknown may stray.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unknowns {
    /// Standard deviations: of the logarithm for most of [`NAMES`], kelvin for the temperature, share of a full
    /// battery for the gauge. The first is a factor on
    /// the months' own doubt and so 1, and so is the spot's where it varies.
    spreads: [f64; COUNT],
}

/// One life's unknowns as standard normal scores.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct UnknownScores {
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
                gauge_spread(design),
            ],
        }
    }

    /// The same with a gauge that shows the charge as it is.
    #[must_use]
    pub fn with_perfect_gauge(mut self) -> Self {
        self.spreads[GAUGE] = 0.0;
        self
    }

    /// The unknowns of one life on a spot of this score.
    pub fn draw(&self, random: &mut Stream, spot: f64, gauge: f64) -> UnknownScores {
        let scores: [f64; COUNT] = std::array::from_fn(|index| match index {
            SPOT => spot,
            GAUGE => gauge,
            _ => random.normal(),
        });
        let mut values: [f64; COUNT] =
            std::array::from_fn(|index| (scores[index] * self.spreads[index].ln_1p()).exp());
        values[0] = scores[0];
        values[WARMTH] = scores[WARMTH] * self.spreads[WARMTH];
        values[SPOT] = 1.0;
        values[GAUGE] = scores[GAUGE] * self.spreads[GAUGE];
        UnknownScores { scores, values }
    }

    /// Whether an unknown varies at all.
    #[must_use]
    pub fn varies(&self, index: usize) -> bool {
        self.spreads[index] > 0.0
    }
}

impl UnknownScores {
    /// Every part as designed, the climate as stated.
    #[must_use]
    pub fn nominal() -> Self {
        let mut values = [1.0; COUNT];
        values[0] = 0.0;
        values[WARMTH] = 0.0;
        values[GAUGE] = 0.0;
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

    /// The factor on the resistance of the battery.
    #[must_use]
    pub fn resistance(&self) -> f64 {
        self.values[3]
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

    /// What the node reads too much of its charge, as share of a full battery, with the battery this warm [°C].
    #[must_use]
    pub fn gauge_error(&self, battery_celsius: f32) -> f32 {
        let away_k = (battery_celsius - GAUGE_RIGHT_AT_CELSIUS).abs();
        self.values[GAUGE] as f32 * (1.0 + away_k / GAUGE_DOUBLES_AFTER_K)
    }

    /// Gives a life its parts.
    pub fn equip(&self, node: &NodeTables, life: &mut Life) {
        life.scale_capacity(self.values[2]);
        life.scale_resistance(node, self.values[3] as f32);
        life.floor_factor = self.floor() as f32;
        life.active_factor = self.active() as f32;
    }
}

/// Spread of the charge that the node reads, if it asks for it.
fn gauge_spread(design: &Design) -> f64 {
    let mut activities = design.loads.iter().flat_map(|load| &load.activities);
    let asks = activities.any(|activity| activity.every.by_charge());
    if asks { design.battery.gauge_error.fraction() } else { 0.0 }
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

/// Spread of all active currents together, each weighed by the charge that it draws in the long run.
fn active_spread(design: &Design) -> f64 {
    let link = LinkState::as_designed(design);
    let activities = design.loads.iter().flat_map(|load| &load.activities);
    let often = activities.filter_map(|activity| Some((activity, activity.every.intervals().next()?)));
    weighed(often.flat_map(|(activity, every)| {
        let link = &link;
        activity.steps.iter().map(move |step| {
            let (current, on) = of_step(design, link, step, every);
            let charge_per_second = |si: f64| si * on.seconds() / every.seconds();
            (charge_per_second(current.nominal.si()), charge_per_second(current.spread_si))
        })
    }))
}

/// The current of a step that may stray, and for how long it flows.
fn of_step(
    design: &Design,
    link: &LinkState,
    step: &Step,
    every: Duration,
) -> (Uncertain<Current>, Duration) {
    let none = (Uncertain::exact(Current::ZERO), Duration::ZERO);
    match step {
        Step::Draw { current, time } => (*current, *time),
        Step::Uplink { message, payload, confirmed, loss } => design.radio.as_ref().map_or(none, |radio| {
            let bytes = |rate| bytes_at(&design.messages, message.as_deref(), *payload, rate);
            let tries = if *confirmed { expected_tries(link.lost(*loss).fraction()) } else { 1.0 };
            (radio.transmit_current, MessageCost::new(radio, link, bytes).sending * tries)
        }),
        Step::Fix { give_up_after, failures } => design.receiver.as_ref().map_or(none, |receiver| {
            let cost = FixCost::new(receiver, every, *give_up_after, failures.fraction(), Sky::Open);
            (receiver.acquire, cost.fixing + cost.searching_in_vain)
        }),
        Step::Snapshot { time, .. } => {
            design.receiver.as_ref().map_or(none, |receiver| (receiver.acquire, *time))
        }
    }
}

fn weighed(pairs: impl Iterator<Item = (f64, f64)>) -> f64 {
    let (nominal, spread) = pairs.fold((0.0, 0.0), |sum, pair| (sum.0 + pair.0, sum.1 + pair.1));
    if nominal > 0.0 { spread / nominal } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use design::catalog::Catalog;

    use super::*;
    use crate::diary::Diary;
    use crate::load::Demand;

    fn design(more: &str) -> Design {
        let text = format!(
            r#"
            schema = 1
            name = "Bench"
            [site]
            latitude = "47 deg"
            longitude = "8 deg"
            elevation = "400 m"
            [promise]
            unattended = "1 year"
            [battery]
            part = "li-socl2-d"
            [radio]
            part = "radio-mcu-22dbm"
            region = "EU868"
            power = "14 dBm"
            transmit = [["7 dBm", "30 mA"], ["14 dBm", "40 mA"]]
            data_rate = "DR5"
            place = "outside"
            [regulator.main]
            kind = "none"
            [load.board]
            floor = "10 uA"
            floor_measured = true
            {more}
            "#
        );
        let resolved = design::resolve::resolve(&Catalog::builtin(), &design::file::parse(&text));
        resolved.unwrap_or_else(|problems| panic!("{problems:#?}")).design
    }

    /// By hand: 12 bytes at DR5 are 61.696 ms on air (Semtech AN1200.13 with 25 bytes in all): 40 mA then are 2.468 mA s,
    /// known. 5 mA for 1 s are 5 mA s, a tenth in doubt. Together 0.5 / (2.468 + 5) = 6.7 %; with the measurement ten times
    /// as often 5 / (2.468 + 50) = 9.5 %.
    #[test]
    fn currents_awake_stray_as_far_as_the_charge_they_draw() {
        for (minutes, spread) in [(10, 0.06695), (1, 0.09530)] {
            let design = design(&format!(
                r#"
                [load.board.activity.report]
                every = "10 min"
                steps = [{{ uplink = {{ payload = "12 bytes" }} }}]
                [load.board.activity.measure]
                every = "{minutes} min"
                steps = [{{ current = "5 mA +- 10 %", time = "1 s" }}]
                "#
            ));
            let found = active_spread(&design);
            assert!((found - spread).abs() < 1e-3, "every {minutes} min: {found}");
        }
    }

    /// A battery of half the label and three times the resistance, a floor of four and a load of five times the design.
    #[test]
    fn each_part_gets_its_own_draw() {
        let design = design("");
        let node = NodeTables::of_design(&design, Demand::new(&design, &Diary::new(&design)));
        let values = [0.0, 1.0, 0.5, 3.0, 4.0, 5.0, 0.0, 1.0, 0.0];
        let mut life = Life::new(&node, 1.0);
        UnknownScores { values, ..UnknownScores::default() }.equip(&node, &mut life);
        assert!((life.stored_ah / node.capacity_ah - 0.5).abs() < 1e-9, "half the capacity, full");
        let factors = [life.resistance_factor, life.floor_factor, life.active_factor];
        let drawn = factors.iter().zip([3.0, 4.0, 5.0]);
        assert!(drawn.into_iter().all(|(found, drawn)| (found - drawn).abs() < 1e-6), "{factors:?}");
    }
}
