//! What was counted, as `OpenMetrics` text.
//!
//! # References
//! `OpenMetrics` 1.0.0: counters end in `_total`, units stand in the name, the last line is `# EOF`.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::sync::atomic::{AtomicU64, Ordering};

use axum::http::header;
use axum::response::{IntoResponse as _, Response};

use super::{House, health};

const CONTENT_TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// All figures.
pub(super) fn answer(house: &House) -> Response {
    ([(header::CONTENT_TYPE, CONTENT_TYPE)], text(house)).into_response()
}

fn text(house: &House) -> String {
    let mut out = Families::default();
    what_came(&mut out, house);
    of_gateways(&mut out, house);
    of_the_log(&mut out, house);
    out.0 + "# EOF\n"
}

fn what_came(out: &mut Families, house: &House) {
    let counted = house.pulse.counted();
    let frames = "Frames and messages by what became of them.";
    out.counter("overwinter_frames", frames, by("verdict", counted.verdicts));
    let dropped = "Arrivals dropped because too many waited.";
    out.counter("overwinter_intake_dropped", dropped, number(&house.counts.dropped));
    let skipped = "Messages of sources that are not taken.";
    out.counter("overwinter_intake_skipped", skipped, by("source", counted.skipped));
    out.counter("overwinter_handed_on", "Readings that were handed on.", by("onward", counted.handed_on));
    let alarms = counted.alarms.into_iter().map(|(rule, count)| (rule.to_owned(), count)).collect();
    out.gauge("overwinter_alarms_open", "", "Alarms that stand open.", by("rule", alarms));
    if let Some(last) = counted.last {
        let help = "When the newest arrived, since 1970.";
        out.gauge("overwinter_last_arrival_timestamp_seconds", "seconds", help, one(last as f64 / 1e6));
    }
}

fn of_gateways(out: &mut Families, house: &House) {
    if let Some(gateways) = &house.gateways {
        let counts = gateways.counts();
        out.counter("overwinter_datagrams", "Datagrams of gateways.", number(&counts.datagrams));
        let unreadable = "Datagrams or entries that are no frame.";
        out.counter("overwinter_datagrams_unreadable", unreadable, number(&counts.unreadable));
    }
    if let Some(stations) = &house.stations {
        out.counter("overwinter_gateway_texts", "Texts of gateways on websockets.", number(&stations.texts));
        let unreadable = "Texts on websockets that are none of the protocol.";
        out.counter("overwinter_gateway_texts_unreadable", unreadable, number(&stations.unreadable));
    }
}

fn of_the_log(out: &mut Families, house: &House) {
    out.counter("overwinter_commits", "Commits of the log.", number(&house.counts.commits));
    let slowest_s = house.counts.slowest_commit_us.load(Ordering::Relaxed) as f64 / 1e6;
    let slowest = "The longest commit since the start.";
    out.gauge("overwinter_slowest_commit_seconds", "seconds", slowest, one(slowest_s));
    if let Ok(found) = std::fs::metadata(&house.log) {
        out.gauge("overwinter_log_bytes", "bytes", "Size of the log's file.", one(found.len() as f64));
    }
    let well = if health::wrong(&house.pulse).is_empty() { 1.0 } else { 0.0 };
    out.gauge("overwinter_well", "", "1 if nothing is wrong, else 0.", one(well));
}

/// Samples of a family: the labels of each, and its value.
type Samples = Vec<(String, f64)>;

fn one(value: f64) -> Samples {
    vec![(String::new(), value)]
}

fn number(count: &AtomicU64) -> Samples {
    one(count.load(Ordering::Relaxed) as f64)
}

fn by(label: &str, counts: BTreeMap<String, u64>) -> Samples {
    let row = |(name, count): (String, u64)| (format!("{{{label}=\"{}\"}}", escaped(&name)), count as f64);
    counts.into_iter().map(row).collect()
}

/// A label's value: backslash, quote and line end are escaped.
fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}

#[derive(Default)]
struct Families(String);

impl Families {
    fn counter(&mut self, name: &str, help: &str, samples: Samples) {
        self.family(name, "counter", "", help, "_total", samples);
    }

    fn gauge(&mut self, name: &str, unit: &str, help: &str, samples: Samples) {
        self.family(name, "gauge", unit, help, "", samples);
    }

    fn family(&mut self, name: &str, kind: &str, unit: &str, help: &str, ending: &str, samples: Samples) {
        let mut write =
            |line: std::fmt::Arguments<'_>| self.0.write_fmt(line).expect("a string takes any text");
        write(format_args!("# TYPE {name} {kind}\n"));
        if !unit.is_empty() {
            write(format_args!("# UNIT {name} {unit}\n"));
        }
        write(format_args!("# HELP {name} {help}\n"));
        for (labels, value) in samples {
            write(format_args!("{name}{ending}{labels} {value}\n"));
        }
    }
}
