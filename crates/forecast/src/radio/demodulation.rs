//! The weakest signal that can still be demodulated.

use design::quantity::{Dbm, Decibels, Frequency};
use design::region::Modulation;
use design::surroundings::Sensitivity;

/// Thermal noise at 290 K \[dBm in 1 Hz\].
const THERMAL_DBM_HZ: f64 = -174.0;
/// Noise figure of a receiver of which nothing else is known (two end-device data sheets).
const NOISE_FIGURE_DB: f64 = 6.0;
/// Bandwidth in which noise is stated \[Hz\].
const STATED_HZ: f64 = 125e3;
const FASTEST_SF: u8 = 7;

/// Weakest signal by bandwidth (125, 250, 500 kHz) and spreading factor (7 to 12) \[dBm\].
type Table = [[f64; 6]; 3];

/// Measured on node radios; not monotonic at SF12.
///
/// # References
/// Bor, Roedig, Voigt & Alonso 2016, *Do LoRa low-power wide-area networks scale?*, ACM `MSWiM`, table 2.
const MEASURED: Table = [
    [-126.5, -127.25, -131.25, -132.75, -134.5, -133.25],
    [-124.25, -126.75, -128.25, -130.25, -132.75, -132.25],
    [-120.75, -124.0, -127.5, -128.75, -128.75, -132.25],
];

/// Data sheet of the SX1272, revision 3.1, table 10 (section and revision from memory).
const DATASHEET: Table = [
    [-124.0, -127.0, -130.0, -133.0, -135.0, -137.0],
    [-122.0, -125.0, -128.0, -130.0, -132.0, -135.0],
    [-116.0, -119.0, -122.0, -125.0, -128.0, -129.0],
];

/// A multi-channel gateway of the SX1301 class at 125 kHz, as a network simulator takes it; wider channels by the ratio of
/// bandwidths.
const MULTI_CHANNEL: [f64; 6] = [-130.0, -132.5, -135.0, -137.5, -140.0, -142.5];

/// The noise of a receiver in 125 kHz of which nothing else is known: -117.0 dBm.
#[must_use]
pub fn usual_noise() -> Dbm {
    Dbm::from_dbm(THERMAL_DBM_HZ + 10.0 * STATED_HZ.log10() + NOISE_FIGURE_DB)
}

/// Least ratio of signal to noise at which a spreading factor is demodulated: -7.5 dB at SF7, 2.5 dB less for each
/// further; `None` where it is no LoRa (SF5 from memory).
#[must_use]
pub fn least_snr(modulation: Modulation) -> Option<Decibels> {
    let Modulation::Lora { spreading_factor, .. } = modulation else { return None };
    Some(Decibels::from_decibels(10.0 - 2.5 * f64::from(spreading_factor)))
}

/// What is left above the least ratio at a data rate, of a signal with this ratio to the noise in 125 kHz; `None` where it
/// is no LoRa.
#[must_use]
pub fn margin(modulation: Modulation, snr_in_125_khz: Decibels) -> Option<Decibels> {
    let Modulation::Lora { bandwidth, .. } = modulation else { return None };
    Some(snr_in_125_khz - Decibels::from_decibels(wider_db(bandwidth)) - least_snr(modulation)?)
}

/// The ratio to the noise in 125 kHz of a signal whose ratio was measured in its own bandwidth.
#[must_use]
pub fn snr_in_125_khz(snr: Decibels, bandwidth: Frequency) -> Decibels {
    snr + Decibels::from_decibels(wider_db(bandwidth))
}

/// The weakest signal that a receiver demodulates: what its class can, or what its noise leaves, whichever is stronger.
/// `noise` is that in 125 kHz. `None` for what is no LoRa, of which no measured figure was seen.
#[must_use]
pub fn weakest(modulation: Modulation, class: Sensitivity, noise: Option<Dbm>) -> Option<Dbm> {
    let Modulation::Lora { spreading_factor, bandwidth } = modulation else { return None };
    let under_noise =
        |noise: Dbm| noise.dbm() + wider_db(bandwidth) + 10.0 - 2.5 * f64::from(spreading_factor);
    let quiet = under_noise(usual_noise());
    let of_class = spreading_factor
        .checked_sub(FASTEST_SF)
        .and_then(|row| of_class(class, usize::from(row), bandwidth))
        .unwrap_or(quiet);
    Some(Dbm::from_dbm(noise.map_or(of_class, |noise| of_class.max(under_noise(noise)))))
}

/// How much more noise a channel of this width lets in than one of 125 kHz \[dB\].
fn wider_db(bandwidth: Frequency) -> f64 {
    10.0 * (bandwidth.hertz() / STATED_HZ).log10()
}

fn of_class(class: Sensitivity, row: usize, bandwidth: Frequency) -> Option<f64> {
    let column = if bandwidth.kilohertz() < 200.0 {
        0
    } else if bandwidth.kilohertz() < 400.0 {
        1
    } else {
        2
    };
    match class {
        Sensitivity::Measured => MEASURED[column].get(row).copied(),
        Sensitivity::Datasheet => DATASHEET[column].get(row).copied(),
        Sensitivity::MultiChannel => MULTI_CHANNEL.get(row).map(|dbm| dbm + wider_db(bandwidth)),
    }
}
