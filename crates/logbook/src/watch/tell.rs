//! Who is told of what, and when: pure.
//!
//! A message waits in the log's queue until it was taken: tried again with growing gaps for a day, with the same number each
//! time. What nobody needs to know any more is left out.

use super::alarm::{Alarm, Change, Rule, Urgency};
use super::{DAY, HOUR, MINUTE};
use crate::received::Moment;
use crate::zone::Zone;

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
    /// Days of the week on which it is told, Monday first; none: all.
    pub days: Option<[bool; 7]>,
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

    /// What is to be done now with a message about an alarm as it stands, at a site with these clocks.
    ///
    /// On days that are not its own it waits: what somebody else has seen until then is left out.
    pub fn now(&self, alarm: &Alarm, is_seen: bool, zone: &Zone, now: Moment) -> Now {
        let on_duty = self.days.is_none_or(|days| zone.weekday(now).is_none_or(|day| days[day]));
        let seen_is_enough = self.if_unseen_for.is_some() || !on_duty;
        if alarm.closed_at.is_some() || alarm.cause.is_some() || is_seen && seen_is_enough {
            return Now::Drop;
        }
        if !on_duty {
            let tomorrow = zone.day(now).and_then(|day| zone.span(day)).map(|(_, end)| end);
            return Now::Wait(tomorrow.unwrap_or(now + DAY));
        }
        if self.act_now_always && urgency(alarm) == Urgency::ActNow {
            return Now::Send;
        }
        let minute = zone.minute(now);
        let until = self.quiet_hours.iter().filter(|hours| quiet_for(**hours, minute).is_some());
        until.filter_map(|hours| quiet_until(*hours, zone, now)).max().map_or(Now::Send, Now::Wait)
    }

    /// Whether a message about an alarm goes although it was told much in the last hour: that a rule can't see on which a life
    /// may hang.
    pub fn goes_always(alarm: &Alarm) -> bool {
        alarm.key.rule == Rule::CannotSee
    }
}

fn urgency(alarm: &Alarm) -> Urgency {
    alarm.key.rule.urgency()
}

/// Minutes until these hours end by a clock that is not set meanwhile, if it is in them; they may go over midnight.
fn quiet_for((from, to): (u16, u16), minute: u16) -> Option<u16> {
    let length = (to + 1440 - from) % 1440;
    let passed = (minute + 1440 - from) % 1440;
    (passed < length).then(|| length - passed)
}

/// When these hours end, also in a night in which clocks are set.
fn quiet_until(hours: (u16, u16), zone: &Zone, now: Moment) -> Option<Moment> {
    let left = quiet_for(hours, zone.minute(now))?;
    let end = now + Moment::from(left) * MINUTE;
    let off = (i64::from(zone.minute(end)) - i64::from(hours.1) + 720).rem_euclid(1440) - 720;
    let set = end - off * MINUTE;
    // An hour that is left out ends nothing.
    Some(if set > now { set } else { end })
}

/// The month, such as `2026-12`, of which a way is to be told now that all runs: once a month, from nine in the morning of its first
/// day on; `told` is the last of which it was.
pub fn month_to_tell(told: &str, zone: &Zone, now: Moment) -> Option<String> {
    let (month, day) = month_of(zone, now)?;
    (month != told && (day > 1 || zone.minute(now) >= 9 * 60)).then_some(month)
}

/// A month as it is noted, and the day of it.
pub fn month_of(zone: &Zone, now: Moment) -> Option<(String, i8)> {
    let (year, month, day) = zone.day(now)?;
    Some((format!("{year:04}-{month:02}"), day))
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
            days: None,
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
        let at = |way: &Way, alarm: &Alarm, minute: i64| match way.now(
            alarm,
            false,
            &Zone::UTC,
            minute * MINUTE,
        ) {
            Now::Wait(until) => Now::Wait(until - minute * MINUTE),
            other => other,
        };
        assert_eq!(at(&way, &silent, 23 * 60 + 30), Now::Wait(390 * MINUTE));
        assert_eq!(at(&way, &silent, 5 * 60 + 59), Now::Wait(MINUTE));
        assert_eq!((at(&way, &silent, 6 * 60), at(&way, &silent, 21 * 60 + 59)), (Now::Send, Now::Send));
        assert_eq!(at(&way, &alarm(Rule::GatewayAway), 0), Now::Send);
        let asleep = Way { act_now_always: false, ..way.clone() };
        assert_eq!(at(&asleep, &alarm(Rule::GatewayAway), 0), Now::Wait(360 * MINUTE));
    }

    /// 2026-03-29 and 2026-10-25 in Dublin: clocks go from 01:00 to 02:00, and from 02:00 to 01:00 (directive 2000/84/EC). 22:30 the
    /// evening before is 22:30 UTC in March (7.5 h by the wall, 6.5 h in truth) and 21:30 UTC in October (8.5 h in truth).
    #[test]
    fn quiet_hours_end_by_the_wall_in_the_nights_in_which_clocks_are_set() {
        let dublin = Zone::named("Europe/Dublin").expect("the database has it");
        let (way, silent) = (way(), alarm(Rule::Silent));
        let march = (20_540 * 24 * 60 + 22 * 60 + 30) * MINUTE;
        let october = (20_750 * 24 * 60 + 21 * 60 + 30) * MINUTE;
        for (evening, minutes) in [(march, 390), (october, 510)] {
            let Now::Wait(until) = way.now(&silent, false, &dublin, evening) else { panic!("it is quiet") };
            assert_eq!((until - evening) / MINUTE, minutes);
            assert_eq!(dublin.minute(until), 360, "06:00 on the wall");
            assert_eq!(way.now(&silent, false, &dublin, until), Now::Send);
            assert_ne!(way.now(&silent, false, &dublin, until - 1), Now::Send);
            assert_eq!(way.now(&alarm(Rule::CannotSee), false, &dublin, evening), Now::Send);
        }
        // Hours that end within the hour that is left out end with it, and those that end in the doubled one with its second half.
        let early = Way { quiet_hours: vec![(22 * 60, 90)], ..way };
        let Now::Wait(until) = early.now(&silent, false, &dublin, march + 149 * MINUTE) else {
            panic!("00:59")
        };
        assert!(until > march + 149 * MINUTE && until <= march + 180 * MINUTE);
    }

    /// 1970-01-01 was a Thursday; its midnight ends 24 h later.
    #[test]
    fn who_is_not_on_duty_is_told_on_the_next_own_day_unless_somebody_has_seen_it() {
        let weekend = Way {
            days: Some([false, false, false, false, false, true, true]),
            quiet_hours: Vec::new(),
            ..way()
        };
        let silent = alarm(Rule::Silent);
        assert_eq!(weekend.now(&silent, false, &Zone::UTC, HOUR), Now::Wait(DAY));
        assert_eq!(weekend.now(&silent, true, &Zone::UTC, HOUR), Now::Drop);
        assert_eq!(weekend.now(&silent, false, &Zone::UTC, 2 * DAY), Now::Send, "Saturday");
        assert_eq!(
            weekend.now(&alarm(Rule::Threshold), false, &Zone::UTC, 4 * DAY - 1),
            Now::Send,
            "Sunday night"
        );
        assert_eq!(weekend.now(&alarm(Rule::Threshold), false, &Zone::UTC, 4 * DAY), Now::Wait(5 * DAY));
    }

    #[test]
    fn once_a_month_from_nine_on_its_first_day() {
        let at = |told: &str, day: i64, hour: i64| month_to_tell(told, &Zone::UTC, day * DAY + hour * HOUR);
        assert_eq!(at("1970-01", 30, 23), None);
        assert_eq!(at("1970-01", 31, 8), None);
        assert_eq!(at("1970-01", 31, 9).as_deref(), Some("1970-02"));
        assert_eq!(at("1970-01", 33, 0).as_deref(), Some("1970-02"), "the computer was off on the first");
        assert_eq!(at("1970-02", 33, 0), None);
    }

    #[test]
    fn what_is_over_explained_or_seen_is_not_told() {
        let (way, silent) = (way(), alarm(Rule::Silent));
        let now = |way: &Way, alarm: &Alarm, is_seen| way.now(alarm, is_seen, &Zone::UTC, 12 * HOUR);
        assert_eq!(now(&way, &Alarm { closed_at: Some(1), ..silent.clone() }, false), Now::Drop);
        assert_eq!(now(&way, &Alarm { cause: Some(7), ..silent.clone() }, false), Now::Drop);
        assert_eq!(now(&way, &silent, true), Now::Send, "the first in line is told anyway");
        let second = Way { if_unseen_for: Some(1), ..way };
        assert_eq!(now(&second, &silent, true), Now::Drop);
        assert_eq!(now(&second, &silent, false), Now::Send);
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
