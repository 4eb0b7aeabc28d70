//! Frames whose copies are still awaited, found by number and by bytes.

use std::collections::BTreeMap;

use super::FrameNumber;
use super::compose::Heard;
use super::conversation::Wants;
use super::dedup::FrameDigest;
use super::kept::SessionId;
use crate::received::Moment;

/// A frame whose copies are still awaited.
#[derive(Debug)]
pub(super) struct Gathering {
    pub(super) frame: FrameNumber,
    pub(super) digest: FrameDigest,
    pub(super) due: Due,
    pub(super) first_at: Moment,
    pub(super) copies: Vec<Heard>,
    /// Its row is on disk.
    pub(super) kept: bool,
}

/// What it may get.
#[derive(Debug)]
pub(super) enum Due {
    Accept { session: SessionId, bytes: Vec<u8> },
    Answer { session: SessionId, wants: Wants, adapts: bool, again: bool },
}

impl Due {
    pub(super) const fn session(&self) -> SessionId {
        match self {
            Self::Accept { session, .. } | Self::Answer { session, .. } => *session,
        }
    }
}

/// All of them: at 20,000 frames a second a hundred wait at any time, and each copy looks for its own.
#[derive(Debug, Default)]
pub(super) struct Gatherings {
    by_frame: BTreeMap<FrameNumber, Gathering>,
    /// The first of those with these bytes.
    by_digest: BTreeMap<FrameDigest, FrameNumber>,
}

impl Gatherings {
    pub(super) fn add(&mut self, gathering: Gathering) {
        self.by_digest.entry(gathering.digest).or_insert(gathering.frame);
        self.by_frame.insert(gathering.frame, gathering);
    }

    /// The row of a frame is on disk.
    pub(super) fn kept(&mut self, frame: FrameNumber) {
        self.by_frame.entry(frame).and_modify(|one| one.kept = true);
    }

    /// The one that awaits copies of these bytes.
    pub(super) fn of(&mut self, digest: &FrameDigest) -> Option<&mut Gathering> {
        self.by_frame.get_mut(self.by_digest.get(digest)?)
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = &Gathering> {
        self.by_frame.values()
    }

    pub(super) fn iter_mut(&mut self) -> impl Iterator<Item = &mut Gathering> {
        self.by_frame.values_mut()
    }

    /// Takes out those of which this is true, in the order of their frames.
    pub(super) fn take(&mut self, is_over: impl Fn(&Gathering) -> bool) -> Vec<Gathering> {
        let taken: Vec<Gathering> =
            self.by_frame.extract_if(.., |_, one| is_over(one)).map(|(_, one)| one).collect();
        for one in &taken {
            if self.by_digest.get(&one.digest) == Some(&one.frame) {
                self.by_digest.remove(&one.digest);
            }
        }
        taken
    }
}
