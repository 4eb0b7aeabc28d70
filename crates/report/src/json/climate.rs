//! A climate, as data.

use forecast::life::climate_view::ClimateMonth;
use serde_json::{Value, json};

use super::number;
use crate::{Assumed, Origin, sentences};

/// What is assumed of the weather.
pub fn climate(assumed: &Assumed) -> Value {
    let view = &assumed.view;
    let origin = match assumed.origin {
        Origin::BuiltIn => "built_in",
        Origin::Monthly => "monthly_numbers",
        Origin::Hours => "weather_file",
    };
    json!({
        "origin": origin,
        "source": view.source,
        "drawn_years": view.years,
        "day_sd_doubt_percent": number(100.0 * view.day_sd_doubt),
        "snow_guessed": view.snow_guessed,
        "rain_guessed": view.rain_guessed,
        "months": view.months.iter().map(month).collect::<Vec<_>>(),
        "darkest_fortnight": {
            "from_day_of_year": view.fortnight.from_day + 1,
            "usual_kwh_per_m2_day": kilo(view.fortnight.usual_wh_m2),
            "one_year_in_ten_kwh_per_m2_day": kilo(view.fortnight.one_in_ten_wh_m2),
        },
        "dark_below_kwh_per_m2_day": kilo(view.dark_below_wh_m2),
        "longest_dark_run_by_year_days": view.dark_runs_days,
        "said": sentences::climate(assumed).into_iter().map(|(label, text)| json!({ "about": label, "text": text })).collect::<Vec<_>>(),
    })
}

fn kilo(wh: f64) -> Value {
    number(wh / 1000.0)
}

fn month(month: &ClimateMonth) -> Value {
    json!({
        "month": month.month,
        "ground_kwh_per_m2_day": kilo(month.ghi_wh_m2),
        "ground_90_interval_kwh_per_m2_day": [kilo(month.ghi_interval_wh_m2.0), kilo(month.ghi_interval_wh_m2.1)],
        "in_plane_kwh_per_m2_day": kilo(month.in_plane_wh_m2),
        "in_plane_8_years_in_10_kwh_per_m2_day": [kilo(month.in_plane_years_wh_m2.0), kilo(month.in_plane_years_wh_m2.1)],
        "air_celsius": number(month.air_celsius),
        "daily_swing_k": number(month.daily_swing_k),
        "day_sd_k": number(month.day_sd_k),
        "overcast_days_percent": number(100.0 * month.overcast_share),
        "in_leaf": month.in_leaf,
        "snow_days_on_flat": number(month.snow_days),
    })
}
