//! The darkest fortnight hour by hour: sun, current, charge, temperature, one above the other.

use forecast::plan::{Hour, Plan};
use maud::{Markup, html};

use super::frame::{Scale, area, left_axis, line, px, ticks};
use super::{Chart, LEFT, RIGHT, WIDTH};
use crate::report::{Subject, words};

const HOURS: usize = 14 * 24;
const HEIGHT: f64 = 470.0;
const BOTTOM: f64 = 446.0;
/// Top and bottom of the four strips.
const SUN: (f64, f64) = (24.0, 104.0);
const CURRENT: (f64, f64) = (134.0, 224.0);
const CHARGE: (f64, f64) = (254.0, 334.0);
const WARMTH: (f64, f64) = (364.0, 446.0);

/// The chart of the fortnight with the least sun.
pub(crate) fn chart(subject: &Subject, plan: &Plan) -> Option<Chart> {
    let (from, hours) = fortnight(plan)?;
    let stops: Vec<f64> = subject.stops_percent.iter().skip(from).take(HOURS).copied().collect();
    let (first, last) = (hours.first()?, hours.last()?);
    let sun_wh: f64 = hours.iter().map(|hour| hour.in_plane.watts_per_square_metre()).sum::<f64>() / 14.0;
    let (from, to) = (first.charge.percent(), last.charge.percent());
    let verb = if to < from { "fell" } else { "rose" };
    let title = format!("The darkest fortnight: the charge {verb} from {from:.0} to {to:.0} %");
    let description = format!(
        "{} to {}, hour by hour. Sun on the panel on average {} watt-hours per square metre and day.",
        words::date(first.at),
        words::date(last.at),
        words::grouped(words::whole(sun_wh))
    );
    let note = format!(
        "From {} to {}, in local standard time. On an average day of this fortnight {} Wh of sun fell on a square metre of the panel.",
        words::date(first.at),
        words::date(last.at),
        words::grouped(words::whole(sun_wh))
    );
    Some(Chart {
        id: "fortnight",
        title,
        description,
        note: Some(note),
        width: WIDTH,
        height: HEIGHT,
        body: body(hours, &stops),
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
fn series(hours: &[Hour], x: Scale, y: Scale, value: impl Fn(&Hour) -> f64) -> Series {
    hours.iter().enumerate().map(|(index, hour)| (x.at(index as f64 + 0.5), y.at(value(hour)))).collect()
}

fn range(hours: &[Hour], value: impl Fn(&Hour) -> f64) -> (f64, f64) {
    let values = hours.iter().map(value);
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)))
}

fn body(hours: &[Hour], stops: &[f64]) -> Markup {
    let x = Scale::new((0.0, HOURS as f64), (LEFT, WIDTH - RIGHT));
    html! {
        (days(hours, x))
        (sun(hours, x))
        (current(hours, x))
        (charge(hours, stops, x))
        (warmth(hours, x))
    }
}

fn name(strip: (f64, f64), text: &str) -> Markup {
    html! { text.word x=(px(LEFT)) y=(px(strip.0 - 8.0)) { (text) } }
}

fn right_word(class: &str, y: f64, text: &str) -> Markup {
    html! { text.word.(class) x=(px(WIDTH - RIGHT + 6.0)) y=(px(y + 4.0)) { (text) } }
}

fn days(hours: &[Hour], x: Scale) -> Markup {
    html! {
        @for (index, hour) in hours.iter().enumerate().filter(|(_, hour)| hour.at.hour == 0) {
            @let place = x.at(index as f64);
            path.rule d={ "M" (px(place)) " " (px(SUN.0)) "V" (px(BOTTOM)) } {}
            text.tick.middle x=(px(x.at(index as f64 + 12.0))) y=(px(BOTTOM + 16.0)) {
                (hour.at.day) @if index < 24 || hour.at.day == 1 { " " (words::month_short(hour.at.month)) }
            }
        }
    }
}

fn sun(hours: &[Hour], x: Scale) -> Markup {
    let value = |hour: &Hour| hour.in_plane.watts_per_square_metre();
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

fn current(hours: &[Hour], x: Scale) -> Markup {
    let value = |hour: &Hour| hour.battery_current.milliamperes();
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

fn charge(hours: &[Hour], stops: &[f64], x: Scale) -> Markup {
    let highest = range(hours, |hour| hour.charge.percent()).1;
    let limit = stops.iter().copied().fold(0.0, f64::max);
    let top = (highest.max(limit) * 1.1).clamp(10.0, 100.0);
    let y = Scale::new((0.0, top), (CHARGE.1, CHARGE.0));
    let stops: Series =
        stops.iter().enumerate().map(|(hour, stops)| (x.at(hour as f64 + 0.5), y.at(*stops))).collect();
    html! {
        (name(CHARGE, "charge, %"))
        (left_axis(y, &ticks(0.0, top, 3), (LEFT, WIDTH - RIGHT)))
        path.limit d=(line(&stops)) {}
        @if let Some((_, end)) = stops.last() { (right_word("fails", *end, "stops below")) }
        path.forecast d=(line(&series(hours, x, y, |hour| hour.charge.percent()))) {}
    }
}

fn warmth(hours: &[Hour], x: Scale) -> Markup {
    let (air_low, air_high) = range(hours, |hour| hour.air.celsius());
    let (low, high) = range(hours, |hour| hour.battery.celsius());
    let (low, high) =
        (low.min(air_low).floor(), high.max(air_high).ceil().max(low.min(air_low).floor() + 1.0));
    let y = Scale::new((low, high), (WARMTH.1, WARMTH.0));
    let air = series(hours, x, y, |hour| hour.air.celsius());
    let battery = series(hours, x, y, |hour| hour.battery.celsius());
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
