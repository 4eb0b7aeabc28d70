//! What did happen, and to whom: so far the registry of nodes and the box of their keys.
//!
//! - [`registry`]: who is who, dated, in a plain file without secrets.
//! - [`keys`]: the root keys, in a file sealed with a passphrase. The only place where keys are drawn.
//! - [`folder`]: both in the folder of a site, kept together whatever interrupts a run.
//! - [`base64`]: the text form of bytes in sealed files and in messages of networks.
//!
//! Files are replaced whole or not at all.

pub mod base64;
pub mod bounded;
pub mod folder;
pub mod keys;
pub mod registry;

mod whole;
