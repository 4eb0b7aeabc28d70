//! Messages that bring frames: read, and nothing believed.
//!
//! - [`udp`]: the datagrams of gateways, as bytes; pure.
//! - [`gateways`]: the socket on which they arrive.
//! - [`websocket`]: what gateways say on a websocket, as text; pure.
//! - [`mqtt`]: messages of another network, by a broker.
//! - [`door`]: what is handed in at many places, until all of them are closed at once.
//! - [`token`]: the word that a sender must know.

pub mod door;
pub mod gateways;
pub mod mqtt;
pub mod token;
pub mod udp;
pub mod websocket;
