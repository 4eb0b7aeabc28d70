//! What becomes of a frame, in the words of log, page and export.

use std::fmt;

use wire::frame::FrameError;
use wire::identity::{DevEui, JoinEui};

/// What became of a frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Genuine, and its counter is above the last.
    New,
    /// Genuine and not seen yet, but a newer one came before it: true, and never acted upon.
    Late,
    /// The very bytes of a frame that was accepted: another gateway, or a repetition.
    Copy,
    /// A device asks to join for the first time with this nonce.
    Join,
    /// Kept, and nothing else.
    Refused(Refusal),
}

/// Why a frame has no effect.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// The gateway says that its checksum does not fit.
    Checksum,
    /// No gateway of this site heard it.
    Gateway,
    /// It is no frame of LoRaWAN 1.0.
    Shape(FrameError),
    /// Networks send such frames, devices do not.
    NotUplink,
    /// No device of this site has this address.
    Foreign,
    /// No device of this site has this identity.
    UnknownDevice,
    /// The join-request is not made with the device's root key.
    JoinMic,
    /// The nonce is not above the last one, or was used.
    Nonce {
        /// Nonce of the request.
        found: u16,
        /// The last one accepted.
        last: u16,
    },
    /// The integrity code is of no session of the device.
    Mic,
    /// Genuine, but its counter is too far below, or was used.
    Counter {
        /// Its counter.
        found: u32,
        /// The newest of the session.
        last: u32,
        /// Whether it was accepted before, with other bytes: the device has lost its memory, and its keystream repeats.
        used: bool,
    },
    /// Genuine under a session that is closed: a recording.
    OldSession,
}

/// What probably is the matter, where it is not the frame itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hint {
    /// The DevEUI of the request is that of this device, read in the other order.
    DevEuiReversed(DevEui),
    /// The JoinEUI of the request is that of its row, read in the other order.
    JoinEuiReversed(JoinEui),
    /// The device asks another join server than its row says.
    OtherJoinEui {
        /// Of the request.
        found: JoinEui,
        /// Of the row.
        registered: JoinEui,
    },
    /// It has the right key, but its row in the registry is closed.
    Retired,
    /// Its address is that of a device of this site, and it was sent in another network: addresses are not unique.
    SharedAddress,
    /// Its joins are nearly used up: nonces count to 65,535 and never begin anew.
    NoncesEnd {
        /// Joins that are left.
        left: u16,
    },
    /// It came on a frequency that is no channel of the region.
    Channel {
        /// Frequency \[Hz\].
        frequency_hz: u32,
    },
}

impl Verdict {
    /// The word that log, page and export use.
    ///
    /// A counter that was used with other bytes has the word of any other old counter, `refused:counter`, as its frame is as
    /// genuine and as useless; [`Refusal`]'s own text then begins with `reset`.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::New => "new",
            Self::Late => "late",
            Self::Copy => "copy",
            Self::Join => "join",
            Self::Refused(refusal) => match refusal {
                Refusal::Checksum => "refused:crc",
                Refusal::Gateway => "refused:gateway",
                Refusal::Shape(_) => "refused:shape",
                Refusal::NotUplink => "refused:not-uplink",
                Refusal::Foreign => "refused:foreign",
                Refusal::UnknownDevice => "refused:unknown-device",
                Refusal::JoinMic => "refused:join-mic",
                Refusal::Nonce { .. } => "refused:nonce",
                Refusal::Mic => "refused:mic",
                Refusal::Counter { .. } => "refused:counter",
                Refusal::OldSession => "refused:old-session",
            },
        }
    }
}

impl fmt::Display for Verdict {
    /// [`Verdict::word`].
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

impl fmt::Display for Refusal {
    /// Why, in a sentence without a full stop, for the column `reason`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Checksum => {
                f.write_str("damaged on the air: the gateway says that its checksum does not fit")
            }
            Self::Gateway => f.write_str("heard by a gateway that the site file does not name"),
            Self::Shape(error) => write!(f, "no frame of LoRaWAN 1.0: {error}"),
            Self::NotUplink => f.write_str("sent by a network, not by a device"),
            Self::Foreign => f.write_str("its address is that of no device here"),
            Self::UnknownDevice => f.write_str("asks to join, and nobody enrolled it here"),
            Self::JoinMic => f.write_str("asks to join with another root key than the key box holds"),
            Self::Nonce { found, last } => {
                write!(
                    f,
                    "asks to join with nonce {found}, and {last} was used: a recording, or its memory is lost"
                )
            }
            Self::Mic => {
                f.write_str("its integrity code is of no session of this device: forged, or damaged")
            }
            Self::Counter { found, last, used: true } => write!(
                f,
                "reset: counter {found} was used with other bytes (the newest is {last}); the device has lost its memory \
                 and must join again"
            ),
            Self::Counter { found, last, used: false } => {
                write!(f, "counter {found} is too far below the newest, {last}: a recording")
            }
            Self::OldSession => f.write_str("genuine in a session that is closed: a recording"),
        }
    }
}

impl fmt::Display for Hint {
    /// In a sentence without a full stop.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::DevEuiReversed(known) => {
                write!(
                    f,
                    "read the other way round it is {known}: its firmware has the DevEUI in the wrong order"
                )
            }
            Self::JoinEuiReversed(known) => {
                write!(
                    f,
                    "read the other way round its JoinEUI is {known}: its firmware has it in the wrong order"
                )
            }
            Self::OtherJoinEui { found, registered } => {
                write!(f, "it asks JoinEUI {found}, and the registry says {registered}")
            }
            Self::Retired => {
                f.write_str("its key is right, but its row in the registry is closed: enrol it again")
            }
            Self::SharedAddress => {
                f.write_str("a device of another network may have the same address; alone it means nothing")
            }
            Self::NoncesEnd { left } => {
                write!(f, "it can join {left} more times, then never again: find out why it joins so often")
            }
            Self::Channel { frequency_hz } => write!(
                f,
                "{:.3} MHz is no channel of this region: is the device set to another plan?",
                f64::from(*frequency_hz) / 1e6
            ),
        }
    }
}
