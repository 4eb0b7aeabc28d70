//! The year of charge, cut at midsummer, with the night hanging from the top.

use forecast::plan::{Hour, NodeState, Plan};
use maud::{Markup, html};

use super::frame::{Scale, YearAxis, area, day_length_h, left_axis, line, px, ticks};
use super::{Chart, LEFT, RIGHT, WIDTH};
use crate::report::{Subject, words};

const TOP: f64 = 22.0;
const BOTTOM: f64 = 282.0;
const HEIGHT: f64 = 308.0;

/// Lowest and highest charge [%] of one day since the cut.
struct Day {
    day: u16,
    low: f64,
    high: f64,
}

/// The chart of the plan's last year.
pub(crate) fn chart(subject: &Subject, plan: &Plan) -> Chart {
    let (stops, _) = subject.limits_percent;
    let life = &plan.life;
    let lowest = life.lowest_charge.percent();
    let darkest = words::date(life.lowest_at);
    let title = match life.first_outage {
        Some(_) => format!(
            "The node stops: {} without charge or voltage",
            words::count(life.outage_hours as usize, "hour")
        ),
        None => format!("The charge falls to {lowest:.0} % on {darkest} and never to the limit"),
    };
    let description = format!(
        "State of charge over a year, from midsummer to midsummer. Lowest {lowest:.0} % on {darkest}; \
         at rest the node stops at {stops:.0} %. {} stopped in the whole life.",
        words::count(life.outage_hours as usize, "hour")
    );
    let note = format!(
        "The year is cut at midsummer so that the dark months lie in the middle. The grey shape hanging from the top \
         is the length of the night: from the top to the bottom is 24 hours. Shown is {}; the pale band is the lowest \
         and highest charge of each day.",
        if plan.weather.passes > 1 {
            format!("the last of {} years lived", plan.weather.passes)
        } else {
            "the year of the weather file".to_owned()
        }
    );
    Chart {
        id: "year",
        title,
        description,
        note: Some(note),
        width: WIDTH,
        height: HEIGHT,
        body: body(subject, plan),
    }
}

fn body(subject: &Subject, plan: &Plan) -> Markup {
    let x = YearAxis::new(subject, LEFT, WIDTH - RIGHT);
    let y = Scale::new((0.0, 100.0), (BOTTOM, TOP));
    html! {
        (night(subject, &x))
        (left_axis(y, &ticks(0.0, 100.0, 4), (LEFT, WIDTH - RIGHT)))
        text.word x=(px(LEFT)) y=(px(TOP - 8.0)) { "charge, %" }
        (band(plan, &x, y))
        (limits(subject, y))
        (stopped(plan, &x))
        (darkest(plan, &x, y))
        (x.months(subject, BOTTOM))
    }
}

fn night(subject: &Subject, x: &YearAxis) -> Markup {
    let hanging = Scale::new((0.0, 24.0), (TOP, BOTTOM));
    let lower: Vec<_> = (0..=365_u16)
        .map(|day| {
            let night_h = 24.0 - day_length_h(subject.latitude_deg, x.day_of_year(day % 365));
            (x.at(f64::from(day)), hanging.at(night_h))
        })
        .collect();
    let upper: Vec<_> = lower.iter().map(|(place, _)| (*place, TOP)).collect();
    html! { path.night d=(area(&upper, &lower)) {} text.quiet x=(px(LEFT + 6.0)) y=(px(TOP + 16.0)) { "night" } }
}

/// The days in the order of the drawing, broken where they do not follow each other.
fn stretches(plan: &Plan, x: &YearAxis) -> Vec<Vec<Day>> {
    let mut stretches: Vec<Vec<Day>> = Vec::new();
    for hour in &plan.hours {
        let day = x.day(hour.at.month, hour.at.day);
        let charge = hour.charge.percent();
        let stretch = match stretches.last_mut() {
            Some(stretch) if stretch.last().is_some_and(|last| day == last.day || day == last.day + 1) => {
                stretch
            }
            _ => {
                stretches.push(Vec::new());
                stretches.last_mut().expect("just pushed")
            }
        };
        match stretch.last_mut() {
            Some(last) if last.day == day => {
                last.low = last.low.min(charge);
                last.high = last.high.max(charge);
            }
            _ => stretch.push(Day { day, low: charge, high: charge }),
        }
    }
    stretches
}

fn band(plan: &Plan, x: &YearAxis, y: Scale) -> Markup {
    let points = |stretch: &[Day], value: fn(&Day) -> f64| -> Vec<(f64, f64)> {
        stretch.iter().map(|day| (x.at(f64::from(day.day) + 0.5), y.at(value(day)))).collect()
    };
    html! {
        @for stretch in stretches(plan, x) {
            @let low = points(&stretch, |day| day.low);
            path.half d=(area(&points(&stretch, |day| day.high), &low)) {}
            path.forecast d=(line(&low)) {}
        }
    }
}

fn limits(subject: &Subject, y: Scale) -> Markup {
    let (stops, restarts) = subject.limits_percent;
    let right = WIDTH - RIGHT;
    let apart = (y.at(stops) - y.at(restarts)).abs() >= 14.0;
    html! {
        path.limit d={ "M" (px(LEFT)) " " (px(y.at(stops))) "H" (px(right)) } {}
        text.word.fails x=(px(right + 6.0)) y=(px(y.at(stops) + 4.0)) { "stops at " (format!("{stops:.0}")) " %" }
        @if apart {
            path.back d={ "M" (px(LEFT)) " " (px(y.at(restarts))) "H" (px(right)) } {}
            text.word x=(px(right + 6.0)) y=(px(y.at(restarts) + 4.0)) { "back at " (format!("{restarts:.0}")) " %" }
        }
    }
}

/// Stretches in which the node was stopped, as bars on the floor of the chart.
fn stopped(plan: &Plan, x: &YearAxis) -> Markup {
    let is_stopped = |hour: &&Hour| hour.state == NodeState::Stopped;
    let mut days: Vec<u16> =
        plan.hours.iter().filter(is_stopped).map(|hour| x.day(hour.at.month, hour.at.day)).collect();
    days.sort_unstable();
    days.dedup();
    let bars: String = days
        .iter()
        .map(|day| {
            let (from, to) = (x.at(f64::from(*day)), x.at(f64::from(*day) + 1.0));
            format!("M{} {}H{}V{}H{}Z", px(from), px(BOTTOM - 8.0), px(to), px(BOTTOM), px(from))
        })
        .collect();
    html! { @if !bars.is_empty() { path.stopped d=(bars) {} } }
}

fn darkest(plan: &Plan, x: &YearAxis, y: Scale) -> Markup {
    let at = plan.life.lowest_at;
    let place = x.of(at);
    let end = place > WIDTH - RIGHT - 90.0;
    html! {
        path.dotted d={ "M" (px(place)) " " (px(TOP)) "V" (px(BOTTOM)) } {}
        circle.dot cx=(px(place)) cy=(px(y.at(plan.life.lowest_charge.percent()))) r="3.5" {}
        text.word.(if end { "end" } else { "start" }) x=(px(place + if end { -5.0 } else { 5.0 })) y=(px(TOP - 6.0)) {
            "darkest, " (at.day) " " (words::month_short(at.month))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn the_line_is_broken_where_the_year_of_the_file_ends() {
        let (subject, plan) = (fixture::subject(), fixture::plan());
        let axis = YearAxis::new(&subject, 0.0, 365.0);
        let lengths: Vec<usize> = stretches(&plan, &axis).iter().map(Vec::len).collect();
        assert_eq!(lengths, [181, 184]);
    }
}
