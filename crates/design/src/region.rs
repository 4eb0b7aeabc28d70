//! Regions: the data rates and limits of a regional plan, as data with edition and clause.

use crate::quantity::{Dbm, Frequency};

/// How a data rate is modulated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Modulation {
    /// LoRa.
    Lora {
        /// 5 to 12.
        spreading_factor: u8,
        /// Occupied bandwidth.
        bandwidth: Frequency,
    },
    /// Gaussian frequency-shift keying.
    Fsk {
        /// Bits per second.
        bit_rate: f64,
    },
    /// Frequency-hopping spread spectrum in long range.
    LrFhss,
}

/// A regional plan.
#[derive(Clone, Debug)]
pub struct Region {
    /// Its name, such as `EU868`.
    pub name: String,
    /// Uplink data rates: number and modulation, ascending.
    pub data_rates: Vec<(u8, Modulation)>,
    /// Largest MAC payload in bytes by uplink data rate, without a repeater; 0 where it can't be used.
    pub largest_mac_payload: Vec<usize>,
    /// Downlink data rate of the second receive window.
    pub second_window: (Frequency, u8),
    /// Largest radiated power (EIRP, or conducted where the edition says so).
    pub largest_power: Dbm,
    /// Slowest and fastest data rate of a join request.
    pub join_data_rates: (u8, u8),
    /// Edition and clause.
    pub source: String,
}
