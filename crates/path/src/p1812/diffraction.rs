use super::geometry::{Ends, Geometry, Scratch, Sight};
use super::{EARTH_BETA_KM, Link};
use crate::{Ground, Polarisation, knife_edge_db};

/// Diffraction loss over the path. All losses in \[dB\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Diffraction {
    /// `L_dp`, eq. (41): not exceeded for the asked share of time.
    pub loss_db: f64,
    /// Through the median effective earth, eq. (7a).
    pub median: DeltaBullington,
    /// Through the effective earth exceeded for beta0 of the time, eq. (7b); the median has no need of it.
    pub beta: Option<DeltaBullington>,
    /// `F_i`, eq. (40) \[-\].
    pub time_blend: f64,
}

/// One delta-Bullington calculation, §4.3.4. All losses in \[dB\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DeltaBullington {
    /// `L_d`, eq. (39).
    pub loss_db: f64,
    /// `L_bulla`, eq. (21), over the terrain with its clutter.
    pub actual_db: f64,
    /// `L_bulls`, eq. (21), over smooth ground.
    pub smooth_db: f64,
    /// `L_dsph`, eq. (27), around the sphere.
    pub spherical_db: f64,
}

/// §4.3.5.
pub(super) fn diffraction(
    link: &Link,
    scratch: &Scratch,
    geometry: &Geometry,
    sea: f64,
    earth_km: f64,
    time_blend: f64,
) -> Diffraction {
    let median = delta_bullington(link, scratch, geometry, sea, earth_km);
    // At 50 % the median is meant exactly; the approximated F_i is not quite 0 there.
    if link.time_percent >= 50.0 {
        return Diffraction { loss_db: median.loss_db, median, beta: None, time_blend };
    }
    let beta = delta_bullington(link, scratch, geometry, sea, EARTH_BETA_KM);
    let loss_db = median.loss_db + time_blend * (beta.loss_db - median.loss_db);
    Diffraction { loss_db, median, beta: Some(beta), time_blend }
}

/// §4.3.4.
fn delta_bullington(
    link: &Link,
    scratch: &Scratch,
    geometry: &Geometry,
    sea: f64,
    earth_km: f64,
) -> DeltaBullington {
    let length_km = geometry.length_km;
    let [smooth_transmitter_m, smooth_receiver_m] = geometry.diffraction_smooth_m;
    let actual = Ends { transmitter_m: geometry.transmitter_m, receiver_m: geometry.receiver_m, length_km };
    let smooth = Ends {
        transmitter_m: geometry.transmitter_m - smooth_transmitter_m,
        receiver_m: geometry.receiver_m - smooth_receiver_m,
        length_km,
    };
    let wavelength_m = link.wavelength_m();
    let span_km = scratch.span_km();
    let actual_db = bullington_db(scratch.sight(actual, earth_km), actual, span_km, wavelength_m);
    let over_smooth = scratch.sight_over_smooth_ground(smooth, earth_km);
    let smooth_db = bullington_db(over_smooth, smooth, span_km, wavelength_m);
    let spherical_db = spherical_db(link, smooth, sea, earth_km);
    DeltaBullington {
        loss_db: actual_db + (spherical_db - smooth_db).max(0.0),
        actual_db,
        smooth_db,
        spherical_db,
    }
}

/// §4.3.1, eqs. (13) to (21).
///
/// A line that just grazes an obstacle counts as in sight: both branches give nu = 0 there, but the other divides
/// 0 by 0. Close to it the Bullington point is ill-conditioned, so it is kept between the profile's points.
fn bullington_db(sight: Sight, ends: Ends, [least_km, greatest_km]: [f64; 2], wavelength_m: f64) -> f64 {
    let length_km = ends.length_km;
    let direct_slope = ends.slope();
    let excess = match sight {
        Sight::Clear { excess } => excess,
        Sight::Blocked { transmitter_slope, receiver_slope } => {
            let apart_m = ends.receiver_m - ends.transmitter_m + receiver_slope * length_km;
            let near_km = (apart_m / (transmitter_slope + receiver_slope)).clamp(least_km, greatest_km);
            let above_line_m = (transmitter_slope - direct_slope) * near_km;
            above_line_m / (near_km * (length_km - near_km)).sqrt()
        }
    };
    let edge_db = knife_edge_db(excess * (0.002 * length_km / wavelength_m).sqrt());
    edge_db + (1.0 - (-edge_db / 6.0).exp()) * (10.0 + 0.02 * length_km)
}

/// §4.3.2, eqs. (22) to (27): loss around a smooth sphere, for antennas that high above it.
fn spherical_db(link: &Link, ends: Ends, sea: f64, earth_km: f64) -> f64 {
    let Ends { transmitter_m, receiver_m, length_km } = ends;
    let horizon_km = (2.0 * earth_km).sqrt() * ((0.001 * transmitter_m).sqrt() + (0.001 * receiver_m).sqrt());
    if length_km >= horizon_km {
        return first_term_db(link, ends, sea, earth_km);
    }
    let sum_m = transmitter_m + receiver_m;
    let c = (transmitter_m - receiver_m) / sum_m;
    let m = 250.0 * length_km * length_km / (earth_km * sum_m);
    let angle = (1.5 * c * (3.0 * m / (m + 1.0).powi(3)).sqrt()).acos();
    let b = 2.0 * ((m + 1.0) / (3.0 * m)).sqrt() * (std::f64::consts::FRAC_PI_3 + angle / 3.0).cos();
    let near_km = 0.5 * length_km * (1.0 + b);
    let far_km = length_km - near_km;

    let room_m = ((transmitter_m - 500.0 * near_km * near_km / earth_km) * far_km
        + (receiver_m - 500.0 * far_km * far_km / earth_km) * near_km)
        / length_km;
    let needed_m = 17.456 * (near_km * far_km * link.wavelength_m() / length_km).sqrt();
    if room_m > needed_m {
        return 0.0;
    }
    let grazing_earth_km = 500.0 * (length_km / (transmitter_m.sqrt() + receiver_m.sqrt())).powi(2);
    (1.0 - room_m / needed_m) * first_term_db(link, ends, sea, grazing_earth_km).max(0.0)
}

/// §4.3.3, eq. (28): the first term of the series, over land and sea in their shares.
fn first_term_db(link: &Link, ends: Ends, sea: f64, earth_km: f64) -> f64 {
    let over = |ground| first_term_over_db(link, ends, ground, earth_km);
    if sea <= 0.0 {
        return over(Ground::LAND);
    }
    sea * over(Ground::SEA) + (1.0 - sea) * over(Ground::LAND)
}

/// §4.3.3, eqs. (29) to (36).
fn first_term_over_db(link: &Link, ends: Ends, ground: Ground, earth_km: f64) -> f64 {
    let frequency_ghz = link.frequency_ghz;
    let permittivity = ground.permittivity;
    let loss = 18.0 * ground.conductivity_s_m / frequency_ghz;
    let horizontal =
        0.036 * (earth_km * frequency_ghz).cbrt().recip() / (permittivity - 1.0).hypot(loss).sqrt();
    let admittance = match link.polarisation {
        Polarisation::Horizontal => horizontal,
        Polarisation::Vertical => horizontal * permittivity.hypot(loss),
    };
    let square = admittance * admittance;
    let beta = (1.0 + 1.6 * square + 0.67 * square * square) / (1.0 + 4.5 * square + 1.53 * square * square);

    let x = 21.88 * beta * (frequency_ghz / (earth_km * earth_km)).cbrt() * ends.length_km;
    let distance_db = if x >= 1.6 {
        11.0 + 10.0 * x.log10() - 17.6 * x
    } else {
        -20.0 * x.log10() - 5.6488 * x.powf(1.425)
    };
    let per_height = 0.9575 * beta * beta * (frequency_ghz * frequency_ghz / earth_km).cbrt();
    let floor_db = 2.0 + 20.0 * admittance.log10();
    let height_db = |antenna_m: f64| height_gain_db(per_height * antenna_m).max(floor_db);
    -distance_db - height_db(ends.transmitter_m) - height_db(ends.receiver_m)
}

/// Eqs. (34), (35).
fn height_gain_db(b: f64) -> f64 {
    if b > 2.0 {
        17.6 * (b - 1.1).sqrt() - 5.0 * (b - 1.1).log10() - 8.0
    } else {
        20.0 * (b + 0.1 * b.powi(3)).log10()
    }
}
