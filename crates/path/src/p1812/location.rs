use super::LOCATIONS;
use crate::{Error, Range};

/// Spread of the loss over locations (bounds of ours).
const SIGMA: Range = Range::new("location spread", "dB", 0.0, 30.0);

/// Loss \[dB\] to add so that a prediction holds for `location_percent` \[%\] of the spots near the receiver, whose
/// losses scatter by `sigma_db` \[dB\]; positive above 50 %. A receiver at sea has none.
///
/// # Errors
/// A percentage outside [`LOCATIONS`], a spread outside 0 to 30 dB.
///
/// # References
/// Rec. ITU-R P.1812-6 §4.8: -I(pL/100) `sigma_L`.
pub fn location_loss_db(location_percent: f64, sigma_db: f64) -> Result<f64, Error> {
    LOCATIONS.check(location_percent)?;
    SIGMA.check(sigma_db)?;
    Ok(-normal_deviate(location_percent / 100.0) * sigma_db)
}

/// Standard deviation \[dB\] of the loss over spots within a square of side `square_m` \[m\] around a receiver that
/// stands outdoors, `receiver_m` \[m\] above ground, among clutter of height `clutter_m` \[m\].
///
/// It falls to 0 as the antenna rises from the clutter's top to 10 m above it. Slow variation of terrain is not
/// in it: that is in the profile.
///
/// # References
/// Rec. ITU-R P.1812-6 §4.8, eq. (66), and the height factor of §4.10.
pub fn location_sigma_db(frequency_ghz: f64, receiver_m: f64, clutter_m: f64, square_m: f64) -> f64 {
    let below_top = (1.0 - (receiver_m - clutter_m) / 10.0).clamp(0.0, 1.0);
    (0.52 + 0.024 * frequency_ghz) * square_m.powf(0.28) * below_top
}

/// I(x): the deviate that a share `x` of a normal distribution *exceeds*, as approximated by the Recommendation;
/// positive below one half.
///
/// # References
/// Rec. ITU-R P.1812-6, Attachment 2: Hastings' rational approximation (Abramowitz & Stegun 26.2.23), less than
/// 0.00045 from the truth.
pub(super) fn normal_deviate(share: f64) -> f64 {
    let share = share.clamp(1e-6, 1.0 - 1e-6);
    if share <= 0.5 { upper_tail(share) } else { -upper_tail(1.0 - share) }
}

fn upper_tail(share: f64) -> f64 {
    let t = (-2.0 * share.ln()).sqrt();
    let above = (0.010328 * t + 0.802853) * t + 2.515516698;
    let below = ((0.001308 * t + 0.189269) * t + 1.432788) * t + 1.0;
    t - above / below
}

#[cfg(test)]
#[expect(clippy::expect_used, reason = "expect() is a test's refusal")]
mod tests {
    use super::{location_loss_db, location_sigma_db, normal_deviate};

    #[test]
    fn normal_deviate_is_within_its_stated_error_of_tabled_values() {
        // Upper quantiles of the standard normal distribution, from any table.
        for (share, deviate) in
            [(0.01, 2.326348), (0.1, 1.281552), (0.25, 0.674490), (0.5, 0.0), (0.9, -1.281552)]
        {
            assert!((normal_deviate(share) - deviate).abs() < 0.00045, "{share}");
        }
    }

    /// By hand: (0.52 + 0.024 * 0.6) * 100^0.28 = 0.5344 * 3.6308.
    #[test]
    fn spread_over_locations_fades_as_the_antenna_rises_out_of_its_clutter() {
        for (receiver_m, sigma_db) in
            [(2.0, 1.9403), (15.0, 1.9403), (20.0, 0.9701), (25.0, 0.0), (60.0, 0.0)]
        {
            assert!(
                (location_sigma_db(0.6, receiver_m, 15.0, 100.0) - sigma_db).abs() < 1e-4,
                "{receiver_m}"
            );
        }
    }

    #[test]
    fn nine_spots_in_ten_cost_more_and_a_percentage_beyond_range_is_refused() {
        let loss_db = location_loss_db(90.0, 5.5).expect("in range");
        assert!((loss_db - 5.5 * 1.281552).abs() < 5.5 * 0.00045);
        assert!(location_loss_db(99.5, 5.5).is_err());
    }
}
