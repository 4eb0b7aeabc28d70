//! The word that a sender must know.

use std::fmt;
use std::path::Path;

use sha2::{Digest as _, Sha256};
use subtle::ConstantTimeEq as _;

use crate::keys::{Passphrase, PassphraseError};

/// A secret word of which only the digest is held: compared in constant time whatever its length, and never shown.
#[derive(Clone)]
pub struct Token([u8; 32]);

impl Token {
    /// The one line of a file that nobody else can read.
    ///
    /// # Errors
    /// [`PassphraseError`] if others can read it, or it holds anything but one line.
    pub fn from_file(path: &Path) -> Result<Self, PassphraseError> {
        Ok(Self(Passphrase::from_file(path)?.digest()))
    }

    /// As it was kept.
    pub const fn from_digest(digest: [u8; 32]) -> Self {
        Self(digest)
    }

    /// The digest of a word.
    pub fn of(word: &str) -> Self {
        Self(Sha256::digest(word).into())
    }

    /// Whether this is the word.
    pub fn is(&self, word: &str) -> bool {
        self.0.ct_eq(&Self::of(word).0).into()
    }

    /// Whether an `Authorization` field carries the word (RFC 6750, clause 2.1; the scheme in any case, RFC 9110, 11.1).
    pub fn admits(&self, authorization: Option<&str>) -> bool {
        let word = authorization.and_then(|field| {
            let (scheme, word) = field.split_once(' ')?;
            scheme.eq_ignore_ascii_case("bearer").then_some(word.trim())
        });
        // A missing word is compared as well.
        self.is(word.unwrap_or_default()) && word.is_some()
    }
}

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token(redacted)")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_is_taken_whole_and_by_its_scheme() {
        let token = Token::of("moor-grass");
        for field in ["Bearer moor-grass", "bearer moor-grass"] {
            assert!(token.admits(Some(field)), "{field}");
        }
        for field in [None, Some(""), Some("moor-grass"), Some("Bearer moor"), Some("Basic moor-grass")] {
            assert!(!token.admits(field), "{field:?}");
        }
        assert_eq!(format!("{token:?}"), "Token(redacted)");
    }
}
