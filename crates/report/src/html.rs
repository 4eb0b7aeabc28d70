//! The report as one self-contained page.

pub mod climate;
mod law;
mod message;
mod reach;
mod remedy;
pub mod site;
pub mod sizing;
pub mod truth;

use design::node::Promise;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use verdict::BeforeLife;
use verdict::law::LawPlan;
use verdict::message::MessageView;
use verdict::plan::{LifeInBrief, Plan, Severity, Survival, Verdict};
use verdict::reach::Reach;

use super::{ReportedDesign, darkest_month, sentences, words};
use crate::sentences::life::{life_rows, mean_rows, weather_rows};
use crate::{chart, look};

/// The page: the answer, then why.
pub fn page(subject: &ReportedDesign, plan: &Plan) -> String {
    let answer = answer(subject, plan);
    let main = html! {
        h1 { (answer) }
        @if let Some(note) = &subject.note { p.note.quiet { (note) } }
        (warned(subject, plan))
        (verdicts(subject, plan))
        @match &plan.chances {
            Some(chances) => (facts_of_many(subject, plan, chances)),
            None => (facts(plan)),
        }
        @if let Some(chances) = &plan.chances { (rows(sentences::promises(chances).map(|(asks, said)| (asks.to_owned(), said)))) }
        (charge(subject, plan))
        (remedy::section(subject))
        @if let Some(chart) = plan.chances.as_ref().and_then(chart::tornado::chart) { (chart.section()) }
        @if super::has_sun(plan) { (chart::months::chart(subject, plan).section()) }
        (ledger(plan))
        (gone_wrong(plan))
        (fortnight(subject, plan))
        @if super::has_sun(plan) {
            @if let Some(chart) = chart::earns::chart(subject, plan) { (chart.section()) }
        }
        (cautions(subject, plan))
        (reach::section(subject))
        (law::section(subject))
        (message::sections(subject))
        @if let Some(assumed) = &subject.climate { (climate::section(subject.first_month(), assumed)) }
        (details(subject, plan))
    };
    let footer = html! {
        "Made by overwinter " (env!("CARGO_PKG_VERSION")) " from " (subject.file)
        @if let Some(file) = &subject.weather_file { " and " (file) } "."
    };
    shell(&answer, &subject.file, &main, &footer)
}

/// A whole page around its main part.
fn shell(title: &str, file: &str, main: &Markup, footer: &Markup) -> String {
    let head = html! {
        meta name="generator" content={ "overwinter " (env!("CARGO_PKG_VERSION")) };
        style { (PreEscaped(look::faces(&look::FACES))) (PreEscaped(look::STYLE)) }
    };
    let body = html! {
        body {
            header { p { b { "overwinter" } } p.quiet { (file) } }
            main { (main) }
            footer.quiet { (footer) " Set in Literata and Source Sans 3 (SIL Open Font License 1.1)." }
        }
    };
    document(title, &head, &body)
}

/// A document of its body, with what is its own in the head.
pub(crate) fn document(title: &str, head: &Markup, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                (head)
            }
            (body)
        }
    };
    page.into_string() + "\n"
}

fn answer(subject: &ReportedDesign, plan: &Plan) -> String {
    let fate = match (plan.verdict, plan.weather.drawn || plan.chances.is_some()) {
        (Verdict::Holds, true) => "will live",
        (Verdict::Tight, true) => "may not live",
        (Verdict::Fails, true) => "will not live",
        (Verdict::Holds, false) => "will live through this weather",
        (Verdict::Tight, false) => "may not live through this weather",
        (Verdict::Fails, false) => "will not live through this weather",
        (Verdict::NotKnown, _) => "cannot be judged",
    };
    let unattended = words::planned_span(subject.promise.unattended);
    let kept = plan.chances.as_ref().and_then(|chances| chances.kept.first());
    match plan.verdict {
        Verdict::Fails if kept.is_some_and(|survival| survival.verdict != Verdict::Fails) => {
            format!("{} does not keep all it promises", subject.name)
        }
        Verdict::NotKnown => format!("{} {fate}", subject.name),
        _ if plan.chances.is_some() => format!("{} {fate} through {unattended}", subject.name),
        _ => format!("{} {fate}", subject.name),
    }
}

/// The verdicts alone, as a piece of a page.
pub fn verdict_rows(subject: &ReportedDesign, plan: &Plan) -> String {
    html! { div.verdicts { (answers(subject, plan)) } }.into_string()
}

/// The verdicts of a design of which only the first few lives are lived, or none yet, as a piece of a page.
pub fn first_verdict_rows(before: &BeforeLife, life: Option<&LifeInBrief>, promise: &Promise) -> String {
    let life = if let Some(life) = life {
        let sentence = sentences::will_it_live(life.verdict, &life.kept);
        let promised = words::figure_short(promise.without_outage.percent());
        let figure = format!("{}; promised {promised} %", life.reason);
        verdict_row("life", life.verdict, &sentence, &figure, sentences::SO_FEW)
    } else {
        html! { div.verdict.waiting { p.quiet { "life" } span {} p.quiet { "Lives are being lived." } } }
    };
    html! { div.verdicts { (life) (answers_before_life(&before.law, &before.reach, &before.messages)) } }
        .into_string()
}

/// The charge over the year: of many lives, or of the only one.
fn charge(subject: &ReportedDesign, plan: &Plan) -> Markup {
    match &plan.chances {
        Some(chances) => chart::bands::chart(subject, plan, chances).section(),
        None => chart::year::chart(subject, plan).section(),
    }
}

/// What becomes of it with one thing gone wrong.
fn gone_wrong(plan: &Plan) -> Markup {
    let chart = plan.chances.as_ref().and_then(chart::deaths::chart);
    html! { @if let Some(chart) = chart { (chart.section()) } }
}

/// A dark fortnight hour by hour.
fn fortnight(subject: &ReportedDesign, plan: &Plan) -> Markup {
    let chart = match &plan.chances {
        Some(chances) => chart::fortnight::worst(subject, chances),
        None => chart::fortnight::chart(subject, plan),
    };
    html! { @if let (true, Some(chart)) = (super::has_sun(plan), chart) { (chart.section()) } }
}

/// What weakens the verdicts, in short, above them; what to do about it stands further down.
fn warned(subject: &ReportedDesign, plan: &Plan) -> Markup {
    let cautions = subject.cautions(plan);
    let warned = cautions.iter().filter(|one| one.severity >= Severity::Warning);
    html! {
        @for one in warned {
            p.{ "warned severity-" (words::severity(one.severity)) } {
                b { (words::severity(one.severity)) } ": " (code(&one.message)) " (" (one.place) ")"
            }
        }
    }
}

fn verdict_row(question: &str, verdict: Verdict, sentence: &str, figure: &str, reason: &str) -> Markup {
    html! {
        div.verdict {
            p.quiet { (question) }
            (chart::verdict_mark::mark(verdict))
            div {
                p.says { (sentence) }
                p { b.(chart::verdict_mark::class(verdict)) { (words::verdict(verdict)) } " " b { (figure) } }
                @if !reason.is_empty() { p.quiet { (reason) } }
            }
        }
    }
}

pub(crate) fn verdicts(subject: &ReportedDesign, plan: &Plan) -> Markup {
    html! { section.verdicts aria-label="Verdicts" { (answers(subject, plan)) } }
}

fn answers(subject: &ReportedDesign, plan: &Plan) -> Markup {
    let (figure, reason) = match &plan.chances {
        Some(chances) => (sentences::headline(subject, chances), sentences::caveat(chances)),
        None => (plan.reason.clone(), String::new()),
    };
    let weather = sentences::life::drawn_from(subject, plan)
        .map_or_else(|| weather_sentence(plan), |from| format!("Weather {from}."));
    let reason = format!("{reason} {weather}");
    let kept = plan.chances.as_ref().map_or(&[][..], |chances| &chances.kept);
    html! {
        (verdict_row("life", plan.verdict, &sentences::will_it_live(plan.verdict, kept), &figure, reason.trim()))
        (remedy::sentence(subject, plan))
        @if let Some(gated) = plan.with_gate {
            p { (sentences::with_gate(plan, gated)) }
        }
        (answers_before_life(&subject.law, &subject.reach, &subject.messages))
    }
}

/// The answers that hang on no life; of reach and message nothing if nothing is sent.
fn answers_before_life(law: &LawPlan, reach: &Reach, messages: &[MessageView]) -> Markup {
    html! {
        (law::verdict(law))
        @if !messages.is_empty() || !law.checks.is_empty() { (reach::verdict(reach)) }
        (message::verdict(law, messages))
    }
}

fn facts_of_many(subject: &ReportedDesign, plan: &Plan, chances: &Survival) -> Markup {
    let low = format!("5 % of lives at {:.0} % charge or less", sentences::darkest_percent(chances));
    let lost = sentences::causes(plan, chances).unwrap_or_else(|| "none of them stopped".to_owned());
    let autonomy =
        if super::has_sun(plan) { "of autonomy without any sun" } else { "of autonomy from there" };
    html! {
        dl.facts {
            @if sentences::is_level(chances) { (fact("Lowest charge", "all year", &low)) }
            @else { (fact(if super::has_sun(plan) { "Darkest date" } else { "Lowest on" }, &sentences::darkest_date(chances), &low)) }
            (fact("In hand there", &sentences::in_hand(chances), autonomy))
            @if let Some((median, most)) = plan.life.lasts {
                (fact("Lasts", &words::lasting(median), &format!("half of the lives; nine in ten {}", words::lasting(most))))
            }
            (fact("Outages", &format!("{} h a year", words::figure(chances.outage_hours_per_year)), &sentences::reports_sent(chances)))
            (fact("Lives with an outage", &words::grouped(lost_lives(chances)), &lost))
        }
        @if super::has_sun(plan) { p.quiet.wear { "Lasts: " (sentences::lasts(subject, plan, chances)) "." } }
    }
}

fn lost_lives(chances: &Survival) -> usize {
    words::whole((1.0 - chances.without_outage.fraction()) * chances.lives as f64)
}

fn weather_sentence(plan: &Plan) -> String {
    let weather = &plan.weather;
    let away = weather.distance_km.map(|km| format!(", {km:.0} km from the site")).unwrap_or_default();
    let lived =
        weather.winters.map(|winters| format!(", {}", sentences::winters(winters))).unwrap_or_default();
    format!(
        "{}{away}: {} hours{lived}. Another year may be darker.",
        sentences::life::station(weather),
        words::grouped(weather.hours),
    )
}

fn facts(plan: &Plan) -> Markup {
    let life = &plan.life;
    let lowest = format!("{:.0} %", life.lowest_charge.percent());
    html! {
        dl.facts {
            (fact("Lowest charge", &lowest, &words::date_in_life(life.lowest_at, plan)))
            @if super::has_sun(plan) {
                (fact("A full battery lasts", &words::days(life.without_sun.days()), "without sun and can restart"))
            }
        }
    }
}

fn fact(label: &str, figure: &str, rest: &str) -> Markup {
    html! { div { dt { (label) } dd { b { (figure) } br; (rest) } } }
}

pub(crate) fn ledger(plan: &Plan) -> Markup {
    let month = darkest_month(plan).map_or("the darkest month", words::month);
    let dark = |entry: &verdict::plan::LedgerEntry| entry.per_dark_day.milliampere_hours();
    let top = super::top_of_ledger(plan.ledger.iter().map(dark));
    let left: f64 = plan.ledger.iter().map(dark).sum();
    let left_year: f64 = plan.ledger.iter().map(|entry| entry.per_day.milliampere_hours()).sum();
    let title = match plan.months.iter().find(|row| Some(row.month) == darkest_month(plan)) {
        Some(row) if super::has_sun(plan) => {
            let (spent, offered) = (row.spent_per_day, row.offered_per_day);
            let only = if offered < spent { "only " } else { "" };
            let spent = words::milliampere_hours(spent);
            match words::milliampere_hours(offered).as_str() {
                "0" => format!("A day in {month} costs {spent} mAh; the sun offers nothing"),
                offered => format!("A day in {month} costs {spent} mAh; the sun offers {only}{offered} mAh"),
            }
        }
        _ => format!("A day in {month} costs {} mAh", words::figure(-left)),
    };
    html! {
        section {
            h2 { (title) }
            table.ledger {
                thead { tr { th { "Entry" } th.figure { "mAh a day in " (month) } th.figure { "mAh a day, all year" } td.bars {} } }
                tbody {
                    @for entry in plan.ledger.iter().filter(|entry| entry.per_day.coulombs() != 0.0) {
                        tr {
                            th scope="row" { (words::purpose(&entry.purpose)) }
                            td.figure { (signed(dark(entry))) }
                            td.figure { (signed(entry.per_day.milliampere_hours())) }
                            td.bars { (chart::ledger::bar(dark(entry), top)) }
                        }
                    }
                }
                tfoot { tr {
                    th scope="row" { "left over" }
                    td.figure { (signed(left)) } td.figure { (signed(left_year)) }
                    td.bars { (chart::ledger::bar(left, top)) }
                } }
            }
        }
    }
}

/// A figure with its sign, with a true minus.
fn signed(value: f64) -> String {
    words::signed(value).replace('-', "−")
}

fn cautions(subject: &ReportedDesign, plan: &Plan) -> Markup {
    let cautions = subject.cautions(plan);
    html! {
        @if !cautions.is_empty() {
            section {
                h2 { "What wants a decision" }
                @for caution in cautions {
                    div.caution {
                        p.{ "severity-" (words::severity(caution.severity)) } { b { (words::severity(caution.severity)) } }
                        div {
                            p { (code(&caution.message)) }
                            p { span.remedy { (code(&caution.help)) } }
                            p.quiet { (caution.place) ", " (caution.code) }
                        }
                    }
                }
            }
        }
    }
}

/// Text in which what stands between backticks is code.
pub(crate) fn code(text: &str) -> Markup {
    html! {
        @for (index, part) in text.split('`').enumerate() {
            @if index % 2 == 1 { code { (part) } } @else { (part) }
        }
    }
}

fn details(subject: &ReportedDesign, plan: &Plan) -> Markup {
    html! {
        section {
            h2 { (sentences::shown_life(plan)) }
            (rows(life_rows(&plan.life).into_iter().map(|(figure, what)| (figure, what.to_owned()))))
            h2 { "Means over the lives" }
            (rows(mean_rows(&plan.life).into_iter().map(|(figure, what)| (figure, what.to_owned()))))
        }
        section {
            h2 { "What it was counted from" }
            (rows(subject.parts.iter().map(|(role, what)| ((*role).to_owned(), what.clone()))))
            (rows(weather_rows(subject, plan).into_iter().map(|(label, text)| (format!("weather: {label}"), text))))
        }
        @if !subject.doubts.is_empty() {
            section {
                h2 { "Figures to doubt" }
                (rows(subject.doubts_by_reason().into_iter()))
            }
        }
        section {
            h2 { "What is assumed" }
            ul { @for text in sentences::assumptions(plan) { li { (text) } } }
        }
        (defect_sentences(plan))
    }
}

fn defect_sentences(plan: &Plan) -> Markup {
    let said: Vec<(String, String)> = match &plan.chances {
        Some(chances) => chances
            .faults
            .iter()
            .map(|row| (words::fault(&row.fault).to_owned(), sentences::fault(row)))
            .collect(),
        None => Vec::new(),
    };
    html! {
        @if !said.is_empty() {
            section {
                h2 { "Each fault in words" }
                (rows(said.into_iter()))
            }
        }
    }
}

fn rows(rows: impl Iterator<Item = (String, String)>) -> Markup {
    html! { table.plain { tbody { @for (label, text) in rows { tr { th scope="row" { (label) } td { (code(&text)) } } } } } }
}
