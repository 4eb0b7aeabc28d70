//! Bits in bytes, most significant first.

/// Writes the `count` lowest bits of `code` after the first `offset` bits; what does not fit is dropped.
pub(super) fn put(bytes: &mut [u8], offset: u32, count: u32, code: u64) {
    for bit in 0..count {
        let place = offset + bit;
        if let Some(byte) = bytes.get_mut((place / 8) as usize)
            && (code >> (count - 1 - bit)) & 1 == 1
        {
            *byte |= 0x80 >> (place % 8);
        }
    }
}

/// `count` bits after the first `offset` bits, at most 64; what lies beyond the end is zero.
pub(super) fn get(bytes: &[u8], offset: u32, count: u32) -> u64 {
    (offset..offset + count).fold(0, |code, place| {
        let byte = bytes.get((place / 8) as usize).copied().unwrap_or(0);
        code << 1 | u64::from(byte >> (7 - place % 8) & 1)
    })
}
