//! The card of a node's first 48 hours: the points of the watch in a person's words, and the margin of its link.

use logbook::store::StoreError;
use logbook::store::alarms::{first_heard, history_of};
use logbook::watch::{self, FIRST_DAYS, FirstDay, NodePlan, Point, Promised};
use report::page::first_days::{FirstDays, Line, State};
use report::words;
use wire::identity::DevEui;

use super::node::link;
use super::nodes::HOUR_US;
use super::shown::Look;

/// Less than this is no margin for rain and leaves \[dB\] (own choice).
const THIN_DB: f64 = 5.0;

/// The card of a node.
pub(super) fn state(look: &Look<'_>, name: &str) -> Result<Option<FirstDays>, StoreError> {
    let Some(known) = look.node(name) else { return Ok(None) };
    let (Some(row), Some(design)) = (known.row, known.design(look)) else {
        let seen = if known.row.is_none() { "nobody enrolled it" } else { "no design of the site reads it" };
        let remedy = "`overwinter enrol` gives it an identity and keys; the site file names its design";
        let line = line("enrolled", State::NotAsPromised, seen.to_owned(), Some(remedy));
        return Ok(Some(FirstDays { name: name.to_owned(), hour: None, lines: vec![line] }));
    };
    let first = first_heard(look.log, row.dev_eui)?;
    let plan = NodePlan::of(name, design);
    let lines = lines(look, row.dev_eui, &plan, first)?;
    let hour = first.map(|first| (look.now - first) as f64 / HOUR_US as f64);
    Ok(Some(FirstDays { name: name.to_owned(), hour, lines }))
}

fn lines(
    look: &Look<'_>,
    dev_eui: DevEui,
    plan: &NodePlan,
    first: Option<i64>,
) -> Result<Vec<Line>, StoreError> {
    let from = first.unwrap_or(look.now);
    let to = look.now.min(from.saturating_add(FIRST_DAYS));
    let events = history_of(look.log, dev_eui, from, to.saturating_add(1))?;
    let points = watch::first_days(plan, events.iter().map(|(at, event)| (*at, event)), to);
    let mut lines: Vec<Line> = points.iter().map(|point| said(look, point)).collect();
    if let Some(margin) = link(look, &dev_eui.to_string())?.margin_db {
        let state = if margin < THIN_DB { State::NotAsPromised } else { State::AsPromised };
        let remedy = (margin < THIN_DB).then_some("look for a place some metres on, or higher");
        lines.push(line(
            "margin",
            state,
            format!("{margin:.0} dB above what its data rate needs, in the median"),
            remedy,
        ));
    }
    Ok(lines)
}

fn line(what: &'static str, state: State, seen: String, remedy: Option<&str>) -> Line {
    Line { what, state, seen, do_this: remedy.map(str::to_owned) }
}

/// A point with its figures in words, and what to do unless it is as promised.
fn said(look: &Look<'_>, point: &FirstDay) -> Line {
    let number =
        |name: &str| point.evidence.get(name).and_then(serde_json::Value::as_u64).unwrap_or_default();
    let state = match point.promised {
        Promised::Kept => State::AsPromised,
        Promised::Broken => State::NotAsPromised,
        Promised::NotYetKnown => State::NotYetKnown,
    };
    let pick = |kept: &str, broken: &str, unknown: &str| match state {
        State::AsPromised => kept.to_owned(),
        State::NotAsPromised => broken.to_owned(),
        State::NotYetKnown => unknown.to_owned(),
    };
    let (what, seen, remedy) = match point.point {
        Point::Joined => (
            "joined",
            pick(
                "it joined and sends",
                &format!("it asked to join {} times, and sends nothing", number("joins")),
                "not yet",
            ),
            "see that its battery is plugged in and its antenna screwed on; if it asks again and again, go nearer to the gateway",
        ),
        Point::Heard => {
            ("heard", heard(look, point, number("uplinks")), "press its reset; look at battery and antenna")
        }
        Point::Losses => (
            "messages",
            format!("{} of {} lost; up to {} % were planned", number("lost"), number("sent"), percent(point)),
            "raise the antenna, or turn the mast so that no metal stands before it",
        ),
        Point::Charge => (
            "charging",
            pick("the sun reaches the battery", "no charge has come in", "no charge seen yet"),
            "in daylight: see that the panel's plug is in and nothing shades it",
        ),
        Point::Starts => (
            "running",
            pick("it runs without starting anew", "it starts anew again and again", "not known yet"),
            "look at the cell and its contacts; measure the voltage while it sends",
        ),
        Point::Readings => (
            "readings",
            pick(
                "no reading looks like a failed sensor",
                "a reading is what a sensor gives when it fails",
                "none yet",
            ),
            "see that each sensor is plugged in and dry",
        ),
    };
    // What is not known yet wants a look only where a hand may be missing.
    let may_lack =
        matches!(point.point, Point::Joined | Point::Heard | Point::Charge) && state == State::NotYetKnown;
    line(what, state, seen, (state == State::NotAsPromised || may_lack).then_some(remedy))
}

fn heard(look: &Look<'_>, point: &FirstDay, uplinks: u64) -> String {
    let names = point.evidence.get("gateways").and_then(serde_json::Value::as_array);
    let names = names.into_iter().flatten().filter_map(serde_json::Value::as_str);
    let names: Vec<String> = names.map(|eui| look.gateway(eui)).collect();
    let count = words::count(usize::try_from(uplinks).unwrap_or(usize::MAX), "message");
    if names.is_empty() { count } else { format!("{count}, by {}", names.join(", ")) }
}

fn percent(point: &FirstDay) -> String {
    let most = point.evidence.get("most_percent").and_then(serde_json::Value::as_f64);
    most.map_or_else(|| "an unknown share".to_owned(), words::figure_short)
}
