//! MAC commands from the network.

use super::sealed::{Decode, Payload};
use super::{CommandError, bit, cid};
use crate::field::{Bits, CarrierFrequency, DlSettings};

/// A MAC command that a network sends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DownlinkCommand {
    /// Tells how well the device is heard (clause 5.1).
    LinkCheckAns {
        /// Margin above the demodulation floor \[dB\], 0 to 254.
        margin_db: u8,
        /// Gateways that heard it.
        gateways: u8,
    },
    /// Sets data rate, power, channels and repetitions (clause 5.2).
    LinkAdrReq {
        /// Index of the data rate; 15 keeps the current one.
        data_rate: Bits<4>,
        /// Index of the transmit power; 15 keeps the current one.
        tx_power: Bits<4>,
        /// Channels, one bit each.
        channel_mask: u16,
        /// Which channels the mask is about; the region says.
        channel_mask_control: Bits<3>,
        /// Transmissions of each uplink; 0 keeps the current number.
        transmissions: Bits<4>,
    },
    /// Limits the duty cycle to 1/2^exponent (clause 5.3).
    DutyCycleReq {
        /// The exponent.
        exponent: Bits<4>,
    },
    /// Sets the receive windows (clause 5.4).
    RxParamSetupReq {
        /// Data rates of the windows.
        dl_settings: DlSettings,
        /// Frequency of the second window.
        frequency: CarrierFrequency,
    },
    /// Asks for battery and reception (clause 5.5).
    DevStatusReq,
    /// Sets a channel (clause 5.6).
    NewChannelReq {
        /// Index of the channel.
        channel: u8,
        /// Its frequency; 0 removes it.
        frequency: CarrierFrequency,
        /// Fastest data rate.
        max_data_rate: Bits<4>,
        /// Slowest data rate.
        min_data_rate: Bits<4>,
    },
    /// Sets the delay of the first receive window.
    RxTimingSetupReq {
        /// Delay \[s\]; 0 means 1 s.
        delay: Bits<4>,
    },
    /// Sets dwell time and radiated power.
    TxParamSetupReq {
        /// Downlinks are limited to 400 ms.
        downlink_dwell: bool,
        /// Uplinks are limited to 400 ms.
        uplink_dwell: bool,
        /// Index of the largest radiated power.
        max_eirp: Bits<4>,
    },
    /// Sets the frequency on which a channel's first window listens.
    DlChannelReq {
        /// Index of the channel.
        channel: u8,
        /// Frequency of the downlink.
        frequency: CarrierFrequency,
    },
    /// Tells the time at the end of the uplink that asked.
    DeviceTimeAns {
        /// Seconds since 6 January 1980, without leap seconds.
        gps_seconds: u32,
        /// Fraction of a second \[1/256 s\].
        fraction: u8,
    },
    /// Class B: acknowledges a `PingSlotInfoReq` (clause 12.1).
    PingSlotInfoAns,
    /// Class B: sets the channel of the ping slots (clause 12.3).
    PingSlotChannelReq {
        /// Frequency; 0 is the region's own.
        frequency: CarrierFrequency,
        /// Index of the data rate.
        data_rate: Bits<4>,
    },
    /// Class B, deprecated: tells when the next beacon comes (layout from memory).
    BeaconTimingAns {
        /// Delay of the beacon \[30 ms\].
        delay: u16,
        /// Its channel.
        channel: u8,
    },
    /// Class B: sets the frequency of the beacon (clause 12.2).
    BeaconFreqReq {
        /// Frequency; 0 is the region's own.
        frequency: CarrierFrequency,
    },
}

impl DownlinkCommand {
    /// Appends the command as it travels.
    pub fn encode(&self, out: &mut Vec<u8>) {
        match *self {
            Self::LinkCheckAns { margin_db, gateways } => out.extend([cid::LINK_CHECK, margin_db, gateways]),
            Self::LinkAdrReq { data_rate, tx_power, channel_mask, channel_mask_control, transmissions } => {
                let [m0, m1] = channel_mask.to_le_bytes();
                let redundancy = pair(channel_mask_control, transmissions);
                out.extend([cid::LINK_ADR, pair(data_rate, tx_power), m0, m1, redundancy]);
            }
            Self::DutyCycleReq { exponent } => out.extend([cid::DUTY_CYCLE, exponent.get()]),
            Self::RxParamSetupReq { dl_settings, frequency } => {
                around(out, [cid::RX_PARAM_SETUP, dl_settings.to_octet()], frequency, []);
            }
            Self::DevStatusReq => out.push(cid::DEV_STATUS),
            Self::NewChannelReq { channel, frequency, max_data_rate, min_data_rate } => {
                around(out, [cid::NEW_CHANNEL, channel], frequency, [pair(max_data_rate, min_data_rate)]);
            }
            Self::RxTimingSetupReq { delay } => out.extend([cid::RX_TIMING_SETUP, delay.get()]),
            Self::TxParamSetupReq { downlink_dwell, uplink_dwell, max_eirp } => {
                let dwell = u8::from(downlink_dwell) << 5 | u8::from(uplink_dwell) << 4;
                out.extend([cid::TX_PARAM_SETUP, dwell | max_eirp.get()]);
            }
            Self::DlChannelReq { channel, frequency } => {
                around(out, [cid::DL_CHANNEL, channel], frequency, []);
            }
            Self::DeviceTimeAns { gps_seconds, fraction } => {
                let [s0, s1, s2, s3] = gps_seconds.to_le_bytes();
                out.extend([cid::DEVICE_TIME, s0, s1, s2, s3, fraction]);
            }
            Self::PingSlotInfoAns => out.push(cid::PING_SLOT_INFO),
            Self::PingSlotChannelReq { frequency, data_rate } => {
                around(out, [cid::PING_SLOT_CHANNEL], frequency, [data_rate.get()]);
            }
            Self::BeaconTimingAns { delay, channel } => {
                let [d0, d1] = delay.to_le_bytes();
                out.extend([cid::BEACON_TIMING, d0, d1, channel]);
            }
            Self::BeaconFreqReq { frequency } => around(out, [cid::BEACON_FREQ], frequency, []),
        }
    }
}

fn around<const HEAD: usize, const TAIL: usize>(
    out: &mut Vec<u8>,
    head: [u8; HEAD],
    frequency: CarrierFrequency,
    tail: [u8; TAIL],
) {
    out.extend(head);
    out.extend(frequency.to_wire_bytes());
    out.extend(tail);
}

const fn pair<const HIGH: u32>(high: Bits<HIGH>, low: Bits<4>) -> u8 {
    high.get() << 4 | low.get()
}

impl Decode for DownlinkCommand {
    fn decode(cid: u8, payload: &mut Payload<'_>) -> Result<Self, CommandError> {
        match cid {
            cid::LINK_CHECK => {
                payload.take().map(|[margin_db, gateways]| Self::LinkCheckAns { margin_db, gateways })
            }
            cid::LINK_ADR => payload.take().map(|[rate, m0, m1, redundancy]| Self::LinkAdrReq {
                data_rate: Bits::high(rate),
                tx_power: Bits::low(rate),
                channel_mask: u16::from_le_bytes([m0, m1]),
                channel_mask_control: Bits::high(redundancy),
                transmissions: Bits::low(redundancy),
            }),
            cid::DUTY_CYCLE => payload.take().map(|[duty]| Self::DutyCycleReq { exponent: Bits::low(duty) }),
            cid::RX_PARAM_SETUP => payload.take().map(|[settings, f0, f1, f2]| Self::RxParamSetupReq {
                dl_settings: DlSettings::from_octet(settings),
                frequency: CarrierFrequency::from_wire_bytes([f0, f1, f2]),
            }),
            cid::DEV_STATUS => Ok(Self::DevStatusReq),
            cid::RX_TIMING_SETUP => {
                payload.take().map(|[delay]| Self::RxTimingSetupReq { delay: Bits::low(delay) })
            }
            cid::TX_PARAM_SETUP => payload.take().map(|[octet]| Self::TxParamSetupReq {
                downlink_dwell: bit(octet, 5),
                uplink_dwell: bit(octet, 4),
                max_eirp: Bits::low(octet),
            }),
            cid::DEVICE_TIME => payload.take().map(|[s0, s1, s2, s3, fraction]| Self::DeviceTimeAns {
                gps_seconds: u32::from_le_bytes([s0, s1, s2, s3]),
                fraction,
            }),
            cid::NEW_CHANNEL | cid::DL_CHANNEL => decode_channel(cid, payload),
            _ => decode_class_b(cid, payload),
        }
    }
}

fn decode_channel(cid: u8, payload: &mut Payload<'_>) -> Result<DownlinkCommand, CommandError> {
    if cid == cid::DL_CHANNEL {
        return payload.take().map(|[channel, f0, f1, f2]| DownlinkCommand::DlChannelReq {
            channel,
            frequency: CarrierFrequency::from_wire_bytes([f0, f1, f2]),
        });
    }
    payload.take().map(|[channel, f0, f1, f2, range]| DownlinkCommand::NewChannelReq {
        channel,
        frequency: CarrierFrequency::from_wire_bytes([f0, f1, f2]),
        max_data_rate: Bits::high(range),
        min_data_rate: Bits::low(range),
    })
}

fn decode_class_b(cid: u8, payload: &mut Payload<'_>) -> Result<DownlinkCommand, CommandError> {
    match cid {
        cid::PING_SLOT_INFO => Ok(DownlinkCommand::PingSlotInfoAns),
        cid::PING_SLOT_CHANNEL => {
            payload.take().map(|[f0, f1, f2, rate]| DownlinkCommand::PingSlotChannelReq {
                frequency: CarrierFrequency::from_wire_bytes([f0, f1, f2]),
                data_rate: Bits::low(rate),
            })
        }
        cid::BEACON_TIMING => payload.take().map(|[d0, d1, channel]| DownlinkCommand::BeaconTimingAns {
            delay: u16::from_le_bytes([d0, d1]),
            channel,
        }),
        cid::BEACON_FREQ => payload.take().map(|octets| DownlinkCommand::BeaconFreqReq {
            frequency: CarrierFrequency::from_wire_bytes(octets),
        }),
        _ => Err(CommandError::no_command(cid)),
    }
}
