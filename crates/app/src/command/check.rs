//! `overwinter check`: one design file, one weather file, one verdict.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use design::node::{Activity, Design, Step};
use forecast::diary::Diary;
use forecast::load::Demand;
use forecast::plan::{Hour, Plan, Verdict};
use forecast::power::battery::{charge_at_rest, lowest_charge_for, usable_share};
use forecast::sky::weather::WeatherHours;
use serde_json::json;

use crate::input;
use crate::output;
use crate::problem::Failure;
use crate::report::{self, Subject, daylight};

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Example:
  overwinter check examples/larkmoor/frost-mast.toml --weather examples/weather/sand-point-ak.csv

The weather file is hourly: TMY3, EPW, or CSV with named columns. Exit code: 0 the verdict holds (or is tight \
or not known), 1 it fails, 2 something is wrong with the input.";

/// What `check` is given.
#[derive(Args)]
pub(super) struct Check {
    /// The design file of the node
    #[arg(value_name = "NODE.toml")]
    design: PathBuf,
    /// Hourly weather: TMY3, EPW, or CSV with named columns
    #[arg(long, value_name = "FILE")]
    weather: PathBuf,
    /// Show every figure, defect, caution and assumption
    #[arg(long, conflicts_with = "json")]
    all: bool,
    /// Print everything as JSON, units in the names
    #[arg(long)]
    json: bool,
    /// Write the last year of the life hour by hour as CSV
    #[arg(long, value_name = "FILE.csv")]
    hours: Option<PathBuf>,
    /// Write the report with charts as one page of HTML
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
}

/// Checks, prints, and says the exit code.
pub(super) fn run(arguments: &Check) -> ExitCode {
    match check(arguments) {
        Ok((page, verdict)) => match output::print(&page) {
            Ok(()) if verdict == Verdict::Fails => ExitCode::from(1),
            Ok(()) => ExitCode::SUCCESS,
            Err(failure) => refuse(&failure, false),
        },
        Err(failure) => refuse(&failure, arguments.json),
    }
}

fn refuse(failure: &Failure, as_json: bool) -> ExitCode {
    if as_json {
        let report = json!({
            "schema": 1,
            "overwinter": env!("CARGO_PKG_VERSION"),
            "verdict": null,
            "diagnostics": failure.to_json(),
        });
        // Nobody is left to tell when standard output is closed as well.
        let _closed = output::print(&(format!("{report:#}") + "\n"));
    } else {
        output::complain(&failure.render());
    }
    ExitCode::from(2)
}

fn check(arguments: &Check) -> Result<(String, Verdict), Failure> {
    let outputs = [arguments.hours.as_deref(), arguments.report.as_deref()];
    output::refuse_to_overwrite(&outputs, &[&arguments.design, &arguments.weather])?;
    let design = input::design(&arguments.design);
    let site = design.as_ref().ok().and_then(input::Checked::observer);
    let weather = input::weather(&arguments.weather, site.as_ref());
    let (checked, weather) = match (design, weather) {
        (Ok(checked), Ok(weather)) => (checked, weather),
        (design, weather) => return Err(Failure::both(design.err(), weather.err())),
    };
    let plan = forecast::plan::plan_once(&checked.design, &weather);
    let subject = subject(arguments, &checked, &weather, &plan);
    if let Some(path) = &arguments.hours {
        output::write(path, &report::hours::csv(&plan))?;
    }
    if let Some(path) = &arguments.report {
        output::write(path, &report::html::page(&subject, &plan))?;
    }
    let page = if arguments.json {
        format!("{:#}\n", report::json::plan(&subject, &plan))
    } else if arguments.all {
        report::text::page(&subject, &plan) + &report::text::everything(&subject, &plan)
    } else {
        report::text::page(&subject, &plan)
    };
    Ok((page, plan.verdict))
}

fn subject(arguments: &Check, checked: &input::Checked, weather: &WeatherHours, plan: &Plan) -> Subject {
    let design = &checked.design;
    let fields = plan.findings.iter().map(|finding| finding.field.as_str());
    let fields = fields.chain(design.doubts.iter().map(|doubt| doubt.field.as_str()));
    let lines: BTreeMap<String, usize> =
        fields.filter_map(|field| Some((field.to_owned(), checked.line_of(field)?))).collect();
    let site = &design.site;
    let observer = weather.observer().or(checked.observer());
    Subject {
        file: shown(&arguments.design),
        weather_file: shown(&arguments.weather),
        name: design.name.clone(),
        note: design.note.clone(),
        latitude_deg: weather.place.as_ref().map_or(site.latitude, |place| place.latitude).degrees(),
        daylight_h: observer
            .map(|observer| daylight::year(&observer, weather.utc_offset_h))
            .unwrap_or_default(),
        promise_years: design.promise.unattended.years(),
        parts: parts(design),
        stops_percent: stops_percent(design, plan),
        restarts_percent: 100.0 * charge_at_rest(&design.battery, design.cutoff.restarts_above),
        doubts: design.doubts.iter().map(|doubt| (doubt.field.clone(), doubt.remark.clone())).collect(),
        warnings: checked.warnings.clone(),
        lines,
    }
}

/// Charge [%] at or below which the node stops in each hour of the plan.
///
/// It stops when the cold locks what is left, or when its largest pulse pulls the voltage under the limit.
fn stops_percent(design: &Design, plan: &Plan) -> Vec<f64> {
    let pulse = Demand::new(design, &Diary::new(design)).pulse;
    let at_celsius = |celsius: f64| {
        let battery = &design.battery;
        let locked = 1.0 - usable_share(battery, celsius);
        let buffer = design.buffer.as_ref();
        let under_pulse = lowest_charge_for(battery, pulse, design.cutoff.stops_below, buffer, celsius);
        100.0 * locked.max(under_pulse.unwrap_or(1.0))
    };
    // Whole degrees are near enough for a drawing, and few enough to work out once.
    let degree = |hour: &Hour| hour.battery.celsius().round();
    let mut degrees: Vec<f64> = plan.hours.iter().map(degree).collect();
    degrees.sort_by(f64::total_cmp);
    degrees.dedup();
    let limits: Vec<f64> = degrees.iter().map(|celsius| at_celsius(*celsius)).collect();
    let limit = |hour: &Hour| limits.get(degrees.partition_point(|celsius| *celsius < degree(hour))).copied();
    plan.hours.iter().map(|hour| limit(hour).unwrap_or(0.0)).collect()
}

/// A path as the person wrote it.
fn shown(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}

/// Role and description of each part, for the reader who wants to know what was meant.
fn parts(design: &Design) -> Vec<(&'static str, String)> {
    let site = &design.site;
    let side = |degrees: f64, plus: char, minus: char| {
        format!("{:.2}° {}", degrees.abs(), if degrees < 0.0 { minus } else { plus })
    };
    let place = format!(
        "{}, {}, {:.0} m",
        side(site.latitude.degrees(), 'N', 'S'),
        side(site.longitude.degrees(), 'E', 'W'),
        site.elevation.metres()
    );
    let mut parts = vec![("site", place)];
    if let Some(mounted) = &design.panel {
        let facing = mounted
            .azimuth
            .map_or("facing anywhere".to_owned(), |azimuth| format!("facing {:.0}°", azimuth.degrees()));
        let watts = format!("{} W", mounted.panel.power.nominal.watts());
        let title = &mounted.panel.title;
        let label = if title.contains(&watts) { title.clone() } else { format!("{title}, {watts}") };
        parts.push(("panel", format!("{label}, tilted {:.0}°, {facing}", mounted.tilt.degrees())));
    }
    if let Some(charger) = &design.charger {
        parts.push(("charger", charger.title.clone()));
    }
    let capacity = design.battery.capacity.nominal.milliampere_hours();
    parts.push(("battery", format!("{}, {capacity:.0} mAh", design.battery.title)));
    if let Some(radio) = &design.radio {
        parts.push(("radio", format!("{}, {}", radio.radio.title, radio.region.name)));
    }
    if let Some(receiver) = &design.receiver {
        parts.push(("receiver", receiver.title.clone()));
    }
    let reports = design.loads.iter().flat_map(|load| &load.activities).filter(|activity| sends(activity));
    parts.extend(reports.map(|activity| ("sends", format!("{}, {}", activity.name, every(activity)))));
    parts
}

fn sends(activity: &Activity) -> bool {
    activity.steps.iter().any(|step| matches!(step, Step::Uplink { .. }))
}

/// How often something happens; the row that holds at full charge where there are several.
fn every(activity: &Activity) -> String {
    let interval = activity.every.first().and_then(|(_, interval)| *interval);
    let often = interval.map_or("never".to_owned(), |interval| {
        format!("every {} min", (interval.minutes() * 100.0).round() / 100.0)
    });
    if activity.every.len() > 1 { format!("{often} at full charge") } else { often }
}
