//! Light lost at the cover: the incidence angle modifiers, for the beam and averaged over sky and ground.

use std::f64::consts::{FRAC_PI_2, PI};

use super::transpose::cos_incidence;

/// Refractive index, extinction [1/m] and thickness \[m\] of a sheet of common glass.
const GLASS: (f64, f64, f64) = (1.526, 4.0, 0.002);

/// Share of the light kept at an angle of incidence, relative to right angles, by a flat cover of 2 mm glass.
///
/// # References
/// De Soto, Klein & Beckman 2006, *Solar Energy* 80, 78-88 (both polarisations by Fresnel, absorption
/// by Bouguer), index 1.526, extinction 4 /m.
pub fn glass(cos_incidence: f64) -> f64 {
    let (n, extinction, thickness) = GLASS;
    let cos_1 = cos_incidence.max(0.0);
    let cos_2 = (1.0 - (1.0 - cos_1 * cos_1) / (n * n)).sqrt();
    let perpendicular = ((cos_1 - n * cos_2) / (cos_1 + n * cos_2)).powi(2);
    let parallel = ((cos_2 - n * cos_1) / (cos_2 + n * cos_1)).powi(2);
    let straight = 1.0 - ((1.0 - n) / (1.0 + n)).powi(2);
    let passed = 1.0 - f64::midpoint(perpendicular, parallel);
    passed / straight * (extinction * thickness * (1.0 - 1.0 / cos_2)).exp()
}

/// Shares of diffuse light kept by the cover of a tilted plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DiffuseKept {
    /// Of the light of an even sky.
    pub sky: f64,
    /// Of the light of an even ground; 0 for a plane that sees none.
    pub ground: f64,
}

/// Means of a modifier over all the sky and all the ground that a plane sees, in steps of one degree.
///
/// # References
/// Marion 2017, *Solar Energy* 147, 344-348, the pseudocode of section 3.
pub fn marion_diffuse(kept: impl Fn(f64) -> f64, tilt_deg: f64) -> DiffuseKept {
    DiffuseKept { sky: marion_mean(&kept, tilt_deg, 0.0), ground: marion_mean(&kept, tilt_deg, FRAC_PI_2) }
}

/// Mean over the quarter turn of zenith angles that begins at `from` [rad].
fn marion_mean(kept: &impl Fn(f64) -> f64, tilt_deg: f64, from: f64) -> f64 {
    const STEPS: u16 = 90;
    let step = FRAC_PI_2 / f64::from(STEPS);
    let (mut entering, mut falling) = (0.0, 0.0);
    for ring in 0..STEPS {
        let upper = from + f64::from(ring) * step;
        let ring_area = step * (upper.cos() - (upper + step).cos());
        let zenith_deg = (upper + step / 2.0).to_degrees();
        for sector in 0..STEPS * 4 {
            let azimuth_deg = ((f64::from(sector) + 0.5) * step).to_degrees();
            let cos_incidence = cos_incidence(zenith_deg, azimuth_deg, tilt_deg, 0.0);
            if cos_incidence > SKIMMING {
                falling += cos_incidence * ring_area;
                entering += kept(cos_incidence) * cos_incidence * ring_area;
            }
        }
    }
    if falling > 0.0 { entering / falling } else { 0.0 }
}

/// Cosine below which light is along the plane: rounding alone would put it in front.
const SKIMMING: f64 = 1e-12 * PI;
