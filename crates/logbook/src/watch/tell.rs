//! Who is told of what, and when: pure.
//!
//! A message waits in the log's queue until it was taken: tried again with growing gaps for a day, with the same number each
//! time. What nobody needs to know any more is left out.

use super::alarm::{Alarm, Change, Rule, Urgency};
use super::{DAY, HOUR, MINUTE};
use crate::received::Moment;

/// Messages that a way is given in an hour; what comes beyond waits, and goes as one.
pub const MOST_AN_HOUR: usize = 6;
/// A cause may show a moment after what it explains: so long an alarm waits that is not for now.
const CAUSES_SHOW_WITHIN: Moment = 2 * MINUTE;
/// The first gap between two tries, and the longest.
const GAPS: (Moment, Moment) = (10 * 1_000_000, HOUR);
/// So long it is tried.
const TRIED_FOR: Moment = DAY;

/// Somebody who is told.
#[derive(Clone, Debug, PartialEq)]
pub struct Way {
    /// Its name in the site file.
    pub name: String,
    /// The least urgent that is told.
    pub at_least: Urgency,
    /// Rules that are told; all if there are none.
    pub rules: Vec<Rule>,
    /// From and to, in minutes of the day.
    pub quiet_hours: Vec<(u16, u16)>,
    /// Quiet hours do not hold back what is to be done at once.
    pub act_now_always: bool,
    /// Only what nobody has seen for so long.
    pub if_unseen_for: Option<Moment>,
}

/// A message that waits.
#[derive(Clone, Debug, PartialEq)]
pub struct Waiting {
    /// Its number, the same at every try.
    pub id: i64,
    /// The alarm that it tells of.
    pub alarm: i64,
    /// The way it goes.
    pub way: String,
    /// When it is tried next.
    pub due: Moment,
    /// How often it was tried.
    pub tries: u32,
    /// Since when.
    pub since: Moment,
}

/// What is to be done with a message that is due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Now {
    /// It is sent.
    Send,
    /// It waits until then.
    Wait(Moment),
    /// Nobody needs it any more: the alarm is over, seen, or explained by another.
    Drop,
}

impl Way {
    /// When a change is to be told this way at the earliest; none if it is not to be told.
    pub fn due(&self, change: &Change, now: Moment) -> Option<Moment> {
        let alarm = match change {
            Change::Opened(alarm) => alarm,
            // The old one goes on, and was told; what is to be done at once is said again.
            Change::Reopened(alarm) if urgency(alarm) == Urgency::ActNow => alarm,
            Change::Reopened(_) | Change::Explained(_) | Change::Closed(_) => return None,
        };
        let is_told = self.rules.is_empty() || self.rules.contains(&alarm.key.rule);
        if !is_told || urgency(alarm) < self.at_least {
            return None;
        }
        let waits = if urgency(alarm) == Urgency::ActNow { 0 } else { CAUSES_SHOW_WITHIN };
        Some(now + self.if_unseen_for.map_or(waits, |unseen| unseen.max(waits)))
    }

    /// What is to be done now with a message about an alarm as it stands, at a minute of the day.
    pub fn now(&self, alarm: &Alarm, is_seen: bool, minute_of_day: u16, now: Moment) -> Now {
        let is_seen = is_seen && self.if_unseen_for.is_some();
        if alarm.closed_at.is_some() || alarm.cause.is_some() || is_seen {
            return Now::Drop;
        }
        if self.act_now_always && urgency(alarm) == Urgency::ActNow {
            return Now::Send;
        }
        let left = self.quiet_hours.iter().filter_map(|hours| quiet_for(*hours, minute_of_day)).max();
        left.map_or(Now::Send, |minutes| Now::Wait(now + Moment::from(minutes) * MINUTE))
    }
}

fn urgency(alarm: &Alarm) -> Urgency {
    alarm.key.rule.urgency()
}

/// Minutes until these hours end, if it is in them; they may go over midnight.
fn quiet_for((from, to): (u16, u16), minute: u16) -> Option<u16> {
    let length = (to + 1440 - from) % 1440;
    let passed = (minute + 1440 - from) % 1440;
    (passed < length).then(|| length - passed)
}

impl Waiting {
    /// When it is tried again after a try that failed; none if it was tried for a day.
    pub fn again(&self, now: Moment) -> Option<Moment> {
        let doubled = 1_i64.checked_shl(self.tries.min(16)).unwrap_or(1);
        let next = now + (GAPS.0 * doubled).min(GAPS.1);
        (next - self.since <= TRIED_FOR).then_some(next)
    }
}

/// How many of so many messages that are due go now, of a way that was given so many in the last hour; the last place is kept
/// for one that says all that waits.
pub const fn room(given: usize) -> usize {
    MOST_AN_HOUR.saturating_sub(given)
}

#[cfg(test)]
mod tests {
    use wire::identity::DevEui;

    use super::super::alarm::Key;
    use super::*;

    fn alarm(rule: Rule) -> Alarm {
        let key = Key::of_node(rule, DevEui::from_display_bytes([2; 8]));
        Alarm { id: 1, key, opened_at: 0, closed_at: None, cause: None, evidence: serde_json::Map::new() }
    }

    fn way() -> Way {
        Way {
            name: "desk".to_owned(),
            at_least: Urgency::ThisWeek,
            rules: Vec::new(),
            quiet_hours: vec![(22 * 60, 6 * 60)],
            act_now_always: true,
            if_unseen_for: None,
        }
    }

    #[test]
    fn urgent_alarms_are_told_at_once_others_after_their_cause_may_have_shown() {
        let way = way();
        assert_eq!(way.due(&Change::Opened(alarm(Rule::GatewayAway)), 0), Some(0));
        assert_eq!(way.due(&Change::Opened(alarm(Rule::Silent)), 0), Some(2 * MINUTE));
        assert_eq!(way.due(&Change::Opened(alarm(Rule::Losing)), 0), None, "a note");
        assert_eq!(way.due(&Change::Reopened(alarm(Rule::Silent)), 0), None, "it was told");
        assert_eq!(way.due(&Change::Closed(alarm(Rule::Silent)), 0), None);
        let only = Way { rules: vec![Rule::Threshold], ..way.clone() };
        assert_eq!(only.due(&Change::Opened(alarm(Rule::GatewayAway)), 0), None);
        let second = Way { if_unseen_for: Some(20 * MINUTE), ..way };
        assert_eq!(second.due(&Change::Opened(alarm(Rule::GatewayAway)), 0), Some(20 * MINUTE));
    }

    /// 22:00 to 06:00: at 23:30 six hours and a half are left, at 05:59 one minute, at 06:00 none.
    #[test]
    fn quiet_hours_go_over_midnight_and_hold_back_what_can_wait() {
        let (way, silent) = (way(), alarm(Rule::Silent));
        let now = |minute| way.now(&silent, false, minute, 0);
        assert_eq!(now(23 * 60 + 30), Now::Wait(390 * MINUTE));
        assert_eq!(now(5 * 60 + 59), Now::Wait(MINUTE));
        assert_eq!((now(6 * 60), now(21 * 60 + 59)), (Now::Send, Now::Send));
        assert_eq!(way.now(&alarm(Rule::GatewayAway), false, 0, 0), Now::Send);
        let asleep = Way { act_now_always: false, ..way.clone() };
        assert_eq!(asleep.now(&alarm(Rule::GatewayAway), false, 0, 0), Now::Wait(360 * MINUTE));
    }

    #[test]
    fn what_is_over_explained_or_seen_is_not_told() {
        let (way, silent) = (way(), alarm(Rule::Silent));
        let noon = 12 * 60;
        assert_eq!(way.now(&Alarm { closed_at: Some(1), ..silent.clone() }, false, noon, 0), Now::Drop);
        assert_eq!(way.now(&Alarm { cause: Some(7), ..silent.clone() }, false, noon, 0), Now::Drop);
        assert_eq!(way.now(&silent, true, noon, 0), Now::Send, "the first in line is told anyway");
        let second = Way { if_unseen_for: Some(1), ..way };
        assert_eq!(second.now(&silent, true, noon, 0), Now::Drop);
        assert_eq!(second.now(&silent, false, noon, 0), Now::Send);
    }

    /// By hand: 10, 20, 40 s .. 2,560 s, then an hour each time, for a day.
    #[test]
    fn gaps_between_tries_double_up_to_an_hour_for_a_day() {
        let waiting = |tries| Waiting { id: 1, alarm: 1, way: "desk".to_owned(), due: 0, tries, since: 0 };
        let gap = |tries| waiting(tries).again(0).map(|at| at / 1_000_000);
        assert_eq!([0, 1, 8, 9, 60].map(gap), [10, 20, 2560, 3600, 3600].map(Some));
        assert_eq!(waiting(30).again(23 * HOUR), Some(24 * HOUR));
        assert_eq!(waiting(30).again(23 * HOUR + 1), None);
    }

    #[test]
    fn six_an_hour_and_no_more() {
        assert_eq!((room(0), room(6), room(9)), (6, 0, 0));
    }
}
