//! How long a node is on air in any stretch of time: any, so that it can't hide a burst across the turn of an hour.

use design::quantity::Duration;

/// One transmission.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transmission {
    /// When it begins.
    pub start: Duration,
    /// How long it lasts.
    pub length: Duration,
}

/// The most time on air in any window of this length, exactly: the busiest window begins with a transmission or ends with
/// one.
///
/// A credit that refills while it is being spent is no such limit: 36 s refilled at 1 % let almost 72 s pass in one hour.
#[must_use]
pub fn most_on_air(window: Duration, transmissions: &[Transmission]) -> Duration {
    let begin = transmissions.iter().map(|one| one.start.seconds());
    let end = transmissions.iter().map(|one| (one.start + one.length - window).seconds());
    let inside = |from_s: f64| {
        let to_s = from_s + window.seconds();
        let overlap = |one: &Transmission| {
            let (start_s, end_s) = (one.start.seconds(), (one.start + one.length).seconds());
            (end_s.min(to_s) - start_s.max(from_s)).max(0.0)
        };
        transmissions.iter().map(overlap).sum::<f64>()
    };
    Duration::from_seconds(begin.chain(end).map(inside).fold(0.0, f64::max))
}

/// The most time on air in any window of this length by something that lasts `length` and comes every `interval`.
///
/// Any stretch of whole periods holds the same; what is left over holds one more at most.
#[must_use]
pub fn periodic_on_air(window: Duration, length: Duration, interval: Duration) -> Duration {
    if interval <= length {
        return window;
    }
    let periods = (window / interval).floor();
    let rest_s = (window.seconds() - periods * interval.seconds()).max(0.0);
    Duration::from_seconds(periods * length.seconds() + length.seconds().min(rest_s))
}

/// The shortest interval at which something that lasts `length` stays within `budget` in any window; `None` if one alone
/// is too long.
#[must_use]
pub fn shortest_interval(window: Duration, length: Duration, budget: Duration) -> Option<Duration> {
    // Rounding must not turn an exact fit of n messages into n - 1.
    let fits = (budget / length * (1.0 + 1e-12)).floor();
    if fits < 1.0 {
        return None;
    }
    let rest_s = (budget.seconds() - fits * length.seconds()).max(0.0);
    Some(Duration::from_seconds((window.seconds() - rest_s) / fits))
}
