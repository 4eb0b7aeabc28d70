//! Scales, paths and axes.

use std::fmt::Write as _;

use maud::{Markup, html};
use verdict::plan::Moment;

use crate::{ReportedDesign, words};

/// A straight map from figures to places.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Scale {
    from: (f64, f64),
    to: (f64, f64),
}

impl Scale {
    /// Maps the ends of `from` to the ends of `to`.
    pub(crate) fn new(from: (f64, f64), to: (f64, f64)) -> Self {
        Self { from, to }
    }

    /// Where a figure lies; outside figures are held at the ends.
    pub(crate) fn at(&self, value: f64) -> f64 {
        let share = (value - self.from.0) / (self.from.1 - self.from.0);
        self.to.0 + (self.to.1 - self.to.0) * if share.is_finite() { share.clamp(0.0, 1.0) } else { 0.0 }
    }
}

/// A place to a tenth of a pixel, without needless zeros.
pub(crate) fn px(place: f64) -> String {
    let rounded = (place * 10.0).round() / 10.0;
    format!("{}", if rounded == 0.0 { 0.0 } else { rounded })
}

/// A line through the points.
pub(crate) fn line(points: &[(f64, f64)]) -> String {
    let mut path = String::new();
    for (index, (x, y)) in points.iter().enumerate() {
        write!(path, "{}{} {}", if index == 0 { "M" } else { "L" }, px(*x), px(*y))
            .expect("a string takes any text");
    }
    path
}

/// The surface between two lines that share their abscissas.
pub(crate) fn area(upper: &[(f64, f64)], lower: &[(f64, f64)]) -> String {
    let around: Vec<_> = upper.iter().chain(lower.iter().rev()).copied().collect();
    if around.is_empty() { String::new() } else { line(&around) + "Z" }
}

/// Steps of 1, 2 or 5 times a power of ten, at most `count` of them, from the first at or above `low` to `high`.
pub(crate) fn ticks(low: f64, high: f64, count: u32) -> Vec<f64> {
    let span = high - low;
    if !(span > 0.0 && span.is_finite()) {
        return Vec::new();
    }
    let rough = span / f64::from(count);
    let power = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].iter().map(|factor| factor * power).find(|step| *step >= rough * 0.999);
    let step = step.unwrap_or(10.0 * power);
    let first = (low / step).ceil() * step;
    let all = (0..=2 * count).map(|index| first + f64::from(index) * step);
    all.take_while(|tick| *tick <= high + 1e-9 * step).collect()
}

/// A figure at an axis, with a true minus.
pub(crate) fn tick_label(value: f64) -> String {
    let rounded = (value * 1000.0).round() / 1000.0;
    format!("{rounded}").replace('-', "−")
}

/// Figures at the left and hairlines across.
pub(crate) fn left_axis(y: Scale, ticks: &[f64], x: (f64, f64)) -> Markup {
    html! {
        @for tick in ticks {
            @let place = px(y.at(*tick));
            path.rule d={ "M" (px(x.0)) " " (place) "H" (px(x.1)) } {}
            text.tick.end x=(px(x.0 - 6.0)) y=(px(y.at(*tick) + 4.0)) { (tick_label(*tick)) }
        }
    }
}

/// The year as it is drawn: cut at midsummer, 365 days wide.
pub(crate) struct YearAxis {
    first_month: u8,
    x: Scale,
}

const DAYS: [u16; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

/// Days from New Year to the first of a month (1 to 12).
fn days_before(month: u8) -> u16 {
    DAYS.iter().take(usize::from(month).saturating_sub(1)).sum()
}

/// Day of the year from 0; 29 February counts as the 28th.
pub(crate) fn day_of_year(month: u8, day: u8) -> u16 {
    let longest = DAYS.get(usize::from(month).wrapping_sub(1)).copied().unwrap_or(31);
    days_before(month) + u16::from(day).min(longest).saturating_sub(1)
}

impl YearAxis {
    /// The year of a subject between two places.
    pub(crate) fn new(subject: &ReportedDesign, from: f64, to: f64) -> Self {
        Self::cut_at(subject.first_month(), from, to)
    }

    /// The year from the first of a month (1 to 12) on between two places.
    pub(crate) fn cut_at(first_month: u8, from: f64, to: f64) -> Self {
        Self { first_month, x: Scale::new((0.0, 365.0), (from, to)) }
    }

    /// Days since the cut, 0 to 364.
    pub(crate) fn day(&self, month: u8, day: u8) -> u16 {
        (day_of_year(month, day) + 365 - days_before(self.first_month)) % 365
    }

    /// Day of the calendar year (0 to 364) of a day since the cut.
    pub(crate) fn day_of_year(&self, day: u16) -> u16 {
        (day + days_before(self.first_month)) % 365
    }

    /// Where a day since the cut begins.
    pub(crate) fn at(&self, day: f64) -> f64 {
        self.x.at(day)
    }

    /// Where a moment lies, in the middle of its day.
    pub(crate) fn of(&self, at: Moment) -> f64 {
        self.at(f64::from(self.day(at.month, at.day)) + 0.5)
    }

    /// Names of the months under the line `y`, with ticks between them.
    pub(crate) fn names(&self, y: f64) -> Markup {
        html! {
            @for month in (0..12).map(|offset| (self.first_month - 1 + offset) % 12 + 1) {
                @let from = self.day(month, 1);
                @let to = from + DAYS.get(usize::from(month) - 1).copied().unwrap_or(30);
                path.axis d={ "M" (px(self.at(f64::from(from)))) " " (px(y)) "v5" } {}
                text.tick.middle x=(px(f64::midpoint(self.at(f64::from(from)), self.at(f64::from(to))))) y=(px(y + 16.0)) {
                    (words::month_short(month))
                }
            }
            path.axis d={ "M" (px(self.at(0.0))) " " (px(y)) "H" (px(self.at(365.0))) "v5" } {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;

    #[test]
    fn the_year_begins_in_midsummer_on_both_halves_of_the_globe() {
        let mut subject = fixture::subject();
        let north = YearAxis::new(&subject, 0.0, 365.0);
        assert_eq!((north.day(7, 1), north.day(1, 1), north.day(6, 30)), (0, 184, 364));
        assert_eq!(north.day_of_year(north.day(3, 17)), day_of_year(3, 17));
        subject.latitude_deg = -30.0;
        let south = YearAxis::new(&subject, 0.0, 365.0);
        assert_eq!((south.day(1, 1), south.day(7, 1), south.day(12, 31)), (0, 181, 364));
    }

    #[test]
    fn leap_day_falls_on_the_day_before_it() {
        assert_eq!(day_of_year(2, 29), day_of_year(2, 28));
        assert_eq!(day_of_year(3, 1), 59);
    }

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(ticks(0.0, 100.0, 4), [0.0, 50.0, 100.0]);
        assert_eq!(ticks(0.0, 690.0, 4), [0.0, 200.0, 400.0, 600.0]);
        assert_eq!(ticks(-7.0, 21.0, 4), [0.0, 10.0, 20.0]);
        assert_eq!(ticks(0.0, 0.0, 4), [0.0; 0]);
        assert_eq!(ticks(0.0, f64::NAN, 4), [0.0; 0]);
    }
}
