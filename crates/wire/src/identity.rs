//! The public identities: DevEUI, JoinEUI, DevAddr, `NetID` and the two join nonces.
//!
//! On the air they travel with the least significant octet first (TS001 clause 1.2); people write them with the most
//! significant octet first. Each type is made from either and displayed in the order that people write.

use std::fmt;

use crate::hex::{self, Fault};

/// Text that is not the identity it was given as.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum IdentityError {
    /// Too many or too few digits.
    #[error("a {what} has {expected} hex digits, {found} were given")]
    Length {
        /// The identity that was expected, such as "DevEUI".
        what: &'static str,
        /// Digits it has.
        expected: usize,
        /// Digits in the text, separators not counted.
        found: usize,
    },
    /// A character that is no hex digit.
    #[error(
        "{found:?} at place {place} of a {what} is no hex digit; write 0 to 9 and A to F, most significant first"
    )]
    Digit {
        /// The identity that was expected.
        what: &'static str,
        /// The character.
        found: char,
        /// Its place in the text, the first being 1.
        place: usize,
    },
}

macro_rules! identity {
    ($(#[$doc:meta])* $name:ident, $what:literal, $octets:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name([u8; $octets]);

        impl $name {
            /// From the octets as they travel, least significant first.
            pub const fn from_wire_bytes(wire: [u8; $octets]) -> Self {
                Self(wire).byte_reversed()
            }

            /// From the octets as people write them, most significant first.
            pub const fn from_display_bytes(display: [u8; $octets]) -> Self {
                Self(display)
            }

            /// From text as people write it: hex digits of either case, most significant first; `-`, `:` and spaces
            /// between them are ignored.
            ///
            /// # Errors
            /// [`IdentityError`] on another number of digits, or on a character that is no hex digit.
            pub fn from_display(text: &str) -> Result<Self, IdentityError> {
                let mut octets = [0; $octets];
                match hex::decode_into(text, &mut octets) {
                    Ok(()) => Ok(Self(octets)),
                    Err(Fault::Count { found }) => {
                        Err(IdentityError::Length { what: $what, expected: 2 * $octets, found })
                    }
                    Err(Fault::Digit { found, place }) => {
                        Err(IdentityError::Digit { what: $what, found, place })
                    }
                }
            }

            /// The octets as they travel, least significant first.
            pub const fn to_wire_bytes(self) -> [u8; $octets] {
                self.byte_reversed().0
            }

            /// The octets as people write them, most significant first.
            pub const fn to_display_bytes(self) -> [u8; $octets] {
                self.0
            }

            /// The same octets the other way round: what someone typed who copied the order of the air.
            #[must_use]
            pub const fn byte_reversed(self) -> Self {
                let mut octets = self.0;
                octets.as_mut_slice().reverse();
                Self(octets)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.iter().try_for_each(|octet| write!(f, "{octet:02X}"))
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{}({self})", stringify!($name))
            }
        }
    };
}

identity! {
    /// Globally unique identity of a device: an EUI-64.
    DevEui, "DevEUI", 8
}
identity! {
    /// Identity of the join server that holds the root key: an EUI-64, `AppEUI` before 1.0.4.
    JoinEui, "JoinEUI", 8
}
identity! {
    /// Identity of a gateway: an EUI-64.
    GatewayEui, "gateway EUI", 8
}
identity! {
    /// Address of a device within its network, for the length of a session. Not unique: the integrity code decides.
    DevAddr, "DevAddr", 4
}
identity! {
    /// Identity of a network.
    NetId, "NetID", 3
}
identity! {
    /// The device's counter of join attempts; from 1.0.4 on it starts at 0, rises by one and is never reused
    /// (clause 6.2.5).
    DevNonce, "DevNonce", 2
}
identity! {
    /// The network's counter of accepted joins, `AppNonce` before 1.0.4.
    JoinNonce, "JoinNonce", 3
}

impl From<u16> for DevNonce {
    fn from(count: u16) -> Self {
        Self::from_display_bytes(count.to_be_bytes())
    }
}

impl From<DevNonce> for u16 {
    fn from(nonce: DevNonce) -> Self {
        Self::from_be_bytes(nonce.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eui_travels_reversed_and_is_displayed_most_significant_octet_first() {
        // oracles: join-request with DevEUI 0004A30B001C0530 starts its DevEUI field with 30 05 1c.
        let eui = DevEui::from_wire_bytes([0x30, 0x05, 0x1c, 0x00, 0x0b, 0xa3, 0x04, 0x00]);
        assert_eq!(eui.to_string(), "0004A30B001C0530");
        assert_eq!(DevEui::from_display("00-04-a3-0b-00-1c-05-30"), Ok(eui));
        assert_eq!(DevEui::from_display_bytes(eui.to_display_bytes()).to_wire_bytes()[0], 0x30);
        assert_eq!(eui.byte_reversed().to_string(), "30051C000BA30400");
    }

    #[test]
    fn wrong_length_is_said_with_both_lengths() {
        let error = DevEui::from_display("0004A30B001C05").expect_err("it is two digits short");
        assert_eq!(error.to_string(), "a DevEUI has 16 hex digits, 14 were given");
        let error = DevAddr::from_display("0004A30B001C0530").expect_err("an EUI is no address");
        assert_eq!(error.to_string(), "a DevAddr has 8 hex digits, 16 were given");
    }

    #[test]
    fn letter_beyond_f_is_named_with_its_place() {
        let error = NetId::from_display("0000G3").expect_err("G is no hex digit");
        assert_eq!(
            error,
            IdentityError::Digit { what: "NetID", found: 'G', place: 5 },
            "the fifth character is the wrong one"
        );
    }

    #[test]
    fn nonce_keeps_its_number() {
        assert_eq!(u16::from(DevNonce::from(0x1a2b)), 0x1a2b);
        assert_eq!(DevNonce::from(0x1a2b).to_wire_bytes(), [0x2b, 0x1a]);
    }
}
