//! Frames as they travel: shape first, then integrity, then content.

mod build;
mod data;
mod late;

pub use build::{Body, Draft, DraftError};
pub use data::{Content, DataFrame, FrameControl, Plaintext, Port, Verified, VerifyError};
pub use late::{AcceptedCounters, LATE_WINDOW};

pub use crate::envelope::{
    DATA_OVERHEAD, Direction, FrameError, MAX_FRAME_LEN, MAX_OPTIONS_LEN, MAX_PAYLOAD_LEN,
};
use crate::join::{EncryptedJoinAccept, JoinRequest};

/// A frame whose shape has been checked, and nothing else.
#[derive(Clone, Copy, Debug)]
pub enum Frame<'a> {
    /// A device asks to join.
    JoinRequest(JoinRequest<'a>),
    /// The network lets it; unreadable without the root key.
    JoinAccept(EncryptedJoinAccept<'a>),
    /// Data, up or down.
    Data(DataFrame<'a>),
}

/// Checks the shape of `bytes`: type, version and all lengths.
///
/// Reserved bits are ignored, as the standard asks; the integrity code covers them.
///
/// # Errors
/// [`FrameError`] if they are no frame of LoRaWAN 1.0.
///
/// # References
/// TS001-1.0.4, clauses 4.1 to 4.3 and 6.2, tables 2 to 11.
pub fn parse(bytes: &[u8]) -> Result<Frame<'_>, FrameError> {
    let &header = bytes.first().ok_or(FrameError::Empty)?;
    if bytes.len() > MAX_FRAME_LEN {
        return Err(FrameError::TooLong { found: bytes.len() });
    }
    let major = header & 0b11;
    if major != 0 {
        return Err(FrameError::Major { found: major });
    }
    match header >> 5 {
        0b000 => JoinRequest::parse(bytes).map(Frame::JoinRequest),
        0b001 => EncryptedJoinAccept::parse(bytes).map(Frame::JoinAccept),
        0b010 => DataFrame::parse(bytes, Direction::Up, false).map(Frame::Data),
        0b011 => DataFrame::parse(bytes, Direction::Down, false).map(Frame::Data),
        0b100 => DataFrame::parse(bytes, Direction::Up, true).map(Frame::Data),
        0b101 => DataFrame::parse(bytes, Direction::Down, true).map(Frame::Data),
        0b110 => Err(FrameError::Rejoin),
        _ => Err(FrameError::Proprietary),
    }
}
