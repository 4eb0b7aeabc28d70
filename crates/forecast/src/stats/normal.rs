//! The normal distribution, tails included.

use std::f64::consts::PI;

/// From here on the tail's continued fraction converges faster than the series.
const TAIL: f64 = 3.0;
/// Terms of the continued fraction; at [`TAIL`] more no longer change the last digit.
const TERMS: u32 = 60;

/// Density of the standard normal distribution.
#[must_use]
fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
}

/// Share of a standard normal distribution below `z`.
///
/// # References
/// Abramowitz & Stegun 1964, 26.2.11 (series) and 26.2.14 (continued fraction).
#[must_use]
pub fn share_below(z: f64) -> f64 {
    if z > TAIL {
        return 1.0 - share_below(-z);
    }
    if z < -TAIL {
        return density(z) / hazard(-z);
    }
    let (mut term, mut sum, mut odd) = (z, z, 1.0);
    while term.abs() > 1e-17 * sum.abs() {
        odd += 2.0;
        term *= z * z / odd;
        sum += term;
    }
    0.5 + density(z) * sum
}

/// Density over the share below: how steeply the logarithm of that share rises at `z`.
#[must_use]
pub fn steepness(z: f64) -> f64 {
    if z < -TAIL { hazard(-z) } else { density(z) / share_below(z) }
}

/// Logarithm of the share below `z`, without underflow.
#[must_use]
pub fn log_share_below(z: f64) -> f64 {
    if z < -TAIL { -0.5 * z * z - 0.5 * (2.0 * PI).ln() - hazard(-z).ln() } else { share_below(z).ln() }
}

/// Density over the share above, from [`TAIL`] up.
fn hazard(z: f64) -> f64 {
    (1..=TERMS).rev().fold(z, |below, term| z + f64::from(term) / below)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::normal_quantile;

    /// Abramowitz & Stegun 1964, tables 26.1 and 26.2.
    #[test]
    fn shares_are_the_tabulated_ones() {
        for (z, share) in [
            (0.0, 0.5),
            (1.0, 0.841_344_746_068_543),
            (-2.0, 0.022_750_131_948_179),
            (-3.0, 0.001_349_898_031_630),
            (-5.0, 2.866_515_719e-7),
        ] {
            assert!((share_below(z) / share - 1.0).abs() < 1e-9, "{z}");
        }
    }

    #[test]
    fn shares_undo_quantiles_and_logarithms_reach_far_tails() {
        for tenth in -70..=70 {
            let z = f64::from(tenth) / 10.0;
            let share = share_below(z);
            if (1e-12..=0.999_999_9).contains(&share) {
                assert!((normal_quantile(share) - z).abs() < 1e-7, "{z}");
            }
            assert!((log_share_below(z) - share.ln()).abs() < 1e-9 * share.ln().abs().max(1.0), "{z}");
        }
        // The asymptote -z^2/2 - ln(z sqrt(2 pi)) is 1/z^2 off.
        let asymptote = -0.5 * 1600.0 - (40.0 * (2.0 * PI).sqrt()).ln();
        assert!((log_share_below(-40.0) - asymptote).abs() < 1e-3);
        assert!((steepness(-40.0) - 40.0).abs() < 0.03);
    }
}
