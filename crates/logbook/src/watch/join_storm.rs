//! A node asks to join so often that it has no time for anything else, and takes that of others.
//!
//! # References
//! LoRaWAN Link Layer Specification TS001-1.0.4, chapter 7: retransmissions back off; in the first hour after a start joins may
//! take 36 s of air in all, later less.

use std::collections::VecDeque;

use serde_json::json;

use super::HOUR;
use super::alarm::{Finding, evidence};
use crate::received::Moment;

/// More than so many genuine joins in an hour are too many.
const MOST: usize = 6;

/// The joins of an hour.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Joins {
    newest: VecDeque<Moment>,
    last_too_many: Option<Moment>,
}

impl Joins {
    /// It asks to join.
    pub(super) fn join(&mut self, at: Moment) {
        self.newest.push_back(at);
        self.newest.retain(|join| at - *join < HOUR);
        if self.newest.len() > MOST {
            self.last_too_many = Some(at);
        }
    }

    /// More than six in an hour are too many; an hour without so many ends it.
    pub(super) fn find(&self, now: Moment) -> Finding {
        let count = self.newest.iter().filter(|join| now - **join < HOUR).count();
        if count > MOST {
            return Finding::Wrong(evidence([("joins", json!(count)), ("within_h", json!(1))]));
        }
        let is_over = self.last_too_many.is_none_or(|last| now - last >= HOUR);
        if is_over { Finding::Right } else { Finding::Between }
    }
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::*;

    #[test]
    fn seven_joins_in_an_hour_are_too_many_and_six_are_not() {
        let mut joins = Joins::default();
        (0..6).for_each(|join| joins.join(join * 10 * MINUTE));
        assert_eq!(joins.find(50 * MINUTE), Finding::Right);
        joins.join(59 * MINUTE);
        assert!(matches!(joins.find(59 * MINUTE), Finding::Wrong(_)));
        assert_eq!(joins.find(60 * MINUTE), Finding::Between, "the first has gone out of the hour");
        assert_eq!(joins.find(119 * MINUTE - 1), Finding::Between);
        assert_eq!(joins.find(119 * MINUTE), Finding::Right);
    }
}
