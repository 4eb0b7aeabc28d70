//! Hexadecimal text of a fixed length, with `-`, `:` and spaces between digits allowed.

/// What is wrong with the text; the caller knows what it was meant to be.
pub(crate) enum Fault {
    /// Another number of digits than twice the octets.
    Count {
        /// Digits in the text.
        found: usize,
    },
    /// Neither a digit nor a separator.
    Digit {
        /// The character.
        found: char,
        /// Its place in the text, the first being 1.
        place: usize,
    },
}

/// Fills `octets` from the digits of `text`, the first digit being the most significant.
pub(crate) fn decode_into(text: &str, octets: &mut [u8]) -> Result<(), Fault> {
    octets.fill(0);
    let mut count = 0;
    for (before, character) in text.chars().enumerate() {
        if matches!(character, '-' | ':' | ' ') {
            continue;
        }
        let digit = character.to_digit(16).and_then(|digit| u8::try_from(digit).ok());
        let digit = digit.ok_or(Fault::Digit { found: character, place: before + 1 })?;
        if let Some(octet) = octets.get_mut(count / 2) {
            *octet = (*octet << 4) | digit;
        }
        count += 1;
    }
    if count == 2 * octets.len() { Ok(()) } else { Err(Fault::Count { found: count }) }
}
