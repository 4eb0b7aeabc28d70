//! When the sun reaches the panel: hour of the day against week of the year.

use std::fmt::Write as _;

use maud::{Markup, html};
use verdict::plan::Plan;

use super::frame::{Scale, YearAxis, line, px, ticks};
use super::{Chart, LEFT, RIGHT, WIDTH};
use crate::{ReportedDesign, sentences, words};

const TOP: f64 = 14.0;
const BOTTOM: f64 = 254.0;
const HEIGHT: f64 = 280.0;
const WEEKS: usize = 53;
/// Shares of the highest step at which the steps begin; the lowest is "nearly nothing".
const STEPS: [f64; 6] = [0.01, 0.05, 0.15, 0.3, 0.5, 0.75];

/// Mean sun on the panel [W/m²] by week and hour.
type Weeks = Vec<[f64; 24]>;

/// The heat map of the last year.
pub fn chart(subject: &ReportedDesign, plan: &Plan) -> Option<Chart> {
    let x = YearAxis::new(subject, LEFT, WIDTH - RIGHT);
    let weeks = weeks(plan, &x);
    let most = weeks.iter().flatten().copied().fold(0.0, f64::max);
    if most <= 0.0 {
        return None;
    }
    let (from, to, share) = busiest(plan);
    let title = format!("The panel gets {share:.0} % of its sun between {from:02}:00 and {to:02}:00");
    let description = format!(
        "Mean sun on the panel by hour of the day and week of the year, at most {} watts per square metre. {title}.",
        words::figure(most)
    );
    Some(Chart {
        id: "earns".to_owned(),
        title,
        description,
        note: Some(format!(
            "Each cell is the mean of one hour of the day over one week, in {}; the lines are sunrise and sunset on a flat \
             horizon. Light missing in the morning or the evening is the shadow of the skyline.",
            sentences::clock(plan)
        )),
        width: WIDTH,
        height: HEIGHT,
        body: body(subject, &x, &weeks, most),
    })
}

fn weeks(plan: &Plan, x: &YearAxis) -> Weeks {
    let mut sums = vec![[(0.0, 0_u32); 24]; WEEKS];
    for hour in &plan.hours {
        let week = usize::from(x.day(hour.at.month, hour.at.day) / 7);
        if let Some(cell) = sums.get_mut(week).and_then(|week| week.get_mut(usize::from(hour.at.hour))) {
            cell.0 += hour.in_plane.watts_per_square_metre();
            cell.1 += 1;
        }
    }
    let mean = |(sum, count): (f64, u32)| if count == 0 { 0.0 } else { sum / f64::from(count) };
    sums.into_iter().map(|week| week.map(mean)).collect()
}

/// The six hours of the day with most sun on the panel, and their share of the year's sun [%].
fn busiest(plan: &Plan) -> (usize, usize, f64) {
    let mut by_hour = [0.0; 24];
    for hour in &plan.hours {
        if let Some(sum) = by_hour.get_mut(usize::from(hour.at.hour)) {
            *sum += hour.in_plane.watts_per_square_metre();
        }
    }
    let total: f64 = by_hour.iter().sum();
    let sums = by_hour.windows(6).map(|window| window.iter().sum::<f64>()).enumerate();
    let (from, most) = sums.max_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0, 0.0));
    (from, from + 6, 100.0 * most / total)
}

/// The step (1 to 6) of a mean, 0 for next to nothing.
fn step(mean: f64, top: f64) -> usize {
    STEPS.iter().filter(|least| mean >= **least * top).count()
}

fn body(subject: &ReportedDesign, x: &YearAxis, weeks: &[[f64; 24]], most: f64) -> Markup {
    let top = ticks(0.0, most, 4).last().copied().unwrap_or(most);
    let y = Scale::new((0.0, 24.0), (TOP, BOTTOM));
    html! {
        rect.night x=(px(LEFT)) y=(px(TOP)) width=(px(WIDTH - RIGHT - LEFT)) height=(px(BOTTOM - TOP)) {}
        @for level in 1..=STEPS.len() {
            path.heat.{ "heat-" (level) } d=(cells(weeks, x, y, level, top)) {}
        }
        (daylight(subject, x, y))
        @for hour in [0, 6, 12, 18, 24] {
            text.tick.end x=(px(LEFT - 6.0)) y=(px(y.at(f64::from(hour)) + 4.0)) { (format!("{hour:02}:00")) }
        }
        (x.names(BOTTOM))
        (key(top))
    }
}

/// All cells of one step as one path, runs of hours together.
fn cells(weeks: &[[f64; 24]], x: &YearAxis, y: Scale, level: usize, top: f64) -> String {
    let mut path = String::new();
    for (week, hours) in weeks.iter().enumerate() {
        let (left, right) = (px(x.at(7.0 * week as f64)), px(x.at(7.0 * week as f64 + 7.0)));
        let mut hour = 0;
        while hour < 24 {
            let run = hours.iter().skip(hour).take_while(|mean| step(**mean, top) == level).count();
            if run > 0 {
                let (upper, lower) = (px(y.at(hour as f64)), px(y.at((hour + run) as f64)));
                write!(path, "M{left} {upper}H{right}V{lower}H{left}Z").expect("a string takes any text");
            }
            hour += run.max(1);
        }
    }
    path
}

/// Sunrise and sunset across the map.
fn daylight(subject: &ReportedDesign, x: &YearAxis, y: Scale) -> Markup {
    let edge = |pick: fn(&(f64, f64)) -> f64| -> Vec<(f64, f64)> {
        let day = |day: u16| subject.daylight_h.get(usize::from(x.day_of_year(day))).map(pick);
        (0..365_u16).filter_map(|at| Some((x.at(f64::from(at) + 0.5), y.at(day(at)?)))).collect()
    };
    html! { path.ink d=(line(&edge(|hours| hours.0))) {} path.ink d=(line(&edge(|hours| hours.1))) {} }
}

/// Steps with their figures, the highest on top.
fn key(top: f64) -> Markup {
    let left = WIDTH - RIGHT + 14.0;
    html! {
        text.tick x=(px(left)) y=(px(TOP + 8.0)) { "W/m²" }
        @for (row, level) in (1..=STEPS.len()).rev().enumerate() {
            @let place = TOP + 18.0 + 18.0 * row as f64;
            @let least = STEPS.get(level - 1).map_or(0.0, |share| share * top);
            rect.heat.{ "heat-" (level) } x=(px(left)) y=(px(place)) width="14" height="14" {}
            text.tick x=(px(left + 20.0)) y=(px(place + 11.0)) {
                @if let Some(most) = STEPS.get(level) { (whole_or_figure(least)) " to " (whole_or_figure(most * top)) }
                @else { (whole_or_figure(least)) " and up" }
            }
        }
    }
}

fn whole_or_figure(w_m2: f64) -> String {
    if w_m2 < 10.0 { words::figure_short(w_m2) } else { format!("{w_m2:.0}") }
}
