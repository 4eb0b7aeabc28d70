//! The bench and soak sheet: what to measure before a node goes out, and what it should show.

use design::node::Design;
use logbook::registry::Node;
use maud::{Markup, html};
use report::words;
use verdict::expected::Bench;

use super::expected::Expected;
use super::paper::{self, blank, tick};

/// Rows of one page.
const PER_PAGE: usize = 24;

/// What one measurement is, what it should show, and when to stop.
struct Measurement {
    what: &'static str,
    how: String,
    expected: String,
    stop: String,
}

/// The sheet of these nodes.
pub(crate) fn pages(design: &Design, nodes: &[&Node], expected: &Expected) -> String {
    let kind = &design.name;
    let pages = html! {
        (measurements(design, expected))
        @for nodes in nodes.chunks(PER_PAGE) { (results(kind, nodes)) }
    };
    paper::document(&format!("Bench and soak: {kind}"), &pages)
}

fn measurements(design: &Design, expected: &Expected) -> Markup {
    let bench = &expected.bench;
    html! {
        section.page {
            (paper::head(&format!("Bench and soak: {}", design.name), "page 1"))
            h1 { "What to measure before it goes out" }
            p { "Currents at the battery's terminals, with a bench supply at " (format!("{:.2}", bench.voltage.volts())) " V and room temperature. \
                A trace must be longer than the longest interval, or the rare event is not in it." }
            (table("On the bench", &on_the_bench(design, expected)))
            (table("Soak", &soak(expected)))
            h2 { "Accept a board only if" }
            ul {
                (tick("it is awake for less than 5 s at a time, positioning and joining apart"))
                (tick("it comes back from a reset and from an empty battery by itself, without a downlink"))
                (tick("its message counter and join counter go on after a reset"))
                (tick("a sensor that is pulled off gives \"absent\", not a figure, and stops no other sensor"))
                (tick("its battery voltage agrees with a meter at two points, within 20 mV"))
                (tick("it joined in the region and on the channels of its design"))
            }
            (events(bench))
            (paper::foot("Limits without a source are our own choice: twice the spread of the design, or a usual rule."))
        }
    }
}

fn table(title: &str, rows: &[Measurement]) -> Markup {
    html! {
        h2 { (title) }
        table.room.names {
            thead { tr { th { "what" } th { "how" } th { "expected" } th { "stop if" } } }
            tbody { @for row in rows { tr { th { (row.what) } td { (row.how) } td { (row.expected) } td { (row.stop) } } } }
        }
    }
}

fn on_the_bench(design: &Design, expected: &Expected) -> Vec<Measurement> {
    let bench = &expected.bench;
    let (floor, spread) = (bench.floor.nominal.microamperes(), bench.floor.spread_si * 1e6);
    let assumed = if bench.floor_measured { "" } else { ", not yet measured on this board" };
    let mut rows = vec![
        Measurement {
            what: "Floor current",
            how: "mean of a stretch in which nothing happens, antenna on, no debugger, no USB".to_owned(),
            expected: format!("{} µA, ± {}{assumed}", words::figure(floor), words::figure(spread)),
            stop: format!(
                "above {} µA: look for a radio in standby, pull-ups, a powered sensor",
                words::figure(stop_above(floor, spread))
            ),
        },
        Measurement {
            what: "Largest pulse",
            how: "peak of the trace".to_owned(),
            expected: format!(
                "{} mA for {} s",
                words::figure(bench.pulse.amperes * 1e3),
                words::figure(bench.pulse.seconds)
            ),
            stop: "well above, or longer".to_owned(),
        },
        Measurement {
            what: "Brown-out sweep",
            how: "supply down and up again at 0.1 V/s, through a resistor as large as the battery's"
                .to_owned(),
            expected: format!(
                "stops at {:.2} V, restarts at {:.2} V",
                design.cutoff.stops_below.volts(),
                design.cutoff.restarts_above.volts()
            ),
            stop: "it hangs, chatters, or needs a button".to_owned(),
        },
    ];
    if let Some((gateway, near)) = &expected.near {
        rows.push(Measurement {
            what: "Signal at 10 m",
            how: format!("node and gateway {gateway} in sight of each other, 10 m apart, 20 messages"),
            expected: format!(
                "{:.0} dBm in the open, {:.0} dB more or less, SNR above 5 dB",
                near.received.dbm(),
                near.band.decibels()
            )
            .replace('-', "−"),
            stop: "15 dB less: antenna, connector or band are wrong".to_owned(),
        });
    }
    rows
}

/// Floor current above which a board is looked at \[µA\]: twice the spread, and at least a tenth, above the floor (own choice).
fn stop_above(floor_ua: f64, spread_ua: f64) -> f64 {
    floor_ua + 2.0 * spread_ua.max(0.05 * floor_ua)
}

fn soak(expected: &Expected) -> Vec<Measurement> {
    let bench = &expected.bench;
    let month = words::month(expected.month);
    let volts = match &expected.outdoors {
        Ok((outdoors, _)) => {
            format!("{:.2} V or more at dawn (forecast for {month})", outdoors.night.0.volts())
        }
        Err(_) => "voltage at dawn: not computed".to_owned(),
    };
    let mah = match &expected.outdoors {
        Ok((outdoors, _)) => format!(
            "{} mAh a day taken, {} mAh spent; {volts}",
            words::figure(outdoors.taken_per_day.milliampere_hours()),
            words::figure(outdoors.spent_per_day.milliampere_hours())
        ),
        Err(_) => volts,
    };
    let uplinks = |days: f64| words::grouped(words::whole(bench.uplinks_per_day * days));
    vec![
        Measurement {
            what: "24 hours",
            how: "on the bench, panel covered, coulomb counter in the battery lead".to_owned(),
            expected: format!(
                "{} mAh spent, {} messages",
                words::figure(bench.spent_per_day.milliampere_hours()),
                uplinks(1.0)
            ),
            stop: "a fifth more charge; any restart; a stop at a fixed time".to_owned(),
        },
        Measurement {
            what: "7 days",
            how: "outdoors in the final box, beside a node or thermometer you trust".to_owned(),
            expected: format!("{} messages; {mah}", uplinks(7.0)),
            stop: "a message in twenty is missing; it never charges; water in the box".to_owned(),
        },
    ]
}

fn events(bench: &Bench) -> Markup {
    html! {
        h2 { "Charge per event" }
        table {
            thead { tr { th { "event" } th.figure { "every, min" } th.figure { "µAh at the battery" } th.blank { "measured" } } }
            tbody {
                @for event in &bench.events {
                    tr { th { (event.activity) } td.figure { (words::figure(event.every.minutes())) } td.figure { (words::figure(1e3 * event.charge.milliampere_hours())) } (blank()) }
                }
            }
        }
        p.quiet { "The floor not counted. Sending is the mean over the data rates at the median position." }
    }
}

fn results(kind: &str, nodes: &[&Node]) -> Markup {
    html! {
        section.page {
            (paper::head(&format!("Bench and soak: {kind}"), "results"))
            table.room.names {
                thead { tr {
                    th { "node" } th.blank { "floor, µA" } th.blank { "per report, µAh" } th.blank { "stops, V" } th.blank { "restarts, V" }
                    th.blank { "10 m, dBm" } th.blank { "24 h, mAh" } th.blank { "7 d, missing" } th.blank { "good" }
                } }
                tbody { @for node in nodes { tr { th { (node.name) } @for _ in 0..8 { (blank()) } } } }
            }
            table.room.signed { tr { td { "Measured by" } (blank()) td { "instrument" } (blank()) td { "on" } (blank()) } }
            (paper::foot("Keep this sheet with the registry."))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_board_is_stopped_above_its_floor_by_twice_the_spread_and_at_least_a_tenth() {
        // By hand: 20 + 2 * 4, and 20 + 2 * 5 % of 20 where no spread is known.
        for (spread, limit) in [(4.0, 28.0), (0.5, 22.0), (0.0, 22.0)] {
            assert!((stop_above(20.0, spread) - limit).abs() < 1e-9, "{spread}");
        }
    }
}
