//! The year of charge, cut at midsummer, with the night hanging from the top.

use maud::{Markup, html};
use verdict::plan::{Hour, Moment, NodeState, Plan};

use super::frame::{Scale, YearAxis, area, left_axis, line, px, ticks};
use super::{Chart, LEFT, RIGHT, WIDTH};
use crate::{ReportedDesign, words};

pub(crate) const TOP: f64 = 22.0;
pub(crate) const BOTTOM: f64 = 282.0;
pub(crate) const HEIGHT: f64 = 308.0;

/// Lowest and highest charge, and the highest limit below which the node stops [%], of one day since the cut.
struct Day {
    since_cut: u16,
    low: f64,
    high: f64,
    stops: f64,
}

/// The chart of the plan's last year.
pub fn chart(subject: &ReportedDesign, plan: &Plan) -> Chart {
    let stops = subject.stops_percent.iter().copied().fold(0.0, f64::max);
    let lowest = lowest(plan).unwrap_or((plan.life.lowest_at, plan.life.lowest_charge.percent()));
    let (darkest, charge) = (words::date(lowest.0), lowest.1);
    let stopped = words::count(plan.life.outage_hours as usize, "hour");
    let title = if plan.life.outages > 0 {
        format!("The node is stopped for {stopped} of its life")
    } else {
        format!("The charge falls to {charge:.0} % on {darkest} and never to the limit")
    };
    let description = format!(
        "State of charge over a year, from midsummer to midsummer. Lowest {charge:.0} % on {darkest}; in the coldest \
         hour the node stops at {stops:.0} %. {stopped} stopped in the whole life."
    );
    let shown = format!("life number {}", plan.life.number);
    let note = format!(
        "Shown is {shown}, cut at midsummer so that the dark months lie in the middle. The line is the lowest charge of \
         each day, the pale band above it reaches to the highest. The grey shape hanging from the top is the length of \
         the night: from the top to the bottom is 24 hours. The node stops below the dashed limit, which rises in the \
         cold."
    );
    Chart {
        id: "year".to_owned(),
        title,
        description,
        note: Some(note),
        width: WIDTH,
        height: HEIGHT,
        body: body(subject, plan),
    }
}

/// The lowest charge [%] of the year shown, and when.
fn lowest(plan: &Plan) -> Option<(Moment, f64)> {
    let hours = plan.hours.iter().map(|hour| (hour.at, hour.charge.percent()));
    hours.min_by(|one, other| one.1.total_cmp(&other.1))
}

fn body(subject: &ReportedDesign, plan: &Plan) -> Markup {
    let x = YearAxis::new(subject, LEFT, WIDTH - RIGHT);
    let y = Scale::new((0.0, 100.0), (BOTTOM, TOP));
    html! {
        (night(subject, &x))
        (left_axis(y, &ticks(0.0, 100.0, 4), (LEFT, WIDTH - RIGHT)))
        text.word x=(px(LEFT)) y=(px(TOP - 8.0)) { "charge, %" }
        (curves(subject, &stretches(subject, plan, &x), &x, y))
        (stopped(plan, &x))
        (lowest_mark(plan, &x, y))
        (x.names(BOTTOM))
    }
}

pub(crate) fn night(subject: &ReportedDesign, x: &YearAxis) -> Markup {
    night_of(&subject.daylight_h, x)
}

/// The length of the night by sunrise and sunset [h] of each day.
pub(crate) fn night_of(daylight_h: &[(f64, f64)], x: &YearAxis) -> Markup {
    let hanging = Scale::new((0.0, 24.0), (TOP, BOTTOM));
    let night_h = |day: u16| {
        let daylight = daylight_h.get(usize::from(x.day_of_year(day % 365)));
        24.0 - daylight.map_or(0.0, |(rise, set)| set - rise)
    };
    let lower: Vec<_> = (0..=365_u16).map(|day| (x.at(f64::from(day)), hanging.at(night_h(day)))).collect();
    let upper: Vec<_> = lower.iter().map(|(place, _)| (*place, TOP)).collect();
    let named = (x.at(325.0), hanging.at(night_h(325)) - 8.0);
    html! {
        path.night d=(area(&upper, &lower)) {}
        text.quiet.middle x=(px(named.0)) y=(px(named.1)) { "night" }
    }
}

/// The days in the order of the drawing, broken where they do not follow each other.
fn stretches(subject: &ReportedDesign, plan: &Plan, x: &YearAxis) -> Vec<Vec<Day>> {
    let mut stretches: Vec<Vec<Day>> = Vec::new();
    let limits = subject.stops_percent.iter().copied().chain(std::iter::repeat(0.0));
    for (hour, stops) in plan.hours.iter().zip(limits) {
        let day = x.day(hour.at.month, hour.at.day);
        let charge = hour.charge.percent();
        let stretch = match stretches.last_mut() {
            Some(stretch)
                if stretch.last().is_some_and(|last| day == last.since_cut || day == last.since_cut + 1) =>
            {
                stretch
            }
            _ => {
                stretches.push(Vec::new());
                stretches.last_mut().expect("just pushed")
            }
        };
        match stretch.last_mut() {
            Some(last) if last.since_cut == day => {
                last.low = last.low.min(charge);
                last.high = last.high.max(charge);
                last.stops = last.stops.max(stops);
            }
            _ => stretch.push(Day { since_cut: day, low: charge, high: charge, stops }),
        }
    }
    stretches
}

/// The limit [%] below which the node stops on each day since the cut, the highest of the day's hours.
pub(crate) fn limit_by_day(subject: &ReportedDesign, plan: &Plan, x: &YearAxis) -> Vec<(u16, f64)> {
    let mut days: Vec<(u16, f64)> =
        stretches(subject, plan, x).iter().flatten().map(|day| (day.since_cut, day.stops)).collect();
    days.sort_by_key(|(day, _)| *day);
    days.dedup_by_key(|(day, _)| *day);
    days
}

fn curves(subject: &ReportedDesign, stretches: &[Vec<Day>], x: &YearAxis, y: Scale) -> Markup {
    let points = |stretch: &[Day], value: fn(&Day) -> f64| -> Vec<(f64, f64)> {
        stretch.iter().map(|day| (x.at(f64::from(day.since_cut) + 0.5), y.at(value(day)))).collect()
    };
    let last = stretches.iter().flatten().max_by_key(|day| day.since_cut).map_or(0.0, |day| day.stops);
    let right = WIDTH - RIGHT;
    let back = y.at(subject.restarts_percent);
    html! {
        path.back d={ "M" (px(LEFT)) " " (px(back)) "H" (px(right)) } {}
        @for stretch in stretches {
            @let low = points(stretch, |day| day.low);
            path.half d=(area(&points(stretch, |day| day.high), &low)) {}
            path.limit d=(line(&points(stretch, |day| day.stops))) {}
            path.forecast d=(line(&low)) {}
        }
        text.word.fails x=(px(right + 6.0)) y=(px(y.at(last).max(back + 15.0).min(BOTTOM) + 4.0)) { "stops below" }
        text.word x=(px(right + 6.0)) y=(px(back.min(BOTTOM - 15.0) + 4.0)) {
            "restarts at " (format!("{:.0}", subject.restarts_percent)) " %"
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
    let bar = |day: u16| {
        let (from, to) = (x.at(f64::from(day)), x.at(f64::from(day) + 1.0));
        area(&[(from, BOTTOM - 8.0), (to, BOTTOM - 8.0)], &[(from, BOTTOM), (to, BOTTOM)])
    };
    let bars = days.into_iter().map(bar).collect::<Vec<_>>().concat();
    html! { @if !bars.is_empty() { path.stopped d=(bars) {} } }
}

fn lowest_mark(plan: &Plan, x: &YearAxis, y: Scale) -> Markup {
    let Some((at, charge)) = lowest(plan) else { return html! {} };
    let place = x.of(at);
    let end = place > WIDTH - RIGHT - 90.0;
    html! {
        path.dotted d={ "M" (px(place)) " " (px(TOP)) "V" (px(BOTTOM)) } {}
        circle.dot cx=(px(place)) cy=(px(y.at(charge))) r="3.5" {}
        text.word.(if end { "end" } else { "start" }) x=(px(place + if end { -5.0 } else { 5.0 })) y=(px(TOP - 6.0)) {
            "lowest, " (at.day) " " (words::month_short(at.month))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;

    #[test]
    fn the_line_is_broken_where_the_year_of_the_file_ends() {
        let (subject, plan) = (fixture::subject(), fixture::plan());
        let axis = YearAxis::new(&subject, 0.0, 365.0);
        let lengths: Vec<usize> = stretches(&subject, &plan, &axis).iter().map(Vec::len).collect();
        assert_eq!(lengths, [181, 184]);
    }
}
