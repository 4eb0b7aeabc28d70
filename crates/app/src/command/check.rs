//! `overwinter check`: one design file, one verdict; with a weather file in that weather, without one in the climate of
//! the site.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use forecast::life::climate_view::climate_view;
use forecast::life::limits::{restarts_percent, stops_percent};
use forecast::sky::climate::{Climate, MonthClimate};
use forecast::sky::daylight;
use forecast::sky::sun::Observer;
use report::problem::Failure;
use report::{Assumed, Origin, ReportedDesign, words};
use serde_json::json;
use verdict::plan::{Effort, Plan};
use verdict::remedy::{Remedies, remedies};
use verdict::{Answer, Environment, Verdict, answer};

use crate::described::parts;
use crate::input::{self, Checked, Sky};
use crate::output;
use crate::progress::Counter;

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter check examples/larkmoor/frost-mast.toml
  overwinter check examples/larkmoor/frost-mast.toml --weather examples/weather/sand-point-ak.csv
  overwinter check examples/larkmoor/larkmoor.toml
  overwinter check now.toml larger-panel.toml --at \"60 N 24.9 E\"

Without a weather file the weather is drawn from the climate of the site (see `overwinter climate`). A weather file \
is hourly: TMY3, EPW, or CSV with named columns. Ctrl-C gives the answer so far. Exit code: 0 the verdicts hold (or \
are tight or not known), 1 one fails, 2 something is wrong with the input.";

/// More lives than anyone can wait for.
const MOST_LIVES: u64 = 1_000_000;

/// What `check` is given.
#[derive(Args)]
pub(super) struct Check {
    /// The design file of the node, or the file of a site
    #[arg(value_name = "NODE.toml | SITE.toml")]
    pub(super) design: PathBuf,
    /// More designs, to be compared with the first: all live the same lives
    #[arg(value_name = "NODE.toml")]
    pub(super) others: Vec<PathBuf>,
    /// Another place to compare, such as "60 N 24.9 E"; may be given several times
    #[arg(long, value_name = "PLACE")]
    pub(super) at: Vec<String>,
    /// Hourly weather instead of the site's climate: TMY3, EPW, or CSV with named columns
    #[arg(long, value_name = "FILE")]
    pub(super) weather: Option<PathBuf>,
    /// Lives to live; left out: ten for each that the promise lets fail, at least 1,000
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(0..=MOST_LIVES))]
    pub(super) lives: Option<u64>,
    /// Seed of all that is drawn
    #[arg(long, value_name = "S", default_value_t = 1)]
    pub(super) seed: u64,
    /// Do not look for what would make it hold, or could be left out
    #[arg(long)]
    pub(super) no_remedies: bool,
    /// Show every figure, defect, caution and assumption
    #[arg(long, conflicts_with = "json")]
    pub(super) all: bool,
    /// Print everything as JSON, units in the names
    #[arg(long)]
    pub(super) json: bool,
    /// Write the last year of the life that is shown hour by hour as CSV
    #[arg(long, value_name = "FILE.csv")]
    pub(super) hours: Option<PathBuf>,
    /// Write the report with charts as one page of HTML
    #[arg(long, value_name = "FILE.html")]
    pub(super) report: Option<PathBuf>,
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

pub(super) fn refuse(failure: &Failure, as_json: bool) -> ExitCode {
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
    if !arguments.others.is_empty() || !arguments.at.is_empty() {
        return super::compare::compare(arguments);
    }
    if input::fleet::is_site(&arguments.design) {
        return super::check_site::check(arguments);
    }
    let outputs = [arguments.hours.as_deref(), arguments.report.as_deref()];
    let inputs = [Some(arguments.design.as_path()), arguments.weather.as_deref()];
    let inputs: Vec<&Path> = inputs.into_iter().flatten().collect();
    output::refuse_to_overwrite(&outputs, &inputs)?;
    let (checked, sky) = input::node(&arguments.design, arguments.weather.as_deref())?;
    let terrain = checked.terrain()?;
    let environment = Environment { weather: sky.weather(), terrain: terrain.as_ref(), others: &[] };
    let counter = Counter::begin();
    let answer = answer(&checked.design, &environment, effort(arguments), &counter);
    let found = (!arguments.no_remedies)
        .then(|| remedies(&checked.design, &environment, &answer, effort(arguments), &counter));
    drop(counter);
    let verdict = answer.verdict();
    let plan = answer.life.clone();
    let subject = subject(arguments, &checked, (answer, found), &sky);
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
    Ok((page, verdict))
}

/// How many lives, from which seed, on how many threads.
pub(super) fn effort(arguments: &Check) -> Effort {
    Effort {
        lives: arguments.lives.map(|lives| usize::try_from(lives).unwrap_or(usize::MAX)),
        seed: arguments.seed,
        threads: std::thread::available_parallelism().map_or(1, Into::into),
    }
}

fn subject(
    arguments: &Check,
    checked: &Checked,
    (answer, remedies): (Answer, Option<Remedies>),
    sky: &Sky,
) -> ReportedDesign {
    let (design, plan, link) = (&checked.design, &answer.life, answer.reach.spots.middle_state().clone());
    let link = &link;
    let fields = answer.findings().map(|finding| finding.field.as_str());
    let fields = fields.chain(design.doubts.iter().map(|doubt| doubt.field.as_str()));
    let moved = remedies.iter().flat_map(|found| found.holds.iter().chain(&found.spare));
    let moved: Vec<String> = moved
        .flat_map(|remedy| &remedy.moved)
        .filter_map(|moved| Some(moved.change.as_ref()?.key()))
        .collect();
    let fields = fields.chain(moved.iter().map(String::as_str));
    let lines: BTreeMap<String, usize> =
        fields.filter_map(|field| Some((field.to_owned(), checked.line_of(field)?))).collect();
    let site = &design.site;
    let (observer, utc_offset_h) = clock(checked, sky);
    let place = match sky {
        Sky::Hours(weather) => weather.place.as_ref().map_or(site.latitude, |place| place.latitude),
        Sky::Climate(_) => site.latitude,
    };
    let full = arguments.all || arguments.json || arguments.report.is_some();
    ReportedDesign {
        file: shown(&arguments.design),
        weather_file: arguments.weather.as_deref().map(shown),
        drawn_from: match sky {
            Sky::Climate(climate) => Some(drawn_from(climate)),
            Sky::Hours(_) => None,
        },
        name: design.name.clone(),
        note: design.note.clone(),
        latitude_deg: place.degrees(),
        daylight_h: observer.map(|observer| daylight::year(&observer, utc_offset_h)).unwrap_or_default(),
        promise: design.promise.clone(),
        parts: parts(design),
        stops_percent: stops_percent(design, link, plan.hours.iter().map(|hour| hour.battery.celsius())),
        worst_stops_percent: stops_percent(design, link, worst_battery_celsius(plan)),
        restarts_percent: restarts_percent(design),
        law: answer.law,
        reach: answer.reach,
        remedies,
        messages: answer.messages,
        learnable: answer.learnable,
        climate: match sky {
            Sky::Climate(climate) if full => Some(Assumed {
                view: climate_view(design, climate, arguments.seed),
                origin: Origin::of(design),
            }),
            _ => None,
        },
        doubts: design.doubts.iter().map(|doubt| (doubt.field.clone(), doubt.remark.clone())).collect(),
        warnings: checked.warnings.clone(),
        lines,
    }
}

/// Where drawn weather comes from and how well its darkest month is known, in a line.
fn drawn_from(climate: &Climate) -> String {
    let darker = |one: &(u8, &MonthClimate), other: &(u8, &MonthClimate)| {
        one.1.ghi_wh_m2.total_cmp(&other.1.ghi_wh_m2)
    };
    let (month, doubt) =
        (1..).zip(&climate.months).min_by(darker).map_or((1, 0.0), |(month, known)| (month, known.sun_doubt));
    let source = climate.source.split(" (").next().unwrap_or(&climate.source);
    format!("drawn from the {source}, the sun of {} known to {:.0} %", words::month(month), 100.0 * doubt)
}

/// From where the sun is seen, and by which clock [h ahead of universal time].
fn clock(checked: &Checked, sky: &Sky) -> (Option<Observer>, f64) {
    match sky {
        Sky::Hours(weather) => (weather.observer().or(checked.observer()), weather.utc_offset_h),
        Sky::Climate(_) => (checked.observer(), checked.design.site.longitude.degrees() / 15.0),
    }
}

fn worst_battery_celsius(plan: &Plan) -> impl Iterator<Item = f64> {
    let hours = plan.chances.iter().flat_map(|chances| &chances.worst.year.fortnight);
    hours.map(|hour| f64::from(hour.battery_celsius))
}

/// The file of a path, without its folders.
pub(super) fn shown(path: &Path) -> String {
    words::file_name(&path.to_string_lossy()).to_owned()
}
