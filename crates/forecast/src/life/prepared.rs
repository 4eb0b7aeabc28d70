//! A design under its weather with its tables made, to be lived any number of times; its variants take over what they
//! share with it.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "lengths of lives are clamped, and months and days are small"
)]

use std::sync::Arc;

use design::node::Design;

use super::node::{Harvest, NodeTables};
use super::run::Trial;
use super::unknowns::Unknowns;
use super::weather::NodeWeather;
use crate::diary::Diary;
use crate::load::Demand;
use crate::power::charge_table::voltage_range;
use crate::radio::spots::Spots;
use crate::sky::climate::Climate;
use crate::sky::light::{YEAR_DAYS, nominal_hours};
use crate::sky::weather::WeatherHours;

/// Lives are no shorter and no longer than this \[days\].
const SHORTEST_LIFE_DAYS: f64 = 7.0;
const LONGEST_LIFE_DAYS: f64 = 50.0 * YEAR_DAYS as f64;

/// The weather that lives are lived in.
#[derive(Clone, Copy, Debug)]
pub enum Weather<'a> {
    /// Hours that were recorded.
    Hours(&'a WeatherHours),
    /// A climate, from which weather is drawn.
    Climate(&'a Climate),
}

/// A design under its weather, its tables made.
#[derive(Clone, Debug)]
pub struct Prepared {
    design: Design,
    spots: Arc<Spots>,
    weather: Arc<NodeWeather>,
    middle: NodeTables,
    nodes: Vec<NodeTables>,
    unknowns: Unknowns,
    seed: u64,
}

impl Prepared {
    /// A design under its weather; `spots` says at which data rates its lives may find themselves, `seed` what is drawn.
    #[must_use]
    pub fn new(design: &Design, weather: Weather<'_>, spots: &Spots, seed: u64) -> Self {
        let diary = Diary::new(design);
        let node_weather = Arc::new(node_weather(design, weather, &diary, seed));
        let middle = NodeTables::of_design(design, Demand::on_link(design, spots.middle_state(), &diary));
        Self::assembled(design, Arc::new(spots.clone()), node_weather, middle, seed)
    }

    /// A variant of the design under the same weather and seed, on the same spots unless it has others: only the tables
    /// that the change touches are made again. It is the same as [`Self::new`] makes.
    #[must_use]
    pub fn of_variant(&self, variant: &Design, weather: Weather<'_>, spots: Option<&Spots>) -> Self {
        let spots = spots.map_or_else(|| Arc::clone(&self.spots), |spots| Arc::new(spots.clone()));
        let diary = Diary::new(variant);
        let node_weather = if feel_the_same_weather(&self.design, variant) {
            Arc::clone(&self.weather)
        } else {
            Arc::new(node_weather(variant, weather, &diary, self.seed))
        };
        let demand = Demand::on_link(variant, spots.middle_state(), &diary);
        let middle = if harvest_alike(&self.design, variant) {
            NodeTables::new(variant, self.middle.harvest.clone(), demand)
        } else {
            NodeTables::of_design(variant, demand)
        };
        Self::assembled(variant, spots, node_weather, middle, self.seed)
    }

    fn assembled(
        design: &Design,
        spots: Arc<Spots>,
        weather: Arc<NodeWeather>,
        middle: NodeTables,
        seed: u64,
    ) -> Self {
        let diary = Diary::new(design);
        let at = |class| middle.with_demand(Demand::on_link(design, class, &diary));
        let nodes: Vec<NodeTables> = spots.classes().iter().map(at).collect();
        let unknowns = Unknowns::new(design, nodes.len() > 1);
        Self { design: design.clone(), spots, weather, middle, nodes, unknowns, seed }
    }

    /// The design.
    #[must_use]
    pub fn design(&self) -> &Design {
        &self.design
    }

    /// Where its lives may find themselves.
    #[must_use]
    pub fn spots(&self) -> &Spots {
        &self.spots
    }

    /// The node on its middle spot.
    #[must_use]
    pub fn middle(&self) -> &NodeTables {
        &self.middle
    }

    /// What its lives are lived under.
    #[must_use]
    pub fn trial(&self) -> Trial<'_> {
        let common =
            trial_without_tables(&self.design, &self.weather, &self.unknowns, &self.spots, self.seed);
        Trial { nodes: &self.nodes, ..common }
    }
}

/// Days of the promise; a year of a life has 365.
fn days_of_life(design: &Design) -> usize {
    let days = (design.promise.unattended.years() * YEAR_DAYS as f64).round();
    days.clamp(SHORTEST_LIFE_DAYS, LONGEST_LIFE_DAYS) as usize
}

/// Day of the nominal year, the first of January being 0.
#[must_use]
pub fn day_of_year(month: u8, day: u8) -> usize {
    nominal_hours().iter().position(|hour| (hour.month, hour.day) >= (month, day)).unwrap_or(0) / 24
}

/// The weather as this node feels it.
#[must_use]
pub fn node_weather(design: &Design, weather: Weather<'_>, diary: &Diary, seed: u64) -> NodeWeather {
    match weather {
        Weather::Hours(hours) => NodeWeather::of_hours(design, hours, diary),
        Weather::Climate(climate) => NodeWeather::of_climate(design, climate, diary, seed),
    }
}

/// What lives of a design are lived under, without its tables.
#[must_use]
pub fn trial_without_tables<'a>(
    design: &Design,
    weather: &'a NodeWeather,
    unknowns: &'a Unknowns,
    spots: &'a Spots,
    seed: u64,
) -> Trial<'a> {
    let (promise, panel) = (&design.promise, design.panel.as_ref());
    Trial {
        nodes: &[],
        spots,
        weather,
        unknowns,
        days: days_of_life(design),
        start_day: promise.installed.map(|(month, day)| day_of_year(month, day)),
        charge: promise.charge_at_installation,
        yield_kept_per_year: panel.map_or(1.0, |panel| 1.0 - panel.panel.yearly_loss.fraction()),
        seed,
    }
}

/// Whether sun, cells and battery of two designs feel the same under one sky: all that [`NodeWeather`] reads of a design.
fn feel_the_same_weather(one: &Design, other: &Design) -> bool {
    let mounting = |design: &Design| {
        design.panel.as_ref().map(|mounted| {
            let shade = (mounted.soiling, mounted.shade, mounted.shade_months);
            (mounted.tilt, mounted.azimuth, shade, mounted.panel.cover)
        })
    };
    let conditions = |design: &Design| {
        let activities = design.loads.iter().flat_map(|load| &load.activities);
        activities.map(|one| (one.when.clone(), one.every.by_month())).collect::<Vec<_>>()
    };
    one.site == other.site
        && one.enclosure == other.enclosure
        && one.diary == other.diary
        && mounting(one) == mounting(other)
        && conditions(one) == conditions(other)
}

/// Whether panel and charger offer the same: of the battery their table knows only between which voltages it lies.
fn harvest_alike(one: &Design, other: &Design) -> bool {
    let panel = |design: &Design| design.panel.as_ref().map(|mounted| mounted.panel.clone());
    panel(one) == panel(other)
        && one.charger == other.charger
        && voltage_range(&one.battery) == voltage_range(&other.battery)
}

impl Prepared {
    /// Whether it shares the tables of weather, and those of panel and charger, with another.
    #[must_use]
    pub fn shares(&self, other: &Self) -> (bool, bool) {
        let harvest = match (&self.middle.harvest, &other.middle.harvest) {
            (Harvest::Table(one), Harvest::Table(two)) => Arc::ptr_eq(one, two),
            (Harvest::None, Harvest::None) => true,
            _ => false,
        };
        (Arc::ptr_eq(&self.weather, &other.weather), harvest)
    }
}
