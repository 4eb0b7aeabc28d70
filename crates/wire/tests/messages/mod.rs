//! Messages to try, numbers that look random, and codes written one bit at a time; the tests of `kit` use them too.

#![expect(dead_code, reason = "each test uses a part of it")]

use design::catalog::Catalog;
use design::message::{Field, Form, Message, Part};
use design::node::Design;

/// The frost mast of the example.
pub(crate) fn frost_mast() -> Design {
    resolved(include_str!("../../../../examples/larkmoor/frost-mast.toml"))
}

/// The frost mast without its messages, so that a test brings its own.
pub(crate) fn with_messages(messages: &str) -> Vec<Message> {
    let text = include_str!("../../../../examples/larkmoor/frost-mast.toml");
    let (before, rest) = text.split_once("[message.report]").expect("the example has a message");
    let after = &rest[rest.find("[regulator.main]").expect("and then a regulator")..];
    let loads = after.replace("message = \"report\"", "payload = \"12 bytes\"");
    let loads = loads.replace("message = \"frost_watch\"", "payload = \"5 bytes\"");
    resolved(&format!("{before}{messages}\n{loads}")).messages.clone()
}

fn resolved(text: &str) -> Design {
    let file = design::file::parse(text);
    match design::resolve::resolve(&Catalog::builtin(), &file) {
        Ok(resolved) => resolved.design,
        Err(found) => {
            let said: Vec<String> =
                found.iter().map(|one| format!("{}: {}", one.code, one.message)).collect();
            panic!("the design does not resolve: {}\n{text}", said.join("; "))
        }
    }
}

/// Numbers that look random and are the same in every run: `SplitMix64`.
///
/// # References
///
/// Steele, Lea and Flood, Fast splittable pseudorandom number generators, OOPSLA 2014, figure 4.
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// From 0 to below `end`.
    pub(crate) fn below(&mut self, end: u64) -> u64 {
        self.next() % end.max(1)
    }
}

/// Writes a code as the rules of `design::message` say, one bit at a time; bits before the last 64 become zero.
pub(crate) fn put(bytes: &mut [u8], offset: u32, bits: u32, code: u64) {
    for bit in 0..bits {
        let place = (offset + bit) as usize;
        let mask = 0x80 >> (place % 8);
        bytes[place / 8] &= !mask;
        if code.checked_shr(bits - 1 - bit).is_some_and(|rest| rest & 1 == 1) {
            bytes[place / 8] |= mask;
        }
    }
}

/// A message in which every field is absent, with its version.
pub(crate) fn all_absent(message: &Message, form: Form) -> Vec<u8> {
    let layout = message.layout(form);
    let mut bytes = vec![0; layout.bytes];
    if let design::message::Version::Bits { width, value } = message.version {
        put(&mut bytes, 0, width.into(), value.into());
    }
    for slot in &layout.slots {
        for bit in slot.offset..slot.offset + slot.bits {
            put(&mut bytes, bit, 1, 1);
        }
    }
    bytes
}

/// Whether a code of a field can be in a message.
pub(crate) fn means_something(field: &Field, part: Part, code: u32) -> bool {
    let codes = field.codes(part);
    let reserved = [Some(codes.absent()), codes.below(), codes.above()];
    code <= codes.last || reserved.contains(&Some(code))
}
