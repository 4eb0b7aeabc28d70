use super::Link;
use super::geometry::Geometry;
use super::zones::Ducting;

/// Loss \[dB\] by ducting and layer reflection, §4.5, eqs. (46) to (56).
pub(super) fn ducted_db(
    link: &Link,
    geometry: &Geometry,
    ducting: &Ducting,
    coast_km: [f64; 2],
    earth_km: f64,
) -> f64 {
    let [transmitter_coast_km, receiver_coast_km] = coast_km;
    let transmitter = Terminal {
        elevation_mrad: geometry.transmitter_elevation_mrad,
        horizon_km: geometry.transmitter_horizon_km,
        coast_km: transmitter_coast_km,
        height_m: geometry.transmitter_m,
    };
    let receiver = Terminal {
        elevation_mrad: geometry.receiver_elevation_mrad,
        horizon_km: geometry.receiver_horizon_km,
        coast_km: receiver_coast_km,
        height_m: geometry.receiver_m,
    };
    coupling_db(link.frequency_ghz, ducting.sea, &transmitter, &receiver)
        + angle_db(link.frequency_ghz, geometry.length_km, earth_km, &transmitter, &receiver)
        + time_db(link.time_percent, geometry.length_km, duct_percent(geometry, ducting, earth_km))
}

struct Terminal {
    elevation_mrad: f64,
    horizon_km: f64,
    coast_km: f64,
    height_m: f64,
}

impl Terminal {
    /// Site shielding, eqs. (48), (48a).
    fn shielding_db(&self, frequency_ghz: f64) -> f64 {
        let above_mrad = self.elevation_mrad - 0.1 * self.horizon_km;
        if above_mrad <= 0.0 {
            return 0.0;
        }
        20.0 * (1.0 + 0.361 * above_mrad * (frequency_ghz * self.horizon_km).sqrt()).log10()
            + 0.264 * above_mrad * frequency_ghz.cbrt()
    }

    /// Coupling into ducts over the sea, eq. (49).
    fn sea_coupling_db(&self, sea: f64) -> f64 {
        if sea < 0.75 || self.coast_km > 5.0 || self.coast_km > self.horizon_km {
            return 0.0;
        }
        -3.0 * (-0.25 * self.coast_km * self.coast_km).exp() * (1.0 + (0.07 * (50.0 - self.height_m)).tanh())
    }
}

/// Fixed losses between the antennas and the duct, eqs. (47), (47a).
fn coupling_db(frequency_ghz: f64, sea: f64, transmitter: &Terminal, receiver: &Terminal) -> f64 {
    let wide_duct_db = if frequency_ghz < 0.5 {
        45.375 - 137.0 * frequency_ghz + 92.5 * frequency_ghz * frequency_ghz
    } else {
        0.0
    };
    102.45
        + 20.0 * frequency_ghz.log10()
        + 20.0 * (transmitter.horizon_km + receiver.horizon_km).log10()
        + wide_duct_db
        + transmitter.shielding_db(frequency_ghz)
        + receiver.shielding_db(frequency_ghz)
        + transmitter.sea_coupling_db(sea)
        + receiver.sea_coupling_db(sea)
}

/// Loss along the duct by its angular length, eqs. (50) to (52).
fn angle_db(
    frequency_ghz: f64,
    length_km: f64,
    earth_km: f64,
    transmitter: &Terminal,
    receiver: &Terminal,
) -> f64 {
    let db_per_mrad = 5e-5 * earth_km * frequency_ghz.cbrt();
    let limited_mrad = |end: &Terminal| end.elevation_mrad.min(0.1 * end.horizon_km);
    db_per_mrad * (1000.0 * length_km / earth_km + limited_mrad(transmitter) + limited_mrad(receiver))
}

/// beta, eqs. (54) to (56a): the share of time \[%\] with ducts, for this path's shape and roughness.
fn duct_percent(geometry: &Geometry, ducting: &Ducting, earth_km: f64) -> f64 {
    let length_km = geometry.length_km;
    let exponent = (-0.6 - 3.5e-9 * length_km.powf(3.1) * ducting.inland).max(-3.4);
    let [transmitter_m, receiver_m] = geometry.effective_m;
    let heights = transmitter_m.sqrt() + receiver_m.sqrt();
    let mu2 = (500.0 / earth_km * (length_km / heights).powi(2)).powf(exponent).min(1.0);

    let between_km = (length_km - geometry.transmitter_horizon_km - geometry.receiver_horizon_km).min(40.0);
    let mu3 = if geometry.roughness_m > 10.0 {
        (-4.6e-5 * (geometry.roughness_m - 10.0) * (43.0 + 6.0 * between_km)).exp()
    } else {
        1.0
    };
    ducting.beta0_percent * mu2 * mu3
}

/// Loss along the duct by the share of time, eqs. (53), (53a).
fn time_db(time_percent: f64, length_km: f64, duct_percent: f64) -> f64 {
    let log_duct = duct_percent.log10();
    let gamma = 1.076 / (2.0058 - log_duct).powf(1.012)
        * (-(9.51 - 4.8 * log_duct + 0.198 * log_duct * log_duct) * 1e-6 * length_km.powf(1.13)).exp();
    let rarity = time_percent / duct_percent;
    -12.0 + (1.2 + 3.7e-3 * length_km) * rarity.log10() + 12.0 * rarity.powf(gamma)
}

#[cfg(test)]
mod tests {
    use super::Terminal;

    /// By hand: eq. (49) at the water's edge, 50 m up: -3 e^0 (1 + tanh 0). No validation profile reaches it.
    #[test]
    fn ducts_over_the_sea_couple_only_to_ends_near_it() {
        let end = |coast_km| Terminal { elevation_mrad: 0.0, horizon_km: 4.0, coast_km, height_m: 50.0 };
        assert!((end(0.0).sea_coupling_db(0.75) + 3.0).abs() < 1e-12);
        for (coast_km, sea) in [(0.0, 0.74), (4.5, 0.9), (5.5, 0.9)] {
            assert!(end(coast_km).sea_coupling_db(sea).abs() < 1e-12);
        }
    }
}
