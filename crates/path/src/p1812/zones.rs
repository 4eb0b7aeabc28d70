use crate::{Profile, Zone};

/// How prone to ducts the path is: from its zones and its latitude.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ducting {
    /// Share of the path over sea, omega \[-\].
    pub sea: f64,
    /// Longest stretch over land, inland or coastal, `d_tm` \[km\].
    pub longest_land_km: f64,
    /// Longest stretch over inland ground, `d_lm` \[km\].
    pub longest_inland_km: f64,
    /// Share of time with a lapse above 100 N-units/km in the lowest 100 m, beta0, eq. (5) \[%\].
    pub beta0_percent: f64,
    /// tau, eq. (3) \[-\].
    pub(super) inland: f64,
}

/// §3.6, eqs. (2) to (5).
pub(super) fn ducting(profile: &Profile, latitude_deg: f64) -> Ducting {
    let [sea_km, longest_land_km, longest_inland_km] = stretches_km(profile);
    let inland = 1.0 - (-4.12e-4 * longest_inland_km.powf(2.41)).exp();
    let distance_term = 10f64.powf(-longest_land_km / (16.0 - 6.6 * inland));
    let floor_term = 10f64.powf(-5.0 * (0.496 + 0.354 * inland));
    let mu1 = (distance_term + floor_term).powf(0.2).min(1.0);
    let latitude_deg = latitude_deg.abs();
    let beta0_percent = if latitude_deg <= 70.0 {
        10f64.powf(-0.015 * latitude_deg + 1.67) * mu1 * mu1.powf(-0.935 + 0.0176 * latitude_deg)
    } else {
        4.17 * mu1 * mu1.powf(0.3)
    };
    let sea = sea_km / profile.length_km();
    Ducting { sea, longest_land_km, longest_inland_km, beta0_percent, inland }
}

/// Length over sea, longest stretch over land, longest stretch over inland ground. Each point stands for the
/// path up to half-way to its neighbours.
fn stretches_km(profile: &Profile) -> [f64; 3] {
    let length_km = profile.length_km();
    if profile.zones().is_empty() {
        return [0.0, length_km, length_km];
    }
    let mut sea_km = 0.0;
    let mut land = Run::default();
    let mut inland = Run::default();
    let distances = profile.distances_km();
    let next = distances.iter().skip(1).chain(distances.last());
    let mut from_km = 0.0;
    for ((&distance_km, &next_km), &zone) in distances.iter().zip(next).zip(profile.zones()) {
        let until_km = f64::midpoint(distance_km, next_km);
        let share_km = until_km - from_km;
        from_km = until_km;
        if zone == Zone::Sea {
            sea_km += share_km;
        }
        land.add(share_km, zone != Zone::Sea);
        inland.add(share_km, zone == Zone::Inland);
    }
    [sea_km, land.longest_km, inland.longest_km]
}

#[derive(Default)]
struct Run {
    current_km: f64,
    longest_km: f64,
}

impl Run {
    fn add(&mut self, share_km: f64, belongs: bool) {
        self.current_km = if belongs { self.current_km + share_km } else { 0.0 };
        self.longest_km = self.longest_km.max(self.current_km);
    }
}

#[cfg(test)]
mod tests {
    use super::{ducting, stretches_km};
    use crate::{Profile, Zone};

    /// By hand: points at 0, 2, 3, 5, 6, 10 km own 0-1, 1-2.5, 2.5-4, 4-5.5, 5.5-8, 8-10 km.
    #[test]
    #[expect(clippy::float_cmp, reason = "halves are exact")]
    fn each_point_owns_the_path_half_way_to_its_neighbours() {
        use Zone::{Coastal, Inland, Sea};
        let distance_km = [0.0, 2.0, 3.0, 5.0, 6.0, 10.0];
        let stretches = |zones: &[Zone; 6]| {
            let profile = Profile::new(&distance_km, &[0.0; 6], &[], zones).expect("a valid profile");
            stretches_km(&profile)
        };
        assert_eq!(stretches(&[Inland, Inland, Coastal, Sea, Coastal, Inland]), [1.5, 4.5, 2.5]);
        assert_eq!(stretches(&[Sea, Sea, Inland, Inland, Sea, Sea]), [7.0, 3.0, 3.0]);
        assert_eq!(stretches(&[Inland; 6]), [0.0, 10.0, 10.0]);
    }

    /// Eqs. (4), (5) have one form up to 70 degrees and one beyond, with constants rounded to three digits.
    #[test]
    fn the_two_forms_of_beta0_meet_at_seventy_degrees() {
        let profile = Profile::new(&[0.0, 2.0, 3.0, 5.0, 6.0], &[0.0; 5], &[], &[]).expect("a valid profile");
        let below = ducting(&profile, 70.0).beta0_percent;
        let beyond = ducting(&profile, -70.001).beta0_percent;
        assert!((below / beyond - 1.0).abs() < 0.005, "{below} % and {beyond} %");
    }
}
