//! The charge that was foretold for each day of the year, and what was measured on top of it.

use design::quantity::Share;
use maud::{Markup, html};
use verdict::plan::Plan;

use super::frame::{Scale, YearAxis, area, left_axis, line, px, ticks};
use super::year::{BOTTOM, HEIGHT, TOP, limit_by_day, night_of};
use super::{Chart, LEFT, RIGHT, WIDTH, apart};
use crate::{ReportedDesign, words};

/// What a forecast says of the charge of a node over the year.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    first_month: u8,
    daylight_h: Vec<(f64, f64)>,
    /// Charge \[%\] on each of 365 days from 1 January: below it lie 5, 25, 50, 75 and 95 % of the lives.
    pub charge_percent: Vec<[f64; 5]>,
    /// Days since the cut, and the charge \[%\] below which it stops.
    stops: Vec<(u16, f64)>,
    darkest_day: usize,
}

/// What was measured of a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasuredDay {
    /// 1 to 12.
    pub month: u8,
    /// 1 to 31.
    pub day: u8,
    /// Least charge \[%\].
    pub least_percent: f64,
    /// Greatest charge \[%\].
    pub greatest_percent: f64,
    /// Whether it has lived long enough outdoors to be held against the forecast.
    pub is_settled: bool,
}

impl Course {
    /// The course of a plan; `None` if it was reckoned for one weather alone.
    pub fn of(subject: &ReportedDesign, plan: &Plan) -> Option<Self> {
        let chances = plan.chances.as_ref()?;
        let x = YearAxis::new(subject, 0.0, 365.0);
        Some(Self {
            first_month: subject.first_month(),
            daylight_h: subject.daylight_h.clone(),
            charge_percent: chances.bands.iter().map(|band| band.charge.map(Share::percent)).collect(),
            stops: limit_by_day(subject, plan, &x),
            darkest_day: chances.darkest_day,
        })
    }

    /// The band of a day of the calendar.
    pub fn on(&self, month: u8, day: u8) -> Option<[f64; 5]> {
        self.charge_percent.get(usize::from(super::frame::day_of_year(month, day))).copied()
    }
}

/// The band of the year with what was measured drawn over it.
pub fn chart(course: &Course, measured: &[MeasuredDay]) -> Chart {
    let (month, day) = words::month_and_day(course.darkest_day);
    let low = course.on(month, day).map_or(0.0, |band| band[0]);
    let settled: Vec<&MeasuredDay> = measured.iter().filter(|one| one.is_settled).collect();
    let below =
        |one: &&&MeasuredDay| course.on(one.month, one.day).is_some_and(|band| one.least_percent < band[0]);
    let title = match (settled.len(), settled.iter().filter(below).count()) {
        (0, _) => format!(
            "Foretold: one in twenty is at {low:.0} % charge or less on {day} {}",
            words::month(month)
        ),
        (days, 0) => {
            format!("On all of {} it was not below what was foretold", words::count(days, "measured day"))
        }
        (days, below) => {
            format!("On {below} of {} it was below what was foretold", words::count(days, "measured day"))
        }
    };
    let last = measured.last().map_or_else(String::new, |last| {
        format!(
            " Last measured: {:.0} to {:.0} % on {} {}.",
            last.least_percent,
            last.greatest_percent,
            last.day,
            words::month(last.month)
        )
    });
    let description = format!(
        "Charge by day of the year, cut at midsummer. Foretold for {day} {}: 5 % of lives at {low:.0} % or less.{last}",
        words::month(month)
    );
    let note = "Ink: least and greatest charge of each day, from the battery's voltage as if it rested. Bands: half of the lives, \
                and nine in ten. Dashed: the node stops below. The grey shape hanging from the top is the length of the night."
        .to_owned();
    Chart {
        id: "kept".to_owned(),
        title,
        description,
        note: Some(note),
        width: WIDTH,
        height: HEIGHT,
        body: body(course, measured),
    }
}

fn body(course: &Course, measured: &[MeasuredDay]) -> Markup {
    let x = YearAxis::cut_at(course.first_month, LEFT, WIDTH - RIGHT);
    let y = Scale::new((0.0, 100.0), (BOTTOM, TOP));
    let edge = |index: usize| -> Vec<(f64, f64)> {
        let percent =
            |day: u16| course.charge_percent.get(usize::from(x.day_of_year(day))).map(|band| band[index]);
        (0..365_u16).filter_map(|day| Some((x.at(f64::from(day) + 0.5), y.at(percent(day)?)))).collect()
    };
    let [lowest, low, middle, high, highest] = std::array::from_fn(edge);
    let limit: Vec<(f64, f64)> =
        course.stops.iter().map(|(day, percent)| (x.at(f64::from(*day) + 0.5), y.at(*percent))).collect();
    let end = |points: &[(f64, f64)]| points.last().map_or(BOTTOM, |end| end.1);
    let words = apart(vec![
        ("9 in 10 lives", "forecast", end(&lowest)),
        ("half of lives", "forecast", end(&low) - 1.0),
        ("stops below", "fails", end(&limit)),
    ]);
    html! {
        (night_of(&course.daylight_h, &x))
        (left_axis(y, &ticks(0.0, 100.0, 4), (LEFT, WIDTH - RIGHT)))
        text.word x=(px(LEFT)) y=(px(TOP - 8.0)) { "charge, %" }
        path.nine d=(area(&highest, &lowest)) {}
        path.half d=(area(&high, &low)) {}
        path.forecast d=(line(&middle)) {}
        path.limit d=(line(&limit)) {}
        (days(measured, &x, y))
        @for (word, class, place) in words {
            text.word.(class) x=(px(WIDTH - RIGHT + 6.0)) y=(px(place)) { (word) }
        }
        (x.names(BOTTOM))
    }
}

/// A bar from the least to the greatest charge of each day, and a dot on the last.
fn days(measured: &[MeasuredDay], x: &YearAxis, y: Scale) -> Markup {
    let place = |one: &MeasuredDay| x.at(f64::from(x.day(one.month, one.day)) + 0.5);
    let bar = |one: &MeasuredDay| {
        let (top, bottom) = (y.at(one.greatest_percent), y.at(one.least_percent));
        format!("M{} {}V{}", px(place(one)), px(top.min(bottom - 2.0)), px(bottom))
    };
    let bars: String = measured.iter().map(bar).collect();
    html! {
        path.measure d=(bars) {}
        @if let Some(last) = measured.last() {
            circle.dot cx=(px(place(last))) cy=(px(y.at(last.least_percent))) r="3.5" {}
            text.halo x=(px(place(last) + 7.0)) y=(px(y.at(last.least_percent) + 4.0)) { "measured" }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;

    fn course() -> Course {
        let mut plan = fixture::plan();
        plan.chances = Some(fixture::chances());
        Course::of(&fixture::subject(), &plan).expect("many lives")
    }

    #[test]
    fn a_day_below_the_band_is_counted_and_one_inside_is_not() {
        let course = course();
        let band = course.on(1, 9).expect("a day");
        let day = |least_percent| MeasuredDay {
            month: 1,
            day: 9,
            least_percent,
            greatest_percent: 90.0,
            is_settled: true,
        };
        assert!(chart(&course, &[day(band[0] + 1.0)]).title.starts_with("On all of 1 measured day"));
        assert!(
            chart(&course, &[day(band[0] + 1.0), day(band[0] - 1.0)])
                .title
                .starts_with("On 1 of 2 measured days")
        );
        assert!(chart(&course, &[]).title.starts_with("Foretold: one in twenty"));
    }

    #[test]
    fn measured_days_lie_inside_the_frame() {
        let day = MeasuredDay {
            month: 2,
            day: 29,
            least_percent: -5.0,
            greatest_percent: 130.0,
            is_settled: false,
        };
        let svg = chart(&course(), &[day]).svg().into_string();
        assert!(!svg.contains("NaN") && svg.contains("class=\"measure\""));
    }
}
