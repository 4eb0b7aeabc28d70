//! The table of intervals by month and charge, or why there is none.

use std::fmt::Write as _;

use design::quantity::{Duration, Share};
use design::schedule::{Schedule, written};
use verdict::adaptive::{Adapted, Aim, NoTable};

use super::WIDTH;
use super::lay::wrap_indented;
use crate::{sentences, words};

/// What is said of a table that was found.
#[must_use]
pub fn found(name: &str, promised: Share, gauge_error: Share, adapted: &Adapted) -> String {
    let Adapted { aim, activity, every, .. } = adapted;
    let aim = match aim {
        Aim::Spare => "never more often than as written",
        Aim::Spend => "more often too, where there is charge to spend",
    };
    let every = words::span(*every);
    let mut text = format!("{name}: `{activity}` by month and charge instead of every {every}, {aim}\n\n");
    let course = sentences::course(&adapted.course) + ".";
    for said in [survival(promised, gauge_error, adapted), course, bounds(adapted)] {
        for line in wrap_indented(&said, WIDTH, "  ") {
            let _ = writeln!(text, "{line}");
        }
    }
    text + "\n" + &grid(adapted) + "\n" + PASTE + &written(&adapted.rows) + "\n"
}

const PASTE: &str = "In the design file, in place of `every`:\n\n";

fn survival(promised: Share, gauge_error: Share, adapted: &Adapted) -> String {
    let judged = &adapted.judged;
    format!(
        "{:.1} % of {} fresh lives without an outage ({:.1}-{:.1}), promised {} %; found on {} others. In each life the node reads its charge with an error of {:.0} % (one standard deviation).",
        judged.without_outage.percent(),
        words::grouped(judged.lives),
        judged.interval.0.percent(),
        judged.interval.1.percent(),
        promised.percent(),
        words::grouped(adapted.searched),
        gauge_error.percent(),
    )
}

fn bounds(adapted: &Adapted) -> String {
    let fixed = match adapted.best_fixed {
        Some((every, per_year)) => format!(
            "the shortest fixed interval that lives is {}: {} a year",
            words::span(every),
            count(per_year)
        ),
        None => "no fixed interval lives".to_owned(),
    };
    format!(
        "As written it would send {} a year if it lived; {fixed}; the sun would pay for {} a year if no battery were ever full or empty (energy-neutral bound, Kansal & al. 2007).",
        count(adapted.written_per_year),
        count(adapted.energy_neutral_per_year),
    )
}

fn count(reports: f64) -> String {
    words::grouped(words::whole(reports))
}

/// Months side by side, a row for each charge; rows that say the same are one.
fn grid(adapted: &Adapted) -> String {
    let rows = Schedule::of_rows(adapted.rows.clone());
    let mut text = String::from("charge ");
    (1..=12).for_each(|month| {
        let _ = write!(text, "{:>6}", words::month_short(month));
    });
    for (charge, months) in rows.rows() {
        let _ = write!(text, "\n{:>4.0} % ", charge.percent());
        for every in months {
            let _ = write!(text, "{:>6}", every.map_or("-".to_owned(), narrow));
        }
    }
    text + "\n"
}

/// An interval in at most five letters.
fn narrow(every: Duration) -> String {
    match every.seconds() {
        seconds if seconds < 60.0 => format!("{seconds:.0}s"),
        seconds if seconds < 3600.0 => format!("{}min", words::figure_short(seconds / 60.0)),
        seconds if seconds < 86_400.0 => format!("{}h", words::figure_short(seconds / 3600.0)),
        seconds => format!("{}d", words::figure_short(seconds / 86_400.0)),
    }
}

/// Why there is no table.
#[must_use]
pub fn none(name: &str, why: &NoTable) -> String {
    let said = match why {
        NoTable::NothingCharges => "nothing charges the battery: there is no income to follow, and the voltage of a primary cell tells no charge. A longer interval saves as much as a table would".to_owned(),
        NoTable::NothingReports => "nothing reports all year round at a fixed interval; write `every` for what should get a table".to_owned(),
        NoTable::Refused(message, help) => format!("{message}; {help}"),
        NoTable::KeptAnyway(every) => format!("a table gives nothing here: the promise is kept every {} as well, the shortest interval that it might say", words::span(*every)),
        NoTable::NotEnough(share) => format!("no table is enough: {:.1} % of the lives pass when it reports as seldom as a table may ask", share.percent()),
        NoTable::OnlyWithPerfectGauge(perfect, real) => format!("a table holds only if the node knew its charge: {:.1} % of the lives pass then, {:.1} % with the error of its gauge. Measure the charge better (`gauge_error` of the battery), or take a longer interval", perfect.percent(), real.percent()),
        NoTable::Stopped => "stopped before a table was found".to_owned(),
    };
    wrap_indented(&format!("{name}: {said}."), WIDTH, "").join("\n") + "\n"
}
