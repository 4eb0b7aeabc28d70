//! Time on air of LoRa and FSK messages, and the sizes of LoRaWAN frames.

use design::quantity::Duration;
use design::region::Modulation;

/// Bytes a LoRaWAN data frame adds to its application bytes: header, address, control, counter, port, integrity code.
///
/// # References
/// TS001-1.0.4, clause 4 (tabulated; two sources).
const FRAME_OVERHEAD: usize = 13;
/// Length of a data frame without port and application bytes.
pub const EMPTY_FRAME: usize = 12;
/// Length of a join request.
pub const JOIN_REQUEST: usize = 23;
/// Preamble of LoRaWAN \[symbols\].
const PREAMBLE_SYMBOLS: u32 = 8;
/// A symbol at least this long wants the low-data-rate optimisation \[s\].
const LONG_SYMBOL_S: f64 = 0.016;

/// Length of a data frame with so many application bytes; without any it has no port either.
pub fn frame_bytes(application_bytes: usize) -> usize {
    if application_bytes == 0 { EMPTY_FRAME } else { FRAME_OVERHEAD + application_bytes }
}

/// Time on air of an uplink of so many bytes; `None` for LR-FHSS, which isn't modelled.
pub fn uplink(modulation: Modulation, physical_bytes: usize) -> Option<Duration> {
    match modulation {
        Modulation::Lora { spreading_factor, bandwidth } => {
            Some(Lora::uplink(spreading_factor.into(), bandwidth.hertz()).time_on_air(physical_bytes))
        }
        Modulation::Fsk { bit_rate } => Some(fsk_time_on_air(bit_rate, physical_bytes)),
        Modulation::LrFhss => None,
    }
}

/// Time on air of a downlink of so many bytes; `None` for LR-FHSS, which has none.
pub fn downlink(modulation: Modulation, physical_bytes: usize) -> Option<Duration> {
    match modulation {
        Modulation::Lora { spreading_factor, bandwidth } => {
            Some(Lora::downlink(spreading_factor.into(), bandwidth.hertz()).time_on_air(physical_bytes))
        }
        Modulation::Fsk { bit_rate } => Some(fsk_time_on_air(bit_rate, physical_bytes)),
        Modulation::LrFhss => None,
    }
}

/// How long a receive window of so many symbols stays open; an FSK symbol is one byte of preamble. `None` for LR-FHSS,
/// which has no downlink.
pub fn window(modulation: Modulation, symbols: u32) -> Option<Duration> {
    match modulation {
        Modulation::Lora { spreading_factor, bandwidth } => {
            Some(Lora::downlink(spreading_factor.into(), bandwidth.hertz()).symbol() * f64::from(symbols))
        }
        Modulation::Fsk { bit_rate } => Some(Duration::from_seconds(f64::from(8 * symbols) / bit_rate)),
        Modulation::LrFhss => None,
    }
}

/// How many bits travel for four.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CodingRate {
    /// 4/5, LoRaWAN's.
    FourFifths,
    /// 4/6.
    FourSixths,
    /// 4/7.
    FourSevenths,
    /// 4/8.
    FourEighths,
}

impl CodingRate {
    fn symbols_per_block(self) -> u64 {
        match self {
            Self::FourFifths => 5,
            Self::FourSixths => 6,
            Self::FourSevenths => 7,
            Self::FourEighths => 8,
        }
    }
}

/// How a LoRa message is modulated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lora {
    /// Bits per symbol, 5 to 12.
    pub spreading_factor: u32,
    /// Bandwidth \[Hz\], above 0.
    pub bandwidth_hz: f64,
    /// Redundancy.
    pub coding_rate: CodingRate,
    /// Preamble, without the 4.25 (spreading factors 5 and 6: 6.25) symbols that follow it.
    pub preamble_symbols: u32,
    /// Whether length and rate travel in a header.
    pub explicit_header: bool,
    /// Whether a checksum travels with the payload.
    pub payload_crc: bool,
    /// Whether symbols carry two bits less, so that drift over a long symbol does no harm.
    pub low_data_rate: bool,
}

impl Lora {
    /// A LoRaWAN uplink: coding rate 4/5, eight preamble symbols, header and checksum.
    pub fn uplink(spreading_factor: u32, bandwidth_hz: f64) -> Self {
        Self {
            spreading_factor,
            bandwidth_hz,
            coding_rate: CodingRate::FourFifths,
            preamble_symbols: PREAMBLE_SYMBOLS,
            explicit_header: true,
            payload_crc: true,
            low_data_rate: wants_low_data_rate(spreading_factor, bandwidth_hz),
        }
    }

    /// A LoRaWAN downlink: as an uplink, without checksum.
    pub fn downlink(spreading_factor: u32, bandwidth_hz: f64) -> Self {
        Self { payload_crc: false, ..Self::uplink(spreading_factor, bandwidth_hz) }
    }

    /// Time of one symbol.
    pub fn symbol(&self) -> Duration {
        self.quarter_symbols(4)
    }

    /// Time on air of a message of so many bytes, exact.
    ///
    /// # References
    /// data sheet SX1276-79 section 4.1.1.7 and data sheet SX1261/2 section 6.1.4 (section numbers from memory;
    /// checked against 54 published vectors).
    pub fn time_on_air(&self, physical_bytes: usize) -> Duration {
        let tail_quarters = if self.is_short_symbol() { 25 } else { 17 };
        let quarters = 4 * u64::from(self.preamble_symbols)
            + tail_quarters
            + 4 * (8 + self.payload_symbols(physical_bytes));
        self.quarter_symbols(quarters)
    }

    /// Spreading factors 5 and 6 have a longer preamble and a shorter header.
    fn is_short_symbol(&self) -> bool {
        self.spreading_factor < 7
    }

    fn payload_symbols(&self, physical_bytes: usize) -> u64 {
        let header_bits = if self.explicit_header { 20 } else { 0 };
        let sync_bits = if self.is_short_symbol() { 0 } else { 8 };
        let crc_bits = if self.payload_crc { 16 } else { 0 };
        let carried = 8 * physical_bytes as u64 + header_bits + sync_bits + crc_bits;
        let spreading_factor = u64::from(self.spreading_factor);
        let dropped = if self.low_data_rate { 2 } else { 0 };
        let bits = carried.saturating_sub(4 * spreading_factor);
        let bits_per_block = 4 * spreading_factor.saturating_sub(dropped).max(1);
        bits.div_ceil(bits_per_block) * self.coding_rate.symbols_per_block()
    }

    fn quarter_symbols(&self, quarters: u64) -> Duration {
        let chips = quarters << self.spreading_factor.min(16);
        Duration::from_seconds(chips as f64 / (4.0 * self.bandwidth_hz))
    }
}

/// Whether the low-data-rate optimisation is required: symbols of 16 ms or more. Some stacks key it on spreading factor
/// 11 and 12 at any bandwidth, which is wrong above 125 kHz.
pub fn wants_low_data_rate(spreading_factor: u32, bandwidth_hz: f64) -> bool {
    f64::from(1_u32 << spreading_factor.min(16)) >= LONG_SYMBOL_S * bandwidth_hz
}

/// Time on air of a LoRaWAN message of so many bytes in FSK: preamble 5, sync 3, length 1, checksum 2 bytes around it.
///
/// # References
/// RP002-1.0.3, clause 2.4.3 and SX1276-79 data sheet (from memory; the byte counts agree in two public stacks).
pub fn fsk_time_on_air(bits_per_second: f64, physical_bytes: usize) -> Duration {
    Duration::from_seconds((8 * (5 + 3 + 1 + physical_bytes + 2)) as f64 / bits_per_second)
}
