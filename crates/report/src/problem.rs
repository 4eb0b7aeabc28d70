//! What is wrong with the input, in one form for design files, part files, weather and output paths.

use std::borrow::Cow;
use std::ops::Range;
use std::sync::Arc;

use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Level, Origin, Renderer, Snippet};
use design::quantity::is_unprintable;
use serde_json::{Value, json};

/// Most problems that are shown to a person, and most that are listed as JSON.
const MOST_SHOWN: usize = 100;
const MOST_LISTED: usize = 10_000;
/// Longest line that is shown as it is; a longer one is not a line a person wrote.
const LONGEST_LINE: usize = 400;

/// A text that problems point into.
#[derive(Clone, Debug)]
pub struct Source {
    /// As the person named it.
    pub file: String,
    text: Arc<str>,
    /// Bytes at which its lines end.
    line_ends: Arc<[usize]>,
    first_line: usize,
}

impl Source {
    /// A whole file.
    pub fn new(file: &str, text: &str) -> Self {
        Self::one_line(file, 1, text)
    }

    /// A line of a file, and its number.
    pub fn one_line(file: &str, number: usize, text: &str) -> Self {
        let line_ends = text.match_indices('\n').map(|(at, _)| at).collect();
        Self { file: file.to_owned(), text: text.into(), line_ends, first_line: number }
    }

    /// The text itself.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether there is nothing to point at.
    pub fn is_empty(&self) -> bool {
        self.text.is_empty()
    }

    /// Number of the line in which a byte stands.
    pub fn line_at(&self, byte: usize) -> usize {
        self.first_line + self.line_ends.partition_point(|end| *end < byte)
    }
}

/// A text without what must never reach a terminal, as long as before in bytes; tabs and line breaks stay.
fn printable(text: &str) -> Cow<'_, str> {
    let harmful = |letter: char| is_unprintable(letter) && !matches!(letter, '\t' | '\n' | '\r');
    if !text.contains(harmful) {
        return Cow::Borrowed(text);
    }
    let shown = |letter: char| match letter.len_utf8() {
        _ if !harmful(letter) => letter,
        1 => '?',
        2 => '\u{b7}',
        _ => char::REPLACEMENT_CHARACTER,
    };
    Cow::Owned(text.chars().map(shown).collect())
}

/// One thing that is wrong.
#[derive(Clone, Debug)]
pub struct Problem {
    /// Whether the design can be used all the same.
    pub warning: bool,
    /// Name that the manual explains.
    pub code: &'static str,
    /// Where it is.
    pub source: Source,
    /// Bytes of the source to point at; none if it is about the file as a whole.
    pub span: Option<Range<usize>>,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
}

/// Why nothing could be checked.
#[derive(Debug)]
pub struct Failure {
    /// Everything that is wrong, in the order of the files.
    pub problems: Vec<Problem>,
}

impl Problem {
    /// A problem with a file as a whole.
    pub fn of_file(code: &'static str, file: &str, message: String, help: impl Into<String>) -> Self {
        let source = Source::new(file, "");
        Self { warning: false, code, source, span: None, message, help: help.into() }
    }

    /// Line and column of its beginning, both from 1, columns in characters.
    pub fn place(&self) -> Option<(usize, usize)> {
        let start = self.span.as_ref()?.start;
        let before = self.source.text.get(..start)?;
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        Some((self.source.line_at(start), before.get(line_start..)?.chars().count() + 1))
    }

    /// `file:line`, or the file alone.
    pub fn location(&self) -> String {
        match self.place() {
            Some((line, _)) => format!("{}:{line}", self.source.file),
            None => self.source.file.clone(),
        }
    }

    /// As JSON, with line and column.
    pub fn to_json(&self) -> Value {
        let place = self.place();
        json!({
            "severity": if self.warning { "warning" } else { "error" },
            "code": self.code,
            "file": self.source.file,
            "line": place.map(|(line, _)| line),
            "column": place.map(|(_, column)| column),
            "message": self.message,
            "help": self.help,
        })
    }

    /// For a person: the line with a caret, what is wrong, and what to write instead.
    fn render(&self) -> String {
        let level = if self.warning { Level::WARNING } else { Level::ERROR };
        let [message, help, file] =
            [&self.message, &self.help, &self.source.file].map(|text| printable(text));
        let title = level.primary_title(message).id(self.code);
        let shown = self.span.as_ref().and_then(|span| self.excerpt(span));
        let group = if let Some((text, line, span)) = shown {
            let annotation = AnnotationKind::Primary.span(span);
            let snippet = Snippet::source(printable(text)).line_start(line).path(file);
            title.element(snippet.annotation(annotation))
        } else {
            let origin = Origin::path(file);
            title.element(match self.place() {
                Some((line, column)) => origin.line(line).char_column(column),
                None => origin,
            })
        };
        let group = group.element(Level::HELP.message(help));
        Renderer::styled().decor_style(DecorStyle::Ascii).render(&[group])
    }

    /// The lines that a span touches, the number of the first, and the span within them; none if they are too long.
    fn excerpt(&self, span: &Range<usize>) -> Option<(&str, usize, Range<usize>)> {
        let text = &*self.source.text;
        let before = text.get(..span.start)?;
        let start = before.rfind('\n').map_or(0, |at| at + 1);
        let first_line = text.get(span.start..)?.find('\n').map_or(text.len(), |at| span.start + at);
        let end = span.end.clamp(span.start, first_line.max(span.start));
        let lines = text.get(start..first_line)?;
        (lines.len() <= LONGEST_LINE).then(|| {
            (lines, self.source.line_at(span.start), span.start - start..end.max(span.start) - start)
        })
    }
}

/// What was found wrong so far, so that all of it is said at once.
#[derive(Debug, Default)]
pub struct Found {
    problems: Vec<Problem>,
}

impl Found {
    /// The value, or none where its problems were noted.
    pub fn take<T>(&mut self, result: Result<T, Failure>) -> Option<T> {
        result.map_err(|failure| self.problems.extend(failure.problems)).ok()
    }

    /// How many problems there are.
    pub fn count(&self) -> usize {
        self.problems.len()
    }

    /// Fails if anything was noted.
    ///
    /// # Errors
    /// All that was noted.
    pub fn refuse(self) -> Result<(), Failure> {
        if self.problems.is_empty() { Ok(()) } else { Err(self.into_failure()) }
    }

    /// All that was noted.
    pub fn into_failure(self) -> Failure {
        Failure { problems: self.problems }
    }
}

impl Failure {
    /// What is wrong, without the places, in a line.
    pub fn in_a_line(&self) -> String {
        self.problems.iter().map(|problem| problem.message.as_str()).collect::<Vec<_>>().join("; ")
    }

    /// One problem.
    pub fn of(problem: Problem) -> Self {
        Self { problems: vec![problem] }
    }

    /// What is wrong with two inputs.
    pub fn both(one: Option<Self>, other: Option<Self>) -> Self {
        Self { problems: one.into_iter().chain(other).flat_map(|failure| failure.problems).collect() }
    }

    /// All problems for a person, and how many they are.
    pub fn render(&self) -> String {
        if self.problems.is_empty() {
            return String::new();
        }
        let (warnings, errors): (Vec<_>, Vec<_>) = self.problems.iter().partition(|problem| problem.warning);
        let shown = errors.iter().chain(&warnings).take(MOST_SHOWN);
        let mut text: String = shown.map(|problem| problem.render() + "\n\n").collect();
        let errors = errors.len();
        if self.problems.len() > MOST_SHOWN {
            let more = crate::words::count(self.problems.len() - MOST_SHOWN, "more problem");
            text += &more;
            text += " not shown; ";
        }
        if self.problems.len() > 1 {
            text += &crate::words::count(errors, "error");
            text += ": nothing was checked\n";
        } else {
            text.truncate(text.trim_end().len());
            text.push('\n');
        }
        text
    }

    /// All problems as JSON.
    pub fn to_json(&self) -> Vec<Value> {
        self.problems.iter().take(MOST_LISTED).map(Problem::to_json).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(span: Range<usize>) -> Problem {
        let source = Source::new("node.toml", "schema = 1\nname = \"Bürg\" x\n");
        let (message, help) = ("wrong".to_owned(), "write it right".to_owned());
        Problem { warning: false, code: "syntax", source, span: Some(span), message, help }
    }

    #[test]
    fn lines_and_columns_are_counted_in_characters_from_one() {
        assert_eq!(at(0..1).place(), Some((1, 1)));
        assert_eq!(at(11..15).place(), Some((2, 1)));
        assert_eq!(at(26..27).place(), Some((2, 15)));
        assert_eq!(at(99..99).place(), None);
    }

    #[test]
    fn a_span_beyond_the_text_or_over_several_lines_is_rendered_all_the_same() {
        for (from, to) in [(0, 28), (5, 20), (28, 28), (28, 60), (200, 300), (10, 10), (12, 11)] {
            let text = Failure::of(at(from..to)).render();
            assert!(text.contains("wrong") && text.contains("write it right"), "{text}");
        }
    }
}
