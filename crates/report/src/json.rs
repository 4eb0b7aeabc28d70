//! Everything in a plan as JSON, units in the names, always in the same order.

mod chances;
pub mod climate;
mod law;
mod message;
pub mod reach;
mod remedy;
pub mod table;
pub mod truth;

use forecast::sky::recorded::Winters;
use serde_json::{Value, json};
use verdict::plan::{
    Cause, Finding, Hour, JudgedPromise, LedgerEntry, Life, Moment, MonthRow, NodeState, Plan, Promised,
    Restart, Verdict, WeatherUsed,
};

use super::{ReportedDesign, sentences, words};
use crate::problem::Problem;

/// The plan.
pub fn plan(subject: &ReportedDesign, plan: &Plan) -> Value {
    json!({
        "schema": 1,
        "overwinter": env!("CARGO_PKG_VERSION"),
        "node": node(subject),
        "verdict": verdict(plan.verdict),
        "reason": plan.reason,
        "weather": weather(subject, &plan.weather),
        "chances": plan.chances.as_ref().map(chances::chances),
        "promises": plan.chances.as_ref().map(|chances| chances.kept.iter().map(promise).collect::<Vec<_>>()),
        "remedies": subject.remedies.as_ref().map(|found| remedy::remedies(subject, found)),
        "law": law::law(subject),
        "reach": reach::of(subject),
        "messages": message::messages(subject),
        "climate": subject.climate.as_ref().map(climate::climate),
        "life": life(&plan.life),
        "means": means(&plan.life),
        "ledger": plan.ledger.iter().map(ledger_entry).collect::<Vec<_>>(),
        "months": plan.months.iter().map(month).collect::<Vec<_>>(),
        "with_gate_without_outage_percent": plan.with_gate.map(|share| number(share.percent())),
        "diagnostics": subject.warnings.iter().map(Problem::to_json).collect::<Vec<_>>(),
        "findings": plan.findings.iter().map(|one| finding(subject, one)).collect::<Vec<_>>(),
        "hours": plan.hours.iter().map(hour).collect::<Vec<_>>(),
    })
}

fn promise(kept: &JudgedPromise) -> Value {
    let (unit, asked, found) = match kept.promised {
        Promised::WithoutOutage { asked, found } | Promised::Completeness { asked, found } => {
            ("percent", asked.percent(), found.percent())
        }
        Promised::Freshness { asked, found } => ("hours", asked.hours(), found.hours()),
        Promised::Visits { asked, found } => ("per_year", asked, found),
    };
    json!({
        "promise": kept.promised.name(),
        "verdict": verdict(kept.verdict),
        "unit": unit,
        "asked": number(asked),
        "found": number(found),
        "says": sentences::answer(&kept.promised),
    })
}

fn node(subject: &ReportedDesign) -> Value {
    let stops = subject.stops_percent.iter().copied().fold(0.0, f64::max);
    json!({
        "name": subject.name,
        "note": subject.note,
        "file": subject.file,
        "latitude_deg": number(subject.latitude_deg),
        "promise_unattended_years": number(subject.promise.unattended.years()),
        "promise_without_outage_percent": number(subject.promise.without_outage.percent()),
        "stops_when_coldest_at_charge_percent": number(stops),
        "restarts_at_charge_percent": number(subject.restarts_percent),
        "parts": subject.parts.iter().map(|(role, what)| json!({ "role": role, "what": what })).collect::<Vec<_>>(),
        "doubts": subject.doubts.iter().map(|(field, remark)| json!({
            "field": field,
            "line": subject.lines.get(field),
            "remark": remark,
        })).collect::<Vec<_>>(),
    })
}

/// A figure to six significant digits, so that it reads the same on every machine.
pub fn number(value: f64) -> Value {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { json!(0.0) } else { Value::Null };
    }
    json!(format!("{value:.5e}").parse::<f64>().unwrap_or(value))
}

/// The word of a verdict in data.
pub fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::NotKnown => "not_known",
        known => words::verdict(known),
    }
}

fn moment(at: Moment) -> Value {
    json!({ "life_year": at.pass + 1, "month": at.month, "day": at.day, "hour": at.hour })
}

fn weather(subject: &ReportedDesign, weather: &WeatherUsed) -> Value {
    json!({
        "file": subject.weather_file,
        "title": weather.title,
        "drawn": weather.drawn,
        "latitude_deg": weather.place.map(|(latitude, _)| number(latitude.degrees())),
        "longitude_deg": weather.place.map(|(_, longitude)| number(longitude.degrees())),
        "distance_km": weather.distance_km.map(number),
        "hours": weather.hours,
        "whole_winters": weather.winters.map(|winters| match winters {
            Winters::Whole(count) => count,
            Winters::Joined => 0,
        }),
        "passes": weather.passes,
        "diffuse_measured": weather.diffuse_measured,
        "doubtful_hours_percent": weather.doubtful.map(|share| number(share.percent())),
        "wind_measured": weather.wind_measured,
    })
}

fn life(life: &Life) -> Value {
    json!({
        "number": life.number,
        "outage_hours": life.outage_hours,
        "outages": life.outages,
        "first_outage": life.first_outage.map(moment),
        "lowest_charge_percent": number(life.lowest_charge.percent()),
        "lowest_at": moment(life.lowest_at),
        "capacity_left_percent": number(life.capacity_left.percent()),
    })
}

fn means(life: &Life) -> Value {
    json!({
        "lives": life.lives_in_means,
        "wanted_reports_per_year": number(life.wanted_reports_per_year),
        "missed_reports_per_year": number(life.missed_reports_per_year),
        "lasts_median_years": life.lasts.map(|(median, _)| number(median.years())),
        "lasts_nine_in_ten_years": life.lasts.map(|(_, most)| number(most.years())),
        "capacity_80_percent_after_years": life.worn_after.map(|after| number(after.years())),
        "without_sun_days": number(life.without_sun.days()),
        "days_to_half": life.days_to_half.map(number),
        "spilled_mah_per_day": number(life.spilled_per_day.milliampere_hours()),
        "gated_hours_per_year": number(life.gated_hours_per_year),
        "plating_hours_per_year": number(life.plating_hours_per_year),
        "hot_charging_hours_per_year": number(life.hot_hours_per_year),
        "plates_percent_of_lives": number(life.plates.percent()),
    })
}

fn cause(cause: Cause) -> &'static str {
    match cause {
        Cause::Sun => "sun",
        Cause::ChargeGate => "charge_gate",
        Cause::BrownOut => "brown_out",
        Cause::Ageing => "ageing",
        Cause::Distance => "distance",
        Cause::Parts => "parts",
    }
}

fn restart(restart: Restart) -> Value {
    match restart {
        Restart::At(at, days) => json!({ "at": moment(at), "after_days": number(days) }),
        Restart::Never => Value::Null,
    }
}

fn ledger_entry(entry: &LedgerEntry) -> Value {
    json!({
        "purpose": words::purpose(&entry.purpose),
        "mah_per_day": number(entry.per_day.milliampere_hours()),
        "mah_per_dark_day": number(entry.per_dark_day.milliampere_hours()),
    })
}

fn month(row: &MonthRow) -> Value {
    json!({
        "month": row.month,
        "sun_on_plane_wh_per_m2_day": number(row.sun_on_plane_wh_m2),
        "offered_mah_per_day": number(row.offered_per_day.milliampere_hours()),
        "taken_mah_per_day": number(row.taken_per_day.milliampere_hours()),
        "spent_mah_per_day": number(row.spent_per_day.milliampere_hours()),
        "air_celsius": number(row.air.celsius()),
        "lowest_charge_percent": number(row.lowest_charge.percent()),
        "outage_hours_per_year": number(row.outage_hours),
    })
}

fn finding(subject: &ReportedDesign, finding: &Finding) -> Value {
    json!({
        "code": finding.code,
        "severity": words::severity(finding.severity),
        "field": finding.field,
        "line": subject.lines.get(&finding.field),
        "message": finding.message,
        "help": finding.help,
    })
}

fn hour(hour: &Hour) -> Value {
    json!({
        "at": moment(hour.at),
        "in_plane_w_per_m2": number(hour.in_plane.watts_per_square_metre()),
        "air_celsius": number(hour.air.celsius()),
        "cell_celsius": number(hour.cell.celsius()),
        "battery_celsius": number(hour.battery.celsius()),
        "panel_current_ma": number(hour.panel_current.milliamperes()),
        "panel_voltage_v": number(hour.panel_voltage.volts()),
        "battery_current_ma": number(hour.battery_current.milliamperes()),
        "battery_voltage_v": number(hour.battery_voltage.volts()),
        "charge_percent": number(hour.charge.percent()),
        "state": state(hour.state),
    })
}

/// What a node is doing, as one word for machines.
pub fn state(state: NodeState) -> &'static str {
    match state {
        NodeState::Running => "running",
        NodeState::Gated => "gated",
        NodeState::Full => "full",
        NodeState::Stopped => "stopped",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_keep_six_digits() {
        assert_eq!(number(0.1 + 0.2), json!(0.3));
        assert_eq!(number(-123456.789), json!(-123457.0));
        assert_eq!(number(0.0), json!(0.0));
        assert_eq!(number(f64::INFINITY), Value::Null);
    }
}
