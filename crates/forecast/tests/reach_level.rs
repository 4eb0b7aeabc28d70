//! The level of a link and what is not known about it.

#![expect(clippy::expect_used, reason = "expect() is a test's refusal")]

use forecast::radio::level::{
    Cause, Doubtful, Draws, Known, Level, NOISE_DB, SPOT_SD_DB, SeenLevel, Walls, given_heard,
    weighted_quantiles,
};
use forecast::random::Stream;
use path::clutter::{Columns, End, USUAL_CLEARING_M, Way};
use path::entry::Building;
use path::p1812::Climate;
use proptest::prelude::*;

const LIVES: u64 = 20_000;

fn known(clutter_m: f64, walls: [Walls; 2], length_km: f64) -> Known {
    let end =
        |antenna_m| End { antenna_m, clutter_m, clearing_m: USUAL_CLEARING_M, trees: None, cover: None };
    Known {
        way: Way {
            frequency_ghz: 0.868,
            length_km,
            ends: [end(2.0), end(24.0)],
            climate: Climate { latitude_deg: 47.0, lapse_n_km: 39.25, refractivity_n: 325.0 },
        },
        walls,
        sent_dbm: 14.0,
        node_antenna: Doubtful { mean_db: -1.0, sd_db: 1.5 },
        gateway_antenna: Doubtful { mean_db: 3.0, sd_db: 2.0 },
        noise: Doubtful { mean_db: NOISE_DB[0], sd_db: NOISE_DB[1] },
        spot_sd_db: SPOT_SD_DB,
        clearing_known: [false; 2],
    }
}

fn level(known: &Known) -> Level {
    let mut columns = Columns::default();
    Level::new(known, |way| way.over_flat_ground(&mut columns).map(|loss| loss.total_db)).expect("in range")
}

fn levels(level: &Level) -> Vec<f64> {
    let draws = (0..LIVES).map(|life| Draws::of_life(&mut Stream::new(7, life), 1));
    let mut levels: Vec<f64> = draws.map(|draws| level.at(&draws[0])).collect();
    levels.sort_by(f64::total_cmp);
    levels
}

const OUTSIDE: [Walls; 2] = [Walls::Outside; 2];

/// By hand: 14 dBm - 1 dB + 3 dB - 129.2 dB (the path of an independent program, `path`'s tests) - 1.6 dB.
#[test]
fn the_middle_is_the_sum_by_hand() {
    let level = level(&known(15.0, OUTSIDE, 1.0));
    assert!((level.middle_dbm() + 114.8).abs() < 0.1, "{}", level.middle_dbm());
    assert!((level.at(&Draws::MIDDLE) - level.middle_dbm()).abs() < 1e-12);
}

/// By hand for the parts that are plain numbers: 6, 8, 1.2, 1.5 and 2 dB make 10.4; on open ground there are no others.
#[test]
fn the_spread_on_open_ground_is_the_root_of_the_sum_of_squares() {
    let level = level(&known(0.0, OUTSIDE, 1.0));
    assert!((level.spread().sd_db - (36.0 + 64.0 + 1.44 + 2.25 + 4.0_f64).sqrt()).abs() < 1e-9);
    assert_eq!(level.parts().first().map(|part| part.cause), Some(Cause::Spot));
}

#[test]
fn the_closed_form_is_what_many_lives_show() {
    let inside = |kind| [Walls::Outside, Walls::Inside(kind)];
    for known in [
        known(15.0, OUTSIDE, 1.0),
        known(8.0, inside(None), 2.0),
        known(8.0, inside(Some(Building::Insulated)), 2.0),
        known(10.0, [Walls::Inside(Some(Building::Traditional)); 2], 0.5),
    ] {
        let level = level(&known);
        let lives = levels(&level);
        for share in [0.05, 0.25, 0.5, 0.75, 0.95] {
            let (closed_dbm, drawn_dbm) = (level.quantile(share), forecast::stats::quantile(&lives, share));
            assert!((closed_dbm - drawn_dbm).abs() < 0.8, "{share}: {closed_dbm} dBm, lives {drawn_dbm} dBm");
        }
    }
}

/// Source: the page of the method: 11 dB outside, 15 dB inside at one end, a little more or less with the path.
#[test]
fn the_spread_is_that_of_the_method() {
    let outside = level(&known(8.0, OUTSIDE, 2.0)).spread().sd_db;
    let inside = level(&known(8.0, [Walls::Outside, Walls::Inside(None)], 2.0)).spread().sd_db;
    assert!((10.0..12.5).contains(&outside), "{outside} dB outside");
    assert!((14.0..17.5).contains(&inside), "{inside} dB inside");
}

#[test]
fn long_paths_are_in_more_doubt() {
    let sd_db = |length_km| level(&known(0.0, OUTSIDE, length_km)).spread().sd_db;
    let [near, far, farther] = [19.0, 21.0, 51.0].map(sd_db);
    assert!(
        (far.powi(2) - near.powi(2) - 9.0).abs() < 1e-9
            && (farther.powi(2) - near.powi(2) - 36.0).abs() < 1e-9
    );
}

/// Of two links of a node, what is the node's own is the same and the spots are not.
#[test]
fn links_of_a_node_share_its_antenna_and_not_their_spots() {
    let [antenna, spot] = [Cause::NodeAntenna, Cause::Spot].map(|only| {
        let level = level(&known(0.0, OUTSIDE, 1.0));
        let nothing = Doubtful { mean_db: 0.0, sd_db: 0.0 };
        let others: Vec<Cause> = Cause::ALL.into_iter().filter(|cause| *cause != only).collect();
        let level = level.corrected(&others, nothing, None);
        let draws = Draws::of_life(&mut Stream::new(1, 1), 2);
        (level.at(&draws[0]) - level.at(&draws[1])).abs()
    });
    assert!(antenna < 1e-12 && spot > 1e-3, "{antenna} dB, {spot} dB");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// The same draws, the same place: walls only take away. (Below the median of windows by up to 3 dB they don't.)
    #[test]
    fn inside_is_never_above_outside(clutter_m in 0.0..20.0_f64, length_km in 0.05..20.0_f64, life in 0..1000_u64) {
        let draws = Draws::of_life(&mut Stream::new(3, life), 1);
        let outside = level(&known(clutter_m, OUTSIDE, length_km));
        for kind in [None, Some(Building::Traditional), Some(Building::Insulated)] {
            for walls in [[Walls::Inside(kind), Walls::Outside], [Walls::Outside, Walls::Inside(kind)]] {
                let inside = level(&known(clutter_m, walls, length_km));
                prop_assert!(inside.middle_dbm() < outside.middle_dbm());
                prop_assert!(inside.at(&draws[0]) < outside.at(&draws[0]) + 3.0);
                prop_assert!(inside.share_above(-130.0) <= outside.share_above(-130.0) + 1e-9);
            }
        }
    }
}

/// By hand: far above the limit everything is heard and shown as it is; 12 dB below, one packet in 741 is, and what is heard
/// lies barely above the limit.
#[test]
fn a_log_shows_only_what_was_heard() {
    let strong = given_heard(-90.0, -137.0);
    assert!((strong.dbm + 90.0).abs() < 1e-6 && (strong.weight - 1.0).abs() < 1e-9);
    let weak = given_heard(-149.0, -137.0);
    assert!((-137.0..-135.5).contains(&weak.dbm) && (weak.weight - 1.0).abs() < 1e-9, "{weak:?}");
    let weaker = given_heard(-157.0, -137.0);
    assert!((weaker.weight - 1000.0 * 2.866_515_719e-7).abs() < 1e-9, "{weaker:?}");
}

#[test]
fn weighted_quantiles_leave_out_what_has_no_weight() {
    let levels = [(-150.0, 0.0), (-130.0, 1.0), (-120.0, 1.0), (-110.0, 2.0)];
    let levels = levels.map(|(dbm, weight)| SeenLevel { dbm, weight });
    let found = weighted_quantiles(&levels, [0.0, 0.25, 0.5, 1.0]);
    assert!(
        found.iter().zip([-130.0, -130.0, -120.0, -110.0]).all(|(a, b)| (a - b).abs() < 1e-12),
        "{found:?}"
    );
}
