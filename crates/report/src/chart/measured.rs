//! What a node reported of its battery, day by day, against what the swarm of the day before foretold; and how many of such
//! nodes still run in the days to come.

use forecast::learn::{Band, DayBand, date_of};
use maud::{Markup, html};

use super::frame::{Scale, area, left_axis, line, px, ticks};
use super::{Chart, LEFT, RIGHT, WIDTH};
use crate::sentences::truth::Told;
use crate::words;

const TOP: f64 = 40.0;
const BOTTOM: f64 = 252.0;
const HEIGHT: f64 = 284.0;
/// Above and below all that is drawn \[V\].
const MARGIN_V: f64 = 0.03;
/// Between two dates at the axis \[days\].
const DATES_EVERY: usize = 10;

/// A block of a day: where it lies \[days since the first\], what was foretold and seen \[V\].
struct Block {
    at: f64,
    foretold: Band,
    seen: f64,
}

/// The chart of the log; none without a voltage.
pub fn chart(told: &Told) -> Option<Chart> {
    let days = &told.truth.learned.band;
    let blocks: Vec<Block> = days.iter().enumerate().flat_map(|(index, day)| blocks(index, day)).collect();
    let inside =
        blocks.iter().filter(|one| (one.foretold.p05..=one.foretold.p95).contains(&one.seen)).count();
    let share = 100.0 * inside as f64 / blocks.len().max(1) as f64;
    let (first, last) = (blocks.first()?, blocks.last()?);
    Some(Chart {
        id: "measured".to_owned(),
        title: format!("{share:.0} % of what it sent lay where it was foretold the day before"),
        description: format!(
            "Battery voltage over {}: {:.2} V at first, {:.2} V at last; the band of 9 in 10 held {share:.0} % of the means of four hours.",
            words::count(days.len(), "day"),
            first.seen,
            last.seen
        ),
        note: Some(
            "Line: mean of four hours of the voltage that was sent. Band: where 9 in 10 of the nodes that fitted until the day \
             before had it, whatever the sun would do."
                .to_owned(),
        ),
        width: WIDTH,
        height: HEIGHT,
        body: body(days, &blocks),
    })
}

fn blocks(index: usize, day: &DayBand) -> Vec<Block> {
    let places = day.foretold_volts.iter().zip(day.seen_volts).enumerate();
    let count = day.seen_volts.len() as f64;
    places
        .filter_map(|(block, (foretold, seen))| {
            Some(Block {
                at: index as f64 + (block as f64 + 0.5) / count,
                foretold: (*foretold)?,
                seen: seen?,
            })
        })
        .collect()
}

fn body(days: &[DayBand], blocks: &[Block]) -> Markup {
    let lows = blocks.iter().map(|one| one.seen.min(one.foretold.p05));
    let highs = blocks.iter().map(|one| one.seen.max(one.foretold.p95));
    let (low, high) = (lows.fold(f64::INFINITY, f64::min) - MARGIN_V, highs.fold(0.0, f64::max) + MARGIN_V);
    let right = WIDTH - RIGHT;
    let (x, y) =
        (Scale::new((0.0, days.len() as f64), (LEFT, right)), Scale::new((low, high), (BOTTOM, TOP)));
    let points = |of: &dyn Fn(&Block) -> f64| -> Vec<(f64, f64)> {
        blocks.iter().map(|one| (x.at(one.at), y.at(of(one)))).collect()
    };
    html! {
        (left_axis(y, &ticks(low, high, 5), (LEFT, right)))
        text.word x=(px(LEFT)) y=(px(TOP - 18.0)) { "V at the battery" }
        path.nine d=(area(&points(&|one| one.foretold.p95), &points(&|one| one.foretold.p05))) {}
        path.ink fill="none" d=(line(&points(&|one| one.seen))) {}
        path.axis d={ "M" (px(LEFT)) " " (px(BOTTOM)) "H" (px(right)) } {}
        @for (index, day) in days.iter().enumerate().step_by(DATES_EVERY) {
            text.tick x=(px(x.at(index as f64))) y=(px(BOTTOM + 16.0)) { (date(day.day)) }
        }
    }
}

fn date(day: i64) -> String {
    let (_, month, of_month) = date_of(day * 86_400);
    format!("{of_month} {}", words::month_short(month))
}
