//! What to do on the next trip.

use logbook::store::StoreError;
use report::page::alarms::Alarm;
use report::page::next_trip::{NextTrip, Task, Winter};
use verdict::Verdict;

use super::alarms;
use super::nodes::{self, DAY_US};
use super::shown::{Look, month_in_utc};

/// Trips are made once a year: what ends before the next but one is done on this one (own choice).
const A_YEAR_US: i64 = 366 * DAY_US;

/// Open alarms first, then nodes that won't hold; apart those that won't see the winter's end.
pub(super) fn state(look: &Look<'_>) -> Result<Option<NextTrip>, StoreError> {
    let winter = winter(look);
    // One cause is one thing to do.
    let is_said = |alarm: &Alarm| {
        OF_CHARGE.contains(&alarm.rule.as_str())
            && winter.iter().any(|one| Some(&one.at) == alarm.node.as_ref())
    };
    let mut tasks: Vec<Task> = alarms::open(look)?
        .into_iter()
        .filter(|alarm| !is_said(alarm))
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
        // What a node sends says more of its life than its plan.
        if life == Verdict::Fails && look.house.truths.of(&name).is_none() {
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
    tasks.extend(worn_batteries(look)?);
    Ok(Some(NextTrip { tasks, winter, to_be_worked_out: look.house.promises.left() }))
}

/// Batteries that reach the end of what is expected of them before the next trip but one.
fn worn_batteries(look: &Look<'_>) -> Result<Vec<Task>, StoreError> {
    let mut tasks = Vec::new();
    for name in look.house.all_names() {
        let Some(promised) = look.house.promises.of(&name) else { continue };
        let Some(dev_eui) = look.node(&name).and_then(|known| known.dev_eui()) else { continue };
        let due = nodes::battery_due(look, &dev_eui, &promised)?;
        let Some(due) = due.filter(|due| *due < look.now + A_YEAR_US) else { continue };
        let Some(month) = month_in_utc(due) else { continue };
        tasks.push(Task {
            at: name,
            is_node: true,
            what: format!("replace its battery by {month}"),
            why: "by age, temperature and what it delivers it is then at the end of what the design expects of it"
                .to_owned(),
            take: vec!["charged battery of the same kind".to_owned()],
        });
    }
    Ok(tasks)
}

/// Rules whose alarms say of a node that its charge will not do.
const OF_CHARGE: [&str; 7] = [
    "empty-soon",
    "below-forecast",
    "never-charged",
    "charge-stopped",
    "drains-fast",
    "battery-worn",
    "cell-ending",
];

/// Nodes that stop before the winter is over in more than 1 of 10 lives, the first to stop first.
fn winter(look: &Look<'_>) -> Vec<Winter> {
    let of = |name: String| Some(Winter { said: look.house.truths.of(&name)?.winter?, at: name });
    let mut all: Vec<Winter> = look.house.all_names().into_iter().filter_map(of).collect();
    all.sort_by(|one, other| one.said.first_days.total_cmp(&other.said.first_days));
    all
}

/// What somebody takes along for what a rule has found.
fn take(rule: &str) -> Vec<String> {
    let things: &[&str] = match rule {
        "gateway-away" => &["laptop", "spare power supply of the gateway"],
        "nothing-heard" => &["spare antenna and cable of the gateway"],
        "silent" | "restarts" => &["charged spare cell", "spare node"],
        "losing" => &["spare antenna"],
        "never-charged" | "charge-stopped" => &["spare panel with its lead", "cloth and water", "multimeter"],
        "drains-fast" => &["charged spare cell", "spare board", "meter for microamperes"],
        "cell-ending" => &["primary cell of the same kind"],
        "battery-worn" => &["charged spare cell"],
        "empty-soon" | "below-forecast" => &["charged spare cell", "cloth and water"],
        _ => &[],
    };
    things.iter().map(|thing| (*thing).to_owned()).collect()
}
