//! The computer that keeps the log, and what it is connected with.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::json;

use super::alarm::{Finding, Rule, evidence};
use super::event::Host;
use super::{DAY, HOUR, MINUTE, seconds};
use crate::received::Moment;

/// Shares of the disk that are free: below the first it is nearly full, from the second on it is well again.
const DISK_FREE: (f64, f64) = (0.05, 0.07);
/// That the clock was set stands for so long, and that arrivals were dropped.
const STANDS: (Moment, Moment) = (DAY, HOUR);
/// A way of telling may fail for so long, and a source be away.
const MAY_FAIL: (Moment, Moment) = (HOUR, 5 * MINUTE);
/// A copy is made at least so often.
const COPIES: Moment = 30 * DAY;

/// What was told of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Known {
    now: Host,
    set: Option<(Moment, Moment)>,
    dropped: Option<(Moment, u64)>,
    failing_since: BTreeMap<(Rule, String), Moment>,
}

impl Known {
    /// How it is now.
    pub(super) fn hear(&mut self, host: &Host, now: Moment) {
        if let Some(by) = host.clock_set_by {
            self.set = Some((now, by));
        }
        let more = host.dropped.saturating_sub(self.now.dropped);
        if more > 0 {
            let before = self.dropped.filter(|(at, _)| now - at < STANDS.1).map_or(0, |(_, count)| count);
            self.dropped = Some((now, before + more));
        }
        self.fails(Rule::TellFailed, &host.tells_failing, now);
        self.fails(Rule::SourceAway, &host.sources_away, now);
        self.now = host.clone();
    }

    /// What fails now; what did before stays known, so that it can be said to be right again.
    fn fails(&mut self, rule: Rule, failing: &BTreeSet<String>, now: Moment) {
        self.failing_since.retain(|(of, name), _| *of != rule || failing.contains(name));
        for name in failing {
            self.failing_since.entry((rule, name.clone())).or_insert(now);
        }
    }

    /// What is found, by rule and by whom it is about; of what is not named all is right.
    pub(super) fn find(&self, now: Moment) -> Vec<(Rule, String, Finding)> {
        let whole = |rule, finding| (rule, String::new(), finding);
        let mut found = vec![
            whole(Rule::Store, self.disk()),
            whole(Rule::Clock, self.clock(now)),
            whole(Rule::Dropped, self.drops(now)),
            whole(Rule::BackupOld, self.copies(now)),
        ];
        found.extend(self.failing_since.iter().map(|((rule, name), since)| {
            let may = if *rule == Rule::TellFailed { MAY_FAIL.0 } else { MAY_FAIL.1 };
            let failing = evidence([("failing_s", json!(seconds(now - since)))]);
            let is_long = now - since >= may;
            (*rule, name.clone(), if is_long { Finding::Wrong(failing) } else { Finding::Between })
        }));
        found
    }

    fn disk(&self) -> Finding {
        match self.now.disk_free {
            Some(free) if free < DISK_FREE.0 => {
                Finding::Wrong(evidence([("free_percent", json!((1000.0 * free).round() / 10.0))]))
            }
            Some(free) if free >= DISK_FREE.1 => Finding::Right,
            _ => Finding::Between,
        }
    }

    fn clock(&self, now: Moment) -> Finding {
        match self.set {
            Some((at, by)) if now - at < STANDS.0 => {
                Finding::Wrong(evidence([("set_by_s", json!((by as f64 / 1e5).round() / 10.0))]))
            }
            _ => Finding::Right,
        }
    }

    fn drops(&self, now: Moment) -> Finding {
        match self.dropped {
            Some((at, count)) if now - at < STANDS.1 => Finding::Wrong(evidence([("dropped", json!(count))])),
            _ => Finding::Right,
        }
    }

    fn copies(&self, now: Moment) -> Finding {
        match self.now.copied_at {
            Some(at) if now - at > COPIES => Finding::Wrong(evidence([
                ("old_days", json!((now - at) / DAY)),
                ("was_copied", json!(self.now.was_copied)),
            ])),
            Some(_) => Finding::Right,
            None => Finding::Between,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(known: &Known, rule: Rule, now: Moment) -> Finding {
        let found = known.find(now).into_iter().find(|(of, ..)| *of == rule);
        found.map_or(Finding::Right, |(_, _, finding)| finding)
    }

    fn is_wrong(finding: &Finding) -> bool {
        matches!(finding, Finding::Wrong(_))
    }

    #[test]
    fn a_disk_is_nearly_full_below_a_twentieth_and_well_from_seven_hundredths_on() {
        let free = |share| {
            let mut known = Known::default();
            known.hear(&Host { disk_free: share, ..Host::default() }, 0);
            found(&known, Rule::Store, 0)
        };
        assert!(is_wrong(&free(Some(0.049))));
        assert_eq!((free(Some(0.05)), free(Some(0.07))), (Finding::Between, Finding::Right));
        assert_eq!(free(None), Finding::Between, "nobody can tell");
    }

    #[test]
    fn a_clock_that_was_set_is_said_for_a_day() {
        let mut known = Known::default();
        known.hear(&Host { clock_set_by: Some(-7_200_000_000), ..Host::default() }, HOUR);
        known.hear(&Host::default(), HOUR + MINUTE);
        let Finding::Wrong(evidence) = found(&known, Rule::Clock, 24 * HOUR) else { panic!("23 h later") };
        assert_eq!(evidence["set_by_s"], json!(-7200.0));
        assert_eq!(found(&known, Rule::Clock, 25 * HOUR), Finding::Right);
        assert_eq!(found(&Known::default(), Rule::Clock, 0), Finding::Right);
    }

    #[test]
    fn drops_are_counted_until_an_hour_has_passed_without_one() {
        let mut known = Known::default();
        let dropped = |known: &mut Known, count, at| {
            known.hear(&Host { dropped: count, ..Host::default() }, at);
            found(known, Rule::Dropped, at)
        };
        assert_eq!(dropped(&mut known, 0, 0), Finding::Right);
        assert!(is_wrong(&dropped(&mut known, 3, MINUTE)));
        let Finding::Wrong(evidence) = dropped(&mut known, 10, 2 * MINUTE) else { panic!("more") };
        assert_eq!(evidence["dropped"], json!(10));
        assert_eq!(dropped(&mut known, 10, 62 * MINUTE), Finding::Right);
    }

    #[test]
    fn what_is_told_or_connected_may_fail_for_its_time() {
        let mut known = Known::default();
        let failing = Host {
            tells_failing: ["desk".to_owned()].into(),
            sources_away: ["fields".to_owned()].into(),
            ..Host::default()
        };
        known.hear(&failing, 0);
        known.hear(&failing, 4 * MINUTE);
        assert_eq!(found(&known, Rule::SourceAway, 5 * MINUTE - 1), Finding::Between);
        assert!(is_wrong(&found(&known, Rule::SourceAway, 5 * MINUTE)));
        assert_eq!(found(&known, Rule::TellFailed, HOUR - 1), Finding::Between);
        assert!(is_wrong(&found(&known, Rule::TellFailed, HOUR)));
        // Well for a moment: it begins anew.
        known.hear(&Host::default(), HOUR);
        known.hear(&failing, HOUR + MINUTE);
        assert_eq!(found(&known, Rule::TellFailed, HOUR + 2 * MINUTE), Finding::Between);
    }

    #[test]
    fn a_copy_is_missed_after_thirty_days() {
        let copied = |at: Option<Moment>, now| {
            let mut known = Known::default();
            known.hear(&Host { copied_at: at, ..Host::default() }, now);
            found(&known, Rule::BackupOld, now)
        };
        assert_eq!(copied(Some(0), 30 * DAY), Finding::Right);
        assert!(is_wrong(&copied(Some(0), 30 * DAY + 1)));
        assert_eq!(copied(None, 90 * DAY), Finding::Between, "the log is empty");
    }
}
