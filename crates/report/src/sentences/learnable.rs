//! What a node's messages tell about the node itself, and what it costs to tell more, in sentences.

use design::message::Meaning;
use verdict::message::{Extra, Lack, Learnable, Way};

use crate::words;

/// What a field tells, by name.
pub fn what(means: Meaning) -> &'static str {
    match means {
        Meaning::Battery => "battery voltage",
        Meaning::Charging => "charging minutes",
        Meaning::Panel => "panel voltage",
        Meaning::Box => "temperature in the box",
        Meaning::Restarted => "restarts",
    }
}

/// What can't be told without it.
pub fn unknown_without(means: Meaning) -> &'static str {
    match means {
        Meaning::Battery => "anything about panel, load and battery",
        Meaning::Charging => "what the panel could give when the battery is full, and panel from charger",
        Meaning::Panel => "whether a panel that gives nothing is unplugged, buried, or its charger idles",
        Meaning::Box => "whether there may be snow on a panel that gives nothing",
        Meaning::Restarted => "a loop of restarts, and where the charging minutes begin anew",
    }
}

/// "battery voltage, charging minutes".
pub fn tells(learnable: &Learnable) -> String {
    let told: Vec<&str> = learnable.tells.iter().map(|means| what(*means)).collect();
    if told.is_empty() { "nothing about the node itself".to_owned() } else { told.join(", ") }
}

/// "not learnable: whether ...: add panel voltage, 8 bits, to report: 13 bytes instead of 12, 5.2 uAh a day".
pub fn lack(lack: &Lack) -> String {
    let (name, message) = (what(lack.means), &lack.message);
    let rest = match &lack.way {
        Way::Say(field) => format!("write `means = \"{}\"` in `{field}` of {message}", lack.means.word()),
        Way::LeftOut(field) => {
            format!("`{field}` of {message} is left out of the short form; write `priority = 1` there")
        }
        Way::Add(line, extra) => {
            format!("add {name}, {}, to {message}: {}; `{line}`", bits(extra), cost(extra))
        }
        Way::TooMuch(line, why, help) => format!("{name} does not fit {message}: {why}; {help}; `{line}`"),
    };
    format!("not learnable: {}: {rest}", unknown_without(lack.means))
}

/// "all of these: 22 bits, 14 bytes instead of 11, 9.6 uAh a day".
pub fn together(extra: &Extra) -> String {
    format!("all that is to be added: {}, {}", bits(extra), cost(extra))
}

fn bits(extra: &Extra) -> String {
    words::count(extra.bits as usize, "bit")
}

fn cost(extra: &Extra) -> String {
    let bytes = if extra.bytes == extra.bytes_before {
        format!("still {}", words::count(extra.bytes, "byte"))
    } else {
        format!("{} instead of {}", words::count(extra.bytes, "byte"), extra.bytes_before)
    };
    match words::figure(1000.0 * extra.charge_per_day.milliampere_hours()).as_str() {
        "0" => format!("{bytes}, no longer on air"),
        charge => format!("{bytes}, {charge} uAh a day"),
    }
}
