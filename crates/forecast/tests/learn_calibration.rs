//! Nodes drawn from what is believed, and what they would send: intervals of 90 % hold the truth as often as they say. A
//! tempered likelihood should make them wider, never narrower (simulation-based calibration, Talts et al. 2018, from memory).
#![expect(clippy::disallowed_methods, reason = "the test reads its data files and how much is asked of it")]

use design::catalog::Catalog;
use design::quantity::{Irradiation, Temperature};
use forecast::Silent;
use forecast::learn::{Band, Effort, INVENTED_MODULUS, Past, invented, learn};
use forecast::sky::climate::Climate;

/// Logs in every run of the tests, and members of each of the four swarms.
const FEW: (usize, usize) = (24, 3000);
/// Set by `cargo xtask prove learn`: logs instead of those.
const LOGS: &str = "OVERWINTER_LOGS";
/// Members instead of those.
const MEMBERS: &str = "OVERWINTER_MEMBERS";
const DAYS: usize = 40;
/// 2025-10-05 as days since 1970: `date -u -d 2025-10-05 +%s` of GNU coreutils is 1,759,622,400.
const FIRST_DAY: i64 = 1_759_622_400 / 86_400;

#[test]
fn intervals_hold_what_was_drawn_as_often_as_they_say() {
    let logs: usize = std::env::var(LOGS).map_or(FEW.0, |text| text.parse().expect("a number of logs"));
    let text = include_str!("data/learn/p-nominal.toml");
    let design = design::resolve::resolve(&Catalog::builtin(), &design::file::parse(text));
    let design = design.expect("the design resolves").design;
    let (site, given) = (&design.site, design.climate.as_ref().expect("a climate"));
    let sun = given.sun_per_day.map(Irradiation::watt_hours_per_square_metre);
    let air = given.air.map(|months| months.map(Temperature::celsius));
    let climate = Climate::from_monthly(site.latitude, site.longitude, site.elevation, &sun, air.as_ref());
    let climate = climate.expect("a climate");
    let members: usize = std::env::var(MEMBERS).map_or(FEW.1, |text| text.parse().expect("members"));
    let mut held = [0_usize; 4];
    for seed in 0..logs as u64 {
        let node = invented(&design, &climate, FIRST_DAY, DAYS, seed);
        let past = Past {
            design: &design,
            readings: &node.readings,
            as_of_s: node.as_of_s,
            counter_modulus: INVENTED_MODULUS,
            sun: None,
        };
        let effort = Effort { islands: 4, members, lives: 2, threads: 2, seed, ..Effort::default() };
        let (learned, _) = learn(&past, &climate, &effort, &Silent);
        let holds =
            |band: &Band, truth: f64, within: f64| (band.p05 - within..=band.p95 + within).contains(&truth);
        let found = [
            holds(&learned.by_hour[1], node.noon_yield, 0.01),
            holds(&learned.load_mah_per_day, node.load_mah_per_day, 0.01 * node.load_mah_per_day),
            holds(&learned.capacity, node.capacity, 0.01),
            holds(&learned.charge, node.charge, 0.005),
        ];
        held.iter_mut().zip(found).for_each(|(held, found)| *held += usize::from(found));
    }
    // 90 % less two standard deviations of a share of so many, less 3 % for a swarm of so few.
    let least = 0.87 - 2.0 * (0.09 / logs as f64).sqrt();
    assert!(
        held.iter().all(|held| *held as f64 >= least * logs as f64),
        "yield, load, capacity, charge held in {held:?} of {logs}"
    );
}
