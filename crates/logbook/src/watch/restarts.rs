//! A node begins anew again and again.

use std::collections::VecDeque;

use serde_json::json;

use super::DAY;
use super::alarm::{Finding, evidence};
use super::event::Uplink;
use crate::received::Moment;

/// So many in a day are too many.
const TOO_MANY: usize = 3;

/// The starts of a day.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Restarts {
    newest: VecDeque<Moment>,
    /// It has joined, and has not been heard since.
    joined: bool,
    is_known: bool,
}

impl Restarts {
    /// It asks to join; the very first time is no restart.
    pub(super) fn join(&mut self, at: Moment) {
        if self.is_known {
            self.count(at);
        }
        (self.joined, self.is_known) = (true, true);
    }

    /// A join and the flag of the message after it are one start; the very first is none.
    pub(super) fn hear(&mut self, at: Moment, uplink: &Uplink, flag: Option<&str>) {
        let told = flag.is_some_and(|flag| uplink.number(flag) == Some(1.0));
        if told && !self.joined && self.is_known {
            self.count(at);
        }
        (self.joined, self.is_known) = (false, true);
    }

    fn count(&mut self, at: Moment) {
        self.newest.push_back(at);
        while self.newest.front().is_some_and(|first| at - *first > DAY) {
            self.newest.pop_front();
        }
    }

    /// Three in a day are too many, a day without ends it.
    pub(super) fn find(&self, now: Moment) -> Finding {
        let count = self.newest.iter().filter(|at| now - **at <= DAY).count();
        if count >= TOO_MANY {
            let unheard = json!(self.joined);
            return Finding::Wrong(evidence([
                ("restarts", json!(count)),
                ("within_h", json!(24)),
                ("only_joins", unheard),
            ]));
        }
        if count == 0 { Finding::Right } else { Finding::Between }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::super::HOUR;
    use super::*;

    fn hear(restarts: &mut Restarts, hour: Moment, flag: bool) {
        let values = BTreeMap::from([("restarted".to_owned(), json!(flag))]);
        let uplink = Uplink { values, ..Uplink::default() };
        restarts.hear(hour * HOUR, &uplink, Some("restarted"));
    }

    #[test]
    fn three_in_a_day_are_too_many_and_a_day_without_ends_it() {
        let mut restarts = Restarts::default();
        for (hour, flag) in [(0, true), (1, true), (2, false), (3, true)] {
            hear(&mut restarts, hour, flag);
        }
        assert_eq!(restarts.find(3 * HOUR), Finding::Between, "the first start is none");
        hear(&mut restarts, 20, true);
        let Finding::Wrong(evidence) = restarts.find(20 * HOUR) else { panic!("at 1, 3 and 20 h") };
        assert_eq!((&evidence["restarts"], &evidence["only_joins"]), (&json!(3), &json!(false)));
        assert_eq!(restarts.find(26 * HOUR), Finding::Between, "1 h has gone out of the day");
        assert_eq!(restarts.find(44 * HOUR), Finding::Between);
        assert_eq!(restarts.find(44 * HOUR + 1), Finding::Right);
    }

    #[test]
    fn a_join_with_its_flag_is_one_start() {
        let mut restarts = Restarts::default();
        restarts.join(0);
        hear(&mut restarts, 0, true);
        for hour in 1..=2 {
            restarts.join(hour * HOUR);
            hear(&mut restarts, hour, true);
        }
        assert_eq!(restarts.find(2 * HOUR), Finding::Between, "two, not four, and the first is none");
    }

    #[test]
    fn a_node_that_only_joins_starts_each_time() {
        let mut restarts = Restarts::default();
        (0..=3).for_each(|hour| restarts.join(hour * HOUR));
        let Finding::Wrong(evidence) = restarts.find(3 * HOUR) else { panic!("three after the first") };
        assert_eq!(evidence["only_joins"], true);
    }
}
