//! Names that every generated language can bear.

use super::super::Resolver;
use crate::diagnostic;
use crate::file::message::{FieldSection, KindWord, MessageSection};
use crate::message::is_keyword;
use crate::quantity::shortened;
use crate::section::At;

const LONGEST_NAME: usize = 32;
/// Characters of message, field and word together that C is sure to tell apart: 63 (C99, clause 5.2.4.1) less
/// `winter_value_`.
const TOLD_APART: usize = 50;
/// The key by which `encodeDownlink` is told which message is meant.
const CHOOSES_MESSAGE: &str = "message";
/// Types of Rust, which a module of the same name would hide.
const TYPES: &[&str] = &[
    "f32", "f64", "i128", "i16", "i32", "i64", "i8", "isize", "str", "u128", "u16", "u32", "u64", "u8",
    "usize",
];

/// As `air_x100`: in C, members of the struct end so.
fn ends_like_a_multiplier(name: &str) -> bool {
    name.rsplit_once("_x")
        .is_some_and(|(_, rest)| !rest.is_empty() && rest.bytes().all(|one| one.is_ascii_digit()))
}

impl Resolver<'_> {
    /// Whether a name of a message or field can be used; says so if not.
    pub(in crate::resolve) fn check_name(&mut self, name: &At<String>, of: &str) -> bool {
        let text = name.value.as_str();
        let taken = match of {
            _ if is_keyword(text) => "is a keyword of a generated language",
            "message" if TYPES.contains(&text) => "is a type in Rust",
            "field" if text == CHOOSES_MESSAGE => "chooses the message in `encodeDownlink`",
            "field" if ends_like_a_multiplier(text) => "ends as C names do whose value is multiplied",
            _ => return self.check_word(name, of),
        };
        let help = format!("write another name, as `{text}_value`");
        self.found.error(diagnostic::MESSAGE_NAME, &name.span, format!("`{text}` {taken}"), help);
        false
    }

    /// Whether a word has the characters that a name may have; says so if not.
    pub(super) fn check_word(&mut self, name: &At<String>, of: &str) -> bool {
        let text = name.value.as_str();
        let good = text.len() <= LONGEST_NAME
            && text.starts_with(|first: char| first.is_ascii_lowercase())
            && text.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_');
        if !good {
            let message = format!("`{}` can't be the name of a {of}", shortened(text));
            let help = suggestion(text).map_or_else(
                || "write at most 32 lower-case letters, digits and `_`, as `air_temperature`".to_owned(),
                |better| format!("write `{better}`: lower-case ASCII letters, digits and `_`"),
            );
            self.found.error(diagnostic::MESSAGE_NAME, &name.span, message, help);
        }
        good
    }

    /// In C, message and field together are one name, a position has two more, and a word is a macro of all three.
    pub(super) fn check_collisions(&mut self, rows: &[&(At<String>, MessageSection)]) {
        let all = rows.iter().flat_map(|(message, section)| fields(section).map(move |row| (message, row)));
        let mut taken: Vec<(Spelling, usize, String)> = Vec::new();
        for (owner, (message, (field, keys))) in all.enumerate() {
            let said = format!("{}` of `{}", field.value, message.value);
            for spelling in spellings(&format!("{}_{}", message.value, field.value), keys) {
                let clash = taken.iter().find(|(known, by, _)| *by != owner && known.is_same(&spelling));
                if let Some((known, _, by)) = clash {
                    let text = if known.name == spelling.name {
                        format!("`{}` would stand for `{by}` and for `{said}` in C", spelling.name)
                    } else {
                        format!("`{by}` and `{said}` differ only behind the characters that C tells apart")
                    };
                    let help = "rename one of the two";
                    self.found.error(diagnostic::NAME_COLLISION, &field.span, text, help);
                    break;
                }
                taken.push((spelling, owner, said.clone()));
            }
        }
    }
}

fn fields(section: &MessageSection) -> impl Iterator<Item = &(At<String>, FieldSection)> {
    section.field.iter().flat_map(|fields| &fields.value.0)
}

/// A name in generated programs.
struct Spelling {
    is_word: bool,
    name: String,
}

impl Spelling {
    /// Whether C may take the two for one: words are macros and never meet the others.
    fn is_same(&self, other: &Self) -> bool {
        let beginning = |one: &Self| one.name.get(..TOLD_APART).unwrap_or(&one.name).to_owned();
        self.is_word == other.is_word && beginning(self) == beginning(other)
    }
}

/// The names that a field takes.
fn spellings(full: &str, keys: &FieldSection) -> Vec<Spelling> {
    let plain = |name: String| Spelling { is_word: false, name };
    let mut names = vec![plain(full.to_owned())];
    if keys.kind.as_ref().is_some_and(|kind| kind.value == KindWord::Position) {
        names.extend(["latitude", "longitude"].map(|part| plain(format!("{full}_{part}"))));
    }
    if keys.history.is_some() {
        names.push(plain(format!("{full}_earlier")));
    }
    let words = keys.words.iter().flat_map(|words| &words.value);
    names.extend(words.map(|word| Spelling { is_word: true, name: format!("{full}_{}", word.value) }));
    names
}

/// The name as it could be written.
fn suggestion(text: &str) -> Option<String> {
    let mut better = String::new();
    for letter in text.chars() {
        match letter {
            'A'..='Z' if better.ends_with(|last: char| last.is_ascii_lowercase()) => {
                better.push('_');
                better.push(letter.to_ascii_lowercase());
            }
            'a'..='z' | 'A'..='Z' | '0'..='9' | '_' => better.push(letter.to_ascii_lowercase()),
            '-' | ' ' | '.' => better.push('_'),
            _ => return None,
        }
    }
    let good = better.len() <= LONGEST_NAME && better.starts_with(|first: char| first.is_ascii_lowercase());
    (good && !is_keyword(&better)).then_some(better)
}
