//! JSON of strangers: strict where readers differ, and bounded.

use std::collections::BTreeMap;
use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, Error as _, MapAccess, SeqAccess, Visitor};

/// Deepest nesting of lists and objects.
pub const DEEPEST: usize = 64;

/// A value.
#[derive(Clone, Debug, PartialEq)]
pub enum Json {
    /// null.
    Null,
    /// true or false.
    Bool(bool),
    /// A number.
    Number(Number),
    /// A text.
    Text(String),
    /// A list.
    List(Vec<Self>),
    /// An object; no key is there twice.
    Object(BTreeMap<String, Self>),
}

/// A number as it is written, as far as 64 bits tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Number {
    /// A whole one.
    Whole(i128),
    /// One with a fraction or exponent, or beyond 64 bits.
    Other(f64),
}

impl fmt::Display for Number {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Whole(whole) => write!(f, "{whole}"),
            Self::Other(other) => write!(f, "{other}"),
        }
    }
}

/// Bytes that are no JSON that is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum JsonError {
    /// Not JSON by RFC 8259, or not UTF-8, or with a number that no double holds, a key twice, or nested too deeply.
    #[error("no sound JSON: something is wrong in line {line} at place {column}")]
    Unsound {
        /// Line, from 1; 0 where it is not known.
        line: usize,
        /// Byte of the line, from 1.
        column: usize,
    },
}

/// Reads a text.
///
/// # Errors
/// [`JsonError`] with the place: what is wrong is not repeated.
pub fn read(bytes: &[u8]) -> Result<Json, JsonError> {
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    let read = Nested(DEEPEST).deserialize(&mut reader).and_then(|json| reader.end().map(|()| json));
    read.map_err(|error| JsonError::Unsound { line: error.line(), column: error.column() })
}

impl Json {
    /// What it is, with its article.
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Null => "null",
            Self::Bool(_) => "true or false",
            Self::Number(_) => "a number",
            Self::Text(_) => "a text",
            Self::List(_) => "a list",
            Self::Object(_) => "an object",
        }
    }

    /// What stands behind these names and indices.
    pub fn find<S: AsRef<str>>(&self, tokens: &[S]) -> Option<&Self> {
        tokens.iter().try_fold(self, |json, token| json.step(token.as_ref()))
    }

    /// Entries of the longest list that a pointer goes into.
    pub fn longest_list<S: AsRef<str>>(&self, tokens: &[S]) -> Option<usize> {
        let mut longest = None;
        let mut json = self;
        for token in tokens {
            if let Self::List(entries) = json {
                longest = longest.max(Some(entries.len()));
            }
            json = json.step(token.as_ref())?;
        }
        longest
    }

    /// RFC 6901, section 4: an index has no leading zero.
    fn step(&self, token: &str) -> Option<&Self> {
        match self {
            Self::Object(members) => members.get(token),
            Self::List(entries) => {
                let digits = token.bytes().all(|digit| digit.is_ascii_digit());
                let leading = token.len() > 1 && token.starts_with('0');
                entries.get(token.parse::<usize>().ok().filter(|_| digits && !leading)?)
            }
            _ => None,
        }
    }
}

/// A value within so many more levels.
#[derive(Clone, Copy)]
struct Nested(usize);

impl<'de> DeserializeSeed<'de> for Nested {
    type Value = Json;

    fn deserialize<D: Deserializer<'de>>(self, reader: D) -> Result<Json, D::Error> {
        reader.deserialize_any(self)
    }
}

impl Nested {
    fn deeper<E: serde::de::Error>(self) -> Result<Self, E> {
        self.0.checked_sub(1).map(Self).ok_or_else(|| E::custom("nested too deeply"))
    }
}

impl<'de> Visitor<'de> for Nested {
    type Value = Json;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<Json, E> {
        Ok(Json::Null)
    }

    fn visit_bool<E>(self, truth: bool) -> Result<Json, E> {
        Ok(Json::Bool(truth))
    }

    fn visit_i64<E>(self, whole: i64) -> Result<Json, E> {
        Ok(Json::Number(Number::Whole(whole.into())))
    }

    fn visit_u64<E>(self, whole: u64) -> Result<Json, E> {
        Ok(Json::Number(Number::Whole(whole.into())))
    }

    fn visit_f64<E>(self, number: f64) -> Result<Json, E> {
        Ok(Json::Number(Number::Other(number)))
    }

    fn visit_str<E>(self, text: &str) -> Result<Json, E> {
        Ok(Json::Text(text.to_owned()))
    }

    fn visit_string<E>(self, text: String) -> Result<Json, E> {
        Ok(Json::Text(text))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut entries: A) -> Result<Json, A::Error> {
        let deeper = self.deeper()?;
        let mut list = Vec::new();
        while let Some(entry) = entries.next_element_seed(deeper)? {
            list.push(entry);
        }
        Ok(Json::List(list))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<Json, A::Error> {
        let deeper = self.deeper()?;
        let mut object = BTreeMap::new();
        while let Some(key) = members.next_key::<String>()? {
            let value = members.next_value_seed(deeper)?;
            if object.insert(key, value).is_some() {
                return Err(A::Error::custom("a key twice"));
            }
        }
        Ok(Json::Object(object))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 6901, section 5: the document and what its pointers evaluate to.
    #[test]
    fn pointers_find_what_the_standard_says() {
        let document =
            br#"{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}"#;
        let json = read(document).expect("sound");
        let whole = |number| Some(Json::Number(Number::Whole(number)));
        for (pointer, found) in [
            ("/foo/0", Some(Json::Text("bar".to_owned()))),
            ("/", whole(0)),
            ("/a~1b", whole(1)),
            ("/c%d", whole(2)),
            ("/e^f", whole(3)),
            ("/g|h", whole(4)),
            ("/i\\j", whole(5)),
            ("/k\"l", whole(6)),
            ("/ ", whole(7)),
            ("/m~0n", whole(8)),
            ("/foo/2", None),
            ("/foo/00", None),
            ("/foo/+1", None),
            ("/none", None),
        ] {
            let design::serve::Pointer::Json(tokens) = design::serve::Pointer::parse(pointer).expect(pointer)
            else {
                panic!("{pointer} is one of JSON")
            };
            assert_eq!(json.find(&tokens), found.as_ref(), "{pointer}");
        }
    }

    #[test]
    fn what_readers_differ_on_is_refused() {
        let nested = |levels| format!("{}{}", "[".repeat(levels), "]".repeat(levels));
        assert!(read(nested(64).as_bytes()).is_ok());
        for text in [
            "",
            "{",
            "{} {}",
            r#"{"a":1,"a":2}"#,
            r#"[{"a":{"b":1,"b":1}}]"#,
            "NaN",
            "[1e400]",
            "[01]",
            "[1,]",
            "'a'",
            &nested(65),
            &nested(3000),
        ] {
            assert!(read(text.as_bytes()).is_err(), "{text:.40}");
        }
        assert!(read(b"\"\xff\"").is_err(), "no UTF-8");
        assert!(read(b"\"\\ud800\"").is_err(), "half of a pair");
    }

    #[test]
    fn whole_numbers_stay_whole_to_64_bits() {
        assert_eq!(read(b"18446744073709551615"), Ok(Json::Number(Number::Whole(u64::MAX.into()))));
        assert!(matches!(read(b"99999999999999999999"), Ok(Json::Number(Number::Other(_)))));
    }
}
