//! Data frames to be sent.

use super::{Direction, FrameControl, MAX_FRAME_LEN, MAX_OPTIONS_LEN, Port};
use crate::cipher::{Cipher, MIC_LEN, Nonce};
use crate::session::Session;

/// A data frame before it is encrypted and signed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Draft<'a> {
    /// Which way it goes.
    pub direction: Direction,
    /// Whether it asks for an acknowledgement.
    pub confirmed: bool,
    /// Its flags.
    pub control: FrameControl,
    /// Its counter. Never twice the same in one direction of one session: the keystream would repeat.
    pub fcnt: u32,
    /// What it carries.
    pub body: Body<'a>,
}

/// What a draft carries. MAC commands go in the options or on port 0, and this type cannot say both.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Body<'a> {
    /// No port and no payload; MAC commands, if any, in the options.
    Empty {
        /// At most [`MAX_OPTIONS_LEN`] bytes, sent in the clear.
        options: &'a [u8],
    },
    /// MAC commands on port 0, encrypted.
    Commands(&'a [u8]),
    /// The application's bytes.
    Application {
        /// Its port.
        port: Port,
        /// Its bytes in the clear.
        payload: &'a [u8],
        /// At most [`MAX_OPTIONS_LEN`] bytes, sent in the clear.
        options: &'a [u8],
    },
}

/// A draft that is no frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DraftError {
    /// The options do not fit.
    #[error("the options have {found} bytes and hold at most 15; send the MAC commands on port 0")]
    OptionsLength {
        /// Bytes of MAC commands.
        found: usize,
    },
    /// The whole does not fit.
    #[error("the frame would have {found} bytes; a LoRa packet carries at most 255")]
    FrameLength {
        /// Bytes of the frame.
        found: usize,
    },
}

impl Draft<'_> {
    /// The frame as it travels: payload encrypted, integrity code appended.
    ///
    /// The region's own limit on the length at a data rate is the caller's to keep.
    ///
    /// # Errors
    /// [`DraftError`] if options or payload are too long for any LoRaWAN frame.
    ///
    /// # References
    /// TS001-1.0.4, clauses 4.3 and 4.4.
    pub fn seal(&self, session: &Session) -> Result<Vec<u8>, DraftError> {
        let options = self.options();
        let options_len = u8::try_from(options.len())
            .ok()
            .filter(|&len| usize::from(len) <= MAX_OPTIONS_LEN)
            .ok_or(DraftError::OptionsLength { found: options.len() })?;
        let mut bytes = vec![self.header()];
        bytes.extend(session.dev_addr.to_wire_bytes());
        bytes.push(self.control.octet() | options_len);
        let [f0, f1, ..] = self.fcnt.to_le_bytes();
        bytes.extend([f0, f1]);
        bytes.extend(options);
        let nonce = Nonce { direction: self.direction, dev_addr: session.dev_addr, fcnt: self.fcnt };
        if let Some((port, cipher, payload)) = self.content(session) {
            let found = bytes.len() + 1 + payload.len() + MIC_LEN;
            if found > MAX_FRAME_LEN {
                return Err(DraftError::FrameLength { found });
            }
            bytes.push(port);
            let mut encrypted = payload.to_vec();
            cipher.apply_keystream(nonce, &mut encrypted);
            bytes.extend(encrypted);
        }
        let mic = session.network.mic(&nonce.mic_block(bytes.len()), &bytes);
        bytes.extend(mic);
        Ok(bytes)
    }

    /// Frame type, with major version 0: TS001-1.0.4, table 4.
    const fn header(&self) -> u8 {
        match (self.direction, self.confirmed) {
            (Direction::Up, false) => 0x40,
            (Direction::Down, false) => 0x60,
            (Direction::Up, true) => 0x80,
            (Direction::Down, true) => 0xa0,
        }
    }

    const fn options(&self) -> &[u8] {
        match self.body {
            Body::Commands(_) => &[],
            Body::Empty { options } | Body::Application { options, .. } => options,
        }
    }

    /// Port, the cipher that hides the payload, and the payload.
    const fn content<'s>(&'s self, session: &'s Session) -> Option<(u8, &'s Cipher, &'s [u8])> {
        match self.body {
            Body::Empty { .. } => None,
            Body::Commands(commands) => Some((0, &session.network, commands)),
            Body::Application { port, payload, .. } => Some((port.get(), &session.application, payload)),
        }
    }
}
