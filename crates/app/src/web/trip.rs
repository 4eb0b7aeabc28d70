//! What to do on the next trip.

use logbook::store::StoreError;
use report::page::next_trip::{NextTrip, Task};
use verdict::Verdict;

use super::alarms;
use super::shown::Look;

/// Open alarms first, then nodes that won't hold.
pub(super) fn state(look: &Look<'_>) -> Result<Option<NextTrip>, StoreError> {
    let mut tasks: Vec<Task> = alarms::open(look)?
        .into_iter()
        .map(|alarm| Task {
            is_node: alarm.node.is_some(),
            take: take(&alarm.rule),
            at: alarm.node.or(alarm.gateway).unwrap_or_else(|| "the log".to_owned()),
            what: alarm.do_this.unwrap_or_default(),
            why: format!("{}: {}", alarm.says, alarm.why),
        })
        .collect();
    for name in look.house.all_names() {
        let Some(promised) = look.house.promises.of(&name) else { continue };
        let task =
            |what: String, why: String| Task { at: name.clone(), is_node: true, what, why, take: Vec::new() };
        let [life, _, reach, _] = promised.strokes;
        if life == Verdict::Fails {
            let what = promised
                .remedy
                .clone()
                .unwrap_or_else(|| "see what would make it live: `overwinter check`".to_owned());
            tasks.push(task(what, promised.life.clone()));
        }
        if reach == Verdict::Fails {
            tasks.push(task("move its antenna, or raise the gateway's".to_owned(), promised.reach.clone()));
        }
    }
    Ok(Some(NextTrip { tasks, to_be_worked_out: look.house.promises.left() }))
}

/// What somebody takes along for what a rule has found.
fn take(rule: &str) -> Vec<String> {
    let things: &[&str] = match rule {
        "gateway-away" => &["laptop", "spare power supply of the gateway"],
        "nothing-heard" => &["spare antenna and cable of the gateway"],
        "silent" | "restarts" => &["charged spare cell", "spare node"],
        "losing" => &["spare antenna"],
        "never-charged" => &["spare panel with its lead", "cloth and water", "multimeter"],
        "empty-soon" | "below-forecast" => &["charged spare cell", "cloth and water"],
        _ => &[],
    };
    things.iter().map(|thing| (*thing).to_owned()).collect()
}
