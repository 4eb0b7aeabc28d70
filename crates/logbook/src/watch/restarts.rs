//! A node begins anew again and again.

use std::collections::VecDeque;

use serde_json::json;

use super::DAY;
use super::alarm::{Finding, evidence};
use super::event::Uplink;
use crate::received::Moment;

/// So many in a day are too many.
const TOO_MANY: usize = 3;

/// The restarts of a day.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Restarts {
    newest: VecDeque<Moment>,
    joined: bool,
}

impl Restarts {
    /// It asks to join: whether it has begun anew shows with its next uplink, as a node that hears no answer asks again.
    pub(super) fn join(&mut self) {
        self.joined = true;
    }

    /// A join and the flag of the message after it are one restart; the very first is none.
    pub(super) fn hear(&mut self, at: Moment, uplink: &Uplink, flag: Option<&str>, is_first: bool) {
        let told = flag.is_some_and(|flag| uplink.number(flag) == Some(1.0));
        if (std::mem::take(&mut self.joined) || told) && !is_first {
            self.newest.push_back(at);
        }
        while self.newest.front().is_some_and(|first| at - *first > DAY) {
            self.newest.pop_front();
        }
    }

    /// Three in a day are too many, a day without ends it.
    pub(super) fn find(&self, now: Moment) -> Finding {
        let count = self.newest.iter().filter(|at| now - **at <= DAY).count();
        if count >= TOO_MANY {
            return Finding::Wrong(evidence([("restarts", json!(count)), ("within_h", json!(24))]));
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
        restarts.hear(hour * HOUR, &uplink, Some("restarted"), hour == 0);
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
        assert_eq!(evidence["restarts"], 3);
        assert_eq!(restarts.find(26 * HOUR), Finding::Between, "1 h has gone out of the day");
        assert_eq!(restarts.find(44 * HOUR), Finding::Between);
        assert_eq!(restarts.find(44 * HOUR + 1), Finding::Right);
    }

    #[test]
    fn a_join_with_its_flag_is_one_restart_and_joins_without_answer_are_none() {
        let mut restarts = Restarts::default();
        hear(&mut restarts, 0, false);
        for hour in 1..=5 {
            restarts.join();
            restarts.join();
            assert_eq!(restarts.find(hour * HOUR), Finding::Right);
        }
        hear(&mut restarts, 6, true);
        assert_eq!(restarts.newest.len(), 1);
    }
}
