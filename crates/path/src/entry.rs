//! What a signal loses on its way into or out of a building.

use crate::{Error, Range};

/// Frequencies of the building entry model.
pub const FREQUENCY: Range = Range::new("frequency", "GHz", 0.08, 100.0);
/// Standard normal deviate of the loss among buildings and spots in them (bounds of ours: less than one in a million each way).
pub const DEVIATE: Range = Range::new("deviate", "standard deviations", -5.0, 5.0);

/// How a building's shell is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Building {
    /// Bricks, concrete or wood with plain glass.
    Traditional,
    /// Metallised glass and foil-backed panels ("thermally efficient" in the Recommendation).
    Insulated,
}

/// Loss \[dB\] into a building at `frequency_ghz` \[GHz\], level with the antenna outside.
///
/// `deviate` says which building and which spot in it: 0 is the median, 1.2816 is exceeded by one spot in ten.
/// It rises with the deviate and can fall below 0 dB (never below -3) where a wave finds a window.
///
/// # Errors
/// An input outside [`FREQUENCY`] or [`DEVIATE`].
///
/// # References
/// Rec. ITU-R P.2109-2, Annex 1, eqs. (1) to (10) and table 1, at an elevation of 0 degrees.
pub fn loss_db(frequency_ghz: f64, building: Building, deviate: f64) -> Result<f64, Error> {
    DEVIATE.check(deviate)?;
    Ok(Entry::at(frequency_ghz, building)?.loss_db(deviate))
}

/// The way into one kind of building at one frequency: for many deviates, none of which it refuses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entry {
    /// Through a wall: the median \[dB\], and what a deviate of 1 adds.
    wall_db: [f64; 2],
    /// The same through an opening.
    opening_db: [f64; 2],
}

impl Entry {
    /// The way into a building at `frequency_ghz` \[GHz\].
    ///
    /// # Errors
    /// A frequency outside [`FREQUENCY`].
    pub fn at(frequency_ghz: f64, building: Building) -> Result<Self, Error> {
        FREQUENCY.check(frequency_ghz)?;
        let Shell { r, s, t, u, v, w, x, y, z } = building.shell();
        let decade = frequency_ghz.log10();
        Ok(Self {
            wall_db: [r + s * decade + t * decade * decade, u + v * decade],
            opening_db: [w + x * decade, y + z * decade],
        })
    }

    /// The loss \[dB\] at this deviate, as [`loss_db`].
    #[must_use]
    pub fn loss_db(&self, deviate: f64) -> f64 {
        let power = |[median_db, each_db]: [f64; 2]| 10f64.powf((deviate * each_db + median_db) / 10.0);
        10.0 * (power(self.wall_db) + power(self.opening_db) + power([-3.0, 0.0])).log10()
    }
}

impl Building {
    /// Table 1 of the Recommendation.
    fn shell(self) -> Shell {
        match self {
            Self::Traditional => {
                Shell { r: 12.64, s: 3.72, t: 0.96, u: 9.6, v: 2.0, w: 9.1, x: -3.0, y: 4.5, z: -2.0 }
            }
            Self::Insulated => {
                Shell { r: 28.19, s: -3.0, t: 8.48, u: 13.5, v: 3.8, w: 27.8, x: -2.9, y: 9.4, z: -2.1 }
            }
        }
    }
}

/// Coefficients in the letters of the Recommendation \[dB\].
struct Shell {
    r: f64,
    s: f64,
    t: f64,
    u: f64,
    v: f64,
    w: f64,
    x: f64,
    y: f64,
    z: f64,
}
