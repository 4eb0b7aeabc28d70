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
//! A frame with the payload "test", of a public library's test suite (named in `tests/data/README.md`):
//! ```
//! use wire::frame::{self, Content, Frame};
//! use wire::identity::DevAddr;
//! use wire::key::{AppSKey, NwkSKey};
//! use wire::session::Session;
//!
//! let air = [0x40, 0xf1, 0x7d, 0xbe, 0x49, 0, 2, 0, 1, 0x95, 0x43, 0x78, 0x76, 0x2b, 0x11, 0xff, 0x0d];
//! let session = Session::new(
//!     DevAddr::from_display("49BE7DF1")?,
//!     &NwkSKey::from_hex("44024241ed4ce9a68c6a8bc055233fd3")?,
//!     &AppSKey::from_hex("ec925802ae430ca77fd3dd73cb2cc588")?,
//! );
//! let Frame::Data(data) = frame::parse(&air)? else { panic!("this is a data frame") };
//! let verified = data.verify(&session, Some(1))?;
//! let Content::Application { port, payload } = verified.decrypt() else { panic!("it carries a port") };
//! assert_eq!((port.get(), &payload[..]), (1, b"test".as_slice()));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # References
//! LoRa Alliance, TS001-1.0.4, LoRaWAN L2 1.0.4 Specification, 2020. Clauses in this crate are of that edition
//! unless another is named.

mod cipher;
mod hex;

pub mod counter;
pub mod effect;
pub mod field;
pub mod frame;
pub mod generate;
pub mod identity;
pub mod join;
pub mod key;
pub mod mac;
pub mod payload;
pub mod session;
