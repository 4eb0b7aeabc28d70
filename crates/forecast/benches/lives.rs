//! What a user waits for: a thousand lives of the frost mast; and how the time splits. Asserts what it times.
//!
//! `cargo bench -p overwinter-forecast --bench lives`; `--quick` after `--` lives fewer.

#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "a bench looks at the clock and at its arguments"
)]
#![expect(clippy::print_stdout, reason = "a bench prints")]

#[path = "../tests/walk/mod.rs"]
mod walk;

use std::hint::black_box;
use std::ops::ControlFlow::Continue;
use std::time::Instant;

use design::catalog::Catalog;
use design::node::Design;
use design::panel::PanelModel;
use forecast::Silent;
use forecast::diary::Diary;
use forecast::life::ensemble::live_all;
use forecast::life::kernel::Life;
use forecast::life::node::{Harvest, NodeTables};
use forecast::life::run::Trial;
use forecast::life::unknowns::Unknowns;
use forecast::life::weather::NodeWeather;
use forecast::load::Demand;
use forecast::power::charge_table::ChargeTable;
use forecast::radio::spots::Spots;
use forecast::random::Stream;
use forecast::sky::climate::Climate;
use forecast::sky::hours::{HourWeather, LifeWeather, SiteDraw};
use forecast::sky::light::{LightTable, MEAN_HOUR_SKY, YEAR_DAYS, YEAR_HOURS, nominal_hours};
use forecast::sky::plane::{Instants, PlaneTable, facing, site_observer};
use forecast::sky::snow::days_on_tilted;
use forecast::sky::synthetic::SyntheticWeather;
use forecast::sky::weather::HourStart;
use walk::{Record, Walk};

const YEARS: usize = 5;
/// What the table of light for a site may take in seconds.
const SITE_TABLE_S: f64 = 0.05;
const REPEATS: usize = 5;

fn frost_mast() -> Design {
    let file = design::file::parse(include_str!("../../../examples/larkmoor/frost-mast.toml"));
    design::resolve::resolve(&Catalog::builtin(), &file).expect("the example resolves").design
}

fn tables(design: &Design, diary: &Diary) -> NodeTables {
    let mounted = design.panel.as_ref().expect("the mast has a panel");
    let model = PanelModel::new(&mounted.panel).expect("a panel that can be");
    let table = ChargeTable::new(&model, design.charger.as_ref().expect("and a charger"), &design.battery);
    NodeTables::new(design, Harvest::Table(std::sync::Arc::new(table)), Demand::new(design, diary))
}

fn light(design: &Design) -> LightTable {
    let plane = facing(design, design.panel.as_ref().expect("the mast has a panel"));
    let clock_h = design.site.longitude.degrees() / 15.0;
    let observer = site_observer(design);
    let table =
        PlaneTable::new(&observer, clock_h, &plane, MEAN_HOUR_SKY, Instants::SixGrena, &nominal_hours());
    LightTable::new(&table, design.site.latitude.degrees())
}

/// The shortest of several runs in seconds, and the outcome of the last.
fn timed<T>(repeats: usize, mut run: impl FnMut() -> T) -> (f64, T) {
    let mut shortest = f64::INFINITY;
    let mut last = None;
    for _ in 0..repeats {
        let start = Instant::now();
        last = Some(black_box(run()));
        shortest = shortest.min(start.elapsed().as_secs_f64());
    }
    (shortest, last.expect("it ran at least once"))
}

/// Draws so many years and sums the light, so that nothing is optimised away.
fn draw(weather: &SyntheticWeather, years: usize) -> f64 {
    let (mut random, parts) = (Stream::new(1, 1), SiteDraw::default());
    let mut sky = weather.start(&mut random);
    let mut sum = 0.0;
    for day in (0..years).flat_map(|_| 0..YEAR_DAYS) {
        weather.next_day(day, &parts, &mut sky, &mut random);
        let hours = weather.hours(day, &mut sky);
        sum += hours.iter().map(|hour| f64::from(hour.in_plane_w_m2 + hour.battery_celsius)).sum::<f64>();
    }
    sum
}

/// Drawn years kept, so that the hour step can be timed alone.
fn kept(weather: &SyntheticWeather, kinds: &[u16], years: usize) -> Record {
    let (mut random, parts) = (Stream::new(1, 2), SiteDraw::default());
    let mut sky = weather.start(&mut random);
    let mut hours: Vec<HourWeather> = Vec::with_capacity(years * YEAR_HOURS);
    for day in (0..years).flat_map(|_| 0..YEAR_DAYS) {
        weather.next_day(day, &parts, &mut sky, &mut random);
        hours.extend(weather.hours(day, &mut sky).iter());
    }
    Record { kinds: kinds.repeat(years), hours, yield_kept_per_pass: 1.0 }
}

fn million_hours_per_s(years: usize, seconds: f64) -> f64 {
    (years * YEAR_HOURS) as f64 / seconds / 1e6
}

/// Weather and hour step apart, in million node-hours per second.
fn parts(weather: &SyntheticWeather, node: &NodeTables, kinds: &[u16], years: usize) -> (f64, f64) {
    let (drawing_s, sum) = timed(REPEATS, || draw(weather, years));
    assert!(sum.is_finite() && sum > 0.0);
    let record = kept(weather, kinds, 20);
    let (stepping_s, end) = timed(REPEATS, || {
        let mut life = Life::new(node, 0.5);
        life.counts_offers = false;
        Walk::new(life, 0, years * YEAR_HOURS).go(node, &record, |_, _, _| Continue(()))
    });
    assert!(end.flows.taken > 0.0 && end.flows.load > 0.0 && end.capacity_left() < 1.0);
    (million_hours_per_s(years, drawing_s), million_hours_per_s(years, stepping_s))
}

/// Lives on one thread in million node-hours per second, and on two in lives per second.
fn chain(trial: &Trial<'_>, lives: usize) -> (f64, f64) {
    let (one_s, one) = timed(REPEATS, || live_all(trial, lives / 10, 1, &Silent));
    assert_eq!(one.outcomes.len(), lives / 10);
    assert!(one.outcomes.iter().any(|life| life.lowest_charge < 0.9), "winters are felt");
    let (two_s, two) = timed(1, || live_all(trial, lives, 2, &Silent));
    assert_eq!(two.outcomes[..lives / 10], one.outcomes[..], "threads do not change a life");
    let alive = two.outcomes.iter().filter(|life| life.is_unbroken()).count();
    assert!(alive > lives * 9 / 10, "{alive} of {lives} lives");
    (million_hours_per_s(lives * YEARS / 10, one_s), lives as f64 / two_s)
}

fn main() {
    let lives = if std::env::args().any(|argument| argument == "--quick") { 100 } else { 1000 };
    let design = frost_mast();
    let site = &design.site;
    let climate = Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land");
    let diary = Diary::new(&design);
    let kind = |hour: &HourStart| diary.kind(hour.month, hour.day, hour.hour);
    let kinds: Vec<u16> =
        nominal_hours().iter().map(|hour| u16::try_from(kind(hour)).expect("few kinds")).collect();

    let (site_table_s, light) = timed(REPEATS, || light(&design));
    let (node_tables_s, node) = timed(REPEATS, || tables(&design, &diary));
    let tilt = design.panel.as_ref().expect("the mast has a panel").tilt;
    let snow_days = site.snow_days.unwrap_or_default().map(|days| days_on_tilted(days, tilt));
    let weather = SyntheticWeather::new(&climate, light, &snow_days, &design.enclosure);
    let node_weather = NodeWeather::of_climate(&design, &climate, &diary, 1);
    let trial = Trial {
        nodes: std::slice::from_ref(&node),
        spots: &Spots::alone(&design),
        weather: &node_weather,
        unknowns: &Unknowns::new(&design, false),
        days: YEARS * YEAR_DAYS,
        start_day: Some(287),
        charge: design.promise.charge_at_installation,
        yield_kept_per_year: 0.98,
        seed: 1,
    };
    let (drawing, stepping) = parts(&weather, &node, &kinds, lives * YEARS / 10);
    let (chain, lives_per_s) = chain(&trial, lives);

    println!("site table        {:8.1} ms", site_table_s * 1e3);
    println!("node tables       {:8.1} ms", node_tables_s * 1e3);
    println!("one thread, million node-hours per second:");
    println!("  full chain      {chain:8.1}");
    println!("  weather alone   {drawing:8.1} ({:.0} % of the chain's time)", 100.0 * chain / drawing);
    println!("  hour step alone {stepping:8.1} ({:.0} %)", 100.0 * chain / stepping);
    println!("two threads       {lives_per_s:8.0} lives of {YEARS} years per second");
    println!("chain_node_hours_per_s {:.0}", chain * 1e6);
    assert!(site_table_s < SITE_TABLE_S, "the site table took {:.0} ms", site_table_s * 1e3);
}
