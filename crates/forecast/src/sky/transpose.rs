//! From the horizontal to a tilted plane.

/// Cosine of the angle between the sun and the normal of a plane, negative behind it; all angles in degrees.
///
/// # References
/// Duffie & Beckman, *Solar Engineering of Thermal Processes*, 4th ed. 2013, section 1.6.
pub fn cos_incidence(zenith_deg: f64, sun_azimuth_deg: f64, tilt_deg: f64, plane_azimuth_deg: f64) -> f64 {
    let (sin_zenith, cos_zenith) = zenith_deg.to_radians().sin_cos();
    let (sin_tilt, cos_tilt) = tilt_deg.to_radians().sin_cos();
    let between = (sun_azimuth_deg - plane_azimuth_deg).to_radians();
    (cos_zenith * cos_tilt + sin_zenith * sin_tilt * between.cos()).clamp(-1.0, 1.0)
}

/// How the sky's diffuse light is spread over the sky.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SkyModel {
    /// Evenly.
    Isotropic,
    /// Evenly, and around the sun.
    HayDavies,
    /// Evenly, around the sun, and along the horizon.
    Perez,
}

/// Diffuse light and beam of a moment with what the models need beside it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DiffuseSky {
    /// Direct normal irradiance [W/m²].
    pub dni_w_m2: f64,
    /// Diffuse horizontal irradiance [W/m²].
    pub dhi_w_m2: f64,
    /// Irradiance outside the air at right angles to the beam [W/m²].
    pub extraterrestrial_w_m2: f64,
    /// Apparent zenith angle of the sun [°].
    pub zenith_deg: f64,
    /// Relative air mass.
    pub air_mass: f64,
}

/// A sky's diffuse light in three parts, each as irradiance on the horizontal [W/m²].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// From everywhere alike.
    pub even_w_m2: f64,
    /// From around the sun.
    pub around_sun_w_m2: f64,
    /// From along the horizon; negative under an overcast sky, which is darker there.
    pub along_horizon_w_m2: f64,
}

impl Spread {
    /// Diffuse irradiance of the sky on a plane [W/m²]: `sun_ratio` is the cosine of incidence over that of the zenith
    /// ([`SkyModel::sun_ratio`]), `open_share` what the skyline leaves of the sky (1 for a free horizon).
    pub fn on_plane_w_m2(&self, tilt_deg: f64, sun_ratio: f64, open_share: f64) -> f64 {
        let (sin_tilt, cos_tilt) = tilt_deg.to_radians().sin_cos();
        let sky_view = 0.5 + cos_tilt / 2.0;
        let wide_w_m2 = self.even_w_m2 * sky_view + self.along_horizon_w_m2 * sin_tilt;
        (wide_w_m2 * open_share + self.around_sun_w_m2 * sun_ratio).max(0.0)
    }
}

/// Perez' brightness coefficients F11 to F23 by bin of clearness.
///
/// # References
/// Perez, Ineichen, Seals, Michalsky & Stewart 1990, *Solar Energy* 44, 271-289, the set for all sites.
const PEREZ_BINS: [(f64, [f64; 6]); 8] = [
    (1.065, [-0.008, 0.588, -0.062, -0.060, 0.072, -0.022]),
    (1.23, [0.130, 0.683, -0.151, -0.019, 0.066, -0.029]),
    (1.5, [0.330, 0.487, -0.221, 0.055, -0.064, -0.026]),
    (1.95, [0.568, 0.187, -0.295, 0.109, -0.152, -0.014]),
    (2.8, [0.873, -0.392, -0.362, 0.226, -0.462, 0.001]),
    (4.5, [1.132, -1.237, -0.412, 0.288, -0.823, 0.056]),
    (6.2, [1.060, -1.600, -0.359, 0.264, -1.127, 0.131]),
    (f64::INFINITY, [0.678, -0.327, -0.250, 0.156, -1.377, 0.251]),
];
/// Nearer the horizon Perez' sky holds the sun at this height, and a beam is not told from global and diffuse light [°].
pub(super) const LOWEST_BEAM_DEG: f64 = 5.0;
/// Perez 1990, for a zenith angle in radians.
const PEREZ_KAPPA: f64 = 1.041;

impl SkyModel {
    /// Cosine of incidence over cosine of the zenith angle, held at the model's own limit near the horizon.
    pub fn sun_ratio(self, cos_incidence: f64, zenith_deg: f64) -> f64 {
        let lowest_cos_zenith = match self {
            Self::Perez => LOWEST_BEAM_DEG.to_radians().sin(),
            Self::HayDavies | Self::Isotropic => 0.01745,
        };
        cos_incidence.max(0.0) / zenith_deg.to_radians().cos().max(lowest_cos_zenith)
    }

    /// Spreads the diffuse light of a sky.
    ///
    /// # References
    /// Liu & Jordan 1963 (isotropic); Hay & Davies 1980; Perez et al. 1990.
    pub fn spread(self, sky: &DiffuseSky) -> Spread {
        let dhi_w_m2 = sky.dhi_w_m2;
        let (around_sun, along_horizon) = match self {
            _ if dhi_w_m2 <= 0.0 => (0.0, 0.0),
            Self::Isotropic => (0.0, 0.0),
            Self::HayDavies => (sky.dni_w_m2 / sky.extraterrestrial_w_m2, 0.0),
            Self::Perez => perez_brightness(sky),
        };
        Spread {
            even_w_m2: dhi_w_m2 * (1.0 - around_sun),
            around_sun_w_m2: dhi_w_m2 * around_sun,
            along_horizon_w_m2: dhi_w_m2 * along_horizon,
        }
    }
}

/// Circumsolar and horizon brightening, F1 and F2.
fn perez_brightness(sky: &DiffuseSky) -> (f64, f64) {
    let z = sky.zenith_deg.to_radians();
    let kappa_z3 = PEREZ_KAPPA * z.powi(3);
    let clearness = ((sky.dhi_w_m2 + sky.dni_w_m2) / sky.dhi_w_m2 + kappa_z3) / (1.0 + kappa_z3);
    let brightness = sky.dhi_w_m2 * sky.air_mass / sky.extraterrestrial_w_m2;
    let [.., (_, clearest)] = PEREZ_BINS;
    let [f11, f12, f13, f21, f22, f23] =
        PEREZ_BINS.iter().find(|(below, _)| clearness < *below).map_or(clearest, |(_, row)| *row);
    let circumsolar = (f11 + f12 * brightness + f13 * z).max(0.0);
    (circumsolar, f21 + f22 * brightness + f23 * z)
}

/// Irradiance on a plane from the ground in front of it [W/m²].
pub fn from_ground_w_m2(ghi_w_m2: f64, albedo: f64, tilt_deg: f64) -> f64 {
    ghi_w_m2 * albedo * (1.0 - tilt_deg.to_radians().cos()) / 2.0
}
