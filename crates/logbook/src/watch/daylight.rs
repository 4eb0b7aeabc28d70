//! How high the sun stands.

use forecast::sky::sun::{self, Algorithm, Observer};

use super::DAY;
use super::plan::NodePlan;
use crate::received::Moment;

/// Terrestrial time is ahead of UTC by so much in these years \[s\]; a minute more or less moves the sun by nothing here.
const DELTA_T_S: f64 = 69.0;

/// Where a node looks at the sun; none if its place is none.
pub(super) fn observer(plan: &NodePlan) -> Option<Observer> {
    Observer::new(plan.latitude_deg, plan.longitude_deg, 0.0)
}

/// How high the sun stands above the level; negative below \[degrees\].
pub(super) fn height_deg(at: Moment, observer: &Observer) -> f64 {
    // Julian day of 1970-01-01 00:00 UTC.
    let julian_day = 2_440_587.5 + at as f64 / DAY as f64;
    90.0 - sun::position(Algorithm::Grena3, julian_day, DELTA_T_S, observer).apparent_zenith_deg
}
