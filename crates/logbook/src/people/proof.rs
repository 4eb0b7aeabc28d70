//! What proves who it is: a passphrase that a person knows, or a word that was drawn for a browser or a program.
//!
//! # References
//! RFC 9106, Argon2: Argon2id, version 19. Its section 4 asks for 64 MiB where 2 GiB are too much; that is too much for the
//! small computers on which a log runs. 19 MiB in two passes are what public guidance on storing passwords names as least
//! (from memory).

use std::fmt;

use argon2::{Algorithm, Argon2, Params, Version};
use sha2::{Digest as _, Sha256};
use subtle::ConstantTimeEq as _;
use zeroize::Zeroizing;

use crate::base64;
use crate::digits::hex;
use crate::keys::Passphrase;

/// Memory \[KiB\], passes and lanes of the hash.
const MEMORY_KIB: u32 = 19_456;
const PASSES: u32 = 2;
const LANES: u32 = 1;
const SALT_LEN: usize = 16;
const HASH_LEN: usize = 32;
/// Bytes of a word: nobody guesses 256 bits.
const WORD_LEN: usize = 32;

/// The hash of a passphrase, with its salt and what was spent on it.
#[derive(Clone, PartialEq, Eq)]
pub struct Hash(String);

/// Why there is no hash.
#[derive(Debug, thiserror::Error)]
pub enum NoHash {
    /// The operating system gives no random bytes.
    #[error("the operating system's random source failed: {0}")]
    Random(getrandom::Error),
    /// There is not the memory for it, or the log holds something else.
    #[error("the hash of a passphrase can't be worked out: {0}")]
    Work(String),
}

impl Hash {
    /// Of a passphrase, with a salt of its own.
    ///
    /// # Errors
    /// [`NoHash`].
    pub fn of(passphrase: &Passphrase) -> Result<Self, NoHash> {
        let mut salt = [0; SALT_LEN];
        getrandom::fill(&mut salt).map_err(NoHash::Random)?;
        let hash = work(passphrase.bytes(), &salt, [MEMORY_KIB, PASSES, LANES])?;
        Ok(Self(format!(
            "$argon2id$v=19$m={MEMORY_KIB},t={PASSES},p={LANES}${}${}",
            base64::encode(&salt),
            base64::encode(&*hash)
        )))
    }

    /// As it stands in the log.
    pub fn text(&self) -> &str {
        &self.0
    }

    /// From the log.
    pub const fn from_text(text: String) -> Self {
        Self(text)
    }

    /// Whether this is the passphrase; takes as long whether it is or not.
    ///
    /// # Errors
    /// [`NoHash::Work`] if the log holds no hash, or the memory is short.
    pub fn is_of(&self, passphrase: &Passphrase) -> Result<bool, NoHash> {
        let parts = Parts::of(&self.0).ok_or_else(|| NoHash::Work("the log holds none".to_owned()))?;
        let found = work(passphrase.bytes(), &parts.salt, parts.costs)?;
        Ok(found.as_slice().ct_eq(&parts.hash).into())
    }

    /// Spends what a check spends, where there is nobody of that name: how long an answer takes tells no names.
    ///
    /// # Errors
    /// [`NoHash::Work`] if the memory is short.
    pub fn of_nobody(passphrase: &Passphrase) -> Result<(), NoHash> {
        work(passphrase.bytes(), &[0; SALT_LEN], [MEMORY_KIB, PASSES, LANES]).map(drop)
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Hash(redacted)")
    }
}

/// What a hash is made of.
struct Parts {
    costs: [u32; 3],
    salt: Vec<u8>,
    hash: Vec<u8>,
}

impl Parts {
    fn of(text: &str) -> Option<Self> {
        let mut fields = text.strip_prefix("$argon2id$v=19$")?.split('$');
        let mut costs = fields.next()?.split(',');
        let mut cost = |key: &str| costs.next()?.strip_prefix(key)?.parse::<u32>().ok();
        let costs = [cost("m=")?, cost("t=")?, cost("p=")?];
        let salt = base64::decode(fields.next()?).ok()?;
        let hash = base64::decode(fields.next()?).ok()?;
        (fields.next().is_none() && hash.len() == HASH_LEN).then_some(Self { costs, salt, hash })
    }
}

fn work(
    passphrase: &[u8],
    salt: &[u8],
    [memory_kib, passes, lanes]: [u32; 3],
) -> Result<Zeroizing<[u8; HASH_LEN]>, NoHash> {
    let failed = |error: argon2::Error| NoHash::Work(error.to_string());
    let params = Params::new(memory_kib, passes, lanes, Some(HASH_LEN)).map_err(failed)?;
    let mut hash = Zeroizing::new([0; HASH_LEN]);
    let argon2 = Argon2::new(Algorithm::Argon2id, Version::V0x13, params);
    argon2.hash_password_into(passphrase, salt, hash.as_mut_slice()).map_err(failed)?;
    Ok(hash)
}

/// A word that was drawn for a browser, a program or a link: shown once, never kept.
#[derive(Clone)]
pub struct Word(Zeroizing<String>);

impl Word {
    /// One that nobody foresees.
    ///
    /// # Errors
    /// [`NoHash::Random`].
    pub fn draw() -> Result<Self, NoHash> {
        let mut bytes = Zeroizing::new([0; WORD_LEN]);
        getrandom::fill(bytes.as_mut_slice()).map_err(NoHash::Random)?;
        Ok(Self(Zeroizing::new(hex(bytes.as_slice()))))
    }

    /// One that somebody shows.
    pub fn shown(text: &str) -> Self {
        Self(Zeroizing::new(text.to_owned()))
    }

    /// Its digest, which is kept.
    pub fn digest(&self) -> [u8; 32] {
        Sha256::digest(self.0.as_bytes()).into()
    }

    /// Whether its digest is this one; takes as long whether it is or not.
    pub fn has(&self, digest: &[u8]) -> bool {
        self.digest().as_slice().ct_eq(digest).into()
    }

    /// A word for forms, which whoever holds this one can work out, and which does not tell this one.
    #[must_use]
    pub fn for_forms(&self) -> Self {
        let digest = Sha256::new().chain_update("forms of ").chain_update(self.0.as_bytes()).finalize();
        Self(Zeroizing::new(hex(&digest)))
    }

    /// The word itself, to be shown once to whom it was drawn for.
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Word {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Word(redacted)")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn passphrase(text: &str) -> Passphrase {
        Passphrase::new(Zeroizing::new(text.to_owned())).expect("it is not empty")
    }

    /// Worked out by another implementation, that of OpenSSL 4.0, through Python's `cryptography` 48.0.0: `Argon2id(salt =
    /// b"saltsaltsaltsalt", length=32, iterations=2, lanes=1, memory_cost=19456).derive(b"rain on the moor")`.
    const ELSEWHERE: &str =
        "$argon2id$v=19$m=19456,t=2,p=1$c2FsdHNhbHRzYWx0c2FsdA$69XP6kGMf4G0fTdqf6f+WDL+Mbf372XKlPdlriqBUM4";

    #[test]
    fn a_hash_of_another_implementation_is_taken() {
        let hash = Hash::from_text(ELSEWHERE.to_owned());
        assert!(hash.is_of(&passphrase("rain on the moor")).expect("it is worked out"));
        assert!(!hash.is_of(&passphrase("rain on the moors")).expect("it is worked out"));
    }

    #[test]
    fn each_hash_has_a_salt_of_its_own_and_tells_nothing() {
        let [one, other] =
            [(); 2].map(|()| Hash::of(&passphrase("rain on the moor")).expect("it is worked out"));
        assert_ne!(one.text(), other.text());
        for hash in [&one, &other] {
            assert!(hash.text().starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{}", hash.text());
            assert!(hash.is_of(&passphrase("rain on the moor")).expect("it is worked out"));
            assert_eq!(format!("{hash:?}"), "Hash(redacted)");
        }
    }

    #[test]
    fn what_is_no_hash_is_an_error_and_not_a_refusal() {
        for text in ["", "$argon2id$v=19$m=8,t=1,p=1$AAAA$AAAA", "$argon2i$v=19$m=8,t=1,p=1$c2FsdHNhbHQ$AA"] {
            assert!(Hash::from_text(text.to_owned()).is_of(&passphrase("x")).is_err(), "{text}");
        }
    }

    #[test]
    fn a_word_is_known_by_its_digest_alone() {
        let [one, other] = [(); 2].map(|()| Word::draw().expect("it is drawn"));
        assert!(one.has(&one.digest()) && !one.has(&other.digest()) && !one.has(&[]));
        assert_eq!(one.reveal().len(), 64, "256 bits in hex");
        assert!(Word::shown(one.reveal()).has(&one.digest()));
        assert_ne!(one.for_forms().reveal(), one.reveal());
        assert_eq!(one.for_forms().reveal(), Word::shown(one.reveal()).for_forms().reveal());
        // SHA-256 of "abc", FIPS 180-2, appendix B.1.
        assert!(
            hex(&Word::shown("abc").digest())
                .eq_ignore_ascii_case("ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad")
        );
        assert_eq!(format!("{one:?}"), "Word(redacted)");
    }
}
