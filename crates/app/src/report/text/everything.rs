//! What `--all` adds to the page.

mod law;
mod message;

use verdict::plan::{Chances, DefectRow, Life, Plan, Restart};

use super::lay::{paint, wrap_indented};
use super::{BOLD, Subject, WIDTH, climate, fact, says, words};

/// Every figure of the plan that the page leaves out.
pub(crate) fn everything(subject: &Subject, plan: &Plan) -> String {
    let mut lines = Vec::new();
    let mut section = |title: &str, body: Vec<String>| {
        if !body.is_empty() {
            lines.push(String::new());
            lines.push(paint(BOLD, title));
            lines.extend(body);
        }
    };
    section("What was checked", parts(subject));
    if let Some(chances) = &plan.chances {
        section("The lives", lives(subject, chances));
        section("What the outcome hangs on: how its rank moves with that of each unknown", drivers(chances));
        section("Every fault, beginning a month before the darkest", faults(chances));
    }
    let shown = if plan.chances.is_some() { "The life that is shown, parts as designed" } else { "The life" };
    section(shown, life(&plan.life));
    if let Some(variant) = &plan.with_gate {
        let title = format!("{}: {}", variant.name, words::verdict(variant.verdict));
        section(&title, life(&variant.life));
    }
    section("Every entry of the ledger, mAh a day", ledger(plan));
    section("Every month", months(subject, plan));
    if plan.chances.is_none() {
        section("Every defect", plan.defects.iter().flat_map(defect).collect());
    }
    section("How it is heard", reach(subject));
    section("The law", law::lines(subject));
    for view in &subject.messages {
        section(&message::title(view), message::lines(view));
    }
    section("Cautions", cautions(subject, plan));
    section("Figures to doubt", doubts(subject));
    if subject.climate.is_none() {
        section("The weather", weather(subject, plan));
    }
    if let Some(assumed) = &subject.climate {
        section("The climate it is drawn from", climate::table(subject.first_month(), &assumed.view));
        section("How far that is to be trusted", climate::how_sure(assumed));
    }
    let assumptions = says::assumptions(plan);
    section(
        "What is assumed",
        assumptions.iter().flat_map(|text| wrap_indented(text, WIDTH, "  ")).collect(),
    );
    lines.join("\n") + "\n"
}

fn reach(subject: &Subject) -> Vec<String> {
    says::reach::rows(&subject.reach).iter().flat_map(|(label, text)| fact(label, text)).collect()
}

fn lives(subject: &Subject, chances: &Chances) -> Vec<String> {
    let (lived, wanted) = (words::grouped(chances.lives), words::grouped(chances.wanted));
    let worst = words::count(chances.worst.outage_hours as usize, "hour");
    let mut rows = vec![
        ("survive", says::headline(subject, chances)),
        ("lives", format!("{lived} of {wanted} asked for, seed {}", chances.seed)),
        ("worst fifth", says::share(chances.worst_fifth)),
        ("best fifth", says::share(chances.best_fifth)),
        ("out", says::outages(chances)),
        ("darkest", says::darkest(chances, true)),
        ("worst life", format!("number {}, out for {worst}", chances.worst.life)),
    ];
    rows.extend(says::causes(chances).map(|causes| ("lives lost", causes)));
    rows.iter().flat_map(|(label, text)| fact(label, text)).collect()
}

fn drivers(chances: &Chances) -> Vec<String> {
    let line = |driver: &verdict::plan::Driver| {
        let bar = super::lay::bar(driver.weight.abs(), 1.0, 24);
        format!("{:<40}{:>8}  {bar}", driver.name, words::signed(driver.weight)).trim_end().to_owned()
    };
    chances.drivers.iter().map(line).collect()
}

fn faults(chances: &Chances) -> Vec<String> {
    let line = |row: &verdict::plan::FaultRow| {
        wrap_indented(&format!("{} ({}): {}", row.name, row.effect, says::fault(row)), WIDTH, "  ")
    };
    chances.faults.iter().flat_map(line).collect()
}

fn parts(subject: &Subject) -> Vec<String> {
    subject.parts.iter().flat_map(|(role, what)| fact(role, what)).collect()
}

/// Label, figure with unit and explanation of what a life counts.
pub(crate) fn life_rows(life: &Life) -> Vec<(String, &'static str)> {
    vec![
        (words::count(life.outages as usize, "outage"), "times it stopped"),
        (words::count(life.outage_hours as usize, "hour"), "stopped"),
        (reports(life.reports_per_year), "sent"),
        (reports(life.missed_reports_per_year), "missed"),
        (format!("{:.0} % of new", life.capacity_left.percent()), "battery capacity left at the end"),
        (
            format!("{} mAh a day", words::milliampere_hours(life.spilled_per_day)),
            "sun the full battery could not take",
        ),
        (
            format!("{:.0} hours a year", life.gated_hours_per_year),
            "sun refused, battery too cold or too hot",
        ),
        (format!("{:.0} hours a year", life.plating_hours_per_year), "charged below freezing without a gate"),
    ]
}

fn reports(per_year: f64) -> String {
    format!("{} a year", words::count(words::whole(per_year), "report"))
}

fn life(life: &Life) -> Vec<String> {
    life_rows(life).into_iter().map(|(figure, what)| format!("{figure:>24}  {what}")).collect()
}

fn ledger(plan: &Plan) -> Vec<String> {
    let mut lines = vec![format!("{:<40}{:>14}{:>18}", "", "whole year", "darkest month")];
    lines.extend(plan.ledger.iter().map(|entry| {
        let (year, dark) = (entry.per_day.milliampere_hours(), entry.per_dark_day.milliampere_hours());
        format!("{:<40}{:>14}{:>18}", entry.purpose, words::signed(year), words::signed(dark))
    }));
    lines
}

fn months(subject: &Subject, plan: &Plan) -> Vec<String> {
    let row = |cells: [String; 8]| {
        let [month, rest @ ..] = cells;
        rest.iter().fold(format!("{month:<11}"), |line, cell| format!("{line}{cell:>9}"))
    };
    let head = ["", "sun", "offered", "taken", "spent", "air", "lowest", "stopped"].map(str::to_owned);
    let units =
        ["", "Wh/m2 day", "mAh/day", "mAh/day", "mAh/day", "C", "charge %", "hours"].map(str::to_owned);
    let mut lines = vec![row(head), row(units)];
    for month in subject.months().filter_map(|month| plan.months.iter().find(|row| row.month == month)) {
        lines.push(row([
            words::month(month.month).to_owned(),
            format!("{:.0}", month.sun_on_plane_wh_m2),
            words::milliampere_hours(month.offered_per_day),
            words::milliampere_hours(month.taken_per_day),
            words::milliampere_hours(month.spent_per_day),
            format!("{:.1}", month.air.celsius()),
            format!("{:.0}", month.lowest_charge.percent()),
            month.outage_hours.to_string(),
        ]));
    }
    lines
}

/// What becomes of a node with one defect, in one sentence.
pub(crate) fn fate(row: &DefectRow) -> String {
    let Some(days) = row.days_to_death else {
        return "it lives through a year of it".to_owned();
    };
    let cure = if row.clears_by_itself { "which clears it" } else { "the fault still there" };
    let back = match row.restart {
        Some(Restart::Never) => "does not come back within a year".to_owned(),
        Some(restart) => format!("comes back {}, {cure}", words::restart(restart)),
        None => "needs a visit".to_owned(),
    };
    format!("beginning on {}, it stops after {} and {back}", words::date(row.from), words::days(days))
}

fn defect(row: &DefectRow) -> Vec<String> {
    wrap_indented(&format!("{} ({}): {}", row.name, row.effect, fate(row)), WIDTH, "  ")
}

fn cautions(subject: &Subject, plan: &Plan) -> Vec<String> {
    let mut lines = Vec::new();
    for caution in subject.cautions(plan) {
        let word = words::severity(caution.severity);
        let text = format!("{word}: {}: {} ({})", caution.place, caution.message, caution.code);
        lines.extend(wrap_indented(&text, WIDTH, "  "));
        lines.extend(wrap_indented(&caution.help, WIDTH - 2, "").iter().map(|line| format!("  {line}")));
    }
    lines
}

fn doubts(subject: &Subject) -> Vec<String> {
    let doubts = subject.doubts_by_reason().into_iter();
    doubts.flat_map(|(place, text)| wrap_indented(&format!("{place}: {text}"), WIDTH, "  ")).collect()
}

/// Where the weather comes from and what it lacks.
pub(crate) fn weather_rows(subject: &Subject, plan: &Plan) -> Vec<(&'static str, String)> {
    let weather = &plan.weather;
    let mut rows = match &subject.weather_file {
        Some(file) => vec![("file", file.clone()), ("station", weather.title.clone())],
        None => return vec![("drawn from", weather.title.clone())],
    };
    if let Some((latitude, longitude)) = weather.place {
        let place = format!("latitude {:.3}°, longitude {:.3}°", latitude.degrees(), longitude.degrees());
        rows.push(("place", place));
    }
    if let Some(km) = weather.distance_km {
        rows.push(("distance", format!("{km:.0} km from the site of the design")));
    }
    let lived = words::count(usize::from(weather.passes), "time");
    rows.push(("length", format!("{} hours, lived through {lived}", words::grouped(weather.hours))));
    let split =
        if weather.diffuse_measured { "in the file" } else { "split from the global by Erbs' correlation" };
    rows.push(("diffuse light", split.to_owned()));
    rows.push((
        "wind",
        if weather.wind_measured { "in the file" } else { "not in the file; 1 m/s assumed" }.to_owned(),
    ));
    rows
}

fn weather(subject: &Subject, plan: &Plan) -> Vec<String> {
    weather_rows(subject, plan).iter().flat_map(|(label, text)| fact(label, text)).collect()
}
