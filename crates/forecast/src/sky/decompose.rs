//! Global irradiance split into beam and diffuse: the correlations of Erbs, Klein & Duffie.
//!
//! # References
//! Erbs, Klein & Duffie 1982, *Solar Energy* 28, 293-302.

/// Beam and diffuse that make up a global irradiance.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Split {
    /// At right angles to the beam [W/m²].
    pub dni_w_m2: f64,
    /// From the whole sky on the horizontal [W/m²].
    pub dhi_w_m2: f64,
}

/// Below this cosine of the zenith angle clearness is no longer told from the global irradiance.
const LOWEST_COS_ZENITH: f64 = 0.065;
/// Beyond this zenith angle all light is taken for diffuse [°].
const BEAM_TO_ZENITH_DEG: f64 = 87.0;
/// Sunset hour angle that parts the daily and monthly correlations of winter from those of the year [°].
const WINTER_SUNSET_DEG: f64 = 81.4;

/// Splits the global irradiance [W/m²] of an hour with the sun at a true zenith angle [°] and so much irradiance
/// outside the air [W/m²].
///
/// # References
/// Erbs, Klein & Duffie 1982, hourly correlation. The two limits near the horizon are those of the reference library of the
/// tests.
pub fn erbs_hourly(ghi_w_m2: f64, zenith_deg: f64, extraterrestrial_w_m2: f64) -> Split {
    let cos_zenith = zenith_deg.to_radians().cos();
    let k = (ghi_w_m2 / (extraterrestrial_w_m2 * cos_zenith.max(LOWEST_COS_ZENITH))).clamp(0.0, 1.0);
    let diffuse_share = if k <= 0.22 {
        1.0 - 0.09 * k
    } else if k <= 0.8 {
        0.9511 - 0.1604 * k + 4.388 * k.powi(2) - 16.638 * k.powi(3) + 12.336 * k.powi(4)
    } else {
        0.165
    };
    let dhi_w_m2 = diffuse_share * ghi_w_m2;
    if zenith_deg > BEAM_TO_ZENITH_DEG {
        return Split { dni_w_m2: 0.0, dhi_w_m2: ghi_w_m2 };
    }
    Split { dni_w_m2: (ghi_w_m2 - dhi_w_m2) / cos_zenith, dhi_w_m2 }
}

/// Diffuse share of a day's global irradiation at a daily clearness and a sunset hour angle [°].
///
/// The published curves step down at their ends (0.190 to 0.175 at 0.722); that is theirs.
///
/// # References
/// Erbs, Klein & Duffie 1982, daily correlation.
pub fn erbs_daily(clearness: f64, sunset_hour_angle_deg: f64) -> f64 {
    let k = clearness;
    match sunset_hour_angle_deg <= WINTER_SUNSET_DEG {
        true if k < 0.715 => 1.0 - 0.2727 * k + 2.4495 * k.powi(2) - 11.9514 * k.powi(3) + 9.3879 * k.powi(4),
        true => 0.143,
        false if k < 0.722 => 1.0 + 0.2832 * k - 2.5557 * k.powi(2) + 0.8448 * k.powi(3),
        false => 0.175,
    }
}
