//! Joining: the request of a device and the answer of the network.

use aes::Aes128Dec;
use aes::Block;
use aes::cipher::{BlockCipherDecrypt, KeyInit};

use crate::cipher::{BLOCK_LEN, Cipher, MIC_LEN};
use crate::envelope::FrameError;
use crate::field::{Bits, CarrierFrequency, DlSettings};
use crate::identity::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId};
use crate::key::AppKey;

/// Octets of a join-request.
pub const JOIN_REQUEST_LEN: usize = 23;

const JOIN_REQUEST_HEADER: u8 = 0x00;
const JOIN_ACCEPT_HEADER: u8 = 0x20;
/// In `DLSettings`; reserved and zero in LoRaWAN 1.0 (TS001-1.0.4, table 55).
const OPT_NEG: u8 = 0x80;

/// A join-request of sound shape. Whoever holds a radio may have made it: see [`Self::verify`].
#[derive(Clone, Copy, Debug)]
pub struct JoinRequest<'a> {
    join_eui: JoinEui,
    dev_eui: DevEui,
    dev_nonce: DevNonce,
    signed: &'a [u8],
    mic: [u8; MIC_LEN],
}

impl<'a> JoinRequest<'a> {
    pub(crate) fn parse(bytes: &'a [u8]) -> Result<Self, FrameError> {
        let wrong = FrameError::JoinRequestLength { found: bytes.len() };
        let (signed, &mic) = bytes.split_last_chunk().ok_or(wrong)?;
        let (_, fields) = signed.split_first().ok_or(wrong)?;
        let (&join_eui, rest) = fields.split_first_chunk().ok_or(wrong)?;
        let (&dev_eui, rest) = rest.split_first_chunk().ok_or(wrong)?;
        let &dev_nonce = rest.try_into().ok().ok_or(wrong)?;
        Ok(Self {
            join_eui: JoinEui::from_wire_bytes(join_eui),
            dev_eui: DevEui::from_wire_bytes(dev_eui),
            dev_nonce: DevNonce::from_wire_bytes(dev_nonce),
            signed,
            mic,
        })
    }

    /// Join server that is asked.
    pub const fn join_eui(&self) -> JoinEui {
        self.join_eui
    }

    /// Device that says it asks; its root key tells whether it does.
    pub const fn dev_eui(&self) -> DevEui {
        self.dev_eui
    }

    /// The device's count of attempts.
    pub const fn dev_nonce(&self) -> DevNonce {
        self.dev_nonce
    }

    /// Checks the integrity code in constant time.
    ///
    /// Whether the nonce is new is for the keeper of nonces to say: 1.0.4 devices count up, older ones draw it.
    ///
    /// # Errors
    /// [`JoinError::Mic`] if it is not this key's.
    pub fn verify(&self, app_key: &AppKey) -> Result<VerifiedJoinRequest, JoinError> {
        if !Cipher::new(app_key.expose()).mic_matches(&[], self.signed, self.mic) {
            return Err(JoinError::Mic);
        }
        Ok(VerifiedJoinRequest { join_eui: self.join_eui, dev_eui: self.dev_eui, dev_nonce: self.dev_nonce })
    }
}

/// A join-request that is its device's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct VerifiedJoinRequest {
    join_eui: JoinEui,
    dev_eui: DevEui,
    dev_nonce: DevNonce,
}

impl VerifiedJoinRequest {
    /// Join server that is asked.
    pub const fn join_eui(&self) -> JoinEui {
        self.join_eui
    }

    /// Device that asks.
    pub const fn dev_eui(&self) -> DevEui {
        self.dev_eui
    }

    /// The device's count of attempts.
    pub const fn dev_nonce(&self) -> DevNonce {
        self.dev_nonce
    }
}

/// The join-request of a device, as it travels.
///
/// # References
/// TS001-1.0.4, clause 6.2.5, table 53.
pub fn seal_request(
    app_key: &AppKey,
    join_eui: JoinEui,
    dev_eui: DevEui,
    dev_nonce: DevNonce,
) -> [u8; JOIN_REQUEST_LEN] {
    let mut frame = [JOIN_REQUEST_HEADER; JOIN_REQUEST_LEN];
    let fields =
        join_eui.to_wire_bytes().into_iter().chain(dev_eui.to_wire_bytes()).chain(dev_nonce.to_wire_bytes());
    for (octet, field) in frame.iter_mut().skip(1).zip(fields) {
        *octet = field;
    }
    if let Some((signed, mic)) = frame.split_last_chunk_mut() {
        *mic = Cipher::new(app_key.expose()).mic(&[], signed);
    }
    frame
}

/// Why a join fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum JoinError {
    /// Forged, damaged, or of another key.
    #[error("the integrity code does not match: wrong AppKey, a damaged frame, or a forged one")]
    Mic,
    /// The network answers as LoRaWAN 1.1.
    #[error("the network answers as LoRaWAN 1.1 (OptNeg is set); register the device as 1.0.x")]
    Lorawan11,
    /// As [`Self::Mic`], and what this key makes of it would be a 1.1 answer.
    #[error(
        "the integrity code does not match: wrong AppKey, a damaged frame, or a network that answers as LoRaWAN 1.1 \
         (with this key OptNeg is set); register the device as 1.0.x"
    )]
    MicWithOptNeg,
}

/// A join-accept as it travels: of sound length, and unreadable without the root key.
#[derive(Clone, Copy, Debug)]
pub struct EncryptedJoinAccept<'a> {
    header: u8,
    first: &'a [u8; BLOCK_LEN],
    second: Option<&'a [u8; BLOCK_LEN]>,
}

impl<'a> EncryptedJoinAccept<'a> {
    pub(crate) fn parse(bytes: &'a [u8]) -> Result<Self, FrameError> {
        let wrong = FrameError::JoinAcceptLength { found: bytes.len() };
        let (&header, blocks) = bytes.split_first().ok_or(wrong)?;
        let (first, rest) = blocks.split_first_chunk().ok_or(wrong)?;
        let second = match rest {
            [] => None,
            _ => Some(rest.try_into().ok().ok_or(wrong)?),
        };
        Ok(Self { header, first, second })
    }

    /// What it grants, read as the device reads it.
    ///
    /// # Errors
    /// [`JoinError`] if the integrity code is not this key's, or the answer is one of LoRaWAN 1.1.
    ///
    /// # References
    /// TS001-1.0.4, clause 6.2.6 (clause number from memory), tables 54 and 55.
    pub fn decrypt(&self, app_key: &AppKey) -> Result<JoinAccept, JoinError> {
        let cipher = Cipher::new(app_key.expose());
        let mut plain = vec![self.header];
        for block in std::iter::once(self.first).chain(self.second) {
            plain.extend(cipher.encrypt_block(*block));
        }
        let (signed, &mic) = plain.split_last_chunk().ok_or(JoinError::Mic)?;
        let (&[_, j0, j1, j2, n0, n1, n2, a0, a1, a2, a3, settings, delay], list) =
            signed.split_first_chunk().ok_or(JoinError::Mic)?;
        let opt_neg = settings & OPT_NEG != 0;
        match (cipher.mic_matches(&[], signed, mic), opt_neg) {
            (true, false) => Ok(JoinAccept {
                join_nonce: JoinNonce::from_wire_bytes([j0, j1, j2]),
                net_id: NetId::from_wire_bytes([n0, n1, n2]),
                dev_addr: DevAddr::from_wire_bytes([a0, a1, a2, a3]),
                dl_settings: DlSettings::from_octet(settings),
                rx_delay: Bits::low(delay),
                cf_list: list.first_chunk().map(|&octets| CfList::from_octets(octets)),
            }),
            (true, true) => Err(JoinError::Lorawan11),
            (false, true) => Err(JoinError::MicWithOptNeg),
            (false, false) => Err(JoinError::Mic),
        }
    }
}

/// What the network grants a device that joins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct JoinAccept {
    /// The network's count of joins.
    pub join_nonce: JoinNonce,
    /// The network.
    pub net_id: NetId,
    /// Address of the device in this session.
    pub dev_addr: DevAddr,
    /// Its receive windows.
    pub dl_settings: DlSettings,
    /// Delay of the first receive window \[s\]; 0 means 1 s.
    pub rx_delay: Bits<4>,
    /// Channels beyond the region's own.
    pub cf_list: Option<CfList>,
}

impl JoinAccept {
    /// The join-accept as it travels: signed, then run through AES *decryption*, so that a device needs the encryptor
    /// alone.
    ///
    /// # References
    /// TS001-1.0.4, clause 6.2.6 (clause number from memory).
    pub fn seal(&self, app_key: &AppKey) -> Vec<u8> {
        let mut frame = vec![JOIN_ACCEPT_HEADER];
        frame.extend(self.join_nonce.to_wire_bytes());
        frame.extend(self.net_id.to_wire_bytes());
        frame.extend(self.dev_addr.to_wire_bytes());
        frame.extend([self.dl_settings.to_octet(), self.rx_delay.get()]);
        frame.extend(self.cf_list.into_iter().flat_map(CfList::to_octets));
        let mic = Cipher::new(app_key.expose()).mic(&[], &frame);
        frame.extend(mic);
        let decryptor = Aes128Dec::new(app_key.expose().into());
        if let Some((_, blocks)) = frame.split_first_mut() {
            for octets in blocks.as_chunks_mut::<BLOCK_LEN>().0 {
                let mut block = Block::from(*octets);
                decryptor.decrypt_block(&mut block);
                *octets = block.into();
            }
        }
        frame
    }
}

/// The channel list of a join-accept.
///
/// # References
/// LoRa Alliance, RP002 Regional Parameters, "`JoinAccept` `CFList`" of each region (layout from memory).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CfList {
    /// Five more channels, in regions whose plan is dynamic; zero is no channel.
    Frequencies([CarrierFrequency; 5]),
    /// One bit per channel, in regions whose plan is fixed; 80 channels use the first five masks.
    ChannelMasks([u16; 6]),
    /// A kind that is not known.
    Other([u8; 16]),
}

impl CfList {
    const FREQUENCIES: u8 = 0;
    const CHANNEL_MASKS: u8 = 1;

    fn from_octets(octets: [u8; 16]) -> Self {
        let [.., kind] = octets;
        match kind {
            Self::FREQUENCIES => {
                let mut frequencies = [CarrierFrequency::default(); 5];
                for (frequency, &wire) in frequencies.iter_mut().zip(octets.as_chunks().0) {
                    *frequency = CarrierFrequency::from_wire_bytes(wire);
                }
                Self::Frequencies(frequencies)
            }
            Self::CHANNEL_MASKS => {
                let mut masks = [0; 6];
                for (mask, &wire) in masks.iter_mut().zip(octets.as_chunks().0) {
                    *mask = u16::from_le_bytes(wire);
                }
                Self::ChannelMasks(masks)
            }
            _ => Self::Other(octets),
        }
    }

    fn to_octets(self) -> [u8; 16] {
        let mut octets = [0; 16];
        match self {
            Self::Frequencies(frequencies) => {
                for (wire, frequency) in octets.as_chunks_mut().0.iter_mut().zip(frequencies) {
                    *wire = frequency.to_wire_bytes();
                }
            }
            Self::ChannelMasks(masks) => {
                for (wire, mask) in octets.as_chunks_mut().0.iter_mut().zip(masks) {
                    *wire = mask.to_le_bytes();
                }
                octets[15] = Self::CHANNEL_MASKS;
            }
            Self::Other(other) => octets = other,
        }
        octets
    }
}
