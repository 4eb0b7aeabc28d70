//! Messages that bring frames: read, and nothing believed.
//!
//! - [`udp`]: the datagrams of gateways, as bytes; pure.
//! - [`gateways`]: the socket on which they arrive.

pub mod gateways;
pub mod udp;
pub mod websocket;
