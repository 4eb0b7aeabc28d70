//! What the watch says of a primary cell by a log of its own: `cargo run --example primary_cell -- LOG.csv`, with the columns
//! `time` (RFC 3339, UTC), `battery_v` and `reboot_reason`, and others that are passed over. Prints each alarm with its day.
#![expect(clippy::print_stdout, reason = "it says what it found")]

use std::collections::BTreeMap;
use std::error::Error;

use logbook::received::Moment;
use logbook::watch::{Change, Event, Frame, NodePlan, Rule, Setup, State, Uplink, What, step};
use serde_json::json;
use wire::identity::DevEui;

const DEV_EUI: DevEui = DevEui::from_display_bytes([2, 0, 0, 0, 0, 0, 0, 1]);

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args().nth(1).ok_or("name a log")?;
    let setup = Setup { nodes: BTreeMap::from([(DEV_EUI, plan())]), ..Setup::default() };
    let mut state = State::new(setup, [], 1);
    let mut rows = csv::Reader::from_path(&path)?;
    let column = |name: &str, titles: &csv::StringRecord| titles.iter().position(|title| title == name);
    let titles = rows.headers()?.clone();
    let (time, volts, reason) =
        (column("time", &titles), column("battery_v", &titles), column("reboot_reason", &titles));
    let time = time.ok_or("no column `time`")?;
    let mut last = String::new();
    for row in rows.records() {
        let row = row?;
        let text = |place: Option<usize>| place.and_then(|place| row.get(place)).unwrap_or("");
        let at = moment(row.get(time).unwrap_or("")).ok_or("a time that is none")?;
        let mut values = BTreeMap::from([("restarted".to_owned(), json!(!text(reason).is_empty()))]);
        if let Ok(volts) = text(volts).parse::<f64>() {
            values.insert("battery".to_owned(), json!(volts));
        }
        let what = What::New(Uplink { values, ..Uplink::default() });
        let event = Event::Frame(Frame { gateway: None, dev_eui: Some(DEV_EUI), what });
        let (after, changes) = step(state, &event, at);
        state = after;
        row.get(time).unwrap_or("").clone_into(&mut last);
        for change in changes.iter().filter(|change| change.alarm().key.rule != Rule::Silent) {
            let alarm = change.alarm();
            println!("{last} {}: {} {}", change.word(), alarm.key.rule.word(), json!(alarm.evidence));
        }
        if let Some(Change::Closed(_)) = changes.last() {
            println!("{last} it lies as before");
        }
    }
    println!("{last} the log ends");
    Ok(())
}

fn moment(text: &str) -> Option<Moment> {
    forecast::learn::seconds_of(text).map(|seconds| seconds * 1_000_000)
}

/// A node of which nothing is known but that a primary cell feeds it.
fn plan() -> NodePlan {
    NodePlan {
        battery: Some(("battery".to_owned(), 1.0)),
        is_primary: true,
        restarted: Some("restarted".to_owned()),
        ..NodePlan::unknown("node")
    }
}
