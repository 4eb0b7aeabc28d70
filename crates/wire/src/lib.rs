//! Bytes on the air: LoRaWAN 1.0.x frames, identities, keys and MAC commands.
//!
//! Everything that arrives is untrusted, and the types say how far it got:
//! [`frame::parse`] checks the shape once, so that the getters of a [`frame::DataFrame`] cannot fail;
//! [`frame::DataFrame::verify`] checks integrity code and counter; only what it returns,
//! [`frame::Verified`], can be decrypted. A forged frame is never decoded.
//!
//! LoRaWAN 1.1 is recognised and refused in words: its keys, its counters and its integrity codes differ.
//!
//! # Example
//!
//! A report of an invented frost mast, one of the vectors of `tests/data/README.md`:
//! ```
//! use wire::frame::{self, Content, Frame};
//! use wire::identity::DevAddr;
//! use wire::key::{AppSKey, NwkSKey};
//! use wire::session::Session;
//!
//! let air = [
//!     0x40, 0x4e, 0xc0, 0xa7, 0x01, 0x80, 0x02, 0x01, 0x0a, 0xd2, 0xda, 0x28, 0xe7,
//!     0xa5, 0xcf, 0xb8, 0x9a, 0x76, 0x27, 0x61, 0xcf, 0x34, 0xbb, 0x60, 0x41,
//! ];
//! let session = Session::new(
//!     DevAddr::from_display("01A7C04E")?,
//!     &NwkSKey::from_hex("763de503b61870408874b795c1a041a3")?,
//!     &AppSKey::from_hex("a5c6cb610eff58895765161eab85698d")?,
//! );
//! let Frame::Data(data) = frame::parse(&air)? else { panic!("this is a data frame") };
//! let verified = data.verify(&session, Some(257))?;
//! let Content::Application { port, payload } = verified.decrypt() else { panic!("it carries a port") };
//! assert_eq!((port.get(), payload.len()), (10, 12));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # References
//! LoRa Alliance, TS001-1.0.4, LoRaWAN L2 1.0.4 Specification, 2020. Clauses in this crate are of that edition
//! unless another is named.

mod cipher;
mod envelope;
mod hex;

pub mod counter;
pub mod field;
pub mod frame;
pub mod given;
pub mod identity;
pub mod join;
pub mod key;
pub mod mac;
pub mod payload;
pub mod session;
