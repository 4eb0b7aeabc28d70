//! What the messages of a node that stands outside say about it: its parts, its charge, what changed, how long it goes on.
//!
//! A swarm of possible nodes lives the days of the log with the kernel of `check`; those that would have sent what was
//! heard go on ([`Swarm`]). What is believed before the first message, the likelihood and the words follow a trial on
//! simulated nodes of known truth.

mod ahead;
mod cause;
mod cell;
mod days;
mod invented;
mod island;
mod kept;
pub mod log;
mod model;
mod particle;
mod parts;
mod site;
pub mod sun;
mod swarm;

pub use ahead::{Silence, WORTH_A_VISIT};
pub use cause::{Cause, CauseKind, NotKnown, Quantity};
pub use cell::CellError;
pub use days::BLOCKS;
pub use invented::{Differ, INVENTED_MODULUS, Invented, Parts, invented, invented_site, twin};
pub use kept::KeptError;
pub use particle::{Mend, Regime};
pub use site::learn_site;
pub use swarm::{Before, DayBand, Effort, Heard, Learned, Swarm, learn};

use std::cmp::Ordering;

use design::node::Design;
use design::quantity::{Temperature, Voltage};

use crate::stats::quantile;
use sun::MeasuredSun;

/// A day \[s\].
pub const DAY_S: i64 = 86_400;

/// One message of a node, as far as it tells of its supply.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Seconds since 1970, UTC.
    pub at_s: i64,
    /// At the battery.
    pub battery: Option<Voltage>,
    /// A counter of minutes in charge that begins anew at its modulus and at each restart.
    pub charging_min: Option<u32>,
    /// At the panel.
    pub panel: Option<Voltage>,
    /// In the box.
    pub box_air: Option<Temperature>,
    /// Whether it is the first since the node started.
    pub restarted: bool,
    /// The frame counter.
    pub counter: Option<u32>,
    /// The data rate.
    pub rate: Option<u8>,
}

impl Reading {
    /// Orders by time, then by all that a message says: so the order of rows in a file does not matter.
    fn order(&self, other: &Self) -> Ordering {
        let figures = |one: &Self| {
            [
                one.battery.map(Voltage::volts),
                one.panel.map(Voltage::volts),
                one.box_air.map(Temperature::kelvin),
            ]
            .map(|figure| figure.unwrap_or(-1.0))
        };
        let counts = |one: &Self| (one.at_s, one.counter, one.charging_min, one.restarted, one.rate);
        let by_figures = || {
            let pairs = figures(self).into_iter().zip(figures(other));
            pairs
                .map(|(one, other)| one.total_cmp(&other))
                .find(|order| order.is_ne())
                .unwrap_or(Ordering::Equal)
        };
        counts(self).cmp(&counts(other)).then_with(by_figures)
    }
}

/// Seconds since 1970 of a time in UTC such as `2026-10-04T12:00:00Z`; `None` of any other text.
#[must_use]
pub fn seconds_of(text: &str) -> Option<i64> {
    cell::seconds(text)
}

/// Year, month and day of a moment, UTC.
#[must_use]
pub fn date_of(at_s: i64) -> (i32, u8, u8) {
    crate::sky::sun::date(at_s.div_euclid(DAY_S))
}

/// What is known of a node that stands outside.
#[derive(Clone, Copy, Debug)]
pub struct Past<'a> {
    /// What was meant.
    pub design: &'a Design,
    /// What was received, in the order of time.
    pub readings: &'a [Reading],
    /// The moment at which it is asked \[s since 1970, UTC\].
    pub as_of_s: i64,
    /// Where the counter of minutes in charge begins anew.
    pub counter_modulus: u32,
    /// Sun that was measured nearby.
    pub sun: Option<&'a MeasuredSun>,
}

/// A quantity with its doubt: one in twenty below the first, one in twenty above the last.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Band {
    /// One in twenty lies below.
    pub p05: f64,
    /// Half lie below.
    pub p50: f64,
    /// One in twenty lies above.
    pub p95: f64,
}

impl Band {
    /// Of values in order; no numbers without values.
    #[must_use]
    pub fn of_sorted(sorted: &[f64]) -> Self {
        Self { p05: quantile(sorted, 0.05), p50: quantile(sorted, 0.5), p95: quantile(sorted, 0.95) }
    }

    /// Of values with weights.
    fn of_weighed(mut values: Vec<(f64, f64)>) -> Self {
        values.sort_by(|one, other| one.0.total_cmp(&other.0));
        let all: f64 = values.iter().map(|(_, weight)| weight).sum();
        let at = |share: f64| {
            let mut left = share * all;
            let place = values.iter().position(|(_, weight)| {
                left -= weight;
                left <= 0.0
            });
            place.or(values.len().checked_sub(1)).map_or(f64::NAN, |place| values[place].0)
        };
        Self { p05: at(0.05), p50: at(0.5), p95: at(0.95) }
    }

    /// Width in logarithms; what is below a twentieth is all the same.
    #[must_use]
    pub fn log_width(&self) -> f64 {
        (self.p95.max(0.05) / self.p05.max(0.05)).ln()
    }
}
