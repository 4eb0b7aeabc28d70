//! What is generated from the declarations is usable: the example resolves, every shown key reads, the schema is JSON.

use design::catalog::Catalog;
use design::diagnostic::CODES;
use design::file::parse;
use design::manual::{commented_example, json_schema, markdown};
use design::resolve::resolve;

#[test]
fn the_commented_example_resolves_as_it_is() {
    let text = commented_example();
    let resolved = resolve(&Catalog::builtin(), &parse(&text));
    let problems = resolved.err().unwrap_or_default();
    assert!(problems.is_empty(), "{problems:#?}\n{text}");
}

/// Without the `#` before a key only rules on combinations of keys may complain, never the reading of a value.
#[test]
fn every_key_shown_behind_a_hash_reads() {
    let hidden = |line: &str| line.starts_with('#') && !line.starts_with("# ") && line.contains(" = ");
    let example = commented_example();
    let shown: Vec<&str> = example.lines().map(|line| if hidden(line) { &line[1..] } else { line }).collect();
    let text = shown.join("\n");
    assert!(text.lines().count() > 300 && !text.lines().any(hidden));
    let problems = resolve(&Catalog::builtin(), &parse(&text)).expect_err("keys that exclude each other");
    for problem in problems {
        assert_eq!(problem.code, "one-of", "{problem:?}\n{}", &text[problem.span.clone()]);
    }
}

#[test]
fn the_schema_is_json_and_knows_every_section() {
    let schema: serde_json::Value = serde_json::from_str(&json_schema()).expect("JSON");
    let properties = schema["properties"].as_object().expect("properties");
    for section in ["site", "promise", "panel", "charger", "battery", "radio", "load", "diary"] {
        assert!(properties.contains_key(section), "{section}");
    }
    let required = schema["required"].as_array().expect("required keys");
    assert!(required.iter().any(|key| key == "battery") && !required.iter().any(|key| key == "panel"));
}

#[test]
fn the_manual_explains_every_code_and_names_every_part() {
    let manual = markdown();
    for code in CODES {
        assert!(manual.contains(&format!("\n### {}\n", code.name)), "{}", code.name);
    }
    assert!(manual.contains("`nmc-18650`") && manual.contains("## [load.NAME.activity.NAME]"));
}
