//! The JSON Schema of a section, from its declaration.

use super::{Need, SectionDoc};

/// The JSON Schema of one section. A section that names a part may leave out what the part gives.
pub(crate) fn section_schema(section: &SectionDoc) -> String {
    let fields = (section.fields)();
    let names_part = fields.iter().any(|field| field.key == "part");
    let properties: Vec<String> = fields
        .iter()
        .map(|field| {
            // A table describes itself; JSON allows no key twice.
            let schema = (field.schema)();
            let described = if schema.starts_with("{\"description\":") {
                schema
            } else {
                let rest = schema.trim_start_matches('{');
                let range = field.range().map_or_else(String::new, |range| format!(" It {range}."));
                format!("{{\"description\":{},{rest}", quoted(&(plain(field.doc) + &range)))
            };
            format!("{}:{described}", quoted(field.key))
        })
        .collect();
    let required: Vec<String> = fields
        .iter()
        .filter(|field| field.need == Need::Placed || (field.need == Need::Required && !names_part))
        .map(|field| quoted(field.key))
        .collect();
    let required =
        if required.is_empty() { String::new() } else { format!("\"required\":[{}],", required.join(",")) };
    format!(
        "{{\"description\":{},\"type\":\"object\",\"additionalProperties\":false,{required}\"properties\":{{{}}}}}",
        quoted(&plain(section.doc)),
        properties.join(",")
    )
}

/// A text on one line.
pub(crate) fn plain(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A plain text in JSON or TOML quotes.
pub(crate) fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n"))
}
