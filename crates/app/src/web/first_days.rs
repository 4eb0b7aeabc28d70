//! The card of a node's first 48 hours.

use design::message::Meaning;
use logbook::store::StoreError;
use logbook::store::query::nodes as query;
use logbook::store::since::Said;
use report::page::first_days::{FirstDays, Line, State};
use report::words;

use super::alarms;
use super::node::link;
use super::nodes::{self, HOUR_US};
use super::shown::Look;

/// A rise that no reading makes by itself \[V\] (needs of a field: 10 mV).
const RISE_V: f64 = 0.010;
const TWO_DAYS_US: i64 = 48 * HOUR_US;
/// More lost than this wants a better place of the antenna \[%\] (own choice).
const MANY_LOST_PERCENT: f64 = 10.0;
/// Less than this is no margin for rain and leaves \[dB\] (own choice).
const THIN_DB: f64 = 5.0;

/// The card of a node.
pub(super) fn state(look: &Look<'_>, name: &str) -> Result<Option<FirstDays>, StoreError> {
    let Some(known) = look.node(name) else { return Ok(None) };
    let Some(dev_eui) = known.dev_eui() else {
        let line = Line {
            what: "enrolled",
            state: State::NotAsPromised,
            seen: "nobody enrolled it".to_owned(),
            do_this: Some("`overwinter enrol` gives it an identity and keys".to_owned()),
        };
        return Ok(Some(FirstDays { name: name.to_owned(), hour: None, lines: vec![line] }));
    };
    let first = query::first_heard(look.log, &dev_eui)?;
    let mut lines = vec![joined(look, first)];
    if let Some(first) = first {
        lines.extend(heard(look, &dev_eui)?);
        let said = query::said(look.log, &dev_eui, first - HOUR_US, first + TWO_DAYS_US)?;
        lines.extend(known.design(look).and_then(|design| charged(design, &said)));
        lines.push(inside(&said));
        for alarm in alarms::open(look)?.into_iter().filter(|alarm| alarm.node.as_deref() == Some(name)) {
            lines.push(Line {
                what: "alarm",
                state: State::NotAsPromised,
                seen: format!("{}: {}", alarm.says, alarm.why),
                do_this: alarm.do_this,
            });
        }
    }
    let hour = first.map(|first| (look.now - first) as f64 / HOUR_US as f64);
    Ok(Some(FirstDays { name: name.to_owned(), hour, lines }))
}

fn joined(look: &Look<'_>, first: Option<i64>) -> Line {
    match first {
        Some(at) => Line {
            what: "heard",
            state: State::AsPromised,
            seen: format!("first at {}", look.when(at).clock),
            do_this: None,
        },
        None => Line {
            what: "heard",
            state: State::NotYetKnown,
            seen: "not a word yet".to_owned(),
            do_this: Some(
                "see that its battery is plugged in and its antenna screwed on, then press its reset"
                    .to_owned(),
            ),
        },
    }
}

fn heard(look: &Look<'_>, dev_eui: &str) -> Result<Vec<Line>, StoreError> {
    let link = link(look, dev_eui)?;
    let lost = 100.0 * f64::from(link.lost) / f64::from((link.heard + link.lost).max(1));
    let mut lines = vec![Line {
        what: "messages",
        state: if link.heard == 0 {
            State::NotYetKnown
        } else if lost > MANY_LOST_PERCENT {
            State::NotAsPromised
        } else {
            State::AsPromised
        },
        seen: format!("{} heard in the last 24 h, {} lost ({lost:.0} %)", link.heard, link.lost),
        do_this: (lost > MANY_LOST_PERCENT)
            .then(|| "raise the antenna, or turn the mast so that no metal stands before it".to_owned()),
    }];
    if let Some(margin) = link.margin_db {
        let thin = margin < THIN_DB;
        lines.push(Line {
            what: "margin",
            state: if thin { State::NotAsPromised } else { State::AsPromised },
            seen: format!("{margin:.0} dB above what its data rate needs, in the median"),
            do_this: thin.then(|| "look for a place some metres on, or higher".to_owned()),
        });
    }
    Ok(lines)
}

/// Whether the sun has reached the battery; nothing where no field tells, or nothing charges it.
fn charged(design: &design::node::Design, said: &[Said]) -> Option<Line> {
    design.panel.as_ref()?;
    let counter = nodes::fields(design).find(|(_, field)| field.meaning() == Some(Meaning::Charging));
    let minutes = counter.and_then(|(message, field)| {
        let values: Vec<f64> =
            said.iter().filter_map(|one| nodes::number(one, message, &field.name)).collect();
        values.iter().copied().reduce(f64::max)
    });
    let battery = nodes::battery(design)?;
    let (message, column) = battery.series;
    let volts: Vec<f64> =
        said.iter().filter_map(|one| Some(nodes::number(one, message, column)? * battery.volts)).collect();
    let mut least = f64::INFINITY;
    let mut rise = 0.0_f64;
    for volt in volts {
        least = least.min(volt);
        rise = rise.max(volt - least);
    }
    let seen = match minutes {
        Some(minutes) => {
            format!("{minutes:.0} min of charging, the voltage rose by {:.0} mV at most", 1e3 * rise)
        }
        None => format!("the voltage rose by {:.0} mV at most", 1e3 * rise),
    };
    let is_charged = minutes.is_some_and(|minutes| minutes > 0.0) || rise >= RISE_V;
    Some(Line {
        what: "charging",
        state: if is_charged { State::AsPromised } else { State::NotYetKnown },
        seen,
        do_this: (!is_charged)
            .then(|| "in daylight: see that the panel's plug is in and nothing shades it".to_owned()),
    })
}

fn inside(said: &[Said]) -> Line {
    let mut beyond: Vec<&str> = said.iter().flat_map(|one| one.marks.keys().map(String::as_str)).collect();
    beyond.sort_unstable();
    beyond.dedup();
    let readings = words::count(said.len(), "reading");
    match (said.is_empty(), &beyond[..]) {
        (true, _) => {
            Line { what: "readings", state: State::NotYetKnown, seen: "none yet".to_owned(), do_this: None }
        }
        (false, []) => Line {
            what: "readings",
            state: State::AsPromised,
            seen: format!("{readings}, every field inside its range"),
            do_this: None,
        },
        (false, fields) => Line {
            what: "readings",
            state: State::NotAsPromised,
            seen: format!("{readings}; beyond its range: {}", fields.join(", ")),
            do_this: Some("see that the sensor is plugged in, dry, and the one of the design".to_owned()),
        },
    }
}
