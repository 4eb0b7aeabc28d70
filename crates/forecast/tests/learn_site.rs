//! Nodes under one sky: what is learned of them together, against what is learned of each alone.
#![expect(clippy::disallowed_methods, reason = "the test reads how much is asked of it")]
#![expect(clippy::print_stdout, reason = "a proof says what it found")]

use design::catalog::Catalog;
use design::node::Design;
use design::quantity::{Irradiation, Temperature};
use forecast::Silent;
use forecast::learn::{
    Band, Differ, Effort, INVENTED_MODULUS, Invented, Learned, Past, invented_site, learn, learn_site,
};
use forecast::sky::climate::Climate;

/// 2025-10-05 as days since 1970: `date -u -d 2025-10-05 +%s` of GNU coreutils is 1,759,622,400.
const FIRST_DAY: i64 = 1_759_622_400 / 86_400;
const DAYS: usize = 40;
const NODES: u64 = 6;
/// Sites in every run of the tests; `OVERWINTER_SITES` asks for more.
const SITES: u64 = 4;

fn nominal() -> (Design, Climate) {
    let text = include_str!("data/learn/p-nominal.toml");
    let design = design::resolve::resolve(&Catalog::builtin(), &design::file::parse(text));
    let design = design.expect("the design resolves").design;
    let (site, given) = (&design.site, design.climate.as_ref().expect("a climate"));
    let sun = given.sun_per_day.map(Irradiation::watt_hours_per_square_metre);
    let air = given.air.map(|months| months.map(Temperature::celsius));
    let climate = Climate::from_monthly(site.latitude, site.longitude, site.elevation, &sun, air.as_ref());
    (design, climate.expect("a climate"))
}

/// How far off the yields about noon are, and how many bands hold them.
#[derive(Default)]
struct Score {
    off: Vec<f64>,
    held: usize,
}

impl Score {
    fn take(&mut self, node: &Invented, learned: &Learned) {
        let Band { p05, p50, p95 } = learned.by_hour[1];
        self.off.push((p50 / node.noon_yield).ln().abs());
        self.held += usize::from((p05 - 0.01..=p95 + 0.01).contains(&node.noon_yield));
    }

    fn middle(&mut self) -> f64 {
        self.off.sort_by(f64::total_cmp);
        self.off[self.off.len() / 2]
    }
}

/// Both of `sites` invented sites: each node learned alone, and under the sky that it shares.
fn learned(differ: Differ, sites: u64) -> [Score; 2] {
    let (design, climate) = nominal();
    let members: usize =
        std::env::var("OVERWINTER_MEMBERS").map_or(1500, |text| text.parse().expect("a number"));
    let (mut alone, mut together) = (Score::default(), Score::default());
    for seed in 0..sites {
        let nodes = invented_site(&design, &climate, (FIRST_DAY, DAYS), (NODES, differ), seed);
        let effort = Effort { islands: 4, members, lives: 2, threads: 2, seed, ..Effort::default() };
        let past = |node| past(&design, node);
        let asked: Vec<(Past<'_>, &Climate)> = nodes.iter().map(|node| (past(node), &climate)).collect();
        for (node, (learned, _)) in nodes.iter().zip(learn_site(&asked, &effort, &Silent)) {
            together.take(node, &learned);
            alone.take(node, &learn(&past(node), &climate, &effort, &Silent).0);
        }
    }
    [alone, together]
}

/// What holds of so many nodes, and prints it.
fn ratio(differ: Differ, sites: u64) -> f64 {
    let of = sites * NODES;
    let [mut alone, mut together] = learned(differ, sites);
    let (one, other) = (alone.middle(), together.middle());
    println!(
        "{differ:?} differ: yield of {of} nodes off by {:.1} % alone ({} held), {:.1} % together ({} held)",
        100.0 * one,
        alone.held,
        100.0 * other,
        together.held
    );
    // 90 % less two standard deviations of a share of so many, less 3 % for a swarm of so few.
    let least = (0.87 - 2.0 * (0.09 / of as f64).sqrt()) * of as f64;
    assert!(together.held as f64 >= least, "{} of {of} held", together.held);
    other / one
}

/// The goal is a third less. It is not reached: what is asked of the few sites of every run is a tenth, and `docs/proofs.md` has
/// the figures of many, among which are nodes that differ in all: of a few of those luck decides.
#[test]
fn nodes_that_share_their_sky_know_their_yields_better() {
    let asked = std::env::var("OVERWINTER_SITES").ok().map(|text| text.parse().expect("a number"));
    let kinds: &[Differ] = if asked.is_some() { &[Differ::Panels, Differ::All] } else { &[Differ::Panels] };
    for differ in kinds {
        let ratio = ratio(*differ, asked.unwrap_or(SITES));
        assert!(ratio <= 0.9, "{differ:?}: {ratio}");
    }
}

fn past<'a>(design: &'a Design, node: &'a Invented) -> Past<'a> {
    Past {
        design,
        readings: &node.readings,
        as_of_s: node.as_of_s,
        counter_modulus: INVENTED_MODULUS,
        sun: None,
    }
}
