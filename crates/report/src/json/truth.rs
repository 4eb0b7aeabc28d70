//! What a node's messages taught as JSON, units in the names.

use std::collections::BTreeMap;

use forecast::learn::{Band, CauseKind, DayBand, Mend, Quantity, Silence, date_of};
use serde_json::{Value, json};

use super::{number, verdict};
use crate::sentences::truth::{self, Told};

/// The whole of it.
pub fn truth(told: &Told) -> Value {
    let (truth, learned) = (&told.truth, &told.truth.learned);
    let quantity =
        |before: Option<&Band>, now: &Band| json!({ "before": before.map(band), "now": band(now) });
    let before = &learned.before;
    json!({
        "schema": 1,
        "overwinter": env!("CARGO_PKG_VERSION"),
        "node": { "name": told.name, "file": told.file, "note": told.note },
        "log": { "file": told.log, "days": learned.days, "tolerated": told.tolerated, "as_of_utc_s": learned.as_of_s,
            "measured_sun": learned.heard.sun, "minutes_in_charge": learned.heard.minutes, "panel_voltage": learned.heard.panel },
        "verdict": verdict(truth.verdict),
        "without_outage": { "share": number(truth.without_outage), "low": number(truth.between.0),
            "high": number(truth.between.1), "promised": number(truth.promised) },
        "yield_of_design": quantity(Some(&before.yields), &learned.yields),
        "yield_by_hour": { "before_11": band(&learned.by_hour[0]), "noon": band(&learned.by_hour[1]),
            "after_13": band(&learned.by_hour[2]) },
        "load_mah_per_day": quantity(Some(&before.load_mah_per_day), &learned.load_mah_per_day),
        "capacity_of_label": quantity(Some(&before.capacity), &learned.capacity),
        "charge": quantity(None, &learned.charge),
        "changes": { "none": number(learned.regimes[0]), "nothing_from_panel": number(learned.regimes[1]),
            "draws_more": number(learned.regimes[2]), "panel_gives_less": number(learned.regimes[3]) },
        "runs": number(learned.runs),
        "causes": learned.causes.iter().map(|one| json!({
            "cause": cause_word(one.kind), "chance": number(one.chance), "figure": number(one.figure),
            "since": one.since_day.map(|day| iso(day * 86_400)), "sentence": truth::cause(one, told),
        })).collect::<Vec<_>>(),
        "not_known": learned.not_known.iter().map(|one| json!({
            "quantity": quantity_word(one.what), "sentence": truth::not_known(one, learned).1,
        })).collect::<Vec<_>>(),
        "silence_within_180_days": silence(&learned.silence),
        "silence_to_the_end": silence(&learned.to_the_end),
        "silence_if_mended_today": learned.mended.as_ref().map(silence),
        "silence_with": learned.helps.iter().map(|(mend, one)| (mend_word(*mend), silence(one)))
            .collect::<BTreeMap<_, _>>(),
        "days": learned.band.iter().map(day).collect::<Vec<_>>(),
    })
}

/// The whole of it for nodes that were learned under the sky that they share, and what of the folder was left out.
pub fn site(all: &[Told], left_out: &[String]) -> Value {
    json!({
        "schema": 1,
        "overwinter": env!("CARGO_PKG_VERSION"),
        "nodes": all.iter().map(truth).collect::<Vec<_>>(),
        "left_out": left_out,
    })
}

fn band(band: &Band) -> Value {
    json!({ "p05": number(band.p05), "p50": number(band.p50), "p95": number(band.p95) })
}

fn silence(silence: &Silence) -> Value {
    json!({
        "within_days": silence.within_days,
        "share": number(silence.p),
        "low": number(silence.p_between.0),
        "high": number(silence.p_between.1),
        "days_to_silence": band(&silence.days),
    })
}

fn day(day: &DayBand) -> Value {
    json!({
        "date": iso(day.day * 86_400),
        "foretold_v": day.foretold_volts.iter().map(|one| one.as_ref().map(band)).collect::<Vec<_>>(),
        "seen_v": day.seen_volts.map(|one| one.map(number)),
    })
}

fn iso(at_s: i64) -> String {
    let (year, month, day) = date_of(at_s);
    format!("{year:04}-{month:02}-{day:02}")
}

/// The word of what is mended in data.
fn mend_word(mend: Mend) -> &'static str {
    match mend {
        Mend::Fault => "what_broke_mended",
        Mend::Panel => "panel_as_designed",
        Mend::Battery => "new_battery",
        Mend::Board => "board_as_designed",
    }
}

/// The word of a cause in data.
pub fn cause_word(kind: CauseKind) -> &'static str {
    match kind {
        CauseKind::PanelLow => "panel_low",
        CauseKind::ShadeByHour => "shade_by_hour",
        CauseKind::PanelBuried => "panel_buried",
        CauseKind::PanelUnplugged => "panel_unplugged",
        CauseKind::ChargerIdle => "charger_idle",
        CauseKind::PanelOrCharger => "panel_or_charger",
        CauseKind::LoadUp => "load_up",
        CauseKind::RebootLoop => "reboot_loop",
        CauseKind::BatteryWorn => "battery_worn",
        CauseKind::WeatherWorse => "weather_worse",
        CauseKind::GatewayAway => "gateway_away",
    }
}

/// Whether a cause of this word lies in the node itself, neither in the weather nor in the gateway.
pub fn lies_in_the_node(word: &str) -> bool {
    [CauseKind::WeatherWorse, CauseKind::GatewayAway].into_iter().all(|kind| cause_word(kind) != word)
}

/// The word of a quantity in data.
pub fn quantity_word(what: Quantity) -> &'static str {
    match what {
        Quantity::Yield => "panel_yield",
        Quantity::Load => "load_mah_d",
        Quantity::Capacity => "capacity",
    }
}
