//! MAC commands: what device and network settle between themselves, in the options of a frame or on port 0.
//!
//! All commands of LoRaWAN 1.0.x, class B's included. Reserved bits are ignored when read and zero when written.
//!
//! # References
//! TS001-1.0.4, clauses 5 (class A) and 12 (class B); clause 5 for the rule that an unknown command ends the sequence.

mod downlink;
mod uplink;

use std::marker::PhantomData;

pub use downlink::DownlinkCommand;
pub use uplink::UplinkCommand;

/// Command identifiers, shared by both directions: TS001-1.0.4, tables 14 and 61.
mod cid {
    pub(super) const LINK_CHECK: u8 = 0x02;
    pub(super) const LINK_ADR: u8 = 0x03;
    pub(super) const DUTY_CYCLE: u8 = 0x04;
    pub(super) const RX_PARAM_SETUP: u8 = 0x05;
    pub(super) const DEV_STATUS: u8 = 0x06;
    pub(super) const NEW_CHANNEL: u8 = 0x07;
    pub(super) const RX_TIMING_SETUP: u8 = 0x08;
    pub(super) const TX_PARAM_SETUP: u8 = 0x09;
    pub(super) const DL_CHANNEL: u8 = 0x0a;
    pub(super) const DEVICE_TIME: u8 = 0x0d;
    pub(super) const PING_SLOT_INFO: u8 = 0x10;
    pub(super) const PING_SLOT_CHANNEL: u8 = 0x11;
    pub(super) const BEACON_TIMING: u8 = 0x12;
    pub(super) const BEACON_FREQ: u8 = 0x13;
}

/// Why a sequence of MAC commands ends before its bytes do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CommandError {
    /// The bytes end within a command.
    #[error("MAC command {cid:#04x} is cut off: {missing} of its bytes are missing")]
    Truncated {
        /// Its identifier.
        cid: u8,
        /// Bytes that are missing.
        missing: usize,
    },
    /// A command of LoRaWAN 1.1.
    #[error("MAC command {cid:#04x} is one of LoRaWAN 1.1; set device and network to 1.0.x")]
    Lorawan11 {
        /// Its identifier.
        cid: u8,
    },
    /// A command that LoRaWAN 1.0 does not have; its length is unknown, so what follows it is lost.
    #[error("MAC command {cid:#04x} is unknown, and so is everything behind it")]
    Unknown {
        /// Its identifier.
        cid: u8,
    },
}

impl CommandError {
    /// For an identifier without a command in LoRaWAN 1.0.
    const fn no_command(cid: u8) -> Self {
        match cid {
            0x01 | 0x0b | 0x0c | 0x0e | 0x0f | 0x20 => Self::Lorawan11 { cid },
            _ => Self::Unknown { cid },
        }
    }
}

/// Commands of a device, from a verified uplink's options or the payload of its port 0.
pub fn uplink_commands(bytes: &[u8]) -> Commands<'_, UplinkCommand> {
    Commands { bytes, command: PhantomData }
}

/// Commands of a network, from a verified downlink's options or the payload of its port 0.
pub fn downlink_commands(bytes: &[u8]) -> Commands<'_, DownlinkCommand> {
    Commands { bytes, command: PhantomData }
}

/// Commands one after the other; an error is the last item.
#[derive(Clone, Debug)]
pub struct Commands<'a, C> {
    bytes: &'a [u8],
    command: PhantomData<C>,
}

impl<C: Decode> Iterator for Commands<'_, C> {
    type Item = Result<C, CommandError>;

    fn next(&mut self) -> Option<Self::Item> {
        let (&cid, bytes) = self.bytes.split_first()?;
        let mut payload = Payload { cid, bytes };
        let command = C::decode(cid, &mut payload);
        self.bytes = if command.is_ok() { payload.bytes } else { &[] };
        Some(command)
    }
}

impl<C: Decode> std::iter::FusedIterator for Commands<'_, C> {}

/// Public in name only: commands are of the two directions and no other.
mod sealed {
    use super::CommandError;

    /// A direction's commands.
    pub trait Decode: Sized {
        /// The command `cid`, its payload taken from the front of the bytes.
        fn decode(cid: u8, payload: &mut Payload<'_>) -> Result<Self, CommandError>;
    }

    /// The bytes behind a command identifier.
    #[derive(Debug)]
    pub struct Payload<'a> {
        pub(super) cid: u8,
        pub(super) bytes: &'a [u8],
    }

    impl Payload<'_> {
        pub(super) fn take<const N: usize>(&mut self) -> Result<[u8; N], CommandError> {
            let missing = N.saturating_sub(self.bytes.len());
            let truncated = CommandError::Truncated { cid: self.cid, missing };
            let (&taken, rest) = self.bytes.split_first_chunk().ok_or(truncated)?;
            self.bytes = rest;
            Ok(taken)
        }
    }
}
use sealed::{Decode, Payload};

const fn bit(octet: u8, place: u32) -> bool {
    octet >> place & 1 == 1
}

const fn bits<const N: usize>(flags: [bool; N]) -> u8 {
    let mut octet = 0;
    let mut place = 0;
    while place < N {
        octet |= (flags[place] as u8) << place;
        place += 1;
    }
    octet
}
