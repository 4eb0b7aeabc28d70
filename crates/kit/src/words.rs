//! Text that may stand in a generated file, and the words of its columns.

use std::fmt::Write as _;

use design::message::{Direction, Form, Kind};

pub(crate) fn form_word(form: Form) -> &'static str {
    match form {
        Form::Full => "full",
        Form::Short => "short",
    }
}

pub(crate) fn direction_word(direction: Direction) -> &'static str {
    match direction {
        Direction::Up => "up",
        Direction::Down => "down",
    }
}

pub(crate) fn kind_word(kind: &Kind) -> &'static str {
    match kind {
        Kind::Number { battery: true, .. } => "battery",
        Kind::Number { .. } => "number",
        Kind::Counter { .. } => "counter",
        Kind::Flag => "flag",
        Kind::Choice { .. } => "choice",
        Kind::Position { .. } => "position",
        Kind::Time { .. } => "time",
        Kind::Bytes { .. } => "bytes",
    }
}

/// Adds a line.
pub(crate) fn line(text: &mut String, what: std::fmt::Arguments<'_>) {
    // Writing to a string can't fail.
    let _infallible = text.write_fmt(what);
    text.push('\n');
}

/// Text of a person between quotes of any of the languages.
pub(crate) fn quotable(text: &str) -> String {
    remark(text).replace(['\'', '"'], " ")
}

/// Text of a person as it may stand in a comment of any of the languages.
pub(crate) fn remark(text: &str) -> String {
    let seen = |letter: char| {
        let turns_text_round = matches!(letter, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}');
        if letter.is_control() || turns_text_round || letter == '\\' { ' ' } else { letter }
    };
    text.chars()
        .map(seen)
        .collect::<String>()
        .replace("*/", "* /")
        .replace("/*", "/ *")
        .replace("??", "? ?")
        .trim()
        .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_remark_ends_a_comment_or_turns_text_round() {
        let nasty = "a */ b \\\n c \u{202e} ??/ \u{2028} /*/ d";
        let harmless = remark(nasty);
        for forbidden in ["*/", "\\", "\n", "\u{202e}", "??/", "\u{2028}", "/*"] {
            assert!(!harmless.contains(forbidden), "{harmless:?} has {forbidden:?}");
        }
    }
}
