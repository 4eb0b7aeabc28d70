//! The key box.

use std::path::Path;

use logbook::keys::{KeyBox, Passphrase};
use zeroize::Zeroizing;

use crate::{Recipe, with_bit_turned};

const BOX: &[u8] = include_bytes!("../../logbook/tests/data/v1/keys.age");
const PASSPHRASE: &str = "larkmoor in the rain";
/// The work of a box may be this much here; more would only heat the room.
const MOST_WORK: u32 = 6;

/// Nothing opens but the very bytes that were sealed, with the very passphrase.
pub fn holds(bytes: &[u8]) {
    if work(bytes).is_some_and(|work| work > MOST_WORK) {
        return;
    }
    assert!(!opens(bytes, PASSPHRASE) || bytes == BOX, "other bytes open");
    let mut recipe = Recipe(bytes);
    let damage = usize::from(u16::from_be_bytes(recipe.octets()));
    let turned = with_bit_turned(BOX, damage);
    assert!(work(&turned).is_some_and(|work| work > MOST_WORK) || !opens(&turned, PASSPHRASE));
    assert!(!opens(&BOX[..damage % BOX.len()], PASSPHRASE), "it is cut off");
    let other = String::from_utf8_lossy(recipe.rest(40));
    // HMAC, on which scrypt stands, fills a short key with zero bytes (RFC 2104, section 2): nobody can type those.
    let is_same = other.trim_end_matches('\0') == PASSPHRASE;
    assert_eq!(opens(BOX, &other), is_same, "{other:?}");
}

fn opens(sealed: &[u8], passphrase: &str) -> bool {
    let Ok(passphrase) = Passphrase::new(Zeroizing::new(passphrase.to_owned())) else { return false };
    KeyBox::from_sealed(Path::new("keys.age"), sealed, &passphrase).is_ok()
}

/// What the second line asks for.
fn work(sealed: &[u8]) -> Option<u32> {
    let line = sealed.split(|octet| *octet == b'\n').nth(1)?;
    String::from_utf8_lossy(line).split(' ').nth(3)?.parse().ok()
}

/// The box of the tests, and the passphrase with a zero byte behind it, which a fuzzer found to open it.
pub fn seeds() -> Vec<Vec<u8>> {
    assert!(opens(BOX, PASSPHRASE));
    vec![BOX.to_vec(), [&[0x28, 3], PASSPHRASE.as_bytes(), &[0]].concat()]
}
