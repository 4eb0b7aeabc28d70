//! What the outcome hangs on: a bar for each unknown, to the right where more of it helps, to the left where it harms; and how
//! many lives pass with least and with most of it.

use maud::{Markup, html};
use verdict::plan::{Driver, Survival};

use super::frame::{Scale, px, tick_label, ticks};
use super::{Chart, WIDTH};
use crate::{sentences, words};

const TOP: f64 = 44.0;
const ROW: f64 = 28.0;
/// Where the names end and the bars may begin.
const NAMES: f64 = 290.0;
const RIGHT: f64 = 220.0;
/// Right ends of the two columns of shares, counted from the right edge.
const LEAST: f64 = 95.0;
const MOST: f64 = 10.0;

/// The chart of the unknowns; `None` if nothing is unknown.
pub fn chart(chances: &Survival) -> Option<Chart> {
    let drivers = &chances.drivers;
    let title = match sentences::telling(drivers).next() {
        Some(first) => format!("What matters most: {}", first.name),
        None => "The weather matters most, not an unknown of site or parts".to_owned(),
    };
    let described: Vec<String> = drivers.iter().map(described_driver).collect();
    let bottom = TOP + ROW * drivers.len() as f64;
    (!drivers.is_empty()).then(|| Chart {
        id: "tornado".to_owned(),
        title,
        description: format!("Effect of each unknown on how well a life goes, from -1 to 1. {}.", described.join("; ")),
        note: Some(
            "Every life draws its own site and parts. The figures at the right say how many lives pass without an outage among the \
             fifth with least of it and the fifth with most: where they differ, it is worth measuring or improving. The \
             bar says the same of how low the charge gets: to the right, lives with more of it come out better; to the left, \
             worse (1: nothing else matters); what no bar explains is the weather."
                .to_owned(),
        ),
        width: WIDTH,
        height: bottom + 44.0,
        body: body(drivers, bottom),
    })
}

fn described_driver(driver: &Driver) -> String {
    format!(
        "{} {}: {} of the fifth of lives with least of it pass, {} of the fifth with most",
        driver.name,
        words::signed(driver.weight),
        sentences::share(driver.least),
        sentences::share(driver.most)
    )
}

fn body(drivers: &[Driver], bottom: f64) -> Markup {
    let largest = drivers.iter().map(|driver| driver.weight.abs()).fold(0.1, f64::max);
    let x = Scale::new((-largest, largest), (NAMES + 50.0, WIDTH - RIGHT));
    html! {
        text.tick.end x=(px(WIDTH - MOST)) y="12" { "lives without an outage, fifth with" }
        text.tick.end x=(px(WIDTH - LEAST)) y="30" { "least of it" }
        text.tick.end x=(px(WIDTH - MOST)) y="30" { "most of it" }
        @for tick in ticks(-largest, largest, 6) {
            path.rule d={ "M" (px(x.at(tick))) " " (px(TOP)) "V" (px(bottom)) } {}
            text.tick.middle x=(px(x.at(tick))) y=(px(bottom + 16.0)) { (tick_label(tick)) }
        }
        @for (row, driver) in drivers.iter().enumerate() { (bar(driver, x, TOP + ROW * row as f64)) }
        path.axis d={ "M" (px(x.at(0.0))) " " (px(TOP)) "V" (px(bottom)) } {}
        text.word x="0" y=(px(bottom + 36.0)) { "effect on the order of lives" }
        text.tick.end x=(px(x.at(0.0) - 8.0)) y=(px(bottom + 36.0)) { "more of it is worse" }
        text.tick x=(px(x.at(0.0) + 8.0)) y=(px(bottom + 36.0)) { "more of it is better" }
    }
}

fn bar(driver: &Driver, x: Scale, top: f64) -> Markup {
    let (from, to) = (x.at(0.0), x.at(driver.weight));
    let helps = driver.weight > 0.0;
    let middle = top + ROW / 2.0 + 4.0;
    html! {
        text.word x="0" y=(px(middle)) { (driver.name) }
        path.(if helps { "earn" } else { "spend" }) d={ "M" (px(from)) " " (px(top + 5.0)) "H" (px(to)) "V" (px(top + ROW - 5.0)) "H" (px(from)) "Z" } {}
        text.tick.(if helps { "start" } else { "end" }) x=(px(to + if helps { 5.0 } else { -5.0 })) y=(px(middle)) {
            (words::signed(driver.weight).replace('-', "−"))
        }
        text.word.end x=(px(WIDTH - LEAST)) y=(px(middle)) { (sentences::share(driver.least)) }
        text.word.end x=(px(WIDTH - MOST)) y=(px(middle)) { (sentences::share(driver.most)) }
    }
}
