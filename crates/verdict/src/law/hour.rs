//! How long a node is on air in any stretch of time: any, so that it can't hide a burst across the turn of an hour.

use design::quantity::Duration;

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
