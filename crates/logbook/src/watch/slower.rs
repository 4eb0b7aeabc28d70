//! A node sends at a slower data rate than was planned, day after day.

use serde_json::json;

use super::DAY;
use super::alarm::{Finding, evidence};
use crate::received::Moment;

/// So long without one message at the planned rate or faster.
const FOR: Moment = 3 * DAY;

/// Spreading factors of what was heard.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Rates {
    /// Since when none was as fast as planned.
    slow_since: Option<Moment>,
    newest: u8,
}

impl Rates {
    /// An uplink at this spreading factor; planned is at most the other.
    pub(super) fn hear(&mut self, at: Moment, spreading_factor: u8, planned: u8) {
        self.newest = spreading_factor;
        if spreading_factor <= planned {
            self.slow_since = None;
        } else {
            self.slow_since.get_or_insert(at);
        }
    }

    /// Three days are too long; one message that is fast enough ends it.
    pub(super) fn find(&self, now: Moment, planned: u8) -> Finding {
        match self.slow_since {
            None => Finding::Right,
            Some(since) if now - since >= FOR => Finding::Wrong(evidence([
                ("spreading_factor", json!(self.newest)),
                ("planned_spreading_factor", json!(planned)),
                ("since_h", json!((now - since) / super::HOUR)),
            ])),
            Some(_) => Finding::Between,
        }
    }
}

/// The spreading factor of a rate such as `SF7BW125`.
pub(super) fn spreading_factor(data_rate: &str) -> Option<u8> {
    data_rate.strip_prefix("SF")?.split_once("BW")?.0.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_days_at_a_slower_rate_are_too_long_and_one_fast_message_ends_it() {
        let mut rates = Rates::default();
        rates.hear(0, 9, 9);
        rates.hear(DAY, 12, 9);
        rates.hear(3 * DAY, 10, 9);
        assert_eq!(rates.find(4 * DAY - 1, 9), Finding::Between);
        assert!(matches!(rates.find(4 * DAY, 9), Finding::Wrong(_)));
        rates.hear(4 * DAY, 9, 9);
        assert_eq!(rates.find(4 * DAY, 9), Finding::Right);
    }

    #[test]
    fn the_spreading_factor_stands_in_the_name_of_a_rate() {
        assert_eq!((spreading_factor("SF12BW125"), spreading_factor("50000")), (Some(12), None));
    }
}
