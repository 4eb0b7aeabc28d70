//! A reading beyond a limit that the site file sets, and a rule that can't see.

use std::collections::VecDeque;

use serde_json::json;

use super::alarm::{Evidence, Finding, evidence};
use super::seconds;
use crate::received::Moment;

/// A value is near the limit within so many times the distance from the limit to where the alarm closes (own choice).
const NEAR: f64 = 3.0;
/// Readings of a rule that looks back; a node that sends more of them in its time is judged by the newest.
const MOST_KEPT: usize = 2000;

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
    /// The limit, in the field's unit; of a rise how much is too much.
    pub limit: f64,
    /// Where it is over, on the good side of the limit.
    pub again_at: f64,
    /// The field's unit.
    pub unit: String,
    /// How long it must be beyond the limit.
    pub lasting: Moment,
    /// What is held against the limit.
    pub over: Over,
    /// Months in which it holds, January first; none: all.
    pub months: Option<[bool; 12]>,
    /// Hours of the day in which it holds, from and to in minutes of the day; none: all.
    pub hours: Vec<(u16, u16)>,
    /// Without a reading for so long it can't see.
    pub unseen_for: Option<Moment>,
}

/// What a rule of the site file holds against its limit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Over {
    /// Each reading, for `lasting` without a break.
    #[default]
    Each,
    /// The time beyond the limit, all of it that lies in such a span.
    TimeIn(Moment),
    /// How far the newest reading lies above the least of such a span.
    RiseIn(Moment),
}

impl Over {
    const fn looks_back(self) -> Option<Moment> {
        match self {
            Self::Each => None,
            Self::TimeIn(span) | Self::RiseIn(span) => Some(span),
        }
    }
}

/// A moment as clocks at the site show it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Wall {
    /// From 0.
    pub(super) month: usize,
    pub(super) minute_of_day: u16,
}

/// What was read last, and since when it is beyond the limit.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Seen {
    value: f64,
    at: Option<Moment>,
    beyond_since: Option<Moment>,
    /// Of a rule that looks back.
    kept: VecDeque<(Moment, f64)>,
}

impl Threshold {
    /// Whether a value lies beyond one that is given, on the bad side.
    fn is_beyond(&self, value: f64, of: f64) -> bool {
        if self.is_below { value < of } else { value > of }
    }

    fn holds_at(&self, wall: Wall) -> bool {
        let in_hours =
            |(from, to): &(u16, u16)| (wall.minute_of_day + 1440 - from) % 1440 < (to + 1440 - from) % 1440;
        self.months.is_none_or(|months| months.get(wall.month).copied().unwrap_or(true))
            && (self.hours.is_empty() || self.hours.iter().any(in_hours))
    }

    fn has_season(&self) -> bool {
        self.months.is_some() || !self.hours.is_empty()
    }

    fn is_near(&self, value: f64) -> bool {
        // How near a value is to a rise nobody knows.
        matches!(self.over, Over::RiseIn(_))
            || self.is_beyond(value, self.limit + NEAR * (self.again_at - self.limit))
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
        if let Some(span) = of.over.looks_back() {
            self.kept.push_back((at, value));
            // The one before the span tells how the span began.
            while self.kept.len() > MOST_KEPT || self.kept.get(1).is_some_and(|(then, _)| *then <= at - span)
            {
                self.kept.pop_front();
            }
        }
    }

    /// Beyond the limit for long enough; over once the value is good again, or the season is.
    pub(super) fn find(&self, now: Moment, wall: Wall, of: &Threshold) -> Finding {
        if self.at.is_none() {
            return Finding::Between;
        }
        if !of.holds_at(wall) {
            return Finding::Right;
        }
        match of.over {
            Over::Each => self.find_each(now, of),
            Over::TimeIn(span) => self.find_time(now, span, of),
            Over::RiseIn(span) => self.find_rise(now, span, of),
        }
    }

    fn find_each(&self, now: Moment, of: &Threshold) -> Finding {
        if self.beyond_since.is_some_and(|since| now - since >= of.lasting) {
            return Finding::Wrong(self.evidence(of, [("lasting_s", json!(seconds(of.lasting)))]));
        }
        self.over(of)
    }

    /// Time between two readings counts if both are beyond; a gap as long as all that is allowed says nothing.
    fn find_time(&self, now: Moment, span: Moment, of: &Threshold) -> Finding {
        let begun = now - span;
        let pairs = self.kept.iter().zip(self.kept.iter().skip(1));
        let beyond: Moment = pairs
            .filter(|((_, one), (_, next))| of.is_beyond(*one, of.limit) && of.is_beyond(*next, of.limit))
            .filter(|((at, _), (next, _))| next - at < of.lasting)
            .map(|((at, _), (next, _))| (next - (*at).max(begun)).max(0))
            .sum();
        if beyond >= of.lasting {
            return Finding::Wrong(
                self.evidence(of, [("beyond_s", json!(seconds(beyond))), ("within_s", json!(seconds(span)))]),
            );
        }
        self.over(of)
    }

    fn find_rise(&self, now: Moment, span: Moment, of: &Threshold) -> Finding {
        let within = self.kept.iter().filter(|(at, _)| *at >= now - span).map(|(_, value)| *value);
        let Some(least) = within.reduce(f64::min) else { return Finding::Between };
        let rise = self.value - least;
        if rise > of.limit {
            return Finding::Wrong(self.evidence(
                of,
                [("rise", json!((1e6 * rise).round() / 1e6)), ("within_s", json!(seconds(span)))],
            ));
        }
        if rise > of.again_at { Finding::Between } else { Finding::Right }
    }

    fn over(&self, of: &Threshold) -> Finding {
        if of.is_beyond(self.value, of.again_at) { Finding::Between } else { Finding::Right }
    }

    fn evidence<const N: usize>(&self, of: &Threshold, more: [(&str, serde_json::Value); N]) -> Evidence {
        let mut all = evidence([
            ("value", json!(self.value)),
            ("limit", json!(of.limit)),
            ("unit", json!(of.unit)),
            ("is_below", json!(of.is_below)),
        ]);
        all.extend(evidence(more));
        all
    }

    /// Whether it can't see although it must: in its season, or while the last value was near the limit.
    pub(super) fn find_unseen(&self, now: Moment, wall: Wall, of: &Threshold) -> Finding {
        let (Some(unseen_for), Some(at)) = (of.unseen_for, self.at) else { return Finding::Between };
        let must = of.holds_at(wall) && (of.has_season() || of.is_near(self.value));
        if must && now - at > unseen_for {
            return Finding::Wrong(self.evidence(of, [("unseen_s", json!(seconds(now - at)))]));
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
            over: Over::Each,
            months: None,
            hours: Vec::new(),
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

    const APRIL: Wall = Wall { month: 3, minute_of_day: 0 };
    const MAY: Wall = Wall { month: 4, minute_of_day: 0 };

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
        months[APRIL.month] = true;
        let of = Threshold { months: Some(months), lasting: 0, ..frost() };
        let seen = read(&of, &[(0, -5.0)]);
        assert!(is_wrong(&seen.find(0, APRIL, &of)) && is_wrong(&seen.find_unseen(16 * MINUTE, APRIL, &of)));
        assert_eq!(seen.find(0, MAY, &of), Finding::Right);
        assert_eq!(seen.find_unseen(16 * MINUTE, MAY, &of), Finding::Right);
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

    /// By hand: at 0, 60, .. min; above 8 from 60 to 240 (3 h), good from 300 on, above again from 360 to 420 (1 h): 4 h in all,
    /// and no stretch of them is 4 h long. 24 h after the first of them an hour is gone again.
    #[test]
    fn four_hours_above_a_limit_within_a_day_need_no_stretch_of_four_hours() {
        let of = Threshold {
            is_below: false,
            limit: 8.0,
            again_at: 7.0,
            lasting: 240 * MINUTE,
            over: Over::TimeIn(24 * 60 * MINUTE),
            ..frost()
        };
        let mut values =
            vec![(0, 5.0), (60, 9.0), (120, 9.0), (180, 9.0), (240, 9.0), (300, 6.0), (360, 9.0)];
        let seen = read(&of, &values);
        assert_eq!(seen.find(360 * MINUTE, APRIL, &of), Finding::Between, "3 h");
        values.push((420, 9.0));
        let Finding::Wrong(evidence) = read(&of, &values).find(420 * MINUTE, APRIL, &of) else {
            panic!("4 h")
        };
        assert_eq!(evidence["beyond_s"], json!(14_400));
        values.push((480, 6.0));
        let seen = read(&of, &values);
        assert!(
            is_wrong(&seen.find(480 * MINUTE, APRIL, &of)),
            "cool again, and the goods have had their 4 h"
        );
        assert_eq!(
            seen.find((24 * 60 + 61) * MINUTE, APRIL, &of),
            Finding::Right,
            "a day later less than 4 h"
        );
        // A gap of the time that is allowed says nothing of what was in it.
        assert_eq!(read(&of, &[(0, 9.0), (240, 9.0)]).find(240 * MINUTE, APRIL, &of), Finding::Between);
    }

    /// By hand: 1.00, 1.10, 1.31 m at 0, 30, 60 min: 0.31 m above the least of the hour. An hour on it stands at 1.35: 0.04 above.
    #[test]
    fn a_rise_is_from_the_least_of_its_span_and_ends_where_it_slows() {
        let of = Threshold {
            is_below: false,
            limit: 0.3,
            again_at: 0.05,
            lasting: 0,
            over: Over::RiseIn(60 * MINUTE),
            unit: "m".to_owned(),
            ..frost()
        };
        let mut values = vec![(0, 1.0), (30, 1.1)];
        assert_eq!(read(&of, &values).find(30 * MINUTE, APRIL, &of), Finding::Between, "0.1 m");
        values.push((60, 1.31));
        let Finding::Wrong(evidence) = read(&of, &values).find(60 * MINUTE, APRIL, &of) else {
            panic!("0.31 m")
        };
        assert_eq!(evidence["rise"], json!(0.31));
        values.extend([(90, 1.33), (120, 1.35)]);
        assert_eq!(read(&of, &values).find(121 * MINUTE, APRIL, &of), Finding::Right);
        // As much in two hours is no flood.
        assert!(!is_wrong(&read(&of, &[(0, 1.0), (60, 1.2), (120, 1.4)]).find(120 * MINUTE, APRIL, &of)));
    }

    #[test]
    fn a_rule_with_hours_holds_in_them_alone_also_over_midnight() {
        let of = Threshold { hours: vec![(22 * 60, 6 * 60)], lasting: 0, ..frost() };
        let seen = read(&of, &[(0, -1.0)]);
        let at = |minute_of_day| seen.find(0, Wall { minute_of_day, ..APRIL }, &of);
        assert!(is_wrong(&at(22 * 60)) && is_wrong(&at(0)) && is_wrong(&at(6 * 60 - 1)));
        assert_eq!((at(6 * 60), at(22 * 60 - 1)), (Finding::Right, Finding::Right));
        // In its hours it must see, however mild it was.
        let mild = read(&of, &[(0, 20.0)]);
        assert!(is_wrong(&mild.find_unseen(16 * MINUTE, APRIL, &of)));
        assert_eq!(mild.find_unseen(16 * MINUTE, Wall { minute_of_day: 720, ..APRIL }, &of), Finding::Right);
    }
}
