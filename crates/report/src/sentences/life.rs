//! What one life shows, and the weather it was lived in.

use verdict::plan::{Life, Plan, WeatherUsed};

use crate::{ReportedDesign, words};

/// Label, figure with unit and explanation of what a life counts.
pub fn life_rows(life: &Life) -> Vec<(String, &'static str)> {
    vec![
        (words::count(life.outages as usize, "outage"), "times it stopped in the whole life"),
        (words::count(life.outage_hours as usize, "hour"), "stopped in the whole life"),
        (format!("{:.0} %", life.lowest_charge.percent()), "lowest charge"),
        (format!("{:.0} % of new", life.capacity_left.percent()), "battery capacity left at the end"),
    ]
}

/// Label, figure with unit and explanation of what is usual over all lives.
pub fn mean_rows(life: &Life) -> Vec<(String, &'static str)> {
    vec![
        (reports(life.wanted_reports_per_year - life.missed_reports_per_year), "sent"),
        (reports(life.missed_reports_per_year), "missed"),
        (
            format!("{} mAh a day", words::milliampere_hours(life.spilled_per_day)),
            "sun the full battery could not take",
        ),
        (
            format!("{:.0} hours a year", life.gated_hours_per_year),
            "sun refused, battery too cold or too hot",
        ),
        (
            format!("{} hours a year", words::figure(life.plating_hours_per_year)),
            "charged below freezing, where that harms",
        ),
        (
            format!("{} hours a year", words::figure(life.hot_hours_per_year)),
            "charged hotter than the battery bears",
        ),
    ]
}

/// What is left of the battery at the end of the promise, and how often it could not be charged.
pub fn wear(life: &Life) -> String {
    let rated = life.worn_after.map_or_else(String::new, |after| {
        format!("80 % of the capacity, where a cell's rated life ends, after {}; ", words::lasting(after))
    });
    let left = format!("{rated}{:.0} % of the capacity left at the end", life.capacity_left.percent());
    match life.gated_hours_per_year {
        hours if hours < 0.5 => left,
        hours => format!("{left}; charging refused {hours:.0} h a year"),
    }
}

fn reports(per_year: f64) -> String {
    format!("{} a year", words::count(words::whole(per_year), "report"))
}

/// Where drawn weather comes from, without a word of sun where no panel asks for it; `None` for a weather file.
pub fn drawn_from(subject: &ReportedDesign, plan: &Plan) -> Option<String> {
    let said = subject.drawn_from.clone()?;
    let of_sun = if crate::has_sun(plan) { None } else { said.find(", the sun of ") };
    Some(of_sun.and_then(|at| said.get(..at)).map_or_else(|| said.clone(), str::to_owned))
}

/// Where recorded weather was taken, also where its file does not say.
pub fn station(weather: &WeatherUsed) -> &str {
    if weather.title.is_empty() { "a file that names no station" } else { &weather.title }
}

/// Where the weather comes from and what it lacks.
pub fn weather_rows(subject: &ReportedDesign, plan: &Plan) -> Vec<(&'static str, String)> {
    let weather = &plan.weather;
    let mut rows = match &subject.weather_file {
        Some(file) => vec![("file", file.clone()), ("station", station(weather).to_owned())],
        None => return vec![("drawn from", weather.title.clone())],
    };
    if let Some((latitude, longitude)) = weather.place {
        let place = format!("latitude {:.3}°, longitude {:.3}°", latitude.degrees(), longitude.degrees());
        rows.push(("place", place));
    }
    if let Some(km) = weather.distance_km {
        rows.push(("distance", format!("{km:.0} km from the site of the design")));
    }
    let lived = weather.winters.map(|winters| format!(": {}", super::winters(winters))).unwrap_or_default();
    rows.push(("length", format!("{} hours{lived}", words::grouped(weather.hours))));
    let split =
        if weather.diffuse_measured { "in the file" } else { "split from the global by Erbs' correlation" };
    rows.push(("diffuse light", split.to_owned()));
    if let Some(doubtful) = weather.doubtful {
        let text = "of the sunny hours: direct and diffuse do not make the global light";
        rows.push(("doubtful", format!("{:.1} % {text}", doubtful.percent())));
    }
    rows.push((
        "wind",
        if weather.wind_measured { "in the file" } else { "not in the file; 1 m/s assumed" }.to_owned(),
    ));
    rows
}
