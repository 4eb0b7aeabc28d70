//! What a user waits for: the fit of a survey of 20 nodes with 500 packets each at 5 gateways.
//!
//! `cargo bench -p overwinter-forecast --bench survey`; figures are kept in `benches/README.md`.

#![expect(clippy::disallowed_methods, clippy::disallowed_types, reason = "a bench looks at the clock")]
#![expect(clippy::print_stdout, reason = "a bench prints")]

use std::time::Instant;

use forecast::radio::level::{DAY_SD_DB, PACKET_SD_DB, SITE_SD_DB, SPOT_SD_DB};
use forecast::radio::survey::{NODE_SD_DB, Predicted, Run, Survey};
use forecast::random::Stream;

const NODES: usize = 20;
const GATEWAYS: usize = 5;
const DAYS: u32 = 10;
const PACKETS_A_DAY: u32 = 50;
const GATEWAY_SD_DB: f64 = 5.0;
const SF12_DBM: f64 = -137.0;
/// Longer than this nobody waits for a fit \[s\].
const LONGEST_S: f64 = 1.0;

fn main() {
    let (survey, truth_dbm) = drawn();
    let start = Instant::now();
    let fitted = survey.fit();
    let seconds = start.elapsed().as_secs_f64();
    let inside = fitted.links.iter().zip(&truth_dbm).filter(|(level, truth_dbm)| {
        let [low, _, high] = level.quantiles_dbm;
        (low..=high).contains(*truth_dbm)
    });
    let share = inside.count() as f64 / truth_dbm.len() as f64;
    println!(
        "{NODES} nodes x {} packets at {GATEWAYS} gateways: {:.0} ms, {:.0} % of the true levels in their 90 % band",
        DAYS * PACKETS_A_DAY,
        1e3 * seconds,
        100.0 * share
    );
    // Of 100 links 90 are expected, and with 3 standard deviations of chance 81.
    assert!((0.81..=0.99).contains(&share), "{share} of the true levels lie in their band");
    assert!(seconds < LONGEST_S, "slower than asked: {LONGEST_S} s");
}

/// A survey drawn from the assumptions of the fit, and the true level of each link.
fn drawn() -> (Survey, Vec<f64>) {
    let mut random = Stream::new(1, 14);
    let site_db = SITE_SD_DB * random.normal();
    let gateway_db: Vec<f64> = (0..GATEWAYS).map(|_| GATEWAY_SD_DB * random.normal()).collect();
    let mut survey =
        Survey { gateway_sd_db: vec![GATEWAY_SD_DB; GATEWAYS], nodes: NODES, ..Survey::default() };
    let mut truth_dbm = Vec::new();
    for node in 0..NODES {
        let node_db = NODE_SD_DB * random.normal();
        for (gateway, gateway_db) in gateway_db.iter().enumerate() {
            let level_dbm = -120.0 + 10.0 * random.normal();
            let true_dbm = level_dbm + site_db + gateway_db + node_db + SPOT_SD_DB * random.normal();
            let link = survey.links.len();
            survey.links.push(Predicted { node, gateway, level_dbm });
            survey.runs.extend((0..DAYS).map(|_| day(&mut random, link, true_dbm)));
            truth_dbm.push(true_dbm);
        }
    }
    (survey, truth_dbm)
}

fn day(random: &mut Stream, link: usize, level_dbm: f64) -> Run {
    let day_dbm = level_dbm + DAY_SD_DB * random.normal();
    let all = (0..PACKETS_A_DAY).map(|_| day_dbm + PACKET_SD_DB * random.normal());
    let heard: Vec<f64> = all.filter(|packet_dbm| *packet_dbm > SF12_DBM).collect();
    let count = heard.iter().fold(0_u32, |count, _| count + 1);
    let mean_dbm = heard.iter().sum::<f64>() / f64::from(count.max(1));
    Run { link, heard: count, mean_dbm, missed: PACKETS_A_DAY - count, limit_dbm: SF12_DBM }
}
