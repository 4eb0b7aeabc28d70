use super::Link;
use crate::Profile;

/// What a profile looks like to the model: horizons, smooth surfaces, roughness.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Geometry {
    /// Length of the path \[km\].
    pub length_km: f64,
    /// Transmitting antenna above sea level, `h_ts` \[m\].
    pub transmitter_m: f64,
    /// Receiving antenna above sea level, `h_rs` \[m\].
    pub receiver_m: f64,
    /// The terrain hides the ends from each other.
    pub beyond_horizon: bool,
    /// Distance from the transmitter to its horizon (in sight of each other: to the ruling point), `d_lt` \[km\].
    pub transmitter_horizon_km: f64,
    /// Distance from the receiver to its horizon (in sight: to the ruling point), `d_lr` \[km\].
    pub receiver_horizon_km: f64,
    /// Elevation of the transmitter's horizon, `theta_t` \[mrad\].
    pub transmitter_elevation_mrad: f64,
    /// Elevation of the receiver's horizon, `theta_r` \[mrad\].
    pub receiver_elevation_mrad: f64,
    /// Angular distance of the path, theta \[mrad\].
    pub angular_distance_mrad: f64,
    /// Smooth-earth surface under transmitter and receiver, `h_st`, `h_sr` \[m\] above sea level.
    pub smooth_m: [f64; 2],
    /// The same as the diffraction model takes it, `h_std`, `h_srd`.
    pub diffraction_smooth_m: [f64; 2],
    /// Antennas above the smooth surface as the ducting model takes them, `h_te`, `h_re` \[m\].
    pub effective_m: [f64; 2],
    /// Terrain roughness between the horizons, `h_m` \[m\].
    pub roughness_m: f64,
}

/// Working memory of [`predict`](super::predict), to be kept from path to path.
#[derive(Debug, Clone, Default)]
pub struct Scratch {
    points: Vec<Point>,
}

/// A point between the ends, with all that depends on its distance alone.
#[derive(Debug, Clone, Copy)]
struct Point {
    distance_km: f64,
    terrain_m: f64,
    covered_m: f64,
    /// 1 / distance from the transmitter \[1/km\].
    per_near: f64,
    /// 1 / distance from the receiver \[1/km\].
    per_far: f64,
    /// 500 d (D - d): bulge \[m\] over curvature \[1/km\].
    bulge: f64,
}

impl Point {
    /// 1 / sqrt(d (D - d)) \[1/km\].
    fn root(&self) -> f64 {
        (self.per_near * self.per_far).sqrt()
    }
}

/// The two antennas \[m\] and the path between them \[km\].
#[derive(Debug, Clone, Copy)]
pub(super) struct Ends {
    pub(super) transmitter_m: f64,
    pub(super) receiver_m: f64,
    pub(super) length_km: f64,
}

impl Ends {
    /// Slope from transmitter to receiver, eq. (14) \[m/km\].
    pub(super) fn slope(&self) -> f64 {
        (self.receiver_m - self.transmitter_m) / self.length_km
    }
}

/// What an antenna sees of the other over a surface.
#[derive(Debug, Clone, Copy)]
pub(super) enum Sight {
    /// Nothing rises above the direct line.
    Clear {
        /// Least room under it, over sqrt(d (D - d)), as a negative number: eq. (15) without its constant \[m/km\].
        excess: f64,
    },
    /// Something hides the ends from each other.
    Blocked {
        /// Steepest slope from the transmitter, `S_tim`, eq. (13) \[m/km\].
        transmitter_slope: f64,
        /// Steepest slope from the receiver, `S_rim`, eq. (17) \[m/km\].
        receiver_slope: f64,
    },
}

impl Scratch {
    pub(super) fn load(&mut self, profile: &Profile) {
        let length_km = profile.length_km();
        self.points.clear();
        self.points.extend(profile.between().map(|ground| {
            let far_km = length_km - ground.distance_km;
            let per_near = 1.0 / ground.distance_km;
            let per_far = 1.0 / far_km;
            Point {
                distance_km: ground.distance_km,
                terrain_m: ground.terrain_m,
                covered_m: ground.terrain_m + ground.clutter_m,
                per_near,
                per_far,
                bulge: 500.0 * ground.distance_km * far_km,
            }
        }));
    }

    /// Least distance of a point from the transmitter, and greatest \[km\].
    pub(super) fn span_km(&self) -> [f64; 2] {
        let distance_km = |point: Option<&Point>| point.map_or(f64::NAN, |point| point.distance_km);
        [distance_km(self.points.first()), distance_km(self.points.last())]
    }

    /// Over the terrain with its clutter.
    pub(super) fn sight(&self, ends: Ends, earth_km: f64) -> Sight {
        let curvature = 1.0 / earth_km;
        let raised_m = |point: &Point| point.covered_m + curvature * point.bulge;
        let (mut transmitter_slope, mut receiver_slope) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
        for point in &self.points {
            let raised_m = raised_m(point);
            transmitter_slope = greater(transmitter_slope, (raised_m - ends.transmitter_m) * point.per_near);
            receiver_slope = greater(receiver_slope, (raised_m - ends.receiver_m) * point.per_far);
        }
        self.sight_with(transmitter_slope, receiver_slope, ends, raised_m)
    }

    /// Over smooth ground at height 0. From either end its bulge rises to one highest elevation and falls again, so
    /// that the steepest point is one of the two beside it.
    pub(super) fn sight_over_smooth_ground(&self, ends: Ends, earth_km: f64) -> Sight {
        let curvature = 1.0 / earth_km;
        let raised_m = |point: &Point| curvature * point.bulge;
        let highest_km = |antenna_m: f64| (antenna_m.max(0.0) * earth_km / 500.0).sqrt();
        let beside = |at_km: f64| {
            let next = self.points.partition_point(|point| point.distance_km < at_km);
            let beside = next.saturating_sub(1)..(next + 1).min(self.points.len());
            self.points.get(beside).unwrap_or_default()
        };
        let transmitter_slope = beside(highest_km(ends.transmitter_m))
            .iter()
            .map(|point| (raised_m(point) - ends.transmitter_m) * point.per_near)
            .fold(f64::NEG_INFINITY, greater);
        let receiver_slope = beside(ends.length_km - highest_km(ends.receiver_m))
            .iter()
            .map(|point| (raised_m(point) - ends.receiver_m) * point.per_far)
            .fold(f64::NEG_INFINITY, greater);
        self.sight_with(transmitter_slope, receiver_slope, ends, raised_m)
    }

    fn sight_with(
        &self,
        transmitter_slope: f64,
        receiver_slope: f64,
        ends: Ends,
        raised_m: impl Fn(&Point) -> f64,
    ) -> Sight {
        let slope = ends.slope();
        if transmitter_slope > slope {
            return Sight::Blocked { transmitter_slope, receiver_slope };
        }
        let excess =
            |point: &Point| (raised_m(point) - ends.transmitter_m - slope * point.distance_km) * point.root();
        Sight::Clear { excess: self.points.iter().map(excess).fold(f64::NEG_INFINITY, greater) }
    }

    /// Attachment 1 to Annex 1.
    pub(super) fn geometry(&self, link: &Link, profile: &Profile, earth_km: f64) -> Geometry {
        let ground_m = [profile.first_m(), profile.last_m()];
        let ends = Ends {
            transmitter_m: profile.first_m() + link.transmitter_m,
            receiver_m: profile.last_m() + link.receiver_m,
            length_km: profile.length_km(),
        };
        let smooth_m = smooth_surface(profile);
        let under_m = least_each(smooth_m, ground_m);
        let horizons = self.horizons(ends, earth_km);
        let elevation_mrad = |slope: f64| 1000.0 * (slope / 1000.0 - 0.5 * ends.length_km / earth_km).atan();
        let transmitter_elevation_mrad = elevation_mrad(horizons.transmitter_slope);
        let receiver_elevation_mrad = elevation_mrad(horizons.receiver_slope);
        let [transmitter_km, receiver_km] = horizons.distance_km;
        Geometry {
            length_km: ends.length_km,
            transmitter_m: ends.transmitter_m,
            receiver_m: ends.receiver_m,
            beyond_horizon: horizons.beyond,
            transmitter_horizon_km: transmitter_km,
            receiver_horizon_km: ends.length_km - receiver_km,
            transmitter_elevation_mrad,
            receiver_elevation_mrad,
            angular_distance_mrad: 1000.0 * ends.length_km / earth_km
                + transmitter_elevation_mrad
                + receiver_elevation_mrad,
            smooth_m,
            diffraction_smooth_m: least_each(self.lowered(smooth_m, ends), ground_m),
            effective_m: [ends.transmitter_m - under_m[0], ends.receiver_m - under_m[1]],
            roughness_m: self.roughness(horizons.distance_km, under_m, ends.length_km),
        }
    }

    /// Attachment 1 §5.1 to §5.5. Elevations are compared as slopes over the bulging earth: 500 D/ae apart, and
    /// the arc tangent keeps their order.
    fn horizons(&self, ends: Ends, earth_km: f64) -> Horizons {
        let curvature = 1.0 / earth_km;
        let slope = ends.slope();
        let [mut transmitter_slope, mut receiver_slope] = [f64::NEG_INFINITY; 2];
        let [mut transmitter_km, mut receiver_km] = [f64::NAN; 2];
        for point in &self.points {
            let raised_m = point.terrain_m + curvature * point.bulge;
            let from_transmitter = (raised_m - ends.transmitter_m) * point.per_near;
            if from_transmitter > transmitter_slope {
                (transmitter_slope, transmitter_km) = (from_transmitter, point.distance_km);
            }
            let from_receiver = (raised_m - ends.receiver_m) * point.per_far;
            if from_receiver >= receiver_slope {
                (receiver_slope, receiver_km) = (from_receiver, point.distance_km);
            }
        }
        if transmitter_slope > slope {
            let distance_km = [transmitter_km, receiver_km];
            return Horizons { beyond: true, distance_km, transmitter_slope, receiver_slope };
        }
        let distance_km = [self.ruling_km(ends, curvature); 2];
        Horizons { beyond: false, distance_km, transmitter_slope: slope, receiver_slope: -slope }
    }

    /// Distance of the point that comes nearest to a direct line in sight, Attachment 1 §5.4.
    fn ruling_km(&self, ends: Ends, curvature: f64) -> f64 {
        let slope = ends.slope();
        let (mut most, mut ruling_km) = (f64::NEG_INFINITY, f64::NAN);
        for point in &self.points {
            let raised_m = point.terrain_m + curvature * point.bulge;
            let excess = (raised_m - ends.transmitter_m - slope * point.distance_km) * point.root();
            if excess >= most {
                (most, ruling_km) = (excess, point.distance_km);
            }
        }
        ruling_km
    }

    /// Attachment 1 §5.6.2: the smooth surface, lowered where the terrain rises above the direct line.
    fn lowered(&self, smooth_m: [f64; 2], ends: Ends) -> [f64; 2] {
        let slope = ends.slope();
        let [mut highest_m, mut near, mut far] = [f64::NEG_INFINITY; 3];
        for point in &self.points {
            let above_m = point.terrain_m - ends.transmitter_m - slope * point.distance_km;
            highest_m = greater(highest_m, above_m);
            near = greater(near, above_m * point.per_near);
            far = greater(far, above_m * point.per_far);
        }
        if highest_m <= 0.0 {
            return smooth_m;
        }
        let [transmitter_m, receiver_m] = smooth_m;
        let share = highest_m / (near + far);
        [transmitter_m - share * near, receiver_m - share * far]
    }

    /// Attachment 1 §5.6.3: greatest height above the smooth surface between the horizons.
    fn roughness(&self, [from_km, to_km]: [f64; 2], [start_m, end_m]: [f64; 2], length_km: f64) -> f64 {
        let slope = (end_m - start_m) / length_km;
        self.points
            .iter()
            .skip_while(|point| point.distance_km < from_km)
            .take_while(|point| point.distance_km <= to_km)
            .fold(f64::NEG_INFINITY, |most, point| {
                greater(most, point.terrain_m - (start_m + slope * point.distance_km))
            })
    }
}

struct Horizons {
    beyond: bool,
    /// Both from the transmitter.
    distance_km: [f64; 2],
    transmitter_slope: f64,
    receiver_slope: f64,
}

/// Attachment 1 §5.6.1: the straight line that fits the terrain best, at both ends.
fn smooth_surface(profile: &Profile) -> [f64; 2] {
    let mut points = profile.distance_and_terrain();
    let (mut before_km, mut before_m) = points.next().unwrap_or((f64::NAN, f64::NAN));
    let (mut area, mut moment) = (0.0, 0.0);
    for (distance_km, terrain_m) in points {
        let step_km = distance_km - before_km;
        area += step_km * (terrain_m + before_m);
        moment += step_km
            * (terrain_m * (2.0 * distance_km + before_km) + before_m * (distance_km + 2.0 * before_km));
        (before_km, before_m) = (distance_km, terrain_m);
    }
    let length_km = profile.length_km();
    let square = length_km * length_km;
    [(2.0 * area * length_km - moment) / square, (moment - area * length_km) / square]
}

fn least_each(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0].min(b[0]), a[1].min(b[1])]
}

/// The greater of two numbers: one machine instruction, where `f64::max` also minds NaN (a profile has none).
fn greater(a: f64, b: f64) -> f64 {
    if b > a { b } else { a }
}
