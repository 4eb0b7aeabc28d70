//! What `--all` adds to the page.

mod law;
mod message;

use verdict::plan::{Life, Plan, Survival};

use super::lay::{paint, wrap_indented};
use super::{BOLD, ReportedDesign, WIDTH, climate, fact, sentences, words};
use crate::sentences::life::{life_rows, mean_rows, weather_rows};

/// Every figure of the plan that the page leaves out.
pub fn everything(subject: &ReportedDesign, plan: &Plan) -> String {
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
        section("The lives", lives(subject, plan, chances));
        section("What matters most, and the lives without an outage", drivers(chances));
        section("Every fault, beginning a month before the darkest", faults(chances));
    }
    section(&sentences::shown_life(plan), life(&plan.life));
    section("Means over the lives", means(&plan.life));
    section("Every entry of the ledger, mAh a day", ledger(plan));
    section("Every month", months(subject, plan));
    section("How it is heard", reach(subject));
    section("The law", law::lines(subject));
    for view in &subject.messages {
        section(&message::title(view), message::lines(view));
    }
    section("What can be learned from its messages", learnable(subject));
    section("Cautions", cautions(subject, plan));
    section("Figures to doubt", doubts(subject));
    if subject.climate.is_none() {
        section("The weather", weather(subject, plan));
    }
    if let Some(assumed) = &subject.climate {
        section("The climate it is drawn from", climate::table(subject.first_month(), &assumed.view));
        section("How far that is to be trusted", climate::how_sure(assumed));
    }
    let assumptions = sentences::assumptions(plan);
    section(
        "What is assumed",
        assumptions.iter().flat_map(|text| wrap_indented(text, WIDTH, "  ")).collect(),
    );
    lines.join("\n") + "\n"
}

fn reach(subject: &ReportedDesign) -> Vec<String> {
    sentences::reach::rows(&subject.reach).iter().flat_map(|(label, text)| fact(label, text)).collect()
}

fn lives(subject: &ReportedDesign, plan: &Plan, chances: &Survival) -> Vec<String> {
    let (lived, wanted) = (words::grouped(chances.lives), words::grouped(chances.wanted));
    let worst = words::count(chances.worst.outage_hours as usize, "hour");
    let mut rows = vec![
        ("survive", sentences::headline(subject, chances)),
        ("lives", format!("{lived} of {wanted} asked for, seed {}", chances.seed)),
        (
            "unluckiest",
            format!("fifth of lives: {} without an outage", sentences::share(chances.worst_fifth)),
        ),
        ("luckiest", format!("fifth of lives: {} without an outage", sentences::share(chances.best_fifth))),
        ("outages", sentences::outages(chances)),
        ("lowest charge", sentences::darkest(chances)),
        ("worst life", format!("number {}, stopped for {worst}", chances.worst.life)),
    ];
    rows.extend(sentences::causes(plan, chances).map(|causes| ("why they stop", causes)));
    rows.iter().flat_map(|(label, text)| fact(label, text)).collect()
}

fn drivers(chances: &Survival) -> Vec<String> {
    let row = |name: &str, weight: &str, least: &str, most: &str| {
        format!("{name:<40}{weight:>8}{least:>15}{most:>15}")
    };
    let line = |driver: &verdict::plan::Driver| {
        let (least, most) = (sentences::share(driver.least), sentences::share(driver.most));
        row(driver.name, &words::signed(driver.weight), &least, &most)
    };
    let mut lines =
        vec![row("", "effect", "fifth with", "fifth with"), row("", "-1 to 1", "least of it", "most of it")];
    lines.extend(chances.drivers.iter().map(line));
    lines
}

fn faults(chances: &Survival) -> Vec<String> {
    let line = |row: &verdict::plan::FaultRow| {
        wrap_indented(
            &format!(
                "{} ({}): {}",
                words::fault(&row.fault),
                words::fault_effect(&row.fault),
                sentences::fault(row)
            ),
            WIDTH,
            "  ",
        )
    };
    chances.faults.iter().flat_map(line).collect()
}

fn parts(subject: &ReportedDesign) -> Vec<String> {
    subject.parts.iter().flat_map(|(role, what)| fact(role, what)).collect()
}

fn life(life: &Life) -> Vec<String> {
    figures(life_rows(life))
}

fn means(life: &Life) -> Vec<String> {
    figures(mean_rows(life))
}

fn figures(rows: Vec<(String, &'static str)>) -> Vec<String> {
    rows.into_iter().map(|(figure, what)| format!("{figure:>24}  {what}")).collect()
}

fn ledger(plan: &Plan) -> Vec<String> {
    let mut lines = vec![format!("{:<40}{:>14}{:>18}", "", "whole year", "darkest month")];
    lines.extend(plan.ledger.iter().map(|entry| {
        let (year, dark) = (entry.per_day.milliampere_hours(), entry.per_dark_day.milliampere_hours());
        format!(
            "{:<40}{:>14}{:>18}",
            words::purpose(&entry.purpose),
            words::signed(year),
            words::signed(dark)
        )
    }));
    lines
}

fn months(subject: &ReportedDesign, plan: &Plan) -> Vec<String> {
    let row = |cells: [String; 8]| {
        let [month, rest @ ..] = cells;
        rest.iter().fold(format!("{month:<11}"), |line, cell| format!("{line}{cell:>9}"))
    };
    let head = ["", "sun", "offered", "taken", "spent", "air", "lowest", "stopped"].map(str::to_owned);
    let units =
        ["", "Wh/m2 day", "mAh/day", "mAh/day", "mAh/day", "C", "charge %", "h/year"].map(str::to_owned);
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
            words::figure(month.outage_hours),
        ]));
    }
    lines
}

fn learnable(subject: &ReportedDesign) -> Vec<String> {
    let Some(learnable) = &subject.learnable else { return Vec::new() };
    let lacks = learnable.lacks.iter().map(sentences::learnable::lack);
    let all = lacks.chain(learnable.together.iter().map(sentences::learnable::together));
    let lines = all.flat_map(|text| wrap_indented(&text, WIDTH, "  "));
    fact("they tell", &sentences::learnable::tells(learnable)).into_iter().chain(lines).collect()
}

fn cautions(subject: &ReportedDesign, plan: &Plan) -> Vec<String> {
    let mut lines = Vec::new();
    for caution in subject.cautions(plan) {
        let word = words::severity(caution.severity);
        let text = format!("{word}: {}: {} ({})", caution.place, caution.message, caution.code);
        lines.extend(wrap_indented(&text, WIDTH, "  "));
        lines.extend(wrap_indented(&caution.help, WIDTH - 2, "").iter().map(|line| format!("  {line}")));
    }
    lines
}

fn doubts(subject: &ReportedDesign) -> Vec<String> {
    let doubts = subject.doubts_by_reason().into_iter();
    doubts.flat_map(|(place, text)| wrap_indented(&format!("{place}: {text}"), WIDTH, "  ")).collect()
}

fn weather(subject: &ReportedDesign, plan: &Plan) -> Vec<String> {
    weather_rows(subject, plan).iter().flat_map(|(label, text)| fact(label, text)).collect()
}
