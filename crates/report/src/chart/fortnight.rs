//! A fortnight hour by hour: sun, current, charge, temperature, one above the other. The darkest of the life that is
//! shown, or that in which the worst of many lives went down.

use maud::{Markup, html};
use verdict::plan::{FortnightHour, Hour, NodeState, Plan, Survival};

use super::frame::{Scale, area, left_axis, line, px, ticks};
use super::{Chart, LEFT, RIGHT, WIDTH};
use crate::{ReportedDesign, words};

const HOURS: usize = 14 * 24;
const HEIGHT: f64 = 470.0;
const BOTTOM: f64 = 446.0;
/// Top and bottom of the four strips.
const SUN: (f64, f64) = (24.0, 104.0);
const CURRENT: (f64, f64) = (134.0, 224.0);
const CHARGE: (f64, f64) = (254.0, 334.0);
const WARMTH: (f64, f64) = (364.0, 446.0);

/// One hour of a drawing.
#[derive(Clone, Copy, Debug)]
struct Sample {
    month: u8,
    day: u8,
    hour: u8,
    sun_w_m2: f64,
    milliamperes: f64,
    charge_percent: f64,
    stops_percent: f64,
    air_celsius: f64,
    battery_celsius: f64,
    running: bool,
}

impl Sample {
    fn of_hour(hour: &Hour, stops_percent: f64) -> Self {
        Self {
            month: hour.at.month,
            day: hour.at.day,
            hour: hour.at.hour,
            sun_w_m2: hour.in_plane.watts_per_square_metre(),
            milliamperes: hour.battery_current.milliamperes(),
            charge_percent: hour.charge.percent(),
            stops_percent,
            air_celsius: hour.air.celsius(),
            battery_celsius: hour.battery.celsius(),
            running: hour.state != NodeState::Stopped,
        }
    }

    fn of_worst(hour: &FortnightHour, stops_percent: f64) -> Self {
        let (month, day) = words::month_and_day(hour.place / 24);
        Self {
            month,
            day,
            hour: u8::try_from(hour.place % 24).unwrap_or(0),
            sun_w_m2: f64::from(hour.in_plane_w_m2),
            milliamperes: 1000.0 * f64::from(hour.amperes),
            charge_percent: 100.0 * f64::from(hour.charge),
            stops_percent,
            air_celsius: f64::from(hour.air_celsius),
            battery_celsius: f64::from(hour.battery_celsius),
            running: hour.running,
        }
    }

    fn date(&self) -> String {
        format!("{} {}", self.day, words::month(self.month))
    }
}

/// The chart of the fortnight with the least sun.
pub fn chart(subject: &ReportedDesign, plan: &Plan) -> Option<Chart> {
    let (from, hours) = fortnight(plan)?;
    let stops = subject.stops_percent.iter().skip(from).copied().chain(std::iter::repeat(0.0));
    let samples: Vec<Sample> =
        hours.iter().zip(stops).map(|(hour, stops)| Sample::of_hour(hour, stops)).collect();
    let (first, last) = (samples.first()?, samples.last()?);
    let (from, to) = (first.charge_percent, last.charge_percent);
    let verb = if to < from { "fell" } else { "rose" };
    let title = format!("The darkest fortnight: the charge {verb} from {from:.0} to {to:.0} %");
    drawn("fortnight", title, &samples)
}

/// The chart of the fortnight in which the worst of many lives stopped, or stood lowest.
pub fn worst(subject: &ReportedDesign, chances: &Survival) -> Option<Chart> {
    let hours = &chances.worst.year.fortnight;
    let stops = subject.worst_stops_percent.iter().copied().chain(std::iter::repeat(0.0));
    let samples: Vec<Sample> =
        hours.iter().zip(stops).map(|(hour, stops)| Sample::of_worst(hour, stops)).collect();
    let lowest = samples.iter().map(|sample| sample.charge_percent).fold(100.0, f64::min);
    let of = words::grouped(chances.lives);
    let stopped = samples.iter().find(|sample| !sample.running);
    let title = match stopped {
        Some(sample) => format!("The worst of {of} lives stops on {}", sample.date()),
        None => format!("The worst of {of} lives falls to {lowest:.0} % and goes on"),
    };
    drawn("winter", title, &samples)
}

fn drawn(id: &str, title: String, samples: &[Sample]) -> Option<Chart> {
    let (first, last) = (samples.first()?, samples.last()?);
    let days = samples.len() as f64 / 24.0;
    let sun_wh = samples.iter().map(|sample| sample.sun_w_m2).sum::<f64>() / days;
    let sun_wh = words::grouped(words::whole(sun_wh));
    Some(Chart {
        id: id.to_owned(),
        title,
        description: format!(
            "{} to {}, hour by hour. The charge goes from {:.0} to {:.0} %. Sun on the panel on average {sun_wh} watt-hours \
             per square metre and day.",
            first.date(),
            last.date(),
            first.charge_percent,
            last.charge_percent
        ),
        note: Some(format!(
            "From {} to {}, hour by hour. On an average day of this time {sun_wh} Wh of sun fell on a square metre of the \
             panel.",
            first.date(),
            last.date()
        )),
        width: WIDTH,
        height: HEIGHT,
        body: body(samples),
    })
}

/// The fourteen whole days in a row with the least sun on the panel, and the place of their first hour.
fn fortnight(plan: &Plan) -> Option<(usize, &[Hour])> {
    let sun = |hours: &[Hour]| hours.iter().map(|hour| hour.in_plane.watts_per_square_metre()).sum::<f64>();
    let stretches = plan.hours.windows(HOURS).enumerate();
    let stretches =
        stretches.filter(|(_, hours)| hours.first().is_some_and(|hour| hour.at.hour == 0) && follow(hours));
    stretches.min_by(|one, other| sun(one.1).total_cmp(&sun(other.1)))
}

/// Whether no hour is left out between them: the last year of a life may begin in the middle of the record.
fn follow(hours: &[Hour]) -> bool {
    hours.windows(2).all(|pair| matches!(pair, [one, next] if next.at.hour == (one.at.hour + 1) % 24))
}

type Series = Vec<(f64, f64)>;

/// A line of one figure over the hours.
fn series(hours: &[Sample], x: Scale, y: Scale, value: impl Fn(&Sample) -> f64) -> Series {
    hours.iter().enumerate().map(|(index, hour)| (x.at(index as f64 + 0.5), y.at(value(hour)))).collect()
}

fn range(hours: &[Sample], value: impl Fn(&Sample) -> f64) -> (f64, f64) {
    let values = hours.iter().map(value);
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)))
}

fn body(hours: &[Sample]) -> Markup {
    let x = Scale::new((0.0, hours.len() as f64), (LEFT, WIDTH - RIGHT));
    html! {
        (days(hours, x))
        (sun(hours, x))
        (current(hours, x))
        (charge(hours, x))
        (warmth(hours, x))
    }
}

fn name(strip: (f64, f64), text: &str) -> Markup {
    html! { text.word x=(px(LEFT)) y=(px(strip.0 - 8.0)) { (text) } }
}

fn right_word(class: &str, y: f64, text: &str) -> Markup {
    html! { text.word.(class) x=(px(WIDTH - RIGHT + 6.0)) y=(px(y + 4.0)) { (text) } }
}

fn days(hours: &[Sample], x: Scale) -> Markup {
    html! {
        @for (index, hour) in hours.iter().enumerate().filter(|(_, hour)| hour.hour == 0) {
            @let place = x.at(index as f64);
            path.rule d={ "M" (px(place)) " " (px(SUN.0)) "V" (px(BOTTOM)) } {}
            @if index + 16 <= hours.len() { text.tick.middle x=(px(x.at(index as f64 + 12.0))) y=(px(BOTTOM + 16.0)) {
                (hour.day) @if index < 24 || hour.day == 1 { " " (words::month_short(hour.month)) }
            } }
        }
    }
}

fn sun(hours: &[Sample], x: Scale) -> Markup {
    let value = |hour: &Sample| hour.sun_w_m2;
    let top = range(hours, value).1.max(100.0);
    let y = Scale::new((0.0, top), (SUN.1, SUN.0));
    let upper = series(hours, x, y, value);
    let lower: Series = upper.iter().map(|(place, _)| (*place, SUN.1)).collect();
    html! {
        (name(SUN, "sun on the panel, W/m²"))
        (left_axis(y, &ticks(0.0, top, 3), (LEFT, WIDTH - RIGHT)))
        path.earn d=(area(&upper, &lower)) {}
    }
}

fn current(hours: &[Sample], x: Scale) -> Markup {
    let value = |hour: &Sample| hour.milliamperes;
    let (low, high) = range(hours, value);
    let (low, high) = (low.min(-0.1 * high.abs()), high.max(0.1));
    let y = Scale::new((low, high), (CURRENT.1, CURRENT.0));
    let zero = |points: &Series| points.iter().map(|(place, _)| (*place, y.at(0.0))).collect::<Series>();
    let into = series(hours, x, y, |hour| value(hour).max(0.0));
    let out = series(hours, x, y, |hour| value(hour).min(0.0));
    html! {
        (name(CURRENT, "current into the battery (above zero) and out of it (below), mA"))
        (left_axis(y, &ticks(low, high, 3), (LEFT, WIDTH - RIGHT)))
        path.earn d=(area(&into, &zero(&into))) {}
        path.spend d=(area(&zero(&out), &out)) {}
        path.axis d={ "M" (px(LEFT)) " " (px(y.at(0.0))) "H" (px(WIDTH - RIGHT)) } {}
    }
}

fn charge(hours: &[Sample], x: Scale) -> Markup {
    let highest = range(hours, |hour| hour.charge_percent).1;
    let limit = range(hours, |hour| hour.stops_percent).1;
    let top = (highest.max(limit) * 1.1).clamp(10.0, 100.0);
    let y = Scale::new((0.0, top), (CHARGE.1, CHARGE.0));
    let stops = series(hours, x, y, |hour| hour.stops_percent);
    html! {
        (name(CHARGE, "charge, %"))
        (left_axis(y, &ticks(0.0, top, 3), (LEFT, WIDTH - RIGHT)))
        path.limit d=(line(&stops)) {}
        @if let Some((_, end)) = stops.last() { (right_word("fails", *end, "stops below")) }
        path.forecast d=(line(&series(hours, x, y, |hour| hour.charge_percent))) {}
        @let bars = stopped(hours, x);
        @if !bars.is_empty() { path.stopped d=(bars) {} text.word.fails x=(px(WIDTH - RIGHT + 6.0)) y=(px(CHARGE.1 + 4.0)) { "stopped" } }
    }
}

/// Hours in which the node was stopped, as bars on the floor of the strip.
fn stopped(hours: &[Sample], x: Scale) -> String {
    let bar = |(index, _): (usize, &Sample)| {
        let (from, to) = (x.at(index as f64), x.at(index as f64 + 1.0));
        area(&[(from, CHARGE.1 - 6.0), (to, CHARGE.1 - 6.0)], &[(from, CHARGE.1), (to, CHARGE.1)])
    };
    hours.iter().enumerate().filter(|(_, hour)| !hour.running).map(bar).collect()
}

fn warmth(hours: &[Sample], x: Scale) -> Markup {
    let (air_low, air_high) = range(hours, |hour| hour.air_celsius);
    let (low, high) = range(hours, |hour| hour.battery_celsius);
    let (low, high) =
        (low.min(air_low).floor(), high.max(air_high).ceil().max(low.min(air_low).floor() + 1.0));
    let y = Scale::new((low, high), (WARMTH.1, WARMTH.0));
    let air = series(hours, x, y, |hour| hour.air_celsius);
    let battery = series(hours, x, y, |hour| hour.battery_celsius);
    let ends = (air.last().map_or(0.0, |end| end.1), battery.last().map_or(0.0, |end| end.1));
    let apart = (15.0 - (ends.0 - ends.1).abs()).max(0.0) / 2.0;
    let (air_word, battery_word) =
        if ends.0 > ends.1 { (ends.0 + apart, ends.1 - apart) } else { (ends.0 - apart, ends.1 + apart) };
    html! {
        (name(WARMTH, "temperature, °C"))
        (left_axis(y, &ticks(low, high, 4), (LEFT, WIDTH - RIGHT)))
        @if low < 0.0 && high > 0.0 { path.axis d={ "M" (px(LEFT)) " " (px(y.at(0.0))) "H" (px(WIDTH - RIGHT)) } {} }
        path.quiet d=(line(&air)) {}
        path.ink d=(line(&battery)) {}
        (right_word("quiet", air_word, "air"))
        (right_word("ink", battery_word, "battery"))
    }
}
