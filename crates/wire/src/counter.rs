//! The frame counter: 32 bits, of which 16 travel.

/// Counter that a frame must have, given the 16 bits it carries and the last counter accepted: the smallest value
/// not below `last_seen` that ends in these bits. The integrity code, which covers all 32 bits, then decides.
///
/// It equals `last_seen` for a repeated frame, which the caller refuses. `None` when the counter would pass 32 bits:
/// the session is used up and the device must join again.
///
/// There is no largest gap: `MAX_FCNT_GAP` (16,384) went with 1.0.4.
///
/// # References
/// TS001-1.0.4, clause 4.3.1.5.
pub const fn rebuild(last_seen: Option<u32>, carried: u16) -> Option<u32> {
    let Some(last) = last_seen else { return Some(carried as u32) };
    let same_epoch = (last & 0xffff_0000) | carried as u32;
    if same_epoch >= last { Some(same_epoch) } else { same_epoch.checked_add(0x1_0000) }
}

/// Counters below `last_seen` that a genuine but stale frame may have: in the same epoch, or from before a reset.
pub(crate) fn stale(last_seen: u32, carried: u16) -> impl Iterator<Item = u32> {
    let epoch = last_seen & 0xffff_0000;
    [epoch | u32::from(carried), u32::from(carried)].into_iter().filter(move |&fcnt| fcnt <= last_seen)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counter_never_wraps_past_32_bits() {
        assert_eq!(rebuild(Some(u32::MAX), 0xffff), Some(u32::MAX));
        assert_eq!(rebuild(Some(u32::MAX), 0), None);
    }
}
