//! What in a survey looks wrong: levels that nothing explains, nodes that were swapped, antennas that came off.

use super::{NODE_SD_DB, Peak, SITE, Survey, SurveyedLink};
use crate::radio::level::SPOT_SD_DB;
use crate::stats::quantile;

/// A link is suspect that lies so many standard deviations off all that is doubtful about it (own choice).
const FAR_OFF_SD: f64 = 4.0;
/// A node is suspect that every gateway hears so much weaker than it hears others (own choice) \[dB\].
const LOW_DB: f64 = 10.0;
/// Two nodes are suspect whose residuals, once swapped, are less by so much of a sum of squares in standard deviations:
/// e^8 times as likely (own choice).
const SWAP_GAIN: f64 = 16.0;
/// Gateways that must have heard both, so that a swap can be told from chance.
const COMMON_GATEWAYS: usize = 2;

/// Something in a survey that looks wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Suspect {
    /// A link whose level is off by more than four standard deviations of all that is doubtful about it \[dB\].
    FarOff {
        /// The link.
        link: usize,
        /// By how much it is heard better than that explains.
        over_db: f64,
    },
    /// Two nodes that fit far better at each other's place.
    Swapped {
        /// The one.
        node: usize,
        /// The other.
        other: usize,
    },
    /// A node that all gateways hear weaker than their other nodes: an antenna that came off, or another power.
    Weak {
        /// The node.
        node: usize,
        /// By how much \[dB\], negative.
        over_db: f64,
    },
}

/// A link as it was heard, over all that the survey has learnt of its site and gateway.
struct Residual {
    link: usize,
    node: usize,
    gateway: usize,
    over_db: f64,
    variance: f64,
}

pub(super) fn suspects(survey: &Survey, peak: &Peak) -> Vec<Suspect> {
    let residuals = residuals(survey, peak);
    let mut found = swapped(survey, &residuals);
    let explained = |node: usize| {
        found
            .iter()
            .any(|one| matches!(one, Suspect::Swapped { node: a, other: b } if node == *a || node == *b))
    };
    let free: Vec<&Residual> = residuals.iter().filter(|one| !explained(one.node)).collect();
    let weak: Vec<Suspect> = (0..survey.nodes).filter_map(|node| weak(node, &free)).collect();
    let is_weak =
        |node: usize| weak.iter().any(|one| matches!(one, Suspect::Weak { node: a, .. } if node == *a));
    let off =
        free.iter().filter(|one| one.over_db.abs() > FAR_OFF_SD * one.variance.sqrt() && !is_weak(one.node));
    let far_off: Vec<Suspect> =
        off.map(|one| Suspect::FarOff { link: one.link, over_db: one.over_db }).collect();
    found.extend(weak);
    found.extend(far_off);
    found
}

/// Residuals by link. What is wrong must not hide itself by widening the spread that was learnt or moving the gateway, so
/// both come from medians where there are nodes enough.
fn residuals(survey: &Survey, peak: &Peak) -> Vec<Residual> {
    (0..survey.gateway_sd_db.len()).flat_map(|gateway| of_gateway(survey, peak, gateway)).collect()
}

fn of_gateway(survey: &Survey, peak: &Peak, gateway: usize) -> Vec<Residual> {
    let links = (0..survey.links.len()).filter(|link| survey.links[*link].gateway == gateway);
    let seen: Vec<(usize, SurveyedLink)> =
        links.filter_map(|link| Some((link, survey.seen(link)?))).collect();
    let usual = SPOT_SD_DB.powi(2) + NODE_SD_DB.powi(2);
    let (shared_db, variance) = if seen.len() < ENOUGH_NODES {
        (peak.sum_of(&[SITE, super::at_gateway(gateway)]).mean_db, usual)
    } else {
        let middle_db = median(seen.iter().map(|(_, seen)| seen.over_db));
        let off_db = median(seen.iter().map(|(_, seen)| (seen.over_db - middle_db).abs()));
        (middle_db, usual.max((SD_OF_MEDIAN * off_db).powi(2)))
    };
    let residual = |(link, seen): (usize, SurveyedLink)| Residual {
        link,
        node: survey.links[link].node,
        gateway,
        over_db: seen.over_db - shared_db,
        variance: seen.variance + variance,
    };
    seen.into_iter().map(residual).collect()
}

/// Nodes of a gateway from which on a median is better than a mean that a wrong one may have moved (own choice).
const ENOUGH_NODES: usize = 5;
/// Standard deviation over the median of absolute deviations, of a normal distribution.
const SD_OF_MEDIAN: f64 = 1.4826;

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    quantile(&values, 0.5)
}

/// Pairs of nodes that fit better at each other's place, the clearest first; no node twice.
fn swapped(survey: &Survey, residuals: &[Residual]) -> Vec<Suspect> {
    let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
    for node in 0..survey.nodes {
        for other in node + 1..survey.nodes {
            let gain = swap_gain(survey, residuals, node, other);
            pairs.extend(gain.filter(|gain| *gain > SWAP_GAIN).map(|gain| (gain, node, other)));
        }
    }
    pairs.sort_by(|one, other| other.0.total_cmp(&one.0));
    let mut taken: Vec<usize> = Vec::new();
    let mut found = Vec::new();
    for (_, node, other) in pairs {
        if !taken.contains(&node) && !taken.contains(&other) {
            taken.extend([node, other]);
            found.push(Suspect::Swapped { node, other });
        }
    }
    found
}

/// By how much the squared residuals of two nodes shrink when they change places, in variances; `None` with too few
/// gateways in common.
fn swap_gain(survey: &Survey, residuals: &[Residual], node: usize, other: usize) -> Option<f64> {
    let of = |node: usize| residuals.iter().filter(move |one| one.node == node);
    let pairs =
        of(node).filter_map(|one| of(other).find(|two| two.gateway == one.gateway).map(|two| (one, two)));
    let (mut gain, mut count) = (0.0, 0);
    for (one, two) in pairs {
        let moved_db = survey.links[one.link].level_dbm - survey.links[two.link].level_dbm;
        let (swapped_one, swapped_two) = (one.over_db + moved_db, two.over_db - moved_db);
        gain += (one.over_db.powi(2) - swapped_one.powi(2)) / one.variance
            + (two.over_db.powi(2) - swapped_two.powi(2)) / two.variance;
        count += 1;
    }
    (count >= COMMON_GATEWAYS).then_some(gain)
}

/// A node that every gateway which hears it hears far weaker than the middle of its other nodes.
fn weak(node: usize, residuals: &[&Residual]) -> Option<Suspect> {
    let over_others = |one: &Residual| {
        let others = residuals.iter().filter(|other| other.gateway == one.gateway && other.node != node);
        one.over_db - median(others.map(|other| other.over_db))
    };
    let own: Vec<f64> = residuals.iter().filter(|one| one.node == node).map(|one| over_others(one)).collect();
    let mean_db = own.iter().sum::<f64>() / own.len().max(1) as f64;
    let weak = own.len() >= COMMON_GATEWAYS && own.iter().all(|over_db| *over_db < -LOW_DB);
    weak.then_some(Suspect::Weak { node, over_db: mean_db })
}
