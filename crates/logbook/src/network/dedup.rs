//! Copies: the same bytes once more, from another gateway or sent again.

use std::collections::BTreeMap;

use sha2::{Digest as _, Sha256};

/// Frames of a session that are remembered by their digests; older copies are refused by their counter.
pub const REMEMBERED: usize = 1024;

/// Digest of a frame.
pub(super) type FrameDigest = [u8; 32];

pub(super) fn digest(frame: &[u8]) -> FrameDigest {
    Sha256::digest(frame).into()
}

/// The accepted frames of a session, by counter.
#[derive(Debug, Default)]
pub(super) struct Accepted(BTreeMap<u32, FrameDigest>);

impl Accepted {
    /// The counter of these very bytes, if they were accepted.
    pub(super) fn counter_of(&self, carried: u16, frame: &FrameDigest) -> Option<u32> {
        // Counters that end in the same 16 bits are far apart: one in what is remembered, or two.
        let epochs = self.0.keys().next().zip(self.0.keys().next_back());
        let (least, most) = epochs?;
        let mut counters = (least >> 16..=most >> 16).map(|epoch| epoch << 16 | u32::from(carried));
        counters.find(|fcnt| self.0.get(fcnt) == Some(frame))
    }

    /// Whether a frame with this counter was accepted.
    pub(super) fn used(&self, fcnt: u32) -> bool {
        self.0.contains_key(&fcnt)
    }

    pub(super) fn add(&mut self, fcnt: u32, frame: FrameDigest) {
        self.0.insert(fcnt, frame);
        if self.0.len() > REMEMBERED {
            self.0.pop_first();
        }
    }
}
