//! MAC commands of both directions.

use std::fmt::Debug;

use wire::mac::{self, CommandError, DownlinkCommand, UplinkCommand};

type Read<C> = Vec<Result<C, CommandError>>;

/// Commands that were read are read again from their own encoding, and without its last byte the last one is cut off.
pub fn holds(bytes: &[u8]) {
    read_again(bytes, |bytes| mac::uplink_commands(bytes).collect(), UplinkCommand::encode);
    read_again(bytes, |bytes| mac::downlink_commands(bytes).collect(), DownlinkCommand::encode);
}

fn read_again<C: Debug + PartialEq>(bytes: &[u8], read: fn(&[u8]) -> Read<C>, encode: fn(&C, &mut Vec<u8>)) {
    let commands: Vec<C> = read(bytes).into_iter().flatten().collect();
    let mut encoded = Vec::new();
    for command in &commands {
        encode(command, &mut encoded);
    }
    assert!(encoded.len() <= bytes.len());
    let again: Vec<C> = read(&encoded).into_iter().collect::<Result<_, _>>().expect("they were encoded");
    assert_eq!(again, commands);
    if let Some((_, cut)) = encoded.split_last() {
        let found = read(cut);
        let sound = found.iter().filter(|one| one.is_ok()).count();
        let is_cut_off = matches!(found.last(), Some(Err(CommandError::Truncated { missing: 1, .. })));
        let is_left_out = sound == found.len();
        assert!(sound + 1 == commands.len() && (is_cut_off || is_left_out), "{found:?} of {commands:?}");
    }
}

/// The examples of both directions: answers and requests of every length.
pub fn seeds() -> Vec<Vec<u8>> {
    vec![
        vec![0x02, 0x02, 0x03, 0x07, 0x05, 0x07, 0x06, 0xff, 0x14],
        vec![0x02, 0x0a, 0x02, 0x03, 0x52, 0x07, 0x00, 0x01, 0x04, 0x0f],
        vec![0x05, 0x05, 0xd2, 0xad, 0x84, 0x07, 0x03, 0x28, 0x76, 0x84, 0x52],
        vec![0x0d, 0x00, 0x01, 0x02, 0x03, 0x04, 0x08, 0x05, 0x09, 0x25],
    ]
}
