//! What is said of batteries and what charges them.

use design::quantity::Duration;
use serde_json::Value;

use super::{Alarm, Three};
use crate::words;

fn never_charged(alarm: &Alarm<'_>) -> Three {
    let volts = |name| alarm.said(name, |millivolts| format!("{:.2} V", millivolts / 1e3));
    let since = since(alarm);
    let why = if alarm.evidence.get("counts_minutes") == Some(&Value::Bool(true)) {
        format!("in {since} it has not counted one minute in charge")
    } else {
        format!(
            "in {since} its voltage never rose by 10 mV; it lay between {} and {}",
            volts("least_mv"),
            volts("most_mv")
        )
    };
    (
        format!("{} is not being charged", alarm.who),
        why,
        "see whether the panel is plugged in with its poles right, and free of snow, dirt and shade; bring a panel lead. Do \
         not charge a lithium cell below 0 °C by hand"
            .to_owned(),
    )
}

fn since(alarm: &Alarm<'_>) -> String {
    alarm.said("since_h", |hours| {
        if hours < 96.0 { format!("{hours} h") } else { words::span(Duration::from_hours(hours)) }
    })
}

fn charge_stopped(alarm: &Alarm<'_>) -> Three {
    let sign = if alarm.evidence.get("counts_minutes") == Some(&Value::Bool(true)) {
        "no minute in charge was counted"
    } else {
        "its voltage did not rise by 10 mV"
    };
    (
        format!("{} is charged no more", alarm.who),
        format!(
            "{sign} for {}, in {} h of which the sun stood high and the battery was low enough to be charged",
            since(alarm),
            alarm.figure("sunny_h")
        ),
        "look for snow, leaves or dirt on the panel, then at its plug and cable; bring a brush, a panel lead and a meter. Do \
         not charge a lithium cell below 0 °C by hand"
            .to_owned(),
    )
}

fn drains_fast(alarm: &Alarm<'_>) -> Three {
    let lifts = alarm.number("lifts_times").map_or_else(String::new, |times| {
        format!("; a minute in charge lifts it {} times as much as before", words::figure_short(times))
    });
    let because = alarm.evidence.get("because").and_then(Value::as_str);
    let (what, remedy) = match because {
        Some("battery") => (
            "its battery holds less than it did",
            "bring a new battery and look for a swollen or frozen cell; do not charge such a cell",
        ),
        Some("load") => (
            "it draws more than planned",
            "look for a part that does not sleep, a pin that is pulled, or water; bring a spare board and a meter for \
             microamperes",
        ),
        _ => (
            "it draws more than planned, or its battery holds less",
            "bring a battery, a spare board and a meter for microamperes: measure what it draws first",
        ),
    };
    (
        format!("{}: {what}", alarm.who),
        format!(
            "in the middle one of its last {} nights the battery fell by {} % of its charge, planned are {} % at most{lifts}",
            alarm.figure("nights"),
            alarm.figure("fell_percent"),
            alarm.figure("planned_percent")
        ),
        remedy.to_owned(),
    )
}

fn cell_ending(alarm: &Alarm<'_>) -> Three {
    let volts = |name| alarm.said(name, |millivolts| format!("{:.2} V", millivolts / 1e3));
    let before = match alarm.number("before_mv") {
        Some(_) => format!("; when it was new, or as far back as is known, it lay at {}", volts("before_mv")),
        None => String::new(),
    };
    let starts = match alarm.number("starts") {
        Some(starts) if starts > 0.0 => format!("; the node began anew {starts} times in the week"),
        _ => String::new(),
    };
    (
        format!("{}: its primary cell comes to its end", alarm.who),
        format!(
            "its voltage stayed between {} and {} for a week{before}{starts}",
            volts("least_mv"),
            volts("greatest_mv")
        ),
        "bring a new cell of the same kind on the next trip, before the cold; never charge this one"
            .to_owned(),
    )
}

fn battery_worn(alarm: &Alarm<'_>) -> Three {
    (
        format!("{}: its battery is worn", alarm.who),
        format!(
            "by what was learned of it the battery holds {} % of its label, and that was so on {} days running",
            alarm.figure("holds_percent"),
            alarm.figure("told_d")
        ),
        "bring a new battery on the next trip; the node's page says whether the promise still holds"
            .to_owned(),
    )
}

/// The cause that was learned, as a sentence with what to bring.
fn cause<'a>(alarm: &Alarm<'a>) -> Option<&'a str> {
    alarm.evidence.get("cause").and_then(Value::as_str)
}

pub(super) fn below_forecast(alarm: &Alarm<'_>) -> Three {
    (
        format!("{} will not last as promised", alarm.who),
        cause(alarm).map_or_else(|| "the cause was not kept".to_owned(), str::to_owned),
        "do what the cause says; the node's page says when it falls silent, and what it would be if it were mended today"
            .to_owned(),
    )
}

pub(super) fn empty_by_what_was_learned(alarm: &Alarm<'_>) -> Three {
    let share = format!(
        "{} % of the nodes that would have sent what this one sent are empty within 14 days, the first in {} days",
        alarm.figure("empty_in_14_d_percent"),
        alarm.figure("soonest_d")
    );
    (
        format!("{} will be empty in {} days", alarm.who, alarm.figure("days_left")),
        cause(alarm).map_or_else(|| share.clone(), |cause| format!("{share}; {cause}")),
        match cause(alarm) {
            Some(_) => "do what the cause says, and bring a charged battery".to_owned(),
            None => "clean the panel and see that its lead and the sun reach it; bring a charged battery"
                .to_owned(),
        },
    )
}

pub(super) fn of_charge(alarm: &Alarm<'_>) -> Three {
    match alarm.rule {
        "never-charged" => return never_charged(alarm),
        "charge-stopped" => return charge_stopped(alarm),
        "drains-fast" => return drains_fast(alarm),
        "battery-worn" => return battery_worn(alarm),
        "cell-ending" => return cell_ending(alarm),
        _ => {}
    }
    let volts = |name| alarm.said(name, |millivolts| format!("{:.2} V", millivolts / 1e3));
    (
        format!("{} will be empty in {} days", alarm.who, alarm.figure("days_left")),
        format!(
            "its least voltage of a day stands at {} and moves by {} mV a day; it stops at {}",
            volts("now_mv"),
            alarm.figure("per_day_mv"),
            volts("empty_mv")
        ),
        "clean the panel and see that its lead and the sun reach it; bring a charged battery".to_owned(),
    )
}
