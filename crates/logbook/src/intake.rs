//! Messages that bring frames: read, and nothing believed.

pub mod udp;
