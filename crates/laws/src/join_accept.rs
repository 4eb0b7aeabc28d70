//! Join-accepts.

use wire::field::{Bits, CarrierFrequency, DlSettings};
use wire::frame::{self, Frame};
use wire::identity::{DevAddr, JoinNonce, NetId};
use wire::join::{CfList, JoinAccept};
use wire::key::AppKey;

use crate::{Recipe, with_bit_turned};

/// What is granted is what the device reads; with a byte cut off, a bit turned or another key it reads nothing.
pub fn holds(bytes: &[u8]) {
    if let Some(grant) = read(bytes, &key()) {
        // Reserved bits may differ; what the device understands may not.
        assert_eq!(read(&grant.seal(&key()), &key()), Some(grant));
    }
    let mut recipe = Recipe(bytes);
    let grant = grant(&mut recipe);
    let sealed = grant.seal(&key());
    assert_eq!(read(&sealed, &key()), Some(grant));
    assert_eq!(read(&sealed, &AppKey::from_bytes([8; 16])), None);
    let damage = usize::from(u16::from_be_bytes(recipe.octets()));
    assert_eq!(read(&with_bit_turned(&sealed, damage), &key()), None, "bit {damage} is turned");
    assert_eq!(read(&sealed[..damage % sealed.len()], &key()), None);
}

fn key() -> AppKey {
    AppKey::from_bytes([7; 16])
}

fn read(bytes: &[u8], key: &AppKey) -> Option<JoinAccept> {
    match frame::parse(bytes) {
        Ok(Frame::JoinAccept(accept)) => accept.decrypt(key).ok(),
        _ => None,
    }
}

fn grant(recipe: &mut Recipe<'_>) -> JoinAccept {
    let (join_nonce, net_id, dev_addr) = (recipe.octets(), recipe.octets(), recipe.octets());
    let [settings, delay, list] = recipe.octets();
    let frequency = |recipe: &mut Recipe<'_>| {
        CarrierFrequency::from_hz(recipe.below(1 << 24) * 100).expect("24 bits of steps")
    };
    JoinAccept {
        join_nonce: JoinNonce::from_display_bytes(join_nonce),
        net_id: NetId::from_display_bytes(net_id),
        dev_addr: DevAddr::from_display_bytes(dev_addr),
        dl_settings: DlSettings {
            rx1_data_rate_offset: Bits::new(settings & 7).expect("below 8"),
            rx2_data_rate: Bits::new(settings >> 4).expect("below 16"),
        },
        rx_delay: Bits::new(delay & 15).expect("below 16"),
        cf_list: match list % 3 {
            0 => None,
            1 => Some(CfList::Frequencies(std::array::from_fn(|_| frequency(recipe)))),
            _ => Some(CfList::ChannelMasks(std::array::from_fn(|_| u16::from_be_bytes(recipe.octets())))),
        },
    }
}

/// One without and one with each list.
pub fn seeds() -> Vec<Vec<u8>> {
    let recipe = |list: u8| [[0x11; 12].as_slice(), &[list], &[0x22; 24]].concat();
    (0..3).map(|list| grant(&mut Recipe(&recipe(list))).seal(&key())).collect()
}
