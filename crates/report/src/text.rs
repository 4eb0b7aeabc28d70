//! One page of text: dangers and warnings, none left out, above the verdict that they weaken; then at most 40 lines of 80
//! columns and the table of what would make it hold.

pub mod climate;
mod everything;
pub mod lay;
mod remedy;
pub mod table;
pub mod truth;

use anstyle::{AnsiColor, Style};
use verdict::plan::{FaultRow, LedgerEntry, MonthRow, Plan, Restart, Severity, Survival, Verdict};

use super::{Caution, ReportedDesign, darkest_month, sentences, words};
use lay::{bar, column_bar, paint, wrap, wrap_indented};

pub use everything::everything;

/// Columns of the page.
pub const WIDTH: usize = 80;
/// Lines of the page after the verdict.
const LINES: usize = 40;
/// Faults shown at least, and at most.
const FAULTS: (usize, usize) = (2, 3);
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
pub fn page(subject: &ReportedDesign, plan: &Plan) -> String {
    let cautions = subject.cautions(plan);
    let (warned, notes) =
        cautions.split_at(cautions.partition_point(|one| one.severity >= Severity::Warning));
    let mut above: Vec<String> = warned.iter().flat_map(|one| caution(subject, one)).collect();
    if !above.is_empty() {
        above.push(String::new());
    }
    let verdict = head(subject, plan);
    let mut lines = weather_lines(subject, plan);
    lines.push(String::new());
    match &plan.chances {
        Some(chances) => lines.extend(facts_of_many(subject, plan, chances)),
        None => lines.extend(facts(plan)),
    }
    lines.extend(other_verdicts(subject));
    let remedies = subject.remedies.as_ref().map(|found| remedy::lines(subject, found)).unwrap_or_default();
    let most = LINES + remedies.len();
    lines.extend(remedies);
    lines.push(String::new());
    lines.extend(ledger(plan, if plan.chances.is_some() { 3 } else { 5 }));
    lines.push(String::new());
    lines.extend(months(subject, plan));
    lines.push(String::new());
    let gone_wrong = |rows| match &plan.chances {
        Some(chances) => faults(chances, rows),
        None => Vec::new(),
    };
    // The last line says where the rest is.
    let room = most.saturating_sub(lines.len() + 1);
    let (least, largest) = FAULTS;
    let notes = self::notes(subject, notes, room.saturating_sub(gone_wrong(least).len()));
    let rows = if gone_wrong(largest).len() + notes.len() <= room { largest } else { least };
    lines.extend(gone_wrong(rows));
    lines.extend(notes);
    lines.push(paint(QUIET, "--all: every figure; --report FILE.html: charts; --hours FILE.csv: every hour"));
    [above, verdict, lines].concat().join("\n") + "\n"
}

/// The stroke of a verdict: whole, dashed, broken with a bar across the gap, dotted.
pub fn verdict_mark(verdict: Verdict) -> (&'static str, Style) {
    match verdict {
        Verdict::Holds => ("━━━━━", AnsiColor::Green.on_default().bold()),
        Verdict::Tight => ("╍╍╍╍╍", AnsiColor::Yellow.on_default().bold()),
        Verdict::Fails => ("━━┃━━", AnsiColor::Red.on_default().bold()),
        Verdict::NotKnown => ("·····", AnsiColor::Yellow.on_default().bold()),
    }
}

fn head(subject: &ReportedDesign, plan: &Plan) -> Vec<String> {
    let (mark, style) = verdict_mark(plan.verdict);
    let word = format!("{mark} {}", words::verdict(plan.verdict));
    let name = &subject.name;
    let remedy = subject.remedies.as_ref().and_then(|found| sentences::remedy::sentence(found, plan));
    let remedy = remedy.map(|said| format!(" {said}")).unwrap_or_default();
    let mut lines = match &plan.chances {
        Some(chances) => wrap(
            &format!(
                "{word}: {name}. {}. {}{remedy}",
                sentences::headline(subject, chances),
                sentences::caveat(chances)
            ),
            WIDTH,
        ),
        None => wrap(&format!("{word}: {name}. {}", plan.reason), WIDTH),
    };
    if let Some(first) = lines.first_mut() {
        *first = first.replacen(&word, &paint(style, &word), 1);
    }
    lines
}

/// The weather a plan was made with.
fn weather_lines(subject: &ReportedDesign, plan: &Plan) -> Vec<String> {
    let weather = &plan.weather;
    let recorded = || {
        let lived =
            weather.winters.map(|winters| format!(", {}", sentences::winters(winters))).unwrap_or_default();
        let away = weather.distance_km.map(|km| format!(", {km:.0} km from the site")).unwrap_or_default();
        format!("{}, {} hours{lived}{away}", sentences::life::station(weather), words::grouped(weather.hours))
    };
    let said = format!("Weather: {}", sentences::life::drawn_from(subject, plan).unwrap_or_else(recorded));
    wrap_indented(&said, WIDTH, "  ")
}

/// A label and its text, in as many lines as it takes.
pub fn fact(label: &str, text: &str) -> Vec<String> {
    let lines = wrap_indented(text, WIDTH - LABEL, "").into_iter().enumerate();
    lines.map(|(index, line)| format!("{:<LABEL$}{line}", if index == 0 { label } else { "" })).collect()
}

/// What the many lives show.
fn facts_of_many(subject: &ReportedDesign, plan: &Plan, chances: &Survival) -> Vec<String> {
    let mut lines = fact("lowest charge", &sentences::darkest(chances));
    lines.extend(without_gate(plan));
    if super::has_sun(plan) {
        let lasts = format!(
            "full, it lasts {}; {}",
            words::days(plan.life.without_sun.days()),
            back(chances.restart)
        );
        lines.extend(fact("without sun", &lasts));
    }
    lines.extend(fact("lasts", &sentences::lasts(subject, plan, chances)));
    lines.extend(fact("outages", &sentences::outages(chances)));
    lines.extend(chances.course.iter().flat_map(|course| fact("reports", &sentences::course(course))));
    lines.extend(fact("matters most", &sentences::matters_most(&chances.drivers)));
    lines.extend(sentences::causes(plan, chances).iter().flat_map(|causes| fact("why they stop", causes)));
    lines.extend(sentences::promises(chances).flat_map(|(label, text)| fact(label, &text)));
    lines
}

/// When a node that stops on the darkest date is back.
fn back(restart: Restart) -> String {
    match restart {
        Restart::At(_, days) if days < 0.05 => "stopped at its lowest, it is back in an hour".to_owned(),
        Restart::At(at, days) => {
            format!("stopped at its lowest, it is back in {} ({})", words::days(days), words::date_short(at))
        }
        Restart::Never => "stopped at its lowest, it never comes back".to_owned(),
    }
}

/// What charging in frost without a gate does to the verdict, and the same node with one.
fn without_gate(plan: &Plan) -> Vec<String> {
    let Some(gated) = plan.with_gate else { return Vec::new() };
    let gated = format!(
        "{:.0} % of lives charged below 0 C for an hour a year or more, {} h on average, so tight at best; with a gate, {} of lives without an outage",
        plan.life.plates.percent(),
        words::figure(plan.life.plating_hours_per_year),
        sentences::share(gated)
    );
    let mut lines = fact("no gate", &gated);
    if let Some(first) = lines.first_mut() {
        *first = first.replacen("no gate", &paint(severity_style(Severity::Danger), "no gate"), 1);
    }
    lines
}

/// A line each for the law and the messages, if anything is sent.
fn other_verdicts(subject: &ReportedDesign) -> Vec<String> {
    let Some((fits, room)) = subject.message_room() else { return Vec::new() };
    let law = &subject.law;
    let line = |label: &str, verdict: Verdict, word: &str, text: &str| {
        let mut lines = fact(label, &format!("{word}: {text}"));
        let (_, style) = verdict_mark(verdict);
        if let Some(first) = lines.first_mut() {
            *first = first.replacen(&format!(" {word}:"), &format!(" {}:", paint(style, word)), 1);
        }
        lines.truncate(5);
        lines
    };
    let law = line("law", law.verdict, words::verdict(law.verdict), &sentences::law(law));
    let reach = &subject.reach;
    let reach = line("reach", reach.verdict, words::verdict(reach.verdict), &sentences::reach::short(reach));
    [law, reach, line("message", fits, sentences::fits(fits), &room)].concat()
}

fn facts(plan: &Plan) -> Vec<String> {
    let life = &plan.life;
    let sunny = super::has_sun(plan);
    let at = words::date_in_life(life.lowest_at, plan);
    let lowest = format!("{:.0} % on {at}", life.lowest_charge.percent());
    let without_sun =
        format!("a full battery lasts {} and can still restart", words::days(life.without_sun.days()));
    let mut facts = if sunny {
        vec![("lowest charge", lowest), ("without sun", without_sun)]
    } else {
        vec![("lowest charge", lowest)]
    };
    if let Some(first) = life.first_outage {
        facts.push(("first stop", words::date_in_life(first, plan)));
    } else if sunny {
        let half = match life.days_to_half {
            Some(days) => format!("half full after {} in the darkest month", words::days(days)),
            None => "never half full within a year".to_owned(),
        };
        facts.push(("from empty", half));
    }
    facts.into_iter().flat_map(|(label, text)| fact(label, &text)).collect()
}

/// Where the charge goes in the darkest month, at most `rows` entries and the sum.
fn ledger(plan: &Plan, rows: usize) -> Vec<String> {
    const NAME: usize = 30;
    const BAR: usize = 37;
    let month = darkest_month(plan).map_or("the darkest month", words::month);
    let entries = main_entries(plan, rows);
    let left: f64 = entries.iter().map(|(_, charge)| charge).sum();
    let top = super::top_of_ledger(entries.iter().map(|(_, charge)| *charge));
    let title = format!("Where the charge goes in {month}, mAh a day; left over {}", words::signed(left));
    let mut lines = vec![paint(BOLD, &title)];
    for (name, charge) in &entries {
        let style = if *charge > 0.0 { SUN } else { SPEND };
        let torn = if charge.abs() > top { " ▶" } else { "" };
        let bar = paint(style, &(bar(charge.abs(), top, BAR) + torn));
        let bar = if *charge == 0.0 { String::new() } else { format!("  {bar}") };
        lines.extend(beside(name, NAME, &format!("{:>8}{bar}", words::signed(*charge))));
    }
    lines
}

/// A name and what stands beside it in the table; a long name takes a line more.
fn beside(name: &str, columns: usize, rest: &str) -> Vec<String> {
    let mut lines = wrap_indented(name, columns - 1, "    ");
    if let Some(last) = lines.last_mut() {
        format!("{last:<columns$}{rest}").trim_end().clone_into(last);
    }
    lines
}

/// Earnings, then the largest spendings, then all others as one entry.
fn main_entries(plan: &Plan, rows: usize) -> Vec<(String, f64)> {
    let mut sorted: Vec<_> = plan.ledger.iter().collect();
    let dark = |entry: &LedgerEntry| entry.per_dark_day.milliampere_hours();
    let earns = |entry: &LedgerEntry| entry.per_day.coulombs() > 0.0;
    sorted.sort_by(|one, other| earns(other).cmp(&earns(one)).then(dark(one).total_cmp(&dark(other))));
    let mut entries: Vec<(String, f64)> =
        sorted.into_iter().map(|entry| (words::purpose(&entry.purpose), dark(entry))).collect();
    if entries.len() > rows {
        let small = entries.split_off(rows.saturating_sub(1));
        entries.push((format!("{} smaller ones", small.len()), small.iter().map(|(_, charge)| charge).sum()));
    }
    entries
}

/// Harvest against load, month by month, cut at midsummer.
fn months(subject: &ReportedDesign, plan: &Plan) -> Vec<String> {
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
        lines.push(format!("{:<MONTH_LABEL$}{bars}", "half a bar = enough"));
    } else {
        lines.push(line(
            "air, C",
            rows.iter().map(|row| format!("{:.0}", row.air.celsius().round() + 0.0)).collect(),
        ));
    }
    lines.push(line("the node spends", rows.iter().map(|row| words::short_figure(spent(row))).collect()));
    match &plan.chances {
        Some(chances) => lines.extend([
            "lowest twentieth of".to_owned(),
            line("lives, % charge", rows.iter().map(|row| lowest_band(chances, row.month)).collect()),
        ]),
        None => lines.push(line(
            "lowest charge, %",
            rows.iter().map(|row| format!("{:.0}", row.lowest_charge.percent())).collect(),
        )),
    }
    lines
}

/// The lowest charge [%] of a month at which 5 % of the lives stand or below.
fn lowest_band(chances: &Survival, month: u8) -> String {
    let days = chances.bands.iter().enumerate().filter(|(day, _)| words::month_and_day(*day).0 == month);
    let lowest = days.map(|(_, band)| band.charge[0].percent()).fold(100.0, f64::min);
    format!("{lowest:.0}")
}

fn heading(lines: &[String]) -> Vec<String> {
    lines.iter().map(|line| paint(BOLD, line)).collect()
}

const FAULT_NAME: usize = 41;

/// What becomes of the lives with one thing gone wrong, so many of them, soonest dead first.
fn faults(chances: &Survival, rows: usize) -> Vec<String> {
    if chances.faults.is_empty() {
        return Vec::new();
    }
    let mut out = heading(
        &[
            fault_line(["If one thing goes wrong", "lives", "median time", "9 in 10", "recover"]),
            fault_line(["", "stop", "to stop", "within", "unaided"]),
        ]
        .concat(),
    );
    out.extend(chances.faults.iter().take(rows).flat_map(fault_row));
    out
}

fn fault_line([name, stops, half, most, back]: [&str; 5]) -> Vec<String> {
    beside(name, FAULT_NAME, &format!("{stops:>6}{half:>12}{most:>11}{back:>10}"))
}

fn fault_row(row: &FaultRow) -> Vec<String> {
    let percent = |share: design::quantity::Share| format!("{:.0} %", share.percent());
    let days = |days: Option<f64>| days.map_or(String::new(), words::days);
    fault_line([
        &format!("  {}", words::fault(&row.fault)),
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

/// What is good to know, each with its place: what fits into so many lines, and at last how many were left out.
fn notes(subject: &ReportedDesign, notes: &[Caution], lines: usize) -> Vec<String> {
    let mut out = Vec::new();
    for (shown, one) in notes.iter().enumerate() {
        let said = caution(subject, one);
        let reserve = usize::from(shown + 1 < notes.len());
        if out.len() + said.len() + reserve > lines {
            let left = notes.len() - shown;
            out.push(format!(
                "{} under --all",
                words::count(left, if shown == 0 { "note" } else { "more note" })
            ));
            break;
        }
        out.extend(said);
    }
    out
}

/// A caution in short: what follows a semicolon, or the colon of a finding, stands under `--all`.
fn caution(subject: &ReportedDesign, caution: &Caution) -> Vec<String> {
    let word = words::severity(caution.severity);
    let place = match caution.place.strip_prefix(&subject.file) {
        Some(line) => line.trim_start_matches(':'),
        None => &caution.place,
    };
    let place = match place.parse::<usize>() {
        Ok(line) => format!("line {line}: "),
        Err(_) if place.is_empty() => String::new(),
        Err(_) => format!("{place}: "),
    };
    let text = &caution.message;
    let marks: &[&str] = if caution.severity == Severity::Note { &["; "] } else { &["; ", ": "] };
    let end = marks.iter().filter_map(|mark| text.find(mark)).min();
    let text = end.and_then(|end| text.get(..end)).unwrap_or(text);
    let mut lines = wrap_indented(&format!("{word}: {place}{text}"), WIDTH, "  ");
    if let Some(first) = lines.first_mut() {
        *first = first.replacen(word, &paint(severity_style(caution.severity), word), 1);
    }
    lines
}

#[cfg(test)]
mod tests {
    use verdict::plan::Finding;

    use super::*;
    use crate::fixture;

    fn plain(text: &str) -> String {
        anstream::adapter::strip_str(text).to_string()
    }

    #[test]
    fn the_page_is_a_verdict_and_at_most_40_lines_of_eighty_columns() {
        for chances in [None, Some(fixture::chances())] {
            pages_of(Plan { chances, ..fixture::plan() });
        }
    }

    fn pages_of(mut plan: Plan) {
        let subject = fixture::subject();
        let many = plan.findings.first().cloned().expect("one finding");
        let warnings = |page: &str| page.matches("\nwarning: ").count();
        let before = warnings(&plain(&page(&subject, &plan)));
        for extra in 0..8 {
            let page = plain(&page(&subject, &plan));
            let verdict = head(&subject, &plan).len();
            let warned = page.lines().take_while(|line| !line.starts_with("━━━━━ holds")).count();
            assert!(page.lines().count() <= warned + verdict + LINES, "{extra} findings more:\n{page}");
            assert!(!page.lines().skip(warned).any(|line| line.starts_with("warning: ")), "{page}");
            assert_eq!(warnings(&page), before + extra, "every warning is shown:\n{page}");
            assert!(page.lines().all(|line| line.chars().count() <= WIDTH), "{page}");
            assert_eq!(page.contains("panel unplugged"), plan.chances.is_some(), "the second fault:\n{page}");
            let severity = Severity::Warning;
            let message = many.message.repeat(extra % 3 + 1);
            plan.findings.push(Finding { message, severity, ..many.clone() });
            plan.ledger.push(plan.ledger.last().cloned().expect("entries"));
        }
    }

    #[test]
    fn every_danger_is_shown_and_no_word_is_cut() {
        let mut plan = Plan { chances: Some(fixture::chances()), ..fixture::plan() };
        let danger = plan.findings.first().cloned().expect("one finding");
        plan.findings.clear();
        for number in 0..20 {
            let message = format!("danger number {number} is here; and more is said of it");
            plan.findings.push(Finding { severity: Severity::Danger, message, ..danger.clone() });
        }
        plan.weather.title = "A WEATHER STATION WITH A NAME SO LONG THAT NO LINE HOLDS IT ".repeat(2);
        let page = plain(&page(&fixture::subject(), &plan));
        for number in 0..20 {
            assert!(page.contains(&format!("danger number {number} is here")), "{page}");
        }
        assert!(!page.contains("and more is said of it") && !page.contains('…'), "{page}");
        assert!(
            page.split_whitespace().collect::<Vec<_>>().join(" ").contains("SO LONG THAT NO LINE HOLDS IT")
        );
    }

    #[test]
    fn the_ledger_keeps_its_sum_when_small_entries_are_put_together() {
        let plan = fixture::plan();
        for rows in 3..8 {
            let lines = ledger(&plan, rows);
            let (title, entries) = lines.split_first().expect("a title");
            let figure = |text: &str| plain(text).trim().parse::<f64>().ok();
            let left = plain(title).rsplit(' ').next().and_then(figure).expect("what is left over");
            let entries: Vec<f64> =
                entries.iter().filter_map(|line| figure(plain(line).get(30..38)?)).collect();
            assert_eq!(entries.len(), rows.min(plan.ledger.len()));
            assert!((entries.iter().sum::<f64>() - left).abs() < 0.11, "{entries:?}");
        }
    }
}
