//! Loss of an antenna that stands among or behind clutter, where no terrain profile is at hand.

use crate::{Error, Range, knife_edge_db};

/// Frequencies of the height-gain model.
pub const FREQUENCY: Range = Range::new("frequency", "GHz", 0.03, 3.0);
/// Antenna height above ground (bounds of ours: the formula for open ground diverges towards 0).
pub const ANTENNA: Range = Range::new("antenna height", "m", 0.1, 3000.0);
/// Representative clutter height (bounds of ours).
pub const CLUTTER: Range = Range::new("clutter height", "m", 0.1, 1000.0);
/// Street width; the Recommendation suggests 27 m where it is unknown.
pub const STREET: Range = Range::new("street width", "m", 1.0, 1000.0);

/// What surrounds the antenna.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Surroundings {
    /// Water or sea.
    Water,
    /// Open or rural ground.
    Open,
    /// Suburban.
    Suburban,
    /// Urban.
    Urban,
    /// Trees or forest.
    Forest,
    /// Dense urban.
    DenseUrban,
}

/// Median loss \[dB\] of an antenna `antenna_m` \[m\] above the ground among
/// clutter of height `clutter_m` \[m\] at `frequency_ghz` \[GHz\]; 0 if the antenna stands above it.
///
/// `street_m` \[m\] is the width of the street or clearing; open ground and water don't use it.
///
/// # Errors
/// An input outside [`FREQUENCY`], [`ANTENNA`], [`CLUTTER`] or [`STREET`].
///
/// # References
/// Rec. ITU-R P.2108-1 §3.1, the height-gain terminal correction model.
pub fn height_gain_db(
    frequency_ghz: f64,
    antenna_m: f64,
    surroundings: Surroundings,
    clutter_m: f64,
    street_m: f64,
) -> Result<f64, Error> {
    FREQUENCY.check(frequency_ghz)?;
    ANTENNA.check(antenna_m)?;
    CLUTTER.check(clutter_m)?;
    STREET.check(street_m)?;
    if antenna_m >= clutter_m {
        return Ok(0.0);
    }
    Ok(match surroundings {
        Surroundings::Water | Surroundings::Open => {
            let slope = 21.8 + 6.2 * frequency_ghz.log10();
            -slope * (antenna_m / clutter_m).log10()
        }
        Surroundings::Suburban | Surroundings::Urban | Surroundings::Forest | Surroundings::DenseUrban => {
            let below_m = clutter_m - antenna_m;
            let elevation_deg = (below_m / street_m).atan().to_degrees();
            let nu = 0.342 * (frequency_ghz * below_m * elevation_deg).sqrt();
            knife_edge_db(nu) - 6.03
        }
    })
}
