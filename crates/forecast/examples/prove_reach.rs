//! How far predicted levels are off what was measured on the open data sets of an alpine cliff ("Saint Eynard", doi
//! 10.18709/perscido.2023.06.ds395).
//!
//! `cargo xtask prove reach FOLDER` reads `links.csv` (nodes on a cliff 1,110 m above the valley, gateways of strangers), the
//! data rates from the nodes' own files, and `cliff_109km.csv.gz` (109 km in line of sight). Nothing of it is kept here.
//!
//! Assumed: 14 dBm, a clear path from the cliff, a village around the gateways, their places unknown: one in five outside, an
//! own choice that makes no verdict, so that the bias of either answer is printed too. The designs of the nodes are not
//! published: by its name alone the weather station is taken to stand outside on its counterpoise, the contact of a door to
//! be in a box.
//!
//! Levels are compared on the scale of the signal-to-noise ratio, given that a packet was heard. The file holds signal strength
//! and ratio joined, and strangers' signal strengths read too low or too high by an amount of their own. What of it follows from
//! the file is taken off: nothing is demodulated below the least ratio of its data rate, so a gateway whose lowest decile
//! lies under that reads too low by at least the difference, for all nodes alike.

#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    clippy::expect_used,
    reason = "an example reads its data, prints, and refuses to go on when wrong"
)]

use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;

use design::quantity::Frequency;
use design::region::Modulation;
use design::surroundings::NodeAntenna;
use forecast::radio::demodulation::least_snr;
use forecast::radio::level::{
    Doubtful, Draws, Known, Level, NOISE_DB, SPOT_SD_DB, SeenLevel, Walls, ZERO_SNR_DBM, given_heard,
    weighted_quantiles,
};
use forecast::random::Stream;
use path::clutter::{Columns, End, USUAL_CLEARING_M, Way};
use path::p1812::Climate;

const LIVES: u64 = 20_000;
const OUTSIDE: f64 = 0.2;
const SENT_DBM: f64 = 14.0;
/// Gain of a half-wave dipole \[dBi\].
const DIPOLE_DBI: f64 = 2.15;
const CLIFF_M: f64 = 1110.0;
const VILLAGE_M: f64 = 8.0;
/// The long path from 1,350 m to 3,835 m, over ground at 835 m.
const LONG_KM: f64 = 109.0;
const LONG_ENDS_M: [f64; 2] = [515.0, 3000.0];

/// A node with its links.
struct Node {
    name: String,
    antenna: NodeAntenna,
    /// Frames sent by data rate, the slowest first.
    sent: BTreeMap<u8, f64>,
    links: Vec<Measured>,
}

/// A link: its distance, frames that were heard, and the lowest decile and the median of their level as the gateway reads it.
struct Measured {
    gateway: String,
    distance_km: f64,
    frames: f64,
    low_dbm: f64,
    middle_dbm: f64,
}

/// A measured level and what was predicted \[dBm\].
struct Compared {
    seen_dbm: f64,
    /// What was added to the level as it was read, since the gateway reads so much too low.
    added_db: f64,
    /// The 5, 50 and 95 % quantiles where the gateway's place is not known.
    band_dbm: [f64; 3],
    /// The middle if it is outside, and if it is inside.
    answers_dbm: [f64; 2],
}

/// What is aimed at before a survey: bias of each set \[dB\]; in the mean of the sets the root mean square of the error \[dB\] and
/// the share in the 90 % band.
const MOST_BIAS_DB: f64 = 12.0;
const MOST_RMSE_DB: f64 = 12.0;
const LEAST_HELD: f64 = 0.85;

fn main() {
    let folder = std::env::args().nth(1).expect("the folder of the data sets");
    let folder = Path::new(&folder);
    println!("predicted less measured, dB; as read: the bias if gateways that read too low are believed");
    println!(
        "set          links    bias    rmse  in the 90 % band  its width  outside  inside  as read  goal"
    );
    let nodes = nodes(folder);
    let added_db = reads_low_db(&nodes);
    let of_node = |node: &Node| {
        let links = node.links.iter().map(|link| node.compared(link, added_db[&link.gateway]));
        Row::new(node.name.clone(), &links.collect::<Vec<_>>())
    };
    let mut rows: Vec<Row> = nodes.iter().map(of_node).collect();
    rows.push(Row::new("long path".to_owned(), &[long_path(folder)]));
    for row in &rows {
        row.print(&[(row.bias_db.abs() <= MOST_BIAS_DB, "bias")]);
    }
    let mean = Row::mean(&rows);
    mean.print(&[(mean.rmse_db <= MOST_RMSE_DB, "rmse"), (mean.held >= LEAST_HELD, "share in the band")]);
    println!(
        "goals: bias of a set within {MOST_BIAS_DB} dB; in the mean of the sets rmse within {MOST_RMSE_DB} dB and {LEAST_HELD} or \
         more in the band"
    );
    print_pairs(&nodes);
}

/// What is said of a set.
struct Row {
    name: String,
    links: usize,
    bias_db: f64,
    rmse_db: f64,
    held: f64,
    width_db: f64,
    answers_db: [f64; 2],
    read_db: f64,
}

impl Row {
    fn new(name: String, links: &[Compared]) -> Self {
        let mean =
            |value: &dyn Fn(&Compared) -> f64| links.iter().map(value).sum::<f64>() / links.len() as f64;
        let off_db = |link: &Compared| link.band_dbm[1] - link.seen_dbm;
        let is_held = |link: &Compared| (link.band_dbm[0]..=link.band_dbm[2]).contains(&link.seen_dbm);
        Self {
            name,
            links: links.len(),
            bias_db: mean(&off_db),
            rmse_db: mean(&|link| off_db(link).powi(2)).sqrt(),
            held: mean(&|link| f64::from(u8::from(is_held(link)))),
            width_db: mean(&|link| link.band_dbm[2] - link.band_dbm[0]),
            answers_db: [0, 1].map(|answer| mean(&|link| link.answers_dbm[answer] - link.seen_dbm)),
            read_db: mean(&|link| off_db(link) + link.added_db),
        }
    }

    /// The mean of sets, each as good as another.
    fn mean(rows: &[Self]) -> Self {
        let mean = |value: &dyn Fn(&Self) -> f64| rows.iter().map(value).sum::<f64>() / rows.len() as f64;
        Self {
            name: "mean of sets".to_owned(),
            links: rows.iter().map(|row| row.links).sum(),
            bias_db: mean(&|row| row.bias_db),
            rmse_db: mean(&|row| row.rmse_db),
            held: mean(&|row| row.held),
            width_db: mean(&|row| row.width_db),
            answers_db: [0, 1].map(|answer| mean(&|row| row.answers_db[answer])),
            read_db: mean(&|row| row.read_db),
        }
    }

    fn print(&self, goals: &[(bool, &str)]) {
        let Self {
            name,
            links,
            bias_db,
            rmse_db,
            held,
            width_db,
            answers_db: [outside_db, inside_db],
            read_db,
        } = self;
        let missed: Vec<&str> =
            goals.iter().filter_map(|(reached, goal)| (!reached).then_some(*goal)).collect();
        let goal = if missed.is_empty() {
            "within".to_owned()
        } else {
            format!("missed by {}", missed.join(" and "))
        };
        println!(
            "{name:<12} {links:>5} {bias_db:>7.1} {rmse_db:>7.1} {held:>17.2} {width_db:>10.0} {outside_db:>8.1} {inside_db:>7.1} \
             {read_db:>8.1}  {goal}"
        );
    }
}

/// By how much each node is heard weaker than the first by the gateways that hear both: from one cliff the path is the same,
/// so that this is the nodes' own.
fn print_pairs(nodes: &[Node]) {
    let Some((first, others)) = nodes.split_first() else { return };
    for other in others {
        let both = other.links.iter().filter_map(|link| {
            let same = first.links.iter().find(|known| known.gateway == link.gateway)?;
            Some(link.middle_dbm - same.middle_dbm)
        });
        let differences: Vec<f64> = both.collect();
        let mean_db = differences.iter().sum::<f64>() / differences.len() as f64;
        println!(
            "{} less {} at the {} gateways that hear both, as they read: {mean_db:.1} dB",
            other.name,
            first.name,
            differences.len()
        );
    }
}

/// The nodes of the folder; where a gateway comes again, another time of that node begins.
fn nodes(folder: &Path) -> Vec<Node> {
    let text = std::fs::read_to_string(folder.join("links.csv")).expect("links.csv");
    let number = |text: &str| text.parse::<f64>().expect("a number");
    let mut nodes: Vec<Node> = Vec::new();
    for line in text.lines().skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let link = Measured {
            gateway: fields[1].to_owned(),
            distance_km: number(fields[2]) / 1000.0,
            frames: number(fields[3]),
            low_dbm: number(fields[4]),
            middle_dbm: number(fields[5]),
        };
        let named = |node: &&Node| node.name.starts_with(fields[0]);
        let knows = |node: &Node| node.links.iter().any(|known| known.gateway == link.gateway);
        match nodes.last_mut() {
            Some(node) if named(&&*node) && !knows(node) => node.links.push(link),
            _ => {
                let name = format!("{} {}", fields[0], nodes.iter().filter(named).count() + 1);
                let antenna =
                    if fields[0] == "station" { NodeAntenna::Counterpoise } else { NodeAntenna::Box };
                let sent = sent(folder, &name.replace(' ', "_"));
                nodes.push(Node { name, antenna, sent, links: vec![link] });
            }
        }
    }
    nodes
}

/// Frames that a node sent, by data rate.
fn sent(folder: &Path, name: &str) -> BTreeMap<u8, f64> {
    let text = unpacked(&folder.join(format!("cliff_{name}.csv.gz")));
    let mut sent = BTreeMap::new();
    for rate in text.lines().skip(1).filter_map(|line| line.split(',').nth(2)?.parse::<u8>().ok()) {
        *sent.entry(rate).or_insert(0.0) += 1.0;
    }
    sent
}

/// By how much each gateway reads too low at least \[dB\].
fn reads_low_db(nodes: &[Node]) -> BTreeMap<String, f64> {
    let mut low_db = BTreeMap::new();
    for (node, link) in nodes.iter().flat_map(|node| node.links.iter().map(move |link| (node, link))) {
        let known = low_db.entry(link.gateway.clone()).or_insert(0.0_f64);
        *known = known.max(node.limit_dbm(0.1 * link.frames) - link.low_dbm);
    }
    low_db
}

/// The long path, given or not given that it is heard: its place is known, and its antennas are strong enough for that.
fn long_path(folder: &Path) -> Compared {
    let text = unpacked(&folder.join("cliff_109km.csv.gz"));
    let snr_db = |line: &str| line.rsplit(',').next().and_then(|text| text.parse::<f64>().ok());
    let mut levels_dbm: Vec<f64> =
        text.lines().skip(1).filter_map(snr_db).map(|snr_db| ZERO_SNR_DBM + snr_db).collect();
    levels_dbm.sort_by(f64::total_cmp);
    let level = level(LONG_KM, LONG_ENDS_M, NodeAntenna::Counterpoise, Walls::Outside, 0.0);
    let band_dbm = [0.05, 0.5, 0.95].map(|share| level.quantile(share));
    Compared {
        seen_dbm: forecast::stats::quantile(&levels_dbm, 0.5),
        added_db: 0.0,
        band_dbm,
        answers_dbm: [band_dbm[1]; 2],
    }
}

fn unpacked(file: &Path) -> String {
    let packed = std::fs::File::open(file).expect("a file of the folder");
    let mut text = String::new();
    flate2::read::GzDecoder::new(packed).read_to_string(&mut text).expect("gzip");
    text
}

impl Node {
    /// The weakest level at which the slowest data rate is demodulated at which so many of its frames can have been sent \[dBm\].
    fn limit_dbm(&self, frames: f64) -> f64 {
        let mut sum = 0.0;
        let slow_enough = self.sent.iter().find(|(_, sent)| {
            sum += **sent;
            sum >= frames
        });
        let (rate, _) = slow_enough.or_else(|| self.sent.last_key_value()).expect("data rates");
        // In EU863-870 data rate 0 is SF12, and 5 is SF7.
        let modulation =
            Modulation::Lora { spreading_factor: 12 - rate, bandwidth: Frequency::from_hertz(125_000.0) };
        ZERO_SNR_DBM + least_snr(modulation).expect("LoRa").decibels()
    }

    /// The level of a stranger's gateway, given that it is heard, beside what it read.
    fn compared(&self, link: &Measured, added_db: f64) -> Compared {
        let limit_dbm = self.limit_dbm(0.5 * link.frames);
        let seen = |walls, share: f64| -> Vec<SeenLevel> {
            let gateway_m = if walls == Walls::Outside { VILLAGE_M + 3.0 } else { 0.6 * VILLAGE_M };
            let level = level(link.distance_km, [CLIFF_M, gateway_m], self.antenna, walls, VILLAGE_M);
            let lives = (0..LIVES).map(|life| {
                let draws = Draws::of_life(&mut Stream::new(1, life), 1);
                let seen = given_heard(level.at(&draws[0]), limit_dbm);
                SeenLevel { weight: seen.weight * share, ..seen }
            });
            lives.collect()
        };
        let answers = [seen(Walls::Outside, OUTSIDE), seen(Walls::Inside(None), 1.0 - OUTSIDE)];
        Compared {
            seen_dbm: link.middle_dbm + added_db,
            added_db,
            band_dbm: weighted_quantiles(&answers.concat(), [0.05, 0.5, 0.95]),
            answers_dbm: answers.map(|lives| weighted_quantiles(&lives, [0.5])[0]),
        }
    }
}

fn level(
    distance_km: f64,
    antennas_m: [f64; 2],
    antenna: NodeAntenna,
    walls: Walls,
    clutter_m: f64,
) -> Level {
    let end = |antenna_m, clutter_m| End {
        antenna_m,
        clutter_m,
        clearing_m: USUAL_CLEARING_M,
        trees: None,
        cover: None,
    };
    let near = antenna.loss();
    let known = Known {
        way: Way {
            frequency_ghz: 0.868,
            length_km: distance_km,
            ends: [end(antennas_m[0], 0.0), end(antennas_m[1], clutter_m)],
            climate: Climate { latitude_deg: 45.2, lapse_n_km: 39.25, refractivity_n: 325.0 },
        },
        walls: [Walls::Outside, walls],
        sent_dbm: SENT_DBM,
        node_antenna: Doubtful { mean_db: DIPOLE_DBI - near.loss.decibels(), sd_db: near.spread.decibels() },
        gateway_antenna: Doubtful { mean_db: if walls == Walls::Outside { 3.0 } else { 0.0 }, sd_db: 2.0 },
        noise: Doubtful { mean_db: NOISE_DB[0], sd_db: NOISE_DB[1] },
        spot_sd_db: SPOT_SD_DB,
        clearing_known: [false; 2],
    };
    let mut columns = Columns::default();
    let flat = |way: &Way| way.over_flat_ground(&mut columns).map(|loss| loss.total_db);
    Level::new(&known, flat).expect("in range")
}
