//! The skyline: what of the sky a ridge hides.

use design::quantity::Angle;

use super::transpose::cos_incidence;

/// Height of the skyline all around.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Skyline {
    /// Azimuth and height [°], ascending azimuths.
    points: Vec<(f64, f64)>,
}

impl Skyline {
    /// From heights at ascending azimuths in [0, 360); between them it runs straight, and around through north. No
    /// points are a free horizon.
    pub fn new(points: &[(Angle, Angle)]) -> Self {
        let degrees = |(azimuth, height): &(Angle, Angle)| (azimuth.degrees(), height.degrees());
        Self { points: points.iter().map(degrees).collect() }
    }

    /// Height at an azimuth [°].
    pub fn height_deg(&self, azimuth_deg: f64) -> f64 {
        let (Some(first), Some(last)) = (self.points.first(), self.points.last()) else { return 0.0 };
        let azimuth_deg = azimuth_deg.rem_euclid(360.0);
        let after = self.points.partition_point(|(azimuth, _)| *azimuth <= azimuth_deg);
        let before_north = (last.0 - 360.0, last.1);
        let after_north = (first.0 + 360.0, first.1);
        let from = after.checked_sub(1).and_then(|index| self.points.get(index)).unwrap_or(&before_north);
        let to = self.points.get(after).unwrap_or(&after_north);
        from.1 + (to.1 - from.1) * (azimuth_deg - from.0) / (to.0 - from.0)
    }

    /// Share of an even sky's light on a plane that the skyline lets through, 1 for a free horizon.
    pub fn open_share(&self, tilt_deg: f64, plane_azimuth_deg: f64) -> f64 {
        if self.points.is_empty() {
            return 1.0;
        }
        let (mut seen, mut all) = (0.0, 0.0);
        for sector in 0..360_u16 {
            let azimuth_deg = f64::from(sector) + 0.5;
            let height_deg = self.height_deg(azimuth_deg);
            for ring in 0..90_u16 {
                let from_deg = f64::from(ring);
                let zenith_deg = 89.5 - from_deg;
                let light = cos_incidence(zenith_deg, azimuth_deg, tilt_deg, plane_azimuth_deg).max(0.0)
                    * zenith_deg.to_radians().sin();
                all += light;
                seen += light * (from_deg + 1.0 - height_deg).clamp(0.0, 1.0);
            }
        }
        if all > 0.0 { seen / all } else { 0.0 }
    }
}
