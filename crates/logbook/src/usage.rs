//! What something that moves was used for: how long it was in each area, how long it has stood, and where it was seen last.

use std::collections::BTreeMap;

use crate::received::Moment;
use crate::watch::{Area, Fix, has_moved};

const HOUR: Moment = 3_600_000_000;
/// Between two fixes farther apart in time nobody knows where it was, unless both are of one place (own choice).
const LONGEST_GAP: Moment = 12 * HOUR;

/// What something that moves was used for in a time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Usage {
    /// Time in each area, by its name; it may lie in several at once.
    pub by_area: BTreeMap<String, Moment>,
    /// Time outside all of them.
    pub elsewhere: Moment,
    /// Time of which nobody knows.
    pub unknown: Moment,
    /// When it was seen first where it still was when it was seen last.
    pub still_since: Option<Moment>,
    /// The last fix.
    pub last: Option<Fix>,
}

impl Usage {
    /// By fixes in the order of time, between two moments.
    pub fn of(fixes: &[Fix], areas: &[&Area], (from, to): (Moment, Moment)) -> Self {
        let mut usage = Self { last: fixes.last().copied(), ..Self::default() };
        for area in areas {
            usage.by_area.insert(area.name.clone(), 0);
        }
        let mut still: Option<Fix> = None;
        for fix in fixes {
            if still.is_none_or(|since| has_moved(&since, fix)) {
                still = Some(*fix);
            }
        }
        usage.still_since = still.map(|fix| fix.at);
        for pair in fixes.windows(2) {
            let [one, other] = pair else { continue };
            let gap = other.at.min(to) - one.at.max(from);
            if gap <= 0 {
                continue;
            }
            if gap > LONGEST_GAP && has_moved(one, other) {
                usage.unknown += gap;
            } else {
                usage.add(one, gap / 2, areas);
                usage.add(other, gap - gap / 2, areas);
            }
        }
        let ends = (
            fixes.first().map_or(to, |fix| fix.at.clamp(from, to)),
            fixes.last().map_or(to, |fix| fix.at.clamp(from, to)),
        );
        usage.unknown += (ends.0 - from).max(0) + (to - ends.1).max(0);
        usage
    }

    fn add(&mut self, fix: &Fix, time: Moment, areas: &[&Area]) {
        let mut is_inside = false;
        for area in areas.iter().filter(|area| area.outside_m(fix.place) <= fix.accuracy_m) {
            *self.by_area.entry(area.name.clone()).or_default() += time;
            is_inside = true;
        }
        if !is_inside {
            self.elsewhere += time;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::Ground;

    /// Hour, and metres north of the middle of the yard; a degree is 111,195 m on the sphere of GRS 80's mean radius.
    fn fixes(told: &[(Moment, f64)]) -> Vec<Fix> {
        let fix = |(hour, north): &(Moment, f64)| Fix {
            at: hour * HOUR,
            place: (47.0 + north / 111_195.0, 13.0),
            accuracy_m: 10.0,
        };
        told.iter().map(fix).collect()
    }

    fn yard() -> Area {
        let ground = Ground::Circle { middle: (47.0, 13.0), radius_m: 200.0 };
        Area { name: "yard".to_owned(), nodes: Vec::new(), ground }
    }

    /// By hand: 4 h in the yard, an hour on the way of which half counts for each side, 2 h in the field, then seen no more.
    #[test]
    fn hours_by_area_elsewhere_and_unknown_make_up_the_time() {
        let told = fixes(&[(0, 0.0), (2, 5.0), (4, 0.0), (5, 3000.0), (7, 3005.0)]);
        let usage = Usage::of(&told, &[&yard()], (0, 24 * HOUR));
        assert_eq!(usage.by_area["yard"], 4 * HOUR + HOUR / 2);
        assert_eq!((usage.elsewhere, usage.unknown), (2 * HOUR + HOUR / 2, 17 * HOUR));
        assert_eq!(usage.still_since, Some(5 * HOUR));
        assert_eq!(usage.last.map(|fix| fix.at), Some(7 * HOUR));
    }

    /// Two days without a fix: at one place it stood there; at two nobody knows.
    #[test]
    fn a_long_gap_counts_only_where_it_stood() {
        let stood = Usage::of(&fixes(&[(0, 0.0), (48, 15.0)]), &[&yard()], (0, 48 * HOUR));
        assert_eq!((stood.by_area["yard"], stood.unknown), (48 * HOUR, 0));
        assert_eq!(stood.still_since, Some(0));
        let went = Usage::of(&fixes(&[(0, 0.0), (48, 3000.0)]), &[&yard()], (0, 48 * HOUR));
        assert_eq!((went.by_area["yard"], went.elsewhere, went.unknown), (0, 0, 48 * HOUR));
    }

    #[test]
    fn what_was_never_seen_is_unknown_all_the_time() {
        let usage = Usage::of(&[], &[&yard()], (0, 24 * HOUR));
        assert_eq!((usage.unknown, usage.still_since, usage.last), (24 * HOUR, None, None));
    }
}
