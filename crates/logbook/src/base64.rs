//! Bytes as text: RFC 4648, section 4, and the alphabet of section 5 when reading.

const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

/// The text of bytes, without padding.
pub fn encode(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let bits =
            group.iter().fold(0_u32, |bits, byte| bits << 8 | u32::from(*byte)) << (8 * (3 - group.len()));
        for place in 0..=group.len() {
            let index = bits >> (18 - 6 * place) & 63;
            text.push(ALPHABET.get(index as usize).map_or('=', |letter| char::from(*letter)));
        }
    }
    text
}

/// The text of bytes, filled up to groups of four with `=`, as the section wants it and others may insist on.
pub fn encode_padded(bytes: &[u8]) -> String {
    let mut text = encode(bytes);
    while !text.len().is_multiple_of(4) {
        text.push('=');
    }
    text
}

/// Text that is not base64.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Base64Error {
    /// A character outside both alphabets.
    #[error("{found:?} at place {place} is no base64 digit")]
    Digit {
        /// The character.
        found: char,
        /// Its place in the text, the first being 1.
        place: usize,
    },
    /// One digit too many, or bits behind the last byte that are not zero.
    #[error("base64 text ends within a byte: {digits} digits; was it cut off?")]
    CutOff {
        /// Digits without padding.
        digits: usize,
    },
}

/// The bytes of a text with or without padding, in either alphabet (`+/` or `-_`).
///
/// # Errors
/// [`Base64Error`] on other characters, or if the text ends within a byte.
pub fn decode(text: &str) -> Result<Vec<u8>, Base64Error> {
    let digits = text.trim_end_matches('=');
    let cut_off = Base64Error::CutOff { digits: digits.chars().count() };
    let mut bytes = Vec::with_capacity(digits.len() * 3 / 4);
    let (mut bits, mut held) = (0_u32, 0);
    for (before, letter) in digits.chars().enumerate() {
        let digit = value(letter).ok_or(Base64Error::Digit { found: letter, place: before + 1 })?;
        bits = bits << 6 | digit;
        held += 6;
        if held >= 8 {
            held -= 8;
            bytes.push((bits >> held & 0xff) as u8);
            bits &= (1 << held) - 1;
        }
    }
    if held == 6 || bits != 0 { Err(cut_off) } else { Ok(bytes) }
}

fn value(letter: char) -> Option<u32> {
    Some(match letter {
        'A'..='Z' => u32::from(letter) - u32::from('A'),
        'a'..='z' => u32::from(letter) - u32::from('a') + 26,
        '0'..='9' => u32::from(letter) - u32::from('0') + 52,
        '+' | '-' => 62,
        '/' | '_' => 63,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The test vectors of RFC 4648, section 10.
    const VECTORS: [&str; 7] = ["", "Zg==", "Zm8=", "Zm9v", "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy"];

    #[test]
    fn text_is_that_of_the_standard() {
        for (length, coded) in VECTORS.iter().enumerate() {
            assert_eq!(encode(&b"foobar"[..length]), coded.trim_end_matches('='));
            assert_eq!(decode(coded).expect("a vector of the standard"), &b"foobar"[..length]);
        }
    }

    #[test]
    fn both_alphabets_are_read() {
        assert_eq!(decode("-_-_"), decode("+/+/"));
        assert_eq!(decode("+/+/"), Ok(vec![0xfb, 0xff, 0xbf]));
    }

    #[test]
    fn text_that_ends_within_a_byte_is_refused() {
        assert_eq!(decode("Zm9vY"), Err(Base64Error::CutOff { digits: 5 }));
        assert_eq!(decode("Zh"), Err(Base64Error::CutOff { digits: 2 }), "RFC 4648, section 3.5");
        assert_eq!(decode("Zm!v"), Err(Base64Error::Digit { found: '!', place: 3 }));
    }
}
