//! The manual of the design file, its JSON Schema and a commented example, generated from the declarations.

use crate::section::SectionDoc;

pub(crate) fn section_schema(doc: &SectionDoc) -> String {
    let _ = doc;
    String::new()
}
