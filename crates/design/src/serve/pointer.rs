//! Where in a message a thing stands.

use std::fmt;

/// A place in a message: in its JSON, or in the name under which it came.
///
/// # References
/// RFC 6901, JavaScript Object Notation (JSON) Pointer, sections 3 and 4.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Pointer {
    /// Names and indices from the top, unescaped; empty: the whole.
    Json(Vec<String>),
    /// A level of a topic or path, from 1.
    Level(Levels, usize),
}

/// A name that has levels between slashes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Levels {
    /// Of a broker's message.
    Topic,
    /// Of an address that was posted to.
    Path,
}

/// Text that is no pointer.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PointerError {
    /// It does not begin as one.
    #[error("a place in a message begins with `/`, or is `topic:2` or `path:2`")]
    Beginning,
    /// An escape that is none.
    #[error("behind `~` stands 0 (for `~`) or 1 (for `/`)")]
    Escape,
    /// `-` is the element behind the last, which is not there.
    #[error("`-` means an element that is not there yet")]
    BehindTheLast,
    /// A level of 0, or no number.
    #[error("levels are counted from 1")]
    Level,
}

impl Pointer {
    /// Reads a pointer: `/who/id`, `/heard/0/level`, `topic:2`.
    ///
    /// # Errors
    /// [`PointerError`] if the text is none.
    pub fn parse(text: &str) -> Result<Self, PointerError> {
        for (prefix, levels) in [("topic:", Levels::Topic), ("path:", Levels::Path)] {
            if let Some(number) = text.strip_prefix(prefix) {
                let digits = number.bytes().all(|digit| digit.is_ascii_digit());
                let number = number.parse().ok().filter(|number| *number > 0 && digits);
                return number.map(|number| Self::Level(levels, number)).ok_or(PointerError::Level);
            }
        }
        if text.is_empty() {
            return Ok(Self::Json(Vec::new()));
        }
        let tokens = text.strip_prefix('/').ok_or(PointerError::Beginning)?;
        tokens.split('/').map(unescaped).collect::<Result<_, _>>().map(Self::Json)
    }
}

/// RFC 6901, section 4: `~1` first, then `~0`.
fn unescaped(token: &str) -> Result<String, PointerError> {
    if token == "-" {
        return Err(PointerError::BehindTheLast);
    }
    let escapes = token.split('~').skip(1).all(|rest| rest.starts_with(['0', '1']));
    if escapes { Ok(token.replace("~1", "/").replace("~0", "~")) } else { Err(PointerError::Escape) }
}

impl fmt::Display for Pointer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Json(tokens) => tokens
                .iter()
                .try_for_each(|token| write!(f, "/{}", token.replace('~', "~0").replace('/', "~1"))),
            Self::Level(Levels::Topic, number) => write!(f, "topic:{number}"),
            Self::Level(Levels::Path, number) => write!(f, "path:{number}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The examples of RFC 6901, section 5, whose tokens are said there.
    #[test]
    fn tokens_are_those_of_the_standard() {
        for (text, tokens) in [
            ("", &[][..]),
            ("/foo", &["foo"]),
            ("/foo/0", &["foo", "0"]),
            ("/", &[""]),
            ("/a~1b", &["a/b"]),
            ("/m~0n", &["m~n"]),
            ("/ ", &[" "]),
            ("/~01", &["~1"]),
        ] {
            let pointer = Pointer::parse(text).expect(text);
            assert_eq!(pointer, Pointer::Json(tokens.iter().map(|token| (*token).to_owned()).collect()));
            assert_eq!(pointer.to_string(), text);
        }
    }

    #[test]
    fn what_is_no_pointer_is_refused() {
        for (text, error) in [
            ("foo", PointerError::Beginning),
            ("/a~2", PointerError::Escape),
            ("/a~", PointerError::Escape),
            ("/list/-", PointerError::BehindTheLast),
            ("topic:0", PointerError::Level),
            ("topic:+1", PointerError::Level),
            ("path:", PointerError::Level),
            ("path:99999999999999999999999", PointerError::Level),
        ] {
            assert_eq!(Pointer::parse(text), Err(error), "{text}");
        }
        assert_eq!(Pointer::parse("topic:2"), Ok(Pointer::Level(Levels::Topic, 2)));
    }
}
