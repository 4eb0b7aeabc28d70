//! A node that will not see the winter's end, in words: when it stops, which part, what to bring.

use forecast::learn::{CauseKind, Mend, WORTH_A_VISIT};
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
    let kind = cause.map(|cause| cause.kind);
    let take = to_do(named, kind).1;
    Said {
        first_days: winter.first_days,
        part: named.map(|mend| word(mend).to_owned()),
        when,
        what: what(winter.part, kind),
        why,
        take: take.iter().map(|thing| (*thing).to_owned()).collect(),
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

fn what(part: Option<(Mend, f64)>, cause: Option<CauseKind>) -> String {
    let what = to_do(part.map(|(mend, _)| mend), cause).0;
    match part {
        Some((_, left)) if left > WORTH_A_VISIT => {
            format!("{what}; no single part is enough: `overwinter size` says which panel and battery are")
        }
        _ => what.to_owned(),
    }
}

/// What to do, and what to take along: by the cause where one is told, else by the part.
fn to_do(part: Option<Mend>, cause: Option<CauseKind>) -> (&'static str, &'static [&'static str]) {
    match (cause, part) {
        (Some(CauseKind::PanelBuried), _) => ("clear the panel", &["brush", "cloth and water"]),
        (Some(CauseKind::PanelUnplugged), _) => {
            ("mend the panel's lead and plug", &["plug and cable", "multimeter"])
        }
        (Some(CauseKind::ChargerIdle), _) => {
            ("change the charger, or mend its lead to the battery", &["charger board", "multimeter"])
        }
        (Some(CauseKind::PanelOrCharger), _) => (
            "clear the panel, then see to its lead and charger",
            &["brush", "plug and cable", "charger board", "multimeter"],
        ),
        (Some(CauseKind::ShadeByHour), _) => ("cut what shades the panel, or move it", &["saw"]),
        (Some(CauseKind::PanelLow), _) | (None, Some(Mend::Panel)) => (
            "clean the panel, look for what grew, or put a new one up",
            &["cloth and water", "spare panel with its lead", "multimeter"],
        ),
        (Some(CauseKind::RebootLoop), _) => ("put in new firmware or a new board", &["spare node", "laptop"]),
        (Some(CauseKind::LoadUp), _) | (None, Some(Mend::Board)) => {
            ("change the board, or what does not sleep on it", &["spare node", "meter for microamperes"])
        }
        (Some(CauseKind::BatteryWorn), _) | (None, Some(Mend::Battery)) => {
            ("put in a new, charged battery", &["charged spare cell"])
        }
        (Some(CauseKind::WeatherWorse | CauseKind::GatewayAway), _) | (None, Some(Mend::Fault) | None) => (
            "measure panel and battery, and clean the panel",
            &["cloth and water", "charged spare cell", "multimeter"],
        ),
    }
}
