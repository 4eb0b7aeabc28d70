//! What many lives show, as data.

use design::quantity::Share;
use serde_json::{Value, json};
use verdict::plan::{DayBand, Driver, FaultRow, FortnightHour, Survival, WorstLife};

use super::super::words;
use super::{cause, number, restart};

/// All that many lives show.
pub(crate) fn chances(chances: &Survival) -> Value {
    json!({
        "lives": chances.lives,
        "lives_wanted": chances.wanted,
        "stopped_early": chances.lives < chances.wanted,
        "years": number(chances.years),
        "seed": chances.seed,
        "without_outage_percent": percent(chances.without_outage),
        "without_outage_95_interval_percent": [percent(chances.interval.0), percent(chances.interval.1)],
        "worst_fifth_percent": percent(chances.worst_fifth),
        "best_fifth_percent": percent(chances.best_fifth),
        "outage_hours_per_year": number(chances.outage_hours_per_year),
        "completeness_percent": chances.completeness.map(percent),
        "longest_silence_95_hours": chances.longest_silence.map(|silence| number(silence.hours())),
        "course": chances.course.map(|course| json!({
            "reports_per_year": number(course.per_year),
            "poorest_month": course.poorest.0,
            "reports_per_day_in_poorest_month": number(course.poorest.1),
            "longest_silence_95_hours": number(course.longest_silence.hours()),
        })),
        "visits_per_year": number(chances.visits_per_year),
        "darkest_day_of_year": chances.darkest_day + 1,
        "in_hand_on_darkest_day_days": number(chances.in_hand.days()),
        "if_stopped_on_darkest_day_back": restart(chances.restart),
        "causes": chances.causes.iter().map(|(of, share)| json!({
            "cause": cause(*of),
            "share_of_failed_lives_percent": percent(*share),
        })).collect::<Vec<_>>(),
        "drivers": chances.drivers.iter().map(driver).collect::<Vec<_>>(),
        "faults": chances.faults.iter().map(fault).collect::<Vec<_>>(),
        "charge_percent_by_day_of_year": bands(&chances.bands),
        "worst_life": worst(&chances.worst),
    })
}

fn percent(share: Share) -> Value {
    number(share.percent())
}

/// Five lists, a figure per day of the year: below it lie so many per cent of the lives.
fn bands(bands: &[DayBand]) -> Value {
    let list = |index: usize| -> Value {
        bands.iter().map(|band| band.charge.get(index).copied().map_or(Value::Null, percent)).collect()
    };
    json!({
        "quantile_5": list(0),
        "quantile_25": list(1),
        "median": list(2),
        "quantile_75": list(3),
        "quantile_95": list(4),
    })
}

fn driver(driver: &Driver) -> Value {
    json!({
        "name": driver.name,
        "rank_weight": number(driver.weight),
        "fifth_with_least_percent": number(driver.least.percent()),
        "fifth_with_most_percent": number(driver.most.percent()),
    })
}

fn fault(row: &FaultRow) -> Value {
    json!({
        "name": words::fault(&row.fault),
        "effect": words::fault_effect(&row.fault),
        "stops_percent": percent(row.stops),
        "median_days": row.median_days.map(number),
        "quantile_90_days": row.most_days.map(number),
        "comes_back_percent": row.comes_back.map(percent),
    })
}

fn worst(worst: &WorstLife) -> Value {
    json!({
        "life": worst.life,
        "outage_hours": worst.outage_hours,
        "charge_percent_by_day_of_year": worst.year.charge_by_day.iter().copied().map(percent).collect::<Vec<_>>(),
        "year_begins_on_day_of_year": worst.year.first_day + 1,
        "fortnight": worst.year.fortnight.iter().map(hour).collect::<Vec<_>>(),
    })
}

fn hour(hour: &FortnightHour) -> Value {
    json!({
        "hour_of_year": hour.place,
        "in_plane_w_per_m2": number(f64::from(hour.in_plane_w_m2)),
        "air_celsius": number(f64::from(hour.air_celsius)),
        "battery_celsius": number(f64::from(hour.battery_celsius)),
        "battery_current_ma": number(1000.0 * f64::from(hour.amperes)),
        "charge_percent": number(100.0 * f64::from(hour.charge)),
        "running": hour.running,
    })
}
