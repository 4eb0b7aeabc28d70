//! What a user waits for: a node's sixty days are learned, and one day more. Asserts what it times: the speed, and that the
//! chance of silence is that of a longer run to .05.
//!
//! `cargo bench -p overwinter-forecast --bench learn`.

#![expect(clippy::disallowed_methods, clippy::disallowed_types, reason = "a bench looks at the clock")]
#![expect(clippy::print_stdout, reason = "a bench prints")]

use std::time::Instant;

use design::catalog::Catalog;
use design::quantity::{Irradiation, Temperature};
use forecast::Silent;
use forecast::learn::{Effort, Past, learn, log, seconds_of};
use forecast::sky::climate::Climate;

/// What sixty days may take on two threads \[s\], and one day \[s\].
const MOST_S: f64 = 2.0;
const MOST_DAY_S: f64 = 0.05;
/// How far the chance may be off that of ten times the work: the noise of 400 lives is .025.
const NEAR: f64 = 0.05;

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
    let (long_s, (long, _)) = learned(&Effort { islands: 8, members: 20_000, lives: 4000, ..usual });
    println!(
        "{} days: {seconds:.2} s, a day more {:.0} ms; silent with {:.3}; with 7 times the members {:.3} in {long_s:.1} s",
        one.days,
        1e3 * day_s,
        one.silence.p,
        long.silence.p
    );
    assert!((one.silence.p - long.silence.p).abs() < NEAR, "{} {}", one.silence.p, long.silence.p);
    assert!(seconds < MOST_S && day_s < MOST_DAY_S, "{seconds} s, {day_s} s");
}
