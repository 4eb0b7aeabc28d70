//! What was learned of a node says that its battery will be empty soon, or that it will not keep what was promised and why.

use serde_json::{Value, json};

use super::DAY;
use super::alarm::{Finding, evidence};
use crate::received::Moment;

/// Empty within this is soon \[d\].
pub const SOON_D: f64 = 14.0;
/// It is soon when this share of the possible nodes is empty by then, and no longer when fewer than that are (own choice).
const SOON_SHARE: (f64, f64) = (0.5, 0.25);
/// A cause opens an alarm once it has been told on so many days running, and closes it once it was not on as many.
const DAYS: u32 = 3;
/// A battery that holds so much of its label is not worn any more (own choice).
const HOLDS_WELL: f64 = 0.8;
/// What was learned is of no use any more after so long \[us\] (own choice).
const STALE: Moment = 3 * DAY;

/// What was learned of a node by the end of a day.
#[derive(Clone, Debug, PartialEq)]
pub struct Foretold {
    /// When that day ended.
    pub at: Moment,
    /// Days until half of the possible nodes are empty, and until one in twenty is.
    pub days_left: (f64, f64),
    /// Share of them that is empty within [`SOON_D`].
    pub soon: f64,
    /// What explains it, as a sentence with what to bring; none if nothing differs from the design.
    pub cause: Option<String>,
    /// Days running on which a cause was told of a node that will not keep what was promised, and on which none was.
    pub told_days: u32,
    /// The same without.
    pub clear_days: u32,
    /// What its battery holds of its label, the middle.
    pub holds: f64,
    /// Days running on which its battery was told to be worn.
    pub worn_days: u32,
}

impl Foretold {
    fn is_fresh(&self, now: Moment) -> bool {
        now - self.at < STALE
    }

    /// Whether the battery will be empty soon; none if that was learned too long ago.
    pub(super) fn find_empty(&self, now: Moment) -> Option<Finding> {
        if !self.is_fresh(now) {
            return None;
        }
        let (opens, closes) = SOON_SHARE;
        let (half, first) = self.days_left;
        Some(if self.soon >= opens {
            Finding::Wrong(evidence([
                ("days_left", json!(half.round())),
                ("soonest_d", json!(first.round())),
                ("empty_in_14_d_percent", json!((100.0 * self.soon).round())),
                ("cause", self.cause.as_ref().map_or(Value::Null, |cause| json!(cause))),
            ]))
        } else if self.soon < closes {
            Finding::Right
        } else {
            Finding::Between
        })
    }

    /// Whether it will not keep what was promised, for a reason that is known.
    pub(super) fn find_below(&self, now: Moment) -> Finding {
        match &self.cause {
            Some(cause) if self.is_fresh(now) && self.told_days >= DAYS => Finding::Wrong(evidence([
                ("told_d", json!(self.told_days)),
                ("days_left", json!(self.days_left.0.round())),
                ("cause", json!(cause)),
            ])),
            _ if self.clear_days >= DAYS => Finding::Right,
            _ => Finding::Between,
        }
    }

    /// Whether its battery holds far less than its label says.
    pub(super) fn find_worn(&self, now: Moment) -> Finding {
        if self.is_fresh(now) && self.worn_days >= DAYS {
            return Finding::Wrong(evidence([
                ("holds_percent", json!((100.0 * self.holds).round())),
                ("told_d", json!(self.worn_days)),
            ]));
        }
        if self.worn_days == 0 && self.holds >= HOLDS_WELL { Finding::Right } else { Finding::Between }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn foretold() -> Foretold {
        Foretold {
            at: 0,
            days_left: (9.0, 5.0),
            soon: 0.9,
            cause: Some("the panel gives nothing".to_owned()),
            told_days: 3,
            clear_days: 0,
            holds: 0.6,
            worn_days: 3,
        }
    }

    #[test]
    fn empty_within_a_fortnight_in_half_of_the_possible_nodes_is_soon() {
        let Some(Finding::Wrong(evidence)) = foretold().find_empty(DAY) else { panic!("9 days") };
        assert_eq!((&evidence["days_left"], &evidence["empty_in_14_d_percent"]), (&json!(9.0), &json!(90.0)));
        let of = |soon: f64| Foretold { soon, ..foretold() }.find_empty(DAY);
        assert_eq!(of(0.4), Some(Finding::Between));
        assert_eq!(of(0.2), Some(Finding::Right));
        assert_eq!(foretold().find_empty(4 * DAY), None, "learned too long ago");
    }

    #[test]
    fn a_cause_is_told_after_three_days_and_forgotten_after_three() {
        assert!(matches!(foretold().find_below(DAY), Finding::Wrong(_)));
        let new = Foretold { told_days: 2, ..foretold() };
        assert_eq!(new.find_below(DAY), Finding::Between);
        let gone = |clear_days: u32| Foretold { cause: None, told_days: 0, clear_days, ..foretold() };
        assert_eq!(gone(2).find_below(DAY), Finding::Between);
        assert_eq!(gone(3).find_below(DAY), Finding::Right);
    }

    #[test]
    fn a_worn_battery_is_told_after_three_days_and_forgotten_once_it_holds_well() {
        let Finding::Wrong(evidence) = foretold().find_worn(DAY) else { panic!("three days") };
        assert_eq!(evidence["holds_percent"], 60.0);
        let of = |holds: f64, worn_days: u32| Foretold { holds, worn_days, ..foretold() }.find_worn(DAY);
        assert_eq!((of(0.6, 2), of(0.7, 0)), (Finding::Between, Finding::Between));
        assert_eq!(of(0.9, 0), Finding::Right);
    }
}
