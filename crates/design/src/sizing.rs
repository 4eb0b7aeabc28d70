//! What may be chosen about a node when it is sized, and what is wanted of the choice.

use crate::quantity::{Angle, Charge, Duration};

/// What may be chosen, as the file says it; what is left open is chosen from the catalogue and around what is written.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct Sizing {
    /// Panels by name; empty: those of the catalogue.
    pub panels: Vec<String>,
    /// Batteries by name; empty: the one that is written.
    pub batteries: Vec<String>,
    /// Smallest and largest capacity; `None`: around the one that is written.
    pub capacities: Option<(Charge, Charge)>,
    /// Chargers by name; empty: the one that is written.
    pub chargers: Vec<String>,
    /// Tilts of the panel; empty: the one that is written.
    pub tilts: Vec<Angle>,
    /// The activity whose interval is chosen; `None`: the one that reports most often all year.
    pub activity: Option<String>,
    /// Its shortest and longest interval; `None`: around the one that is written.
    pub intervals: Option<(Duration, Duration)>,
    /// Reports a day that are wanted at least; `None`: as many as the design sends as it is written.
    pub at_least_per_day: Option<f64>,
    /// What is preferred among those that keep the promise.
    pub prefer: Preference,
    /// What parts cost, by name, in one currency.
    pub prices: Vec<(String, f64)>,
}

/// What is preferred among designs that keep the promise.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Preference {
    /// The lowest price.
    #[default]
    Cheapest,
    /// The smallest panel, then the smallest battery.
    Smallest,
    /// The most reports, then the lowest price.
    MostReports,
}
