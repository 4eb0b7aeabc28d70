//! Something that moves: it has left its area, its position can't be, or has not come for long.

use std::collections::BTreeMap;

use serde_json::json;

use super::alarm::{Finding, evidence};
use super::area::{Area, Place, metres_between};
use super::event::Uplink;
use super::plan::{NodePlan, Position};
use super::{DAY, seconds};
use crate::received::Moment;

/// A fix that does not say how sure it is lies within so many metres in 19 of 20 cases under the open sky (from memory).
pub const USUAL_ACCURACY_M: f64 = 10.0;
/// So many fixes outside are no error of one, and as many inside end it.
const FIXES: u32 = 2;
/// So many intervals without a fix while it moves are too many.
const INTERVALS: Moment = 3;
/// Nothing that is planned here goes faster \[m/s\]: 200 km/h.
const FASTEST_M_S: f64 = 200.0 / 3.6;
/// What moves and has not for so long may be of more use elsewhere (own choice).
const STILL_FOR: Moment = 14 * DAY;
/// Farther apart than both may err and this \[m\], two fixes are of two places: the length of a trailer and its tractor (own
/// choice).
const MOVED_BY_M: f64 = 20.0;
/// The moment of a fix is told in steps that may be as long as this \[s\].
const COARSE_S: f64 = 60.0;

/// Whether two fixes are of two places for sure.
pub(crate) fn has_moved(one: &Fix, other: &Fix) -> bool {
    metres_between(one.place, other.place) > one.accuracy_m + other.accuracy_m + MOVED_BY_M
}

/// Where a node was.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Places {
    last: Option<Fix>,
    /// One that was doubted: the next one may bear it out.
    doubted: Option<Fix>,
    heard_first: Option<Moment>,
    heard: Option<Moment>,
    is_moving: bool,
    /// The first fix where it still is.
    still: Option<Fix>,
    impossible: Option<(&'static str, f64)>,
    sound: u32,
    by_area: BTreeMap<String, Outside>,
}

/// A position and how sure it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fix {
    /// When it was taken.
    pub at: Moment,
    /// Degrees north and east.
    pub place: Place,
    /// It lies within so many metres of the truth.
    pub accuracy_m: f64,
}

#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Outside {
    fixes: u32,
    fixes_inside: u32,
    metres: f64,
    accuracy_m: f64,
}

impl Position {
    /// The fix of a message; none if its receiver found nothing or it is another message.
    pub fn fix(
        &self,
        at: Moment,
        message: Option<&str>,
        number: impl Fn(&str) -> Option<f64>,
    ) -> Option<Fix> {
        if message != Some(self.message.as_str()) {
            return None;
        }
        let place = (number(&self.latitude)?, number(&self.longitude)?);
        let said = self.accuracy.as_deref().and_then(&number);
        #[expect(
            clippy::cast_possible_truncation,
            reason = "seconds since 1970 of a field of at most 32 bits"
        )]
        let fixed_at = self.fixed_at.as_deref().and_then(&number).map(|seconds| (seconds * 1e6) as Moment);
        Some(Fix {
            // A clock that runs ahead says nothing of the future.
            at: fixed_at.map_or(at, |fixed_at| fixed_at.min(at)),
            place,
            accuracy_m: said.unwrap_or(USUAL_ACCURACY_M) + self.grid_m,
        })
    }
}

/// Whether nobody gets from one fix to the next; how fast it would be \[m/s\].
pub fn too_fast(from: &Fix, to: &Fix) -> Option<f64> {
    let metres = metres_between(from.place, to.place) - from.accuracy_m - to.accuracy_m;
    let speed = metres / ((to.at - from.at).abs() as f64 / 1e6).max(COARSE_S);
    (speed > FASTEST_M_S).then_some(speed)
}

/// Whether it is where receivers say that know nothing: in the sea off Africa.
pub fn is_nowhere(fix: &Fix) -> bool {
    metres_between((0.0, 0.0), fix.place) <= fix.accuracy_m
}

impl Places {
    /// A message of a node that is to stay in these areas.
    pub(super) fn hear(&mut self, at: Moment, uplink: &Uplink, plan: &NodePlan, areas: &[Area]) {
        let Some(position) = plan.position.as_ref() else { return };
        if uplink.message.as_deref() != Some(&position.message) {
            return;
        }
        self.heard_first.get_or_insert(at);
        self.heard = Some(at);
        let moving = position.moving.as_deref().and_then(|column| uplink.number(column));
        self.is_moving = moving.is_some_and(|moving| moving > 0.0);
        let fix = position.fix(at, uplink.message.as_deref(), |column| uplink.number(column));
        // An older fix that is told again is no new one.
        let Some(fix) = fix.filter(|fix| self.last.is_none_or(|last| fix.at > last.at)) else { return };
        if is_nowhere(&fix) {
            (self.impossible, self.sound) = (Some(("nowhere", 0.0)), 0);
            return;
        }
        if let Some(speed) = self.last.and_then(|last| too_fast(&last, &fix)) {
            let is_borne_out = self.doubted.is_some_and(|doubted| too_fast(&doubted, &fix).is_none());
            if !is_borne_out {
                (self.impossible, self.sound, self.doubted) = (Some(("too fast", speed)), 0, Some(fix));
                return;
            }
        }
        if self.still.is_none_or(|since| has_moved(&since, &fix)) {
            self.still = Some(fix);
        }
        (self.last, self.doubted, self.sound) = (Some(fix), None, self.sound.saturating_add(1));
        for area in areas.iter().filter(|area| area.nodes.contains(&plan.name)) {
            let outside = area.outside_m(fix.place);
            let known = self.by_area.entry(area.name.clone()).or_default();
            (known.metres, known.accuracy_m) = (outside, fix.accuracy_m);
            if outside > fix.accuracy_m {
                (known.fixes, known.fixes_inside) = (known.fixes.saturating_add(1), 0);
            } else if outside <= 0.0 {
                (known.fixes, known.fixes_inside) = (0, known.fixes_inside.saturating_add(1));
            }
        }
    }

    /// By the name of each area: two fixes outside by more than they may err are wrong, two inside end it.
    pub(super) fn find_left(&self) -> impl Iterator<Item = (String, Finding)> {
        self.by_area.iter().map(|(name, known)| {
            let finding = if known.fixes >= FIXES {
                Finding::Wrong(evidence([
                    ("outside_m", json!(known.metres.round())),
                    ("accuracy_m", json!(known.accuracy_m.round())),
                ]))
            } else if known.fixes_inside >= FIXES {
                Finding::Right
            } else {
                Finding::Between
            };
            (name.clone(), finding)
        })
    }

    /// While it moves a fix is to come within three intervals; under a roof or at rest none need come.
    pub(super) fn find_stale(&self, position: &Position) -> Finding {
        let (Some(heard), Some(every)) = (self.heard, position.every) else { return Finding::Between };
        let since = self.last.map(|fix| fix.at).or(self.heard_first);
        let age = since.map_or(0, |since| heard - since);
        if self.is_moving && age > INTERVALS * every {
            return Finding::Wrong(evidence([
                ("old_s", json!(seconds(age))),
                ("interval_s", json!(seconds(every))),
                ("never", json!(self.last.is_none())),
            ]));
        }
        Finding::Right
    }

    /// Something that is to move has stood for a fortnight, as far as it said where it is.
    pub(super) fn find_still(&self, position: &Position) -> Finding {
        let (Some(since), Some(last)) = (self.still, self.last) else { return Finding::Between };
        let still = last.at - since.at;
        if !position.moves || still < STILL_FOR {
            return if still == 0 { Finding::Right } else { Finding::Between };
        }
        Finding::Wrong(evidence([
            ("still_d", json!(still / DAY)),
            ("accuracy_m", json!(last.accuracy_m.round())),
        ]))
    }

    /// A position that can't be is wrong; two sound ones end it.
    pub(super) fn find_impossible(&self) -> Finding {
        match self.impossible {
            Some((why, speed)) if self.sound < FIXES => {
                if self.sound > 0 {
                    return Finding::Between;
                }
                Finding::Wrong(evidence([("why", json!(why)), ("km_h", json!((3.6 * speed).round()))]))
            }
            _ => Finding::Right,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::super::area::{Ground, METRES_PER_DEGREE};
    use super::super::plan::tests::every_ten_minutes;
    use super::*;

    fn plan() -> NodePlan {
        let column = |name: &str| Some(name.to_owned());
        let position = Position {
            message: "whereabouts".to_owned(),
            latitude: "place_latitude".to_owned(),
            longitude: "place_longitude".to_owned(),
            fixed_at: column("fixed"),
            accuracy: None,
            moving: column("moving"),
            grid_m: 2.0,
            every: Some(10 * MINUTE),
            moves: true,
        };
        NodePlan { name: "trailer".to_owned(), position: Some(position), ..every_ten_minutes() }
    }

    /// 200 m around 47 N 13 E.
    fn yard() -> [Area; 1] {
        let ground = Ground::Circle { middle: (47.0, 13.0), radius_m: 200.0 };
        [Area { name: "yard".to_owned(), nodes: vec!["trailer".to_owned()], ground }]
    }

    /// Minute, metres north of the middle of the yard where a fix was found, whether it moves.
    fn heard(told: &[(Moment, Option<f64>, bool)]) -> Places {
        let mut places = Places::default();
        for (minute, north, moving) in told {
            let at = minute * MINUTE;
            let mut values = BTreeMap::from([("moving".to_owned(), json!(moving))]);
            if let Some(north) = north {
                values.insert("place_latitude".to_owned(), json!(47.0 + north / METRES_PER_DEGREE));
                values.insert("place_longitude".to_owned(), json!(13.0));
                values.insert("fixed".to_owned(), json!(at / 1_000_000));
            }
            let uplink = Uplink { message: Some("whereabouts".to_owned()), values, ..Uplink::default() };
            places.hear(at, &uplink, &plan(), &yard());
        }
        places
    }

    fn left(places: &Places) -> Finding {
        places.find_left().next().map_or(Finding::Right, |(_, finding)| finding)
    }

    #[test]
    fn two_fixes_outside_by_more_than_they_err_are_wrong_and_two_inside_end_it() {
        let mut told = vec![(0, Some(0.0), true), (10, Some(300.0), true)];
        assert_eq!(left(&heard(&told)), Finding::Between, "one");
        told.push((20, Some(700.0), true));
        let Finding::Wrong(evidence) = left(&heard(&told)) else { panic!("an interval later") };
        // 700 - 200 m; 10 m and a grid of 2 m.
        assert_eq!((&evidence["outside_m"], &evidence["accuracy_m"]), (&json!(500.0), &json!(12.0)));
        told.push((30, Some(100.0), true));
        assert_eq!(left(&heard(&told)), Finding::Between);
        told.push((40, Some(0.0), true));
        assert_eq!(left(&heard(&told)), Finding::Right);
    }

    #[test]
    fn outside_by_less_than_the_error_once_or_told_again_is_not_left() {
        let near = [(0, Some(0.0), true), (10, Some(211.0), true), (20, Some(211.0), true)];
        assert_ne!(
            std::mem::discriminant(&left(&heard(&near))),
            std::mem::discriminant(&Finding::Wrong(evidence([])))
        );
        let mut places = heard(&[(0, Some(0.0), true), (10, Some(300.0), true)]);
        let again = BTreeMap::from([
            ("place_latitude".to_owned(), json!(47.0 + 300.0 / METRES_PER_DEGREE)),
            ("place_longitude".to_owned(), json!(13.0)),
            ("fixed".to_owned(), json!(600)),
        ]);
        let uplink = Uplink { message: Some("whereabouts".to_owned()), values: again, ..Uplink::default() };
        places.hear(20 * MINUTE, &uplink, &plan(), &yard());
        assert_eq!(left(&places), Finding::Between, "the same fix twice is one");
    }

    #[test]
    fn moving_without_a_fix_for_three_intervals_is_stale_and_parked_under_a_roof_is_not() {
        let position = plan().position.expect("it has one");
        let stale =
            |last: Moment, moving| heard(&[(0, Some(0.0), true), (last, None, moving)]).find_stale(&position);
        assert_eq!(stale(30, true), Finding::Right);
        let Finding::Wrong(evidence) = stale(31, true) else { panic!("31 min") };
        assert_eq!((&evidence["old_s"], &evidence["interval_s"]), (&json!(1860), &json!(600)));
        assert_eq!(stale(6000, false), Finding::Right, "in the shed");
        assert_eq!(
            heard(&[(0, None, true), (31, None, true)]).find_stale(&position),
            Finding::Wrong(super::super::alarm::evidence([
                ("old_s", json!(1860)),
                ("interval_s", json!(600)),
                ("never", json!(true))
            ]))
        );
    }

    /// A fix each day within what it errs, then one 100 m away.
    #[test]
    fn what_has_stood_for_a_fortnight_is_a_note_until_it_moves() {
        let position = plan().position.expect("it has one");
        let day = |day: Moment| (day * 1440, Some(if day % 2 == 0 { 0.0 } else { 15.0 }), false);
        let mut told: Vec<_> = (0..14).map(day).collect();
        assert_eq!(heard(&told).find_still(&position), Finding::Between, "13 days");
        told.push(day(14));
        let Finding::Wrong(evidence) = heard(&told).find_still(&position) else { panic!("14 days") };
        assert_eq!(evidence["still_d"], 14);
        let fixed = Position { moves: false, ..position.clone() };
        assert_eq!(heard(&told).find_still(&fixed), Finding::Between, "it is not meant to move");
        told.push((15 * 1440, Some(100.0), true));
        assert_eq!(heard(&told).find_still(&position), Finding::Right);
    }

    /// By hand: 40 km in 10 min are 240 km/h, 30 km 180 km/h.
    #[test]
    fn faster_than_anything_here_can_t_be_and_two_sound_fixes_end_it() {
        let mut told = vec![(0, Some(0.0), true), (10, Some(40_000.0), true)];
        let Finding::Wrong(evidence) = heard(&told).find_impossible() else { panic!("240 km/h") };
        assert_eq!(evidence["km_h"], json!(240.0));
        told.push((20, Some(10.0), true));
        assert_eq!(heard(&told).find_impossible(), Finding::Between);
        told.push((30, Some(0.0), true));
        assert_eq!(heard(&told).find_impossible(), Finding::Right);
        assert_eq!(left(&heard(&told)), Finding::Right, "it was never believed");
        assert_eq!(
            heard(&[(0, Some(0.0), true), (10, Some(30_000.0), true)]).find_impossible(),
            Finding::Right
        );
        // If the one before was the wrong one, the next two bear each other out.
        let first =
            [(0, Some(90_000.0), true), (10, Some(0.0), true), (20, Some(5.0), true), (30, Some(5.0), true)];
        assert_eq!(heard(&first).find_impossible(), Finding::Right);
    }

    #[test]
    fn the_place_of_receivers_that_know_nothing_can_t_be() {
        let mut places = Places::default();
        let values = BTreeMap::from([
            ("place_latitude".to_owned(), json!(0.0)),
            ("place_longitude".to_owned(), json!(0.00001)),
        ]);
        let uplink = Uplink { message: Some("whereabouts".to_owned()), values, ..Uplink::default() };
        places.hear(0, &uplink, &plan(), &[]);
        assert!(matches!(places.find_impossible(), Finding::Wrong(_)));
    }
}
