//! Genuine frames that come after a newer one: over a slow way, or out of order.

use super::{DataFrame, Verified, VerifyError};
use crate::session::Session;

/// How far below the newest counter a frame may come \[counters\].
pub const LATE_WINDOW: u32 = 64;

/// Which of the counters just below the newest one were accepted; the caller keeps it beside the newest.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct AcceptedCounters(u64);

impl AcceptedCounters {
    /// From what [`Self::bits`] gave.
    pub const fn from_bits(bits: u64) -> Self {
        Self(bits)
    }

    /// Bit 0 stands for the counter one below the newest, bit 63 for the one 64 below.
    pub const fn bits(self) -> u64 {
        self.0
    }

    /// After a newer counter was accepted.
    #[must_use]
    pub fn after_newer(self, last: Option<u32>, fcnt: u32) -> Self {
        let Some(step) = last.and_then(|last| fcnt.checked_sub(last)).filter(|step| *step > 0) else {
            return self;
        };
        let moved = self.0.checked_shl(step).unwrap_or_default();
        // What was the newest is now below it.
        Self(moved | 1_u64.checked_shl(step - 1).unwrap_or_default())
    }

    /// After a late counter was accepted.
    #[must_use]
    pub fn after_late(self, last: u32, fcnt: u32) -> Self {
        Self(self.0 | bit(last, fcnt).unwrap_or_default())
    }

    /// Whether a counter within the window was accepted.
    pub fn holds(self, last: u32, fcnt: u32) -> bool {
        fcnt == last || bit(last, fcnt).is_some_and(|bit| self.0 & bit != 0)
    }
}

/// None beyond the window.
fn bit(last: u32, fcnt: u32) -> Option<u64> {
    let below = last.checked_sub(fcnt)?;
    (1..=LATE_WINDOW).contains(&below).then(|| 1 << (below - 1))
}

impl<'a> DataFrame<'a> {
    /// Checks that the frame is genuine, at most [`LATE_WINDOW`] below the newest counter `last`, and not yet accepted.
    ///
    /// What it carries is true, but old: it must not move the counter, be acted upon or be answered.
    ///
    /// # Errors
    /// [`VerifyError::CounterNotAbove`] if it is genuine but was accepted before, [`VerifyError::Mic`] if it is not
    /// genuine or lies beyond the window, [`VerifyError::OtherAddress`].
    pub fn verify_late<'k>(
        self,
        session: &'k Session,
        last: u32,
        seen: AcceptedCounters,
    ) -> Result<Verified<'a, 'k>, VerifyError> {
        if self.dev_addr != session.dev_addr {
            return Err(VerifyError::OtherAddress { frame: self.dev_addr, session: session.dev_addr });
        }
        // The window is narrower than what 16 bits tell apart: one counter of it at most ends in these bits.
        let [_, _, high, low] = last.to_be_bytes();
        let below = u32::from(u16::from_be_bytes([high, low]).wrapping_sub(self.carried_fcnt));
        let fcnt = last.checked_sub(below).filter(|_| below <= LATE_WINDOW).ok_or(VerifyError::Mic)?;
        if !self.signed_with(session, fcnt) {
            return Err(VerifyError::Mic);
        }
        if seen.holds(last, fcnt) {
            return Err(VerifyError::CounterNotAbove { fcnt, last_seen: last });
        }
        Ok(Verified { frame: self, session, fcnt })
    }
}
