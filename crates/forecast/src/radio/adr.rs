//! How a network adapts the data rate of a node, and how long that takes.
//!
//! The link layer standard leaves the rule to the network. This one is our own: the fastest data rate that keeps a margin
//! over the weakest signal, on the mean of the last uplinks; else the slowest. Networks differ, so the margin is an input
//! of the design file. Power is not reduced.

use std::sync::LazyLock;

use design::quantity::{Decibels, Duration, Share};

use crate::random::normal_quantile;

/// Uplinks whose mean decides: so many that fading leaves their mean no less certain than the seasons leave the link,
/// (5.57 dB / 2 dB)^2 = 7.8.
pub const LISTENS_TO: u32 = 8;
/// Margin that loses one uplink in ten on a link that has just enough of it \[dB\]: fading is exponential in power, seasons
/// and the mean of eight readings are normal with 2.8 dB. Computed: 10.6; rounded up.
pub const USUAL_MARGIN_DB: f64 = 11.0;
/// Uplinks without an answer after which a node asks for one (`ADR_ACK_LIMIT`, TS001-1.0.4 clause 4.3.1.1, default).
const ASKS_AFTER: u32 = 64;
/// Further uplinks without an answer after which it falls by one data rate (`ADR_ACK_DELAY`, the same).
const FALLS_AFTER: u32 = 32;
/// Standard deviation of one reading under Rayleigh fading \[dB\] (of the logarithm of an exponential: 10 pi / (ln 10 sqrt 6)).
const FADE_SD_DB: f64 = 5.57;
/// Standard deviation of a link over the seasons: leaves, snow, wet ground (own estimate).
const SEASON_SD_DB: f64 = 2.0;
/// Equally likely states of a link over a life.
pub const STATES: usize = 20;

/// What a link may be off its mean over a life, each as likely as any other: seasons, and what eight faded readings let the
/// network believe \[dB\].
pub static STATES_DB: LazyLock<[f64; STATES]> = LazyLock::new(|| {
    let sd_db = SEASON_SD_DB.hypot(FADE_SD_DB / f64::from(LISTENS_TO).sqrt());
    std::array::from_fn(|state| sd_db * normal_quantile((state as f64 + 0.5) / STATES as f64))
});

/// The data rate that the network asks for: the fastest whose margin is large enough, else the slowest. Rates come slowest
/// first with their margins.
#[must_use]
pub fn asked_for(margins: &[(u8, Decibels)], kept: Decibels) -> Option<u8> {
    let enough = margins.iter().rev().find(|(_, margin)| *margin >= kept);
    enough.or(margins.first()).map(|(rate, _)| *rate)
}

/// The share of uplinks at each data rate over the life of a link with these mean margins, slowest first.
#[must_use]
pub fn mix(margins: &[(u8, Decibels)], kept: Decibels) -> Vec<(u8, Share)> {
    let mut counts: Vec<(u8, u32)> = margins.iter().map(|(rate, _)| (*rate, 0)).collect();
    for state_db in *STATES_DB {
        // A link that is better by so much keeps the margin at a faster rate.
        let asked = asked_for(margins, kept - Decibels::from_decibels(state_db));
        if let Some((_, count)) = counts.iter_mut().find(|(rate, _)| Some(*rate) == asked) {
            *count += 1;
        }
    }
    let used = counts.into_iter().filter(|(_, count)| *count > 0);
    used.map(|(rate, count)| (rate, Share::from_fraction(f64::from(count) / STATES as f64))).collect()
}

/// How long a node takes to find its data rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settling {
    /// After joining at the slowest rate, until the network has heard enough to speed it up.
    pub faster: Duration,
    /// After a link has failed, until the node has fallen from the fastest to the slowest rate by itself.
    pub slower: Duration,
}

/// How long adaptation takes for a node that reports this often and may use so many data rates.
#[must_use]
pub fn settling(interval: Duration, rates: usize) -> Settling {
    let falls = u32::try_from(rates.saturating_sub(1)).unwrap_or(u32::MAX);
    Settling {
        faster: interval * f64::from(LISTENS_TO),
        slower: interval * (f64::from(ASKS_AFTER) + f64::from(FALLS_AFTER) * f64::from(falls)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_readings_are_as_many_as_the_seasons_are_worth() {
        let sd_of_mean_db = |count: u32| FADE_SD_DB / f64::from(count).sqrt();
        assert!(sd_of_mean_db(LISTENS_TO) <= SEASON_SD_DB && sd_of_mean_db(LISTENS_TO - 1) > SEASON_SD_DB);
    }

    /// A signal of exponential power falls below the floor with 1 - exp(-1 / margin), here averaged over the normal states.
    #[test]
    fn one_uplink_in_ten_is_lost_at_the_usual_margin() {
        let loss = |margin_db: f64| {
            let lost = |state_db: &f64| 1.0 - (-(10_f64.powf(-(margin_db + state_db) / 10.0))).exp();
            STATES_DB.iter().map(lost).sum::<f64>() / STATES as f64
        };
        assert!(
            loss(USUAL_MARGIN_DB) <= 0.1 && loss(USUAL_MARGIN_DB - 1.0) > 0.1,
            "{}",
            loss(USUAL_MARGIN_DB)
        );
    }
}
