//! What frames of every kind share: lengths, the way they go, and why bytes are none.

/// The longest frame: what the length octet of a LoRa packet can say.
pub const MAX_FRAME_LEN: usize = 255;
/// Octets of a data frame besides its payload, with a port and without options.
pub const DATA_OVERHEAD: usize = 13;
/// The longest payload of a data frame.
pub const MAX_PAYLOAD_LEN: usize = MAX_FRAME_LEN - DATA_OVERHEAD;
/// The most octets of MAC commands that fit in a frame's options.
pub const MAX_OPTIONS_LEN: usize = 15;

/// Way of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// From the device.
    Up,
    /// To the device.
    Down,
}

/// Bytes that are no frame of LoRaWAN 1.0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FrameError {
    /// Nothing at all.
    #[error("the frame is empty")]
    Empty,
    /// Longer than a LoRa packet can be.
    #[error("the frame has {found} bytes; a LoRa packet carries at most 255")]
    TooLong {
        /// Bytes of the frame.
        found: usize,
    },
    /// A major version other than LoRaWAN R1.
    #[error("the frame is of LoRaWAN major version {found}; only 0 (LoRaWAN R1) is known")]
    Major {
        /// Major version, 1 to 3.
        found: u8,
    },
    /// A rejoin-request, which exists in LoRaWAN 1.1 only.
    #[error("this is a rejoin-request: the device speaks LoRaWAN 1.1, set it to 1.0.x")]
    Rejoin,
    /// A frame type left to each maker.
    #[error("this is a proprietary frame, which only its maker can read")]
    Proprietary,
    /// A join-request of the wrong length.
    #[error("a join-request has 23 bytes, this one {found}")]
    JoinRequestLength {
        /// Bytes of the frame.
        found: usize,
    },
    /// A join-accept of the wrong length.
    #[error("a join-accept has 17 bytes, or 33 with a channel list, this one {found}")]
    JoinAcceptLength {
        /// Bytes of the frame.
        found: usize,
    },
    /// Too short for the fixed part of a data frame.
    #[error("a data frame has at least 12 bytes, this one {found}")]
    DataLength {
        /// Bytes of the frame.
        found: usize,
    },
    /// The options are said to be longer than what there is.
    #[error("the frame announces {announced} bytes of options and has room for {room}")]
    OptionsLength {
        /// Length in the frame control octet.
        announced: usize,
        /// Bytes between counter and integrity code.
        room: usize,
    },
    /// MAC commands in the options and on port 0 of one frame.
    #[error("the frame carries MAC commands in its options and on port 0; only one of them is allowed")]
    OptionsWithPortZero,
}
