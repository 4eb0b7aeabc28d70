//! Names that every generated language can bear.

use super::super::Resolver;
use crate::diagnostic;
use crate::file::message::{FieldSection, KindWord, MessageSection};
use crate::quantity::shortened;
use crate::section::At;

/// Longest name; with prefix and suffix it stays below the 63 significant characters of C99, clause 5.2.4.1.
const LONGEST_NAME: usize = 32;

/// Lower-case keywords and predefined names of C11, C++20, ECMAScript 2023, Python 3 and Rust 2024, and a few that their
/// libraries define as macros or that every object has.
const KEYWORDS: &[&str] = &[
    "abstract",
    "alignas",
    "alignof",
    "and",
    "and_eq",
    "arguments",
    "as",
    "asm",
    "assert",
    "async",
    "auto",
    "await",
    "become",
    "bitand",
    "bitor",
    "bool",
    "boolean",
    "box",
    "break",
    "byte",
    "case",
    "catch",
    "char",
    "class",
    "compl",
    "concept",
    "const",
    "consteval",
    "constexpr",
    "constinit",
    "constructor",
    "continue",
    "crate",
    "debugger",
    "decltype",
    "def",
    "default",
    "del",
    "delete",
    "do",
    "double",
    "dyn",
    "elif",
    "else",
    "enum",
    "errno",
    "eval",
    "except",
    "explicit",
    "export",
    "extends",
    "extern",
    "false",
    "final",
    "finally",
    "float",
    "fn",
    "for",
    "friend",
    "from",
    "function",
    "gen",
    "global",
    "goto",
    "if",
    "impl",
    "implements",
    "import",
    "in",
    "inline",
    "instanceof",
    "int",
    "interface",
    "is",
    "lambda",
    "let",
    "long",
    "loop",
    "macro",
    "match",
    "mod",
    "move",
    "mut",
    "mutable",
    "namespace",
    "native",
    "new",
    "noexcept",
    "nonlocal",
    "noreturn",
    "not",
    "not_eq",
    "null",
    "nullptr",
    "operator",
    "or",
    "or_eq",
    "override",
    "package",
    "pass",
    "priv",
    "private",
    "protected",
    "prototype",
    "pub",
    "public",
    "raise",
    "ref",
    "register",
    "requires",
    "restrict",
    "return",
    "self",
    "short",
    "signed",
    "sizeof",
    "static",
    "static_assert",
    "struct",
    "super",
    "switch",
    "synchronized",
    "template",
    "this",
    "thread_local",
    "throw",
    "throws",
    "trait",
    "transient",
    "true",
    "try",
    "type",
    "typedef",
    "typeid",
    "typename",
    "typeof",
    "undefined",
    "union",
    "unix",
    "unsafe",
    "unsigned",
    "unsized",
    "use",
    "using",
    "var",
    "virtual",
    "void",
    "volatile",
    "wchar_t",
    "where",
    "while",
    "with",
    "xor",
    "xor_eq",
    "yield",
];

impl Resolver<'_> {
    /// Whether a name of a message or field can be used; says so if not.
    pub(super) fn check_name(&mut self, name: &At<String>, of: &str) -> bool {
        if KEYWORDS.contains(&name.value.as_str()) {
            let message = format!("`{}` is a keyword of a generated language", name.value);
            let help = format!("write another name, as `{}_value`", name.value);
            self.found.error(diagnostic::MESSAGE_NAME, &name.span, message, help);
            return false;
        }
        self.check_word(name, of)
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

    /// Message and field together are one name in C, and a position has two more.
    pub(super) fn check_collisions(&mut self, rows: &[&(At<String>, MessageSection)]) {
        let mut taken: Vec<(String, String)> = Vec::new();
        for (message, section) in rows {
            for (field, keys) in section.field.iter().flat_map(|fields| &fields.value.0) {
                let full = format!("{}_{}", message.value, field.value);
                for name in spellings(&full, keys) {
                    if let Some((_, by)) = taken.iter().find(|(known, by)| *known == name && *by != full) {
                        let text = format!("`{name}` is already taken by `{by}`");
                        let help = "rename one of the two";
                        self.found.error(diagnostic::NAME_COLLISION, &field.span, text, help);
                    } else if let Some((_, by)) = taken.iter().find(|(known, _)| *known == name) {
                        let text = format!("two messages have a field that is called `{by}` in C");
                        self.found.error(
                            diagnostic::NAME_COLLISION,
                            &field.span,
                            text,
                            "rename one of the two",
                        );
                    }
                    taken.push((name, full.clone()));
                }
            }
        }
    }
}

/// The names that a field takes in generated programs.
fn spellings(full: &str, keys: &FieldSection) -> Vec<String> {
    let is_position = keys.kind.as_ref().is_some_and(|kind| kind.value == KindWord::Position);
    let mut names = vec![full.to_owned()];
    if is_position {
        names.extend(["latitude", "longitude"].map(|part| format!("{full}_{part}")));
    }
    if keys.history.is_some() {
        names.push(format!("{full}_earlier"));
    }
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
    (good && !KEYWORDS.contains(&better.as_str())).then_some(better)
}
