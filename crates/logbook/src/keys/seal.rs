//! The age format, version 1, with one passphrase recipient.
//!
//! # References
//! C2SP, "The age file encryption format", age-encryption.org/v1: sections "Header", "scrypt recipient type" and
//! "Payload" (read from memory; held by files of the `age` crate in the tests). RFC 7914 (scrypt), RFC 5869 (HKDF),
//! RFC 2104 (HMAC), RFC 8439 (ChaCha20-Poly1305).

use chacha20poly1305::aead::Aead as _;
use chacha20poly1305::{ChaCha20Poly1305, KeyInit as _, Nonce};
use hkdf::Hkdf;
use hmac::{Hmac, Mac as _};
use scrypt::Params;
use sha2::Sha256;
use zeroize::Zeroizing;

use super::{KeyBoxError, Passphrase};
use crate::base64;

const VERSION: &str = "age-encryption.org/v1";
const SALT_LABEL: &[u8] = b"age-encryption.org/v1/scrypt";
const FILE_KEY_LEN: usize = 16;
const NONCE_LEN: usize = 16;
const CHUNK_LEN: usize = 64 << 10;
const TAG_LEN: usize = 16;
/// Logarithm of the work: 2^17 with r = 8 and p = 1, 128 MB and about half a second, what the `scrypt` crate
/// recommends.
const LOG_WORK: u8 = Params::RECOMMENDED_LOG_N;
/// A box that asks for more memory is a trap, not a box \[bytes\].
const LARGEST_MEMORY: u64 = 1 << 30;

type Secret = Zeroizing<[u8; 32]>;

/// Seals bytes with a passphrase.
pub(super) fn seal(plain: &[u8], passphrase: &Passphrase) -> Result<Vec<u8>, KeyBoxError> {
    let mut file_key = Zeroizing::new([0; FILE_KEY_LEN]);
    let mut salt = [0; 16];
    let mut nonce = [0; NONCE_LEN];
    for octets in [file_key.as_mut_slice(), &mut salt, &mut nonce] {
        getrandom::fill(octets).map_err(KeyBoxError::Random)?;
    }
    let wrapping = wrapping_key(passphrase, &salt, LOG_WORK).ok_or(KeyBoxError::Damaged)?;
    let body =
        cipher(&wrapping).encrypt(&Nonce::default(), file_key.as_slice()).ok().ok_or(KeyBoxError::Damaged)?;
    let header =
        format!("{VERSION}\n-> scrypt {} {LOG_WORK}\n{}\n---", base64::encode(&salt), base64::encode(&body));
    let mac = header_mac(&*file_key, header.as_bytes()).finalize().into_bytes();
    let mut sealed = format!("{header} {}\n", base64::encode(&mac)).into_bytes();
    sealed.extend(nonce);
    let cipher = cipher(&derive(&*file_key, &nonce, b"payload"));
    // Even nothing has one chunk, and the last one says that it is.
    let count = plain.len().div_ceil(CHUNK_LEN).max(1);
    for index in 0..count {
        let chunk = plain.chunks(CHUNK_LEN).nth(index).unwrap_or_default();
        let nonce = chunk_nonce(index, index + 1 == count);
        sealed.extend(cipher.encrypt(&nonce, chunk).ok().ok_or(KeyBoxError::Damaged)?);
    }
    Ok(sealed)
}

/// The bytes that were sealed.
pub(super) fn open(sealed: &[u8], passphrase: &Passphrase) -> Result<Zeroizing<Vec<u8>>, KeyBoxError> {
    let header = Header::parse(sealed)?;
    let not_ours = KeyBoxError::NotAKeyBox { why: "it asks for more work than any key box" };
    if asks_too_much(header.log_work) {
        return Err(not_ours);
    }
    let wrapping = wrapping_key(passphrase, &header.salt, header.log_work).ok_or(not_ours)?;
    let opened = cipher(&wrapping).decrypt(&Nonce::default(), header.body.as_slice());
    let file_key = Zeroizing::new(opened.ok().ok_or(KeyBoxError::WrongPassphrase)?);
    let genuine = header_mac(&file_key, header.signed).verify_slice(&header.mac);
    genuine.ok().ok_or(KeyBoxError::Damaged)?;
    let (nonce, payload) = header.rest.split_first_chunk::<NONCE_LEN>().ok_or(KeyBoxError::Damaged)?;
    let cipher = cipher(&derive(&file_key, nonce, b"payload"));
    let count = payload.len().div_ceil(CHUNK_LEN + TAG_LEN);
    let mut plain = Zeroizing::new(Vec::with_capacity(payload.len()));
    for (index, chunk) in payload.chunks(CHUNK_LEN + TAG_LEN).enumerate() {
        let opened = cipher.decrypt(&chunk_nonce(index, index + 1 == count), chunk);
        plain.extend_from_slice(&Zeroizing::new(opened.ok().ok_or(KeyBoxError::Damaged)?));
    }
    if count == 0 { Err(KeyBoxError::Damaged) } else { Ok(plain) }
}

/// The text before the payload.
struct Header<'a> {
    salt: Vec<u8>,
    log_work: u8,
    body: Vec<u8>,
    signed: &'a [u8],
    mac: Vec<u8>,
    rest: &'a [u8],
}

impl<'a> Header<'a> {
    fn parse(sealed: &'a [u8]) -> Result<Self, KeyBoxError> {
        let mut rest = sealed;
        let mut line = || {
            let end = rest.iter().position(|octet| *octet == b'\n')?;
            let (line, behind) = rest.split_at_checked(end)?;
            rest = behind.get(1..)?;
            str::from_utf8(line).ok()
        };
        if line() != Some(VERSION) {
            return Err(KeyBoxError::NotAKeyBox { why: "it is no file in the age format, version 1" });
        }
        let recipient = line().and_then(|line| line.strip_prefix("-> scrypt ")?.split_once(' '));
        let Some((salt, log_work)) = recipient else {
            return Err(KeyBoxError::NotAKeyBox { why: "it is sealed for a key, not with a passphrase" });
        };
        let body = line().ok_or(KeyBoxError::Damaged)?;
        let mac = line().and_then(|line| line.strip_prefix("--- ")).ok_or(KeyBoxError::Damaged)?;
        let signed = sealed.len() - rest.len() - mac.len() - " \n".len();
        Ok(Self {
            salt: octets(salt, 16)?,
            log_work: log_work.parse().ok().ok_or(KeyBoxError::Damaged)?,
            body: octets(body, FILE_KEY_LEN + TAG_LEN)?,
            signed: sealed.get(..signed).ok_or(KeyBoxError::Damaged)?,
            mac: octets(mac, 32)?,
            rest,
        })
    }
}

/// So many bytes in the one spelling that the format allows.
fn octets(text: &str, count: usize) -> Result<Vec<u8>, KeyBoxError> {
    let octets = base64::decode(text).ok().filter(|octets| octets.len() == count);
    octets.filter(|octets| base64::encode(octets) == text).ok_or(KeyBoxError::Damaged)
}

/// Whether scrypt would need more memory than any box of ours: 128 N r bytes.
///
/// # References
/// RFC 7914, section 5 (the array V of N blocks of 128 r bytes).
fn asks_too_much(log_work: u8) -> bool {
    let bytes = 1_u64
        .checked_shl(log_work.into())
        .and_then(|n| n.checked_mul(128 * u64::from(Params::RECOMMENDED_R)));
    bytes.is_none_or(|bytes| bytes > LARGEST_MEMORY)
}

/// None if the work is beyond what scrypt allows.
fn wrapping_key(passphrase: &Passphrase, salt: &[u8], log_work: u8) -> Option<Secret> {
    let labelled = [SALT_LABEL, salt].concat();
    let params = Params::new(log_work, Params::RECOMMENDED_R, Params::RECOMMENDED_P).ok()?;
    let mut key = Secret::default();
    scrypt::scrypt(passphrase.bytes(), &labelled, &params, key.as_mut_slice()).ok()?;
    Some(key)
}

fn derive(file_key: &[u8], salt: &[u8], purpose: &[u8]) -> Secret {
    let mut key = Secret::default();
    Hkdf::<Sha256>::new(Some(salt), file_key)
        .expand(purpose, key.as_mut_slice())
        .expect("32 bytes are fewer than the 8160 that HKDF-SHA-256 can give");
    key
}

fn header_mac(file_key: &[u8], header: &[u8]) -> Hmac<Sha256> {
    let key = derive(file_key, &[], b"header");
    let mut mac = Hmac::<Sha256>::new_from_slice(key.as_slice()).expect("HMAC takes keys of any length");
    mac.update(header);
    mac
}

fn cipher(key: &Secret) -> ChaCha20Poly1305 {
    ChaCha20Poly1305::new((&**key).into())
}

/// Eleven bytes of counter, most significant first, and whether it is the last.
fn chunk_nonce(index: usize, last: bool) -> Nonce {
    let mut nonce = Nonce::default();
    let counter = (index as u64).to_be_bytes();
    for (octet, value) in nonce.iter_mut().skip(3).zip(counter.into_iter().chain([u8::from(last)])) {
        *octet = value;
    }
    nonce
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_box_may_ask_for_a_gigabyte_and_no_more() {
        // RFC 7914: 128 * 8 * 2^20 bytes are 1 GiB; one step more would be 2 GiB.
        assert!(!asks_too_much(20));
        assert!(
            [21, 53, 54, 63, 64, 255].into_iter().all(asks_too_much),
            "also where the figure does not fit"
        );
        assert_eq!(LARGEST_MEMORY, 1_073_741_824);
    }
}
