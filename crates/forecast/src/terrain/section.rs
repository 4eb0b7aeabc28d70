#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a number of steps is positive and bounded"
)]

use design::quantity::Length;
use path::geodesic::{Line, Place};

use super::{GroundError, Terrain};

/// Fewest steps of a section: a short path still shows its hump in the middle.
const FEWEST_STEPS: f64 = 10.0;
/// Most steps: finer terrain than this resolves on a long path changes nothing that a prediction says.
const MOST_STEPS: f64 = 2000.0;

/// The ground from one place to another, at equal steps.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Section {
    /// From the first end \[km\], from 0.
    pub distance_km: Vec<f64>,
    /// Height of the ground \[m\].
    pub height_m: Vec<f64>,
    /// Where.
    pub places: Vec<Place>,
}

/// Number of equal steps over a length, for a wanted step; at least 10, at most 2000.
pub(crate) fn steps(length_m: f64, spacing_m: f64) -> usize {
    (length_m / spacing_m).ceil().clamp(FEWEST_STEPS, MOST_STEPS) as usize
}

pub(super) fn between(
    terrain: &Terrain,
    from: Place,
    to: Place,
    spacing: Length,
) -> Result<Section, GroundError> {
    let (line, length_m) = Line::between(from, to).map_err(|_nearly_antipodal| GroundError::Antipodal)?;
    let steps = steps(length_m, spacing.metres());
    let mut section = Section::default();
    for step in 0..=steps {
        let distance_m = length_m * step as f64 / steps as f64;
        let at = match step {
            0 => from,
            _ if step == steps => to,
            _ => line.at(distance_m),
        };
        let distance_km = distance_m / 1000.0;
        let height_m = terrain.height_m(at).ok_or_else(|| terrain.missing(at, distance_km))?;
        section.distance_km.push(distance_km);
        section.height_m.push(height_m);
        section.places.push(at);
    }
    Ok(section)
}
