//! Month by month: what the sun offers against what the node spends.

use maud::{Markup, html};
use verdict::plan::{MonthRow, Plan};

use super::frame::{Scale, left_axis, px, ticks};
use super::{Chart, LEFT, RIGHT, WIDTH, apart};
use crate::{ReportedDesign, words};

const TOP: f64 = 40.0;
const BOTTOM: f64 = 252.0;
const HEIGHT: f64 = 294.0;
/// A bar higher than this many times the load (and than the darkest month) is torn off, so that the dark months stay readable.
const TORN_AT_LOADS: f64 = 4.0;

/// The chart of the last year's months.
pub fn chart(subject: &ReportedDesign, plan: &Plan) -> Chart {
    let offered = |row: &MonthRow| row.offered_per_day.milliampere_hours();
    let spent = |row: &MonthRow| row.spent_per_day.milliampere_hours();
    let short: Vec<&str> = plan
        .months
        .iter()
        .filter(|row| offered(row) < spent(row))
        .map(|row| words::month(row.month))
        .collect();
    let title = match short.as_slice() {
        [] => "The sun offers more than the node spends in every month".to_owned(),
        [one] => format!("In {one} the sun offers less than the node spends"),
        many => format!("In {} months the sun offers less than the node spends", many.len()),
    };
    let described: Vec<String> = subject
        .months()
        .filter_map(|month| plan.months.iter().find(|row| row.month == month))
        .map(|row| {
            let name = words::month(row.month);
            format!(
                "{name} {:.0} offered, {:.0} taken, {:.0} spent",
                offered(row),
                row.taken_per_day.milliampere_hours(),
                spent(row)
            )
        })
        .collect();
    Chart {
        id: "months".to_owned(),
        title,
        description: format!("Milliampere-hours a day. {}.", described.join("; ")),
        note: Some(
            "The pale bar is what panel and charger offer, the full bar what the battery takes of it, the line what the \
             node spends. The figure under a month says how many times the sun offers what is spent; bars with a torn \
             top reach beyond the drawing, their figure stands above."
                .to_owned(),
        ),
        width: WIDTH,
        height: HEIGHT,
        body: body(subject, plan),
    }
}

fn body(subject: &ReportedDesign, plan: &Plan) -> Markup {
    let rows: Vec<&MonthRow> =
        subject.months().filter_map(|month| plan.months.iter().find(|row| row.month == month)).collect();
    let largest = |value: fn(&MonthRow) -> f64| rows.iter().map(|row| value(row)).fold(0.0, f64::max);
    let most_spent = largest(|row| row.spent_per_day.milliampere_hours());
    let most_offered = largest(|row| row.offered_per_day.milliampere_hours());
    let least_offered =
        rows.iter().map(|row| row.offered_per_day.milliampere_hours()).fold(f64::INFINITY, f64::min);
    let top = most_offered.min(f64::max(TORN_AT_LOADS * most_spent, 1.25 * least_offered));
    let top = top.max(most_spent * 1.1).max(1e-9);
    let y = Scale::new((0.0, top), (BOTTOM, TOP));
    let right = WIDTH - RIGHT;
    let step = (right - LEFT) / rows.len().max(1) as f64;
    html! {
        (left_axis(y, &ticks(0.0, top, 5), (LEFT, right)))
        text.word x=(px(LEFT)) y=(px(TOP - 26.0)) { "mAh a day" }
        @for (index, row) in rows.iter().enumerate() {
            (month(row, y, top, LEFT + step * index as f64, step))
        }
        path.axis d={ "M" (px(LEFT)) " " (px(BOTTOM)) "H" (px(right)) } {}
        (names(&rows, y, right))
    }
}

fn month(row: &MonthRow, y: Scale, top: f64, from: f64, step: f64) -> Markup {
    let offered = row.offered_per_day.milliampere_hours();
    let taken = row.taken_per_day.milliampere_hours();
    let spent = row.spent_per_day.milliampere_hours();
    let (left, width) = (from + step * 0.16, step * 0.68);
    let middle = from + step / 2.0;
    let torn = offered > top * 1.001;
    let times = if spent > 0.0 { format!("× {}", words::figure(offered / spent)) } else { String::new() };
    html! {
        path.offered d=(bar(left, width, y.at(offered), torn)) {}
        path.taken d=(bar(left, width, y.at(taken), taken > top * 1.001)) {}
        @if torn { text.tick.middle x=(px(middle)) y=(px(TOP - 8.0)) { (format!("{offered:.0}")) } }
        path.spent d={ "M" (px(from + step * 0.04)) " " (px(y.at(spent))) "h" (px(step * 0.92)) } {}
        text.tick.middle x=(px(middle)) y=(px(BOTTOM + 16.0)) { (words::month_short(row.month)) }
        text.tick.middle.(if offered < spent { "fails" } else { "quiet" }) x=(px(middle)) y=(px(BOTTOM + 33.0)) { (times) }
    }
}

/// A bar from the floor, with a torn top where it reaches beyond the drawing.
fn bar(left: f64, width: f64, top: f64, torn: bool) -> String {
    let right = left + width;
    if torn {
        let tooth = px(width / 6.0);
        let teeth = format!("l{tooth} -4l{tooth} 4").repeat(3);
        return format!("M{} {}V{}{teeth}V{}Z", px(left), px(BOTTOM), px(top), px(BOTTOM));
    }
    format!("M{} {}V{}H{}V{}Z", px(left), px(BOTTOM), px(top), px(right), px(BOTTOM))
}

/// Words at the last month instead of a key, kept apart.
fn names(rows: &[&MonthRow], y: Scale, right: f64) -> Markup {
    let Some(last) = rows.last() else { return html! {} };
    let places = apart(vec![
        ("offered", "sun", y.at(last.offered_per_day.milliampere_hours())),
        ("taken", "sun", y.at(last.taken_per_day.milliampere_hours())),
        ("spent", "spend", y.at(last.spent_per_day.milliampere_hours())),
    ]);
    html! {
        @for (word, class, place) in places {
            text.word.(class) x=(px(right + 6.0)) y=(px(place)) { (word) }
        }
        text.word x=(px(right + 6.0)) y=(px(BOTTOM + 33.0)) { "offered / spent" }
    }
}
