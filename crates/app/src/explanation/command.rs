//! MAC commands in the words of a person.

use wire::field::CarrierFrequency;
use wire::frame::Direction;
use wire::mac::{self, CommandError, DownlinkCommand, UplinkCommand};

/// What network and device settle in these bytes, a line for each command.
pub(super) fn commands(bytes: &[u8], direction: Direction) -> Vec<String> {
    match direction {
        Direction::Up => mac::uplink_commands(bytes).map(|one| said(one, device)).collect(),
        Direction::Down => mac::downlink_commands(bytes).map(|one| said(one, network)).collect(),
    }
}

fn said<C>(command: Result<C, CommandError>, words: fn(C) -> String) -> String {
    match command {
        Ok(command) => words(command),
        Err(error @ CommandError::Truncated { .. }) => error.to_string(),
        Err(error) => format!(
            "{error}. A device of LoRaWAN 1.1 encrypts its options: then these bytes mean nothing here"
        ),
    }
}

fn device(command: UplinkCommand) -> String {
    match command {
        UplinkCommand::LinkCheckReq => "LinkCheckReq: how well am I heard?".to_owned(),
        UplinkCommand::LinkAdrAns { power_ok, data_rate_ok, channel_mask_ok } => taken(
            "LinkADRAns",
            &[("power", power_ok), ("data rate", data_rate_ok), ("channels", channel_mask_ok)],
        ),
        UplinkCommand::DutyCycleAns => "DutyCycleAns: the duty cycle is kept".to_owned(),
        UplinkCommand::RxParamSetupAns { rx1_data_rate_offset_ok, rx2_data_rate_ok, frequency_ok } => taken(
            "RXParamSetupAns",
            &[
                ("data rate of the first window", rx1_data_rate_offset_ok),
                ("data rate of the second window", rx2_data_rate_ok),
                ("frequency of the second window", frequency_ok),
            ],
        ),
        UplinkCommand::DevStatusAns { battery, snr_db } => {
            let battery = match battery {
                0 => "external power".to_owned(),
                255 => "battery not measured".to_owned(),
                level => format!("battery {:.0} %", f64::from(level - 1) / 2.53),
            };
            format!("DevStatusAns: {battery}, heard the network with an SNR of {snr_db} dB")
        }
        UplinkCommand::NewChannelAns { data_rate_range_ok, frequency_ok } => {
            taken("NewChannelAns", &[("data rates", data_rate_range_ok), ("frequency", frequency_ok)])
        }
        UplinkCommand::RxTimingSetupAns => "RXTimingSetupAns: the delay of the windows is kept".to_owned(),
        UplinkCommand::TxParamSetupAns => "TXParamSetupAns: dwell time and power are kept".to_owned(),
        UplinkCommand::DlChannelAns { uplink_frequency_exists, frequency_ok } => taken(
            "DlChannelAns",
            &[("channel for uplinks", uplink_frequency_exists), ("frequency", frequency_ok)],
        ),
        UplinkCommand::DeviceTimeReq => "DeviceTimeReq: what time is it?".to_owned(),
        UplinkCommand::PingSlotInfoReq { periodicity } => {
            format!("PingSlotInfoReq: listens every {:.2} s", 0.96 * f64::from(1_u32 << periodicity.get()))
        }
        UplinkCommand::PingSlotChannelAns { data_rate_ok, frequency_ok } => {
            taken("PingSlotChannelAns", &[("data rate", data_rate_ok), ("frequency", frequency_ok)])
        }
        UplinkCommand::BeaconTimingReq => "BeaconTimingReq: when is the next beacon?".to_owned(),
        UplinkCommand::BeaconFreqAns { frequency_ok } => {
            taken("BeaconFreqAns", &[("frequency", frequency_ok)])
        }
    }
}

/// An answer: it takes all or, if one of them will not do, none.
fn taken(name: &str, asked: &[(&str, bool)]) -> String {
    let refused: Vec<&str> = asked.iter().filter(|(_, ok)| !ok).map(|(what, _)| *what).collect();
    if refused.is_empty() {
        let all: Vec<&str> = asked.iter().map(|(what, _)| *what).collect();
        return format!("{name}: takes {}", all.join(", "));
    }
    format!("{name}: refuses {}, so nothing was changed", refused.join(", "))
}

fn network(command: DownlinkCommand) -> String {
    match command {
        DownlinkCommand::LinkCheckAns { margin_db, gateways } => {
            format!("LinkCheckAns: heard {margin_db} dB above the least, by {gateways} gateways")
        }
        DownlinkCommand::LinkAdrReq {
            data_rate,
            tx_power,
            channel_mask,
            channel_mask_control,
            transmissions,
        } => {
            let kept = |value: u8, same: &str, new: &str| {
                if value == 15 { same.to_owned() } else { format!("{new}{value}") }
            };
            let times = match transmissions.get() {
                0 => "each message as often as before".to_owned(),
                1 => "each message once".to_owned(),
                times => format!("each message {times} times"),
            };
            format!(
                "LinkADRReq: {}, {}, channels {channel_mask:016b} of group {}, {times}",
                kept(data_rate.get(), "the same data rate", "DR"),
                kept(tx_power.get(), "the same power", "power step "),
                channel_mask_control.get()
            )
        }
        DownlinkCommand::DutyCycleReq { exponent } => {
            format!("DutyCycleReq: on the air at most 1/{} of the time", 1_u32 << exponent.get())
        }
        DownlinkCommand::RxParamSetupReq { dl_settings, frequency } => format!(
            "RXParamSetupReq: first window {} data rates below the uplink, second window at DR{} on {}",
            dl_settings.rx1_data_rate_offset.get(),
            dl_settings.rx2_data_rate.get(),
            megahertz(frequency)
        ),
        DownlinkCommand::DevStatusReq => "DevStatusReq: how full is the battery?".to_owned(),
        DownlinkCommand::NewChannelReq { channel, frequency, .. } if frequency.hz() == 0 => {
            format!("NewChannelReq: no more channel {channel}")
        }
        DownlinkCommand::NewChannelReq { channel, frequency, max_data_rate, min_data_rate } => format!(
            "NewChannelReq: channel {channel} on {}, DR{} to DR{}",
            megahertz(frequency),
            min_data_rate.get(),
            max_data_rate.get()
        ),
        DownlinkCommand::RxTimingSetupReq { delay } => {
            format!("RXTimingSetupReq: the first window opens after {} s", delay.get().max(1))
        }
        DownlinkCommand::TxParamSetupReq { downlink_dwell, uplink_dwell, max_eirp } => {
            let limit = |on: bool| if on { "400 ms at most" } else { "no limit" };
            format!(
                "TXParamSetupReq: uplinks {}, downlinks {}, power by row {} of the region's list",
                limit(uplink_dwell),
                limit(downlink_dwell),
                max_eirp.get()
            )
        }
        DownlinkCommand::DlChannelReq { channel, frequency } => {
            format!("DlChannelReq: channel {channel} is answered on {}", megahertz(frequency))
        }
        DownlinkCommand::DeviceTimeAns { gps_seconds, fraction } => format!(
            "DeviceTimeAns: {:.2} s since 6 January 1980, leap seconds not counted",
            f64::from(gps_seconds) + f64::from(fraction) / 256.0
        ),
        DownlinkCommand::PingSlotInfoAns => {
            "PingSlotInfoAns: the network knows when the device listens".to_owned()
        }
        DownlinkCommand::PingSlotChannelReq { frequency, data_rate } => {
            format!("PingSlotChannelReq: listen at DR{} on {}", data_rate.get(), megahertz(frequency))
        }
        DownlinkCommand::BeaconTimingAns { delay, channel } => {
            format!("BeaconTimingAns: a beacon in {:.2} s on channel {channel}", 0.03 * f64::from(delay))
        }
        DownlinkCommand::BeaconFreqReq { frequency } => {
            format!("BeaconFreqReq: the beacon is on {}", megahertz(frequency))
        }
    }
}

fn megahertz(frequency: CarrierFrequency) -> String {
    match frequency.hz() {
        0 => "the region's own frequency".to_owned(),
        hz => format!("{} MHz", f64::from(hz) / 1e6),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Octets and their meaning by TS001-1.0.4, clauses 5.2 to 5.7: 868.1 MHz is 8,681,000 steps of 100 Hz, 0x847628.
    #[test]
    fn commands_are_said_in_words() {
        for (direction, octets, words) in [
            (
                Direction::Down,
                &[0x03, 0x52, 0x07, 0x00, 0x01][..],
                "LinkADRReq: DR5, power step 2, channels 0000000000000111 of group 0, each message once",
            ),
            (
                Direction::Down,
                &[0x03, 0xff, 0x00, 0xff, 0x00],
                "LinkADRReq: the same data rate, the same power, channels 1111111100000000 of group 0, each message as often as before",
            ),
            (Direction::Down, &[0x04, 0x0f], "DutyCycleReq: on the air at most 1/32768 of the time"),
            (
                Direction::Down,
                &[0x05, 0x13, 0x28, 0x76, 0x84],
                "RXParamSetupReq: first window 1 data rates below the uplink, second window at DR3 on 868.1 MHz",
            ),
            (Direction::Up, &[0x03, 0x07], "LinkADRAns: takes power, data rate, channels"),
            (Direction::Up, &[0x03, 0x05], "LinkADRAns: refuses data rate, so nothing was changed"),
            (
                Direction::Up,
                &[0x06, 0xfe, 0x3f],
                "DevStatusAns: battery 100 %, heard the network with an SNR of -1 dB",
            ),
        ] {
            assert_eq!(commands(octets, direction), [words]);
        }
        let newer = commands(&[0x0b, 0x01], Direction::Up);
        assert!(newer[0].contains("LoRaWAN 1.1") && newer[0].contains("encrypts its options"), "{newer:?}");
    }
}
