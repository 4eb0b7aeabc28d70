//! How far predicted levels are off what was measured on the open data sets of an alpine cliff ("Saint Eynard", doi
//! 10.18709/perscido.2023.06.ds395).
//!
//! `cargo xtask prove reach FOLDER` reads `links.csv` (nodes on a cliff 1,110 m above the valley, gateways of strangers) and
//! `cliff_109km.csv.gz` (109 km in line of sight). Nothing of it is kept here. Assumed: 14 dBm radiated, a clear path from
//! the cliff, a village around the gateways, their places unknown: one in five outside, an own choice that makes no verdict.
//! Levels are compared given that a packet was heard; the weakest that was is the lowest decile of the set, since strangers'
//! signal strengths have a floor of their own.

#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    clippy::expect_used,
    reason = "an example reads its data, prints, and refuses to go on when wrong"
)]

use std::io::Read;
use std::path::PathBuf;

use forecast::radio::level::{
    Doubtful, Draws, Known, Level, NOISE_DB, SPOT_SD_DB, SeenLevel, Walls, given_heard, weighted_quantiles,
};
use forecast::random::Stream;
use path::clutter::{Columns, End, USUAL_CLEARING_M, Way};
use path::p1812::Climate;

const LIVES: u64 = 20_000;
const OUTSIDE: f64 = 0.2;
const CLIFF_M: f64 = 1110.0;
const VILLAGE_M: f64 = 8.0;
/// The long path from 1,350 m to 3,835 m, over ground at 835 m.
const LONG_KM: f64 = 109.0;
const LONG_ENDS_M: [f64; 2] = [515.0, 3000.0];

/// A link of the set: its distance, and the lowest decile and the median of its level.
struct Measured {
    node: String,
    gateway: String,
    distance_km: f64,
    low_dbm: f64,
    middle_dbm: f64,
}

/// What is aimed at for any set before a survey: bias and root mean square of the error \[dB\], share in the 90 % band.
const MOST_BIAS_DB: f64 = 12.0;
const MOST_RMSE_DB: f64 = 12.0;
const LEAST_HELD: f64 = 0.85;

fn main() {
    let folder = PathBuf::from(std::env::args().nth(1).expect("the folder of the data sets"));
    println!(
        "set          links    bias    rmse   in the 90 % band   its width   goals; dB, predicted less measured"
    );
    for set in sets(&std::fs::read_to_string(folder.join("links.csv")).expect("links.csv")) {
        let floor_dbm = set.iter().map(|link| link.low_dbm).fold(f64::INFINITY, f64::min);
        let bands: Vec<(f64, [f64; 3])> =
            set.iter().map(|link| (link.middle_dbm, band(link.distance_km, floor_dbm))).collect();
        print(&set[0].node, &bands);
    }
    let level = level(LONG_KM, LONG_ENDS_M, Walls::Outside, 0.0);
    let quantiles = [0.05, 0.5, 0.95].map(|share| level.quantile(share));
    print("long path", &[(long_path_dbm(&folder), quantiles)]);
    println!(
        "goals: bias within {MOST_BIAS_DB} dB, rmse within {MOST_RMSE_DB} dB, {LEAST_HELD} or more in the band"
    );
}

fn print(name: &str, bands: &[(f64, [f64; 3])]) {
    let mean = |value: fn(&(f64, [f64; 3])) -> f64| bands.iter().map(value).sum::<f64>() / bands.len() as f64;
    let bias_db = mean(|(seen, [_, middle, _])| middle - seen);
    let rmse_db = mean(|(seen, [_, middle, _])| (middle - seen).powi(2)).sqrt();
    let held = mean(|(seen, [low, _, high])| f64::from(u8::from((*low..=*high).contains(seen))));
    let width_db = mean(|(_, [low, _, high])| high - low);
    let missed = [
        (bias_db.abs() > MOST_BIAS_DB, "bias"),
        (rmse_db > MOST_RMSE_DB, "rmse"),
        (held < LEAST_HELD, "share in the band"),
    ];
    let missed: Vec<&str> = missed.into_iter().filter_map(|(missed, name)| missed.then_some(name)).collect();
    let goals =
        if missed.is_empty() { "within".to_owned() } else { format!("missed by {}", missed.join(" and ")) };
    println!(
        "{name:<12} {:>5} {bias_db:>7.1} {rmse_db:>7.1} {held:>18.2} {width_db:>11.0}   {goals}",
        bands.len()
    );
}

/// The links by node; where a gateway comes again, another node of that name begins.
fn sets(text: &str) -> Vec<Vec<Measured>> {
    let number = |text: &str| text.parse::<f64>().expect("a number");
    let mut sets: Vec<Vec<Measured>> = Vec::new();
    for line in text.lines().skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let link = Measured {
            node: fields[0].to_owned(),
            gateway: fields[1].to_owned(),
            distance_km: number(fields[2]) / 1000.0,
            low_dbm: number(fields[4]),
            middle_dbm: number(fields[5]),
        };
        let begins = |set: &Vec<Measured>| {
            set[0].node != link.node || set.iter().any(|other| other.gateway == link.gateway)
        };
        match sets.last_mut() {
            Some(set) if !begins(set) => set.push(link),
            _ => sets.push(vec![link]),
        }
    }
    sets
}

/// Median level of the long path on the scale of the signal-to-noise ratio; its antennas are strong enough for that.
fn long_path_dbm(folder: &std::path::Path) -> f64 {
    let file = std::fs::File::open(folder.join("cliff_109km.csv.gz")).expect("cliff_109km.csv.gz");
    let mut text = String::new();
    flate2::read::GzDecoder::new(file).read_to_string(&mut text).expect("gzip");
    let snr_db = |line: &str| line.rsplit(',').next().and_then(|text| text.parse::<f64>().ok());
    let mut levels_dbm: Vec<f64> = text
        .lines()
        .skip(1)
        .filter_map(snr_db)
        .map(|snr_db| forecast::radio::level::ZERO_SNR_DBM + snr_db)
        .collect();
    levels_dbm.sort_by(f64::total_cmp);
    forecast::stats::quantile(&levels_dbm, 0.5)
}

/// The 5, 50 and 95 % quantiles of the level of a stranger's gateway, given that it is heard \[dBm\].
fn band(distance_km: f64, floor_dbm: f64) -> [f64; 3] {
    let seen = |walls, share: f64| {
        let gateway_m = if walls == Walls::Outside { VILLAGE_M + 3.0 } else { 0.6 * VILLAGE_M };
        let level = level(distance_km, [CLIFF_M, gateway_m], walls, VILLAGE_M);
        (0..LIVES).map(move |life| {
            let draws = Draws::of_life(&mut Stream::new(1, life), 1);
            let seen = given_heard(level.at(&draws[0]), floor_dbm);
            SeenLevel { weight: seen.weight * share, ..seen }
        })
    };
    let lives: Vec<SeenLevel> =
        seen(Walls::Outside, OUTSIDE).chain(seen(Walls::Inside(None), 1.0 - OUTSIDE)).collect();
    weighted_quantiles(&lives, [0.05, 0.5, 0.95])
}

fn level(distance_km: f64, antennas_m: [f64; 2], walls: Walls, clutter_m: f64) -> Level {
    let end = |antenna_m, clutter_m| End {
        antenna_m,
        clutter_m,
        clearing_m: USUAL_CLEARING_M,
        trees: None,
        cover: None,
    };
    let known = Known {
        way: Way {
            frequency_ghz: 0.868,
            length_km: distance_km,
            ends: [end(antennas_m[0], 0.0), end(antennas_m[1], clutter_m)],
            climate: Climate { latitude_deg: 45.2, lapse_n_km: 39.25, refractivity_n: 325.0 },
        },
        walls: [Walls::Outside, walls],
        sent_dbm: 14.0,
        node_antenna: Doubtful { mean_db: 0.0, sd_db: 1.5 },
        gateway_antenna: Doubtful { mean_db: if walls == Walls::Outside { 3.0 } else { 0.0 }, sd_db: 2.0 },
        noise: Doubtful { mean_db: NOISE_DB[0], sd_db: NOISE_DB[1] },
        spot_sd_db: SPOT_SD_DB,
        clearing_known: [false; 2],
    };
    let mut columns = Columns::default();
    let flat = |way: &Way| way.over_flat_ground(&mut columns).map(|loss| loss.total_db);
    Level::new(&known, flat).expect("in range")
}
