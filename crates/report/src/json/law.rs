//! The law, as data.

use design::quantity::Duration;
use serde_json::{Value, json};
use verdict::law::{Bound, Check, JoinPlan, MessageRow, OnAir, PowerRow, RateRow, Topic};

use super::{ReportedDesign, finding, number, verdict};
use crate::sentences;

/// Everything that is said of the law.
pub(crate) fn law(subject: &ReportedDesign) -> Value {
    let law = &subject.law;
    json!({
        "verdict": verdict(law.verdict),
        "reason": law.reason,
        "remedy": law.remedy,
        "region": law.region,
        "edition": law.edition,
        "text": law.text,
        "checks": law.checks.iter().map(check).collect::<Vec<_>>(),
        "messages": law.messages.iter().map(message).collect::<Vec<_>>(),
        "on_air": law.on_air.iter().map(on_air).collect::<Vec<_>>(),
        "power": law.power.iter().map(power).collect::<Vec<_>>(),
        "join": law.join.as_ref().map(join),
        "findings": law.findings.iter().map(|one| finding(subject, one)).collect::<Vec<_>>(),
        "not_seen": law.open.iter().map(|open| json!({ "question": open.question, "text": open.text })).collect::<Vec<_>>(),
    })
}

fn check(check: &Check) -> Value {
    let topic = match check.topic {
        Topic::Payload => "payload",
        Topic::Dwell => "dwell",
        Topic::DutyCycle => "duty_cycle",
        Topic::Power => "power",
        Topic::Hopping => "hopping",
        Topic::Allowance => "allowance",
    };
    json!({
        "topic": topic,
        "verdict": verdict(check.verdict),
        "data_rate": check.data_rate,
        "in_use": check.in_use,
        "field": check.field,
        "reason": check.reason,
        "clause": check.clause.text,
        "remark": check.remark(),
        "remedy": check.remedy,
    })
}

fn message(row: &MessageRow) -> Value {
    json!({
        "name": row.name,
        "field": row.field,
        "bytes": row.bytes(),
        "confirmed": row.confirmed,
        "rates": row.rates.iter().map(rate).collect::<Vec<_>>(),
    })
}

fn rate(row: &RateRow) -> Value {
    json!({
        "data_rate": row.data_rate,
        "in_use": row.in_use,
        "bytes": row.bytes,
        "airtime_ms": row.airtime.map(|airtime| number(airtime.milliseconds())),
        "most_bytes": row.ceiling.bytes,
        "most_bytes_with_answers": row.ceiling.with_answers,
        "dwell_limit_ms": row.dwell.map(|dwell| number(dwell.milliseconds())),
        "fits": row.limits.payload != Bound::Never,
        "shortest_interval_by_law_s": bound(row.limits.law),
        "shortest_interval_by_allowance_s": bound(row.limits.allowance),
        "shortest_interval_by_energy_s": row.limits.energy.map(bound),
        "tightest": sentences::tightest(row),
    })
}

/// Seconds; 0 without limit, null if not at all.
fn bound(bound: Bound) -> Value {
    match bound {
        Bound::Any => json!(0.0),
        Bound::Every(interval) => seconds(interval),
        Bound::Never => Value::Null,
    }
}

fn seconds(duration: Duration) -> Value {
    number(duration.seconds())
}

fn on_air(row: &OnAir) -> Value {
    json!({
        "data_rate": row.data_rate,
        "in_use": row.in_use,
        "band_mhz": [number(row.band.0.hertz() / 1e6), number(row.band.1.hertz() / 1e6)],
        "share_percent": number(row.share.percent()),
        "allowed_s_per_hour": row.allowed.map(seconds),
        "busiest_hour_s": seconds(row.busiest_hour),
        "acknowledged_hour_s": seconds(row.acknowledged_hour),
        "joining_hour_s": seconds(row.joining_hour),
        "busiest_day_s": seconds(row.busiest_day),
    })
}

fn power(row: &PowerRow) -> Value {
    json!({
        "data_rate": row.data_rate,
        "in_use": row.in_use,
        "channel_mhz": number(row.channel.hertz() / 1e6),
        "conducted_dbm": number(row.conducted.dbm()),
        "eirp_dbm": number(row.eirp.dbm()),
        "erp_dbm": number(row.erp.dbm()),
        "most_at_radio_dbm": number(row.allowed.dbm()),
        "clause": row.clause.text,
    })
}

fn join(join: &JoinPlan) -> Value {
    json!({
        "data_rate": join.data_rate,
        "request_ms": number(join.request.milliseconds()),
        "retry_s": seconds(join.retry),
        "keeps_back_off": join.keeps_back_off(),
        "phases": join.phases.iter().map(|phase| json!({
            "from_h": number(phase.from.hours()),
            "to_h": number(phase.to.hours()),
            "on_air_s": seconds(phase.on_air),
            "allowed_s": seconds(phase.allowed),
            "shortest_retry_s": seconds(phase.retry),
        })).collect::<Vec<_>>(),
        "nonces_last_years": number(join.nonces_last.years()),
        "nonces_last_with_back_off_years": number(join.nonces_last_with_back_off.years()),
    })
}
