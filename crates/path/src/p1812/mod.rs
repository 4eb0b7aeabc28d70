//! Path loss over a terrain profile by Rec. ITU-R P.1812-6, for 30 MHz to 6 GHz.
//!
//! Line of sight with multipath, diffraction (delta-Bullington), tropospheric scatter, ducting and layer
//! reflection, and the blending of the four; clutter as heights added to the terrain; location variability.
//! Not included: building entry loss (§4.9) and the alternative of Attachment 4.
//!
//! More antenna height can cost decibels: on rough ground the smooth surface of the diffraction model follows the
//! antenna (on a tile of the Appalachians by more than 0.3 dB on one path in two hundred, by 4 dB at worst). A
//! search for the least mast tries heights; it can't halve intervals.
//!
//! Equation numbers are those of the Recommendation's Annex 1; its Attachment 1 (profile analysis) is cited by
//! section, because the listings seen disagree on its equation numbers.
//!
//! # Example
//! ```
//! use path::p1812::{Climate, Link, Scratch, predict};
//! use path::{Polarisation, Profile};
//!
//! let distance_km: Vec<f64> = (0..=50).map(|step| 0.1 * f64::from(step)).collect();
//! let terrain_m: Vec<f64> = distance_km.iter().map(|d| 200.0 + 80.0 * (d * 1.3).sin()).collect();
//! let profile = Profile::new(&distance_km, &terrain_m, &[], &[])?;
//! let link = Link {
//!     frequency_ghz: 0.868,
//!     transmitter_m: 2.0,
//!     receiver_m: 15.0,
//!     polarisation: Polarisation::Vertical,
//!     time_percent: 50.0,
//!     climate: Climate { latitude_deg: 46.9, lapse_n_km: 45.0, refractivity_n: 325.0 },
//!     coast_km: [500.0, 500.0],
//! };
//! let prediction = predict(&link, &profile, &mut Scratch::default())?;
//! assert!(prediction.loss_db > prediction.free_space_db);
//! # Ok::<(), path::Error>(())
//! ```

mod diffraction;
mod ducting;
mod geometry;
mod location;
mod zones;

pub use diffraction::{DeltaBullington, Diffraction};
pub use geometry::{Geometry, Scratch};
pub use location::{location_loss_db, location_sigma_db};
pub use zones::Ducting;

use crate::{Error, Polarisation, Profile, Range, Zone};
use location::normal_deviate;

/// Frequency.
pub const FREQUENCY: Range = Range::new("frequency", "GHz", 0.03, 6.0);
/// Antenna height above the ground at either end.
pub const ANTENNA: Range = Range::new("antenna height", "m", 1.0, 3000.0);
/// Share of an average year in which the loss is not exceeded.
pub const TIME: Range = Range::new("time percentage", "%", 1.0, 50.0);
/// Share of locations in which the loss is not exceeded.
pub const LOCATIONS: Range = Range::new("location percentage", "%", 1.0, 99.0);
/// Latitude of the path's centre (from memory of the Recommendation's Table 1).
pub const LATITUDE: Range = Range::new("latitude", "deg", -80.0, 80.0);
/// Refractivity lapse DN (bounds of ours: above 157 the effective earth would be hollow).
pub const LAPSE: Range = Range::new("refractivity lapse", "N-units/km", 0.0, 150.0);
/// Sea-level surface refractivity N0 (bounds of ours, wider than any climate).
pub const REFRACTIVITY: Range = Range::new("surface refractivity", "N-units", 200.0, 500.0);
/// Distance over land to the coast (bounds of ours).
pub const COAST: Range = Range::new("distance to the coast", "km", 0.0, 20_000.0);

/// The air at the centre of the path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Climate {
    /// Latitude of the path's centre \[degrees north\].
    pub latitude_deg: f64,
    /// Mean fall of the radio refractivity in the lowest kilometre, DN \[N-units/km\], as a positive number.
    pub lapse_n_km: f64,
    /// Mean sea-level surface refractivity, N0 \[N-units\].
    pub refractivity_n: f64,
}

/// Everything about a link but the ground under it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Link {
    /// Frequency \[GHz\], [`FREQUENCY`].
    pub frequency_ghz: f64,
    /// Height of the transmitting antenna above the ground at the first profile point \[m\], [`ANTENNA`].
    pub transmitter_m: f64,
    /// Height of the receiving antenna above the ground at the last profile point \[m\], [`ANTENNA`].
    pub receiver_m: f64,
    /// Polarisation of both.
    pub polarisation: Polarisation,
    /// Share of an average year in which the loss is not exceeded \[%\], [`TIME`]; 50 is the median.
    pub time_percent: f64,
    /// The air.
    pub climate: Climate,
    /// Distance over land from transmitter and receiver to the coast along the path \[km\], [`COAST`]; used only
    /// below 5 km on paths that are three quarters sea. An end that stands in the sea zone counts as 0.
    pub coast_km: [f64; 2],
}

impl Link {
    fn check(&self) -> Result<(), Error> {
        FREQUENCY.check(self.frequency_ghz)?;
        ANTENNA.check(self.transmitter_m)?;
        ANTENNA.check(self.receiver_m)?;
        TIME.check(self.time_percent)?;
        LATITUDE.check(self.climate.latitude_deg)?;
        LAPSE.check(self.climate.lapse_n_km)?;
        REFRACTIVITY.check(self.climate.refractivity_n)?;
        self.coast_km.iter().try_for_each(|distance_km| COAST.check(*distance_km))
    }

    fn wavelength_m(&self) -> f64 {
        0.2998 / self.frequency_ghz // the rounded speed of light of the ITU-R P series
    }
}

/// Basic transmission loss of a path, and what it was made of. All losses in \[dB\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prediction {
    /// Basic transmission loss not exceeded for the asked share of time at half of the locations: the greater of
    /// `L_bc`, eq. (63), and the line-of-sight loss.
    pub loss_db: f64,
    /// `L_bc`, eq. (63).
    pub combined_db: f64,
    /// `L_bfs`, eq. (8).
    pub free_space_db: f64,
    /// `L_b0p`, eq. (10): line of sight with multipath and focusing at the asked share of time.
    pub line_of_sight_db: f64,
    /// `L_b0beta`, eq. (11): the same at beta0.
    pub line_of_sight_beta_db: f64,
    /// Diffraction, eqs. (12) to (41).
    pub diffraction: Diffraction,
    /// `L_bd50`, eq. (42).
    pub diffracted_median_db: f64,
    /// `L_bd`, eq. (43).
    pub diffracted_db: f64,
    /// `L_minb0p`, eq. (59).
    pub least_diffracted_db: f64,
    /// `L_ba`, eq. (46): ducting and layer reflection.
    pub ducted_db: f64,
    /// `L_minbap`, eq. (60).
    pub least_enhanced_db: f64,
    /// `L_bda`, eq. (61).
    pub diffracted_or_enhanced_db: f64,
    /// `L_bam`, eq. (62).
    pub modified_db: f64,
    /// `L_bs`, eq. (44): tropospheric scatter.
    pub scattered_db: f64,
    /// `F_j`, eq. (57) \[-\].
    pub angle_blend: f64,
    /// `F_k`, eq. (58) \[-\].
    pub distance_blend: f64,
    /// What the profile looks like to the model.
    pub geometry: Geometry,
    /// How prone to ducts the path is.
    pub ducting: Ducting,
}

impl Prediction {
    /// Basic transmission loss \[dB\] with `extra_db` \[dB\] of loss for the exact spot, from
    /// [`location_loss_db`] or drawn from a normal distribution; never below the line-of-sight loss.
    ///
    /// # References
    /// Rec. ITU-R P.1812-6, eq. (69).
    pub fn at_location_db(&self, extra_db: f64) -> f64 {
        (self.combined_db + extra_db).max(self.line_of_sight_db)
    }
}

/// Field strength \[dB(uV/m)\] that `radiated_kw` \[kW\] of effective radiated power cause over a loss of `loss_db`.
///
/// # References
/// Rec. ITU-R P.1812-6, eq. (70).
pub fn field_strength_dbuv_m(frequency_ghz: f64, loss_db: f64, radiated_kw: f64) -> f64 {
    199.36 + 20.0 * frequency_ghz.log10() - loss_db + 10.0 * radiated_kw.log10()
}

/// Median effective earth radius \[km\] for a refractivity lapse \[N-units/km\].
///
/// # Errors
/// A lapse outside [`LAPSE`].
///
/// # References
/// Rec. ITU-R P.1812-6, eqs. (6), (7a).
pub fn effective_earth_radius_km(lapse_n_km: f64) -> Result<f64, Error> {
    LAPSE.check(lapse_n_km)?;
    Ok(EARTH_KM * 157.0 / (157.0 - lapse_n_km))
}

const EARTH_KM: f64 = 6371.0;
/// Effective earth radius exceeded for beta0 of the time, eq. (7b).
const EARTH_BETA_KM: f64 = 3.0 * EARTH_KM;

/// Loss over `profile`. `scratch` is working memory to be kept from call to call: with it, nothing is allocated.
///
/// # Errors
/// An input of `link` outside its range.
///
/// # References
/// Rec. ITU-R P.1812-6, Annex 1.
pub fn predict(link: &Link, profile: &Profile, scratch: &mut Scratch) -> Result<Prediction, Error> {
    link.check()?;
    let earth_km = effective_earth_radius_km(link.climate.lapse_n_km)?;
    scratch.load(profile);
    let geometry = scratch.geometry(link, profile, earth_km);
    let ducting = zones::ducting(profile, link.climate.latitude_deg);
    let direct = line_of_sight(link, &geometry, ducting.beta0_percent);
    // F_i, eq. (40): how far between the median and beta0 the asked share of time lies.
    let time_blend = if link.time_percent > ducting.beta0_percent {
        normal_deviate(link.time_percent / 100.0) / normal_deviate(ducting.beta0_percent / 100.0)
    } else {
        1.0
    };
    let diffraction = diffraction::diffraction(link, scratch, &geometry, ducting.sea, earth_km, time_blend);
    let coast_km = coast_km(link, profile);
    let ducted_db = ducting::ducted_db(link, &geometry, &ducting, coast_km, earth_km);
    let scattered_db = scattered_db(link, &geometry);
    Ok(combine(link, geometry, ducting, direct, diffraction, ducted_db, scattered_db))
}

fn coast_km(link: &Link, profile: &Profile) -> [f64; 2] {
    let [transmitter_km, receiver_km] = link.coast_km;
    let zones = profile.zones();
    let at_sea = |zone: Option<&Zone>| zone == Some(&Zone::Sea);
    [
        if at_sea(zones.first()) { 0.0 } else { transmitter_km },
        if at_sea(zones.last()) { 0.0 } else { receiver_km },
    ]
}

#[derive(Clone, Copy)]
#[expect(clippy::struct_field_names, reason = "the postfix is the unit")]
struct LineOfSight {
    free_space_db: f64,
    at_time_db: f64,
    at_beta_db: f64,
}

/// §4.2, eqs. (8) to (11).
fn line_of_sight(link: &Link, geometry: &Geometry, beta0_percent: f64) -> LineOfSight {
    let slant_km = geometry.length_km.hypot((geometry.transmitter_m - geometry.receiver_m) / 1000.0);
    let free_space_db = 92.4 + 20.0 * link.frequency_ghz.log10() + 20.0 * slant_km.log10();
    let depth = 2.6 * (1.0 - (-0.1 * (geometry.transmitter_horizon_km + geometry.receiver_horizon_km)).exp());
    LineOfSight {
        free_space_db,
        at_time_db: free_space_db + depth * (link.time_percent / 50.0).log10(),
        at_beta_db: free_space_db + depth * (beta0_percent / 50.0).log10(),
    }
}

/// §4.4, eqs. (44), (45).
fn scattered_db(link: &Link, geometry: &Geometry) -> f64 {
    let frequency_term = 25.0 * link.frequency_ghz.log10() - 2.5 * (link.frequency_ghz / 2.0).log10().powi(2);
    190.1 + frequency_term + 20.0 * geometry.length_km.log10() + 0.573 * geometry.angular_distance_mrad
        - 0.15 * link.climate.refractivity_n
        - 10.125 * (50.0 / link.time_percent).log10().powf(0.7)
}

/// §4.6, eqs. (42), (43), (57) to (63).
fn combine(
    link: &Link,
    geometry: Geometry,
    ducting: Ducting,
    direct: LineOfSight,
    diffraction: Diffraction,
    ducted_db: f64,
    scattered_db: f64,
) -> Prediction {
    let angle_blend = 0.5 - 0.5 * (2.4 * (geometry.angular_distance_mrad - 0.3) / 0.3).tanh();
    let distance_blend = 0.5 - 0.5 * (1.5 * (geometry.length_km - 20.0) / 20.0).tanh();

    let diffracted_median_db = direct.free_space_db + diffraction.median.loss_db;
    let diffracted_db = direct.at_time_db + diffraction.loss_db;
    let over_land_db = (1.0 - ducting.sea) * diffraction.loss_db;
    let least_diffracted_db = if link.time_percent < ducting.beta0_percent {
        direct.at_time_db + over_land_db
    } else {
        diffracted_median_db
            + (direct.at_beta_db + over_land_db - diffracted_median_db) * diffraction.time_blend
    };
    let least_enhanced_db = soft_max(ducted_db, direct.at_time_db, 2.5);
    let diffracted_or_enhanced_db = if least_enhanced_db > diffracted_db {
        diffracted_db
    } else {
        least_enhanced_db + (diffracted_db - least_enhanced_db) * distance_blend
    };
    let modified_db =
        diffracted_or_enhanced_db + (least_diffracted_db - diffracted_or_enhanced_db) * angle_blend;
    let combined_db = -5.0 * (10f64.powf(-0.2 * scattered_db) + 10f64.powf(-0.2 * modified_db)).log10();
    Prediction {
        loss_db: combined_db.max(direct.at_time_db),
        combined_db,
        free_space_db: direct.free_space_db,
        line_of_sight_db: direct.at_time_db,
        line_of_sight_beta_db: direct.at_beta_db,
        diffraction,
        diffracted_median_db,
        diffracted_db,
        least_diffracted_db,
        ducted_db,
        least_enhanced_db,
        diffracted_or_enhanced_db,
        modified_db,
        scattered_db,
        angle_blend,
        distance_blend,
        geometry,
        ducting,
    }
}

/// eta ln(e^(a/eta) + e^(b/eta)), eq. (60), without overflow.
fn soft_max(a: f64, b: f64, eta: f64) -> f64 {
    a.max(b) + eta * (-(a - b).abs() / eta).exp().ln_1p()
}
