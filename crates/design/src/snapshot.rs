//! A raw recording of satellite signals as it is sent: seconds, then for each satellite its number and the delay of its code.

use crate::quantity::{Bytes, Length};

/// What the code of a satellite tells apart: one millisecond of it, in metres.
///
/// # References
/// IS-GPS-200, 3.3.2.3 (the coarse code repeats every millisecond); speed of light in vacuum, SI.
pub const CODE_LENGTH_M: f64 = 299_792.458;
/// Bits beside the satellites: the time of the recording, seconds since 1970 (own choice).
pub const HEAD_BITS: u32 = 32;
/// Bits that name one of 63 satellites; all ones is none (own choice).
pub const SATELLITE_BITS: u32 = 6;

/// Stands for no satellite.
const NO_SATELLITE: u32 = 63;

/// What a recording says.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// When it was made, seconds since 1970.
    pub seconds: u32,
    /// Number of each satellite, and by how much its code is late.
    pub satellites: Vec<(u32, Length)>,
}

/// How a recording is laid out; its bits stand most significant first, and zero bits fill the last byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SnapshotLayout {
    /// For how many satellites there is room.
    pub satellites: u32,
    /// Bits of the delay of a code, as share of a millisecond.
    pub delay_bits: u32,
}

impl SnapshotLayout {
    /// For so many satellites, with delays at least as fine as a length.
    #[must_use]
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "the file bounds the resolution"
    )]
    pub fn new(satellites: u32, resolution: Length) -> Self {
        let steps = CODE_LENGTH_M / resolution.metres();
        Self { satellites, delay_bits: steps.log2().ceil().max(1.0) as u32 }
    }

    /// Bits of one satellite.
    #[must_use]
    pub fn bits_each(&self) -> u32 {
        SATELLITE_BITS + self.delay_bits
    }

    /// What must be sent.
    #[must_use]
    pub fn size(&self) -> Bytes {
        Bytes::from_bytes(f64::from((HEAD_BITS + self.satellites * self.bits_each()).div_ceil(8)))
    }

    /// How its bits are read, in a sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        format!(
            "a recording of satellites: {HEAD_BITS} bits of seconds since 1970-01-01 UTC, then {} times {SATELLITE_BITS} bits of a satellite's number ({NO_SATELLITE}: none) and {} bits of the delay of its code in steps of {:.1} m, most significant bit first",
            self.satellites,
            self.delay_bits,
            self.step().metres()
        )
    }

    /// The recording in bytes that are long enough for it.
    #[must_use]
    pub fn read(&self, octets: &[u8]) -> Option<Recording> {
        let mut bits =
            octets.iter().flat_map(|octet| (0..8).rev().map(move |place| u32::from(octet >> place & 1)));
        let mut take = |count: u32| (0..count).try_fold(0_u32, |code, _| Some(code << 1 | bits.next()?));
        let seconds = take(HEAD_BITS)?;
        let mut satellites = Vec::new();
        for _ in 0..self.satellites {
            let (number, delay) = (take(SATELLITE_BITS)?, take(self.delay_bits)?);
            if number != NO_SATELLITE {
                satellites.push((number, self.step() * f64::from(delay)));
            }
        }
        Some(Recording { seconds, satellites })
    }

    /// The step of a delay.
    #[must_use]
    pub fn step(&self) -> Length {
        Length::from_metres(CODE_LENGTH_M / f64::from(self.delay_bits).exp2())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 300 km in steps of 30 m are 9,993, which 14 bits tell apart; 32 + 6 * (6 + 14) = 152 bits are 19 bytes. A
    /// recording at 2,000,000,000 s (0x77359400) of satellite 5 with a delay of 8192 of 16384 steps, half of 299,792.458 m,
    /// and no other: 000101 10000000000000, then five times 111111 00000000000000.
    #[test]
    fn a_recording_is_read_bit_by_bit() {
        let layout = SnapshotLayout::new(6, Length::from_metres(30.0));
        assert_eq!((layout.delay_bits, layout.size()), (14, Bytes::from_bytes(19.0)));
        let tail = ["00010110000000000000", "11111100000000000000", "11111100000000000000"];
        let bits = format!("{:032b}{}{}", 0x7735_9400_u32, tail.concat(), "11111100000000000000".repeat(3));
        let octets: Vec<u8> = bits
            .as_bytes()
            .chunks(8)
            .map(|octet| octet.iter().fold(0, |code, bit| code << 1 | (bit - b'0')))
            .collect();
        let recording = layout.read(&octets).expect("long enough");
        assert_eq!(recording.seconds, 2_000_000_000);
        let [(number, delay)] = recording.satellites[..] else { panic!("{recording:?}") };
        assert!(number == 5 && (delay.metres() - 149_896.229).abs() < 1e-6, "{recording:?}");
        assert_eq!(layout.read(&octets[..18]), None, "a byte is missing");
    }
}
