//! How much room the ray has above the ground.

use crate::{Error, Profile, p1812::effective_earth_radius_km, wavelength_m};

/// Radius \[m\] of the Fresnel zone `order` (1, 2, ...) at `frequency_ghz` \[GHz\], where the ray is `near_km`
/// and `far_km` \[km\] from its ends.
///
/// # References
/// Rec. ITU-R P.526-15 §2.1, eq. (2): sqrt(n lambda d1 d2 / (d1 + d2)).
pub fn zone_radius_m(order: u32, frequency_ghz: f64, near_km: f64, far_km: f64) -> f64 {
    (f64::from(order) * wavelength_m(frequency_ghz) * 1000.0 * near_km * far_km / (near_km + far_km)).sqrt()
}

/// Height \[m\] by which an earth of radius `radius_km` \[km\] rises above the chord between two ends that are
/// `near_km` and `far_km` \[km\] away; pass the effective radius to include refraction.
///
/// # References
/// Rec. ITU-R P.1812-6 §4.3.1, the term 500 C d (D - d) of eq. (13); parabolic approximation.
pub fn earth_bulge_m(radius_km: f64, near_km: f64, far_km: f64) -> f64 {
    500.0 * near_km * far_km / radius_km
}

/// Room between the straight ray and the ground at one point of a profile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clearance {
    /// Index of the point in the profile.
    pub point: usize,
    /// Distance from the transmitter \[km\].
    pub distance_km: f64,
    /// Height of the ray above sea level \[m\], over an earth drawn with its bulge.
    pub ray_m: f64,
    /// Terrain, clutter and bulge together \[m\].
    pub obstacle_m: f64,
    /// Radius of the first Fresnel zone \[m\].
    pub zone_radius_m: f64,
}

impl Clearance {
    /// Room above the obstacle \[m\]; negative where it cuts the ray.
    pub fn room_m(&self) -> f64 {
        self.ray_m - self.obstacle_m
    }

    /// Room in radii of the first Fresnel zone \[-\]; above 0.6 diffraction is negligible (P.526-15 §2.2).
    pub fn zones(&self) -> f64 {
        self.room_m() / self.zone_radius_m
    }
}

/// Clearance at every point between the two ends, for antennas `transmitter_m` and `receiver_m` \[m\] above
/// the ground, `frequency_ghz` \[GHz\], and a refractivity lapse of `lapse_n_km` \[N-units/km\].
///
/// # Errors
/// The lapse, if it is outside [`crate::p1812::LAPSE`].
pub fn clearances<'a>(
    profile: &Profile<'a>,
    frequency_ghz: f64,
    [transmitter_m, receiver_m]: [f64; 2],
    lapse_n_km: f64,
) -> Result<impl Iterator<Item = Clearance> + use<'a>, Error> {
    let radius_km = effective_earth_radius_km(lapse_n_km)?;
    let length_km = profile.length_km();
    let start_m = profile.first_m() + transmitter_m;
    let slope = (profile.last_m() + receiver_m - start_m) / length_km;
    Ok(profile.between().enumerate().map(move |(at, ground)| {
        let far_km = length_km - ground.distance_km;
        Clearance {
            point: at + 1,
            distance_km: ground.distance_km,
            ray_m: start_m + slope * ground.distance_km,
            obstacle_m: ground.terrain_m
                + ground.clutter_m
                + earth_bulge_m(radius_km, ground.distance_km, far_km),
            zone_radius_m: zone_radius_m(1, frequency_ghz, ground.distance_km, far_km),
        }
    }))
}

/// The point with the least room in Fresnel radii: the obstacle that rules the path.
pub fn ruling(clearances: impl Iterator<Item = Clearance>) -> Option<Clearance> {
    clearances.min_by(|a, b| a.zones().total_cmp(&b.zones()))
}
