//! A node that was told other intervals by a message.

use design::change::{Change, Refused};
use design::message::SetInterval;
use design::node::Design;
use design::quantity::Duration;
use design::schedule::Schedule;

/// The design with the intervals that a message sets, one after the other.
///
/// # Errors
/// What the design says to the first of them that it refuses, such as an interval shorter than what happens in it.
pub fn told(design: &Design, intervals: &[(&SetInterval, Duration)]) -> Result<Design, Refused> {
    intervals.iter().try_fold(design.clone(), |design, (sets, every)| {
        let change = change(&design, sets, *every);
        design.with(change)
    })
}

/// A fixed interval is replaced; of a table by month or charge what is shorter is: it never makes the node report more often.
fn change(design: &Design, sets: &SetInterval, every: Duration) -> Change {
    let (load, activity) = (sets.load.clone(), sets.activity.clone());
    match schedule(design, sets).filter(|schedule| schedule.fixed_interval().is_none()) {
        None => Change::Interval { load, activity, every },
        Some(table) if table.by_month() => {
            Change::IntervalByMonthAndCharge { load, activity, rows: table.at_least(every) }
        }
        Some(table) => {
            let rows = table.at_least(every).into_iter().map(|(from, months)| (from, months[0])).collect();
            Change::IntervalByCharge { load, activity, rows }
        }
    }
}

/// How often what a field sets happens, as the design says.
pub(crate) fn schedule<'d>(design: &'d Design, sets: &SetInterval) -> Option<&'d Schedule> {
    let load = design.loads.iter().find(|load| load.name == sets.load)?;
    load.activities.iter().find(|activity| activity.name == sets.activity).map(|activity| &activity.every)
}
