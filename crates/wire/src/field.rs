//! Small fields that frames and MAC commands share.

/// An unsigned number of `WIDTH` bits, at most 8.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Bits<const WIDTH: u32>(u8);

impl<const WIDTH: u32> Bits<WIDTH> {
    /// The largest value.
    pub const MAX: u8 = u8::MAX >> (8 - WIDTH);

    /// The value, if it fits.
    pub const fn new(value: u8) -> Option<Self> {
        if value <= Self::MAX { Some(Self(value)) } else { None }
    }

    /// The value.
    pub const fn get(self) -> u8 {
        self.0
    }

    /// The low bits of an octet; the others belong to other fields or are reserved.
    pub(crate) const fn low(octet: u8) -> Self {
        Self(octet & Self::MAX)
    }

    /// The field whose lowest bit is bit 4.
    pub(crate) const fn high(octet: u8) -> Self {
        Self::low(octet >> 4)
    }
}

/// A carrier frequency as it travels: 24 bits in steps of 100 Hz, so up to 1,677.7215 MHz.
///
/// Zero means "the region's own" or "no channel", depending on the command.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CarrierFrequency {
    steps: u32,
}

impl CarrierFrequency {
    /// Frequency \[Hz\], if it is a whole number of 100 Hz steps that fits in 24 bits.
    pub const fn from_hz(frequency_hz: u32) -> Option<Self> {
        let steps = frequency_hz / 100;
        if frequency_hz.is_multiple_of(100) && steps < 1 << 24 { Some(Self { steps }) } else { None }
    }

    /// Frequency \[Hz\].
    pub const fn hz(self) -> u32 {
        self.steps * 100
    }

    pub(crate) const fn from_wire_bytes([low, middle, high]: [u8; 3]) -> Self {
        Self { steps: u32::from_le_bytes([low, middle, high, 0]) }
    }

    pub(crate) const fn to_wire_bytes(self) -> [u8; 3] {
        let [low, middle, high, _] = self.steps.to_le_bytes();
        [low, middle, high]
    }
}

/// Settings of the receive windows, in a join-accept and in `RXParamSetupReq`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DlSettings {
    /// Offset between the uplink's data rate and that of the first receive window.
    pub rx1_data_rate_offset: Bits<3>,
    /// Index of the data rate of the second receive window.
    pub rx2_data_rate: Bits<4>,
}

impl DlSettings {
    /// Bit 7 is ignored here; in a join-accept it is 1.1's `OptNeg` and checked there.
    pub(crate) const fn from_octet(octet: u8) -> Self {
        Self { rx1_data_rate_offset: Bits::high(octet), rx2_data_rate: Bits::low(octet) }
    }

    pub(crate) const fn to_octet(self) -> u8 {
        (self.rx1_data_rate_offset.0 << 4) | self.rx2_data_rate.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn value_that_needs_one_bit_more_is_refused() {
        assert_eq!(Bits::<3>::new(7).map(Bits::get), Some(7));
        assert_eq!(Bits::<3>::new(8), None);
        assert_eq!(Bits::<4>::new(15).map(Bits::get), Some(15));
        assert_eq!(Bits::<4>::new(16), None);
    }

    #[test]
    fn frequency_between_two_steps_or_beyond_24_bits_is_refused() {
        assert_eq!(CarrierFrequency::from_hz(868_100_000).map(CarrierFrequency::hz), Some(868_100_000));
        assert_eq!(CarrierFrequency::from_hz(868_100_050), None);
        assert_eq!(CarrierFrequency::from_hz(1_677_721_500).map(CarrierFrequency::hz), Some(1_677_721_500));
        assert_eq!(CarrierFrequency::from_hz(1_677_721_600), None);
    }
}
