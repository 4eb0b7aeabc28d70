//! A frame that was kept, in a person's words or as JSON.

use std::collections::BTreeMap;

use design::date::moment_text;
use logbook::clock::{MADE, News};
use logbook::network::Downlink;
use logbook::received::Moment;
use logbook::store::again::Again;
use logbook::store::keeper::{KeptFrame, Told, ToldValue};
use logbook::zone::Zone;
use report::words;
use serde_json::{Value, json};
use wire::identity::DevEui;

/// One line for a person; none for a copy, which is no news.
pub(super) fn line(kept: &KeptFrame, zone: &Zone) -> Option<String> {
    let named = kept.name.as_deref().map(str::to_owned);
    let who = named.or_else(|| kept.dev_eui.map(|dev_eui| dev_eui.to_string()));
    let who = who.unwrap_or_else(|| "a stranger".to_owned());
    let said = match kept.verdict {
        "copy" => return None,
        "join" => "joins".to_owned() + &because(kept),
        "new" => content(kept),
        "late" => format!("late: {}", content(kept)),
        refused => refused.replacen(':', ": ", 1) + &because(kept),
    };
    let unsure = if kept.clock_unsure { "?" } else { "" };
    Some(format!("{}{unsure}  {who:<14} {said}  ({})\n", zone.clock(kept.arrived_at), heard(kept)))
}

/// One line on what is sent.
pub(super) fn answer(downlink: &Downlink, names: &BTreeMap<DevEui, String>, zone: &Zone) -> String {
    let dev_eui = downlink.session.dev_eui;
    format!(
        "{}  {:<14} is answered: {} ({}, {:.1} MHz)\n",
        zone.clock(downlink.leaves_at),
        names.get(&dev_eui).cloned().unwrap_or_else(|| dev_eui.to_string()),
        downlink.why.word(),
        rate(&downlink.rate_name),
        f64::from(downlink.frequency_hz) / 1e6
    )
}

/// Why the clock can't be believed, if it can't.
pub(super) fn wrong_clock(news: News) -> Option<String> {
    let News::Unsure { shown, earliest } = news else { return None };
    let why = if shown >= earliest {
        "which lies beyond 2099".to_owned()
    } else if earliest == MADE {
        "and this program was not made before 2026".to_owned()
    } else {
        format!("and the log's newest row is of {}", moment(earliest))
    };
    Some(format!("the computer's clock shows {}, {why}", moment(shown)))
}

/// What is said of the clock.
pub(super) fn clock(news: News) -> String {
    match news {
        News::Unsure { earliest, .. } => {
            let why = wrong_clock(news).unwrap_or_default();
            let mistaken = if earliest == MADE {
                ""
            } else {
                " If the clock is right and the log's time is not, start once with --clock-is-right."
            };
            format!(
                "Waiting for the right time: {why}. What comes is kept, its rows are marked, and nothing is answered \
                 until the clock is set.{mistaken}\n"
            )
        }
        News::Sure { shown } => {
            format!(
                "The clock can be believed now ({}): rows are no longer marked, and nodes are answered\n",
                moment(shown)
            )
        }
        News::Stepped { by } => {
            let way = if by < 0 { "back" } else { "ahead" };
            let by = words::span(design::quantity::Duration::from_seconds(by.unsigned_abs() as f64 / 1e6));
            format!(
                "The computer's clock was set {way} by {by}, or the computer slept: times before and after don't fit together\n"
            )
        }
    }
}

fn moment(at: Moment) -> String {
    let text = u64::try_from(at / 1_000_000).ok().and_then(moment_text);
    text.unwrap_or_else(|| format!("{at} us since 1970"))
}

/// One line on history that was read anew.
pub(super) fn decoded_again(again: &Again) -> String {
    let Again { kind, frames, before, after, unreadable, .. } = again;
    if !again.is_done() {
        return format!("{kind}: {} read anew so far\n", words::count(*frames, "frame"));
    }
    let kept = match unreadable {
        0 => String::new(),
        more => format!(
            "; {} the design of today can't read, and they keep what they had",
            words::count(*more, "frame")
        ),
    };
    format!(
        "{kind}: history is read anew, {} gave {after} readings ({before} before){kept}\n",
        words::count(*frames, "frame")
    )
}

fn because(kept: &KeptFrame) -> String {
    kept.reason.as_ref().map_or_else(String::new, |reason| format!(", {reason}"))
}

fn content(kept: &KeptFrame) -> String {
    match (&kept.message, kept.port, &kept.reason) {
        (Some(told), _, _) => format!("{}: {}{}", told.message, values(told), because(kept)),
        (None, Some(port), Some(reason)) => {
            format!("{} bytes on port {port}, kept unread: {reason}", kept.length)
        }
        (None, Some(port), None) => format!("{} bytes on port {port}", kept.length),
        (None, None, _) => format!("lives; no message{}", because(kept)),
    }
}

fn values(told: &Told) -> String {
    let value = |value: &ToldValue| {
        let unit = if &*value.unit == "1" { String::new() } else { format!(" {}", words::unit(&value.unit)) };
        match &value.value {
            Value::Null => format!("no {}", value.name),
            Value::Bool(yes) => format!("{} {}", value.name, if *yes { "yes" } else { "no" }),
            Value::String(word) => format!("{} {word}", value.name),
            number => format!("{} {number}{unit}", value.name),
        }
    };
    told.values.iter().map(value).collect::<Vec<_>>().join(", ")
}

fn heard(kept: &KeptFrame) -> String {
    let mut parts = vec![by(kept)];
    parts.extend(kept.data_rate.as_deref().map(rate));
    parts.extend(kept.rssi_dbm.map(|rssi| format!("{rssi} dBm")));
    parts.extend(kept.snr_db.map(|snr| format!("{snr} dB over noise")));
    parts.join(", ")
}

/// Who heard it: a gateway, or a source.
fn by(kept: &KeptFrame) -> String {
    match &kept.gateway {
        Some((eui, name)) => name.as_deref().map_or_else(|| eui.to_string(), str::to_owned),
        None => kept.source.to_string(),
    }
}

/// A rate in words: 125 kHz are usual and left out.
fn rate(name: &str) -> String {
    match name.split_once("BW") {
        Some((spreading, "125")) => spreading.to_owned(),
        Some((spreading, kilohertz)) => format!("{spreading} at {kilohertz} kHz"),
        None => format!("{name} bit/s"),
    }
}

/// One line for a script, copies included.
pub(super) fn json_line(kept: &KeptFrame) -> String {
    let at = u64::try_from(kept.arrived_at / 1_000_000).ok().and_then(moment_text);
    let values = kept.message.iter().flat_map(|told| &told.values);
    let values: serde_json::Map<String, Value> =
        values.map(|value| (value.name.to_string(), value.value.clone())).collect();
    json!({
        "id": kept.seq,
        "at": at,
        "at_us": kept.arrived_at,
        "clock_unsure": kept.clock_unsure,
        "verdict": kept.verdict,
        "reason": kept.reason,
        "node": kept.name.as_deref(),
        "dev_eui": kept.dev_eui.map(|dev_eui| dev_eui.to_string()),
        "fcnt": kept.fcnt,
        "port": kept.port,
        "message": kept.message.as_ref().map(|told| told.message.clone()),
        "values": values,
        "source": kept.source,
        "gateway": kept.gateway.as_ref().map(|_| by(kept)),
        "data_rate": kept.data_rate,
        "rssi_dbm": kept.rssi_dbm,
        "snr_db": kept.snr_db,
    })
    .to_string()
        + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_are_said_as_people_do() {
        assert_eq!(rate("SF7BW125"), "SF7");
        assert_eq!(rate("SF8BW500"), "SF8 at 500 kHz");
        assert_eq!(rate("50000"), "50000 bit/s");
    }
}
