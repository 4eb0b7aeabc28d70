//! What a position fix costs, by the age of the ephemeris and by what fails.

use design::part::Receiver;
use design::quantity::Duration;
use design::surroundings::Sky;

/// Mean time the receiver is on for one try, averaged over success and failure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FixCost {
    /// In tries that end with a fix.
    pub fixing: Duration,
    /// In tries that are given up.
    pub searching_in_vain: Duration,
}

impl FixCost {
    /// The cost of one try when tries come every `interval` and a share `failures` of those under the open sky fail.
    ///
    /// The last fix lies `k` intervals back with probability `(1 - f) f^(k-1)`, so the ephemeris is still usable with
    /// probability `1 - f^n`, `n` being the whole intervals in its life. Half a sky doubles the failures (own
    /// estimate, no source); under a roof every try fails.
    #[must_use]
    pub fn new(
        receiver: &Receiver,
        interval: Duration,
        give_up_after: Duration,
        failures: f64,
        sky: Sky,
    ) -> Self {
        let failing = match sky {
            Sky::Open => failures,
            Sky::Half => (2.0 * failures).min(1.0),
            Sky::Roof => 1.0,
        };
        let whole_intervals = (receiver.ephemeris_life / interval).floor();
        let fresh = 1.0 - failing.powf(whole_intervals);
        let with_memory = receiver.hot * fresh + receiver.warm * (1.0 - fresh);
        let success = if receiver.backup.is_some() { with_memory } else { receiver.cold };
        Self { fixing: success * (1.0 - failing), searching_in_vain: give_up_after * failing }
    }
}
