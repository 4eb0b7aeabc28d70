//! AES-128 with an expanded key, and the two uses LoRaWAN makes of it.

use aes::cipher::common::InnerInit;
use aes::cipher::{BlockCipherEncrypt, KeyInit};
use aes::{Aes128Enc, Block};
use cmac::{Cmac, Mac};

use crate::envelope::{Direction, MAX_PAYLOAD_LEN};
use crate::identity::DevAddr;
use crate::key::KEY_LEN;

pub(crate) const BLOCK_LEN: usize = 16;
pub(crate) const MIC_LEN: usize = 4;

/// Keystream blocks of the longest payload.
const MAX_BLOCKS: usize = MAX_PAYLOAD_LEN.div_ceil(BLOCK_LEN);

/// What makes a frame's keystream and integrity code its own.
#[derive(Clone, Copy)]
pub(crate) struct Nonce {
    pub(crate) direction: Direction,
    pub(crate) dev_addr: DevAddr,
    pub(crate) fcnt: u32,
}

impl Nonce {
    /// `A_i` (first = 1, last = i) and `B_0` (first = 0x49, last = length) share one layout: TS001 tables 12 and 13.
    fn block(self, first: u8, last: u8) -> [u8; BLOCK_LEN] {
        let direction = match self.direction {
            Direction::Up => 0,
            Direction::Down => 1,
        };
        let [a0, a1, a2, a3] = self.dev_addr.to_wire_bytes();
        let [f0, f1, f2, f3] = self.fcnt.to_le_bytes();
        [first, 0, 0, 0, 0, direction, a0, a1, a2, a3, f0, f1, f2, f3, 0, last]
    }

    /// Block that precedes a message of `len` octets under its integrity code.
    pub(crate) fn mic_block(self, len: usize) -> [u8; BLOCK_LEN] {
        self.block(0x49, u8::try_from(len).unwrap_or(u8::MAX))
    }
}

/// An AES-128 encryptor; its key schedule is wiped when dropped.
pub(crate) struct Cipher(Aes128Enc);

impl Cipher {
    pub(crate) fn new(key: &[u8; KEY_LEN]) -> Self {
        Self(Aes128Enc::new(key.into()))
    }

    pub(crate) fn encrypt_block(&self, block: [u8; BLOCK_LEN]) -> [u8; BLOCK_LEN] {
        let mut block = Block::from(block);
        self.0.encrypt_block(&mut block);
        block.into()
    }

    fn cmac(&self, prefix: &[u8], message: &[u8]) -> Cmac<&Aes128Enc> {
        let mut mac = Cmac::inner_init(&self.0);
        mac.update(prefix);
        mac.update(message);
        mac
    }

    /// First four octets of AES-CMAC over prefix and message.
    pub(crate) fn mic(&self, prefix: &[u8], message: &[u8]) -> [u8; MIC_LEN] {
        let [a, b, c, d, ..] = self.cmac(prefix, message).finalize().into_bytes().0;
        [a, b, c, d]
    }

    /// Whether `mic` is theirs, in constant time.
    pub(crate) fn mic_matches(&self, prefix: &[u8], message: &[u8], mic: [u8; MIC_LEN]) -> bool {
        self.cmac(prefix, message).verify_truncated_left(&mic).is_ok()
    }

    /// Encrypts or decrypts up to [`MAX_PAYLOAD_LEN`] octets in place: TS001 clause 4.3.3.1.
    pub(crate) fn apply_keystream(&self, nonce: Nonce, payload: &mut [u8]) {
        let mut blocks = [Block::default(); MAX_BLOCKS];
        let used = payload.len().div_ceil(BLOCK_LEN).min(MAX_BLOCKS);
        let (keystream, _) = blocks.split_at_mut(used);
        for (i, block) in (1..).zip(keystream.iter_mut()) {
            *block = nonce.block(1, i).into();
        }
        self.0.encrypt_blocks(keystream);
        for (chunk, block) in payload.chunks_mut(BLOCK_LEN).zip(keystream) {
            for (octet, mask) in chunk.iter_mut().zip(block.iter()) {
                *octet ^= mask;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RFC4493_KEY: [u8; 16] =
        [0x2b, 0x7e, 0x15, 0x16, 0x28, 0xae, 0xd2, 0xa6, 0xab, 0xf7, 0x15, 0x88, 0x09, 0xcf, 0x4f, 0x3c];

    #[test]
    fn rfc4493_section_4_examples_are_met() {
        let table: toml::Table =
            include_str!("../tests/data/frames.toml").parse().expect("the vectors are TOML");
        let vectors = table["cmac"].as_array().expect("an array of tables");
        assert_eq!(vectors.len(), 4, "RFC 4493 section 4 has four examples");
        for vector in vectors {
            let message = octets(&vector["message"]);
            let cipher = Cipher::new(&octets(&vector["key"]).try_into().expect("16 octets"));
            let whole = cipher.cmac(&[], &message).finalize().into_bytes().0;
            assert_eq!(whole.to_vec(), octets(&vector["code"]), "{} octets", message.len());
            let (prefix, rest) = message.split_at(message.len() / 3);
            assert!(cipher.mic_matches(prefix, rest, cipher.mic(&[], &message)), "{} octets", message.len());
        }
    }

    #[test]
    fn rfc4493_section_4_subkey_step_is_met() {
        let expected =
            [0x7d, 0xf7, 0x6b, 0x0c, 0x1a, 0xb8, 0x99, 0xb3, 0x3e, 0x42, 0xf0, 0x47, 0xb9, 0x1b, 0x54, 0x6f];
        assert_eq!(Cipher::new(&RFC4493_KEY).encrypt_block([0; 16]), expected);
    }

    #[test]
    fn key_schedules_are_wiped_when_dropped() {
        // Holds only while `aes` is built with `zeroize`: without it this does not compile.
        const fn wiped<T: zeroize::ZeroizeOnDrop>() -> bool {
            std::mem::needs_drop::<T>()
        }
        assert!(wiped::<Aes128Enc>() && wiped::<aes::Aes128Dec>());
    }

    fn octets(value: &toml::Value) -> Vec<u8> {
        let text = value.as_str().expect("hex text");
        let mut octets = vec![0; text.len() / 2];
        assert!(crate::hex::decode_into(text, &mut octets).is_ok(), "{text} is hex");
        octets
    }
}
