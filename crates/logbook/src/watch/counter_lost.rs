//! A node has lost its counter: what it sends is refused until it joins again.
//!
//! # References
//! LoRaWAN Link Layer Specification TS001-1.0.4, clause 4.3.1.5: a counter that is not above the last is refused.

use serde_json::json;

use super::DAY;
use super::alarm::{Finding, evidence};
use crate::received::Moment;

/// So many old counters within a day, and none that is new between them.
const OLD_COUNTERS: u32 = 3;

/// Frames that were refused for their counter.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Counters {
    old: u32,
    first_old: Option<Moment>,
    lost: Option<bool>,
}

impl Counters {
    /// A counter lies too far below: a recording, or the node's memory.
    pub(super) fn old(&mut self, at: Moment) {
        if self.first_old.is_none_or(|first| at - first > DAY) {
            (self.old, self.first_old) = (0, Some(at));
        }
        self.old += 1;
        if self.old >= OLD_COUNTERS {
            self.lost.get_or_insert(false);
        }
    }

    /// A counter was used with other bytes.
    pub(super) fn used(&mut self) {
        self.lost = Some(true);
    }

    /// Its counter goes on: what was old were recordings. One that was used with other bytes stays lost until it joins.
    pub(super) fn goes_on(&mut self) {
        (self.old, self.first_old) = (0, None);
        self.lost = self.lost.filter(|used| *used);
    }

    /// A new session.
    pub(super) fn join(&mut self) {
        *self = Self::default();
    }

    /// Whether it is lost.
    pub(super) fn find(&self) -> Finding {
        match self.lost {
            Some(used) => {
                Finding::Wrong(evidence([("used_again", json!(used)), ("old_counters", json!(self.old))]))
            }
            None => Finding::Right,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::HOUR;
    use super::*;

    #[test]
    fn three_old_counters_without_a_new_one_are_a_lost_memory() {
        let mut counters = Counters::default();
        counters.old(0);
        counters.old(HOUR);
        counters.goes_on();
        counters.old(2 * HOUR);
        counters.old(3 * HOUR);
        assert_eq!(counters.find(), Finding::Right, "recordings between genuine frames");
        counters.old(4 * HOUR);
        assert!(matches!(counters.find(), Finding::Wrong(_)));
        counters.goes_on();
        assert_eq!(counters.find(), Finding::Right);
    }

    #[test]
    fn old_counters_of_different_days_are_not_added_up() {
        let mut counters = Counters::default();
        for day in 0..10 {
            counters.old(day * (DAY + HOUR));
        }
        assert_eq!(counters.find(), Finding::Right);
    }

    #[test]
    fn a_counter_with_other_bytes_is_enough_and_a_new_session_alone_ends_it() {
        let mut counters = Counters::default();
        counters.used();
        counters.goes_on();
        assert!(matches!(counters.find(), Finding::Wrong(_)));
        counters.join();
        assert_eq!(counters.find(), Finding::Right);
    }
}
