//! Somebody sends in a node's name without its keys.

use std::collections::VecDeque;

use serde_json::json;

use super::alarm::{Finding, evidence};
use super::{DAY, HOUR};
use crate::received::Moment;

/// More than so many in an hour, and none that is genuine between them: a neighbour's node may have the same address.
const MOST: usize = 10;

/// Frames with the wrong integrity code since the last genuine one.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Forgeries {
    newest: VecDeque<Moment>,
    last: Option<Moment>,
}

impl Forgeries {
    /// A frame with its address and the wrong code.
    pub(super) fn wrong_code(&mut self, at: Moment) {
        self.newest.push_back(at);
        self.newest.retain(|wrong| at - *wrong <= HOUR);
        if self.newest.len() > MOST {
            self.last = Some(at);
        }
    }

    /// A genuine frame.
    pub(super) fn genuine(&mut self) {
        self.newest.clear();
    }

    /// More than ten in an hour are wrong; a day without so many ends it.
    pub(super) fn find(&self, now: Moment) -> Finding {
        if self.newest.len() > MOST {
            return Finding::Wrong(evidence([("frames", json!(self.newest.len())), ("within_h", json!(1))]));
        }
        let is_over = self.last.is_none_or(|last| now - last > DAY);
        if is_over { Finding::Right } else { Finding::Between }
    }
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::*;

    #[test]
    fn eleven_wrong_codes_in_an_hour_are_forged_and_a_genuine_frame_between_them_says_otherwise() {
        let mut forgeries = Forgeries::default();
        (0..10).for_each(|minute| forgeries.wrong_code(minute * MINUTE));
        assert_eq!(forgeries.find(9 * MINUTE), Finding::Right, "ten");
        forgeries.genuine();
        (10..20).for_each(|minute| forgeries.wrong_code(minute * MINUTE));
        assert_eq!(forgeries.find(19 * MINUTE), Finding::Right);
        forgeries.wrong_code(20 * MINUTE);
        let Finding::Wrong(evidence) = forgeries.find(20 * MINUTE) else { panic!("eleven") };
        assert_eq!(evidence["frames"], 11);
        forgeries.genuine();
        assert_eq!(forgeries.find(20 * MINUTE + DAY), Finding::Between);
        assert_eq!(forgeries.find(20 * MINUTE + DAY + 1), Finding::Right);
    }

    #[test]
    fn eleven_in_two_hours_are_none() {
        let mut forgeries = Forgeries::default();
        (0..22).for_each(|frame| forgeries.wrong_code(frame * 11 * MINUTE));
        assert_eq!(forgeries.find(22 * 11 * MINUTE), Finding::Right);
    }
}
