//! Whether a message fits, and the table of limits by data rate.

use design::law::{Clause, Confidence};
use design::quantity::Duration;

use super::duty::{self, DAY, HOUR};
use super::hour::shortest_interval;
use super::traffic::Message;
use super::{Bound, Check, LawInputs, Limits, MessageRow, Rate, RateRow, Topic};
use crate::finding::Verdict;
use forecast::radio::airtime;

pub(super) fn judge(case: &LawInputs<'_>) -> Vec<Check> {
    let mut checks = Vec::new();
    for rate in &case.rates {
        checks.extend(case.traffic.messages.iter().map(|message| check(case, rate, message)));
    }
    checks
}

fn check(case: &LawInputs<'_>, rate: &Rate, message: &Message) -> Check {
    let (bytes, most) = (message.bytes(rate), case.radio.ceiling(rate.number).bytes);
    let on_air = message.airtime(rate);
    let too_slow = case.dwell(rate).filter(|dwell| on_air > dwell.longest);
    let (topic, clause) = if let Some(dwell) = too_slow {
        (Topic::Dwell, dwell.clause.clone())
    } else {
        let text = format!("{}, largest payloads", case.radio.region.source);
        (Topic::Payload, Clause { text, confidence: Confidence::Agreed })
    };
    let fits = bytes <= most && too_slow.is_none();
    let at = rate.text();
    let what = format!("`{}` has {bytes} bytes, {at} carries {most}", message.name);
    let reason = match too_slow {
        Some(dwell) => format!(
            "{what}: {:.1} ms on air, {:.0} ms allowed",
            on_air.milliseconds(),
            dwell.longest.milliseconds()
        ),
        None => what,
    };
    Check {
        topic,
        verdict: if fits { Verdict::Holds } else { super::breach(&clause) },
        data_rate: rate.number,
        in_use: rate.in_use,
        field: format!("{}.steps", message.field),
        reason,
        clause,
        remedy: (!fits).then(|| remedy(case, rate, bytes, most)),
    }
}

fn remedy(case: &LawInputs<'_>, rate: &Rate, bytes: usize, most: usize) -> String {
    let faster = case
        .rates
        .iter()
        .find(|other| other.number > rate.number && case.radio.ceiling(other.number).bytes >= bytes);
    let or_faster = faster.map_or(String::new(), |rate| format!("; or nothing slower than {}", rate.text()));
    match bytes.saturating_sub(most) {
        _ if most == 0 => format!(
            "{} carries nothing: leave it out of the data rates, or say `dwell_limit = false` once the network has lifted the limit{or_faster}",
            rate.text()
        ),
        1 => format!("1 byte fewer{or_faster}"),
        fewer => format!("{fewer} bytes fewer{or_faster}"),
    }
}

/// Every message at every data rate with what limits it.
pub(super) fn rows(case: &LawInputs<'_>) -> Vec<MessageRow> {
    let row = |message: &Message| MessageRow {
        name: message.name.clone(),
        field: message.field.clone(),
        confirmed: message.confirmed,
        every: message.every.clone(),
        rates: case.rates.iter().map(|rate| rate_row(case, rate, message)).collect(),
    };
    case.traffic.messages.iter().map(row).collect()
}

fn rate_row(case: &LawInputs<'_>, rate: &Rate, message: &Message) -> RateRow {
    let ceiling = case.radio.ceiling(rate.number);
    let dwell = case.dwell(rate).map(|dwell| dwell.longest);
    let on_air = message.airtime(rate);
    let payload = if message.bytes(rate) <= ceiling.bytes { Bound::Any } else { Bound::Never };
    let law = if dwell.is_some_and(|longest| on_air > longest) {
        Bound::Never
    } else {
        within(duty::hourly_budget(case, rate), HOUR, message.with_tries(rate))
    };
    let allowance = within(case.radio.airtime_allowance_per_day, DAY, message.with_tries(rate));
    RateRow {
        data_rate: rate.number,
        bytes: message.bytes(rate),
        modulation: rate.modulation,
        in_use: rate.in_use,
        airtime: airtime::uplink(rate.modulation, airtime::frame_bytes(message.bytes(rate))),
        ceiling,
        dwell,
        limits: Limits { payload, law, allowance, energy: None },
    }
}

fn within(budget: Option<Duration>, window: Duration, length: Duration) -> Bound {
    match budget {
        None => Bound::Any,
        Some(budget) => shortest_interval(window, length, budget).map_or(Bound::Never, Bound::Every),
    }
}
