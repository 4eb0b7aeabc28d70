//! A node says nothing for longer than its losses explain.
//!
//! # References
//! Own arithmetic; see [`missed_before_alarm`](super::contact::missed_before_alarm).

use serde_json::json;

use super::alarm::{Finding, evidence};
use super::contact::Contact;
use super::plan::NodePlan;
use super::seconds;
use crate::received::Moment;

/// So many uplinks without too long a silence between them end it.
const UPLINKS_TO_CLOSE: u32 = 2;

/// The longest silence that is usual.
pub(super) fn limit(contact: &Contact, plan: &NodePlan, now: Moment, volts: Option<f64>) -> Option<Moment> {
    let interval = contact.interval(plan, now, volts)?;
    Some(Moment::from(contact.patience(interval)) * interval + interval / 2)
}

/// Of a node that was heard before.
pub(super) fn find(contact: &Contact, plan: &NodePlan, now: Moment, volts: Option<f64>) -> Finding {
    let (Some(silence), Some(interval)) = (contact.silence(now), contact.interval(plan, now, volts)) else {
        return Finding::Between;
    };
    let limit = limit(contact, plan, now, volts).unwrap_or(Moment::MAX);
    if silence > limit {
        return Finding::Wrong(evidence([
            ("silent_s", json!(seconds(silence))),
            ("interval_s", json!(seconds(interval))),
            ("usual_s", json!(seconds(limit))),
            ("lost_percent", json!((1000.0 * contact.loss()).round() / 10.0)),
        ]));
    }
    // As long as it can't be heard, nothing is known.
    let can_be_heard = contact.held == 0;
    if contact.in_a_row >= UPLINKS_TO_CLOSE && can_be_heard { Finding::Right } else { Finding::Between }
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::super::plan::tests::every_ten_minutes;
    use super::*;

    /// Heard every 10 min for four weeks without a loss: a run of losses begins with one message in 4,002 at most, 13.1 times a
    /// year of 52,560, and goes on with 0.4: 2 + ln(13.1 / 0.05) / -ln 0.4 = 8.1, so k = 9 and 95 min of silence are usual. By hand.
    fn heard() -> (Contact, Moment) {
        let (mut contact, plan) = (Contact::default(), every_ten_minutes());
        let mut at = 0;
        for fcnt in 0..4000 {
            at = Moment::from(fcnt) * 10 * MINUTE;
            contact.hear(at, Some(fcnt), limit(&contact.clone(), &plan, at, None));
        }
        (contact, at)
    }

    #[test]
    fn a_node_is_silent_after_nine_and_a_half_intervals_and_not_before() {
        let ((contact, last), plan) = (heard(), every_ten_minutes());
        let find = |minutes| find(&contact, &plan, last + minutes * MINUTE, None);
        assert_eq!(find(95), Finding::Right);
        let Finding::Wrong(evidence) = find(96) else { panic!("96 min are too long") };
        assert_eq!(evidence["silent_s"], 96 * 60);
        assert_eq!((&evidence["interval_s"], &evidence["usual_s"]), (&json!(600), &json!(5700)));
    }

    #[test]
    fn one_uplink_after_a_silence_is_not_enough() {
        let ((mut contact, last), plan) = (heard(), every_ten_minutes());
        let mut at = last + 120 * MINUTE;
        let limit = limit(&contact, &plan, at, None);
        contact.hear(at, Some(4011), limit);
        assert_eq!(find(&contact, &plan, at, None), Finding::Between);
        at += 10 * MINUTE;
        contact.hear(at, Some(4012), limit);
        assert_eq!(find(&contact, &plan, at, None), Finding::Right);
    }

    #[test]
    fn silence_that_nobody_could_hear_does_not_count() {
        let ((mut contact, last), plan) = (heard(), every_ten_minutes());
        contact.held = 600 * MINUTE;
        assert_eq!(find(&contact, &plan, last + 694 * MINUTE, None), Finding::Between);
        assert!(matches!(find(&contact, &plan, last + 696 * MINUTE, None), Finding::Wrong(_)));
    }

    #[test]
    fn a_node_that_was_never_heard_is_not_silent() {
        assert_eq!(find(&Contact::default(), &every_ten_minutes(), 1 << 40, None), Finding::Between);
    }
}
