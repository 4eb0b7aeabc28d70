//! The level of one link with all its packets, by quadrature along it.

use super::{DAY_PRECISION, Peak, Run, Survey};
use crate::radio::level::PACKET_SD_DB;
use crate::random::normal_quantile;
use crate::stats::normal::log_share_below;

/// Levels that are tried, over so many standard deviations each way.
const LEVELS: usize = 121;
const REACH: f64 = 7.0;
/// Days that are tried for each run, in equal steps over so many standard deviations around the likeliest: for a bell the
/// sum is exact.
const DAYS: usize = 15;
const DAYS_REACH: f64 = 5.0;
/// Newton steps to the likeliest day: the logarithm is concave and nearly a parabola.
const STEPS: usize = 8;
/// Shares of which quantiles are given.
pub(super) const SHARES: [f64; 3] = [0.05, 0.5, 0.95];

/// The level of a link after a survey, in the middle of its days and packets.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinkLevel {
    /// The mean of what is possible \[dBm\].
    pub mean_dbm: f64,
    /// Its standard deviation \[dB\].
    pub sd_db: f64,
    /// Nine in ten lie between the first and the last of these, half below the one between \[dBm\].
    pub quantiles_dbm: [f64; 3],
}

/// The level of a link. Without misses all is normal, and the peak says it; a miss is lopsided (the level may lie
/// anywhere below), so that what the link's own packets say is taken out at the peak and gone through level by level.
pub(super) fn level(survey: &Survey, peak: &Peak, link: usize) -> LinkLevel {
    let at_peak = peak.sum_of(&survey.parts(link));
    let peak_dbm = survey.links[link].level_dbm + at_peak.mean_db;
    let runs: Vec<(usize, &Run)> =
        survey.runs.iter().enumerate().filter(|(_, run)| run.link == link).collect();
    if runs.iter().all(|(_, run)| run.missed == 0) {
        let quantiles_dbm = SHARES.map(|share| peak_dbm + at_peak.sd_db * normal_quantile(share));
        return LinkLevel { mean_dbm: peak_dbm, sd_db: at_peak.sd_db, quantiles_dbm };
    }
    let (mut rise, mut bend) = (0.0, 0.0);
    for (at, run) in &runs {
        bend += run.slope(peak_dbm + peak.days[*at]).bend_without_day();
        // At the peak a day's own pull balances that of its packets.
        rise += DAY_PRECISION * peak.days[*at];
    }
    let variance = 1.0 / (at_peak.sd_db.powi(-2) - bend).max(1e-6);
    let others_dbm = peak_dbm - rise * variance;
    along(&runs, others_dbm, variance.sqrt())
}

fn along(runs: &[(usize, &Run)], others_dbm: f64, others_sd_db: f64) -> LinkLevel {
    let step_db = 2.0 * REACH * others_sd_db / (LEVELS - 1) as f64;
    let tried: Vec<(f64, f64)> = (0..LEVELS)
        .map(|at| {
            let z = REACH * (2.0 * at as f64 / (LEVELS - 1) as f64 - 1.0);
            let level_dbm = others_dbm + z * others_sd_db;
            let log: f64 = runs.iter().map(|(_, run)| run.log_likelihood(level_dbm)).sum();
            (level_dbm, log - 0.5 * z * z)
        })
        .collect();
    let most = tried.iter().fold(f64::NEG_INFINITY, |most, (_, log)| most.max(*log));
    let weighted: Vec<(f64, f64)> = tried.into_iter().map(|(dbm, log)| (dbm, (log - most).exp())).collect();
    let total: f64 = weighted.iter().map(|(_, weight)| weight).sum();
    let mean_dbm = weighted.iter().map(|(dbm, weight)| dbm * weight).sum::<f64>() / total;
    let variance =
        weighted.iter().map(|(dbm, weight)| weight * (dbm - mean_dbm).powi(2)).sum::<f64>() / total;
    LinkLevel {
        mean_dbm,
        sd_db: variance.sqrt(),
        quantiles_dbm: SHARES.map(|share| quantile(&weighted, share * total, step_db)),
    }
}

/// Where the summed weights reach a value: each weight is spread evenly over a step around its level.
fn quantile(weighted: &[(f64, f64)], wanted: f64, step_db: f64) -> f64 {
    let mut sum = 0.0;
    for (dbm, weight) in weighted {
        if sum + weight >= wanted {
            return dbm + step_db * ((wanted - sum) / weight - 0.5);
        }
        sum += weight;
    }
    weighted.last().map_or(f64::NAN, |(dbm, _)| *dbm)
}

impl Run {
    /// Logarithm of the likelihood of a run at a level, whatever its day was like.
    fn log_likelihood(&self, level_dbm: f64) -> f64 {
        if self.missed == 0 {
            let variance = PACKET_SD_DB * PACKET_SD_DB / f64::from(self.heard.max(1)) + 1.0 / DAY_PRECISION;
            return if self.heard > 0 { -0.5 * (self.mean_dbm - level_dbm).powi(2) / variance } else { 0.0 };
        }
        let mut likeliest_db = 0.0;
        let mut precision = DAY_PRECISION;
        for _ in 0..STEPS {
            let slope = self.slope(level_dbm + likeliest_db);
            precision = slope.bend + DAY_PRECISION;
            likeliest_db += (slope.rise - DAY_PRECISION * likeliest_db) / precision;
        }
        let step_db = 2.0 * DAYS_REACH / (DAYS - 1) as f64 / precision.sqrt();
        let logs: [f64; DAYS] = std::array::from_fn(|at| {
            let day_db = likeliest_db + step_db * (at as f64 - 0.5 * (DAYS - 1) as f64);
            self.log_likelihood_on(level_dbm + day_db) - 0.5 * DAY_PRECISION * day_db * day_db
        });
        let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        most + (step_db * logs.iter().map(|log| (log - most).exp()).sum::<f64>()).ln()
    }

    /// The same on a day with this level.
    fn log_likelihood_on(&self, level_dbm: f64) -> f64 {
        let z = (self.limit_dbm - level_dbm) / PACKET_SD_DB;
        let over = if self.heard > 0 { (self.mean_dbm - level_dbm) / PACKET_SD_DB } else { 0.0 };
        f64::from(self.missed) * log_share_below(z) - 0.5 * f64::from(self.heard) * over * over
    }
}
