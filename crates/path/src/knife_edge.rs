use crate::wavelength_m;

/// Loss \[dB\] of a single knife edge with diffraction parameter `nu` \[-\]; 0 for `nu` <= -0.78.
///
/// # References
/// Rec. ITU-R P.526-15 §4.1, eq. (31), an approximation good to 0.1 dB; the same as P.1812-6 eq. (12).
pub fn knife_edge_db(nu: f64) -> f64 {
    if nu <= -0.78 {
        return 0.0;
    }
    let x = nu - 0.1;
    6.9 + 20.0 * ((x * x + 1.0).sqrt() + x).log10()
}

/// Diffraction parameter \[-\] of an edge that stands `excess_m` \[m\] above (below, if negative) the straight
/// line between the ends, `near_km` and `far_km` \[km\] away from them, at `frequency_ghz` \[GHz\].
///
/// # References
/// Rec. ITU-R P.526-15 §4.1, eq. (26): h sqrt(2/lambda (1/d1 + 1/d2)).
pub fn knife_edge_parameter(frequency_ghz: f64, excess_m: f64, near_km: f64, far_km: f64) -> f64 {
    excess_m * (0.002 / wavelength_m(frequency_ghz) * (1.0 / near_km + 1.0 / far_km)).sqrt()
}
