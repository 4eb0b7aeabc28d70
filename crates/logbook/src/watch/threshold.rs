//! A reading beyond a limit that the site file sets, and a rule that can't see.

use serde_json::json;

use super::alarm::{Finding, evidence};
use super::seconds;
use crate::received::Moment;

/// A value is near the limit within so many times the distance from the limit to where the alarm closes (own choice).
const NEAR: f64 = 3.0;

/// A rule of the site file.
#[derive(Clone, Debug, PartialEq)]
pub struct Threshold {
    /// Its name there.
    pub name: String,
    /// Column of the field.
    pub field: String,
    /// Names of the nodes for which it holds; all that have the field if there are none.
    pub nodes: Vec<String>,
    /// It is wrong below the limit; else above.
    pub is_below: bool,
    /// The limit, in the field's unit.
    pub limit: f64,
    /// Where it is over, on the good side of the limit.
    pub again_at: f64,
    /// The field's unit.
    pub unit: String,
    /// How long it must be beyond the limit.
    pub lasting: Moment,
    /// Months in which it holds, January first; none: all.
    pub months: Option<[bool; 12]>,
    /// Without a reading for so long it can't see.
    pub unseen_for: Option<Moment>,
}

/// What was read last, and since when it is beyond the limit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Seen {
    value: f64,
    at: Option<Moment>,
    beyond_since: Option<Moment>,
}

impl Threshold {
    /// Whether a value lies beyond one that is given, on the bad side.
    fn is_beyond(&self, value: f64, of: f64) -> bool {
        if self.is_below { value < of } else { value > of }
    }

    fn holds_in(&self, month: usize) -> bool {
        self.months.is_none_or(|months| months.get(month).copied().unwrap_or(true))
    }

    fn is_near(&self, value: f64) -> bool {
        self.is_beyond(value, self.limit + NEAR * (self.again_at - self.limit))
    }
}

impl Seen {
    /// A reading; one that comes late says nothing of now.
    pub(super) fn read(&mut self, at: Moment, value: f64, of: &Threshold) {
        if self.at.is_some_and(|last| at < last) {
            return;
        }
        (self.value, self.at) = (value, Some(at));
        if of.is_beyond(value, of.limit) {
            self.beyond_since.get_or_insert(at);
        } else {
            self.beyond_since = None;
        }
    }

    /// Beyond the limit for long enough; over once the value is good again, or the season is.
    pub(super) fn find(&self, now: Moment, month: usize, of: &Threshold) -> Finding {
        if self.at.is_none() {
            return Finding::Between;
        }
        if !of.holds_in(month) {
            return Finding::Right;
        }
        if self.beyond_since.is_some_and(|since| now - since >= of.lasting) {
            return Finding::Wrong(evidence([
                ("value", json!(self.value)),
                ("limit", json!(of.limit)),
                ("unit", json!(of.unit)),
                ("is_below", json!(of.is_below)),
                ("lasting_s", json!(seconds(of.lasting))),
            ]));
        }
        if of.is_beyond(self.value, of.again_at) { Finding::Between } else { Finding::Right }
    }

    /// Whether it can't see although it must: in its months, or while the last value was near the limit.
    pub(super) fn find_unseen(&self, now: Moment, month: usize, of: &Threshold) -> Finding {
        let (Some(unseen_for), Some(at)) = (of.unseen_for, self.at) else { return Finding::Between };
        let must = of.holds_in(month) && (of.months.is_some() || of.is_near(self.value));
        if must && now - at > unseen_for {
            return Finding::Wrong(evidence([
                ("unseen_s", json!(seconds(now - at))),
                ("value", json!(self.value)),
                ("limit", json!(of.limit)),
                ("unit", json!(of.unit)),
            ]));
        }
        Finding::Right
    }
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::*;

    fn frost() -> Threshold {
        Threshold {
            name: "frost".to_owned(),
            field: "leaf".to_owned(),
            nodes: Vec::new(),
            is_below: true,
            limit: 1.0,
            again_at: 2.0,
            unit: "Cel".to_owned(),
            lasting: 10 * MINUTE,
            months: None,
            unseen_for: Some(15 * MINUTE),
        }
    }

    fn read(of: &Threshold, values: &[(Moment, f64)]) -> Seen {
        let mut seen = Seen::default();
        for (minute, value) in values {
            seen.read(minute * MINUTE, *value, of);
        }
        seen
    }

    fn is_wrong(finding: &Finding) -> bool {
        matches!(finding, Finding::Wrong(_))
    }

    const APRIL: usize = 3;

    #[test]
    fn it_opens_after_the_time_beyond_the_limit_and_closes_where_it_is_good_again() {
        let of = frost();
        let seen = read(&of, &[(0, 1.0), (1, 0.9)]);
        assert_eq!(seen.find(11 * MINUTE - 1, APRIL, &of), Finding::Between, "not yet ten minutes");
        assert!(is_wrong(&seen.find(11 * MINUTE, APRIL, &of)));
        let rises = |value| read(&of, &[(1, 0.9), (20, value)]).find(20 * MINUTE, APRIL, &of);
        assert_eq!((rises(1.9), rises(2.0)), (Finding::Between, Finding::Right));
        assert_eq!(
            read(&of, &[(1, 0.9), (8, 1.0), (9, 0.9)]).find(12 * MINUTE, APRIL, &of),
            Finding::Between
        );
    }

    #[test]
    fn above_is_the_other_side() {
        let of = Threshold { is_below: false, limit: 8.0, again_at: 7.0, lasting: 0, ..frost() };
        let find = |value| read(&of, &[(0, value)]).find(0, APRIL, &of);
        assert!(is_wrong(&find(8.1)));
        assert_eq!((find(8.0), find(7.0)), (Finding::Between, Finding::Right));
    }

    #[test]
    fn outside_its_months_nothing_is_wrong() {
        let mut months = [false; 12];
        months[APRIL] = true;
        let of = Threshold { months: Some(months), lasting: 0, ..frost() };
        let seen = read(&of, &[(0, -5.0)]);
        assert!(is_wrong(&seen.find(0, APRIL, &of)) && is_wrong(&seen.find_unseen(16 * MINUTE, APRIL, &of)));
        assert_eq!(seen.find(0, APRIL + 1, &of), Finding::Right);
        assert_eq!(seen.find_unseen(16 * MINUTE, APRIL + 1, &of), Finding::Right);
    }

    #[test]
    fn a_rule_that_cannot_see_near_its_limit_says_so_and_far_from_it_does_not() {
        let of = frost();
        // Near is within three times 1 K of the limit: below 4 °C.
        let unseen = |value, minute| read(&of, &[(0, value)]).find_unseen(minute * MINUTE, APRIL, &of);
        assert_eq!(unseen(3.9, 15), Finding::Right);
        assert!(is_wrong(&unseen(3.9, 16)));
        assert_eq!(unseen(4.1, 600), Finding::Right);
        assert_eq!(Seen::default().find_unseen(600 * MINUTE, APRIL, &of), Finding::Between, "never seen");
    }

    #[test]
    fn what_comes_late_says_nothing_of_now() {
        let of = Threshold { lasting: 0, ..frost() };
        assert_eq!(read(&of, &[(10, 5.0), (5, -3.0)]).find(10 * MINUTE, APRIL, &of), Finding::Right);
    }
}
