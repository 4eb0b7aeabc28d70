//! The two windows after an uplink: when a device listens, where, at which rate, and how much fits.

use design::quantity::Frequency;
use design::region::{MAC_OVERHEAD, Modulation, Region};
use forecast::radio::airtime;

use crate::received::{Moment, Radio};

/// One second \[us\].
pub(super) const SECOND: Moment = 1_000_000;
/// From a join-request to the first window \[s\] (`JOIN_ACCEPT_DELAY1`, TS001-1.0.4, default of all plans).
pub(super) const JOIN_DELAY_S: u8 = 5;
/// From the first window to the second (`RECEIVE_DELAY2`, the same).
pub(super) const SECOND_AFTER_FIRST: Moment = SECOND;
/// Octets of a frame outside its MAC payload: header and integrity code.
const AROUND_MAC_PAYLOAD: usize = 5;

/// Which window.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Window {
    /// The first: on the channel of the uplink, or the one that answers it.
    First,
    /// The second: always on the same channel, at the same rate.
    Second,
}

/// A window of a device.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Listening {
    pub(super) window: Window,
    pub(super) frequency: Frequency,
    pub(super) data_rate: u8,
    pub(super) modulation: Modulation,
    pub(super) bandwidth: Frequency,
    /// Application bytes that fit without MAC commands.
    pub(super) room: usize,
}

impl Listening {
    /// Whether a whole frame of so many octets fits.
    pub(super) fn fits(&self, length: usize) -> bool {
        self.room > 0 && length <= self.room + MAC_OVERHEAD + AROUND_MAC_PAYLOAD
    }

    /// Time on air of a frame of so many octets, rounded up \[us\].
    pub(super) fn airtime(&self, length: usize) -> Option<Moment> {
        let seconds = airtime::downlink(self.modulation, length)?.seconds();
        #[expect(clippy::cast_possible_truncation, reason = "a few seconds")]
        Some((seconds * 1e6).ceil() as Moment)
    }

    /// The rate as gateways name it.
    pub(super) fn rate_name(&self) -> String {
        rate_name(self.modulation)
    }
}

/// A rate as gateways name it: `SF7BW125`, or bits per second.
pub fn rate_name(modulation: Modulation) -> String {
    match modulation {
        Modulation::Lora { spreading_factor, bandwidth } => {
            format!("SF{spreading_factor}BW{}", bandwidth.kilohertz().round())
        }
        Modulation::Fsk { bit_rate } => format!("{}", bit_rate.round()),
        Modulation::LrFhss => "LR-FHSS".to_owned(),
    }
}

/// The data rate of an uplink as the region numbers it; `None` if the region has none such.
pub fn data_rate(region: &Region, radio: &Radio) -> Option<u8> {
    region.data_rate_of(modulation(&radio.data_rate)?)
}

/// What a gateway's name of a rate stands for: `SF7BW125`, or bits per second.
pub(super) fn modulation(name: &str) -> Option<Modulation> {
    if let Some(lora) = name.strip_prefix("SF") {
        let (spreading_factor, kilohertz) = lora.split_once("BW")?;
        return Some(Modulation::Lora {
            spreading_factor: spreading_factor.parse().ok()?,
            bandwidth: Frequency::from_kilohertz(kilohertz.parse().ok()?),
        });
    }
    Some(Modulation::Fsk { bit_rate: name.parse::<u32>().ok()?.into() })
}

/// How far a signal lies above the least that its rate can be heard with \[dB\]; `None` for a rate without such a figure.
pub fn margin_db(rate_name: &str, snr_db: f64) -> Option<f64> {
    let floor = forecast::radio::demodulation::least_snr(modulation(rate_name)?)?;
    Some(snr_db - floor.decibels())
}

/// Time on air of an uplink \[us\]; `None` of a rate that nobody has.
pub fn airtime(data_rate: &str, physical_bytes: usize) -> Option<Moment> {
    let seconds = airtime::uplink(modulation(data_rate)?, physical_bytes)?.seconds();
    #[expect(clippy::cast_possible_truncation, reason = "a few seconds")]
    Some((seconds * 1e6).round() as Moment)
}

/// The windows that a device opens after an uplink; of a rate or channel that the plan does not have, the second alone.
pub(super) fn after(region: &Region, radio: &Radio) -> Vec<Listening> {
    let uplink = Frequency::from_hertz(radio.frequency_hz.into());
    let first = data_rate(region, radio)
        .and_then(|rate| Some((region.answer_channel(uplink)?, region.answer_rate(rate)?)))
        .and_then(|(frequency, rate)| listening(region, Window::First, frequency, rate));
    let (frequency, rate) = region.second_window;
    first.into_iter().chain(listening(region, Window::Second, frequency, rate)).collect()
}

fn listening(region: &Region, window: Window, frequency: Frequency, data_rate: u8) -> Option<Listening> {
    let modulation = region.down_modulation(data_rate)?;
    Some(Listening {
        window,
        frequency,
        data_rate,
        modulation,
        bandwidth: modulation.occupied_bandwidth()?,
        room: region.largest_downlink_payload(data_rate),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn radio(frequency_hz: u32, data_rate: &str) -> Radio {
        Radio {
            frequency_hz,
            data_rate: data_rate.to_owned(),
            rssi_dbm: None,
            snr_db: None,
            clock_us: None,
            gps_us: None,
            station: None,
        }
    }

    fn windows(region: &str, radio: &Radio) -> Vec<(Window, u32, u8, String)> {
        let region = Region::builtin(region).expect("built in");
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below 1 GHz")]
        let said = |one: Listening| {
            (one.window, one.frequency.hertz().round() as u32, one.data_rate, one.rate_name())
        };
        after(&region, radio).into_iter().map(said).collect()
    }

    /// RP002-1.0.5, sections 3.4 and 3.5: EU868 answers at the uplink's rate on its channel, then 869.525 MHz at DR0; US915
    /// answers DR3 at DR13 on one of eight channels, then 923.3 MHz at DR8.
    #[test]
    fn windows_are_those_of_the_plan() {
        let eu = windows("EU868", &radio(868_300_000, "SF9BW125"));
        assert_eq!(eu[0], (Window::First, 868_300_000, 3, "SF9BW125".to_owned()));
        assert_eq!(eu[1], (Window::Second, 869_525_000, 0, "SF12BW125".to_owned()));
        let us = windows("US915", &radio(902_500_000, "SF7BW125"));
        assert_eq!(us[0], (Window::First, 923_900_000, 13, "SF7BW500".to_owned()));
        assert_eq!(us[1], (Window::Second, 923_300_000, 8, "SF12BW500".to_owned()));
        let fsk = windows("EU868", &radio(868_800_000, "50000"));
        assert_eq!(fsk[0], (Window::First, 868_800_000, 7, "50000".to_owned()));
    }

    #[test]
    fn an_uplink_outside_the_plan_leaves_the_second_window() {
        for radio in [radio(902_400_000, "SF7BW125"), radio(902_500_000, "SF6BW62")] {
            let us = windows("US915", &radio);
            assert_eq!(us.iter().map(|one| one.0).collect::<Vec<_>>(), [Window::Second], "{radio:?}");
        }
        assert_eq!(modulation("SFBW"), None);
        assert_eq!(modulation(""), None);
    }
}
