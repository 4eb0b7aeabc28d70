//! A node that was told other intervals by a message.

use design::change::{Change, Refused};
use design::message::SetInterval;
use design::node::Design;
use design::quantity::Duration;

/// The design with the intervals that a message sets, one after the other.
///
/// # Errors
/// What the design says to the first of them that it refuses, such as an interval shorter than what happens in it.
pub fn told(design: &Design, intervals: &[(&SetInterval, Duration)]) -> Result<Design, Refused> {
    intervals.iter().try_fold(design.clone(), |design, (sets, every)| {
        let (load, activity) = (sets.load.clone(), sets.activity.clone());
        design.with(Change::Interval { load, activity, every: *every })
    })
}
