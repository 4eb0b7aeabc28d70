//! What a user waits for: a node's sixty days are learned, and one day more. Asserts what it times: the speed, and that the
//! chance of silence is that of a longer run to .05; then that a site of twenty nodes is learned in time and in little memory,
//! and that its bands hold what was drawn.
//!
//! `cargo bench -p overwinter-forecast --bench learn`.

#![expect(clippy::disallowed_methods, clippy::disallowed_types, reason = "a bench looks at the clock")]
#![expect(clippy::print_stdout, reason = "a bench prints")]

use std::time::Instant;

use design::catalog::Catalog;
use design::node::Design;
use design::quantity::{Irradiation, Temperature};
use forecast::Silent;
use forecast::learn::{
    Differ, Effort, INVENTED_MODULUS, Past, invented_site, learn, learn_site, log, seconds_of,
};
use forecast::sky::climate::Climate;

/// What sixty days may take on two threads \[s\], and one day \[s\].
const MOST_S: f64 = 2.0;
const MOST_DAY_S: f64 = 0.05;
/// How far the chance may be off that of ten times the work: the noise of 400 lives is .025.
const NEAR: f64 = 0.05;

/// What a site may take on two threads \[s\], and its nodes.
const MOST_SITE_S: f64 = 20.0;
const SITE_NODES: u64 = 20;
const SITE_DAYS: usize = 60;
/// 2025-10-05 as days since 1970: `date -u -d 2025-10-05 +%s` of GNU coreutils is 1,759,622,400.
const FIRST_DAY: i64 = 1_759_622_400 / 86_400;
/// Of 20 bands of 90 %: 18 less three standard deviations of such a count.
const LEAST_HELD: usize = 14;
/// The most memory that a node and the site may need at any time \[MB\].
const MOST_MB: f64 = 100.0;

fn main() {
    let text = include_str!("../tests/data/learn/p-panel-65.toml");
    let design = design::resolve::resolve(&Catalog::builtin(), &design::file::parse(text));
    let design = design.expect("the design resolves").design;
    let (site, given) = (&design.site, design.climate.as_ref().expect("a climate"));
    let sun = given.sun_per_day.map(Irradiation::watt_hours_per_square_metre);
    let air = given.air.map(|months| months.map(Temperature::celsius));
    let climate = Climate::from_monthly(site.latitude, site.longitude, site.elevation, &sun, air.as_ref());
    let climate = climate.expect("a climate");
    let log = log::read(include_bytes!("../tests/data/learn/p-panel-65.csv"), 4096).expect("a log");
    let as_of_s = seconds_of("2025-12-04T00:00:00Z").expect("a time");
    let past = Past { design: &design, readings: &log.readings, as_of_s, counter_modulus: 4096, sun: None };
    let usual = Effort { threads: 2, members: 6000, ..Effort::default() };
    let learned = |effort: &Effort| {
        let begun = Instant::now();
        let learned = learn(&past, &climate, effort, &Silent);
        (begun.elapsed().as_secs_f64(), learned)
    };
    let (seconds, (one, mut swarm)) = learned(&usual);
    let begun = Instant::now();
    let _band = swarm.next_day(&log.readings);
    let day_s = begun.elapsed().as_secs_f64();
    let whole = learn_a_site(&design, &climate, &usual);
    let used_mb = most_memory_mb();
    let (long_s, (long, _)) = learned(&Effort { islands: 8, members: 20_000, lives: 4000, ..usual });
    println!(
        "{} days: {seconds:.2} s, a day more {:.0} ms; silent with {:.3}; with 7 times the members {:.3} in {long_s:.1} s",
        one.days,
        1e3 * day_s,
        one.silence.p,
        long.silence.p
    );
    println!("{used_mb:.0} MB; a site of {SITE_NODES} nodes: {:.1} s, {} bands hold", whole.0, whole.1);
    assert!((one.silence.p - long.silence.p).abs() < NEAR, "{} {}", one.silence.p, long.silence.p);
    assert!(seconds < MOST_S && day_s < MOST_DAY_S, "{seconds} s, {day_s} s");
    assert!(whole.1 >= LEAST_HELD && whole.0 < MOST_SITE_S, "{whole:?}");
    assert!(used_mb < MOST_MB, "{used_mb} MB");
}

/// How long a site takes \[s\], and of how many of its nodes the band holds the yield about noon.
fn learn_a_site(design: &Design, climate: &Climate, effort: &Effort) -> (f64, usize) {
    let nodes = invented_site(design, climate, (FIRST_DAY, SITE_DAYS), (SITE_NODES, Differ::Panels), 1);
    let asked: Vec<(Past<'_>, &Climate)> = nodes
        .iter()
        .map(|node| {
            let (readings, as_of_s) = (&node.readings[..], node.as_of_s);
            (Past { design, readings, as_of_s, counter_modulus: INVENTED_MODULUS, sun: None }, climate)
        })
        .collect();
    let begun = Instant::now();
    let learned = learn_site(&asked, effort, &Silent);
    let seconds = begun.elapsed().as_secs_f64();
    let holds = nodes.iter().zip(&learned).filter(|(node, (learned, _))| {
        let noon = &learned.by_hour[1];
        (noon.p05 - 0.01..=noon.p95 + 0.01).contains(&node.noon_yield)
    });
    (seconds, holds.count())
}

/// The most memory that this process has needed so far, by Linux \[MB\].
fn most_memory_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("Linux says it");
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).expect("it is there");
    let kilobytes: f64 = line.trim().trim_end_matches(" kB").parse().expect("a number");
    kilobytes / 1e3
}
