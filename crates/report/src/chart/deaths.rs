//! How soon lives stop with one thing gone wrong: from the day half have stopped to the day nine in ten have.

use design::quantity::Share;
use maud::{Markup, html};
use verdict::plan::{FaultRow, Survival};

use super::frame::{Scale, px, tick_label, ticks};
use super::{Chart, WIDTH};
use crate::{sentences, words};

const TOP: f64 = 26.0;
const ROW: f64 = 32.0;
const NAMES: f64 = 300.0;
const RIGHT: f64 = 170.0;

/// The chart of the faults; `None` if none was tried.
pub fn chart(chances: &Survival) -> Option<Chart> {
    let faults = &chances.faults;
    let title = match faults.first().map(|row| (row, row.median_days)) {
        Some((row, Some(days))) => {
            format!(
                "Worst single fault: {}; half of the lives it stops have stopped within {}",
                words::fault(&row.fault),
                words::days(days)
            )
        }
        _ => "Nothing that was tried stops a life within a year".to_owned(),
    };
    let described: Vec<String> =
        faults.iter().map(|row| format!("{}: {}", words::fault(&row.fault), sentences::fault(row))).collect();
    let bottom = TOP + ROW * faults.len() as f64;
    (!faults.is_empty()).then(|| Chart {
        id: "deaths".to_owned(),
        title,
        description: described.join(". "),
        note: Some(
            "50 lives with each fault, which begins with a full battery a month before the darkest. Of the lives that stop, half \
             have stopped where the bar begins and nine in ten where it ends."
                .to_owned(),
        ),
        width: WIDTH,
        height: bottom + 42.0,
        body: body(faults, bottom),
    })
}

fn body(faults: &[FaultRow], bottom: f64) -> Markup {
    let longest = faults.iter().filter_map(|row| row.most_days).fold(7.0, f64::max);
    let x = Scale::new((0.0, longest * 1.04), (NAMES, WIDTH - RIGHT));
    html! {
        @for tick in ticks(0.0, longest, 6) {
            path.rule d={ "M" (px(x.at(tick))) " " (px(TOP)) "V" (px(bottom)) } {}
            text.tick.middle x=(px(x.at(tick))) y=(px(bottom + 16.0)) { (tick_label(tick)) }
        }
        path.axis d={ "M" (px(x.at(0.0))) " " (px(TOP)) "V" (px(bottom)) } {}
        text.tick.middle x=(px(f64::midpoint(NAMES, WIDTH - RIGHT))) y=(px(bottom + 34.0)) { "days until it stops" }
        text.tick.end x=(px(WIDTH - RIGHT + 70.0)) y=(px(TOP - 8.0)) { "stops" }
        text.tick.end x=(px(WIDTH)) y=(px(TOP - 8.0)) { "recover unaided" }
        @for (row, fault) in faults.iter().enumerate() { (line(fault, x, TOP + ROW * row as f64)) }
    }
}

fn line(fault: &FaultRow, x: Scale, top: f64) -> Markup {
    let middle = top + ROW / 2.0;
    let percent = |share: Share| format!("{:.0} %", share.percent());
    html! {
        text.word x="0" y=(px(middle + 4.0)) { (words::fault(&fault.fault)) }
        @if let (Some(median), Some(most)) = (fault.median_days, fault.most_days) {
            @let (from, to) = (x.at(median), x.at(most).max(x.at(median) + 2.0));
            path.spend d={ "M" (px(from)) " " (px(middle - 6.0)) "H" (px(to)) "v12H" (px(from)) "Z" } {}
            path.axis d={ "M" (px(from)) " " (px(middle - 9.0)) "v18" } {}
            text.tick.end x=(px(from - 5.0)) y=(px(middle + 4.0)) { (format!("{median:.0}")) }
        } @else {
            text.quiet x=(px(x.at(0.0) + 8.0)) y=(px(middle + 4.0)) { "no life stops within a year" }
        }
        text.tick.end x=(px(WIDTH - RIGHT + 70.0)) y=(px(middle + 4.0)) { (percent(fault.stops)) }
        text.tick.end x=(px(WIDTH)) y=(px(middle + 4.0)) { (fault.comes_back.map_or(String::new(), percent)) }
    }
}
