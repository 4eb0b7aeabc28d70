//! MAC commands from the device.

use super::sealed::{Decode, Payload};
use super::{CommandError, bit, bits, cid};
use crate::field::Bits;

/// A MAC command that a device sends. An answer's flags say which of the settings it took; it takes all or none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UplinkCommand {
    /// Asks how well it is heard (clause 5.1).
    LinkCheckReq,
    /// Answers a `LinkADRReq` (clause 5.2).
    LinkAdrAns {
        /// Transmit power taken.
        power_ok: bool,
        /// Data rate taken.
        data_rate_ok: bool,
        /// Channel mask taken.
        channel_mask_ok: bool,
    },
    /// Answers a `DutyCycleReq` (clause 5.3).
    DutyCycleAns,
    /// Answers an `RXParamSetupReq` (clause 5.4).
    RxParamSetupAns {
        /// Offset of the first window taken.
        rx1_data_rate_offset_ok: bool,
        /// Data rate of the second window taken.
        rx2_data_rate_ok: bool,
        /// Frequency of the second window taken.
        frequency_ok: bool,
    },
    /// Reports battery and reception (clause 5.5).
    DevStatusAns {
        /// 0 external power, 1 empty to 254 full, 255 not measured.
        battery: u8,
        /// Signal-to-noise ratio of the last `DevStatusReq` \[dB\], -32 to 31; written saturated.
        snr_db: i8,
    },
    /// Answers a `NewChannelReq` (clause 5.6).
    NewChannelAns {
        /// Range of data rates taken.
        data_rate_range_ok: bool,
        /// Frequency taken.
        frequency_ok: bool,
    },
    /// Answers an `RXTimingSetupReq`.
    RxTimingSetupAns,
    /// Answers a `TXParamSetupReq`.
    TxParamSetupAns,
    /// Answers a `DlChannelReq`.
    DlChannelAns {
        /// The channel has an uplink frequency.
        uplink_frequency_exists: bool,
        /// Frequency taken.
        frequency_ok: bool,
    },
    /// Asks for the time.
    DeviceTimeReq,
    /// Class B: tells how often it opens a ping slot (clause 12.1).
    PingSlotInfoReq {
        /// A slot every 0.96 x 2^periodicity seconds.
        periodicity: Bits<3>,
    },
    /// Class B: answers a `PingSlotChannelReq` (clause 12.3).
    PingSlotChannelAns {
        /// Data rate taken.
        data_rate_ok: bool,
        /// Frequency taken.
        frequency_ok: bool,
    },
    /// Class B, deprecated: asks when the next beacon comes.
    BeaconTimingReq,
    /// Class B: answers a `BeaconFreqReq` (clause 12.2).
    BeaconFreqAns {
        /// Frequency taken.
        frequency_ok: bool,
    },
}

impl UplinkCommand {
    /// Appends the command as it travels.
    pub fn encode(&self, out: &mut Vec<u8>) {
        match *self {
            Self::LinkCheckReq => out.push(cid::LINK_CHECK),
            Self::LinkAdrAns { power_ok, data_rate_ok, channel_mask_ok } => {
                out.extend([cid::LINK_ADR, bits([channel_mask_ok, data_rate_ok, power_ok])]);
            }
            Self::DutyCycleAns => out.push(cid::DUTY_CYCLE),
            Self::RxParamSetupAns { rx1_data_rate_offset_ok, rx2_data_rate_ok, frequency_ok } => {
                out.extend([
                    cid::RX_PARAM_SETUP,
                    bits([frequency_ok, rx2_data_rate_ok, rx1_data_rate_offset_ok]),
                ]);
            }
            Self::DevStatusAns { battery, snr_db } => {
                out.extend([cid::DEV_STATUS, battery, snr_db.clamp(-32, 31).cast_unsigned() & 0x3f]);
            }
            Self::NewChannelAns { data_rate_range_ok, frequency_ok } => {
                out.extend([cid::NEW_CHANNEL, bits([frequency_ok, data_rate_range_ok])]);
            }
            Self::RxTimingSetupAns => out.push(cid::RX_TIMING_SETUP),
            Self::TxParamSetupAns => out.push(cid::TX_PARAM_SETUP),
            Self::DlChannelAns { uplink_frequency_exists, frequency_ok } => {
                out.extend([cid::DL_CHANNEL, bits([frequency_ok, uplink_frequency_exists])]);
            }
            Self::DeviceTimeReq => out.push(cid::DEVICE_TIME),
            Self::PingSlotInfoReq { periodicity } => out.extend([cid::PING_SLOT_INFO, periodicity.get()]),
            Self::PingSlotChannelAns { data_rate_ok, frequency_ok } => {
                out.extend([cid::PING_SLOT_CHANNEL, bits([frequency_ok, data_rate_ok])]);
            }
            Self::BeaconTimingReq => out.push(cid::BEACON_TIMING),
            Self::BeaconFreqAns { frequency_ok } => out.extend([cid::BEACON_FREQ, bits([frequency_ok])]),
        }
    }
}

impl Decode for UplinkCommand {
    fn decode(cid: u8, payload: &mut Payload<'_>) -> Result<Self, CommandError> {
        match cid {
            cid::LINK_CHECK => Ok(Self::LinkCheckReq),
            cid::LINK_ADR => payload.take().map(|[status]| Self::LinkAdrAns {
                power_ok: bit(status, 2),
                data_rate_ok: bit(status, 1),
                channel_mask_ok: bit(status, 0),
            }),
            cid::DUTY_CYCLE => Ok(Self::DutyCycleAns),
            cid::RX_PARAM_SETUP => payload.take().map(|[status]| Self::RxParamSetupAns {
                rx1_data_rate_offset_ok: bit(status, 2),
                rx2_data_rate_ok: bit(status, 1),
                frequency_ok: bit(status, 0),
            }),
            cid::DEV_STATUS => payload.take().map(|[battery, radio]| Self::DevStatusAns {
                battery,
                // Bits 5:0 are signed: shifted up they bring their sign along.
                snr_db: (radio << 2).cast_signed() >> 2,
            }),
            cid::NEW_CHANNEL => payload.take().map(|[status]| Self::NewChannelAns {
                data_rate_range_ok: bit(status, 1),
                frequency_ok: bit(status, 0),
            }),
            cid::RX_TIMING_SETUP => Ok(Self::RxTimingSetupAns),
            cid::TX_PARAM_SETUP => Ok(Self::TxParamSetupAns),
            cid::DL_CHANNEL => payload.take().map(|[status]| Self::DlChannelAns {
                uplink_frequency_exists: bit(status, 1),
                frequency_ok: bit(status, 0),
            }),
            cid::DEVICE_TIME => Ok(Self::DeviceTimeReq),
            _ => decode_class_b(cid, payload),
        }
    }
}

fn decode_class_b(cid: u8, payload: &mut Payload<'_>) -> Result<UplinkCommand, CommandError> {
    match cid {
        cid::PING_SLOT_INFO => {
            payload.take().map(|[slot]| UplinkCommand::PingSlotInfoReq { periodicity: Bits::low(slot) })
        }
        cid::PING_SLOT_CHANNEL => payload.take().map(|[status]| UplinkCommand::PingSlotChannelAns {
            data_rate_ok: bit(status, 1),
            frequency_ok: bit(status, 0),
        }),
        cid::BEACON_TIMING => Ok(UplinkCommand::BeaconTimingReq),
        cid::BEACON_FREQ => {
            payload.take().map(|[status]| UplinkCommand::BeaconFreqAns { frequency_ok: bit(status, 0) })
        }
        _ => Err(CommandError::no_command(cid)),
    }
}
