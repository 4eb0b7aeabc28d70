//! The production hour step, set to an ideal store, against reference tables and closed forms.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::float_cmp,
    reason = "the kernel is in single precision, and a ledger by hand is met exactly"
)]

mod walk;

use std::io::Read;
use std::ops::ControlFlow::Continue;

use design::quantity::{Charge, Current};
use forecast::life::kernel::{Flows, Life};
use forecast::life::node::NodeTables;
use forecast::load::Demand;
use walk::{Record, Walk};

/// An ideal store with a constant load; ampere-hours stand for whatever unit the reference uses.
fn store(capacity: f64, load: f64) -> NodeTables {
    NodeTables::ideal_store(
        Charge::from_ampere_hours(capacity),
        Demand::constant(Current::from_amperes(load)),
    )
}

struct Walked {
    empty_hours: u32,
    lowest: f64,
    last: f64,
    flows: Flows,
    levels: Vec<f64>,
}

fn walk(node: &NodeTables, record: &Record, start: f64) -> Walked {
    let mut empty_hours = 0;
    let mut levels = Vec::with_capacity(record.hours.len());
    let end = Walk::new(Life::new(node, start), 0, record.hours.len()).go(node, record, |_, life, _| {
        levels.push(life.stored_ah);
        empty_hours += u32::from(life.stored_ah <= 0.0);
        Continue(())
    });
    let lowest = levels.iter().copied().fold(f64::INFINITY, f64::min);
    Walked { empty_hours, lowest, last: end.stored_ah, flows: end.flows, levels }
}

fn sand_point_yield() -> Vec<f64> {
    let packed = include_bytes!("data/solar/chain_SandPoint_AK_TMY3_703165.csv.gz");
    let mut text = String::new();
    flate2::read::GzDecoder::new(&packed[..]).read_to_string(&mut text).expect("a gzip file of text");
    let mut rows = csv::Reader::from_reader(text.as_bytes());
    let column = rows.headers().expect("a header").iter().position(|name| name == "p").expect("column p");
    rows.records().map(|row| row.expect("a row")[column].parse().expect("a number")).collect()
}

/// Independent loop in numpy over the same column (`soc_oracle.json`): Sand Point TMY3, load 15 mW, 85 % on the way in.
#[test]
fn empty_hours_of_sand_point_are_those_of_the_reference() {
    let yields = sand_point_yield();
    let reference = [
        (0.05, 1.0, 7080, None),
        (0.05, 5.0, 6801, None),
        (0.1, 1.0, 4408, None),
        (0.1, 5.0, 4125, None),
        (0.2, 1.0, 1275, None),
        (0.2, 5.0, 581, None),
        (0.3, 1.0, 618, None),
        (0.3, 5.0, 0, Some((0.18846221, 2.765688725))),
        (0.5, 1.0, 186, None),
        (0.5, 5.0, 0, None),
    ];
    for (panel_wp, capacity_wh, empty_hours, ends) in reference {
        let record = Record::of_currents(yields.iter().map(|p| (p * panel_wp * 0.85) as f32));
        let walked = walk(&store(capacity_wh, 0.015), &record, 1.0);
        assert_eq!(walked.empty_hours, empty_hours, "{panel_wp} Wp on {capacity_wh} Wh");
        if let Some((lowest, last)) = ends {
            // The step keeps currents in single precision: 6e-8 of 15 mWh over 8760 hours.
            assert!((walked.lowest - lowest).abs() < 1e-5, "{} {lowest}", walked.lowest);
            assert!((walked.last - last).abs() < 1e-5, "{} {last}", walked.last);
        }
    }
}

/// Energy facts, case 6: a ledger by hand, clamped to 0..100 mAh, 20 mAh a day.
#[test]
fn a_ledger_by_hand_is_met() {
    let harvest = [30.0, 5.0, 0.0, 0.0, 2.0, 0.0, 60.0, 60.0, 10.0, 0.0, 0.0, 0.0];
    let record = Record::of_currents(harvest);
    let full = walk(&store(100.0, 20.0), &record, 1.0);
    assert_eq!(full.levels, [100.0, 85.0, 65.0, 45.0, 27.0, 7.0, 47.0, 87.0, 77.0, 57.0, 37.0, 17.0]);
    assert_eq!(full.flows.offered - full.flows.taken, 10.0);
    assert_eq!(full.flows.unmet, 0.0);
    let part = walk(&store(100.0, 20.0), &record, 0.6);
    assert_eq!(part.levels, [70.0, 55.0, 35.0, 15.0, 0.0, 0.0, 40.0, 80.0, 70.0, 50.0, 30.0, 10.0]);
    assert_eq!(part.flows.unmet, 23.0);
    assert!((part.flows.unmet / part.flows.load - 0.095833).abs() < 5e-7);
}

/// A small generator of its own (`SplitMix64`), so that the walks do not depend on the one that will make weather.
struct SplitMix(u64);

impl SplitMix {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (((z ^ (z >> 31)) >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// Steps a store through so many drawn days and returns the unmet load per day.
fn unmet_per_day(node: &NodeTables, days: usize, start: f64, mut draw: impl FnMut() -> f64) -> f64 {
    const BLOCK: usize = 100_000;
    let mut life = Life::new(node, start);
    for _ in 0..days / BLOCK {
        let record = Record::of_currents((0..BLOCK).map(|_| draw() as f32));
        life = Walk::new(life, 0, BLOCK).go(node, &record, |_, _, _| Continue(()));
    }
    life.flows.unmet / days as f64
}

/// One hour of the production step from a level, under one harvest: the next level and what was unmet.
fn one_step(node: &NodeTables, level: usize, levels: usize, harvest: f32) -> (usize, f64) {
    let life = Life::new(node, level as f64 / levels as f64);
    let end = Walk::new(life, 0, 1).go(node, &Record::of_currents([harvest]), |_, _, _| Continue(()));
    (end.stored_ah.round() as usize, end.flows.unmet)
}

/// Two-point walk with clamped ends (Bucciarelli 1984 type): `pi_0 = (1 - r) / (1 - r^(N+1))`, unmet per day `q pi_0`.
/// The chain of levels is made by the production step itself and iterated to its stationary state, so nothing is drawn.
#[test]
fn a_two_point_walk_meets_its_closed_form() {
    let published = [
        (0.5, 10, 0.0454545),
        (0.55, 10, 0.0123581),
        (0.6, 10, 0.00233925),
        (0.6, 5, 0.0192481),
        (0.7, 10, 3.58389e-5),
    ];
    for (up, levels, expected) in published {
        let node = store(levels as f64, 1.0);
        // Harvest 2 or 0 against a load of 1 moves the store by one level up or down.
        let moves: Vec<_> = (0..=levels)
            .map(|level| [one_step(&node, level, levels, 2.0), one_step(&node, level, levels, 0.0)])
            .collect();
        let mut share = vec![1.0 / (levels + 1) as f64; levels + 1];
        for _ in 0..20_000 {
            let mut next = vec![0.0; levels + 1];
            for (here, [(higher, _), (lower, _)]) in share.iter().zip(&moves) {
                next[*higher] += here * up;
                next[*lower] += here * (1.0 - up);
            }
            share = next;
        }
        let unmet =
            |(here, [(_, high), (_, low)]): (&f64, &[(usize, f64); 2])| here * (up * high + (1.0 - up) * low);
        let found: f64 = share.iter().zip(&moves).map(unmet).sum();
        assert!((found / expected - 1.0).abs() < 1e-5, "p {up}, N {levels}: {found} for {expected}");
    }
}

/// Gaussian daily net, mean 0.2, sd 0.8, capacity 3: `mu / (exp(2 mu b' / s²) - 1)` with the discrete-time barrier shift
/// `b' = b + 1.1652 s` (Siegmund's 0.5826 at either end) gives 0.01873.
#[test]
fn a_gaussian_walk_meets_its_closed_form() {
    let (mean, sd, capacity): (f64, f64, f64) = (0.2, 0.8, 3.0);
    let expected = mean / ((2.0 * mean * (capacity + 1.1652 * sd) / (sd * sd)).exp() - 1.0);
    assert!((expected - 0.01873).abs() < 5e-6);
    let mut random = SplitMix(11);
    // The load is so large that the drawn harvest is never negative.
    let load = 8.0;
    let found = unmet_per_day(&store(capacity, load), 40_000_000, 0.5, || load + mean + sd * random.normal());
    assert!((found - expected).abs() < 5e-5, "{found} for {expected}");
}
