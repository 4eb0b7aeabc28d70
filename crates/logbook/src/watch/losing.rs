//! More of a node's messages are lost than was planned.

use serde_json::json;

use super::alarm::{Finding, evidence};
use super::contact::{Contact, RECENT};

/// Messages by which it is judged, and as many before them: both must be above the limit, so that one bad hour is none
/// (own choice).
const MESSAGES: usize = RECENT / 2;
/// Standard deviations above the plan at which it opens, and below which it closes.
const SIGMAS: (f64, f64) = (3.0, 1.0);
/// A plan without losses is taken to lose this much (own choice).
const LEAST_PLANNED: f64 = 0.01;

/// Of a node whose messages may be lost by this share.
pub(super) fn find(contact: &Contact, planned: f64) -> Finding {
    let recent = contact.recent();
    if recent.len() < RECENT {
        return Finding::Between;
    }
    let lost = |from: usize| {
        let lost = recent.iter().skip(from).take(MESSAGES).filter(|heard| !**heard).count();
        lost as f64 / MESSAGES as f64
    };
    let (before, newest) = (lost(0), lost(MESSAGES));
    if before.min(newest) > above(planned, SIGMAS.0, MESSAGES as f64) {
        let percent = |share: f64| json!((1000.0 * share).round() / 10.0);
        return Finding::Wrong(evidence([
            ("lost_percent", percent(newest)),
            ("planned_percent", percent(planned)),
            ("messages", json!(MESSAGES)),
        ]));
    }
    if newest < above(planned, SIGMAS.1, MESSAGES as f64) { Finding::Right } else { Finding::Between }
}

/// The share that so many messages may lose by chance, as to three standard deviations.
pub(super) fn limit(planned: f64, messages: u32) -> f64 {
    above(planned, SIGMAS.0, f64::from(messages.max(1)))
}

fn above(planned: f64, sigmas: f64, messages: f64) -> f64 {
    let planned = planned.clamp(LEAST_PLANNED, 1.0);
    planned + sigmas * (planned * (1.0 - planned) / messages).sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::*;

    /// Of each ten messages so many at the end are lost.
    fn lose(contact: &mut Contact, from: u32, messages: u32, lost: u32) {
        for fcnt in (from..from + messages).filter(|fcnt| fcnt % 10 < 10 - lost) {
            contact.hear(i64::from(fcnt) * 10 * MINUTE, Some(fcnt), None);
        }
    }

    /// By hand: planned 10 %, sigma = sqrt(0.1 x 0.9 / 50) = 4.24 %; opens above 22.7 %, closes below 14.2 %.
    #[test]
    fn three_sigmas_above_the_plan_twice_in_a_row_open_it_and_one_closes_it() {
        let mut contact = Contact::default();
        lose(&mut contact, 0, 201, 2);
        assert_eq!(find(&contact, 0.1), Finding::Between, "20 %");
        lose(&mut contact, 201, 50, 3);
        assert_eq!(find(&contact, 0.1), Finding::Between, "30 % in the newest fifty alone");
        lose(&mut contact, 251, 50, 3);
        let Finding::Wrong(evidence) = find(&contact, 0.1) else { panic!("30 % of a hundred") };
        assert_eq!((&evidence["lost_percent"], &evidence["planned_percent"]), (&json!(30.0), &json!(10.0)));
        lose(&mut contact, 301, 50, 1);
        assert_eq!(find(&contact, 0.1), Finding::Right, "10 % of the newest fifty");
    }

    #[test]
    fn a_node_that_is_hardly_known_is_not_judged() {
        let mut contact = Contact::default();
        lose(&mut contact, 0, 90, 9);
        assert_eq!(find(&contact, 0.1), Finding::Between);
    }
}
