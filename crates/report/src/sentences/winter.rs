//! A node that will not see the winter's end, in words: when it stops, which part, what to bring.

use forecast::learn::{Mend, WORTH_A_VISIT};
use serde::Serialize;
use verdict::Winter;
use verdict::winter::mend_of;

use super::truth::{self, Told, chance, date};

/// What is said of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Said {
    /// Days until 1 in 10 has stopped.
    pub first_days: f64,
    /// The part: "battery", "panel", "board"; none if no single one is known to help.
    pub part: Option<String>,
    /// When it stops, as a sentence without a full stop.
    pub when: String,
    /// What to do, as a sentence without a full stop.
    pub what: String,
    /// What explains it, and what the part would change.
    pub why: String,
    /// What to take along.
    pub take: Vec<String>,
}

/// Says it.
pub fn say(winter: &Winter, told: &Told) -> Said {
    let learned = &told.truth.learned;
    let at = |days: f64| date(learned.as_of_s, days);
    let over = at(winter.over_days as f64);
    let when = match winter.half_days {
        Some(half) => format!(
            "stops about {}, 1 in 10 by {}; {} by {over}",
            at(half),
            at(winter.first_days),
            chance(winter.share)
        ),
        None => {
            format!("1 in 10 has stopped by {}, {} by {over}", at(winter.first_days), chance(winter.share))
        }
    };
    let named = winter.part.map(|(mend, _)| mend);
    let cause = learned.causes.iter().find(|cause| named.is_none() || mend_of(cause.kind) == named);
    let helps = winter.part.map(|(mend, left)| helps(mend, left));
    let why =
        cause.map(|cause| truth::cause(cause, told)).into_iter().chain(helps).collect::<Vec<_>>().join("; ");
    Said {
        first_days: winter.first_days,
        part: named.map(|mend| word(mend).to_owned()),
        when,
        what: what(winter.part),
        why,
        take: take(named),
    }
}

const fn word(mend: Mend) -> &'static str {
    match mend {
        Mend::Fault => "what broke",
        Mend::Panel => "panel",
        Mend::Battery => "battery",
        Mend::Board => "board",
    }
}

fn helps(mend: Mend, left: f64) -> String {
    let with = match mend {
        Mend::Fault => "with what broke mended",
        Mend::Panel => "with panel, charger and light as designed",
        Mend::Battery => "with a new, charged battery",
        Mend::Board => "with a board that draws what the design says",
    };
    format!("{with} {} stop", chance(left))
}

fn what(part: Option<(Mend, f64)>) -> String {
    let Some((mend, left)) = part else {
        return "visit it before the winter: measure panel and battery, and clean the panel".to_owned();
    };
    let what = match mend {
        Mend::Fault => "mend what broke",
        Mend::Panel => {
            "clean the panel, cut what shades it, see to its lead and charger, or put a new one up"
        }
        Mend::Battery => "put in a new, charged battery",
        Mend::Board => "change the board",
    };
    if left > WORTH_A_VISIT {
        format!("{what}; no single part is enough: `overwinter size` says which panel and battery are")
    } else {
        what.to_owned()
    }
}

fn take(mend: Option<Mend>) -> Vec<String> {
    let things: &[&str] = match mend {
        Some(Mend::Panel) => &["cloth and water", "spare panel with its lead", "saw", "multimeter"],
        Some(Mend::Battery) => &["charged spare cell"],
        Some(Mend::Board) => &["spare node", "multimeter"],
        Some(Mend::Fault) | None => &["charged spare cell", "cloth and water", "multimeter"],
    };
    things.iter().map(|thing| (*thing).to_owned()).collect()
}
