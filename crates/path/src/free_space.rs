use crate::LIGHT_M_S;

/// Free-space basic transmission loss \[dB\] between isotropic antennas `distance_km` \[km\] apart at
/// `frequency_ghz` \[GHz\].
///
/// Holds in the far field; both numbers must be positive (otherwise the result is not finite).
///
/// # Example
/// ```
/// // P.525-4 eq. (4): 32.4 + 20 log f[MHz] + 20 log d[km]
/// assert!((path::free_space_db(0.868, 1.0) - 91.2).abs() < 0.1);
/// ```
/// # References
/// Rec. ITU-R P.525-4, eq. (3): 20 log(4 pi d / lambda), with the exact speed of light.
pub fn free_space_db(frequency_ghz: f64, distance_km: f64) -> f64 {
    20.0 * (4.0e12 * std::f64::consts::PI * distance_km * frequency_ghz / LIGHT_M_S).log10()
}
