//! The table of intervals as data.

use serde_json::{Value, json};
use verdict::adaptive::{Adapted, Aim, NoTable};

/// A table that was found, units in the names.
#[must_use]
pub fn found(adapted: &Adapted) -> Value {
    let rows: Vec<Value> = adapted
        .rows
        .iter()
        .map(|(charge, months)| {
            let seconds = months.map(|every| every.map(design::quantity::Duration::seconds));
            json!({ "from_charge_percent": charge.percent(), "interval_s_by_month": seconds })
        })
        .collect();
    let (judged, course) = (&adapted.judged, &adapted.course);
    json!({
        "schema": 1,
        "aim": match adapted.aim { Aim::Spare => "spare", Aim::Spend => "spend" },
        "load": adapted.load,
        "activity": adapted.activity,
        "rows": rows,
        "survival": {
            "lives": judged.lives,
            "without_outage_percent": judged.without_outage.percent(),
            "interval_percent": [judged.interval.0.percent(), judged.interval.1.percent()],
        },
        "reports_per_year": course.per_year,
        "poorest_month": { "month": course.poorest.0, "reports_per_day": course.poorest.1 },
        "longest_silence_h": course.longest_silence.hours(),
        "written": { "interval_s": adapted.every.seconds(), "reports_per_year": adapted.written_per_year },
        "best_fixed": adapted.best_fixed.map(|(every, per_year)| json!({
            "interval_s": every.seconds(), "reports_per_year": per_year,
        })),
        "energy_neutral_reports_per_year": adapted.energy_neutral_per_year,
    })
}

/// Why there is none.
#[must_use]
pub fn none(why: &NoTable) -> Value {
    let word = match why {
        NoTable::NothingCharges => "nothing-charges",
        NoTable::NothingReports => "nothing-reports",
        NoTable::Refused(..) => "refused",
        NoTable::KeptAnyway(_) => "kept-anyway",
        NoTable::NotEnough(_) => "not-enough",
        NoTable::OnlyWithPerfectGauge(..) => "only-with-perfect-gauge",
        NoTable::Stopped => "stopped",
    };
    json!({ "schema": 1, "none": word })
}
