//! Who may do what, and what proves who it is. Of passphrases and words the hashes alone are kept.

mod proof;
mod sight;

use std::fmt;

use design::quantity::is_unprintable;

pub use proof::{Hash, NoHash, Word};
pub use sight::Sight;

/// Longest name of a person \[characters\] (own choice: it stands in a line of a page).
pub const LONGEST_NAME: usize = 64;

/// What a person may do; each may do what those before may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum May {
    /// See readings; of nodes that move, what their owner lets everybody see.
    Read,
    /// Mark alarms as seen, note visits, send settings.
    Act,
    /// Enrol nodes.
    Keys,
}

impl May {
    /// The word of the command line, the log and the page.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Act => "act",
            Self::Keys => "keys",
        }
    }

    /// The right that a word names.
    pub fn of(word: &str) -> Option<Self> {
        [Self::Read, Self::Act, Self::Keys].into_iter().find(|may| may.word() == word)
    }
}

impl fmt::Display for May {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// Why a text can't be the name of a person.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NameError {
    /// Nothing, or blanks around it.
    #[error("a name is not empty, and has no blanks around it")]
    Blank,
    /// Too long for a line.
    #[error("a name has at most {LONGEST_NAME} characters")]
    Long,
    /// It would change what is shown around it.
    #[error("a name has no control or direction characters")]
    Unprintable,
}

/// Whether a text can be the name of a person.
///
/// # Errors
/// [`NameError`].
pub fn check_name(name: &str) -> Result<(), NameError> {
    match () {
        () if name.is_empty() || name.trim() != name => Err(NameError::Blank),
        () if name.chars().count() > LONGEST_NAME => Err(NameError::Long),
        () if name.contains(is_unprintable) => Err(NameError::Unprintable),
        () => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_may_more_may_all_that_others_may() {
        assert!(May::Read < May::Act && May::Act < May::Keys);
        for may in [May::Read, May::Act, May::Keys] {
            assert_eq!(May::of(may.word()), Some(may));
        }
        assert_eq!(May::of("Keys"), None);
    }

    #[test]
    fn a_name_is_one_line_that_shows_what_it_is() {
        for name in ["Ann", "ann of the north orchard", "Jiří", "李"] {
            assert_eq!(check_name(name), Ok(()), "{name}");
        }
        for name in ["", " ", "Ann ", " Ann"] {
            assert_eq!(check_name(name), Err(NameError::Blank), "{name:?}");
        }
        for name in ["An\u{202e}n", "An\nn", "An\u{7}n"] {
            assert_eq!(check_name(name), Err(NameError::Unprintable), "{name:?}");
        }
        assert_eq!(check_name(&"a".repeat(65)), Err(NameError::Long));
    }
}
