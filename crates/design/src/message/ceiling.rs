//! How many application bytes a data rate carries.

use super::Message;
use crate::quantity::Bytes;
use crate::region::{PayloadConditions, Region};

/// The most MAC answers that ride along in a frame header (TS001-1.0.4, `FOpts`) \[bytes\].
pub const LONGEST_ANSWERS: usize = 15;

/// The longest message at one data rate \[application bytes\]; 0 where nothing can be sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ceiling {
    /// With nothing else in the frame.
    pub bytes: usize,
    /// With 15 bytes of MAC answers riding along; 0 if they fill the frame.
    pub with_answers: usize,
    /// Where a repeater may forward it.
    pub with_repeater: usize,
    /// With both.
    pub with_both: usize,
}

impl Ceiling {
    /// Of an uplink; `dwell` says whether the limit of 400 ms holds that a network can lift.
    #[must_use]
    pub fn up(region: &Region, data_rate: u8, dwell: bool) -> Self {
        Self::new(|repeater| region.largest_payload(data_rate, PayloadConditions { repeater, dwell }))
    }

    /// Of a downlink; the network's own commands take from it. No plan's downlink limits depend on a repeater here.
    #[must_use]
    pub fn down(region: &Region, data_rate: u8) -> Self {
        Self::new(|_| region.largest_downlink_payload(data_rate))
    }

    fn new(most: impl Fn(bool) -> usize) -> Self {
        let (bytes, with_repeater) = (most(false), most(true));
        Self {
            bytes,
            with_answers: bytes.saturating_sub(LONGEST_ANSWERS),
            with_repeater,
            with_both: with_repeater.saturating_sub(LONGEST_ANSWERS),
        }
    }
}

impl Message {
    /// Application bytes of the form that is sent at a data rate.
    #[must_use]
    pub fn bytes_at(&self, data_rate: u8) -> usize {
        self.layout(self.form_at(data_rate)).bytes
    }
}

/// Application bytes of an uplink at a data rate: of its message if it is designed, else as stated, in whole bytes.
#[must_use]
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "resolve keeps it between 0 and 242"
)]
pub fn bytes_at(messages: &[Message], name: Option<&str>, stated: Bytes, data_rate: u8) -> usize {
    let known = messages.iter().find(|known| Some(known.name.as_str()) == name);
    known.map_or(stated.bytes().ceil() as usize, |message| message.bytes_at(data_rate))
}
