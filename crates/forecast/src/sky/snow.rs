//! Snow on a panel.

use design::quantity::Angle;

/// Share of the height that slides off a vertical panel in an hour.
///
/// # References
/// Marion, Schaefer, Caine & Sanchez 2013, *Solar Energy* 97, 112-121; Ryberg & Freeman 2017, NREL/TP-6A20-68705.
const SLIDE_PER_HOUR: f64 = 0.197;
/// Hours fit for sliding in the spell during which snow lies on a flat panel: three days of eight (own choice, no
/// source).
const SPELL_SLIDING_H: f64 = 24.0;

fn slide_per_hour(tilt_deg: f64) -> f64 {
    SLIDE_PER_HOUR * tilt_deg.to_radians().sin()
}

/// Days on which snow lies on a plane, of those on which it lies on a flat panel.
///
/// A guess to be said as one: less snow falls on a steep plane (cosine of the tilt), and it lies for the hours it
/// takes to slide off by Marion's rate instead of the whole spell. 60° leaves one day in eight, 90° none.
pub fn days_on_tilted(days_on_flat: f64, tilt: Angle) -> f64 {
    let caught = tilt.degrees().to_radians().cos().max(0.0);
    let lying_h = 1.0 / slide_per_hour(tilt.degrees()).max(1e-9);
    days_on_flat * caught * (lying_h / SPELL_SLIDING_H).min(1.0)
}
