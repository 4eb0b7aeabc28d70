//! What must hold for any bytes from outside: not only that nothing panics, but that what is taken can be said again, and
//! that what is cut off or changed is refused.
//!
//! For tests only. `tests/laws.rs` tries each law on some thousand changed seeds in every run, the targets in `fuzz/` without end.

pub mod commands;
pub mod datagram;
pub mod design_file;
pub mod frame;
pub mod gateway_text;
pub mod given_payload;
pub mod identity;
pub mod join_accept;
pub mod key_box;
pub mod mapping;
pub mod node_log;
pub mod payload;
pub mod registry;
pub mod weather;

/// A law, and sound inputs to begin with.
pub struct Law {
    /// Its name, as that of the target.
    pub name: &'static str,
    /// Panics where it is broken.
    pub holds: fn(&[u8]),
    /// Sound inputs.
    pub seeds: fn() -> Vec<Vec<u8>>,
}

/// All of them.
pub const LAWS: [Law; 15] = [
    Law { name: "commands", holds: commands::holds, seeds: commands::seeds },
    Law { name: "datagram", holds: datagram::holds, seeds: datagram::seeds },
    Law { name: "design_file", holds: design_file::holds, seeds: design_file::seeds },
    Law { name: "frame", holds: frame::holds, seeds: frame::seeds },
    Law { name: "gateway_text", holds: gateway_text::holds, seeds: gateway_text::seeds },
    Law { name: "given_payload", holds: given_payload::holds, seeds: given_payload::seeds },
    Law { name: "identity", holds: identity::holds, seeds: identity::seeds },
    Law { name: "join_accept", holds: join_accept::holds, seeds: join_accept::seeds },
    Law { name: "key_box", holds: key_box::holds, seeds: key_box::seeds },
    Law { name: "mapping", holds: mapping::holds, seeds: mapping::seeds },
    Law { name: "measured_sun", holds: node_log::sun_holds, seeds: node_log::sun_seeds },
    Law { name: "node_log", holds: node_log::log_holds, seeds: node_log::log_seeds },
    Law { name: "payload", holds: payload::holds, seeds: payload::seeds },
    Law { name: "registry", holds: registry::holds, seeds: registry::seeds },
    Law { name: "weather", holds: weather::holds, seeds: weather::seeds },
];

/// Numbers out of bytes, zeros once there are no more.
pub(crate) struct Recipe<'a>(pub(crate) &'a [u8]);

impl<'a> Recipe<'a> {
    pub(crate) fn octet(&mut self) -> u8 {
        self.octets::<1>()[0]
    }

    pub(crate) fn octets<const N: usize>(&mut self) -> [u8; N] {
        let mut octets = [0; N];
        let rest = self.rest(N);
        octets[..rest.len()].copy_from_slice(rest);
        octets
    }

    /// From 0 to below `end`.
    pub(crate) fn below(&mut self, end: u32) -> u32 {
        u32::from_be_bytes(self.octets()) % end.max(1)
    }

    /// At most so many of the bytes that are left.
    pub(crate) fn rest(&mut self, most: usize) -> &'a [u8] {
        let (taken, left) = self.0.split_at(self.0.len().min(most));
        self.0 = left;
        taken
    }
}

/// The bytes with one bit turned; the same ones if there are none.
pub(crate) fn with_bit_turned(bytes: &[u8], bit: usize) -> Vec<u8> {
    let mut turned = bytes.to_vec();
    let bit = bit % (8 * turned.len()).max(1);
    if let Some(octet) = turned.get_mut(bit / 8) {
        *octet ^= 0x80 >> (bit % 8);
    }
    turned
}
