//! The next calibration of a node is due.

use serde_json::json;

use super::DAY;
use super::alarm::{Finding, evidence};
use crate::received::Moment;

/// It is told so long before: somebody must find an hour and a laboratory (own choice).
const BEFORE: Moment = 30 * DAY;

/// By the day on which it is due.
pub(super) fn find(due: Moment, now: Moment) -> Finding {
    if due - now > BEFORE {
        return Finding::Right;
    }
    Finding::Wrong(evidence([
        ("due_s", json!(due.div_euclid(1_000_000))),
        ("in_d", json!((due - now).div_euclid(DAY))),
    ]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_told_a_month_before_and_until_a_visit_says_a_later_day() {
        let due = 400 * DAY;
        assert_eq!(find(due, 369 * DAY), Finding::Right);
        let Finding::Wrong(soon) = find(due, 370 * DAY) else { panic!("30 days") };
        assert_eq!((&soon["due_s"], &soon["in_d"]), (&json!(400 * 86_400), &json!(30)));
        let Finding::Wrong(over) = find(due, 410 * DAY) else { panic!("10 days late") };
        assert_eq!(over["in_d"], -10);
        assert_eq!(find(due + 365 * DAY, 410 * DAY), Finding::Right);
    }
}
