//! What a person waits for who asks what would make it hold: sizing, ways out, and a check with a table of intervals.
//! Asserts what it times.
//!
//! `cargo bench -p overwinter-verdict --bench decide`.

#![expect(clippy::disallowed_methods, clippy::disallowed_types, reason = "a bench looks at the clock")]
#![expect(clippy::print_stdout, reason = "a bench prints")]

#[path = "../../forecast/tests/common/mod.rs"]
mod common;
#[path = "../tests/starved/mod.rs"]
mod shared;

use std::time::Instant;

use design::node::Design;
use forecast::Silent;
use forecast::life::ensemble::live_all;
use forecast::life::prepared::Prepared;
use forecast::radio::spots::Spots;
use forecast::sky::climate::Climate;
use verdict::adaptive::{Aim, adaptive};
use verdict::plan::{Effort, Verdict, Weather};
use verdict::remedy::remedies;
use verdict::size::size;
use verdict::{Environment, answer};

const FROST_MAST: &str = include_str!("../../../examples/larkmoor/frost-mast.toml");
/// As many lives as the promise asks for: 200 to search and 1,000 to confirm at 95 %.
const EFFORT: Effort = Effort { lives: None, seed: 1, threads: 2 };

/// What the ways out may take in seconds; 5 are wished for.
const WAYS_OUT_S: f64 = 10.0;
/// How many times as long lives with a table may take as those without.
const WITH_A_TABLE: f64 = 1.5;
/// Share of the reports that the sun pays for that a table sends at least; .6 is wished for.
const SENT_OF_INCOME: f64 = 0.5;
const TILTS: &str = r#"
[size]
tilts = ["20 deg", "30 deg", "40 deg", "45 deg", "50 deg", "55 deg", "60 deg", "65 deg", "70 deg", "80 deg"]
"#;

/// What a sizing may take in seconds, and the share of all lives that it may live.
struct Limit {
    seconds: f64,
    share: f64,
}

fn mast(changes: &[(&str, &str)], more: &str) -> Design {
    let text = changes.iter().fold(FROST_MAST.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replace(from, to)
    });
    common::design(&format!("{text}\n{more}"))
}

fn under_its_climate<T>(design: &Design, look: impl FnOnce(&Environment<'_>) -> T) -> T {
    let site = &design.site;
    let climate = Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land");
    look(&Environment { weather: Weather::Climate(&climate), terrain: None, others: &[] })
}

fn timed<T>(run: impl FnOnce() -> T) -> (f64, T) {
    let start = Instant::now();
    let outcome = run();
    (start.elapsed().as_secs_f64(), outcome)
}

/// Three years, every panel of the catalogue, every capacity and interval around the written ones; how much of its time it
/// took.
fn sizing(name: &str, design: &Design, limit: &Limit) -> f64 {
    let (seconds, found) =
        timed(|| under_its_climate(design, |environment| size(design, environment, EFFORT, &Silent)));
    let found = found.expect("there is something to choose");
    let chosen = &found.choices[found.chosen.expect("something holds")];
    assert_eq!((found.searched, found.confirmed, chosen.judged.verdict), (200, 1000, Verdict::Holds));
    let share = found.lived as f64 / (found.designs * found.searched) as f64;
    println!(
        "size, {name}: {} designs, {} looked at, 1/{:.0} of all lives, {} choices, {} refused; {seconds:.1} s",
        found.designs,
        found.looked_at,
        1.0 / share,
        found.choices.len(),
        found.refused.len(),
    );
    assert!(share <= limit.share, "{share:.4} of all lives for {:.4}", limit.share);
    seconds / limit.seconds
}

/// Every lever of a node that fails at five years and 95 %; how much of its time it took.
fn ways_out() -> f64 {
    let design =
        mast(&[("capacity = \"2000 mAh\"", "capacity = \"400 mAh\""), ("panel-0w5", "panel-0w3")], "");
    under_its_climate(&design, |environment| {
        let (check_s, known) = timed(|| answer(&design, environment, EFFORT, &Silent));
        assert_eq!(known.life.verdict, Verdict::Fails);
        let (seconds, found) = timed(|| remedies(&design, environment, &known, EFFORT, &Silent));
        let firm = found.holds.iter().filter(|remedy| remedy.is_firm()).count();
        println!(
            "ways out of a failing node: {firm} that hold of {}, {} of no use; {seconds:.1} s beside a check of {check_s:.2} s",
            found.holds.len(),
            found.useless.len(),
        );
        assert!(firm >= 3, "three ways out");
        seconds / WAYS_OUT_S
    })
}

/// What the sun pays for, what a table sends of it, and what its lives cost beside those without: how much of what they
/// may.
fn table() -> f64 {
    let starved = shared::starved(["3 years", "95 %"], "93 %", "2 min");
    under_its_climate(&starved, |environment| {
        let known = answer(&starved, environment, EFFORT, &Silent);
        assert_eq!(known.life.verdict, Verdict::Fails);
        let (seconds, found) = timed(|| adaptive(&starved, environment, &known, Aim::Spend, EFFORT, &Silent));
        let found = found.expect("a table");
        assert!(found.judged.without_outage.percent() >= 95.0, "{:?}", found.judged.without_outage);
        let share = found.course.per_year / found.energy_neutral_per_year;
        let fixed = found.best_fixed.map_or(0.0, |(_, per_year)| per_year);
        println!(
            "table of a starved node: {:.0} reports a year, {:.2} times the best fixed interval, {:.0} % of what the sun pays for; {seconds:.1} s",
            found.course.per_year,
            found.course.per_year / fixed,
            100.0 * share,
        );
        let lives_s = |design: &Design| {
            let prepared = Prepared::new(design, environment.weather, &Spots::alone(design), EFFORT.seed);
            let of = || timed(|| live_all(&prepared.trial(), 500, 2, &Silent).outcomes.len());
            (0..5)
                .map(|_| of())
                .map(|(seconds, lives)| {
                    assert_eq!(lives, 500);
                    seconds
                })
                .fold(f64::INFINITY, f64::min)
        };
        let (with, without) = (lives_s(&found.design), lives_s(&starved));
        println!("lives with a table {with:.2} s, without {without:.2} s: {:.2} times", with / without);
        assert!(share >= SENT_OF_INCOME, "{share:.2} of what the sun pays for");
        with / without / WITH_A_TABLE
    })
}

fn main() {
    let three_years = ("unattended = \"5 years\"", "unattended = \"3 years\"");
    let hungry = ("floor = \"1.3 mA +- 15 %\"", "floor = \"1.9 mA +- 15 %\"");
    let thousand = Limit { seconds: 5.0, share: 1.0 / 15.0 };
    // 15 s are wished for; a third of the time goes into confirming one design of each tilt that fresh lives refuse.
    let ten_thousand = Limit { seconds: 25.0, share: 1.0 / 40.0 };
    let cheapest = "[size]\nprefer = \"cheapest\"\n";
    let taken = [
        sizing("frost mast", &mast(&[three_years], cheapest), &thousand),
        sizing("hungry frost mast", &mast(&[three_years, hungry], cheapest), &thousand),
        sizing("frost mast, ten tilts", &mast(&[three_years], TILTS), &ten_thousand),
        ways_out(),
        table(),
    ];
    assert!(taken.iter().all(|share| *share <= 1.0), "longer than it may: {taken:.2?}");
}
