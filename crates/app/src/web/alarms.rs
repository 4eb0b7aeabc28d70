//! What wants a hand, and what to do on the next trip.

use logbook::store::StoreError;
use logbook::store::alarms::{KeptAlarm, open_alarms, past_alarms};
use logbook::watch::About;
use report::page::alarms::{Alarm, Alarms, Figure, Seen};
use report::sentences::alarm::{Alarm as Told, say};
use serde_json::Value;

use super::shown::Look;

/// Past alarms on a page.
const PAST: u32 = 100;

/// Open alarms, seen ones behind the others, and past ones.
pub(super) fn state(look: &Look<'_>) -> Result<Option<Alarms>, StoreError> {
    let past = past_alarms(look.log, None, PAST)?;
    Ok(Some(Alarms { open: open(look)?, past: past.iter().map(|kept| alarm(look, kept)).collect() }))
}

/// Open alarms that no other explains; seen ones behind the others.
pub(super) fn open(look: &Look<'_>) -> Result<Vec<Alarm>, StoreError> {
    let kept = open_alarms(look.log)?;
    let mut alarms: Vec<Alarm> =
        kept.iter().filter(|kept| kept.alarm.cause.is_none()).map(|kept| alarm(look, kept)).collect();
    alarms.sort_by_key(|alarm| alarm.seen.is_some());
    Ok(alarms)
}

fn alarm(look: &Look<'_>, kept: &KeptAlarm) -> Alarm {
    let alarm = &kept.alarm;
    let (node, gateway) = match alarm.key.about {
        About::Node(eui) => (Some(look.name(&eui.to_string())), None),
        About::Gateway(eui) => (None, Some(look.gateway(&eui.to_string()))),
        About::Log => (None, None),
    };
    let who = node.as_deref().or(gateway.as_deref()).unwrap_or("the log");
    let rule = alarm.key.rule.word();
    let said = say(&Told { rule, who, of: &alarm.key.of, evidence: &alarm.evidence });
    Alarm {
        id: alarm.id,
        rule: rule.to_owned(),
        says: said.what,
        why: said.why,
        do_this: Some(said.remedy),
        figures: alarm.evidence.iter().map(|(what, value)| figure(what, value)).collect(),
        since: look.when(alarm.opened_at),
        until: alarm.closed_at.map(|at| look.when(at)),
        seen: kept.seen.as_ref().map(|seen| Seen {
            by: seen.by.clone(),
            at: look.when(seen.at),
            word: Some(seen.word.clone()).filter(|word| !word.is_empty()),
        }),
        node,
        gateway,
    }
}

/// A figure, its unit taken from the end of its name: `silent_s` is "silent, s".
fn figure(what: &str, value: &Value) -> Figure {
    let value = match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    let what = match what.rsplit_once('_') {
        Some((name, unit @ ("s" | "h" | "mv" | "v" | "percent" | "db" | "dbm" | "us"))) => {
            let unit = match unit {
                "mv" => "mV",
                "v" => "V",
                "percent" => "%",
                "db" => "dB",
                "dbm" => "dBm",
                other => other,
            };
            format!("{}, {unit}", name.replace('_', " "))
        }
        _ => what.replace('_', " "),
    };
    Figure { what, value }
}
