//! Charges at which a node stops and comes back, for drawings beside its charge.

use design::node::Design;

use crate::diary::Diary;
use crate::load::Demand;
use crate::power::battery::{charge_at_rest, lowest_charge_for, usable_share};
use crate::radio::link_state::LinkState;

/// Charge [%] at or below which a node whose messages go as `link` says stops, for each of these temperatures of its
/// battery, taken to whole degrees.
///
/// It stops when the cold locks what is left, or when its largest pulse pulls the voltage under the limit.
pub fn stops_percent(
    design: &Design,
    link: &LinkState,
    battery_celsius: impl Iterator<Item = f64>,
) -> Vec<f64> {
    let pulse = Demand::on_link(design, link, &Diary::new(design)).pulse;
    let at_celsius = |celsius: f64| {
        let battery = &design.battery;
        let locked = 1.0 - usable_share(battery, celsius);
        let buffer = design.buffer.as_ref();
        let under_pulse = lowest_charge_for(battery, pulse, design.cutoff.stops_below, buffer, celsius);
        100.0 * locked.max(under_pulse.unwrap_or(1.0))
    };
    // Whole degrees are near enough for a drawing, and few enough to work out once.
    let hours: Vec<f64> = battery_celsius.map(f64::round).collect();
    let mut degrees = hours.clone();
    degrees.sort_by(f64::total_cmp);
    degrees.dedup();
    let limits: Vec<f64> = degrees.iter().map(|celsius| at_celsius(*celsius)).collect();
    hours.iter().map(|celsius| limits[degrees.partition_point(|other| other < celsius)]).collect()
}

/// Charge [%] at which the battery of a stopped node rests at the voltage that starts it again.
#[must_use]
pub fn restarts_percent(design: &Design) -> f64 {
    100.0 * charge_at_rest(&design.battery, design.cutoff.restarts_above)
}
