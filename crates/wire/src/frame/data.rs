//! Data frames: parsed, verified, decrypted.

use std::fmt;
use std::num::NonZeroU8;
use std::ops::Deref;

use super::{Direction, FrameError, MAX_PAYLOAD_LEN};
use crate::cipher::{MIC_LEN, Nonce};
use crate::counter;
use crate::identity::DevAddr;
use crate::session::Session;

/// Port of application data. Port 0 is for MAC commands and has no value here; 1 to 223 are the application's, 224 is
/// the test protocol's, 225 to 255 are reserved (TS001-1.0.4, table 11).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Port(NonZeroU8);

impl Port {
    /// The port, unless it is 0.
    pub const fn new(port: u8) -> Option<Self> {
        match NonZeroU8::new(port) {
            Some(port) => Some(Self(port)),
            None => None,
        }
    }

    /// Its number, 1 to 255.
    pub const fn get(self) -> u8 {
        self.0.get()
    }
}

/// The flags of a data frame (FCtrl without the length of the options).
///
/// # References
/// TS001-1.0.4, tables 7 and 8.
#[derive(Clone, Copy, Default, PartialEq, Eq)]
pub struct FrameControl(u8);

impl FrameControl {
    const ADR: u8 = 0x80;
    const ADR_ACK_REQUEST: u8 = 0x40;
    const ACK: u8 = 0x20;
    const BIT_4: u8 = 0x10;

    pub(super) const fn from_octet(octet: u8) -> Self {
        Self(octet & 0xf0)
    }

    pub(super) const fn octet(self) -> u8 {
        self.0
    }

    /// The network controls the device's data rate.
    pub const fn adr(self) -> bool {
        self.0 & Self::ADR != 0
    }

    /// Uplink only: the device asks for any downlink, to know that it is still heard.
    pub const fn adr_ack_request(self) -> bool {
        self.0 & Self::ADR_ACK_REQUEST != 0
    }

    /// The last confirmed frame of the other side has arrived.
    pub const fn ack(self) -> bool {
        self.0 & Self::ACK != 0
    }

    /// Downlink only: more is waiting.
    pub const fn frame_pending(self) -> bool {
        self.0 & Self::BIT_4 != 0
    }

    /// Uplink only: the device listens in ping slots.
    pub const fn class_b(self) -> bool {
        self.0 & Self::BIT_4 != 0
    }

    /// With the flag of [`Self::adr`].
    #[must_use]
    pub const fn with_adr(self) -> Self {
        Self(self.0 | Self::ADR)
    }

    /// With the flag of [`Self::adr_ack_request`].
    #[must_use]
    pub const fn with_adr_ack_request(self) -> Self {
        Self(self.0 | Self::ADR_ACK_REQUEST)
    }

    /// With the flag of [`Self::ack`].
    #[must_use]
    pub const fn with_ack(self) -> Self {
        Self(self.0 | Self::ACK)
    }

    /// With the flag of [`Self::frame_pending`].
    #[must_use]
    pub const fn with_frame_pending(self) -> Self {
        Self(self.0 | Self::BIT_4)
    }
}

impl fmt::Debug for FrameControl {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "FrameControl({:#04x})", self.0)
    }
}

/// A data frame of sound shape. Whoever holds a radio may have made it: see [`Self::verify`].
#[derive(Clone, Copy, Debug)]
pub struct DataFrame<'a> {
    direction: Direction,
    confirmed: bool,
    pub(super) dev_addr: DevAddr,
    control: FrameControl,
    pub(super) carried_fcnt: u16,
    options: &'a [u8],
    port: Option<u8>,
    encrypted: &'a [u8],
    signed: &'a [u8],
    mic: [u8; MIC_LEN],
}

impl<'a> DataFrame<'a> {
    pub(super) fn parse(bytes: &'a [u8], direction: Direction, confirmed: bool) -> Result<Self, FrameError> {
        let too_short = FrameError::DataLength { found: bytes.len() };
        let (signed, &mic) = bytes.split_last_chunk().ok_or(too_short)?;
        let (header, rest) = signed.split_first_chunk().ok_or(too_short)?;
        let &[_, a0, a1, a2, a3, control, f0, f1] = header;
        let announced = usize::from(control & 0x0f);
        let (options, body) = rest
            .split_at_checked(announced)
            .ok_or(FrameError::OptionsLength { announced, room: rest.len() })?;
        let (port, encrypted) = match body.split_first() {
            None => (None, body),
            Some((&port, encrypted)) => (Some(port), encrypted),
        };
        if port == Some(0) && !options.is_empty() {
            return Err(FrameError::OptionsWithPortZero);
        }
        Ok(Self {
            direction,
            confirmed,
            dev_addr: DevAddr::from_wire_bytes([a0, a1, a2, a3]),
            control: FrameControl::from_octet(control),
            carried_fcnt: u16::from_le_bytes([f0, f1]),
            options,
            port,
            encrypted,
            signed,
            mic,
        })
    }

    /// Which way it goes.
    pub const fn direction(&self) -> Direction {
        self.direction
    }

    /// Whether its sender asks for an acknowledgement.
    pub const fn confirmed(&self) -> bool {
        self.confirmed
    }

    /// Address of the device.
    pub const fn dev_addr(&self) -> DevAddr {
        self.dev_addr
    }

    /// Its flags.
    pub const fn control(&self) -> FrameControl {
        self.control
    }

    /// The 16 low bits of its counter.
    pub const fn carried_fcnt(&self) -> u16 {
        self.carried_fcnt
    }

    /// MAC commands in its options: unencrypted, at most 15 bytes.
    pub const fn options(&self) -> &'a [u8] {
        self.options
    }

    /// Its port, 0 for MAC commands; none if it carries no payload.
    pub const fn port(&self) -> Option<u8> {
        self.port
    }

    /// Its payload as it travels.
    pub const fn encrypted_payload(&self) -> &'a [u8] {
        self.encrypted
    }

    /// Its integrity code as it travels.
    pub const fn mic(&self) -> [u8; MIC_LEN] {
        self.mic
    }

    /// Checks that the frame is genuine and new: integrity code in constant time, counter above `last_seen`.
    ///
    /// `last_seen` is the last counter accepted in this direction and session, none before the first. Keep the
    /// counter of the result before acting on the frame.
    ///
    /// # Errors
    /// [`VerifyError`] says why not. Frames of [`VerifyError::CounterNotAbove`] have a sound integrity code:
    /// repetitions, recordings played back, or a device that lost its counter.
    ///
    /// # References
    /// TS001-1.0.4, clauses 4.3.1.5 and 4.4.
    pub fn verify<'k>(
        self,
        session: &'k Session,
        last_seen: Option<u32>,
    ) -> Result<Verified<'a, 'k>, VerifyError> {
        if self.dev_addr != session.dev_addr {
            return Err(VerifyError::OtherAddress { frame: self.dev_addr, session: session.dev_addr });
        }
        let expected = counter::rebuild(last_seen, self.carried_fcnt);
        if let Some(fcnt) = expected.filter(|&fcnt| last_seen.is_none_or(|last| fcnt > last))
            && self.signed_with(session, fcnt)
        {
            return Ok(Verified { frame: self, session, fcnt });
        }
        let Some(last_seen) = last_seen else { return Err(VerifyError::Mic) };
        let stale =
            counter::stale(last_seen, self.carried_fcnt).find(|&fcnt| self.signed_with(session, fcnt));
        Err(match stale {
            Some(fcnt) => VerifyError::CounterNotAbove { fcnt, last_seen },
            None if expected.is_none() => VerifyError::CounterExhausted,
            None => VerifyError::Mic,
        })
    }

    pub(super) fn signed_with(&self, session: &Session, fcnt: u32) -> bool {
        let prefix = self.nonce(fcnt).mic_block(self.signed.len());
        session.network.mic_matches(&prefix, self.signed, self.mic)
    }

    const fn nonce(&self, fcnt: u32) -> Nonce {
        Nonce { direction: self.direction, dev_addr: self.dev_addr, fcnt }
    }
}

/// Why a data frame is not accepted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum VerifyError {
    /// It is of another device.
    #[error("the frame is of device address {frame}, the session of {session}")]
    OtherAddress {
        /// Address in the frame.
        frame: DevAddr,
        /// Address of the session.
        session: DevAddr,
    },
    /// Forged, damaged, or signed with another key or counter.
    #[error("the integrity code does not match: wrong network session key, a damaged frame, or a forged one")]
    Mic,
    /// Genuine, but not new.
    #[error(
        "the frame is genuine but its counter {fcnt} is not above {last_seen}: \
         a repetition, a replay, or a device that lost its counter"
    )]
    CounterNotAbove {
        /// Counter of the frame.
        fcnt: u32,
        /// Last counter accepted.
        last_seen: u32,
    },
    /// The session has used all counters.
    #[error("the frame counter of this session is used up; the device must join again")]
    CounterExhausted,
}

/// A data frame that is genuine and new.
#[derive(Clone, Copy, Debug)]
pub struct Verified<'a, 'k> {
    pub(super) frame: DataFrame<'a>,
    pub(super) session: &'k Session,
    pub(super) fcnt: u32,
}

impl<'a> Verified<'a, '_> {
    /// The frame.
    pub const fn frame(&self) -> &DataFrame<'a> {
        &self.frame
    }

    /// Its counter, all 32 bits: the next `last_seen`.
    pub const fn fcnt(&self) -> u32 {
        self.fcnt
    }

    /// What it carries, in the clear.
    ///
    /// # References
    /// TS001-1.0.4, clause 4.3.3.
    pub fn decrypt(&self) -> Content {
        let nonce = self.frame.nonce(self.fcnt);
        let Some(port) = self.frame.port else { return Content::Empty };
        let mut plaintext = Plaintext::copy_of(self.frame.encrypted);
        match Port::new(port) {
            None => {
                self.session.network.apply_keystream(nonce, plaintext.as_mut());
                Content::Commands(plaintext)
            }
            Some(port) => {
                self.session.application.apply_keystream(nonce, plaintext.as_mut());
                Content::Application { port, payload: plaintext }
            }
        }
    }
}

/// What a data frame carries besides its options.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Content {
    /// Neither port nor payload.
    Empty,
    /// MAC commands: the payload of port 0.
    Commands(Plaintext),
    /// The application's bytes.
    Application {
        /// Its port.
        port: Port,
        /// Its bytes; may be none.
        payload: Plaintext,
    },
}

/// A decrypted payload, at most [`MAX_PAYLOAD_LEN`] bytes; reads as a slice.
#[derive(Clone)]
pub struct Plaintext {
    bytes: [u8; MAX_PAYLOAD_LEN],
    len: usize,
}

impl Plaintext {
    /// Bytes beyond the longest payload do not exist: [`super::parse`] refuses such frames.
    fn copy_of(encrypted: &[u8]) -> Self {
        let mut bytes = [0; MAX_PAYLOAD_LEN];
        let len = encrypted.len().min(MAX_PAYLOAD_LEN);
        if let (Some(to), Some(from)) = (bytes.get_mut(..len), encrypted.get(..len)) {
            to.copy_from_slice(from);
        }
        Self { bytes, len }
    }

    fn as_mut(&mut self) -> &mut [u8] {
        self.bytes.get_mut(..self.len).unwrap_or_default()
    }
}

impl Deref for Plaintext {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        self.bytes.get(..self.len).unwrap_or_default()
    }
}

impl PartialEq for Plaintext {
    fn eq(&self, other: &Self) -> bool {
        **self == **other
    }
}

impl Eq for Plaintext {}

impl fmt::Debug for Plaintext {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(self.iter()).finish()
    }
}
