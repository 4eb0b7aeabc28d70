//! A primary cell comes to its end: its voltage, flat for years, has fallen, or it gives way under the pulses of the radio.
//!
//! How much charge is left in such a cell its voltage does not say; that it no longer lies where it lay says that little is.

use std::collections::VecDeque;

use forecast::stats::median;
use serde_json::json;

use super::DAY;
use super::alarm::{Finding, evidence};
use super::plan::NodePlan;
use crate::received::Moment;

/// Days that are looked at, of which so many must be known: a frost that lasts shorter is no end.
const WEEK: (Moment, usize) = (7, 4);
/// Days that are kept.
const KEPT: Moment = 31;
/// Days that tell where the voltage of a new cell lies.
pub const FIRST_CELL_DAYS: usize = 14;
/// Where the log does not know them the first of the kept days tell it, and so many more must have passed.
const DAYS_SINCE: usize = 7;
/// By so much of what it was the voltage has fallen for good: cold takes up to 3 % (own choice; tried on the cells of a node on a
/// mountain, docs/learn.md).
const FALLEN: f64 = 0.05;
/// The alarm is over once it lies as near again: a new cell.
const WELL: f64 = 0.02;
/// Between its greatest and its least voltage of a day the cell gives way by so many times as much as was usual, and at least by so
/// much \[V\], on so many days of the week (own choice).
const SAGS: (f64, f64, usize) = (3.0, 0.1, 3);
/// Starts in a week that bear out a cell that gives way.
const STARTS: usize = 2;

/// What the days of a primary cell say.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Ending {
    days: VecDeque<Day>,
    starts: VecDeque<Moment>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Day {
    number: Moment,
    least: f64,
    greatest: f64,
}

impl Day {
    fn sag(&self) -> f64 {
        self.greatest - self.least
    }
}

impl Ending {
    /// A voltage \[V\].
    pub(super) fn hear(&mut self, at: Moment, volts: f64) {
        let number = at.div_euclid(DAY);
        match self.days.back_mut() {
            Some(day) if day.number == number => {
                (day.least, day.greatest) = (day.least.min(volts), day.greatest.max(volts));
            }
            Some(day) if day.number > number => {}
            _ => self.days.push_back(Day { number, least: volts, greatest: volts }),
        }
        while self.days.front().is_some_and(|day| number - day.number >= KEPT) {
            self.days.pop_front();
        }
    }

    /// The node began anew.
    pub(super) fn start(&mut self, at: Moment) {
        self.starts.push_back(at);
        while self.starts.front().is_some_and(|first| at - first > WEEK.0 * DAY) {
            self.starts.pop_front();
        }
    }

    /// Of a node with a primary cell.
    pub(super) fn find(&self, now: Moment, plan: &NodePlan) -> Finding {
        let today = now.div_euclid(DAY);
        let week: Vec<&Day> =
            self.days.iter().filter(|day| (1..=WEEK.0).contains(&(today - day.number))).collect();
        if !plan.is_primary || week.len() < WEEK.1 {
            return Finding::Between;
        }
        let greatest = week.iter().map(|day| day.greatest).fold(f64::NEG_INFINITY, f64::max);
        let least = week.iter().map(|day| day.least).fold(f64::INFINITY, f64::min);
        let starts = self.starts.iter().filter(|at| now - **at <= WEEK.0 * DAY).count();
        let before = self.before(plan);
        let sags = self.sags(&week, today);
        let has_fallen = before.is_some_and(|before| greatest < (1.0 - FALLEN) * before);
        if has_fallen || (sags && starts >= STARTS) {
            let millivolts = |volts: f64| json!((1e3 * volts).round());
            return Finding::Wrong(evidence([
                ("greatest_mv", millivolts(greatest)),
                ("least_mv", millivolts(least)),
                ("before_mv", json!(before.map(|volts| (1e3 * volts).round()))),
                ("starts", json!(starts)),
                ("gives_way", json!(sags)),
            ]));
        }
        let is_well = before.is_some_and(|before| greatest >= (1.0 - WELL) * before);
        if is_well && !sags { Finding::Right } else { Finding::Between }
    }

    /// Where its voltage lay when the cell was new, or as far back as is known \[V\].
    fn before(&self, plan: &NodePlan) -> Option<f64> {
        let known = plan.first_volts.is_some() || self.days.len() >= FIRST_CELL_DAYS + DAYS_SINCE;
        known.then(|| {
            plan.first_volts
                .or_else(|| median(self.days.iter().take(FIRST_CELL_DAYS).map(|day| day.greatest)))
        })?
    }

    /// Whether it gives way under load as it did not before.
    fn sags(&self, week: &[&Day], today: Moment) -> bool {
        let (times, volts, days) = SAGS;
        let earlier: Vec<f64> =
            self.days.iter().filter(|day| today - day.number > WEEK.0).map(Day::sag).collect();
        if earlier.len() < DAYS_SINCE {
            return false;
        }
        let usual = median(earlier.into_iter()).unwrap_or(0.0);
        week.iter().filter(|day| day.sag() > volts.max(times * usual)).count() >= days
    }
}

#[cfg(test)]
mod tests {
    use super::super::plan::tests::every_ten_minutes;
    use super::*;

    fn plan() -> NodePlan {
        NodePlan { has_panel: false, is_primary: true, ..every_ten_minutes() }
    }

    /// Two voltages a day.
    fn live(
        ending: &mut Ending,
        days: std::ops::Range<Moment>,
        volts: impl Fn(Moment) -> (f64, f64),
    ) -> Moment {
        let end = days.end;
        for day in days {
            let (rest, load) = volts(day);
            ending.hear(day * DAY + DAY / 4, rest);
            ending.hear(day * DAY + DAY / 2, load);
        }
        end * DAY
    }

    #[test]
    fn a_voltage_that_has_left_its_flat_course_is_an_end_and_a_frost_of_five_days_is_none() {
        let mut ending = Ending::default();
        live(&mut ending, 0..20, |_| (3.60, 3.57));
        let now = live(&mut ending, 20..25, |_| (3.38, 3.30));
        assert_eq!(ending.find(now, &plan()), Finding::Right, "it was as before within the week");
        let now = live(&mut ending, 25..28, |_| (3.38, 3.30));
        let Finding::Wrong(evidence) = ending.find(now, &plan()) else { panic!("6 % for eight days") };
        assert_eq!((&evidence["greatest_mv"], &evidence["before_mv"]), (&json!(3380.0), &json!(3600.0)));
        let new = NodePlan { first_volts: Some(3.4), ..plan() };
        assert_eq!(ending.find(now, &new), Finding::Right, "it lay there from the first day on");
        let charged = NodePlan { is_primary: false, ..plan() };
        assert_eq!(
            ending.find(now, &charged),
            Finding::Between,
            "a battery that is charged is another's affair"
        );
    }

    #[test]
    fn a_cell_that_gives_way_is_an_end_once_the_node_starts_anew() {
        let mut ending = Ending::default();
        live(&mut ending, 0..20, |_| (3.60, 3.57));
        let now = live(&mut ending, 20..25, |_| (3.58, 3.30));
        assert_eq!(ending.find(now, &plan()), Finding::Between);
        ending.start(now - DAY);
        ending.start(now);
        assert!(matches!(ending.find(now, &plan()), Finding::Wrong(_)));
    }
}
