//! A node's battery will be empty soon, by the line through its daily least voltages.
//!
//! # References
//! H. Theil, "A rank-invariant method of linear and polynomial regression analysis", 1950; P. K. Sen, "Estimates of the
//! regression coefficient based on Kendall's tau", 1968: the median of the slopes between all pairs.

use std::collections::VecDeque;

use forecast::stats::median;
use serde_json::json;

use super::DAY;
use super::alarm::{Finding, evidence};
use super::foretold::SOON_D;
use crate::received::Moment;

/// Days of the line, and how many of them must be known (own choice: half).
const DAYS: (Moment, usize) = (14, 7);
/// It closes after so many days on which the line says later.
const BETTER_DAYS: Moment = 3;

/// Least voltages of whole days, oldest first.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct DailyLeast {
    days: VecDeque<(Moment, f64)>,
    today: Option<(Moment, f64)>,
    last_soon: Option<Moment>,
}

/// What the line says.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Line {
    now_volts: f64,
    per_day: f64,
}

impl DailyLeast {
    /// A voltage of a battery that is empty at `stops` \[V\].
    pub(super) fn hear(&mut self, at: Moment, volts: f64, stops: f64) {
        let day = at.div_euclid(DAY);
        match &mut self.today {
            Some((today, least)) if *today == day => *least = least.min(volts),
            Some((today, _)) if *today > day => {}
            _ => {
                self.days.extend(self.today.replace((day, volts)));
                self.days.retain(|(earlier, _)| day - *earlier <= DAYS.0);
                if self.days_left(stops).is_some_and(|left| left <= SOON_D) {
                    self.last_soon = Some(day);
                }
            }
        }
    }

    fn line(&self) -> Option<Line> {
        if self.days.len() < DAYS.1 {
            return None;
        }
        let pairs = self.days.iter().enumerate().flat_map(|(place, later)| {
            self.days
                .iter()
                .take(place)
                .map(move |earlier| (later.1 - earlier.1) / (later.0 - earlier.0) as f64)
        });
        let per_day = median(pairs)?;
        let newest = self.days.back()?.0;
        let now_volts = median(self.days.iter().map(|(day, volts)| volts + per_day * (newest - day) as f64))?;
        Some(Line { now_volts, per_day })
    }

    /// Days from the newest one until the line meets the voltage; none if it never does.
    fn days_left(&self, stops: f64) -> Option<f64> {
        let line = self.line().filter(|line| line.per_day < 0.0)?;
        Some(((line.now_volts - stops) / -line.per_day).max(0.0))
    }

    /// Of a battery that is empty at `stops` \[V\].
    pub(super) fn find(&self, stops: f64, now: Moment) -> Finding {
        let Some(line) = self.line() else { return Finding::Between };
        if let Some(left) = self.days_left(stops).filter(|left| *left <= SOON_D) {
            return Finding::Wrong(evidence([
                ("days_left", json!(left.round())),
                ("now_mv", json!((1e3 * line.now_volts).round())),
                ("per_day_mv", json!((1e4 * line.per_day).round() / 10.0)),
                ("empty_mv", json!((1e3 * stops).round())),
            ]));
        }
        let day = now.div_euclid(DAY);
        let is_better = self.last_soon.is_none_or(|last| day - last >= BETTER_DAYS);
        if is_better { Finding::Right } else { Finding::Between }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two voltages a day, of which the second is the least.
    fn falls(days: impl Iterator<Item = (Moment, f64)>) -> DailyLeast {
        let mut least = DailyLeast::default();
        for (day, volts) in days {
            least.hear(day * DAY, volts + 0.1, 3.3);
            least.hear(day * DAY + DAY / 2, volts, 3.3);
        }
        least
    }

    /// By hand: 20 mV a day from 3.8 V on day 0; on day 12 it stands at 3.56 V, and 3.3 V is 13 days off. The day that runs does
    /// not count, so day 12 is known on day 13.
    #[test]
    fn a_battery_that_is_empty_in_13_days_is_named_and_one_in_15_is_not() {
        let of = |days: Moment| falls((0..days).map(|day| (day, 3.8 - 0.02 * day as f64)));
        assert_eq!(of(12).find(3.3, 11 * DAY), Finding::Right, "day 10: 3.6 V, 15 days");
        let Finding::Wrong(evidence) = of(14).find(3.3, 13 * DAY) else { panic!("13 days") };
        assert_eq!((&evidence["days_left"], &evidence["per_day_mv"]), (&json!(13.0), &json!(-20.0)));
        assert_eq!(evidence["now_mv"], 3560.0);
    }

    #[test]
    fn one_bad_day_is_no_line_and_a_rising_one_never_ends() {
        let steady = |day: Moment| if day == 9 { 3.31 } else { 3.7 };
        assert_eq!(falls((0..14).map(|day| (day, steady(day)))).find(3.3, 13 * DAY), Finding::Right);
        let rises = falls((0..14).map(|day| (day, 3.4 + 0.01 * day as f64)));
        assert_eq!(rises.find(3.3, 13 * DAY), Finding::Right);
        assert_eq!(
            falls((0..7).map(|day| (day, 3.4 - 0.01 * day as f64))).find(3.3, 6 * DAY),
            Finding::Between
        );
    }

    #[test]
    fn it_closes_after_three_days_that_are_better() {
        let charged = |day: Moment| if day < 14 { 3.8 - 0.02 * day as f64 } else { 4.1 };
        let after =
            |days: Moment| falls((0..days).map(|day| (day, charged(day)))).find(3.3, (days - 1) * DAY);
        assert!(matches!(after(15), Finding::Wrong(_)));
        let first_better = (15..40).find(|days| !matches!(after(*days), Finding::Wrong(_))).expect("it ends");
        assert_eq!(after(first_better), Finding::Between);
        assert_eq!((after(first_better + 1), after(first_better + 2)), (Finding::Between, Finding::Right));
    }
}
