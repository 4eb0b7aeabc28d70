//! Whether a panel faces the half of the sky in which the sun stands at noon.

use super::Resolver;
use crate::diagnostic;
use crate::node::{MountedPanel, Site};

/// Between the tropics the sun stands on either side at noon.
const TROPIC_DEG: f64 = 23.44;
/// A flatter panel sees the sun whatever it faces (own choice).
const FLAT_DEG: f64 = 10.0;

impl Resolver<'_> {
    /// Warns of a steep panel that turns its back to the sun.
    pub(super) fn check_panel_place(&mut self, site: &Site, panel: &MountedPanel) {
        let (latitude, tilt) = (site.latitude.degrees(), panel.tilt.degrees());
        let Some(azimuth) = panel.azimuth.filter(|_| latitude.abs() > TROPIC_DEG && tilt > FLAT_DEG) else {
            return;
        };
        let (side, equator_deg) = if latitude > 0.0 { ("south", 180.0) } else { ("north", 0.0) };
        let away = (azimuth.degrees() - equator_deg + 180.0).rem_euclid(360.0) - 180.0;
        if away.abs() > 90.0 {
            let message = format!(
                "the panel faces {:.0} deg, away from the sun, which stands in the {side} at noon there",
                azimuth.degrees()
            );
            let help = format!("turn it to `azimuth = \"{equator_deg:.0} deg\"`, or lay it flat");
            self.found.warning(diagnostic::PANEL_AWAY, &self.file.span_of("panel.azimuth"), message, help);
        }
    }
}
