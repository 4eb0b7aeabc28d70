//! One page of text: the verdict line, then at most 30 lines of 80 columns.

pub(crate) mod climate;
mod everything;
pub(crate) mod lay;

use anstyle::{AnsiColor, Style};
use forecast::plan::{Chances, DefectRow, FaultRow, LedgerEntry, MonthRow, Plan, Restart, Severity, Verdict};

use super::{Caution, Subject, darkest_month, says, words};
use lay::{bar, column_bar, paint, wrap, wrap_indented};

pub(crate) use everything::{everything, fate, life_rows, weather_rows};

/// Columns of the page.
pub(crate) const WIDTH: usize = 80;
/// Lines of the page after the verdict.
const LINES: usize = 30;
/// Columns before the twelve months; each month takes [`MONTH_WIDTH`].
const MONTH_LABEL: usize = 20;
const MONTH_WIDTH: usize = 5;
/// Columns of a fact's label.
const LABEL: usize = 14;

pub(crate) const BOLD: Style = Style::new().bold();
pub(crate) const QUIET: Style = Style::new().dimmed();
const SUN: Style = AnsiColor::Yellow.on_default();
const SPEND: Style = AnsiColor::Magenta.on_default();

/// The page: what is asked most, in the order in which it is asked.
pub(crate) fn page(subject: &Subject, plan: &Plan) -> String {
    let mut lines = head(subject, plan);
    lines.push(String::new());
    match &plan.chances {
        Some(chances) => lines.extend(facts_of_many(subject, plan, chances)),
        None => lines.extend(facts(plan)),
    }
    lines.extend(other_verdicts(subject));
    lines.push(String::new());
    lines.extend(ledger(plan, if plan.chances.is_some() { 3 } else { 5 }));
    lines.push(String::new());
    lines.extend(months(subject, plan));
    let tail = 1;
    let verdict_line = 1;
    let cautions = cautions(subject, plan, 5);
    let room = (LINES + verdict_line).saturating_sub(lines.len() + tail);
    let least = if plan.chances.is_some() { 2 } else { 3 };
    let room = room.saturating_sub(cautions.len() + 1).clamp(least, 6);
    lines.push(String::new());
    lines.extend(match &plan.chances {
        Some(chances) => faults(chances, room),
        None => defects(plan, room),
    });
    let room = (LINES + verdict_line).saturating_sub(lines.len() + tail);
    lines.extend(if cautions.len() > room { self::cautions(subject, plan, room) } else { cautions });
    lines.truncate(LINES);
    lines.push(paint(QUIET, "--all: every figure; --report FILE.html: charts; --hours FILE.csv: every hour"));
    lines.join("\n") + "\n"
}

/// The stroke of a verdict: whole, dashed, broken with a bar across the gap, dotted.
pub(crate) fn stroke(verdict: Verdict) -> (&'static str, Style) {
    match verdict {
        Verdict::Holds => ("━━━━━", AnsiColor::Green.on_default().bold()),
        Verdict::Tight => ("╍╍╍╍╍", AnsiColor::Yellow.on_default().bold()),
        Verdict::Fails => ("━━┃━━", AnsiColor::Red.on_default().bold()),
        Verdict::NotKnown => ("·····", AnsiColor::Yellow.on_default().bold()),
    }
}

fn head(subject: &Subject, plan: &Plan) -> Vec<String> {
    let (stroke, style) = stroke(plan.verdict);
    let word = format!("{stroke} {}", words::verdict(plan.verdict));
    let name = lay::clip(&subject.name, WIDTH - 30);
    let mut lines = match &plan.chances {
        Some(chances) => wrap(
            &format!("{word}: {name}. {}. {}", says::headline(subject, chances), says::caveat(chances)),
            WIDTH,
        ),
        None => [vec![format!("{word}: {name}")], wrap(&plan.reason, WIDTH)].concat(),
    };
    if let Some(first) = lines.first_mut() {
        *first = first.replacen(&word, &paint(style, &word), 1);
    }
    lines.push(weather_line(subject, plan));
    lines
}

/// The weather a plan was made with, in one line.
fn weather_line(subject: &Subject, plan: &Plan) -> String {
    let weather = &plan.weather;
    if let Some(drawn_from) = &subject.drawn_from {
        return lay::clip(&format!("Weather: {drawn_from}"), WIDTH);
    }
    let lived =
        if weather.passes > 1 { format!(", lived {} times over", weather.passes) } else { String::new() };
    let away = weather.distance_km.map(|km| format!(", {km:.0} km from the site")).unwrap_or_default();
    let rest = format!(", {} hours{lived}{away}", words::grouped(weather.hours));
    let title = lay::clip(&weather.title, WIDTH.saturating_sub("Weather: ".len() + rest.chars().count()));
    format!("Weather: {title}{rest}")
}

/// A label and its text, in as many lines as it takes.
pub(crate) fn fact(label: &str, text: &str) -> Vec<String> {
    let lines = wrap_indented(text, WIDTH - LABEL, "").into_iter().enumerate();
    lines.map(|(index, line)| format!("{:<LABEL$}{line}", if index == 0 { label } else { "" })).collect()
}

/// What the many lives show.
fn facts_of_many(subject: &Subject, plan: &Plan, chances: &Chances) -> Vec<String> {
    let mut lines = fact("darkest", &says::darkest(chances, super::has_sun(plan)));
    lines.extend(without_gate(plan));
    if super::has_sun(plan) {
        let lasts =
            format!("full: {}; {}", words::days(plan.life.without_sun.days()), back(plan.life.restart));
        lines.push(lay::clip(&format!("{:<LABEL$}{lasts}", "without sun"), WIDTH));
    }
    lines.extend(fact("out", &says::outages(chances)));
    lines.extend(fact("matters most", &says::matters_most(&chances.drivers)));
    lines.extend(says::causes(chances).iter().flat_map(|causes| fact("lives lost", causes)));
    lines.extend(says::promises(subject, chances).iter().flat_map(|(label, text)| fact(label, text)));
    lines
}

/// When a node that stops on the darkest date of the life that is shown is back.
fn back(restart: Restart) -> String {
    match restart {
        Restart::At(_, days) if days < 0.05 => "if it stops, back within the hour".to_owned(),
        Restart::At(at, days) => {
            format!("if it stops, back on {} after {}", words::date_short(at), words::days(days))
        }
        Restart::Never => "if it stops, not back in a year".to_owned(),
    }
}

/// What charging in frost without a gate does to the verdict, and the same node with one.
fn without_gate(plan: &Plan) -> Vec<String> {
    let Some(variant) = &plan.with_gate else { return Vec::new() };
    let hours = plan.life.plating_hours_per_year;
    let gated = format!(
        "charged below 0 C for {hours:.0} h a year, so tight at best; with a gate, one life {} (lowest charge {:.0} %)",
        words::verdict(variant.verdict),
        variant.life.lowest_charge.percent()
    );
    let mut lines = fact("no gate", &gated);
    if let Some(first) = lines.first_mut() {
        *first = first.replacen("no gate", &paint(severity_style(Severity::Danger), "no gate"), 1);
    }
    lines
}

/// A line each for the law and the messages, if anything is sent.
fn other_verdicts(subject: &Subject) -> Vec<String> {
    let Some((fits, room)) = subject.message_says() else { return Vec::new() };
    let law = &subject.law;
    let line = |label: &str, verdict: Verdict, word: &str, text: &str| {
        let mut lines = fact(label, &format!("{word}: {text}"));
        let (_, style) = stroke(verdict);
        if let Some(first) = lines.first_mut() {
            *first = first.replacen(&format!(" {word}:"), &format!(" {}:", paint(style, word)), 1);
        }
        lines.truncate(3);
        lines
    };
    let law = line("law", law.verdict, words::verdict(law.verdict), &says::law(law));
    let reach = &subject.reach;
    let reach = line("reach", reach.verdict, words::verdict(reach.verdict), &says::reach::short(reach));
    [law, reach, line("message", fits, says::fits(fits), &room)].concat()
}

fn facts(plan: &Plan) -> Vec<String> {
    let life = &plan.life;
    let sunny = super::has_sun(plan);
    let lasts = match (life.in_hand.days(), sunny) {
        (days, _) if days < 0.02 => "nothing in hand".to_owned(),
        (days, true) => format!("lasts {} without sun", words::days(days)),
        (days, false) => format!("lasts {} from there", words::days(days)),
    };
    let at = words::date_in_life(life.lowest_at, plan);
    let lowest = format!("{:.0} % on {at}, {lasts}", life.lowest_charge.percent());
    let without_sun =
        format!("a full battery lasts {} and can still restart", words::days(life.without_sun.days()));
    let mut facts = if sunny {
        vec![
            ("lowest charge", lowest),
            ("without sun", without_sun),
            ("after a stop", restart_line(life.restart)),
        ]
    } else {
        vec![("lowest charge", lowest)]
    };
    if let (Some(first), Some(cause)) = (life.first_outage, life.cause) {
        facts.push(("first stop", format!("{}, {}", words::date_in_life(first, plan), words::cause(cause))));
    } else if sunny {
        let half = match life.days_to_half {
            Some(days) => format!("half full after {} in the darkest month", words::days(days)),
            None => "never half full within a year".to_owned(),
        };
        facts.push(("from empty", half));
    }
    let lines = facts.into_iter().map(|(label, text)| lay::clip(&format!("{label:<LABEL$}{text}"), WIDTH));
    lines.collect()
}

fn restart_line(restart: Restart) -> String {
    match restart {
        Restart::At(_, days) if days < 0.05 => "on that date it is back within the hour".to_owned(),
        Restart::At(at, days) => {
            format!("on that date it is back on {}, {} later", words::date(at), words::days(days))
        }
        Restart::Never => "on that date it does not come back within a year".to_owned(),
    }
}

/// Where the charge goes in the darkest month, at most `rows` entries and the sum.
fn ledger(plan: &Plan, rows: usize) -> Vec<String> {
    const NAME: usize = 30;
    const BAR: usize = 37;
    let month = darkest_month(plan).map_or("the darkest month", words::month);
    let entries = main_entries(plan, rows);
    let left: f64 = entries.iter().map(|(_, charge)| charge).sum();
    let top = super::top_of_ledger(entries.iter().map(|(_, charge)| *charge));
    let title = format!("Where the charge goes, mAh a day in {month}");
    let mut lines = vec![paint(BOLD, &title)];
    for (name, charge) in &entries {
        let style = if *charge > 0.0 { SUN } else { SPEND };
        let torn = if charge.abs() > top { " ▶" } else { "" };
        let bar = paint(style, &(bar(charge.abs(), top, BAR) + torn));
        lines.push(format!("{:<NAME$}{:>8}  {bar}", lay::clip(name, NAME - 1), words::signed(*charge)));
    }
    lines.push(format!("{:<NAME$}{:>8}", "left over", words::signed(left)));
    lines
}

/// Earnings, then the largest spendings, then all others as one entry.
fn main_entries(plan: &Plan, rows: usize) -> Vec<(String, f64)> {
    let mut sorted: Vec<_> = plan.ledger.iter().collect();
    let dark = |entry: &LedgerEntry| entry.per_dark_day.milliampere_hours();
    let earns = |entry: &LedgerEntry| entry.per_day.coulombs() > 0.0;
    sorted.sort_by(|one, other| earns(other).cmp(&earns(one)).then(dark(one).total_cmp(&dark(other))));
    let mut entries: Vec<(String, f64)> =
        sorted.into_iter().map(|entry| (entry.purpose.clone(), dark(entry))).collect();
    if entries.len() > rows {
        let small = entries.split_off(rows.saturating_sub(1));
        entries.push((format!("{} smaller ones", small.len()), small.iter().map(|(_, charge)| charge).sum()));
    }
    entries
}

/// Harvest against load, month by month, cut at midsummer.
fn months(subject: &Subject, plan: &Plan) -> Vec<String> {
    let rows: Vec<_> =
        subject.months().filter_map(|month| plan.months.iter().find(|row| row.month == month)).collect();
    let line = |label: &str, cells: Vec<String>| {
        let cells = cells.iter().map(|cell| format!("{cell:>MONTH_WIDTH$}")).collect::<Vec<_>>().concat();
        format!("{label:<MONTH_LABEL$}{cells}")
    };
    let offered = |row: &MonthRow| row.offered_per_day.milliampere_hours();
    let spent = |row: &MonthRow| row.spent_per_day.milliampere_hours();
    let head = line("mAh a day", rows.iter().map(|row| words::month_short(row.month).to_owned()).collect());
    let mut lines = vec![paint(BOLD, &head)];
    if super::has_sun(plan) {
        let share = |row: &MonthRow| if spent(row) > 0.0 { offered(row) / (2.0 * spent(row)) } else { 1.0 };
        let bar = |row: &&MonthRow| format!("  {}", paint(SUN, &column_bar(share(row), MONTH_WIDTH - 2)));
        let bars: String = rows.iter().map(bar).collect();
        lines
            .push(line("the sun offers", rows.iter().map(|row| words::short_figure(offered(row))).collect()));
        lines.push(format!("{:<MONTH_LABEL$}{bars}", "half bar = enough"));
    }
    lines.push(line("the node spends", rows.iter().map(|row| words::short_figure(spent(row))).collect()));
    lines.push(match &plan.chances {
        Some(chances) => {
            line("1 life in 20 at, %", rows.iter().map(|row| lowest_band(chances, row.month)).collect())
        }
        None => line(
            "lowest charge, %",
            rows.iter().map(|row| format!("{:.0}", row.lowest_charge.percent())).collect(),
        ),
    });
    lines
}

/// The lowest charge [%] of a month at which 5 % of the lives stand or below.
fn lowest_band(chances: &Chances, month: u8) -> String {
    let days = chances.bands.iter().enumerate().filter(|(day, _)| words::month_and_day(*day).0 == month);
    let lowest = days.map(|(_, band)| band.charge[0].percent()).fold(100.0, f64::min);
    format!("{lowest:.0}")
}

const DEFECT_NAME: usize = 46;

/// As designed, beside the worst defects; at most `lines` lines.
fn defects(plan: &Plan, lines: usize) -> Vec<String> {
    if plan.defects.is_empty() {
        return Vec::new();
    }
    let stops = plan.life.first_outage.map_or("never".to_owned(), words::date_short);
    let mut out = vec![
        paint(BOLD, &defect_line("If one thing goes wrong", "more a day", "stops after", "back")),
        defect_line("  as designed", "-", &stops, ""),
    ];
    out.extend(plan.defects.iter().map(defect_row).take(lines.saturating_sub(2)));
    out
}

fn defect_line(name: &str, extra: &str, stops: &str, back: &str) -> String {
    let name = lay::clip(name, DEFECT_NAME - 1);
    format!("{name:<DEFECT_NAME$}{extra:>10}  {stops:<13}{back}").trim_end().to_owned()
}

fn defect_row(row: &DefectRow) -> String {
    let extra = if row.extra_per_day.coulombs() > 0.0 {
        format!("{} mAh", words::milliampere_hours(row.extra_per_day))
    } else {
        "no sun".to_owned()
    };
    let stops = row.days_to_death.map_or("never".to_owned(), words::days);
    let back = match (row.days_to_death, row.restart) {
        (None, _) => String::new(),
        (Some(_), Some(Restart::At(at, _))) => words::date_short(at),
        (Some(_), _) => "never".to_owned(),
    };
    defect_line(&format!("  {}", row.name), &extra, &stops, &back)
}

const FAULT_NAME: usize = 37;

/// What becomes of the lives with one thing gone wrong, soonest dead first; at most `lines` lines.
fn faults(chances: &Chances, lines: usize) -> Vec<String> {
    if chances.faults.is_empty() {
        return Vec::new();
    }
    let head = fault_line(["If one thing goes wrong", "stops", "half after", "9 in 10", "back alone"]);
    let mut out = vec![paint(BOLD, &head)];
    out.extend(chances.faults.iter().map(fault_row).take(lines.saturating_sub(1)));
    out
}

fn fault_line([name, stops, half, most, back]: [&str; 5]) -> String {
    let name = lay::clip(name, FAULT_NAME - 1);
    format!("{name:<FAULT_NAME$}{stops:>6}{half:>12}{most:>12}{back:>12}").trim_end().to_owned()
}

fn fault_row(row: &FaultRow) -> String {
    let percent = |share: design::quantity::Share| format!("{:.0} %", share.percent());
    let days = |days: Option<f64>| days.map_or(String::new(), words::days);
    fault_line([
        &format!("  {}", row.name),
        &percent(row.stops),
        &days(row.median_days),
        &days(row.most_days),
        &row.comes_back.map_or(String::new(), percent),
    ])
}

fn severity_style(severity: Severity) -> Style {
    match severity {
        Severity::Note => QUIET,
        Severity::Warning => AnsiColor::Yellow.on_default().bold(),
        Severity::Danger => AnsiColor::Red.on_default().bold(),
    }
}

/// What wants a decision, worst first, each with its place; at most `lines` lines, the last of which says how many were
/// left out.
fn cautions(subject: &Subject, plan: &Plan, lines: usize) -> Vec<String> {
    let cautions = subject.cautions(plan);
    let mut out = Vec::new();
    for (shown, one) in cautions.iter().enumerate() {
        let said = caution(one);
        let reserve = usize::from(shown + 1 < cautions.len());
        if out.len() + said.len() + reserve > lines {
            if lines > 0 {
                let left =
                    words::count(cautions.len() - shown, if shown == 0 { "caution" } else { "more caution" });
                out.push(format!("{left} under --all"));
            }
            break;
        }
        out.extend(said);
    }
    out
}

fn caution(caution: &Caution) -> Vec<String> {
    let word = words::severity(caution.severity);
    let text = format!("{word}: {}: {}", caution.place, caution.message);
    let mut lines = lay::wrap_indented(&text, WIDTH, "  ");
    if let Some(first) = lines.first_mut() {
        *first = first.replacen(word, &paint(severity_style(caution.severity), word), 1);
    }
    lines
}

#[cfg(test)]
mod tests {
    use forecast::plan::Finding;

    use super::*;
    use crate::report::fixture;

    fn plain(text: &str) -> String {
        anstream::adapter::strip_str(text).to_string()
    }

    #[test]
    fn the_page_is_a_verdict_and_at_most_thirty_lines_of_eighty_columns() {
        for chances in [None, Some(fixture::chances())] {
            pages_of(Plan { chances, ..fixture::plan() });
        }
    }

    fn pages_of(mut plan: Plan) {
        let subject = fixture::subject();
        let many = plan.findings.first().cloned().expect("one finding");
        for extra in 0..8 {
            let page = plain(&page(&subject, &plan));
            assert!(page.starts_with("━━━━━ holds"), "{page}");
            assert!(page.lines().count() <= LINES + 1, "{extra} findings more:\n{page}");
            assert!(page.lines().all(|line| line.chars().count() <= WIDTH), "{page}");
            plan.findings.push(Finding { message: many.message.repeat(extra % 3 + 1), ..many.clone() });
            plan.ledger.push(plan.ledger.last().cloned().expect("entries"));
            plan.defects.push(plan.defects.first().cloned().expect("defects"));
        }
    }

    #[test]
    fn the_ledger_keeps_its_sum_when_small_entries_are_put_together() {
        let plan = fixture::plan();
        let sum = |lines: Vec<String>| {
            let figure =
                |line: &String| plain(line).get(30..38).and_then(|figure| figure.trim().parse::<f64>().ok());
            lines.iter().skip(1).filter_map(figure).collect::<Vec<_>>()
        };
        for rows in 3..8 {
            let figures = sum(ledger(&plan, rows));
            let (left, entries) = figures.split_last().expect("a sum");
            assert_eq!(figures.len(), rows.min(plan.ledger.len()) + 1);
            assert!((entries.iter().sum::<f64>() - left).abs() < 0.11, "{figures:?}");
        }
    }
}
