//! A gateway lives, and no frame comes through it.

use serde_json::json;

use super::alarm::{Finding, evidence};
use super::gateway::Gateway;
use super::{MINUTE, Setup, seconds};
use crate::received::Moment;

/// So many of its usual gaps are too long.
const USUAL_GAPS: Moment = 6;
/// And not less than this: a busy gateway is missed after minutes, not seconds (own choice).
const SHORTEST: Moment = 10 * MINUTE;

/// Nodes that it alone hears, and how many of them have missed as much as they may.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Overdue {
    pub(super) nodes: usize,
    pub(super) overdue: usize,
}

impl Overdue {
    /// Two, and more than half of them: no accident of single nodes.
    const fn points_at_the_gateway(self) -> bool {
        self.overdue >= 2 && 2 * self.overdue > self.nodes
    }
}

/// Of a gateway with signs of life, or of which none are known.
pub(super) fn find(gateway: &Gateway, setup: &Setup, overdue: Overdue, now: Moment) -> Finding {
    if gateway.asked.is_some_and(|asked| now - asked > setup.gateway_patience) {
        return Finding::Between;
    }
    let Some(heard) = gateway.heard else { return Finding::Between };
    // What could not come while the gateway was away is no silence of the air.
    let quiet = now - gateway.asking_since.map_or(heard, |since| heard.max(since));
    let longest = gateway.usual_gap().map(|gap| (USUAL_GAPS * gap).max(SHORTEST));
    if longest.is_some_and(|longest| quiet > longest) || overdue.points_at_the_gateway() {
        let usual = gateway.usual_gap().map(seconds);
        return Finding::Wrong(evidence([
            ("quiet_s", json!(seconds(quiet))),
            ("usual_gap_s", json!(usual)),
            ("nodes", json!(overdue.nodes)),
            ("overdue", json!(overdue.overdue)),
        ]));
    }
    let has_come = gateway.asking_since.is_none_or(|since| heard >= since);
    if has_come && quiet <= gateway.usual_gap().unwrap_or(SHORTEST) {
        Finding::Right
    } else {
        Finding::Between
    }
}

/// Whether it is so quiet that the silence of a single node says little yet.
pub(super) fn is_in_doubt(gateway: &Gateway, now: Moment) -> bool {
    gateway.heard.zip(gateway.usual_gap()).is_some_and(|(heard, gap)| now - heard > 2 * gap)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard_every(minutes: Moment) -> (Gateway, Moment) {
        let (mut gateway, mut at) = (Gateway::default(), 0);
        for _ in 0..40 {
            at += minutes * MINUTE;
            gateway.hear(at);
        }
        (gateway, at)
    }

    fn wrong(finding: &Finding) -> bool {
        matches!(finding, Finding::Wrong(_))
    }

    #[test]
    fn six_usual_gaps_without_a_frame_are_too_long_and_one_frame_ends_it() {
        let ((mut gateway, last), setup) = (heard_every(10), Setup::default());
        gateway.ask(0, MINUTE);
        let at = |gateway: &mut Gateway, now: Moment| {
            gateway.asked = Some(now);
            find(gateway, &setup, Overdue::default(), now)
        };
        assert_eq!(at(&mut gateway, last + 10 * MINUTE), Finding::Right);
        assert_eq!(at(&mut gateway, last + 60 * MINUTE), Finding::Between);
        assert!(wrong(&at(&mut gateway, last + 60 * MINUTE + 1)));
        gateway.hear(last + 70 * MINUTE);
        assert_eq!(at(&mut gateway, last + 71 * MINUTE), Finding::Right);
    }

    #[test]
    fn a_busy_gateway_is_given_ten_minutes() {
        let ((gateway, last), setup) = (heard_every(1), Setup::default());
        let find = |now| find(&gateway, &setup, Overdue::default(), now);
        assert_eq!(find(last + 10 * MINUTE), Finding::Between);
        assert!(wrong(&find(last + 10 * MINUTE + 1)));
    }

    #[test]
    fn two_nodes_and_more_than_half_point_at_the_gateway() {
        let ((gateway, last), setup) = (heard_every(10), Setup::default());
        let find = |nodes, overdue| find(&gateway, &setup, Overdue { nodes, overdue }, last + MINUTE);
        assert!(!wrong(&find(1, 1)), "a single node is silent by itself");
        assert!(!wrong(&find(4, 2)));
        assert!(wrong(&find(3, 2)));
    }

    #[test]
    fn a_gateway_that_is_away_is_not_blamed_for_hearing_nothing() {
        let ((mut gateway, last), setup) = (heard_every(10), Setup::default());
        gateway.ask(last, MINUTE);
        assert_eq!(find(&gateway, &setup, Overdue::default(), last + 100 * MINUTE), Finding::Between);
        // It has just come back.
        gateway.ask(last + 100 * MINUTE, MINUTE);
        assert_eq!(find(&gateway, &setup, Overdue::default(), last + 101 * MINUTE), Finding::Between);
    }
}
