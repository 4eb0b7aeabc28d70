//! What was counted, as `OpenMetrics` text.
//!
//! # References
//! `OpenMetrics` 1.0.0: counters end in `_total`, units stand in the name, the last line is `# EOF`.

use std::fmt::Write as _;
use std::sync::atomic::Ordering;

use axum::http::header;
use axum::response::{IntoResponse as _, Response};

use super::{House, health};

const CONTENT_TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// All figures.
pub(super) fn answer(house: &House) -> Response {
    ([(header::CONTENT_TYPE, CONTENT_TYPE)], text(house)).into_response()
}

fn text(house: &House) -> String {
    let counted = house.pulse.counted();
    let by = |label: &str, counts: std::collections::BTreeMap<String, u64>| -> Vec<(String, f64)> {
        let row =
            |(name, count): (String, u64)| (format!("{{{label}=\"{}\"}}", escaped(&name)), count as f64);
        counts.into_iter().map(row).collect()
    };
    let one = |value: f64| vec![(String::new(), value)];
    let number = |count: u64| one(count as f64);
    let counts = &house.counts;
    let alarms = counted.alarms.into_iter().map(|(rule, count)| (rule.to_owned(), count)).collect();
    let mut out = Families::default();
    out.counter(
        "overwinter_frames",
        "Frames and messages by what became of them.",
        by("verdict", counted.verdicts),
    );
    out.counter(
        "overwinter_intake_dropped",
        "Arrivals dropped because too many waited.",
        number(counts.dropped.load(Ordering::Relaxed)),
    );
    out.counter(
        "overwinter_intake_skipped",
        "Messages of sources that are not taken.",
        by("source", counted.skipped),
    );
    out.counter("overwinter_handed_on", "Readings that were handed on.", by("onward", counted.handed_on));
    out.gauge("overwinter_alarms_open", "", "Alarms that stand open.", by("rule", alarms));
    out.counter("overwinter_commits", "Commits of the log.", number(counts.commits.load(Ordering::Relaxed)));
    let slowest_s = counts.slowest_commit_us.load(Ordering::Relaxed) as f64 / 1e6;
    out.gauge(
        "overwinter_slowest_commit_seconds",
        "seconds",
        "The longest commit since the start.",
        one(slowest_s),
    );
    if let Some(gateways) = &house.gateways {
        let counts = gateways.counts();
        out.counter(
            "overwinter_datagrams",
            "Datagrams of gateways.",
            number(counts.datagrams.load(Ordering::Relaxed)),
        );
        out.counter(
            "overwinter_datagrams_unreadable",
            "Datagrams or entries that are no frame.",
            number(counts.unreadable.load(Ordering::Relaxed)),
        );
    }
    if let Some(last) = counted.last {
        out.gauge(
            "overwinter_last_arrival_timestamp_seconds",
            "seconds",
            "When the newest arrived, since 1970.",
            one(last as f64 / 1e6),
        );
    }
    if let Ok(found) = std::fs::metadata(&house.log) {
        out.gauge("overwinter_log_bytes", "bytes", "Size of the log's file.", number(found.len()));
    }
    let well = if health::wrong(&house.pulse).is_empty() { 1.0 } else { 0.0 };
    out.gauge("overwinter_well", "", "1 if nothing is wrong, else 0.", one(well));
    out.0 + "# EOF\n"
}

/// A label's value: backslash, quote and line end are escaped.
fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}

#[derive(Default)]
struct Families(String);

impl Families {
    fn counter(&mut self, name: &str, help: &str, samples: Vec<(String, f64)>) {
        self.family(name, "counter", "", help, "_total", samples);
    }

    fn gauge(&mut self, name: &str, unit: &str, help: &str, samples: Vec<(String, f64)>) {
        self.family(name, "gauge", unit, help, "", samples);
    }

    fn family(
        &mut self,
        name: &str,
        kind: &str,
        unit: &str,
        help: &str,
        ending: &str,
        samples: Vec<(String, f64)>,
    ) {
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
