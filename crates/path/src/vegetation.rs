//! What a signal loses in a wood that one of its antennas stands in.

use crate::{Error, Range};

/// Way through the trees (bounds of ours).
pub const DEPTH: Range = Range::new("way through trees", "m", 0.0, 100_000.0);

/// How trees weaken a wave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trees {
    /// Loss over short ways \[dB/m\].
    pub per_metre_db: f64,
    /// Most that a deep wood costs: past it the wave goes over the tops \[dB\].
    pub most_db: f64,
}

impl Trees {
    /// Mixed wood in leaf at 900 MHz: .17 dB/m and 26.5 dB, measured at 949 MHz (Rec. ITU-R P.833-9, section 2.1;
    /// other woods were given 21 to 29 dB at 868 MHz, from memory).
    pub const IN_LEAF: Self = Self { per_metre_db: 0.17, most_db: 26.5 };
    /// The same without leaves: a fifth less over short ways (from memory of the Recommendation).
    pub const BARE: Self = Self { per_metre_db: 0.17 / 1.2, ..Self::IN_LEAF };

    /// Loss \[dB\] of `depth_m` \[m\] of wood, beyond that of the path without it.
    ///
    /// # Errors
    /// A depth outside [`DEPTH`].
    ///
    /// # References
    /// Rec. ITU-R P.833-9, eq. (1): one terminal in woodland.
    pub fn loss_db(self, depth_m: f64) -> Result<f64, Error> {
        DEPTH.check(depth_m)?;
        Ok(self.most_db * (1.0 - (-depth_m * self.per_metre_db / self.most_db).exp()))
    }
}
