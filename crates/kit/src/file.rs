//! The files of a kit.

use crate::kit::Kit;
use crate::{c, javascript, markdown, python, rust, vectors};

/// A generated file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct File {
    /// Its name, without a folder.
    pub name: String,
    /// What it holds.
    pub text: String,
}

/// What every generated file says near its beginning; the list of vectors says it in its first line.
const MARKS: [&str; 2] = ["overwinter", vectors::CSV_HEADING];
const LINES_LOOKED_AT: usize = 4;

/// In the place of every value that only a node's own identity has.
pub const NOT_SET: &str = "KEY_NOT_SET";

/// Whether a text was generated, by whatever edition: what was not is somebody else's.
#[must_use]
pub fn is_generated(text: &str) -> bool {
    text.lines().take(LINES_LOOKED_AT).any(|line| MARKS.iter().any(|mark| line.contains(mark)))
}

impl Kit<'_> {
    /// Whether a header is that of another node with the same file name.
    #[must_use]
    pub fn is_of_another(&self, header: &str) -> bool {
        is_generated(header) && !header.starts_with(&self.heading())
    }

    /// All files but the identity, in the order in which a person meets them.
    #[must_use]
    pub fn files(&self) -> Vec<File> {
        let stem = self.stem();
        let file = |suffix: &str, text| File { name: format!("{stem}{suffix}"), text };
        vec![
            file(".md", markdown::table(self)),
            file(".h", c::header(self)),
            file(".js", javascript::codec(self)),
            file(".py", python::decoder(self)),
            file(".rs", rust::decoder(self)),
            file("_vectors.json", vectors::json(self)),
            file("_vectors.csv", vectors::csv(self)),
        ]
    }

    /// What stands in for a node's identity and key; the file of a node that was handed over lacks [`NOT_SET`].
    #[must_use]
    pub fn identity(&self) -> File {
        File { name: format!("{}_identity.h", self.stem()), text: c::identity(self) }
    }
}
