//! The secrets: one root key per device and two keys per session.
//!
//! A key is wiped when it is dropped, compared in constant time, and neither displayed nor serialised; its debug form
//! is redacted and no error repeats what was typed.

use std::fmt;

use subtle::ConstantTimeEq;
use zeroize::{Zeroize, ZeroizeOnDrop, Zeroizing};

use crate::hex::{self, Fault};

/// Octets of a key.
pub const KEY_LEN: usize = 16;

/// Text that is not a key. It never repeats the text.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KeyError {
    /// Too many or too few digits.
    #[error("a {what} has 32 hex digits, {found} were given")]
    Length {
        /// The key that was expected, such as "AppKey".
        what: &'static str,
        /// Digits in the text, separators not counted.
        found: usize,
    },
    /// A character that is no hex digit.
    #[error("the character at place {place} of a {what} is no hex digit; write 0 to 9 and A to F")]
    Digit {
        /// The key that was expected.
        what: &'static str,
        /// Its place in the text, the first being 1.
        place: usize,
    },
}

macro_rules! key {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Zeroize, ZeroizeOnDrop)]
        pub struct $name([u8; KEY_LEN]);

        impl $name {
            /// From its octets, in the order in which AES takes them. The caller wipes its own copy.
            pub const fn from_bytes(bytes: [u8; KEY_LEN]) -> Self {
                Self(bytes)
            }

            /// From hex digits of either case; `-`, `:` and spaces between them are ignored.
            ///
            /// # Errors
            /// [`KeyError`] on another number of digits than 32, or on a character that is no hex digit.
            pub fn from_hex(text: &str) -> Result<Self, KeyError> {
                let mut octets = Zeroizing::new([0; KEY_LEN]);
                match hex::decode_into(text, octets.as_mut_slice()) {
                    Ok(()) => Ok(Self(*octets)),
                    Err(Fault::Count { found }) => {
                        Err(KeyError::Length { what: stringify!($name), found })
                    }
                    Err(Fault::Digit { place, .. }) => {
                        Err(KeyError::Digit { what: stringify!($name), place })
                    }
                }
            }

            /// The secret itself, for the key box and the hand-over alone.
            pub const fn expose(&self) -> &[u8; KEY_LEN] {
                &self.0
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(concat!(stringify!($name), "(redacted)"))
            }
        }

        impl PartialEq for $name {
            /// Takes the same time wherever the keys differ.
            fn eq(&self, other: &Self) -> bool {
                self.0.ct_eq(&other.0).into()
            }
        }

        impl Eq for $name {}
    };
}

key! {
    /// Root key of one device, shared by it and the join server.
    AppKey
}
key! {
    /// Network session key: integrity of every data frame, and secrecy of MAC commands on port 0.
    NwkSKey
}
key! {
    /// Application session key: secrecy of application payloads.
    AppSKey
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn debug_shows_no_digit_of_the_key() {
        let key = AppKey::from_hex("2B7E151628AED2A6ABF7158809CF4F3C").expect("32 digits");
        assert_eq!(format!("{key:?}"), "AppKey(redacted)");
    }

    #[test]
    fn refused_text_is_not_repeated() {
        let error = AppKey::from_hex("2B7E151628AED2A6ABF7158809CF4FXY").expect_err("X is no digit");
        assert_eq!(error, KeyError::Digit { what: "AppKey", place: 31 });
        assert!(!error.to_string().contains('X'), "{error}");
        let error = NwkSKey::from_hex("2B7E").expect_err("too short");
        assert_eq!(error.to_string(), "a NwkSKey has 32 hex digits, 4 were given");
    }

    #[test]
    fn keys_that_differ_in_one_bit_are_unequal() {
        let mut other = [7; KEY_LEN];
        assert_eq!(AppSKey::from_bytes(other), AppSKey::from_bytes([7; KEY_LEN]));
        other[15] ^= 1;
        assert_ne!(AppSKey::from_bytes(other), AppSKey::from_bytes([7; KEY_LEN]));
    }

    #[test]
    fn zeroize_leaves_nothing() {
        let mut key = AppKey::from_bytes([0xa5; KEY_LEN]);
        key.zeroize();
        assert_eq!(key.expose(), &[0; KEY_LEN]);
    }
}
