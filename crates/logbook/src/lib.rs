//! What did happen, and to whom: the registry of nodes, the box of their keys, and what was heard of them.
//!
//! - [`registry`]: who is who, dated, in a plain file without secrets.
//! - [`keys`]: the root keys, in a file sealed with a passphrase. The only place where keys are drawn.
//! - [`folder`]: both in the folder of a site, kept together whatever interrupts a run.
//! - [`received`], [`intake`]: a frame as a gateway heard it, and the messages that bring it.
//! - [`mapping`]: uplinks that another network has verified and decrypted, read out of messages of any shape; pure.
//! - [`network`]: what a network makes of each frame: sessions, counters, joins; pure.
//! - [`readings`]: what the messages of a kind of node say; pure.
//! - [`store`]: all of it in one file, kept before anything is acted upon.
//! - [`usage`]: what something that moves was used for; pure.
//! - [`watch`]: what is wrong with nodes and gateways, by what was kept: rules and alarms; pure.
//! - [`onward`]: readings as others want to have them, as they come; pure.
//! - [`export`]: readings in the forms of others; pure.
//! - [`people`]: who may do what, and what proves who it is.
//! - [`zone`]: what clocks and calendars of a site show.
//! - [`clock`]: what time it is.
//! - [`base64`]: the text form of bytes in sealed files and in messages of networks.
//!
//! Files are replaced whole or not at all.

pub mod base64;
pub mod bounded;
pub mod clock;
pub mod export;
pub mod folder;
pub mod intake;
pub mod keys;
pub mod mapping;
pub mod network;
pub mod onward;
pub mod people;
pub mod readings;
pub mod received;
pub mod registry;
pub mod store;
pub mod usage;
pub mod watch;
pub mod zone;

mod digits;
mod whole;
