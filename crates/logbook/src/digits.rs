//! Octets as hex digits.

/// Lower-case digits, as digests are written.
pub(crate) fn hex(octets: &[u8]) -> String {
    let digits = octets.iter().flat_map(|octet| [octet >> 4, octet & 15]);
    digits.filter_map(|digit| char::from_digit(digit.into(), 16)).collect()
}
