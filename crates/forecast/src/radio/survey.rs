//! What packets that were sent at a site say about its levels: those that were heard, and those that were missed.
//!
//! A level is what was predicted, and so much more or less for the site, for each gateway, each node, each spot and each
//! day. These are found together: the most likely values, and how far each is still in doubt. A packet that was missed
//! counts as one below the limit of its data rate; leaving such out would make every weak link look good.

mod along;
mod log;
mod suspects;

pub use along::LinkLevel;
pub use log::{Anomaly, Column, LogError, Packet, SurveyLog, read};
pub use suspects::Suspect;

use crate::radio::level::{DAY_SD_DB, Doubtful, PACKET_SD_DB, SITE_SD_DB, SPOT_SD_DB};
use crate::stats::cholesky::Cholesky;
use crate::stats::normal::steepness;

/// Scatter from node to node: antenna, mounting, power (own choice, with [`SPOT_SD_DB`] and the like in
/// [`super::level`]) \[dB\].
pub const NODE_SD_DB: f64 = 3.5;
/// The spread from spot to spot is learnt as if so many spots with the usual one had been seen before (own choice).
const SPOTS_BEFORE: f64 = 4.0;
/// How often it is learnt anew.
const LEARNT: usize = 2;
/// Longest step towards the most likely values \[dB\], when to stop \[dB\], and when to give up.
const LONGEST_STEP_DB: f64 = 15.0;
const SETTLED_DB: f64 = 1e-4;
const MOST_STEPS: usize = 200;

/// A link before the survey.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Predicted {
    /// Its node, counted from 0.
    pub node: usize,
    /// Its gateway, counted from 0.
    pub gateway: usize,
    /// The level that was predicted at the power of the survey \[dBm on the scale of [`super::level`]\].
    pub level_dbm: f64,
}

/// What was sent over one link on one day at one data rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run {
    /// The link, counted from 0.
    pub link: usize,
    /// Packets that were heard.
    pub heard: u32,
    /// Their mean level \[dBm\]; not looked at if there are none.
    pub mean_dbm: f64,
    /// Packets that were not heard although they were sent.
    pub missed: u32,
    /// The weakest level that is demodulated at the data rate \[dBm\].
    pub limit_dbm: f64,
}

/// All that goes into a fit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Survey {
    /// For each gateway, how far its level is in doubt: antenna, noise, clutter, walls \[dB\].
    pub gateway_sd_db: Vec<f64>,
    /// Number of nodes.
    pub nodes: usize,
    /// The links that were looked at.
    pub links: Vec<Predicted>,
    /// What was sent.
    pub runs: Vec<Run>,
    /// The spread from spot to spot where it is known \[dB\]; `None` to learn it for each gateway.
    pub spot_sd_db: Option<f64>,
}

/// What a survey has taught. All values are over the prediction \[dB\].
#[derive(Clone, Debug, PartialEq)]
pub struct Fitted {
    /// The error of the model that the whole site shares.
    pub site: Doubtful,
    /// What each gateway hears more or less than predicted, the site's error with it.
    pub gateways: Vec<Doubtful>,
    /// By node.
    pub nodes: Vec<Doubtful>,
    /// The spread from spot to spot around each gateway.
    pub spot_sd_db: Vec<f64>,
    /// The level of each link, in the order of the survey.
    pub links: Vec<LinkLevel>,
    /// What looks wrong.
    pub suspects: Vec<Suspect>,
}

impl Survey {
    /// The most likely levels, and what is still in doubt about them.
    #[must_use]
    pub fn fit(&self) -> Fitted {
        let mut spot_sd_db = vec![self.spot_sd_db.unwrap_or(SPOT_SD_DB); self.gateway_sd_db.len()];
        if self.spot_sd_db.is_none() {
            for _ in 0..LEARNT {
                spot_sd_db =
                    (0..self.gateway_sd_db.len()).map(|gateway| self.spot_spread_db(gateway)).collect();
            }
        }
        let peak = self.peak(&spot_sd_db);
        let of = |parts: &[usize]| peak.sum_of(parts);
        Fitted {
            site: of(&[SITE]),
            gateways: (0..self.gateway_sd_db.len()).map(|gateway| of(&[SITE, at_gateway(gateway)])).collect(),
            nodes: (0..self.nodes).map(|node| of(&[self.at_node(node)])).collect(),
            links: (0..self.links.len()).map(|link| along::level(self, &peak, link)).collect(),
            suspects: suspects::suspects(self, &peak),
            spot_sd_db,
        }
    }

    /// The spread from spot to spot around a gateway, from the means of the spots that it heard: what they scatter more
    /// than packets and days explain, drawn towards the usual spread where there are few.
    fn spot_spread_db(&self, gateway: usize) -> f64 {
        let seen: Vec<(f64, f64)> = (0..self.links.len())
            .filter(|link| self.links[*link].gateway == gateway)
            .filter_map(|link| self.seen(link))
            .map(|seen| (seen.over_db, seen.variance))
            .collect();
        let count = seen.len() as f64;
        let mean_db = seen.iter().map(|(over_db, _)| over_db).sum::<f64>() / count.max(1.0);
        let squares: f64 = seen.iter().map(|(over_db, _)| (over_db - mean_db).powi(2)).sum();
        let explained =
            seen.iter().map(|(_, variance)| variance).sum::<f64>() * (count - 1.0).max(0.0) / count.max(1.0);
        let before = SPOTS_BEFORE * SPOT_SD_DB * SPOT_SD_DB;
        ((before + (squares - explained).max(0.0)) / (SPOTS_BEFORE + (count - 1.0).max(0.0))).sqrt()
    }

    /// What was heard over a link, over what was predicted; `None` if nothing was.
    fn seen(&self, link: usize) -> Option<SurveyedLink> {
        let runs = self.runs.iter().filter(|run| run.link == link && run.heard > 0);
        let (days, heard, sum) = runs.fold((0.0, 0.0, 0.0), |(days, heard, sum), run| {
            let count = f64::from(run.heard);
            (days + 1.0, heard + count, sum + count * run.mean_dbm)
        });
        (heard > 0.0).then(|| SurveyedLink {
            over_db: sum / heard - self.links[link].level_dbm,
            variance: PACKET_SD_DB.powi(2) / heard + DAY_SD_DB.powi(2) / days,
        })
    }

    fn at_node(&self, node: usize) -> usize {
        at_gateway(self.gateway_sd_db.len()) + node
    }

    fn at_link(&self, link: usize) -> usize {
        self.at_node(self.nodes) + link
    }

    /// Which unknowns make up the level of a link.
    fn parts(&self, link: usize) -> [usize; 4] {
        let Predicted { node, gateway, .. } = self.links[link];
        [SITE, at_gateway(gateway), self.at_node(node), self.at_link(link)]
    }

    /// The precision of each unknown before the survey \[1/dB^2\].
    fn precisions(&self, spot_sd_db: &[f64]) -> Vec<f64> {
        let links = self.links.iter().map(|link| spot_sd_db[link.gateway]);
        let nodes = (0..self.nodes).map(|_| NODE_SD_DB);
        let all =
            [SITE_SD_DB].into_iter().chain(self.gateway_sd_db.iter().copied()).chain(nodes).chain(links);
        all.map(|sd_db| sd_db.max(LEAST_SD_DB).powi(-2)).collect()
    }

    /// The most likely values by Newton's method: the logarithm of the likelihood is concave, so that there is one peak.
    /// Days belong to one run each and are eliminated before the system is solved.
    fn peak(&self, spot_sd_db: &[f64]) -> Peak {
        let prior = self.precisions(spot_sd_db);
        let mut peak =
            Peak { values: vec![0.0; prior.len()], days: vec![0.0; self.runs.len()], covariance: Vec::new() };
        for _ in 0..MOST_STEPS {
            let slopes: Vec<Slope> = self
                .runs
                .iter()
                .zip(&peak.days)
                .map(|(run, day)| {
                    let predicted_dbm = self.links[run.link].level_dbm + day;
                    run.slope(
                        predicted_dbm
                            + self.parts(run.link).iter().map(|part| peak.values[*part]).sum::<f64>(),
                    )
                })
                .collect();
            let Some(factored) = self.system(&prior, &slopes) else { break };
            let step = factored.solve(&self.right_side(&prior, &peak, &slopes));
            let longest = step.iter().fold(0.0_f64, |most, value| most.max(value.abs()));
            let share = (LONGEST_STEP_DB / longest.max(f64::MIN_POSITIVE)).min(1.0);
            for ((run, slope), day) in self.runs.iter().zip(&slopes).zip(&mut peak.days) {
                let moved: f64 = self.parts(run.link).iter().map(|part| step[*part]).sum();
                *day += share * (slope.rise - DAY_PRECISION * *day - slope.bend * moved)
                    / (DAY_PRECISION + slope.bend);
            }
            peak.values.iter_mut().zip(&step).for_each(|(value, step)| *value += share * step);
            if longest < SETTLED_DB {
                peak.covariance = factored.inverse();
                break;
            }
        }
        peak
    }

    /// Prior precision and what the runs add to it, days eliminated.
    fn system(&self, prior: &[f64], slopes: &[Slope]) -> Option<Cholesky> {
        let size = prior.len();
        let mut matrix = vec![0.0; size * size];
        prior.iter().enumerate().for_each(|(at, precision)| matrix[at * size + at] = *precision);
        for (run, slope) in self.runs.iter().zip(slopes) {
            let parts = self.parts(run.link);
            for (row, column) in parts.iter().flat_map(|row| parts.iter().map(move |column| (*row, *column)))
            {
                matrix[row * size + column] += slope.bend_without_day();
            }
        }
        Cholesky::new(size, matrix)
    }

    fn right_side(&self, prior: &[f64], peak: &Peak, slopes: &[Slope]) -> Vec<f64> {
        let mut right: Vec<f64> =
            prior.iter().zip(&peak.values).map(|(precision, value)| -precision * value).collect();
        for ((run, slope), day) in self.runs.iter().zip(slopes).zip(&peak.days) {
            let of_day = slope.bend * (slope.rise - DAY_PRECISION * day) / (DAY_PRECISION + slope.bend);
            self.parts(run.link).iter().for_each(|part| right[*part] += slope.rise - of_day);
        }
        right
    }
}

fn at_gateway(gateway: usize) -> usize {
    SITE + 1 + gateway
}

/// The site stands first among the unknowns, then gateways, nodes and links.
const SITE: usize = 0;
/// Nothing is known more closely than this \[dB\].
const LEAST_SD_DB: f64 = 1e-3;
const DAY_PRECISION: f64 = 1.0 / (DAY_SD_DB * DAY_SD_DB);

/// A link as it was heard.
struct SurveyedLink {
    /// Over the prediction \[dB\].
    over_db: f64,
    /// Of that, from packets and days \[dB^2\].
    variance: f64,
}

/// First derivative of a run's log-likelihood by its level, and the second with its sign turned.
#[derive(Clone, Copy)]
struct Slope {
    rise: f64,
    bend: f64,
}

impl Slope {
    fn bend_without_day(self) -> f64 {
        self.bend * DAY_PRECISION / (DAY_PRECISION + self.bend)
    }
}

impl Run {
    fn slope(&self, level_dbm: f64) -> Slope {
        let (heard, missed) = (f64::from(self.heard), f64::from(self.missed));
        let variance = PACKET_SD_DB * PACKET_SD_DB;
        let z = (self.limit_dbm - level_dbm) / PACKET_SD_DB;
        let k = if self.missed > 0 { steepness(z) } else { 0.0 };
        let over_db = if self.heard > 0 { self.mean_dbm - level_dbm } else { 0.0 };
        Slope {
            rise: heard * over_db / variance - missed * k / PACKET_SD_DB,
            bend: heard / variance + missed * k * (k + z) / variance,
        }
    }
}

/// The most likely values.
struct Peak {
    /// Site, gateways, nodes, links \[dB\].
    values: Vec<f64>,
    /// By run \[dB\].
    days: Vec<f64>,
    /// Of the values, by rows \[dB^2\].
    covariance: Vec<f64>,
}

impl Peak {
    fn sum_of(&self, parts: &[usize]) -> Doubtful {
        let size = self.values.len();
        let mean_db = parts.iter().map(|part| self.values[*part]).sum();
        let pairs = parts.iter().flat_map(|row| parts.iter().map(move |column| row * size + column));
        let variance: f64 = pairs.map(|at| self.covariance.get(at).copied().unwrap_or(f64::NAN)).sum();
        Doubtful { mean_db, sd_db: variance.sqrt() }
    }
}
