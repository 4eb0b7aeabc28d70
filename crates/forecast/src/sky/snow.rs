//! Snow on a panel.

use design::quantity::Angle;

/// Snowfall in an hour above which a panel is wholly covered [cm].
const COVERING_SNOWFALL_CM: f64 = 1.0;
/// Snow slides where the air is warmer than the irradiance over this [W/m²K].
const SLIDES_ABOVE_W_M2_K: f64 = -80.0;
/// Share of the height that slides off a vertical panel in an hour.
const SLIDE_PER_HOUR: f64 = 0.197;
/// Hours fit for sliding in the spell during which snow lies on a flat panel: three days of eight (own choice, no
/// source).
const SPELL_SLIDING_H: f64 = 24.0;

/// Share of a panel's height under snow after an hour, from the share before it.
///
/// # References
/// Marion, Schaefer, Caine & Sanchez 2013, *Solar Energy* 97, 112-121; Ryberg & Freeman 2017, NREL/TP-6A20-68705.
pub fn covered_after_hour(
    covered_before: f64,
    snowfall_cm: f64,
    in_plane_w_m2: f64,
    air_celsius: f64,
    tilt_deg: f64,
) -> f64 {
    if snowfall_cm > COVERING_SNOWFALL_CM {
        1.0
    } else if air_celsius > in_plane_w_m2 / SLIDES_ABOVE_W_M2_K {
        (covered_before - slide_per_hour(tilt_deg)).max(0.0)
    } else {
        covered_before
    }
}

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
