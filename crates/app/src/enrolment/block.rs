//! The person's own block of EUI-64 identities.

use std::collections::BTreeSet;

use logbook::registry::Registry;
use report::problem::{Failure, Problem};
use wire::identity::DevEui;

const HOW: &str = "write the first EUI of your block and the bits it fixes, such as 024C61726B000000/40";

/// All identities whose first bits are given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Block {
    first: u64,
    bits: u32,
}

impl Block {
    /// From `024C61726B000000/40`: the first identity and how many bits all of the block share.
    pub(crate) fn parse(text: &str) -> Result<Self, Failure> {
        let refuse = |message: String, help: &str| {
            Err(Failure::of(Problem::of_file("eui-block", "--eui-block", message, help)))
        };
        let Some((first, bits)) = text.split_once('/') else {
            return refuse(format!("{text:?} does not say how large the block is"), HOW);
        };
        let first = match DevEui::from_display(first) {
            Ok(eui) => u64::from_be_bytes(eui.to_display_bytes()),
            Err(error) => return refuse(error.to_string(), HOW),
        };
        let Ok(bits @ 24..=63) = bits.parse() else {
            return refuse(format!("a block can't fix {bits:?} bits; it fixes 24 to 63"), HOW);
        };
        let block = Self { first, bits };
        if first & (block.size() - 1) != 0 {
            let start = DevEui::from_display_bytes((first & !(block.size() - 1)).to_be_bytes());
            return refuse(
                format!("{text} begins inside a block of /{bits}"),
                &format!("the block is {start}/{bits}"),
            );
        }
        if first >> 56 & 1 != 0 {
            return refuse(
                format!("{text} is a block of group addresses, not of devices"),
                "the first two digits of a device's EUI are an even number",
            );
        }
        Ok(block)
    }

    const fn size(self) -> u64 {
        1 << (64 - self.bits)
    }

    /// The lowest identities that no row of the registry has had.
    pub(crate) fn free(self, registry: &Registry, count: usize) -> Result<Vec<DevEui>, Failure> {
        let number = |dev_eui: DevEui| u64::from_be_bytes(dev_eui.to_display_bytes());
        let inside = |eui: u64| eui & !(self.size() - 1) == self.first;
        let taken: BTreeSet<u64> =
            registry.nodes().iter().map(|node| number(node.dev_eui)).filter(|eui| inside(*eui)).collect();
        let left = self.size() - taken.len() as u64;
        if (count as u64) > left {
            let message = format!(
                "the block holds {} identities and {} are taken: {count} more do not fit",
                self.size(),
                taken.len()
            );
            let help = "give a larger block, or a second one in a run of its own";
            return Err(Failure::of(Problem::of_file("eui-block", "--eui-block", message, help)));
        }
        let all = (0..self.size()).map(|place| self.first | place);
        let free = all.filter(|eui| !taken.contains(eui)).take(count);
        Ok(free.map(|eui| DevEui::from_display_bytes(eui.to_be_bytes())).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(text: &str) -> String {
        Block::parse(text).expect_err("it is wrong").render()
    }

    #[test]
    fn a_block_is_as_large_as_its_free_bits_say() {
        // IEEE RA: MA-S fixes 36 bits and leaves 2^28 identities, MA-M 28 and 2^36, MA-L 24 and 2^40.
        for (text, size) in [("024C617260000000/36", 1 << 28), ("024C610000000000/28", 1 << 36)] {
            assert_eq!(Block::parse(text).expect("a sound block").size(), size);
        }
        assert_eq!(Block::parse("02-4C-61-00-00-00-00-00/24").expect("a sound block").size(), 1 << 40);
    }

    #[test]
    fn what_is_no_block_is_refused_with_what_to_write() {
        assert!(said("024C61726B000000").contains("how large"));
        assert!(said("024C61726B0000/40").contains("14 were given"));
        assert!(said("024C61726B0000G0/40").contains("'G' at place 15"));
        assert!(said("024C61726B000000/64").contains("24 to 63"));
        assert!(said("024C61726B000001/40").contains("the block is 024C61726B000000/40"));
        assert!(said("71B3D5ABCD000000/40").contains("group"));
    }
}
